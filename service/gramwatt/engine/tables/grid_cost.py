"""Estimate the work of a grid before the first point is computed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

import numpy as np

from gramwatt.engine import budget
from gramwatt.engine.column_types import Column, column_uncertainties
from gramwatt.engine.limits import MAX_GRID_NUMBERS
from gramwatt.engine.nested import read_column
from gramwatt.engine.sources import may_vary
from gramwatt.engine.tables.craft_columns import take_for_constants
from gramwatt.engine.tables.plan import Plan
from gramwatt.engine.tables.sweep import Axis, count_points
from gramwatt.model import NumberList, Recording, get_fields

POINT_COST: Final = 250_000
CELL_COST: Final = 200
NUMBER_COST: Final = 4
"""Measured costs of a row that is computed by itself: the row, reading a cell, computing a number.

The unit is the time of a number where rows are computed together, about 5 ns.
"""


def check_grid(plan: Plan, axes: Sequence[Axis]) -> None:
    """Raise TooMuchWork where a grid would compute more than `MAX_GRID_NUMBERS` numbers for a request with a budget.

    Numbers: the points, times the inputs and results of each, times the evaluations that carry uncertainty.
    """
    if budget.get_current() is None:
        return
    points, each = count_points(axes), estimate_point_work(plan, axes)
    if points * each <= MAX_GRID_NUMBERS:
        return
    most = max(1, MAX_GRID_NUMBERS // each)
    raise budget.TooMuchWork(
        f"{points} points would compute {points * each:.2g} numbers, and a request may compute {MAX_GRID_NUMBERS:.2g}: "
        f"ask for at most {most} points, or give shorter lists and fewer uncertainties"
    )


def estimate_point_work(plan: Plan, axes: Sequence[Axis]) -> int:
    """Return the numbers that one point computes, at most."""
    calculator = plan.calculator
    columns = list(_read(plan, axes))
    entries, moved = 0, 0
    for column in columns:
        entries += _entries(column)
        moved += _moved(column)
    given = {*plan.constants, *(axis.name for axis in axes)}
    copies = 1 + plan.draws if _propagates(plan) and (moved or may_vary(calculator, given)) else 1
    results = sum(kind.max_length if isinstance(kind, NumberList) else 1 for kind in calculator.result_fields.values())
    if calculator.columnwise:
        return copies * (len(calculator.input_fields) + results)
    numbers = len(calculator.input_fields) + len(calculator.result_fields) + 2 * entries
    return POINT_COST + CELL_COST * entries + NUMBER_COST * copies * numbers


def _propagates(plan: Plan) -> bool:
    return plan.calculator.propagates and (plan.uncertain or not plan.calculator.columnwise)


def _read(plan: Plan, axes: Sequence[Axis]) -> Iterator[Column]:
    """Read each input once; for an axis, read the cell with the most entries."""
    fields = plan.calculator.input_fields
    varied = {axis.name for axis in axes}
    taken = take_for_constants(plan.calculator, plan.constants, varied, text=plan.text).inputs
    for name, cell in {**plan.constants, **taken}.items():
        if name in fields:
            yield read_column(fields[name], [cell], text=plan.text and name not in taken)
    for axis in axes:
        kind = fields[axis.name]
        cells = axis.cells if kind.is_nested else axis.cells[:1]
        columns = [read_column(kind, [cell], text=plan.text) for cell in cells]
        if columns:
            yield max(columns, key=lambda column: (_entries(column), _moved(column)))


def _entries(column: Column) -> int:
    """Count the cells of an input of one row."""
    values = column.values
    if isinstance(values, np.ndarray):
        return sum(_samples(each) for each in values) if values.dtype == object else int(values.size)
    inner = [getattr(values, name) for name in get_fields(type(values))]
    return sum(_samples(each) for value in inner for each in (value.ravel() if value.dtype == object else [value]))


def _samples(value: Any) -> int:
    if isinstance(value, Recording):
        return value.rows * len(value.columns)
    return int(np.size(value))


def _moved(column: Column) -> int:
    """Count the entries that carry an uncertainty."""
    spreads = [spread for spread in (column.uncertainty, *column_uncertainties(column).values()) if spread is not None]
    return sum(int(np.count_nonzero(spread > 0)) for spread in spreads)
