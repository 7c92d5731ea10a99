"""Compute the results along one varied input, or over two: the numbers behind lines and maps."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from gramwatt.engine.draws import DRAWS, FEW_DRAWS
from gramwatt.engine.sources import may_vary
from gramwatt.engine.tables import sweep
from gramwatt.engine.tables.compute import compute_batch
from gramwatt.engine.tables.grid_cost import check_grid
from gramwatt.engine.tables.plan import Plan, carries_uncertainty
from gramwatt.model import Array, Calculator

MAX_POINTS_WITH_ALL_DRAWS: Final = 150
"""Points of a chart whose range is that of a response; more are drawn as coarsely as rows of a table."""
MAX_MAGNITUDE: Final = 1e100
"""Larger numbers are left out: the span of an axis that held them would not be finite."""


@dataclass(frozen=True, slots=True)
class GridResults:
    """Columns of results at the points of a grid, in the units of the response."""

    columns: Mapping[str, Any]

    def values(self, name: str) -> Array:
        """Return a numeric result, nan where there is none."""
        return _to_floats(self.columns[name])

    def uncertainties(self, name: str) -> Array | None:
        """Return the standard uncertainty of a result, or None where all inputs are exact."""
        column = self.columns.get(f"{name}_u")
        if column is None:
            return None
        uncertainties = _to_floats(column)
        return uncertainties if (uncertainties > 0).any() else None


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
    varies = may_vary(calculator, given) or carries_uncertainty(calculator, constants, text=text)
    draws = DRAWS if sweep.count_points(axes) <= MAX_POINTS_WITH_ALL_DRAWS else FEW_DRAWS
    plan = Plan(calculator.name, constants, text, result_units, (), calculator.propagates and varies, draws)
    check_grid(plan, axes)
    columns: dict[str, list[Any]] = {}
    for chunk in sweep.read_grid(axes, text=text):
        for computed in compute_batch(plan, chunk):
            for column, values in computed.columns.items():
                if column in names or column.removesuffix("_u") in names:
                    columns.setdefault(column, []).extend(np.asarray(values).tolist() if len(values) else [])
    return GridResults(columns)
