"""Heights of charts in inches, known before anything is drawn, so that a page can leave room for one."""

from __future__ import annotations

import math
from typing import Final

from gramwatt.charts.chart_data import BarRows, Body, ChartData, Graph, Waterfall
from gramwatt.charts.themes import SHAPES, Look

PANEL: Final = 1.55
LONE_PANEL: Final = 2.3
CSS_INCH: Final = 96
"""CSS pixels to an inch (CSS Values and Units 4, 6.2)."""


def pixels(sheet: ChartData, look: Look) -> tuple[int, int]:
    """Return the width and height of a chart's SVG in CSS pixels."""
    width = SHAPES[look.shape]
    return in_pixels(width), in_pixels(top_of(sheet, look) + body_height(sheet.body, look.shape))


def graph_pixels(panels: int, look: Look) -> tuple[int, int]:
    """Return the same for an untitled graph of so many panels, whose values are not yet known."""
    return in_pixels(SHAPES[look.shape]), in_pixels(UNTITLED_TOP + graph_height(panels))


def in_pixels(inches: float) -> int:
    """Return a length in whole CSS pixels."""
    return round(inches * CSS_INCH)


UNTITLED_TOP: Final = 0.04


def top_of(sheet: ChartData, look: Look) -> float:
    """Return the height that title and inputs take above the chart's body."""
    head = head_lines(sheet, SHAPES[look.shape]) if look.titled else []
    return sum(rise for *_, rise in head) + 0.2 if head else UNTITLED_TOP


def head_lines(sheet: ChartData, width: float) -> list[tuple[str, float, str, float]]:
    """Return title and inputs as lines that fit the width: words, size, weight, height in inches."""
    title = [(line, 11.0, "bold", 0.21) for line in _wrapped(sheet.title, int(width * 9.5))]
    question = _wrapped(sheet.question, int(width * 14.5), " · ")[:3]
    return title + [(line, 8.0, "normal", 0.16) for line in question]


def _wrapped(text: str, letters: int, between: str = " ") -> list[str]:
    lines: list[str] = []
    for word in text.split(between):
        if lines and len(lines[-1]) + len(between) + len(word) <= letters:
            lines[-1] += between + word
        else:
            lines.append(cut(word, letters))
    return [line for line in lines if line]


def cut(text: str, letters: int) -> str:
    """A text of at most so many letters."""
    return text if len(text) <= letters else text[: letters - 1] + "…"


def body_height(body: Body, shape: str) -> float:
    """Return the height of a chart below its title."""
    match body:
        case Graph():
            return graph_height(len(body.panels))
        case Waterfall():
            return 0.3 + ladder_height(body) + 0.4 + 0.85 + 0.35
        case BarRows():
            return math.ceil(len(body.columns) / rows_beside(body, shape)) * (bars_height(body) + 0.42) + 0.05
        case _:
            return 0.5 + map_height(SHAPES[shape]) + 0.45


def graph_height(panels: int) -> float:
    """Return the height of panels above each other over one level axis."""
    return panels * (panel_height(panels) + 0.34) + 0.42


def panel_height(panels: int) -> float:
    """Return the height of each of so many panels."""
    return PANEL if panels > 1 else LONE_PANEL


def ladder_height(stairs: Waterfall) -> float:
    """Return the height of the steps."""
    return 0.22 * len(stairs.names) + 0.1


def bars_height(rows: BarRows) -> float:
    """Return the height of one column's bars."""
    return 0.26 * len(rows.names) + 0.16


def rows_beside(rows: BarRows, shape: str) -> int:
    """Return how many columns of bars stand side by side."""
    return 2 if shape == "wide" and len(rows.columns) > 1 else 1


def map_height(width: float) -> float:
    """Return the height of a map."""
    return 0.6 * width
