"""Compute the results along one varied input, or over two: the numbers behind lines and maps."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from gramwatt.engine.tables import sweep
from gramwatt.engine.tables.compute import compute_batch
from gramwatt.engine.tables.grid_cost import check_grid
from gramwatt.engine.tables.plan import Plan, carries_uncertainty
from gramwatt.model import Array, Calculator

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
    kinds, assumptions = calculator.input_fields.values(), calculator.assumptions
    has_estimates = any(getattr(kind, "default_u", None) is not None for kind in kinds) or any(
        assumption.uncertainty is not None for assumption in assumptions
    )
    uncertain = calculator.propagates and (has_estimates or carries_uncertainty(calculator, constants, text=text))
    plan = Plan(calculator.name, constants, text, result_units, (), uncertain)
    check_grid(plan, axes)
    columns: dict[str, list[Any]] = {}
    for chunk in sweep.read_grid(axes, text=text):
        for computed in compute_batch(plan, chunk):
            for column, values in computed.columns.items():
                if column in names or column.removesuffix("_u") in names:
                    columns.setdefault(column, []).extend(np.asarray(values).tolist() if len(values) else [])
    return GridResults(columns)
