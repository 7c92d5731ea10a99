"""A `Sheet` drawn by matplotlib, as SVG or PNG."""

from __future__ import annotations

import io
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final

import matplotlib as mpl
from matplotlib.figure import Figure

from gramwatt.charts import svg
from gramwatt.charts.bodies import draw_map, draw_rows, draw_stairs
from gramwatt.charts.graph import draw_graph
from gramwatt.charts.page import Page, cut
from gramwatt.charts.sheet import Graph, Map, Rows, Sheet, Stairs
from gramwatt.charts.themes import FONT, SHAPES, THEMES, Look

INCH: Final = 120
"""Pixels of PNG to an inch."""
_LOCK: Final = threading.Lock()
"""matplotlib's settings and its caches are the process's own."""


def drawn(sheet: Sheet, form: str, look: Look) -> bytes:
    """The picture as ``svg`` or ``png``, or as ``txt``: its title and what it shows."""
    if form == "txt":
        return f"{sheet.title}\n{sheet.told}\n".encode()
    return as_png(sheet, look) if form == "png" else as_svg(sheet, look)


def as_svg(sheet: Sheet, look: Look, *, variables: bool = False) -> bytes:
    """The picture as SVG, its title and what it shows told in words; see `svg.tidy` for ``variables``."""
    with _drawing(look):
        written = io.BytesIO()
        _figure(sheet, look).savefig(written, format="svg", metadata={"Date": None})
    return svg.tidy(
        written.getvalue().decode(),
        sheet.title,
        sheet.told,
        key=look.shape[0],
        theme=THEMES[look.theme] if variables else None,
    )


def as_png(sheet: Sheet, look: Look) -> bytes:
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
    theme = THEMES[look.theme]
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


def _figure(sheet: Sheet, look: Look) -> Figure:
    theme, width = THEMES[look.theme], SHAPES[look.shape]
    page = Page(Figure(facecolor=theme.paper if look.ground == "paper" else "none"), theme, look, width)
    head = _head(sheet, width) if look.titled else []
    page.top = sum(rise for *_, rise in head) + (0.2 if head else 0.04)
    match sheet.body:
        case Graph():
            draw_graph(page, sheet.body)
        case Stairs():
            draw_stairs(page, sheet.body)
        case Rows():
            draw_rows(page, sheet.body)
        case Map():
            draw_map(page, sheet.body)
    above = 0.1
    for line, size, weight, rise in head:
        colour = theme.ink if weight == "bold" else theme.faint
        page.text(0.1, above, line, size=size, weight=weight, color=colour)
        above += rise
    return page.figure


def _head(sheet: Sheet, width: float) -> list[tuple[str, float, str, float]]:
    """Title and question as lines that fit the width: words, size, weight, height in inches."""
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
