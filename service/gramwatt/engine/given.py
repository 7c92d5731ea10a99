"""What a request gave, as inputs that can be sent again: the same response comes back, byte for byte.

Each number is in the unit of the contract, and the shortest one with the very value that was used; a stated
uncertainty comes with it, as ``212 ± 1``.
"""

from __future__ import annotations

import math
from typing import Any

from gramwatt.engine.column_types import Column, TableColumn
from gramwatt.engine.evaluate import Outcome
from gramwatt.engine.row_names import list_row_names
from gramwatt.model import Kind, NumberList, Quantity, RowName, Table

MIN_DIGITS = 12
MAX_DIGITS = 17
"""A double has at most so many significant digits."""


def build_given(outcome: Outcome, row: int) -> dict[str, Any]:
    """Return what request ``row`` gave, by input, in the order of the declaration; a recording is only summarised."""
    given: dict[str, Any] = {}
    for name, kind in outcome.calculator.input_fields.items():
        column = outcome.given.get(name)
        if column is not None and column.present[row]:
            given[name] = _restore(outcome, kind, column, row)
    return given


def _restore(outcome: Outcome, kind: Kind, column: Column, row: int) -> Any:
    if isinstance(kind, Table):
        return _restore_rows(outcome, kind, column, row)
    uncertainty = None if column.uncertainty is None else column.uncertainty[row]
    if isinstance(kind, NumberList):
        widths = [0.0] * len(column.values[row]) if uncertainty is None else uncertainty.tolist()
        return [
            restore_quantity(kind.item, value, width)
            for value, width in zip(column.values[row].tolist(), widths, strict=True)
        ]
    return _restore_value(outcome, kind, column.values[row], 0.0 if uncertainty is None else float(uncertainty))


def _restore_value(outcome: Outcome, kind: Kind, value: Any, uncertainty: float) -> Any:
    if isinstance(kind, Quantity):
        return restore_quantity(kind, float(value), uncertainty)
    if isinstance(kind, RowName):
        return list_row_names(kind.of, outcome.inputs)[int(value)]
    return kind.to_json(value)


def _restore_rows(outcome: Outcome, kind: Table, column: Column, row: int) -> list[dict[str, Any]]:
    if not isinstance(column, TableColumn):
        raise TypeError("the column of a table is a TableColumn")
    rows: list[dict[str, Any]] = []
    columns = kind.input_columns
    for at in range(len(next(iter(column.given.values()), ()))):
        cells: dict[str, Any] = {}
        for name, inner in columns.items():
            if column.given[name][at]:
                width = column.uncertainties[name][row, at] if name in column.uncertainties else 0.0
                cells[name] = _restore_value(outcome, inner, getattr(column.values, name)[row, at], float(width))
        rows.append(cells)
    return rows


def restore_quantity(kind: Quantity, value: float, uncertainty: float = 0.0) -> float | int | str:
    """Return an SI value in the declared unit: a number, or with a standard uncertainty a text."""
    unit = kind.bounds.unit
    number = _find_number(value, unit.scale, 0.0 if kind.is_difference else unit.offset)
    if not kind.bounds.contain(float(number), value, unit):  # so near to a bound that it has the same SI value
        number = next((each for each in kind.bounds.list_ends() if kind.bounds.to_si(each, unit) == value), number)
    if not uncertainty:
        return number
    return f"{number} ± {_find_number(uncertainty, unit.scale, 0.0)}"


def _find_number(value: float, scale: float, offset: float) -> float | int:
    """Return the shortest number that is ``value`` in SI units, bit for bit."""
    near = (value - offset) / scale
    if near.is_integer() and abs(near) < 1e15 and near * scale + offset == value:
        return int(near)
    for digits in range(MIN_DIGITS, MAX_DIGITS + 1):
        number = float(f"{near:.{digits}g}")
        if number * scale + offset == value:
            return number
    return next((each for each in _list_neighbours(near) if each * scale + offset == value), near)


def _list_neighbours(number: float) -> list[float]:
    low, high, found = number, number, []
    for _ in range(4):
        low, high = math.nextafter(low, -math.inf), math.nextafter(high, math.inf)
        found += [low, high]
    return found
