"""A matplotlib figure whose parts are placed in inches, and tick settings that all charts share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from gramwatt.charts.themes import ChartStyle, Theme


@dataclass(slots=True)
class Canvas:
    """A figure whose parts are placed in inches from its upper left corner."""

    figure: Figure
    theme: Theme
    style: ChartStyle
    width: float
    height: float
    top: float
    """Upper edge of the chart's body, below the title."""

    def add_axes(self, left: float, top: float, right: float, bottom: float, **options: Any) -> Axes:
        """Add axes between these edges; ``right`` and ``bottom`` too are measured from the upper left corner."""
        box = (left / self.width, 1 - bottom / self.height, (right - left) / self.width, (bottom - top) / self.height)
        return self.figure.add_axes(box, **options)

    def add_text(self, left: float, top: float, text: str, **options: Any) -> None:
        """Add text with its upper left corner at a place."""
        self.figure.text(left / self.width, 1 - top / self.height, text, va="top", **options)


def tick_locator(max_ticks: int, *, integer: bool = False) -> MaxNLocator:
    """Return a locator of ticks at round numbers."""
    return MaxNLocator(max_ticks, steps=[1, 2, 2.5, 5, 10], integer=integer)
