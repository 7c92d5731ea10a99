"""Inputs that name a row of a table in the same request: the names of the rows, read before all else, and positions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any, Final, TypeAlias

from gramwatt.engine.column_types import ABSENT, Cells, Column, ConstantColumn, DictionaryColumn, NumericColumn
from gramwatt.engine.columns import empty_column
from gramwatt.engine.limits import MAX_COMPARED_NAMES
from gramwatt.model import AnyCalculator, Kind, RowName
from gramwatt.model.kinds import number_names
from gramwatt.model.messages import InputError, quote_input
from gramwatt.model.parsing import ValueParseError

Names: TypeAlias = Mapping[str, Sequence[str] | None]
"""The names of the rows of tables, by the input that is the table; None where they are not known yet."""
NO_NAMES: Final[Names] = MappingProxyType({})


def collect_names(calculator: AnyCalculator, cells: Mapping[str, Cells], *, complete: bool = True) -> Names:
    """Return the names of the rows of each table that a `RowName` of the calculator refers to, as they were sent.

    A row without a name has the default one, and an invalid one has none, so that no cell can name it. Inputs that are
    not ``complete``, as they are those that the rows of a table of requests share, may leave out the table.
    """
    if not calculator.row_names:
        return NO_NAMES
    tables = dict.fromkeys(kind.of for kind in calculator.row_names.values())
    absent = () if complete else None
    return {table: _list_names(calculator, table, cells[table]) if table in cells else absent for table in tables}


def _list_names(calculator: AnyCalculator, table: str, cells: Cells) -> list[str]:
    kind = calculator.input_tables[table].columns["name"]
    numbered = calculator.input_tables[table].chosen_by is not None
    if isinstance(cells, NumericColumn | DictionaryColumn) or len(cells) != 1:
        return []
    rows: object = cells.cell if isinstance(cells, ConstantColumn) else cells[0]
    if not isinstance(rows, list | tuple):
        return []
    names = [
        None
        if numbered and isinstance(row, dict) and "name" not in row
        else _read_name(kind, row.get("name", kind.default) if isinstance(row, dict) else None)
        for row in rows
    ]
    return number_names(names, str(kind.default))


def _read_name(kind: Kind, cell: object) -> str:
    """Return a valid name, else an empty text."""
    try:
        return str(kind.parse(cell, text=False)[0])
    except ValueParseError:
        return ""


def read_row_names(kind: RowName, cells: Sequence[object], names: Sequence[str] | None) -> Column:
    """Read N cells that name a row; their positions. Never raises for invalid cells: their errors are in the column.

    Where the names are not known yet, none is invalid.
    """
    column = empty_column(kind, len(cells))
    column = Column(column.values.copy(), column.present.copy())
    for row, cell in enumerate(cells):
        if cell is ABSENT:
            continue
        column.present[row] = True
        if names is None:
            continue
        try:
            column.values[row] = kind.find_row(cell, names)
        except ValueParseError as error:
            detail = error.with_hint() if len(column.errors) < MAX_COMPARED_NAMES else error.detail
            column.errors[row] = [InputError("", detail, quote_input(cell), error.accepted)]
    return column


def list_row_names(table: str, inputs: Any) -> list[str]:
    """Return the names of the rows of a table among the complete inputs of one request."""
    return [str(name) for name in getattr(inputs, table).name[0].tolist()]


def restore_names(calculator: AnyCalculator, given: dict[str, Any]) -> None:
    """Replace positions of rows among the inputs of a response by the names of those rows."""
    for path, kind in calculator.row_names.items():
        owner, _, column = path.partition(".")
        for holder in given.get(owner, ()) if column else (given,):
            at = holder.get(column or owner)
            if at is not None:
                holder[column or owner] = given[kind.of][at]["name"]
