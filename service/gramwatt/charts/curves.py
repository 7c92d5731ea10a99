"""Compute the results along one varied input, or over two: the numbers behind lines and maps."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from gramwatt.charts.chart_data import Range
from gramwatt.engine.cautions import POSSIBLY
from gramwatt.engine.draws import DRAWS, FEW_DRAWS
from gramwatt.engine.sources import may_vary
from gramwatt.engine.tables import sweep
from gramwatt.engine.tables.compute import compute_batch
from gramwatt.engine.tables.grid_cost import check_grid, estimate_point_work
from gramwatt.engine.tables.plan import Plan, carries_uncertainty, output_columns
from gramwatt.model import Array, Calculator

MAX_NUMBERS_WITH_ALL_DRAWS: Final = 50_000_000
"""Numbers of a chart whose ranges are those of a response; one with more is drawn as coarsely as a table. See
`grid_cost`."""
MAX_MAGNITUDE: Final = 1e100
"""Larger numbers are left out: the span of an axis that held them would not be finite."""


@dataclass(frozen=True, slots=True)
class GridResults:
    """Columns of results at the points of a grid, in the units of the response."""

    columns: Mapping[str, Any]
    """By the name of the result."""
    ends: Mapping[str, tuple[Any, Any]]
    """The columns of both ends of the range, by the name of the result."""
    is_partial: bool = False
    """Whether some of the likely cases have no result at some point."""

    def values(self, name: str) -> Array:
        """Return a numeric result, nan where there is none."""
        return _to_floats(self.columns[name])

    def range(self, name: str) -> Range | None:
        """Return the range of a result, or None where all inputs are exact."""
        if name not in self.ends:
            return None
        low, high = (_to_floats(column) for column in self.ends[name])
        return Range(low, high, self.is_partial) if (high > low).any() else None


def _to_floats(column: Any) -> Array:
    values = np.array([np.nan if value is None else float(value) for value in column], dtype=np.float64)
    return np.where(np.abs(values) < MAX_MAGNITUDE, values, np.nan)


def compute_grid(
    calculator: Calculator[Any, Any],
    constants: Mapping[str, object],
    axes: Sequence[sweep.Axis],
    *,
    text: bool,
    result_units: Mapping[str, str],
    names: Collection[str],
) -> GridResults:
    """Return the named results at every point of a grid; the last axis varies fastest.

    An invalid point has no results. Uncertainty is propagated where an input, or an estimate that stands in for one,
    carries it.

    Raises
    ------
    TooMuchWork
        The grid costs more than a request may.
    """
    given = {*constants, *(axis.name for axis in axes)}
    varies = may_vary(calculator, given) or carries_uncertainty(
        calculator, constants, [axis.name for axis in axes], text=text
    )
    plan = Plan(calculator.name, constants, text, result_units, (), calculator.propagates and varies, DRAWS)
    if sweep.count_points(axes) * estimate_point_work(plan, axes) > MAX_NUMBERS_WITH_ALL_DRAWS:
        plan = dataclasses.replace(plan, draws=FEW_DRAWS)
    check_grid(plan, axes)
    shown = [column for column in output_columns(plan) if column.field in names and column.part != "standard"]
    columns: dict[str, list[Any]] = {column.name: [] for column in shown}
    codes: set[str] = set()
    for chunk in sweep.read_grid(axes, text=text):
        for computed in compute_batch(plan, chunk):
            codes.update(*computed.cautions)
            for name, values in columns.items():
                values.extend(np.asarray(computed.columns[name]).tolist())
    by_part = {(column.field, column.part): columns[column.name] for column in shown}
    return GridResults(
        {name: by_part[name, ""] for name in names},
        {name: (by_part[name, "low"], by_part[name, "high"]) for name in names if (name, "low") in by_part},
        any(code.startswith(POSSIBLY) for code in codes),
    )
