"""Read a column of cells of one kind: SI values, what is given, standard uncertainties, and errors by row.

A single request is a column of one. Cells come as a list of values or texts, as a `NumericColumn` (an array, checked as
a whole) or as a `DictionaryColumn` (each distinct cell checked once). `model.parsing` explains ``text``.
"""

from __future__ import annotations

import dataclasses
import functools
import itertools
from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Any, Final

import numpy as np

from gramwatt.engine.column_types import (
    ABSENT,
    Cells,
    Column,
    ConstantColumn,
    DictionaryColumn,
    JsonCell,
    NumericColumn,
    all_false,
    all_true,
    make_read_only,
)
from gramwatt.engine.limits import MAX_COMPARED_NAMES, MAX_LISTED_NAMES
from gramwatt.model import RESERVED_INPUTS, BoolArray, IndexArray, Kind, Quantity, units
from gramwatt.model.kinds import QuantityDifference, collect_synonyms, repeat
from gramwatt.model.messages import InputError, close_matches, join_with_or, quote_input, round_to_12_digits, suggest
from gramwatt.model.parsing import MAX_UNCERTAINTY, ValueParseError, is_number


def read_plain(kind: Kind, cells: Cells, *, text: bool) -> Column:
    """Read N cells of a kind that is not nested. Never raises for invalid cells: their errors are in the column."""
    if type(cells) is list and len(cells) == 1:
        return _read_single(kind, cells[0], text=text)  # a single request, nearly always
    if isinstance(cells, NumericColumn):
        return _read_numeric(kind, cells, text=text)
    if isinstance(cells, DictionaryColumn):
        return _read_dictionary(kind, cells, text=text)
    if isinstance(cells, ConstantColumn):
        if cells.rows == 1:
            return _read_single(kind, cells.cell, text=text or cells.text)
        dictionary = DictionaryColumn((cells.cell,), _make_zero_index(cells.rows))
        return _read_dictionary(kind, dictionary, text=text or cells.text)
    return _read_list(kind, cells, text=text)


def _read_list(kind: Kind, cells: Sequence[object], *, text: bool) -> Column:
    if len(cells) == 1:
        return _read_single(kind, cells[0], text=text)
    column = empty_column(kind, len(cells))
    if all(cell is ABSENT for cell in cells):
        return column
    column = Column(column.values.copy(), column.present.copy())
    for row, cell in enumerate(cells):
        if cell is not ABSENT:
            column.present[row] = True
            _read_into(column, kind, row, cell, text=text)
    return column


def _read_single(kind: Kind, cell: object, *, text: bool) -> Column:
    """Read the column of a single request, without arrays that are not needed."""
    if cell is ABSENT:
        return empty_column(kind, 1)
    if isinstance(cell, JsonCell):
        cell, text = cell.value, False
    try:
        value, uncertainty = kind.parse(cell, text=text)
    except ValueParseError as error:
        input_error = InputError("", error.with_hint(), quote_input(cell), error.accepted)
        return Column(empty_column(kind, 1).values, all_true(1), errors={0: [input_error]})
    dtype = None if isinstance(value, float) else empty_column(kind, 1).values.dtype
    values = np.array((value,), dtype=dtype)
    return Column(values, all_true(1), None if uncertainty is None else np.array((uncertainty,)))


def _read_into(
    column: Column, kind: Kind, row: int, cell: object, *, text: bool, bare: units.Unit | None = None
) -> None:
    if isinstance(cell, JsonCell):
        cell, text, bare = cell.value, False, None
    try:
        value, uncertainty = kind.parse(cell, text=text, bare=bare)
    except ValueParseError as error:
        detail = error.with_hint() if len(column.errors) < MAX_COMPARED_NAMES else error.detail
        column.errors[row] = [InputError("", detail, quote_input(cell), error.accepted)]
        return
    column.values[row] = value
    if uncertainty is not None:
        if column.uncertainty is None:
            column.uncertainty = np.zeros(len(column.values))
        column.uncertainty[row] = uncertainty


def _read_numeric(kind: Kind, cells: NumericColumn, *, text: bool) -> Column:
    if not kind.is_numeric:
        return _read_list(kind, list_cells(cells), text=text)
    values, valid = _convert_numbers(kind, cells)
    column = Column(values, cells.present)
    if valid.all() and not cells.others:
        return column
    invalid = cells.present & ~valid
    invalid[list(cells.others)] = False
    # A number out of bounds is read again by itself, for the text that a single request would get.
    for row in np.flatnonzero(invalid).tolist():
        number = _restore_number(round_to_12_digits(float(cells.numbers[row])))
        _read_into(column, kind, row, number, text=text, bare=_get_unit(cells, row))
    if cells.others:
        column.values = np.array(column.values)
        for row, cell in cells.others.items():
            _read_into(column, kind, row, cell, text=text, bare=cells.bare)
    return column


@np.errstate(over="ignore")  # a number that is beyond a double in SI units is out of bounds
def _convert_numbers(kind: Kind, cells: NumericColumn) -> tuple[Any, BoolArray]:
    if cells.unit_at is None:
        return kind.convert_numbers(cells.numbers, cells.in_units[0] if cells.in_units else None)
    values, valid = np.full(len(cells), np.nan), np.zeros(len(cells), dtype=np.bool_)
    for position, unit in enumerate(cells.in_units):
        rows = cells.unit_at == position
        values[rows], valid[rows] = kind.convert_numbers(cells.numbers[rows], unit)
    return values, valid


def _get_unit(cells: NumericColumn, row: int) -> units.Unit | None:
    if not cells.in_units:
        return None
    return cells.in_units[0] if cells.unit_at is None else cells.in_units[cells.unit_at[row]]


def list_cells(cells: Cells) -> list[object]:
    """Return the cells of a column one by one."""
    return [get_cell(cells, row) for row in range(len(cells))]


def get_cell(cells: Cells, row: int) -> object:
    """Return a cell as it can stand by itself: with the unit of its column, if the column has one."""
    if isinstance(cells, ConstantColumn):
        return cells.cell
    if isinstance(cells, DictionaryColumn):
        return ABSENT if cells.at[row] < 0 else _add_unit(cells.distinct[cells.at[row]], cells.bare)
    if not isinstance(cells, NumericColumn):
        return cells[row]
    if row in cells.others:
        return _add_unit(cells.others[row], cells.bare)
    if not cells.present[row]:
        return ABSENT
    number, unit = _restore_number(float(cells.numbers[row])), _get_unit(cells, row)
    return number if unit is None else f"{number!r} {unit.spelling}"


def _add_unit(cell: object, unit: units.Unit | None) -> object:
    return f"{cell} {unit.spelling}" if unit is not None and isinstance(cell, str) and is_number(cell) else cell


def _restore_number(number: float) -> float | int:
    """Return a number as it was most likely sent: ``6``, not ``6.0``."""
    return int(number) if number.is_integer() and abs(number) < 1e15 else number


def _read_dictionary(kind: Kind, cells: DictionaryColumn, *, text: bool) -> Column:
    distinct = empty_column(kind, len(cells.distinct) + 1)
    distinct = Column(distinct.values.copy(), np.append(np.ones(len(cells.distinct), dtype=np.bool_), False))
    for row, cell in enumerate(cells.distinct):
        _read_into(distinct, kind, row, cell, text=text, bare=cells.bare)
    errors: dict[int, list[InputError]] = {}
    for position, cell_errors in distinct.errors.items():
        errors |= dict.fromkeys(np.flatnonzero(cells.at == position).tolist(), cell_errors)
    uncertainty = None if distinct.uncertainty is None else distinct.uncertainty[cells.at]
    return Column(distinct.values[cells.at], distinct.present[cells.at], uncertainty, errors)


@functools.lru_cache(maxsize=64)
def _make_zero_index(rows: int) -> IndexArray:
    index: IndexArray = make_read_only(np.zeros(rows, dtype=np.intp))
    return index


def empty_column(kind: Kind, rows: int) -> Column:
    """Return the column of an input that no row gives. Its arrays are shared and read-only."""
    return _get_cached(_make_empty_column, kind, rows)


def default_column(kind: Kind, rows: int) -> Column:
    """Return the column of an input that took its declared default in each row. Its arrays are shared and read-only."""
    return _get_cached(_make_default_column, kind, rows)


_CACHE: Final[dict[tuple[object, int, int], tuple[Kind, Column]]] = {}
MAX_CACHED_COLUMNS: Final = 4096


def _get_cached(make: Callable[[Kind, int], Column], kind: Kind, rows: int) -> Column:
    """Return the column made for this very kind; by identity, which is faster than the hash of a dozen fields."""
    key = (make, id(kind), rows)
    cached = _CACHE.get(key)
    if cached is None or cached[0] is not kind:
        if len(_CACHE) > MAX_CACHED_COLUMNS:
            _CACHE.clear()
        cached = _CACHE[key] = (kind, make(kind, rows))
    return cached[1]


def _make_empty_column(kind: Kind, rows: int) -> Column:
    return Column(kind.make_empty(rows), all_false(rows))


def _make_default_column(kind: Kind, rows: int) -> Column:
    empty = empty_column(kind, rows)
    if kind.default is None:
        return empty
    value = np.array(kind.to_internal(kind.default), dtype=empty.values.dtype)
    return Column(repeat(value, rows), empty.present)


def fill_default(kind: Kind, column: Column, rows: BoolArray) -> Column:
    """Return the column with the declared default, as the formula gets it, in some rows."""
    if kind.default is None or not rows.any():
        return column
    values = np.array(column.values)
    values[rows] = kind.to_internal(kind.default)
    return dataclasses.replace(column, values=values)


@functools.lru_cache(maxsize=1024)
def uncertainty_kind(name: str, kind: Quantity) -> Quantity:
    """Return the declaration of ``<name>_u``, the standard uncertainty of a quantity, in the quantity's unit."""
    width = "K" if units.get_unit(kind.unit).dimension == "temperature" else kind.unit
    return QuantityDifference(
        width, f"Standard uncertainty of {name}.", at_least=0, at_most=MAX_UNCERTAINTY, optional=True
    )


def unknown_input_errors(
    names: Mapping[str, object], known: Collection[str], fields: Mapping[str, Kind], compared: int = 0
) -> list[InputError]:
    """Return an error for each name, with its value, that is no input of the calculator.

    `MAX_COMPARED_NAMES` comparisons are made, of each name with the inputs and with the options of a query, less those
    of the ``compared`` names that were reported before. Names beyond `MAX_LISTED_NAMES` are only counted.
    """
    synonyms = collect_synonyms(fields)

    def find_hint(name: str) -> str:
        return suggest(name, known, synonyms) or _suggest_option(name)

    return unknown_name_errors("input", names, join_with_or(known), find_hint, MAX_COMPARED_NAMES // 2 - compared)


def unknown_name_errors(
    what: str, names: Mapping[str, object], accepted: str, find_hint: Callable[[str], str], compared: int
) -> list[InputError]:
    """Return an error for each name, with its value; with a hint at what was meant for the first ``compared`` names.

    Names beyond `MAX_LISTED_NAMES` are only counted.
    """
    errors = []
    for at, (name, value) in enumerate(itertools.islice(names.items(), MAX_LISTED_NAMES)):
        detail = f'Unknown {what} "{quote_input(name)}"{find_hint(name) if at < compared else ""}'
        errors.append(InputError(f"/{escape_name(name)}", detail, quote_input(value), accepted))
    if len(names) > MAX_LISTED_NAMES:
        errors.append(InputError("", f"{len(names) - MAX_LISTED_NAMES} more unknown names", None, accepted))
    return errors


_OPTIONS: Final = sorted(name for name in RESERVED_INPUTS if len(name) > 4)


def _suggest_option(name: str) -> str:
    """Return the end of a sentence about a name that is that of an option of the query, or nearly that."""
    if name in _OPTIONS:
        return f"; {name} is an option, but not one of this request"
    meant = close_matches(name, _OPTIONS, cutoff=0.8)
    return f"; did you mean the option {join_with_or(meant)}?" if meant else ""


def missing_input_error(name: str, kind: Kind) -> InputError:
    """Return the error for a required input that was not given."""
    return InputError(f"/{name}", f"{name} is required", None, kind.describe_accepted())


def escape_name(name: str) -> str:
    """Return a user's own name, cut and escaped for a JSON Pointer."""
    return str(quote_input(name)).replace("~", "~0").replace("/", "~1")
