"""Draw a `ChartData` with matplotlib, as SVG or PNG. Import it only to draw: matplotlib takes half a second."""

from __future__ import annotations

import functools
import io
import threading
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import fields
from typing import Any, Final

import matplotlib as mpl
import numpy as np
from matplotlib.colors import to_hex
from matplotlib.figure import Figure

from gramwatt.charts import svg
from gramwatt.charts.canvas import EDGE, Canvas
from gramwatt.charts.chart_data import BarRows, ChartData, Drawing, Graph, HeatMap, Scatter, Waterfall
from gramwatt.charts.drawing import draw_drawing
from gramwatt.charts.graph import draw_graph
from gramwatt.charts.panels import color_map, draw_bar_rows, draw_heat_map, draw_waterfall
from gramwatt.charts.scatter import draw_scatter
from gramwatt.charts.sizes import body_height, heading_lines, top_height
from gramwatt.charts.themes import AUTO, DARK, FONT, LIGHT, SHAPES, TITLE_FONT, ChartStyle

PIXELS_PER_INCH: Final = 120
"""Of PNG at scale 1."""
_LOCK: Final = threading.Lock()
"""matplotlib's settings and caches belong to the whole process."""


def as_svg(chart: ChartData, style: ChartStyle) -> bytes:
    """Return the chart as SVG, with its title and description."""
    with _matplotlib_settings(style):
        output = io.BytesIO()
        make_figure(chart, style).savefig(output, format="svg", metadata={"Date": None})
    return svg.clean_svg(
        output.getvalue().decode(),
        chart.title,
        chart.description,
        prefix=style.shape[0],
        dark=_dark_colours() if style.theme == AUTO else {},
    )


@functools.cache
def _dark_colours() -> Mapping[str, str]:
    """Return the dark colour for each light one, those of maps included."""
    levels = np.arange(color_map(LIGHT).N)
    light, dark = (color_map(theme)(levels) for theme in (LIGHT, DARK))
    pairs = {to_hex(one): to_hex(other) for one, other in zip(light, dark, strict=True)}
    pairs |= zip(LIGHT.lines, DARK.lines, strict=True)
    single = [each.name for each in fields(LIGHT) if each.name != "lines"]
    return pairs | {getattr(LIGHT, name): getattr(DARK, name) for name in single}


def as_png(chart: ChartData, style: ChartStyle) -> bytes:
    """Return the chart as PNG, with its title and description in the metadata."""
    with _matplotlib_settings(style):
        output = io.BytesIO()
        metadata = {"Title": chart.title, "Description": chart.description, "Software": "Gramwatt"}
        dpi = PIXELS_PER_INCH * style.scale
        make_figure(chart, style).savefig(output, format="png", dpi=dpi, metadata=metadata)
    return output.getvalue()


@contextmanager
def _matplotlib_settings(style: ChartStyle) -> Iterator[None]:
    with _LOCK, mpl.rc_context(_settings(style)), warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # PNG shows boxes for characters that the font lacks
        yield


def _settings(style: ChartStyle) -> Any:
    theme = style.colours
    return {
        "font.family": FONT,
        "font.size": 9,
        "svg.fonttype": "none",
        "svg.hashsalt": style.shape,
        "axes.edgecolor": theme.muted,
        "axes.facecolor": "none",
        "axes.labelcolor": theme.text,
        "axes.spines.right": False,
        "axes.spines.top": False,
        "axes.linewidth": 0.8,
        "axes.unicode_minus": True,
        "axes.formatter.useoffset": False,
        "axes.formatter.limits": (-4, 6),
        "grid.color": theme.rule,
        "grid.linewidth": 0.6,
        "text.color": theme.text,
        "text.parse_math": False,
        "xtick.color": theme.muted,
        "ytick.color": theme.muted,
        "xtick.labelcolor": theme.text,
        "ytick.labelcolor": theme.text,
        "xtick.major.size": 3,
        "ytick.major.size": 3,
    }


def make_figure(chart: ChartData, style: ChartStyle) -> Figure:
    """Return the chart as a figure of matplotlib."""
    theme, width, top = style.colours, SHAPES[style.shape], top_height(chart, style)
    height = top + body_height(chart.body, style.shape)
    figure = Figure((width, height), facecolor=theme.background if style.ground == "paper" else "none")
    canvas = Canvas(figure, theme, style, width, height, top)
    match chart.body:
        case Graph():
            draw_graph(canvas, chart.body)
        case Scatter():
            draw_scatter(canvas, chart.body)
        case Waterfall():
            draw_waterfall(canvas, chart.body)
        case BarRows():
            draw_bar_rows(canvas, chart.body)
        case HeatMap():
            draw_heat_map(canvas, chart.body)
        case Drawing():
            draw_drawing(canvas, chart.body)
    y = 0.1
    for line, size, weight, line_height in heading_lines(chart, width) if style.titled else ():
        is_title = weight == "title"
        font = {"family": TITLE_FONT} if is_title else {}
        canvas.add_text(EDGE, y, line, size=size, color=theme.text if is_title else theme.muted, **font)
        y += line_height
    return canvas.figure
