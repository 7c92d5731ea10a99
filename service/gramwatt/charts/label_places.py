"""Find places for labels in a drawing, by a grid of small cells that knows what is already drawn where."""

from __future__ import annotations

import math
from typing import Any, Final, NamedTuple

import numpy as np

from gramwatt.arrays import Array, BoolArray

CELL: Final = 0.03
"""Inches."""
CLEARANCE: Final = 0.03
"""Blank inches around a label."""
MAX_TARGETS: Final = 40
"""Points of a shape that places are compared with."""
MAX_TRIED: Final = 60
"""Places whose lines to the shape are compared: so many of the best, and about as many of all others."""
BESIDE: Final = 0.1
"""Inches within which a label needs no line to its shape."""
UPPER_LEFT: Final = 0.002
"""Inches that a label may rather be further away than an inch further to the right or down."""
INSIDE: Final = 0.1
DISLIKED: Final = 0.4
"""Inches that a label may rather be further away than outside its shape, or within another."""
CROSSING: Final = 0.02
"""Inches that a label may rather be further away than have its line cross another in a cell."""


class Target(NamedTuple):
    """What a label is about, in inches from the upper left corner."""

    x: Array
    """Points of its outline."""
    y: Array
    inside: BoolArray | None
    """The cells within it."""
    is_centered: bool
    """Whether the label belongs in its middle."""
    excluded: BoolArray
    """Cells in which the label would seem to name another shape."""
    disliked: BoolArray
    """Cells in which it would be less clear."""


class Place(NamedTuple):
    """Where a label is: its upper left corner, and a line to what it is about."""

    left: float
    top: float
    is_inside: bool
    leader: Array | None
    """x of both ends and y of both ends."""


class LabelGrid:
    """Cells of a rectangle, from its upper left corner, that are free or taken."""

    def __init__(self, left: float, top: float, right: float, bottom: float) -> None:
        """Start with a rectangle in which everything is free."""
        self._left, self._top = left, top
        self._shape = int((bottom - top) / CELL), int((right - left) / CELL)
        self._taken, self._labels = self.empty(), self.empty()

    def empty(self) -> BoolArray:
        """Return no cells."""
        return np.zeros(self._shape, dtype=np.bool_)

    def find_inside(self, x: Array, y: Array) -> BoolArray:
        """Return the cells within a polygon, by the even-odd rule."""
        rows, columns = self._shape
        x_end, y_end = np.roll(x, -1), np.roll(y, -1)
        middles = self._top + CELL * (np.arange(rows) + 0.5)
        edges, at = np.nonzero((y[:, None] <= middles) != (y_end[:, None] <= middles))
        share = (middles[at] - y[edges]) / (y_end - y)[edges]
        crossings = (x[edges] + share * (x_end - x)[edges] - self._left) / CELL - 0.5
        toggles = np.zeros((rows, columns + 1), dtype=np.intp)
        np.add.at(toggles, (at, np.clip(np.ceil(crossings), 0, columns).astype(np.intp)), 1)
        inside: BoolArray = np.cumsum(toggles, axis=1)[:, :columns] % 2 == 1
        return inside

    def find_around(self, x: float, y: float, radius: float) -> BoolArray:
        """Return the cells within a circle."""
        rows, columns = self._shape
        across, down = (
            edge + CELL * (np.arange(count) + 0.5) for edge, count in ((self._left, columns), (self._top, rows))
        )
        around: BoolArray = np.hypot(across - x, (down - y)[:, None]) < radius
        return around

    def widen(self, cells: BoolArray, by: float) -> BoolArray:
        """Return cells and those around them."""
        count = round(by / CELL)
        return _count_in_windows(np.pad(cells, count), 2 * count + 1, 2 * count + 1) > 0

    def find_within(self, left: float, top: float, right: float, bottom: float) -> BoolArray:
        """Return the cells within a rectangle."""
        rows, columns = self._shape
        x, y = self._left + CELL * (np.arange(columns) + 0.5), self._top + CELL * (np.arange(rows) + 0.5)
        return ((y > top) & (y < bottom))[:, None] & ((x > left) & (x < right))

    def holds(self, cells: BoolArray, x: float, y: float) -> bool:
        """Return whether a point lies in one of these cells."""
        rows, columns = self._find_cells(np.array([x]), np.array([y]))
        return bool(cells[rows, columns].any())

    def take(self, cells: BoolArray) -> None:
        """Mark cells as taken."""
        self._taken |= cells

    def take_edge(self, cells: BoolArray) -> None:
        """Mark the cells at the edge of an area as taken."""
        around = np.pad(cells, 1)
        inner = around[:-2, 1:-1] & around[2:, 1:-1] & around[1:-1, :-2] & around[1:-1, 2:]
        self._taken |= cells & ~inner

    def take_line(self, x: Array, y: Array, within: BoolArray | None = None) -> None:
        """Mark the cells below a line as taken; ``within`` has the cells where it is drawn."""
        cells = self._find_cells(x, y)
        self._taken[cells] |= True if within is None else within[cells]

    def _find_cells(self, x: Array, y: Array) -> tuple[Any, Any]:
        """Return the rows and the columns of the cells below a line, or below a single point."""
        columns, rows = (
            np.floor((place - edge) / CELL).astype(np.intp)
            for place, edge in zip(subdivide(x, y), (self._left, self._top), strict=True)
        )
        known = (rows >= 0) & (rows < self._shape[0]) & (columns >= 0) & (columns < self._shape[1])
        return rows[known], columns[known]

    def place(self, width: float, height: float, target: Target) -> Place | None:
        """Return the best place for a label that covers neither lines nor other labels, and take it; None if none."""
        high, wide = (int(np.ceil((side + 2 * CLEARANCE) / CELL)) for side in (height, width))
        rows, columns = np.nonzero(_count_in_windows(self._taken | self._labels | target.excluded, high, wide) == 0)
        if not len(rows):
            return None
        is_inside = np.zeros(len(rows), dtype=np.bool_)
        if target.inside is not None:
            is_inside = (_count_in_windows(~target.inside, high, wide) == 0)[rows, columns]
        left, top = self._left + CELL * columns + CLEARANCE, self._top + CELL * rows + CLEARANCE
        keep = max(1, len(target.x) // MAX_TARGETS)
        x, y = target.x[::keep], target.y[::keep]
        near_x = np.clip(x, left[:, None] - CLEARANCE, (left + width)[:, None] + CLEARANCE)
        near_y = np.clip(y, top[:, None] - CLEARANCE, (top + height)[:, None] + CLEARANCE)
        distances = np.hypot(near_x - x, near_y - y)
        every = np.arange(len(rows))
        to: Any = distances.argmin(axis=1)
        distance = distances[every, to]
        cost = distance + UPPER_LEFT * (left + top) - INSIDE * is_inside
        cost += DISLIKED * (_count_in_windows(target.disliked, high, wide) > 0)[rows, columns]
        if target.is_centered:
            off_center = np.hypot(
                left + width / 2 - (x.min() + x.max()) / 2, top + height / 2 - (y.min() + y.max()) / 2
            )
            cost = np.where(is_inside, off_center - 100, cost)
        leaders = np.stack([near_x[every, to], x[to], near_y[every, to], y[to]], axis=1).reshape(-1, 2, 2)
        needs_leader = (distance > BESIDE) & ~(is_inside & target.is_centered)
        best, best_cost = -1, np.inf
        order = np.argsort(cost, kind="stable")
        tried = np.concatenate([order[:MAX_TRIED], order[MAX_TRIED :: max(1, len(order) // MAX_TRIED)]])
        for at in tried.tolist():
            if cost[at] >= best_cost:
                break
            crossings = self._count_crossings(*leaders[at]) if needs_leader[at] else 0.0
            if cost[at] + CROSSING * crossings < best_cost:
                best, best_cost = at, float(cost[at] + CROSSING * crossings)
        if best < 0:
            return None
        row, column = int(rows[best]), int(columns[best])
        self._labels[row : row + high, column : column + wide] = True
        leader = leaders[best] if needs_leader[best] else None
        if leader is not None:
            self.take_line(*leader)
        return Place(float(left[best]), float(top[best]), bool(is_inside[best]), leader)

    def _count_crossings(self, x: Array, y: Array) -> float:
        """Return how many cells of a line are taken, infinitely many if it crosses a label."""
        cells = self._find_cells(x, y)
        return math.inf if self._labels[cells].any() else float(self._taken[cells].sum())


def subdivide(x: Array, y: Array) -> tuple[Array, Array]:
    """Return places along a line, less than a cell apart."""
    steps = np.maximum(1, np.ceil(1.5 * np.hypot(np.diff(x), np.diff(y)) / CELL)).astype(np.intp)
    starts = np.repeat(np.arange(len(steps)), steps)
    share = (np.arange(len(starts)) - np.repeat(np.cumsum(steps) - steps, steps)) / steps[starts]
    along_x, along_y = (np.append(each[starts] + share * np.diff(each)[starts], each[-1]) for each in (x, y))
    return along_x, along_y


def _count_in_windows(cells: BoolArray, high: int, wide: int) -> Array:
    """Return how many cells are set in each window of this size, by its upper left cell."""
    if high > cells.shape[0] or wide > cells.shape[1]:
        return np.zeros((0, 0))
    sums: Any = np.pad(np.cumsum(np.cumsum(cells, axis=0, dtype=np.int64), axis=1), ((1, 0), (1, 0)))
    counts: Array = sums[high:, wide:] - sums[:-high, wide:] - sums[high:, :-wide] + sums[:-high, :-wide]
    return counts
