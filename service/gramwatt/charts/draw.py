"""Draw a `ChartData` by matplotlib, as SVG or PNG. Import this module only to draw: matplotlib takes half a second."""

from __future__ import annotations

import functools
import io
import threading
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any, Final

import matplotlib as mpl
import numpy as np
from matplotlib.colors import to_hex
from matplotlib.figure import Figure

from gramwatt.charts import svg
from gramwatt.charts.chart_data import BarRows, ChartData, Graph, HeatMap, Waterfall
from gramwatt.charts.graph import draw_graph
from gramwatt.charts.page import Page
from gramwatt.charts.panels import draw_map, draw_rows, draw_stairs, shades
from gramwatt.charts.sizes import body_height, head_lines, top_of
from gramwatt.charts.themes import AUTO, DARK, FONT, LIGHT, SHAPES, Look

INCH: Final = 120
"""Pixels of PNG to an inch."""
_LOCK: Final = threading.Lock()
"""matplotlib's settings and its caches are the process's own."""


def as_svg(sheet: ChartData, look: Look) -> bytes:
    """Return the chart as SVG, with its title and what it shows in words."""
    with _drawing(look):
        written = io.BytesIO()
        _figure(sheet, look).savefig(written, format="svg", metadata={"Date": None})
    return svg.tidy(
        written.getvalue().decode(),
        sheet.title,
        sheet.told,
        key=look.shape[0],
        dark=_dark_colours() if look.theme == AUTO else {},
    )


@functools.cache
def _dark_colours() -> Mapping[str, str]:
    """The dark colour for each light one, shades of a map included."""
    levels = np.arange(shades(LIGHT).N)
    pairs = {to_hex(one): to_hex(other) for one, other in zip(shades(LIGHT)(levels), shades(DARK)(levels), strict=True)}
    pairs |= zip(LIGHT.lines, DARK.lines, strict=True)
    return pairs | {
        getattr(LIGHT, name): getattr(DARK, name)
        for name in ("paper", "ink", "faint", "rule", "figure", "shade", "mark")
    }


def as_png(sheet: ChartData, look: Look) -> bytes:
    """The picture as PNG, its words in the metadata."""
    with _drawing(look):
        written = io.BytesIO()
        told = {"Title": sheet.title, "Description": sheet.told, "Software": "Gramwatt"}
        _figure(sheet, look).savefig(written, format="png", dpi=INCH * look.scale, metadata=told)
    return written.getvalue()


@contextmanager
def _drawing(look: Look) -> Iterator[None]:
    with _LOCK, mpl.rc_context(_settings(look)), warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # letters that the font has not are boxes in PNG
        yield


def _settings(look: Look) -> Any:
    theme = look.colours
    return {
        "font.family": FONT,
        "font.size": 9,
        "svg.fonttype": "none",
        "svg.hashsalt": look.shape,
        "axes.edgecolor": theme.faint,
        "axes.facecolor": "none",
        "axes.labelcolor": theme.ink,
        "axes.spines.right": False,
        "axes.spines.top": False,
        "axes.linewidth": 0.8,
        "axes.unicode_minus": True,
        "axes.formatter.useoffset": False,
        "axes.formatter.limits": (-4, 6),
        "grid.color": theme.rule,
        "grid.linewidth": 0.6,
        "text.color": theme.ink,
        "text.parse_math": False,
        "xtick.color": theme.faint,
        "ytick.color": theme.faint,
        "xtick.labelcolor": theme.ink,
        "ytick.labelcolor": theme.ink,
        "xtick.major.size": 3,
        "ytick.major.size": 3,
    }


def _figure(sheet: ChartData, look: Look) -> Figure:
    theme, width, top = look.colours, SHAPES[look.shape], top_of(sheet, look)
    height = top + body_height(sheet.body, look.shape)
    figure = Figure((width, height), facecolor=theme.paper if look.ground == "paper" else "none")
    page = Page(figure, theme, look, width, height, top)
    match sheet.body:
        case Graph():
            draw_graph(page, sheet.body)
        case Waterfall():
            draw_stairs(page, sheet.body)
        case BarRows():
            draw_rows(page, sheet.body)
        case HeatMap():
            draw_map(page, sheet.body)
    above = 0.1
    for line, size, weight, rise in head_lines(sheet, width) if look.titled else ():
        colour = theme.ink if weight == "bold" else theme.faint
        page.text(0.1, above, line, size=size, weight=weight, color=colour)
        above += rise
    return page.figure
