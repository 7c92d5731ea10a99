"""A craft document as text for people: its tables, with sums, and its single inputs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from gramwatt.charts.formatting import axis_label, declared_unit, label_with_unit
from gramwatt.cli.text_tables import align
from gramwatt.engine import craft_fields
from gramwatt.engine.craft_document import Cell, Craft, Row, list_names, read_craft
from gramwatt.engine.craft_sums import Adder
from gramwatt.engine.given import restore_quantity
from gramwatt.engine.nested import read_column
from gramwatt.model import Choice, Kind, Quantity, Recording, TimeSeries, get_label
from gramwatt.model.messages import add_unit, format_number

TOTAL_DIGITS: Final = 5


def format_craft(document: Mapping[str, object], title: str, width: int) -> Iterator[list[str]]:
    """Yield blocks of lines: each table of a valid craft document, then its single inputs."""
    craft = read_craft(document, {})
    yield [title]
    for name, rows in craft.rows.items():
        if rows:
            yield [f"{get_label(name, craft_fields.get_fields()[name])}:", *_format_table(craft, name, rows)]
    texts = [_format_input(name, cell) for name, cell in craft.plain.items()]
    if texts:
        yield align([("", ""), *texts], (False, False))


def _format_input(name: str, cell: Cell) -> tuple[str, str]:
    kind = craft_fields.get_fields()[name]
    text = _format_cell(kind, cell)
    return f"  {get_label(name, kind)}", add_unit(text, declared_unit(kind))


def _format_cell(kind: Kind, cell: Cell | None) -> str:
    """Return a value in its declared unit, with its uncertainty if it has one."""
    if cell is None:
        return ""
    if isinstance(kind, TimeSeries) or isinstance(cell.value, Recording | dict):
        return "recorded"
    if isinstance(kind, Quantity):
        column = read_column(kind, [cell.value], text=False)
        width = 0.0 if column.uncertainty is None else float(column.uncertainty[0])
        return str(restore_quantity(kind, float(column.values[0]), width))
    if isinstance(kind, Choice):
        return kind.get_option_label(str(cell.value))
    return ", ".join(map(str, cell.value)) if isinstance(cell.value, list) else str(cell.value)


def _format_table(craft: Craft, name: str, rows: Sequence[Row]) -> list[str]:
    """Return a table with a column for each that some row gives, and one for what adds up to its rows."""
    table = craft_fields.get_tables()[name]
    members = set(craft_fields.list_row_members(table))
    columns = [column for column in table.columns if column != "name" and any(column in row for row in rows)]
    named = [member for member in sorted(members) if any(member in row for row in rows)]
    labels = [label_with_unit(column, table.columns[column]) for column in columns]
    heads = ["", *labels, *(each.capitalize() for each in named)]
    lines: list[list[str]] = []
    for label, row in zip(list_names(craft, name), rows, strict=True):
        cells = [_format_cell(table.columns[column], row.get(column)) for column in columns]
        lines.append([f"  {label}", *cells, *(_format_named(craft, member, row) for member in named)])
    sums = list(_list_sums(craft, name))
    if sums:
        heads.append(sums[0])
        lines = [[*line, total] for line, total in zip(lines, sums[1:], strict=True)]
    numeric = [False, *(table.columns[column].is_numeric for column in columns), *([False] * len(named)), True]
    return align([heads, *lines], numeric[: len(heads)])


def _format_named(craft: Craft, member: str, row: Row) -> str:
    """Return the name of the row of another table that a row names."""
    at: Any = row[member].value if member in row else None
    return "" if at is None else list(list_names(craft, craft_fields.get_choices()[member]))[at]


def _list_sums(craft: Craft, name: str) -> Iterator[str]:
    """Yield a heading and a text for each row: the sum with this row, or up to this row where all rows count."""
    for total_name, kind in craft_fields.get_fields().items():
        terms = tuple(term for term in kind.sum_of if term.name.partition(".")[0] == name)
        if not terms or not isinstance(kind, Quantity):
            continue
        is_chosen = craft_fields.get_tables()[name].kind.chosen_by is not None
        yield axis_label(get_label(total_name, kind) if is_chosen else "Running total", kind.unit)
        for at in range(len(craft.rows[name])):
            if is_chosen:
                adder, added, chosen = Adder(craft, {}), kind.sum_of, {**craft.chosen, name: at}
            else:
                adder, added, chosen = Adder(Craft(craft.plain, {name: craft.rows[name][: at + 1]}), {}), terms, {}
            total = adder.add_up(kind, adder.list_addends(added, chosen))
            value = "" if total is None else str(total.value).partition(" ± ")[0]
            yield format_number(float(value), TOTAL_DIGITS) if value else ""
        return
