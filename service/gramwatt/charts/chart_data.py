"""What a chart shows, before it is drawn: numbers in the units shown, and text."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

from gramwatt.arrays import Array


class NothingToDraw(LookupError):
    """A chart would be empty; the message says why."""


@dataclass(frozen=True, slots=True)
class Line:
    """Values over the x axis. ``uncertainty`` is a standard uncertainty; the chart shows twice that."""

    x: Array
    y: Array
    uncertainty: Array | None = None
    label: str = ""
    joined: bool = True
    """Whether a line joins the points. Counts, choices and measurements stay single points."""
    measured: bool = False


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


@dataclass(frozen=True, slots=True)
class Waterfall:
    """Steps that add up to a total, beside a limit, and a close-up of the total."""

    label: str
    names: tuple[str, ...]
    totals: tuple[float, ...]
    limit: float
    half_width: float
    limit_label: str
    total_label: str


@dataclass(frozen=True, slots=True)
class Column:
    """One value for each row, nan where there is none."""

    label: str
    values: Array
    texts: tuple[str, ...]
    uncertainties: Array | None = None


@dataclass(frozen=True, slots=True)
class BarRows:
    """Columns of horizontal bars, one bar for each row."""

    names: tuple[str, ...]
    columns: tuple[Column, ...]


@dataclass(frozen=True, slots=True)
class HeatMap:
    """One result over two inputs: ``values[i, j]`` at ``y[i]`` and ``x[j]``."""

    x_label: str
    y_label: str
    label: str
    x: Array
    y: Array
    values: Array


Body: TypeAlias = Graph | Waterfall | BarRows | HeatMap


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
