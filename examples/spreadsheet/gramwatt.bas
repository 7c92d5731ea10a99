' Gramwatt in a cell of LibreOffice Calc.
'
'   =GRAMWATT("pack-energy"; "usable_energy"; "cells"; 6; "capacity"; "1.3 Ah")
'   =GRAMWATT("pack-energy"; "usable_energy"; A2:B3)        names in column A, values in column B; empty ones are left out
'
' Gives the number, or the text where the result is one; and where there is no result, a text that begins with #ERR and
' gives the reason. Tools > Macros > Edit Macros, My Macros > Standard: paste this file into a module of its own (named other
' than GRAMWATT) and save.
Option Explicit

' The URL of Gramwatt.
Const GRAMWATT_SERVICE = "http://127.0.0.1:8000"

' Inputs: one range of two columns, or up to six names, each followed by its value.
Function GRAMWATT(calculator, result, Optional n1, Optional v1, Optional n2, Optional v2, Optional n3, Optional v3, _
    Optional n4, Optional v4, Optional n5, Optional v5, Optional n6, Optional v6)
  Dim query As String, answer As String, row As Long
  On Error GoTo Failed
  If Not IsMissing(n1) Then
    If IsArray(n1) Then
      For row = LBound(n1, 1) To UBound(n1, 1)
        query = query & GramwattInput(n1(row, 1), n1(row, 2))
      Next row
    Else
      query = query & GramwattInput(n1, v1)
    End If
  End If
  If Not IsMissing(n2) Then query = query & GramwattInput(n2, v2)
  If Not IsMissing(n3) Then query = query & GramwattInput(n3, v3)
  If Not IsMissing(n4) Then query = query & GramwattInput(n4, v4)
  If Not IsMissing(n5) Then query = query & GramwattInput(n5, v5)
  If Not IsMissing(n6) Then query = query & GramwattInput(n6, v6)
  answer = GramwattRead(GRAMWATT_SERVICE & "/v1/" & GramwattEncoded(calculator) & "/" & GramwattEncoded(result) & _
    "?errors=text" & query)
  If GramwattIsNumber(answer) Then GRAMWATT = Val(answer) Else GRAMWATT = answer
  Exit Function
Failed:
  GRAMWATT = "#ERR no-service: no answer from " & GRAMWATT_SERVICE & ", or inputs that are not names and values"
End Function

' One input as a query has it, with a decimal point in every locale.
Function GramwattInput(name, value) As String
  Dim text As String
  If VarType(value) = 8 Then text = Trim(value) Else If Not IsEmpty(value) Then text = Trim(Str(value))
  If text <> "" Then GramwattInput = "&" & GramwattEncoded(name) & "=" & GramwattEncoded(text)
End Function

Function GramwattEncoded(text) As String
  Dim functions
  functions = createUnoService("com.sun.star.sheet.FunctionAccess")
  GramwattEncoded = functions.callFunction("ENCODEURL", Array(text))
End Function

Function GramwattRead(url As String) As String
  Dim files, stream
  files = createUnoService("com.sun.star.ucb.SimpleFileAccess")
  stream = createUnoService("com.sun.star.io.TextInputStream")
  stream.setInputStream(files.openFileRead(url))
  stream.setEncoding("UTF-8")
  GramwattRead = stream.readString(Array(), False)
  stream.closeInput()
End Function

' Whether a text is one plain number, and no list nor word.
Function GramwattIsNumber(text As String) As Boolean
  Dim at As Long
  If InStr("-0123456789", Left(text, 1)) = 0 Or text = "" Then Exit Function
  For at = 1 To Len(text)
    If InStr("-+.e0123456789", Mid(text, at, 1)) = 0 Then Exit Function
  Next at
  GramwattIsNumber = True
End Function
