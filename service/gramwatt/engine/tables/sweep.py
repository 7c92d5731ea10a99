"""Grids: vary inputs over points, with the other inputs constant."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from gramwatt.engine.cells import parse_range_end
from gramwatt.engine.column_types import Cells, DictionaryColumn, NumericColumn
from gramwatt.engine.columns import unknown_input_errors
from gramwatt.engine.tables.chunks import Chunk
from gramwatt.engine.tables.plan import Plan
from gramwatt.model import Calculator, Count, Kind, Quantity, units
from gramwatt.model.messages import InputError, quote_input
from gramwatt.model.parsing import ValueParseError

CHUNK_POINTS: Final = 16_384
"""Points to compute before they are written."""


@dataclass(frozen=True, slots=True)
class Axis:
    """A varied input: evenly from ``start`` to ``stop`` in a unit, or over a list of cells."""

    name: str
    count: int
    start: float = 0.0
    stop: float = 0.0
    unit: units.Unit | None = None
    cells: tuple[object, ...] = ()
    nested: bool = False
    """Whether each cell is itself a list or a table."""

    def column(self, at: Any) -> Cells:
        """Return the cells at positions along the axis."""
        if self.nested:
            return [self.cells[position] for position in at.tolist()]
        if self.cells:
            return DictionaryColumn(self.cells, at)
        return NumericColumn(
            self.points(at), np.ones(len(at), dtype=np.bool_), () if self.unit is None else (self.unit,)
        )

    def points(self, at: Any) -> Any:
        """Return the numbers at positions along the axis; its two ends are exactly as given."""
        step = (self.stop - self.start) / max(self.count - 1, 1)
        return np.where(at == self.count - 1, self.stop if self.count > 1 else self.start, self.start + at * step)


def make_even_axis(
    calculator: Calculator[Any, Any], name: str, start: object, stop: object, count: int, *, text: bool
) -> tuple[Axis | None, list[InputError]]:
    """Return an axis from ``start`` to ``stop``, and the errors in it.

    Both ends are numbers, or texts with a unit. They may be out of bounds: the rows there are then invalid.
    """
    kind, errors = find_range_kind(calculator, name)
    if kind is None:
        return None, errors
    ends: list[tuple[float, units.Unit | None]] = []
    for end, value in (("from", start), ("to", stop)):
        try:
            ends.append(parse_range_end(kind, value, text=text))
        except ValueParseError as error:
            errors.append(InputError(f"/{end}", f"{name}: {error.detail}", quote_input(value), error.accepted))
    if len(ends) < 2:
        return None, errors
    (low, unit), (high, other) = ends
    if unit is not None and other is not None and unit != other:
        low, high, unit = _convert_ends(kind, ends)
    return Axis(name, count, low, high, unit), errors


def _convert_ends(
    kind: Kind, ends: Sequence[tuple[float, units.Unit | None]]
) -> tuple[float, float, units.Unit | None]:
    """Convert two ends in different units to the declared unit."""
    if not isinstance(kind, Quantity):
        raise TypeError(kind)
    declared = kind.bounds.unit
    low, high = (float(declared.from_si(np.array([(unit or declared).to_si(number)]))[0]) for number, unit in ends)
    return low, high, declared


def make_list_axis(
    calculator: Calculator[Any, Any], name: str, cells: Sequence[object]
) -> tuple[Axis | None, list[InputError]]:
    """Return an axis over a list of cells, and the errors in it."""
    kind, errors = _find_kind(calculator, name)
    if not errors and not cells:
        errors.append(InputError(f"/{name}", "The list of points is empty", None, "at least one point"))
    if errors or kind is None:
        return None, errors
    return Axis(name, len(cells), cells=tuple(cells), nested=kind.is_nested), []


def find_range_kind(calculator: Calculator[Any, Any], name: str) -> tuple[Quantity | Count | None, list[InputError]]:
    """Return the kind of an input that can vary over a range, or None and why it cannot."""
    kind, errors = _find_kind(calculator, name)
    if kind is None or isinstance(kind, Quantity | Count):
        return kind, errors
    accepted = f"a list of values, each {kind.describe_accepted()}"
    return None, [InputError(f"/{name}", f"{name} cannot vary over a range", None, accepted)]


def _find_kind(calculator: Calculator[Any, Any], name: str) -> tuple[Kind | None, list[InputError]]:
    kind = calculator.input_fields.get(name)
    if kind is not None:
        return kind, []
    varying = {each: kind for each, kind in calculator.input_fields.items() if not kind.is_nested}
    return None, unknown_input_errors({name: name}, varying.keys(), varying)


def variable_inputs(calculator: Calculator[Any, Any]) -> tuple[str, ...]:
    """Return the names of the inputs that can vary over a range: quantities and counts."""
    return tuple(name for name, kind in calculator.input_fields.items() if isinstance(kind, Quantity | Count))


def show_axes(plan: Plan, axes: Sequence[Axis]) -> Plan:
    """Return the plan with the varied inputs among the output columns."""
    names = tuple(axis.name for axis in axes)
    return dataclasses.replace(plan, shown_inputs=(*names, *(name for name in plan.shown_inputs if name not in names)))


def count_points(axes: Sequence[Axis]) -> int:
    """Return the number of points of a grid."""
    points = 1
    for axis in axes:
        points *= axis.count
    return points


def read_grid(
    axes: Sequence[Axis],
    *,
    text: bool,
    start: int = 0,
    stop: int | None = None,
    rows: int = CHUNK_POINTS,
) -> Iterator[Chunk]:
    """Yield the points of a grid, or those from ``start`` to ``stop``. The last axis varies fastest."""
    shape = tuple(axis.count for axis in axes)
    stop = count_points(axes) if stop is None else stop
    for first in range(start, stop, rows):
        last = min(first + rows, stop)
        places = np.unravel_index(np.arange(first, last), shape)
        cells: dict[str, Cells] = {
            axis.name: axis.column(at.astype(np.intp)) for axis, at in zip(axes, places, strict=True)
        }
        yield Chunk(first, last - first, cells, text)
