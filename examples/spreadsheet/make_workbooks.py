"""Write craft.xlsx and craft.ods: the sheet Craft, filled from a craft document, feeds all cells that call Gramwatt.

    python make_workbooks.py [--craft ../craft/craft.json] [--url http://127.0.0.1:8000] [--to FOLDER]

Needs openpyxl and odfpy. Both workbooks hold the same cells. Parts, packs, propellers, flights and single inputs of the
document become cells of Craft; change them there, and every figure follows.
"""

from __future__ import annotations

import argparse
import itertools
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from odf.number import Number, NumberStyle
from odf.opendocument import OpenDocumentSpreadsheet
from odf.style import ParagraphProperties, Style, TableColumnProperties, TextProperties
from odf.table import Table, TableCell, TableColumn, TableRow
from odf.text import P
from openpyxl import Workbook
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter

WIDE = 2000
"""Blanks between the lines of a table, more than all its letters: each line then has a stretch of its own."""
Content = str | float
NEW_FUNCTIONS = ("WEBSERVICE", "NUMBERVALUE", "ENCODEURL")
MICROSOFTS = ("WEBSERVICE", "ENCODEURL")

TABLES: Mapping[str, Mapping[str, str]] = {
    "parts": {"name": "Part", "mass": "Mass, g", "count": "Count"},
    "packs": {
        "name": "Pack",
        "mass": "Mass, g",
        "cells": "Cells in series",
        "capacity": "Capacity, mAh",
        "cell_resistance": "Cell resistance, mohm",
        "discharge_rating": "C rating",
    },
    "propellers": {
        "name": "Propeller",
        "mass": "Mass of one, g",
        "diameter": "Diameter, in",
        "pitch": "Pitch, in",
        "blades": "Blades",
    },
    "flights": {"name": "Flight", "pack": "Pack", "duration": "Flight time, min", "charge_used": "Charge used, mAh"},
}
SINGLE = {
    "kv": "Motor kV, rpm/V",
    "motors": "Motors",
    "stator_diameter": "Stator diameter, mm",
    "stator_height": "Stator height, mm",
    "controller_rating": "Controller rating, A",
    "avionics_power": "Avionics power, W",
    "rule": "Rule",
    "mass_limit": "Mass limit, g",
    "limit_comparison": "The mass may be (below, at-most)",
    "scale_resolution": "Scale step, g",
    "reserve": "Reserve at landing, %",
}
DRIVE = ("kv", "motors", "stator_diameter", "stator_height", "controller_rating", "avionics_power")
LIMIT = ("rule", "mass_limit", "limit_comparison", "scale_resolution")
PACK = ("cells", "capacity", "cell_resistance")


@dataclass
class Sheet:
    """Rows of cells, with the widths of columns and the decimals that they show."""

    rows: list[list[Content]]
    widths: Sequence[int]
    decimals: Sequence[int | None] = ()
    headings: set[int] = field(default_factory=set)
    """Numbers of rows, from 1."""

    def is_right_aligned(self, place: int, column: int) -> bool:
        """Return whether a cell, in a row from 1 and a column from 0, is a number or the heading of numbers."""
        if self.get_decimals(column) is not None:
            return True
        row = self.rows[place] if place in self.headings and place < len(self.rows) else self.rows[place - 1]
        return column < len(row) and not isinstance(row[column], str)

    def get_decimals(self, column: int) -> int | None:
        """Return the decimals of a column from 0; None shows numbers as they are."""
        return self.decimals[column] if column < len(self.decimals) else None


@dataclass
class Places:
    """Where the inputs are on the sheet Craft."""

    single: dict[str, str] = field(default_factory=dict)
    rows: dict[str, tuple[int, int]] = field(default_factory=dict)
    """First and last row of each table."""

    def get_cell(self, table: str, column: str, row: int) -> str:
        """Return the cell of a column in a row of the sheet."""
        return f"$Craft.${self._get_letter(table, column)}${row}"

    def find(self, table: str, column: str, name: str) -> str:
        """Return a formula for the cell of a column in the row with the name that another cell has."""
        first, last = self.rows[table]
        letter = self._get_letter(table, column)
        where = f"MATCH({name};$Craft.$A${first}:$A${last};0)"
        return f"INDEX($Craft.${letter}${first}:${letter}${last};{where})"

    @staticmethod
    def _get_letter(table: str, column: str) -> str:
        return get_column_letter(list(TABLES[table]).index(column) + 1)


def show(cell: str, *, number: bool = True) -> str:
    """Return a formula for the value in a response's cell: a number, or the reason why there is none."""
    value = f'NUMBERVALUE({cell};".";"")' if number else cell
    return f'=IF(ISERROR({cell});"no answer from the service";IFERROR({value};{cell}))'


def point(cell: str) -> str:
    """Return a formula for a number with a decimal point; the service rejects the locale's comma."""
    return f'SUBSTITUTE({cell};",";".")'


def put(name: str, cell: str) -> str:
    """Return a formula for an input in a request, nothing if its cell is empty."""
    return f'IF({cell}="";"";"&{name}="&ENCODEURL({point(cell)}))'


def fetch(path: str, *inputs: str) -> str:
    """Return a formula for a request; errors become a text that begins with #ERR."""
    return "&".join([f'=WEBSERVICE($Craft.$B$1&"/v1/{path}errors=text"', *inputs]) + ")"


def make_craft(url: str, craft: Mapping[str, Any]) -> tuple[Sheet, Places]:
    """Return the sheet of inputs: each once, and where they are."""
    places = Places()
    rows: list[list[Content]] = [
        ["URL of Gramwatt", url, "the one cell to change for another service"],
        ["Pack for the sweep", craft["packs"][0]["name"], "a name from the table of packs"],
        ["Propeller", craft["propellers"][0]["name"], "a name from the table of propellers"],
    ]
    places.single = {"pack": "$Craft.$B$2", "propeller": "$Craft.$B$3"}
    headings = set()
    for table, columns in TABLES.items():
        rows += [[], list(columns.values())]
        headings.add(len(rows))
        first = len(rows) + 1
        blank = {"count": 1}
        rows += [[row.get(column, blank.get(column, "")) for column in columns] for row in craft[table]]
        places.rows[table] = (first, len(rows))
    rows += [[], ["Motor, limit and flight"]]
    headings.add(len(rows))
    for name, label in SINGLE.items():
        rows.append([label, craft.get(name, "")])
        places.single[name] = f"$Craft.$B${len(rows)}"
    rows += [
        [],
        ["Calculations, not promises: land by what you measure. Lithium packs can burn: follow the maker's figures."],
        ["A mass limit is one rule among several: check with your aviation authority before you fly."],
    ]
    return Sheet(rows, (34, 22, 16, 16, 22, 12), headings=headings), places


def make_packs(places: Places) -> Sheet:
    """Return the sheet of packs side by side, each with all other inputs of the first sheet."""
    single = places.single
    sheet = Sheet(
        [
            [
                "Pack",
                "All-up mass, g",
                "Margin below the limit, g",
                "Verdict",
                "Flight time, min",
                "Full throttle, A",
                "Volts a cell then",
                "C rating used, %",
                "",
                "masses sent",
                "pack sent",
                "response: mass",
                "margin",
                "verdict",
                "flight time",
                "current",
                "volts",
                "rating",
            ]
        ],
        (18, 15, 24, 18, 16, 16, 16, 16, 4, *[22] * 9),
        (None, 1, 1, None, 1, 0, 2, 0),
        {1},
    )
    drive = [put(name, single[name]) for name in DRIVE] + [
        put(column, places.find("propellers", column, single["propeller"]))
        for column in ("diameter", "pitch", "blades")
    ]
    limit = [put(name, single[name]) for name in LIMIT]
    first, last = places.rows["packs"]
    masses_below = f"$L$2:$L${last - first + 2}"
    names_below = f"$A$2:$A${last - first + 2}"
    flown = places.get_cell("flights", "pack", places.rows["flights"][0])
    charge = places.get_cell("flights", "charge_used", places.rows["flights"][0])
    capacity = places.find("packs", "capacity", flown)
    reference = [
        put("reference_duration", places.get_cell("flights", "duration", places.rows["flights"][0])),
        *(put(f"reference_{column}", places.find("packs", column, flown)) for column in PACK),
        f'"&reference_mass="&INDEX({masses_below};MATCH({flown};{names_below};0))',
        f'IFERROR("&reference_reserve="&{point(f"ROUND(100*(1-{charge}/{capacity});12)")};"")',
        put("reserve", single["reserve"]),
    ]
    for row in range(first, last + 1):
        at = len(sheet.rows) + 1
        sheet.rows.append(
            [
                f"={places.get_cell('packs', 'name', row)}",
                show(f"L{at}"),
                show(f"M{at}"),
                show(f"N{at}", number=False),
                *(show(f"{letter}{at}") for letter in "OPQR"),
                "",
                f"={list_masses(places, row)}",
                "=" + "&".join(put(column, places.get_cell("packs", column, row)) for column in PACK),
                fetch("mass-margin/total_mass?", f'"&masses="&J{at}', *limit),
                fetch("mass-margin/mass_margin?", f'"&masses="&J{at}', *limit),
                fetch("mass-margin/verdict?", f'"&masses="&J{at}', *limit),
                fetch("endurance-from-flight/endurance?", f'K{at}&"&mass="&L{at}', *reference),
                *(
                    fetch(
                        f"full-throttle/{result}?",
                        f'K{at}&"&mass="&L{at}',
                        put("discharge_rating", places.get_cell("packs", "discharge_rating", row)),
                        *drive,
                    )
                    for result in ("pack_current", "loaded_cell_voltage", "discharge_rating_share")
                ),
            ]
        )
    sheet.rows += [
        [],
        ["Flight time follows from the first flight in the table of flights, scaled to each mass and pack."],
        ["Full throttle is at rest and with a full pack; in flight the current is lower."],
    ]
    return sheet


def list_masses(places: Places, pack: int) -> str:
    """Return a formula for all masses on board: parts, a propeller for each motor, and the pack in a row."""
    first, last = places.rows["parts"]
    counted = [
        (places.get_cell("parts", "mass", row), places.get_cell("parts", "count", row))
        for row in range(first, last + 1)
    ]
    propeller = places.find("propellers", "mass", places.single["propeller"])
    counted += [(propeller, places.single["motors"]), (places.get_cell("packs", "mass", pack), "1")]
    listed = "&".join(f'REPT(","&{point(mass)};{count})' for mass, count in counted)
    return f"ENCODEURL(MID({listed};2;9999))"


def make_sweep(places: Places) -> Sheet:
    """Return the sheet of endurance over power: one request, its lines split by formulas that any spreadsheet has."""
    pack = [put(column, places.find("packs", column, places.single["pack"])) for column in PACK]
    path = "endurance/sweep?format=csv&header=off&digits=5&vary=mean_power&from=80&to=240&count=9&"
    whole = fetch(path, *pack, put("reserve", places.single["reserve"]))
    sheet = Sheet(
        [["Average power, W", "Flight time, min", "a line of the table", "of the pack"]],
        (18, 18, 60, 18),
        (0, 1),
        {1},
    )
    sheet.rows.append(["", "", whole, f"={places.single['pack']}"])
    for line in range(9):
        at = len(sheet.rows) + 1
        text = f'TRIM(MID(SUBSTITUTE($C$2;CHAR(10);REPT(" ";{WIDE}));{line * WIDE + 1};{WIDE}))'
        power = f'LEFT(C{at};FIND(",";C{at})-1)'
        rest = f'MID(C{at};FIND(",";C{at})+1;99)'
        endurance = f'LEFT({rest};FIND(",";{rest})-1)'
        wrong = f'IF(ISERROR(C{at});"no answer from the service";C{at})'
        sheet.rows.append(
            [
                f'=IFERROR(NUMBERVALUE({power};".";"");{wrong})',
                f'=IFERROR(NUMBERVALUE({endurance};".";"");"")',
                f"={text}",
            ]
        )
    return sheet


def make_sheets(url: str, craft: Mapping[str, Any]) -> dict[str, Sheet]:
    """Return all sheets by name."""
    first, places = make_craft(url, craft)
    return {"Craft": first, "Packs": make_packs(places), "Sweep": make_sweep(places)}


def outside_quotes(formula: str, change: re.Pattern[str], to: str) -> str:
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
    cell = r"\$?[A-Z]{1,2}\$?[0-9]+"
    made = outside_quotes(formula, re.compile(rf"(\$[A-Z][a-z]+\.|)({cell}):({cell})\b"), r"[\1.\2:.\3]")
    single = re.compile(rf"(?<![.\[:$A-Z0-9])(\$[A-Z][a-z]+\.|)({cell})\b(?!\()")
    made = outside_quotes(made, single, r"[\1.\2]")
    made = outside_quotes(made, re.compile(r"\[(\$[A-Z][a-z]+)\.\."), r"[\1.")
    made = outside_quotes(made, re.compile(rf"\b({'|'.join(MICROSOFTS)})\("), r"COM.MICROSOFT.\1(")
    return f"of:{made}"


def write_xlsx(sheets: Mapping[str, Sheet], path: Path) -> None:
    """Write the workbook for Excel and programs that read its format."""
    book = Workbook()
    for name, sheet in sheets.items():
        page = book.active if name == "Craft" else book.create_sheet(name)
        page.title = name
        for at, row in enumerate(sheet.rows, 1):
            for column, content in enumerate(row):
                if content == "":
                    continue
                cell = page.cell(at, column + 1)
                cell.value = to_excel(content) if isinstance(content, str) and content.startswith("=") else content
                cell.font = Font(bold=at in sheet.headings)
                decimals = sheet.get_decimals(column)
                if decimals is not None and at not in sheet.headings:
                    cell.number_format = f"0.{'0' * decimals}".rstrip(".")
                cell.alignment = Alignment(horizontal="right" if sheet.is_right_aligned(at, column) else "left")
        for column, width in enumerate(sheet.widths, 1):
            page.column_dimensions[get_column_letter(column)].width = width
    book.save(path)


def write_ods(sheets: Mapping[str, Sheet], path: Path) -> None:
    """Write the workbook for LibreOffice Calc and programs that read its format."""
    document = OpenDocumentSpreadsheet()
    styles: dict[tuple[bool, bool, int | None], Style] = {}
    for decimals in (0, 1, 2):
        number = NumberStyle(name=f"decimals{decimals}")
        number.addElement(Number(decimalplaces=str(decimals), minintegerdigits="1"))
        document.automaticstyles.addElement(number)
    for bold, right, shown in itertools.product((False, True), (False, True), (None, 0, 1, 2)):
        data = {} if shown is None or bold else {"datastylename": f"decimals{shown}"}
        style = Style(name=f"cell{bold}{right}{shown}", family="table-cell", **data)
        style.addElement(TextProperties(fontweight="bold" if bold else "normal"))
        style.addElement(ParagraphProperties(textalign="end" if right else "start"))
        document.automaticstyles.addElement(style)
        styles[bold, right, shown] = style
    for name, sheet in sheets.items():
        table = Table(name=name)
        for at, width in enumerate(sheet.widths):
            column = Style(name=f"{name}{at}", family="table-column")
            column.addElement(TableColumnProperties(columnwidth=f"{width * 0.2:.1f}cm"))
            document.automaticstyles.addElement(column)
            table.addElement(TableColumn(stylename=column))
        for place, row in enumerate(sheet.rows, 1):
            line = TableRow()
            for at, content in enumerate(row):
                bold, right = place in sheet.headings, sheet.is_right_aligned(place, at)
                line.addElement(make_cell(content, styles[bold, right, sheet.get_decimals(at)]))
            table.addElement(line)
        document.spreadsheet.addElement(table)
    document.save(str(path))


def make_cell(content: Content, style: Style) -> TableCell:
    """Return a cell of an .ods file."""
    if isinstance(content, str) and content.startswith("="):
        return TableCell(formula=to_open_formula(content), stylename=style)
    if content == "":
        return TableCell()
    kind = {"valuetype": "string"} if isinstance(content, str) else {"valuetype": "float", "value": content}
    cell = TableCell(stylename=style, **kind)
    cell.addElement(P(text=content if isinstance(content, str) else f"{content:g}"))
    return cell


def main() -> None:
    """Write both workbooks."""
    here = Path(__file__).resolve().parent
    parser = argparse.ArgumentParser(description="Write craft.xlsx and craft.ods from a craft document.")
    parser.add_argument("--craft", type=Path, default=here.parent / "craft" / "craft.json")
    parser.add_argument("--url", default="http://127.0.0.1:8000")
    parser.add_argument("--to", type=Path, default=here)
    arguments = parser.parse_args()
    sheets = make_sheets(arguments.url, json.loads(arguments.craft.read_text(encoding="utf-8")))
    write_xlsx(sheets, arguments.to / "craft.xlsx")
    write_ods(sheets, arguments.to / "craft.ods")


if __name__ == "__main__":
    main()
