"""Results along one varied input, or over two: the numbers behind lines and maps."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from gramwatt.engine.tables import sweep
from gramwatt.engine.tables.compute import Plan, carries_uncertainty, compute_batch
from gramwatt.engine.tables.grid_cost import check_grid
from gramwatt.model import Array, Calculator


@dataclass(frozen=True, slots=True)
class Points:
    """Columns of results at the points of a grid, in the units of the answer."""

    columns: Mapping[str, Any]

    def values(self, name: str) -> Array:
        """A numeric result, nan where there is no answer."""
        return _numbers(self.columns[name])

    def widths(self, name: str) -> Array | None:
        """Its standard uncertainty; None where no input tells any."""
        found = self.columns.get(f"{name}_u")
        if found is None:
            return None
        widths = _numbers(found)
        return widths if (widths > 0).any() else None


BEYOND: Final = 1e100
"""Numbers that no axis can hold: their differences may be no doubles."""


def _numbers(column: Any) -> Array:
    values = np.array([np.nan if value is None else float(value) for value in column], dtype=np.float64)
    return np.where(np.abs(values) < BEYOND, values, np.nan)


def points(
    calculator: Calculator[Any, Any],
    constants: Mapping[str, object],
    axes: Sequence[sweep.Axis],
    *,
    text: bool,
    result_units: Mapping[str, str],
    names: Collection[str],
) -> Points:
    """The named results at every point, the last axis fastest. A point with a fault has no answer.

    Uncertainty is carried where the question tells any, or a guess that it rests on does. Raises TooMuchWork.
    """
    guessed = any(getattr(kind, "default_u", None) is not None for kind in calculator.input_fields.values()) or any(
        assumption.uncertainty is not None for assumption in calculator.assumptions
    )
    uncertain = calculator.propagates and (guessed or carries_uncertainty(calculator, constants, text=text))
    plan = Plan(calculator.name, constants, text, result_units, (), uncertain)
    check_grid(plan, axes)
    found: dict[str, list[Any]] = {}
    for chunk in sweep.read_grid(axes, text=text):
        for piece in compute_batch(plan, chunk):
            for column, values in piece.columns.items():
                if column in names or column.removesuffix("_u") in names:
                    found.setdefault(column, []).extend(np.asarray(values).tolist() if len(values) else [])
    return Points(found)
