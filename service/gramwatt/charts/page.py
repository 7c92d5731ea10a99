"""A figure whose parts are placed in inches, and what the drawing of every kind of picture shares."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from gramwatt.charts.themes import Look, Theme


@dataclass(slots=True)
class Page:
    """A figure whose parts are placed in inches from its upper left corner."""

    figure: Figure
    theme: Theme
    look: Look
    width: float
    height: float
    top: float
    """Where the chart's body begins, below the title."""

    def axes(self, left: float, top: float, right: float, bottom: float, **more: Any) -> Axes:
        """Axes between places in inches; ``right`` and all else are measured from the left and from the top."""
        box = (left / self.width, 1 - bottom / self.height, (right - left) / self.width, (bottom - top) / self.height)
        return self.figure.add_axes(box, **more)

    def text(self, left: float, top: float, words: str, **more: Any) -> None:
        """Words at a place in inches."""
        self.figure.text(left / self.width, 1 - top / self.height, words, va="top", **more)


def ticks(most: int, *, whole: bool = False) -> MaxNLocator:
    """Ticks where a reader expects them."""
    return MaxNLocator(most, steps=[1, 2, 2.5, 5, 10], integer=whole)
