"""Write craft.xlsx and craft.ods: one craft, its packs side by side, and a sweep, in cells that call Gramwatt.

    python make_workbooks.py [--url http://127.0.0.1:8000] [--to FOLDER]

Needs openpyxl and odfpy. Both workbooks hold the same cells. The craft and its packs are invented.
"""

import argparse
import re
from pathlib import Path

from odf.opendocument import OpenDocumentSpreadsheet
from odf.style import ParagraphProperties, Style, TableColumnProperties, TextProperties
from odf.table import Table, TableCell, TableColumn, TableRow
from odf.text import P
from openpyxl import Workbook
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter

WIDE = 2000
"""Blanks between the lines of a table, more than all its letters: each line then has a stretch of its own."""
Rows = list[list[str | float]]
NEW_FUNCTIONS = ("WEBSERVICE", "NUMBERVALUE", "ENCODEURL")
MICROSOFTS = ("WEBSERVICE", "ENCODEURL")
WIDTHS = {"Craft": (26, 20, 80), "Packs": (14, 7, 14, 12, 12, 12, 12, 50, 50, 50), "Sweep": (12, 14, 60)}


def show(cell: str, *, number: bool = True) -> str:
    """Return a formula for the value in a response's cell: a number, or the reason why there is none."""
    value = f'NUMBERVALUE({cell};".";"")' if number else cell
    return f'=IF(ISERROR({cell});"no answer from the service";IFERROR({value};{cell}))'


def point(cell: str) -> str:
    """Return a formula for a number with a decimal point; the service rejects the locale's comma."""
    return f'SUBSTITUTE({cell};",";".")'


def fetch(path: str, **cells: str) -> str:
    """Return a formula for a request with inputs from cells; errors become a text that begins with #ERR."""
    inputs = "".join(f'&"&{name}="&{point(cell)}' for name, cell in cells.items())
    return f'=WEBSERVICE($Craft.$B$1&"/v1/{path}"{inputs})'


def craft(url: str) -> Rows:
    """Return the sheet of one craft: inputs, results, and the service's responses."""
    pack = {"cells": "B4", "capacity": "B5", "cell_resistance": "B6"}
    margin = "/v1/mass-margin/margin?errors=text&rule=eu-a1-privately-built&resolution=0.1&masses="
    parts = f'=WEBSERVICE($Craft.$B$1&"{margin}"&{point("B9")})'
    rows: Rows = [
        ["URL of Gramwatt", url, "the one cell to change for another service"],
        [],
        ["What you have"],
        ["cells", 4, ""],
        ["capacity, mAh", 850, ""],
        ["cell resistance, mohm", 12.5, "leave no cell empty: a good new cell has some 10 mohm Ah"],
        ["average power, W", 118.5, ""],
        ["punch, W", 300, ""],
        ["all-up mass, g", 246.4, "as weighed in one go, on a scale that shows 0.1 g"],
        [],
        ["What follows", "", "response of the service"],
        ["endurance, min", show("C12"), fetch("endurance/endurance?errors=text", **pack, power="B7")],
        ["ended by", show("C13", number=False), fetch("endurance/ended_by?errors=text", **pack, power="B7")],
        [
            "amps of a punch, A",
            show("C14"),
            fetch("pack-current/current?errors=text&state_of_charge=80", **pack, power="B8"),
        ],
        [
            "volts a cell in it, V",
            show("C15"),
            fetch("pack-current/loaded_cell_voltage?errors=text&state_of_charge=80", **pack, power="B8"),
        ],
        [
            "energy to the reserve, Wh",
            show("C16"),
            fetch("pack-energy/usable_energy?errors=text", cells="B4", capacity="B5"),
        ],
        ["margin below 250 g (EU, A1, privately built), g", show("C17"), parts],
        [],
        ["Calculations, not promises: land by what you measure. Lithium packs can burn: follow the maker's figures."],
        ["A mass limit is one rule among several: check with your aviation authority before you fly."],
    ]
    return rows


def packs() -> Rows:
    """Return the sheet of packs side by side on the craft in the first sheet, its power scaled to each mass."""
    rows: Rows = [
        [
            "pack",
            "cells",
            "capacity, mAh",
            "mass, g",
            "min",
            "A in a punch",
            "V a cell",
            "response for min",
            "for A",
            "for V",
        ],
    ]
    for name, cells, capacity, mass in (
        ("thin 3", 3, 450, 42.5),
        ("long 3", 3, 850, 74.5),
        ("thin 4", 4, 450, 54.0),
        ("long 4", 4, 850, 100.3),
        ("mistyped", 4, -850, 100.3),
    ):
        at = len(rows) + 1
        pack = {"cells": f"B{at}", "capacity": f"C{at}"}
        scaled = f"($Craft.$B$7*(($Craft.$B$9-100.3+D{at})/$Craft.$B$9)^1.5)"
        rows.append(
            [
                name,
                cells,
                capacity,
                mass,
                show(f"H{at}"),
                show(f"I{at}"),
                show(f"J{at}"),
                fetch("endurance/endurance?errors=text", **pack, power=scaled),
                fetch("pack-current/current?errors=text&state_of_charge=80", **pack, power="$Craft.$B$8"),
                fetch("pack-current/loaded_cell_voltage?errors=text&state_of_charge=80", **pack, power="$Craft.$B$8"),
            ]
        )
    rows.append([])
    rows.append(["Power is scaled to each mass by the power law of hovering, with an exponent of 1.5."])
    return rows


def sweep() -> Rows:
    """Return the sheet of endurance over power: one request, its lines split by formulas that any spreadsheet has."""
    whole = fetch(
        "endurance/sweep?format=csv&header=off&digits=5&errors=text&vary=power&from=60&to=220&count=9",
        cells="$Craft.$B$4",
        capacity="$Craft.$B$5",
        cell_resistance="$Craft.$B$6",
    )
    rows: Rows = [["power, W", "endurance, min", "a line of the table"], ["", "", whole]]
    for line in range(9):
        at = len(rows) + 1
        text = f'TRIM(MID(SUBSTITUTE($C$2;CHAR(10);REPT(" ";{WIDE}));{line * WIDE + 1};{WIDE}))'
        power = f'LEFT(C{at};FIND(",";C{at})-1)'
        rest = f'MID(C{at};FIND(",";C{at})+1;99)'
        endurance = f'LEFT({rest};FIND(",";{rest})-1)'
        wrong = f'IF(ISERROR(C{at});"no answer from the service";C{at})'
        rows.append(
            [
                f'=IFERROR(NUMBERVALUE({power};".";"");{wrong})',
                f'=IFERROR(NUMBERVALUE({endurance};".";"");"")',
                f"={text}",
            ]
        )
    return rows


def outside_quotes(formula: str, change: "re.Pattern[str]", to: str) -> str:
    """Replace a pattern everywhere in a formula except in its texts."""
    pieces = formula.split('"')
    return '"'.join(change.sub(to, piece) if at % 2 == 0 else piece for at, piece in enumerate(pieces))


def to_excel(formula: str) -> str:
    """Return a formula in the form of .xlsx files: commas, sheets by !, a prefix for newer functions."""
    made = outside_quotes(formula, re.compile(";"), ",")
    made = outside_quotes(made, re.compile(r"\$([A-Z][a-z]+)\."), r"\1!")
    return outside_quotes(made, re.compile(rf"\b({'|'.join(NEW_FUNCTIONS)})\("), r"_xlfn.\1(")


def to_open_formula(formula: str) -> str:
    """Return a formula in the form of .ods files (OpenFormula): references in brackets."""
    reference = re.compile(r"(\$[A-Z][a-z]+\.)?(\$?[A-Z]{1,2}\$?[0-9]+)\b(?!\()")
    made = outside_quotes(formula, reference, r"[\1.\2]")
    made = outside_quotes(made, re.compile(r"\[(\$[A-Z][a-z]+)\.\."), r"[\1.")
    made = outside_quotes(made, re.compile(rf"\b({'|'.join(MICROSOFTS)})\("), r"COM.MICROSOFT.\1(")
    return f"of:{made}"


def write_xlsx(sheets: dict[str, Rows], path: Path) -> None:
    """Write the workbook for Excel and programs that read its format."""
    book = Workbook()
    for name, rows in sheets.items():
        sheet = book.active if name == "Craft" else book.create_sheet(name)
        sheet.title = name
        for at, row in enumerate(rows, 1):
            for column, content in enumerate(row, 1):
                if content == "":
                    continue
                cell = sheet.cell(at, column)
                cell.value = to_excel(content) if isinstance(content, str) and content.startswith("=") else content
                cell.font = Font(
                    bold=(len(row) > 1 and (at == 1 or row[0] == "What follows")) or row == ["What you have"]
                )
                cell.alignment = Alignment(horizontal="right" if column > 1 and isinstance(content, float) else None)
        for column, width in enumerate(WIDTHS[name], 1):
            sheet.column_dimensions[get_column_letter(column)].width = width
    book.save(path)


def write_ods(sheets: dict[str, Rows], path: Path) -> None:
    """Write the workbook for LibreOffice Calc and programs that read its format."""
    document = OpenDocumentSpreadsheet()
    bold = Style(name="bold", family="table-cell")
    bold.addElement(TextProperties(fontweight="bold"))
    bold.addElement(ParagraphProperties(textalign="start"))
    document.automaticstyles.addElement(bold)
    for name, rows in sheets.items():
        table = Table(name=name)
        for at, width in enumerate(WIDTHS[name]):
            column = Style(name=f"{name}{at}", family="table-column")
            column.addElement(TableColumnProperties(columnwidth=f"{width * 0.2:.1f}cm"))
            document.automaticstyles.addElement(column)
            table.addElement(TableColumn(stylename=column))
        for place, row in enumerate(rows, 1):
            line = TableRow()
            for content in row:
                heading = {"stylename": bold} if place == 1 or row[0] in ("What you have", "What follows") else {}
                if isinstance(content, str) and content.startswith("="):
                    cell = TableCell(formula=to_open_formula(content), **heading)
                elif isinstance(content, str):
                    cell = TableCell(valuetype="string", **heading) if content else TableCell()
                    if content:
                        cell.addElement(P(text=content))
                else:
                    cell = TableCell(valuetype="float", value=content, **heading)
                    cell.addElement(P(text=f"{content:g}"))
                line.addElement(cell)
            table.addElement(line)
        document.spreadsheet.addElement(table)
    document.save(str(path))


def main() -> None:
    """Write both workbooks."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--url", default="http://127.0.0.1:8000")
    parser.add_argument("--to", type=Path, default=Path(__file__).resolve().parent)
    arguments = parser.parse_args()
    sheets = {"Craft": craft(arguments.url), "Packs": packs(), "Sweep": sweep()}
    write_xlsx(sheets, arguments.to / "craft.xlsx")
    write_ods(sheets, arguments.to / "craft.ods")


if __name__ == "__main__":
    main()
