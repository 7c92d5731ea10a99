"""Read lists, tables and recordings, one request at a time, since their lengths need not agree."""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, cast

import numpy as np
from numpy.typing import NDArray

from gramwatt.engine.column_types import (
    ABSENT,
    Cells,
    Column,
    ConstantColumn,
    DictionaryColumn,
    NumericColumn,
    TableColumn,
    all_false,
    all_true,
)
from gramwatt.engine.columns import (
    empty_column,
    fill_default,
    missing_input_error,
    read_plain,
    uncertainty_kind,
    unknown_input_errors,
)
from gramwatt.engine.row_names import NO_NAMES, Names, read_row_names
from gramwatt.model import (
    BoolArray,
    Kind,
    NumberList,
    Quantity,
    Recording,
    RowName,
    StandardUncertainty,
    Table,
    TimeSeries,
    get_fields,
)
from gramwatt.model.kinds import number_names
from gramwatt.model.messages import InputError, join_with_or, quote_input
from gramwatt.model.parsing import describe_type

MAX_QUERY_LIST_LENGTH: Final = 60


def read_column(kind: Kind, cells: Cells, *, text: bool, names: Names = NO_NAMES) -> Column:
    """Read N cells of any kind. Never raises for invalid cells: their errors are in the column.

    ``names`` are those of the rows of tables to which an input may refer.
    """
    if not isinstance(kind, NumberList | Table | TimeSeries | RowName):
        return read_plain(kind, cells, text=text)
    if isinstance(cells, NumericColumn | DictionaryColumn):
        raise ValueError("a list or a table is read one request at a time")
    if isinstance(cells, ConstantColumn):
        return _read_nested(kind, [cells.cell] * len(cells), text=text or cells.text, names=names)
    return _read_nested(kind, cells, text=text, names=names)


def _read_nested(
    kind: NumberList | Table | TimeSeries | RowName, cells: Sequence[object], *, text: bool, names: Names
) -> Column:
    """Return the column of a list, table or recording of one request: lengths differ between requests."""
    if all(cell is ABSENT for cell in cells):
        return empty_column(kind, len(cells))
    if isinstance(kind, RowName):
        return read_row_names(kind, cells, names.get(kind.of))
    if isinstance(kind, TimeSeries):
        return _read_recordings(kind, cells, text=text)
    if len(cells) != 1:
        raise ValueError("a list or a table is read for one request at a time")
    cell = list(cells[0]) if isinstance(cells[0], tuple) else cells[0]
    items: Any = cell.split(",") if text and isinstance(cell, str) and isinstance(kind, NumberList) else cell
    error = _length_error(kind, items, text=text)
    if error is not None:
        column = empty_column(kind, 1)
        return Column(column.values, all_true(1), errors={0: [error]})
    column = _read_list(kind, items, text=text) if isinstance(kind, NumberList) else _read_rows(kind, items, names)
    column.present = all_true(1)
    return column


def _read_recordings(kind: TimeSeries, cells: Sequence[object], *, text: bool) -> Column:
    from gramwatt.engine.recordings.channels import parse_recording_object  # which only a recording needs
    from gramwatt.engine.recordings.column_types import UnusableRecording

    values = np.full(len(cells), None, dtype=np.object_)
    errors: dict[int, list[InputError]] = {}
    for row, cell in enumerate(cells):
        if cell is ABSENT:
            continue
        if isinstance(cell, Recording):
            values[row] = cell
        elif text or not isinstance(cell, dict):
            detail = (
                "A recording does not fit in text: send it as JSON, or by itself"
                if text
                else "Enter an object of lists"
            )
            errors[row] = [InputError("", detail, quote_input(cell), kind.describe_accepted())]
        else:
            try:
                values[row] = parse_recording_object(kind, cell)
            except UnusableRecording as unusable:
                errors[row] = list(unusable.errors)
    given = [cell is not ABSENT for cell in cells]
    return Column(values, all_true(len(cells)) if all(given) else np.array(given), None, errors)


def _length_error(kind: NumberList | Table, items: Any, *, text: bool) -> InputError | None:
    if isinstance(kind, Table) and text:
        return InputError(
            "",
            "A table does not fit in a query: send it as JSON, by POST or with --body",
            quote_input(items),
            kind.describe_accepted(),
        )
    if not isinstance(items, list):
        return InputError("", f"Enter a list, not {describe_type(items)}", quote_input(items), kind.describe_accepted())
    longest = min(kind.max_length, MAX_QUERY_LIST_LENGTH) if text else kind.max_length
    if not kind.min_length <= len(items) <= longest:
        hint = f"; send up to {kind.max_length} by POST" if kind.max_length >= len(items) > longest else ""
        detail = f"The list has {len(items)} entries; it may have {kind.min_length} to {longest}{hint}"
        return InputError("", detail, quote_input(items), kind.describe_accepted())
    return None


def _read_list(kind: NumberList, items: list[object], *, text: bool) -> Column:
    inner = read_column(kind.item, items, text=text)
    errors = [error.under(str(at)) for at, errors in inner.errors.items() for error in errors]
    return Column(
        inner.values[None, :],
        all_false(1),
        None if inner.uncertainty is None else inner.uncertainty[None, :],
        {0: errors} if errors else {},
    )


@dataclass(frozen=True, slots=True)
class _RowLayout:
    """What the rows of a table of inputs may hold."""

    fields: Mapping[str, Kind]
    known: tuple[str, ...]
    known_set: frozenset[str]
    """The same: fields, and the standard uncertainties of quantities."""
    required: tuple[str, ...]
    uncertainty_fields: tuple[tuple[str, str], ...]
    """Fields that hold a standard uncertainty, and the quantity that it belongs to."""


@functools.cache
def _layout(row: Hashable) -> _RowLayout:
    declared = get_fields(cast("type[Any]", row))
    fields = {name: kind for name, kind in declared.items() if kind.is_given}
    known = (*fields, *(f"{name}_u" for name, kind in fields.items() if isinstance(kind, Quantity)))
    return _RowLayout(
        fields,
        known,
        frozenset(known),
        tuple(name for name, kind in fields.items() if kind.is_required),
        tuple((name, kind.of) for name, kind in declared.items() if isinstance(kind, StandardUncertainty)),
    )


def _read_rows(kind: Table, items: list[object], names: Names) -> Column:
    layout = _layout(cast("Hashable", kind.row))
    rows: list[dict[str, object]] = [item if isinstance(item, dict) else {} for item in items]
    errors: list[InputError] = []
    compared = 0
    for at, item in enumerate(items):
        errors += _row_errors(kind, layout, at, item, compared)
        compared += isinstance(item, dict) and len(item.keys() - layout.known_set)
    columns: dict[str, Any] = {}
    uncertainties: dict[str, NDArray[np.float64]] = {}
    given: dict[str, BoolArray] = {}
    for name, inner in layout.fields.items():
        column = read_column(inner, [row.get(name, ABSENT) for row in rows], text=False, names=names)
        given[name] = column.present
        if any(name not in row for row in rows):
            column = fill_default(inner, column, ~column.present)
            if name == "name" and kind.chosen_by is not None:
                column = _number_names(column, str(inner.default))
        columns[name] = column.values[None, :]
        for at, cell_errors in column.errors.items():
            errors += [error.under(name).under(str(at)) for error in cell_errors]
        if isinstance(inner, Quantity):
            uncertainty, uncertainty_errors = _read_spread(name, inner, rows, column)
            errors += uncertainty_errors
            if uncertainty is not None:
                uncertainties[name] = uncertainty[None, :]
    for name, source in layout.uncertainty_fields:
        columns[name] = uncertainties[source] if source in uncertainties else np.zeros((1, len(rows)))
    return TableColumn(kind.row(**columns), all_false(1), None, {0: errors} if errors else {}, uncertainties, given)


def _number_names(column: Column, default: str) -> Column:
    """Return the names of rows, with a number in those that would be alike for lack of one."""
    names = [str(name) if given else None for name, given in zip(column.values, column.present, strict=True)]
    return dataclasses.replace(column, values=np.array(number_names(names, default), dtype=column.values.dtype))


def _row_errors(kind: Table, layout: _RowLayout, at: int, item: object, compared: int) -> list[InputError]:
    """Return what is wrong with the names in a row of a table; see `unknown_input_errors` for ``compared``."""
    fields = layout.fields
    if not isinstance(item, dict):
        return [
            InputError(
                f"/{at}",
                f"Enter an object, not {describe_type(item)}",
                quote_input(item),
                f"an object with {join_with_or(fields)}",
            )
        ]
    errors: list[InputError] = []
    if not item.keys() <= layout.known_set:
        names = {name: value for name, value in item.items() if name not in layout.known_set}
        errors += [error.under(str(at)) for error in unknown_input_errors(names, layout.known, layout.fields, compared)]
    errors += [missing_input_error(name, fields[name]).under(str(at)) for name in layout.required if name not in item]
    errors += [
        InputError(f"/{at}/{group[0]}", f"Give {join_with_or(group)}", None, fields[group[0]].describe_accepted())
        for group in kind.any_of
        if not any(name in item for name in group)
    ]
    return errors


def _read_spread(
    name: str, kind: Quantity, rows: list[dict[str, object]], column: Column
) -> tuple[NDArray[np.float64] | None, list[InputError]]:
    """Return the standard uncertainties of a table's quantity, (M,); None where none is given."""
    uncertainty_name = f"{name}_u"
    if not any(uncertainty_name in row for row in rows):
        return column.uncertainty, []
    separate = read_column(
        uncertainty_kind(name, kind), [row.get(uncertainty_name, ABSENT) for row in rows], text=False
    )
    uncertainty = np.where(separate.present, separate.values, 0.0)
    errors = [
        error.under(uncertainty_name).under(str(at))
        for at, cell_errors in separate.errors.items()
        for error in cell_errors
    ]
    if column.uncertainty is not None:
        uncertainty = np.hypot(uncertainty, column.uncertainty)  # given twice, they count as two independent causes
        uncertainty = uncertainty / kind.bounds.unit.scale * kind.bounds.unit.scale  # as one number would give it
    return uncertainty, errors
