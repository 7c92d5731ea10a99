"""Reading a column of cells of one kind: values in SI, what was given at all, spread, and faults by row.

A single question is a column of one. Cells come as a list of values or words, as a `NumericColumn` (an array,
judged whole) or as a `DictionaryColumn` (each distinct cell judged once). See `cells` for ``text``.
"""

from __future__ import annotations

import dataclasses
import functools
import itertools
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gramwatt.engine.cells import MAX_UNCERTAINTY, QuantityDifference, ValueParseError, get_bounds, read_cell
from gramwatt.engine.column_types import (
    ABSENT,
    Cells,
    Column,
    ConstantColumn,
    DictionaryColumn,
    NumericColumn,
    all_false,
    all_true,
    make_read_only,
)
from gramwatt.engine.limits import MAX_COMPARED_NAMES, MAX_LISTED_NAMES
from gramwatt.engine.messages import (
    InputError,
    describe_accepted,
    join_with_or,
    quote_input,
    round_to_12_digits,
    suggest,
)
from gramwatt.model import (
    BoolArray,
    Choice,
    Count,
    Flag,
    IndexArray,
    Kind,
    NumberList,
    Quantity,
    Table,
    Text,
    TimeSeries,
    default_of,
    get_fields,
    units,
)


def read_plain(kind: Kind, cells: Cells, *, text: bool) -> Column:
    """Read N cells of a kind that is not nested. Never raises for invalid cells: their errors are in the column."""
    if type(cells) is list and len(cells) == 1:
        return _read_one(kind, cells[0], text=text)  # a single request, nearly always
    if isinstance(cells, NumericColumn):
        return _read_packed(kind, cells, text=text)
    if isinstance(cells, DictionaryColumn):
        return _read_coded(kind, cells, text=text)
    if isinstance(cells, ConstantColumn):
        return _read_coded(kind, DictionaryColumn((cells.cell,), _first(cells.rows)), text=text or cells.text)
    return _read_each(kind, cells, text=text)


def _read_each(kind: Kind, cells: Sequence[object], *, text: bool) -> Column:
    if len(cells) == 1:
        return _read_one(kind, cells[0], text=text)
    column = empty_column(kind, len(cells))
    if all(cell is ABSENT for cell in cells):
        return column
    column = Column(column.values.copy(), column.present.copy())
    for row, cell in enumerate(cells):
        if cell is not ABSENT:
            column.present[row] = True
            _read_into(column, kind, row, cell, text=text)
    return column


def _read_one(kind: Kind, cell: object, *, text: bool) -> Column:
    """The column of a single question: no array is made that is not needed."""
    if cell is ABSENT:
        return empty_column(kind, 1)
    try:
        value, spread = read_cell(kind, cell, text=text)
    except ValueParseError as refused:
        error = InputError("", refused.with_hint(), quote_input(cell), refused.accepted)
        return Column(empty_column(kind, 1).values, all_true(1), errors={0: [error]})
    form = None if isinstance(value, float) else empty_column(kind, 1).values.dtype
    return Column(np.array((value,), dtype=form), all_true(1), None if spread is None else np.array((spread,)))


def _read_into(
    column: Column, kind: Kind, row: int, cell: object, *, text: bool, bare: units.Unit | None = None
) -> None:
    try:
        value, spread = read_cell(kind, cell, text=text, bare=bare)
    except ValueParseError as refused:
        detail = refused.with_hint() if len(column.errors) < MAX_COMPARED_NAMES else refused.detail
        column.errors[row] = [InputError("", detail, quote_input(cell), refused.accepted)]
        return
    column.values[row] = value
    if spread is not None:
        if column.uncertainty is None:
            column.uncertainty = np.zeros(len(column.values))
        column.uncertainty[row] = spread


def _read_packed(kind: Kind, packed: NumericColumn, *, text: bool) -> Column:
    if not isinstance(kind, Quantity | Count):
        return _read_each(kind, _unpacked(packed), text=text)
    numbers = packed.numbers
    if isinstance(kind, Count):
        values = numbers
        good = (numbers >= kind.at_least) & (numbers <= kind.at_most)
        good &= np.floor(numbers) == numbers
    else:
        values, good = _judge(kind, packed)
    column = Column(values, packed.present)
    if good.all() and not packed.others:
        return column
    bad = packed.present & ~good
    bad[list(packed.others)] = False
    # A number out of bounds is read once more, alone, for the words that a single question would get.
    for row in np.flatnonzero(bad).tolist():
        unit = _unit_of(packed, row)
        _read_into(column, kind, row, _plain(numbers[row]), text=text, bare=unit)
    if packed.others:
        column.values = np.array(column.values)
        for row, cell in packed.others.items():
            _read_into(column, kind, row, cell, text=text, bare=packed.bare)
    return column


@np.errstate(over="ignore")  # a number beyond a double in SI is out of bounds, and told so
def _judge(kind: Quantity, packed: NumericColumn) -> tuple[NDArray[np.float64], BoolArray]:
    limits = get_bounds(kind)
    if packed.unit_at is None:
        unit = packed.in_units[0] if packed.in_units else limits.unit
        values = limits.to_si(packed.numbers, unit)
        return values, limits.hold(packed.numbers, values, unit)
    values, good = np.full(len(packed), np.nan), np.zeros(len(packed), dtype=np.bool_)
    for position, unit in enumerate(packed.in_units):
        rows = packed.unit_at == position
        values[rows] = limits.to_si(packed.numbers[rows], unit)
        good[rows] = limits.hold(packed.numbers[rows], values[rows], unit)
    return values, good


def _unit_of(packed: NumericColumn, row: int) -> units.Unit | None:
    if not packed.in_units:
        return None
    return packed.in_units[0] if packed.unit_at is None else packed.in_units[packed.unit_at[row]]


def _unpacked(packed: NumericColumn) -> list[object]:
    numbers = [
        _plain(number) if present else ABSENT for number, present in zip(packed.numbers, packed.present, strict=True)
    ]
    return [packed.others.get(row, number) for row, number in enumerate(numbers)]


def _plain(number: float) -> float | int:
    """A number as it was most likely sent: ``6``, not ``6.0``."""
    number = float(number)
    return int(number) if number.is_integer() and abs(number) < 1e15 else round_to_12_digits(number)


def _read_coded(kind: Kind, coded: DictionaryColumn, *, text: bool) -> Column:
    one = empty_column(kind, len(coded.distinct) + 1)
    one = Column(one.values.copy(), np.append(np.ones(len(coded.distinct), dtype=np.bool_), False))
    for row, cell in enumerate(coded.distinct):
        _read_into(one, kind, row, cell, text=text, bare=coded.bare)
    errors: dict[int, list[InputError]] = {}
    for position, found in one.errors.items():
        errors |= dict.fromkeys(np.flatnonzero(coded.at == position).tolist(), found)
    spread = None if one.uncertainty is None else one.uncertainty[coded.at]
    return Column(one.values[coded.at], one.present[coded.at], spread, errors)


@functools.lru_cache(maxsize=64)
def _first(rows: int) -> IndexArray:
    codes: IndexArray = make_read_only(np.zeros(rows, dtype=np.intp))
    return codes


def empty_column(kind: Kind, rows: int) -> Column:
    """A column in which nothing was given: nan, -1, or a list of none. Its arrays are shared and read-only."""
    return _of_identity(_absent, kind, rows)


def default_column(kind: Kind, rows: int) -> Column:
    """A column of an input that took its declared default everywhere. Its arrays are shared and read-only."""
    return _of_identity(_defaulted, kind, rows)


_MADE: Final[dict[tuple[object, int, int], tuple[Kind, Column]]] = {}
MAX_CACHED_COLUMNS: Final = 4096


def _of_identity(make: Callable[[Kind, int], Column], kind: Kind, rows: int) -> Column:
    """What was made for this very kind before; by identity, which is quicker than the hash of a dozen fields."""
    key = (make, id(kind), rows)
    found = _MADE.get(key)
    if found is None or found[0] is not kind:
        if len(_MADE) > MAX_CACHED_COLUMNS:
            _MADE.clear()
        found = _MADE[key] = (kind, make(kind, rows))
    return found[1]


def _absent(kind: Kind, rows: int) -> Column:
    match kind:
        case Choice():
            return Column(_repeated(np.intp(-1), rows), all_false(rows))
        case Flag():
            return Column(_repeated(np.False_, rows), all_false(rows))
        case Text():
            return Column(_repeated(np.array("", dtype=f"<U{kind.max_length}"), rows), all_false(rows))
        case NumberList():
            return Column(np.zeros((rows, 0)), all_false(rows))
        case TimeSeries():
            return Column(make_read_only(np.full(rows, None, dtype=np.object_)), all_false(rows))
        case Table():
            inner = {
                name: np.zeros((rows, 0), dtype=empty_column(column, 1).values.dtype)
                for name, column in get_fields(kind.row).items()
            }
            return Column(kind.row(**inner), all_false(rows))
        case _:
            return Column(_repeated(np.float64(np.nan), rows), all_false(rows))


def _defaulted(kind: Kind, rows: int) -> Column:
    default = default_of(kind)
    empty = empty_column(kind, rows)
    if default is None:
        return empty
    return Column(_repeated(np.array(to_internal(kind, default), dtype=empty.values.dtype), rows), empty.present)


def _repeated(value: Any, rows: int) -> Any:
    return np.broadcast_to(value, (rows,)) if rows > 1 else make_read_only(np.full(rows, value))


def fill_default(kind: Kind, column: Column, rows: BoolArray) -> Column:
    """The column with the declared default, converted to SI, in the rows where nothing was given."""
    default = default_of(kind)
    if default is None or not rows.any():
        return column
    values = np.array(column.values)
    values[rows] = to_internal(kind, default)
    return dataclasses.replace(column, values=values)


def to_internal(kind: Kind, value: Any) -> Any:
    """A declared value as the formula has it: SI, or a position in the options."""
    match kind:
        case Quantity():
            return units.get_unit(kind.unit).to_si(value)
        case Choice():
            return kind.options.index(value)
        case _:
            return value


@functools.lru_cache(maxsize=1024)
def uncertainty_kind(name: str, kind: Quantity) -> Quantity:
    """The declaration of ``<name>_u``, the standard uncertainty of a quantity, in the quantity's unit."""
    width = "K" if units.get_unit(kind.unit).dimension == "temperature" else kind.unit
    return QuantityDifference(
        width, f"Standard uncertainty of {name}.", at_least=0, at_most=MAX_UNCERTAINTY, optional=True
    )


def unknown_input_errors(names: Mapping[str, object], known: Sequence[str], compared: int = 0) -> list[InputError]:
    """The faults of names, with their values, that a question may not bear.

    The first `MAX_COMPARED_NAMES` have near matches, less ``compared``, which were told before; of more than
    `MAX_LISTED_NAMES` the rest is counted.
    """
    accepted = join_with_or(known)
    errors = []
    for at, (name, value) in enumerate(itertools.islice(names.items(), MAX_LISTED_NAMES), compared):
        hint = suggest(name, known) if at < MAX_COMPARED_NAMES else ""
        errors.append(
            InputError(
                f"/{escape_name(name)}", f"unknown name {quote_input(name)!r}{hint}", quote_input(value), accepted
            )
        )
    if len(names) > MAX_LISTED_NAMES:
        errors.append(InputError("", f"{len(names) - MAX_LISTED_NAMES} more unknown names", None, accepted))
    return errors


def missing_input_error(name: str, kind: Kind) -> InputError:
    """The fault of a required input that was not given."""
    return InputError(f"/{name}", f"{name} is required", None, describe_accepted(kind))


def escape_name(name: str) -> str:
    """A user's own name, cut and escaped for a JSON Pointer."""
    return str(quote_input(name)).replace("~", "~0").replace("/", "~1")
