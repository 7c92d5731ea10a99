Attribute VB_Name = "GramwattCells"
' Gramwatt in a cell of Excel for Windows, through its own HTTP, so that errors are shown and a POST is possible.
'
'   =GRAMWATT_VALUE("pack-energy", "usable_energy", A2:B3)        names in the first column, values in the second
'   =GRAMWATT_VALUE("pack-current", "pack_current", "cells", 6, "capacity", "1.3 Ah", "pack_power", B4)
'
' Gives the number, or the text where the result is one; and where there is no result, a text that begins with #ERR and
' gives the reason. Alt+F11, File > Import File. Written from the vendor's documentation; README.md lists what was run.
Option Explicit

' The URL of Gramwatt.
Private Const GRAMWATT_SERVICE As String = "http://127.0.0.1:8000"
' Milliseconds that a cell waits for a response.
Private Const GRAMWATT_TIMEOUT As Long = 5000

Public Function GRAMWATT_VALUE(ByVal calculator As String, ByVal result As String, ParamArray inputs() As Variant) As Variant
    Dim query As String
    Dim at As Long
    Dim pairs As Variant
    On Error GoTo Failed
    at = LBound(inputs)
    Do While at <= UBound(inputs)
        pairs = inputs(at) ' of a range its values
        If IsArray(pairs) Then
            query = query & GramwattPairs(pairs)
            at = at + 1
        ElseIf at = UBound(inputs) Then
            GRAMWATT_VALUE = "#ERR inputs: " & pairs & " has no value"
            Exit Function
        Else
            query = query & GramwattInput(CStr(pairs), inputs(at + 1))
            at = at + 2
        End If
    Loop
    GRAMWATT_VALUE = GramwattTold(GramwattGet(GRAMWATT_SERVICE & "/v1/" & GramwattEncoded(calculator) & "/" & _
        GramwattEncoded(result) & "?errors=text" & query))
    Exit Function
Failed:
    GRAMWATT_VALUE = "#ERR no-service: no answer from " & GRAMWATT_SERVICE
End Function

' Names in the first column of a range, values in the second; empty ones are left out.
Private Function GramwattPairs(ByVal pairs As Variant) As String
    Dim row As Long
    For row = LBound(pairs, 1) To UBound(pairs, 1)
        GramwattPairs = GramwattPairs & GramwattInput(CStr(pairs(row, LBound(pairs, 2))), pairs(row, LBound(pairs, 2) + 1))
    Next row
End Function

' One input as a query has it: Str writes a decimal point in every locale.
Private Function GramwattInput(ByVal key As String, ByVal given As Variant) As String
    Dim cell As Variant
    Dim word As String
    cell = given
    If IsEmpty(cell) Then Exit Function
    If VarType(cell) = vbString Then
        word = Trim$(cell)
    Else
        word = Trim$(Str$(cell))
    End If
    If Len(word) > 0 Then GramwattInput = "&" & GramwattEncoded(key) & "=" & GramwattEncoded(word)
End Function

' A text in UTF-8 with every byte that is no letter, digit or -._~ as %XX.
Private Function GramwattEncoded(ByVal word As String) As String
    Dim at As Long
    Dim code As Long
    Dim low As Long
    For at = 1 To Len(word)
        code = AscW(Mid$(word, at, 1)) And &HFFFF&
        If code >= &HD800& And code <= &HDBFF& And at < Len(word) Then
            low = AscW(Mid$(word, at + 1, 1)) And &HFFFF&
            code = &H10000 + (code - &HD800&) * &H400& + (low - &HDC00&)
            at = at + 1
        End If
        Select Case code
            Case 45, 46, 48 To 57, 65 To 90, 95, 97 To 122, 126
                GramwattEncoded = GramwattEncoded & ChrW(code)
            Case Is < &H80&
                GramwattEncoded = GramwattEncoded & GramwattByte(code)
            Case Is < &H800&
                GramwattEncoded = GramwattEncoded & GramwattByte(&HC0& Or code \ &H40&) & GramwattByte(&H80& Or (code And &H3F&))
            Case Is < &H10000
                GramwattEncoded = GramwattEncoded & GramwattByte(&HE0& Or code \ &H1000&) & _
                    GramwattByte(&H80& Or ((code \ &H40&) And &H3F&)) & GramwattByte(&H80& Or (code And &H3F&))
            Case Else
                GramwattEncoded = GramwattEncoded & GramwattByte(&HF0& Or code \ &H40000) & _
                    GramwattByte(&H80& Or ((code \ &H1000&) And &H3F&)) & _
                    GramwattByte(&H80& Or ((code \ &H40&) And &H3F&)) & GramwattByte(&H80& Or (code And &H3F&))
        End Select
    Next at
End Function

Private Function GramwattByte(ByVal value As Long) As String
    GramwattByte = "%" & Right$("0" & Hex$(value), 2)
End Function

' The service's response to an HTTP GET.
Private Function GramwattGet(ByVal url As String) As String
    Dim http As Object
    Set http = CreateObject("MSXML2.ServerXMLHTTP.6.0")
    http.setTimeouts GRAMWATT_TIMEOUT, GRAMWATT_TIMEOUT, GRAMWATT_TIMEOUT, GRAMWATT_TIMEOUT
    http.Open "GET", url, False
    http.send
    GramwattGet = http.responseText
End Function

' A number where it is one (Val reads a decimal point in every locale), else the text.
Private Function GramwattTold(ByVal said As String) As Variant
    Dim at As Long
    GramwattTold = said
    If Len(said) = 0 Or Len(said) > 30 Then Exit Function
    For at = 1 To Len(said)
        If InStr("0123456789+-.eE", Mid$(said, at, 1)) = 0 Then Exit Function
    Next at
    If InStr("0123456789", Right$(said, 1)) > 0 Then GramwattTold = Val(said)
End Function
