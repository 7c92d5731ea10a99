"""A matplotlib figure whose parts are placed in inches, and tick settings that all charts share."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextToPath
from matplotlib.ticker import MaxNLocator

from gramwatt.charts.sizes import shorten
from gramwatt.charts.themes import FONT, ChartStyle, Theme

POINTS_PER_INCH: Final = 72
EDGE: Final = 0.1
"""Blank inches at the left and right edge."""
GAP: Final = 0.12
"""Blank inches between texts side by side."""


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

    @property
    def is_narrow(self) -> bool:
        """Whether the chart is for a phone."""
        return self.style.shape == "narrow"

    def add_axes(self, left: float, top: float, right: float, bottom: float, **options: Any) -> Axes:
        """Add axes between these edges; ``right`` and ``bottom`` too are measured from the upper left corner."""
        box = (left / self.width, 1 - bottom / self.height, (right - left) / self.width, (bottom - top) / self.height)
        return self.figure.add_axes(box, **options)

    def add_text(self, left: float, top: float, text: str, **options: Any) -> None:
        """Add text with its upper left corner at a place."""
        self.figure.text(left / self.width, 1 - top / self.height, text, **{"va": "top", **options})

    def add_text_above(self, center: float, top: float, text: str, *, after: float = EDGE, **options: Any) -> None:
        """Add text centered at a place, but to the right of ``after`` and within the canvas."""
        size, weight = options.get("size", 9), options.get("weight", "normal")
        width = text_width(text, size, weight)
        left = max(after, min(center - width / 2, self.width - EDGE - width))
        self.add_text(left, top, fit_text(text, self.width - EDGE / 2 - left, size, weight), **options)


@functools.lru_cache(maxsize=2000)
def text_width(text: str, size: float, weight: str = "normal") -> float:
    """Return the width of a text in inches."""
    properties = FontProperties(family=FONT, size=size, weight=weight)
    return float(TextToPath().get_text_width_height_descent(text, properties, False)[0]) / POINTS_PER_INCH


def fit_text(text: str, width: float, size: float, weight: str = "normal") -> str:
    """Return a text, shortened where it is wider than ``width`` inches."""
    while text_width(text, size, weight) > width and len(text) > 4:
        text = shorten(text, len(text) - 1)
    return text


def spread_labels(places: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Return places between two bounds, near the given ones and at least ``gap`` apart, in the same order."""
    order = np.argsort(places, kind="stable")
    wanted = np.clip(np.array(places, dtype=float)[order], low, high)
    gap = min(gap, (high - low) / max(1, len(wanted) - 1))
    # From below, then from above, so that neither end is left.
    steps = gap * np.arange(len(wanted))
    up = np.maximum.accumulate(wanted - steps) + steps
    ceiling = high - steps[::-1]
    down = np.minimum.accumulate(np.minimum(up, ceiling)[::-1] + steps)[::-1] - steps[::-1]
    spread = np.empty(len(wanted))
    spread[order] = np.maximum(down, low)
    return [float(place) for place in spread]


def tick_locator(max_ticks: int, *, integer: bool = False) -> MaxNLocator:
    """Return a locator of ticks at round numbers."""
    least = 1 if integer else 2  # with more, a count of one value would get fractions
    return MaxNLocator(max_ticks, steps=[1, 2, 2.5, 5, 10], integer=integer, min_n_ticks=least)
