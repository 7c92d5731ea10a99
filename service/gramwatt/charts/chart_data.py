"""What a chart shows, before it is drawn: numbers in the units shown, and text."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple, TypeAlias

import numpy as np

from gramwatt.arrays import Array


class NothingToDraw(LookupError):
    """A chart would be empty; the message says why."""


class Range(NamedTuple):
    """The ends of the range of each value: its 2.5th and 97.5th percentiles, as in the response."""

    low: Array
    high: Array
    is_partial: bool = False
    """Whether some of the likely cases have no result, so that it holds for the others only."""


def join_ranges(ranges: Sequence[Range]) -> Range:
    """Return the ranges of several results as one."""
    low, high = (np.concatenate([each[end] for each in ranges]) for end in (0, 1))
    return Range(low, high, any(each.is_partial for each in ranges))


@dataclass(frozen=True, slots=True)
class Line:
    """Values over the x axis."""

    x: Array
    y: Array
    range: Range | None = None
    label: str = ""
    joined: bool = True
    """Whether a line joins the points. Counts, choices and measurements stay single points."""
    measured: bool = False
    mark: tuple[float, float] | None = None
    """A marked point of it."""


@dataclass(frozen=True, slots=True)
class Marker:
    """A labelled point."""

    x: float
    y: float
    label: str


@dataclass(frozen=True, slots=True)
class Panel:
    """One y axis with its lines and markers."""

    label: str
    lines: tuple[Line, ...]
    markers: tuple[Marker, ...] = ()
    name: str = ""
    """The result shown."""
    integer_ticks: bool = False


@dataclass(frozen=True, slots=True)
class Graph:
    """Panels one above the other, with a common x axis."""

    x_label: str
    panels: tuple[Panel, ...]
    spans: tuple[tuple[float, float], ...] = ()
    """Highlighted ranges of the x axis."""
    spans_label: str = ""
    tick_labels: tuple[str, ...] = ()
    """Text at 0, 1, 2, ... on the x axis, instead of numbers."""
    integer_ticks: bool = False
    marks_label: str = ""
    """What marked points of lines are."""


@dataclass(frozen=True, slots=True)
class Point:
    """A labelled point with the range of its y."""

    x: float
    y: float
    low: float
    high: float
    label: str


@dataclass(frozen=True, slots=True)
class Scatter:
    """Labelled points, and perhaps a limit on the x axis."""

    x_label: str
    y_label: str
    points: tuple[Point, ...]
    limit: float | None = None
    limit_label: str = ""
    is_partial: bool = False
    """Whether some of the likely cases have no result, so that the ranges hold for the others only."""
    may_skip_labels: bool = False
    """Whether points are named only where there is room."""

    @property
    def has_ranges(self) -> bool:
        """Whether any point has a range."""
        return any(point.high > point.low for point in self.points)


@dataclass(frozen=True, slots=True)
class Waterfall:
    """Steps that add up to a total, beside a limit, and a close-up of the total."""

    label: str
    names: tuple[str, ...]
    totals: tuple[float, ...]
    limit: float
    ends: tuple[float, float]
    """Of the range of the total."""
    limit_label: str
    total_label: str


@dataclass(frozen=True, slots=True)
class Column:
    """One value for each row, nan where there is none."""

    label: str
    values: Array
    texts: tuple[str, ...]
    range: Range
    """nan where a value has none."""
    limits: tuple[tuple[float, str], ...] = ()
    """Places of lines across the bars, rising, and what each is."""


@dataclass(frozen=True, slots=True)
class BarRows:
    """Columns of horizontal bars, one bar for each row."""

    names: tuple[str, ...]
    columns: tuple[Column, ...]

    @property
    def ranges(self) -> list[Range]:
        """The ranges of the columns that have any."""
        return [column.range for column in self.columns if (column.range.high > column.range.low).any()]

    @property
    def limits(self) -> str:
        """The limits in words, empty if there are none."""
        return ", ".join(name for column in self.columns for _, name in column.limits)


@dataclass(frozen=True, slots=True)
class HeatMap:
    """One result over two inputs: ``values[i, j]`` at ``y[i]`` and ``x[j]``."""

    x_label: str
    y_label: str
    label: str
    x: Array
    y: Array
    values: Array


@dataclass(frozen=True, slots=True)
class Shape:
    """A polygon, an open line or a dot of a drawing."""

    x: Array
    y: Array
    role: str
    label: str
    closed: bool
    filled: bool
    dashed: bool


@dataclass(frozen=True, slots=True)
class Arrow:
    """A line with arrowheads at both ends, ``away`` to the left of the points it is about."""

    start: tuple[float, float]
    end: tuple[float, float]
    away: float
    label: str

    @property
    def ends(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """The ends of the line itself."""
        (x, y), (x_end, y_end) = self.start, self.end
        share = self.away / (math.dist(self.start, self.end) or 1.0)
        across, up = -(y_end - y) * share, (x_end - x) * share
        return (x + across, y + up), (x_end + across, y_end + up)


@dataclass(frozen=True, slots=True)
class Drawing:
    """Shapes and dimensions, drawn to scale in one unit of length."""

    shapes: tuple[Shape, ...]
    arrows: tuple[Arrow, ...]
    window: tuple[float, float, float, float]
    """Left, right, bottom and top of what is drawn."""
    is_clipped: bool = False
    """Whether shapes may go beyond the window."""
    scale_unit: str = ""
    """The unit of a scale bar below it, empty if it has none."""
    note: str = ""

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the window."""
        left, right, bottom, top = self.window
        return right - left, top - bottom

    @property
    def label_count(self) -> int:
        """How many names and dimensions are written in it."""
        return sum(map(bool, [shape.label for shape in self.shapes] + [arrow.label for arrow in self.arrows]))


Body: TypeAlias = Graph | Scatter | Waterfall | BarRows | HeatMap | Drawing


@dataclass(frozen=True, slots=True)
class ChartData:
    """A chart with its title, a summary of the inputs, and a description for people who cannot see it."""

    title: str
    inputs: str
    description: str
    body: Body

    def as_text(self) -> bytes:
        """Return the chart as text: its title and its description."""
        return f"{self.title}\n{self.description}\n".encode()
