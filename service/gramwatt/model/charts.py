"""The types of chart: a calculator declares one of these, `charts` draws it.

Callables take a calculator's complete inputs and its results, in SI, of one request (N = 1).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import KW_ONLY, dataclass
from typing import Any, Generic, NamedTuple, TypeAlias, TypeVar

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


@dataclass(frozen=True, slots=True)
class BarChart(TitledChart):
    """Results side by side as lengths; with ``table``, columns of that table, a bar for each of its rows."""

    show: tuple[str, ...]
    _: KW_ONLY
    table: str = ""
    label: str = "name"
    """The column that names a row; the value with its unit where that is a number."""


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
    CurveChart[I, R] | WaterfallChart[I, R] | ScatterChart[I, R] | LinesChart[I, R] | BarChart | TimeSeriesChart[I, R]
)
AnyChart: TypeAlias = Chart[Any, Any]
