"""Sizes of charts in inches, known before anything is drawn, so that a page can reserve the space."""

from __future__ import annotations

import math
from typing import Final

from gramwatt.charts.chart_data import BarRows, Body, ChartData, Drawing, Graph, Scatter, Waterfall
from gramwatt.charts.themes import SHAPES, ChartStyle

PANEL_HEIGHT: Final = 1.55
SINGLE_PANEL_HEIGHT: Final = 2.3
HEADER_HEIGHT: Final = 0.26
PANEL_GAP: Final = 0.12
LINE_HEIGHT: Final = 0.17
NOTE_HEIGHT: Final = 0.2
"""Of a note below bars."""
FOOTER_HEIGHT: Final = 0.42
SCATTER_HEADER: Final = 0.46
SCATTER_HEIGHT: Final = 2.6
UNTITLED_TOP: Final = 0.04
DRAWING_SIDE: Final = {"wide": 1.2, "narrow": 0.15}
"""Inches beside a drawing, for its labels, by shape..."""
UPRIGHT_SIDE: Final = 0.4
"""...and where a dimension is beside it."""
MAX_DRAWING_HEIGHT: Final = {"wide": 3.4, "narrow": 3.6}
PIXELS_PER_INCH: Final = 96
"""CSS pixels to an inch (CSS Values and Units 4, 6.2)."""


def chart_pixels(chart: ChartData, style: ChartStyle) -> tuple[int, int]:
    """Return the width and height of a chart's SVG in CSS pixels."""
    height = top_height(chart, style) + body_height(chart.body, style.shape)
    return _to_pixels(SHAPES[style.shape]), _to_pixels(height)


def curve_pixels(chart: Graph, style: ChartStyle) -> tuple[int, int]:
    """Return the size of an untitled graph; its lines need no points."""
    return _to_pixels(SHAPES[style.shape]), _to_pixels(UNTITLED_TOP + graph_height(chart, style.shape))


def _to_pixels(inches: float) -> int:
    return round(inches * PIXELS_PER_INCH)


def top_height(chart: ChartData, style: ChartStyle) -> float:
    """Return the height that title and inputs take above the chart's body."""
    lines = heading_lines(chart, SHAPES[style.shape]) if style.titled else []
    return sum(height for *_, height in lines) + 0.2 if lines else UNTITLED_TOP


def heading_lines(chart: ChartData, width: float) -> list[tuple[str, float, str, float]]:
    """Return title and inputs as lines that fit the width: text, font size, weight, height in inches."""
    title = [(line, 14.0, "title", 0.27) for line in _wrap(chart.title, int(width * 8))]
    inputs = _wrap(chart.inputs, int(width * 14.5), " · ")[:3]
    return title + [(line, 8.0, "normal", 0.16) for line in inputs]


def _wrap(text: str, width: int, separator: str = " ") -> list[str]:
    lines: list[str] = []
    for part in text.split(separator):
        if lines and len(lines[-1]) + len(separator) + len(part) <= width:
            lines[-1] += separator + part
        else:
            lines.append(shorten(part, width))
    return [line for line in lines if line]


def shorten(text: str, max_length: int) -> str:
    """Return a text with at most so many characters."""
    return text if len(text) <= max_length else text[: max_length - 1] + "…"


def body_height(body: Body, shape: str) -> float:
    """Return the height of a chart below its title."""
    match body:
        case Graph():
            return graph_height(body, shape)
        case Scatter():
            return SCATTER_HEADER + SCATTER_HEIGHT + 0.5 + (LINE_HEIGHT if shape == "narrow" else 0)
        case Waterfall():
            return 0.3 + steps_height(body) + 0.4 + 0.85 + 0.35
        case BarRows():
            rows = math.ceil(len(body.columns) / columns_per_row(body, shape))
            notes = (NOTE_HEIGHT if body.ranges else 0) + (NOTE_HEIGHT + LINE_HEIGHT if body.limits else 0)
            return rows * (bars_height(body) + 0.42) + 0.05 + notes
        case Drawing():
            return drawing_height(body, shape)
        case _:
            return 0.5 + map_height(SHAPES[shape]) + 0.45


def graph_height(graph: Graph, shape: str) -> float:
    """Return the height of panels one above the other, with their x axis."""
    count = len(graph.panels)
    return count * (panel_height(count) + header_height(graph, shape) + PANEL_GAP) + footer_height(shape)


def header_height(graph: Graph, shape: str) -> float:
    """Return the height above a panel: its label, and on a phone another line for the marked value."""
    has_markers = any(panel.markers for panel in graph.panels)
    return HEADER_HEIGHT + (LINE_HEIGHT if shape == "narrow" and has_markers else 0)


def footer_height(shape: str) -> float:
    """Return the height below the last panel: ticks, title of the x axis and, on a phone, a line of notes."""
    return FOOTER_HEIGHT + (LINE_HEIGHT if shape == "narrow" else 0)


def panel_height(panels: int) -> float:
    """Return the height of each of so many panels."""
    return PANEL_HEIGHT if panels > 1 else SINGLE_PANEL_HEIGHT


def steps_height(waterfall: Waterfall) -> float:
    """Return the height of a waterfall's steps."""
    return 0.22 * len(waterfall.names) + 0.1


def bars_height(rows: BarRows) -> float:
    """Return the height of one column of bars."""
    return 0.26 * len(rows.names) + 0.16


def columns_per_row(rows: BarRows, shape: str) -> int:
    """Return how many columns of bars stand side by side."""
    return 2 if shape == "wide" and len(rows.columns) > 1 else 1


def map_height(width: float) -> float:
    """Return the height of a map."""
    return 0.6 * width


def drawing_box(drawing: Drawing, shape: str) -> tuple[float, float, float]:
    """Return the scale of a drawing in inches to its unit, and the width and height of its window in inches."""
    width, height = drawing.size
    is_upright = any(
        abs(arrow.end[1] - arrow.start[1]) > abs(arrow.end[0] - arrow.start[0]) for arrow in drawing.arrows
    )
    room = SHAPES[shape] - 2 * max(DRAWING_SIDE[shape], UPRIGHT_SIDE if is_upright else 0.0)
    scale = min(room / width, MAX_DRAWING_HEIGHT[shape] / height)
    return scale, width * scale, height * scale


def drawing_bands(drawing: Drawing, shape: str) -> float:
    """Return the height above a drawing, and as much below it, for labels that have no room beside or inside it."""
    if shape == "narrow":
        return 0.1 + LINE_HEIGHT * math.ceil(drawing.label_count / 4)
    missing = LINE_HEIGHT * drawing.label_count / 2 - drawing_box(drawing, shape)[2]
    return max(0.2, missing / 2 + 0.1)


def drawing_footer(drawing: Drawing, shape: str) -> float:
    """Return the height below a drawing for its note and its scale bar."""
    lines = (bool(drawing.note), bool(drawing.scale_unit))
    return LINE_HEIGHT * (sum(lines) if shape == "narrow" else max(lines))


def drawing_height(drawing: Drawing, shape: str) -> float:
    """Return the height of a drawing with its labels, note and scale bar."""
    bands = 2 * drawing_bands(drawing, shape)
    return drawing_box(drawing, shape)[2] + bands + drawing_footer(drawing, shape) + 0.06
