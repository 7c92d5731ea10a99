"""The types of chart: a calculator declares one of these, `charts` draws it.

Callables take a calculator's complete inputs and its results, in SI, of one request (N = 1).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import KW_ONLY, dataclass
from typing import Any, Generic, Literal, NamedTuple, TypeAlias, TypeVar

from gramwatt.arrays import Array

I = TypeVar("I")  # noqa: E741 - a calculator's Inputs
R = TypeVar("R")  # a calculator's Results


@dataclass(frozen=True, slots=True)
class TitledChart:
    """What all charts have."""

    _: KW_ONLY
    title: str
    """What it shows, in words: ``Flight time against mass``."""

    @property
    def name(self) -> str:
        """The name in URLs, from the title: ``flight-time-against-mass``."""
        return re.sub(r"[^a-z0-9]+", "-", self.title.lower()).strip("-")


@dataclass(frozen=True, slots=True)
class CurveChart(TitledChart, Generic[I, R]):
    """Results, each in a panel of its own, as one input varies and the others stay the same."""

    vary: str
    """The input that varies, a quantity or a count."""
    show: tuple[str, ...]
    _: KW_ONLY
    start: Callable[[I, R], Array] | float
    stop: Callable[[I, R], Array] | float
    """The ends of the range, (1,), SI, or numbers in the input's own unit; they are clipped to its bounds."""
    across: str = ""
    """The result on the level axis, where that is not the varied input itself."""
    points: Callable[[I, R], tuple[Array, Array]] | None = None
    """Places (M,) and values (M,) of what was measured, beside the first of the results."""
    points_are: str = "measured"
    """What they are, in words."""


@dataclass(frozen=True, slots=True)
class WaterfallChart(TitledChart, Generic[I, R]):
    """Parts adding up step by step to a total, beside a limit."""

    steps: str
    """The result that is a list of running totals."""
    _: KW_ONLY
    table: str
    """The input that is a table of the parts; its ``name`` labels a step, and the list in..."""
    masses: str
    """...this input adds bare ones after it."""
    total: str
    """The result that is the total; its range is shaded."""
    limit: Callable[[I, R], Array]


@dataclass(frozen=True, slots=True)
class ScatterChart(TitledChart, Generic[I, R]):
    """The rows of a table of results as labelled points: one column against another."""

    table: str
    _: KW_ONLY
    x: str
    y: str
    label: str = "name"
    """The column that names a row."""
    limit: Callable[[I, R], Array] | None = None
    """A limit on the level axis, (1,), SI."""
    limit_name: str = "limit"
    may_skip_labels: bool = False
    """Whether points are named only where there is room, as they may be many."""


class TracedLine(NamedTuple):
    """One line of a `LinesChart`, SI."""

    name: str
    x: Array
    """(M,)"""
    y: Array
    mark: tuple[float, float] | None = None
    """A point of it that is marked."""


@dataclass(frozen=True, slots=True)
class LinesChart(TitledChart, Generic[I, R]):
    """Lines that a calculator computes for this chart alone, side by side in one panel."""

    trace: Callable[[I, R], tuple[TracedLine, ...]]
    _: KW_ONLY
    x: str
    """An input, a result or a column of a table (``by_setup.thrust``), whose unit and label the level axis has."""
    y: str
    x_label: str = ""
    y_label: str = ""
    """Other labels of the axes."""
    marks_are: str = ""
    """What the marked points are, in words."""


ShapeRole: TypeAlias = Literal["body", "quiet", "highlight", "good", "close", "bad", "limit"]
"""What a shape of a drawing is, which gives its colour: a part, its surroundings, what the drawing is about, the three
verdicts (with the verdict in the shape's name, since many people cannot tell colours apart), and a limit."""


class Outline(NamedTuple):
    """One shape of a `DrawingChart`, SI: a polygon, an open line or, if it has one point only, a dot."""

    x: Array
    """(M,), to the right."""
    y: Array
    """(M,), up."""
    role: ShapeRole = "body"
    name: str = ""
    """Written inside it where there is room, else beside it."""
    closed: bool = True
    filled: bool = False
    """A filled shape hides what comes before it."""
    dashed: bool = False


class Dimension(NamedTuple):
    """A line with arrows between two points of a `DrawingChart`, SI, with the distance or another value beside it."""

    start: tuple[float, float]
    end: tuple[float, float]
    name: str = ""
    """Written before the value."""
    away: float = 0.0
    """How far the line is to the left of the direction from start to end; thin lines join it to the points."""
    value: float | None = None
    """What is written instead of the distance..."""
    measure: str = ""
    """...in the unit of this input, result or column of a table."""


@dataclass(frozen=True, slots=True)
class DrawingChart(TitledChart, Generic[I, R]):
    """A drawing to scale: shapes that a calculator computes for this chart alone, with names and dimensions."""

    trace: Callable[[I, R], tuple[Outline | Dimension, ...]]
    """Shapes from back to front; none where nothing can be drawn."""
    _: KW_ONLY
    measure: str = ""
    """An input, a result or a column of a table, in whose unit lengths are written; empty for a drawing without one."""
    window: Callable[[I, R], tuple[float, float, float, float]] | None = None
    """Left, right, bottom and top of what is drawn, SI; by default all of it."""
    scale_bar: bool = False
    """Whether a length is drawn below it; needs ``measure``."""
    note: str = ""
    """How to look at it, in a few words: ``Seen from above, front at the top``."""


class BarLimit(NamedTuple):
    """A limit that bars are compared with."""

    name: str
    value: float
    """SI."""


@dataclass(frozen=True, slots=True)
class BarChart(TitledChart):
    """Results side by side as lengths; with ``table``, columns of that table, a bar for each of its rows."""

    show: tuple[str, ...]
    _: KW_ONLY
    table: str = ""
    label: str = "name"
    """The column that names a row; the value with its unit where that is a number."""
    limits: tuple[BarLimit, ...] = ()
    """Lines across the bars of the first column with values, rising, up to the next above all bars."""


class RecordedChannels(NamedTuple):
    """A recording as the calculator understood it, SI: times (S,), and channels (S,) by name."""

    time: Array
    channels: Mapping[str, Array]


@dataclass(frozen=True, slots=True)
class TimeSeriesChart(TitledChart, Generic[I, R]):
    """A recording over its time, a panel for each channel, with stretches of it marked."""

    trace: Callable[[I, R], RecordedChannels | None]
    """None where nothing can be drawn."""
    _: KW_ONLY
    recording: str
    """The input whose channels they are."""
    spans: tuple[str, str, str] | None = None
    """A result that is a table of stretches, its column of their starts, and that of their durations."""
    spans_are: str = ""
    """What these are, in words."""


Chart: TypeAlias = (
    CurveChart[I, R]
    | WaterfallChart[I, R]
    | ScatterChart[I, R]
    | LinesChart[I, R]
    | DrawingChart[I, R]
    | BarChart
    | TimeSeriesChart[I, R]
)
AnyChart: TypeAlias = Chart[Any, Any]
