"""What there is to see in a picture, before anything is drawn: numbers in the units shown, and words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

from gramwatt.arrays import Array


class NothingToDraw(LookupError):
    """There is nothing to see; the text says why."""


@dataclass(frozen=True, slots=True)
class Line:
    """One course of values over the level axis; ``width`` is a standard uncertainty, of which two are shown."""

    x: Array
    y: Array
    width: Array | None = None
    label: str = ""
    joined: bool = True
    """Whether the points are joined: counts, choices and measurements are not."""
    measured: bool = False


@dataclass(frozen=True, slots=True)
class Dot:
    """A place of note, with what it says."""

    x: float
    y: float
    label: str


@dataclass(frozen=True, slots=True)
class Panel:
    """One upright axis."""

    label: str
    lines: tuple[Line, ...]
    dots: tuple[Dot, ...] = ()


@dataclass(frozen=True, slots=True)
class Graph:
    """Panels above each other over one level axis."""

    across: str
    panels: tuple[Panel, ...]
    spans: tuple[tuple[float, float], ...] = ()
    """Stretches of the level axis that stand out, and..."""
    spans_are: str = ""
    """...what they are."""
    ticks: tuple[str, ...] = ()
    """Words at 0, 1, 2, ... on the level axis, instead of numbers."""
    whole: bool = False
    """Whether only whole numbers stand on the level axis."""


@dataclass(frozen=True, slots=True)
class Waterfall:
    """Steps that add up, beside a limit, and a close view of where they end."""

    label: str
    names: tuple[str, ...]
    totals: tuple[float, ...]
    limit: float
    half_width: float
    limit_label: str
    end_label: str


@dataclass(frozen=True, slots=True)
class Column:
    """One figure of each row, nan where it has no answer."""

    label: str
    values: Array
    texts: tuple[str, ...]
    widths: Array | None = None


@dataclass(frozen=True, slots=True)
class BarRows:
    """Figures side by side, a bar each."""

    names: tuple[str, ...]
    columns: tuple[Column, ...]


@dataclass(frozen=True, slots=True)
class HeatMap:
    """One figure over two inputs: ``values[i, j]`` at ``up[i]`` and ``across[j]``."""

    across_label: str
    up_label: str
    label: str
    across: Array
    up: Array
    values: Array


Body: TypeAlias = Graph | Waterfall | BarRows | HeatMap


@dataclass(frozen=True, slots=True)
class ChartData:
    """A picture: its title, the question in short, the same in words for those who cannot see it."""

    title: str
    question: str
    told: str
    body: Body

    def text(self) -> bytes:
        """Return the chart in words: its title and what it shows."""
        return f"{self.title}\n{self.told}\n".encode()
