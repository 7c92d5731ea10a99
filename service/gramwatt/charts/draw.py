"""A `Sheet` drawn by matplotlib, as SVG or PNG."""

from __future__ import annotations

import io
import math
import os
import tempfile
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from gramwatt.charts import svg
from gramwatt.charts.sheet import Graph, Map, Panel, Rows, Sheet, Stairs
from gramwatt.charts.themes import DASHES, FONT, THEMES, Theme

if "MPLCONFIGDIR" not in os.environ and not os.access(os.path.expanduser("~"), os.W_OK):
    os.environ["MPLCONFIGDIR"] = tempfile.mkdtemp(prefix="gramwatt-")

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

SHAPES: Final = {"wide": 6.4, "narrow": 3.7}
"""Widths in inches: at the size of a page's text, and at a phone's."""
INCH: Final = 120
"""Pixels of PNG to an inch."""
_LOCK: Final = threading.Lock()
"""matplotlib's settings and its caches are the process's own."""


@dataclass(frozen=True, slots=True)
class Look:
    """How a picture is wanted."""

    theme: str = "light"
    shape: str = "wide"
    ground: str = "paper"
    """``paper`` or ``clear``."""
    scale: int = 1
    """Pixels of PNG, times as many each way."""
    titled: bool = True
    """Whether title and question stand in it; on a page they stand beside it."""


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
    page = _Page(Figure(facecolor=theme.paper if look.ground == "paper" else "none"), theme, look, width)
    head = _head(sheet, width) if look.titled else []
    page.top = sum(rise for *_, rise in head) + (0.2 if head else 0.04)
    match sheet.body:
        case Graph():
            _graph(page, sheet.body)
        case Stairs():
            _stairs(page, sheet.body)
        case Rows():
            _rows(page, sheet.body)
        case Map():
            _map(page, sheet.body)
    above = 0.1
    for line, size, weight, rise in head:
        colour = theme.ink if weight == "bold" else theme.faint
        page.text(0.1, above, line, size=size, weight=weight, color=colour)
        above += rise
    return page.figure


@dataclass(slots=True)
class _Page:
    """A figure whose parts are placed in inches from its upper left corner; its height is set once that is known."""

    figure: Figure
    theme: Theme
    look: Look
    width: float
    top: float = 0.0
    height: float = 1.0

    def resize(self, height: float) -> None:
        """Set the height, title included."""
        self.height = height
        self.figure.set_size_inches(self.width, height)

    def axes(self, left: float, top: float, right: float, bottom: float, **more: Any) -> Axes:
        """Axes between places in inches; ``right`` and all else are measured from the left and from the top."""
        box = (left / self.width, 1 - bottom / self.height, (right - left) / self.width, (bottom - top) / self.height)
        return self.figure.add_axes(box, **more)

    def text(self, left: float, top: float, words: str, **more: Any) -> None:
        """Words at a place in inches."""
        self.figure.text(left / self.width, 1 - top / self.height, words, va="top", **more)


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
            lines.append(_cut(word, letters))
    return [line for line in lines if line]


def _cut(text: str, letters: int) -> str:
    return text if len(text) <= letters else text[: letters - 1] + "…"


def _ticks(most: int, *, whole: bool = False) -> MaxNLocator:
    return MaxNLocator(most, steps=[1, 2, 2.5, 5, 10], integer=whole)


PANEL: Final = 1.55
LONE_PANEL: Final = 2.3


def _graph(page: _Page, graph: Graph) -> None:
    each = PANEL if len(graph.panels) > 1 else LONE_PANEL
    page.resize(page.top + len(graph.panels) * (each + 0.34) + 0.42)
    first: Axes | None = None
    top = page.top
    for place, panel in enumerate(graph.panels, 1):
        top += 0.26
        axes = page.axes(0.62, top, page.width - 0.18, top + each, **({"sharex": first} if first else {}))
        _panel(page, axes, panel, graph)
        page.text(0.1, top - 0.22, panel.label, size=9, weight="bold")
        if place < len(graph.panels):
            axes.tick_params(labelbottom=False)
        first, top = first or axes, top + each + 0.08
    page.text(page.width - 0.18, top + 0.2, graph.across, size=9, ha="right")
    note = f"shaded: {graph.spans_are}" if graph.spans and graph.spans_are else ""
    wide = [line for panel in graph.panels for line in panel.lines if line.width is not None]
    if wide and (not wide[0].joined or all(sum(not line.measured for line in p.lines) == 1 for p in graph.panels)):
        note = "shaded: ± 2 u" if wide[0].joined else "bars: ± 2 u"
    page.text(0.1, top + 0.21, note, size=8, color=page.theme.faint)


def _panel(page: _Page, axes: Axes, panel: Panel, graph: Graph) -> None:
    theme = page.theme
    axes.grid(axis="y")
    axes.set_axisbelow(True)
    for start, stop in graph.spans:
        axes.axvspan(start, stop, color=theme.shade, linewidth=0)
    computed = [line for line in panel.lines if not line.measured]
    several = len(computed) > 1
    for at, line in enumerate(panel.lines):
        if line.measured:
            axes.plot(line.x, line.y, "D", color=theme.mark, markersize=4.5, fillstyle="none", label=line.label)
            continue
        colour = theme.lines[at % len(theme.lines)] if several else theme.figure
        if line.width is not None and line.joined and not several:
            axes.fill_between(line.x, line.y - 2 * line.width, line.y + 2 * line.width, color=theme.shade, linewidth=0)
        beside = 0.0 if line.joined or not several else (at - (len(computed) - 1) / 2) * 0.12
        if line.width is not None and not line.joined:
            bars: dict[str, Any] = {
                "fmt": "none",
                "ecolor": colour if several else theme.faint,
                "elinewidth": 1,
                "capsize": 3,
            }
            axes.errorbar(line.x + beside, line.y, 2 * line.width, **bars)
        style: dict[str, Any] = {"color": colour, "label": line.label or None}
        if line.joined:
            dash = DASHES[at % len(DASHES)] if several else "solid"
            lone = np.isfinite(line.y).sum() < 2 or np.nanmin(line.x) == np.nanmax(line.x)
            axes.plot(line.x, line.y, linewidth=1.6, linestyle=dash, marker="o" if lone else None, **style)
        else:
            axes.plot(line.x + beside, line.y, "osD^v<"[at % 6], markersize=5, linestyle="none", **style)
    _frame(axes, panel, graph)
    if any(line.label for line in panel.lines):
        axes.legend(frameon=False, fontsize=8, loc="best", handlelength=2.4, labelcolor=theme.ink)
    for dot in panel.dots:
        _dot(axes, dot.x, dot.y, dot.label, theme)


def _frame(axes: Axes, panel: Panel, graph: Graph) -> None:
    """Room on both axes for everything, and ticks where a reader expects them."""
    known = np.concatenate([line.y[np.isfinite(line.y)] for line in panel.lines] + [[dot.y for dot in panel.dots]])
    widths = [
        2 * np.nanmax(line.width) for line in panel.lines if line.width is not None and np.isfinite(line.width).any()
    ]
    if len(known):
        low, high = float(known.min()), float(known.max())
        room = 0.12 * (high - low) or 0.05 * abs(high) or 1.0
        room = max(room, min(max(widths, default=0.0), 0.35 * (high - low)) + 0.04 * (high - low))
        near_zero = 0 <= low < 0.4 * high
        axes.set_ylim(0 if near_zero else low - room, high + room)
    if graph.ticks:
        axes.set_xticks(range(len(graph.ticks)), [_cut(word, 14) for word in graph.ticks])
        axes.set_xlim(-0.5, len(graph.ticks) - 0.5)
    else:
        axes.xaxis.set_major_locator(_ticks(6, whole=graph.whole))
        across = np.concatenate([line.x[np.isfinite(line.x)] for line in panel.lines] or [np.zeros(0)])
        if len(across) and across.min() < across.max():
            margin = (0.4 if graph.whole else 0.0) + 0.012 * float(across.max() - across.min())
            axes.set_xlim(float(across.min()) - margin, float(across.max()) + margin)
    axes.yaxis.set_major_locator(_ticks(5))


def _dot(axes: Axes, x: float, y: float, words: str, theme: Theme) -> None:
    """What was asked: a ring, and its value on the side where there is room."""
    left, right = axes.get_xlim()
    low, high = axes.get_ylim()
    if not (left <= x <= right and math.isfinite(y)):
        return
    axes.axvline(x, color=theme.mark, linewidth=0.8, linestyle=(0, (2, 2)))
    axes.plot([x], [y], "o", color=theme.mark, markersize=6, markeredgecolor=theme.paper, markeredgewidth=1)
    beyond = x > (left + right) / 2
    below = y > low + 0.75 * (high - low)
    axes.annotate(
        words,
        (x, y),
        xytext=(-7 if beyond else 7, -7 if below else 7),
        textcoords="offset points",
        ha="right" if beyond else "left",
        va="top" if below else "bottom",
        size=9,
        weight="bold",
        color=theme.mark,
        bbox={"facecolor": theme.paper, "edgecolor": "none", "pad": 1.0, "alpha": 0.85},
    )


def _stairs(page: _Page, stairs: Stairs) -> None:
    theme, count = page.theme, len(stairs.names)
    letters = 22 if page.look.shape == "wide" else 16
    left = 0.25 + 0.073 * max(4, min(letters, max(map(len, stairs.names))))
    ladder = 0.22 * count + 0.1
    page.resize(page.top + 0.3 + ladder + 0.4 + 0.85 + 0.35)
    top = page.top + 0.3
    right = page.width - 0.25
    axes = page.axes(left, top, right, top + ladder)
    totals = np.array(stairs.totals)
    before = np.concatenate([[0.0], totals[:-1]])
    places = np.arange(count)
    axes.barh(places, totals - before, left=before, height=0.62, color=theme.figure, linewidth=0)
    axes.vlines(totals[:-1], places[:-1], places[1:], color=theme.figure, linewidth=0.8)
    axes.axvline(stairs.limit, color=theme.mark, linewidth=1.4, linestyle=(0, (5, 2)))
    axes.set_yticks(places, [_cut(name, letters) for name in stairs.names])
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(count - 0.4, -0.6)
    axes.set_xlim(0, 1.03 * max(stairs.limit, totals[-1]))
    axes.grid(axis="x")
    axes.set_axisbelow(True)
    axes.xaxis.set_major_locator(_ticks(6))
    page.text(right, page.top + 0.06, stairs.limit_label, size=9, weight="bold", color=theme.mark, ha="right")
    page.text(0.1, page.top + 0.06, stairs.label, size=9, weight="bold")

    top += ladder + 0.62
    close = page.axes(0.25, top, right, top + 0.5)
    margin = abs(stairs.limit - totals[-1])
    reach = max(1.25 * stairs.half_width, 0.25 * margin, 0.002 * stairs.limit)
    close.axvspan(totals[-1] - stairs.half_width, totals[-1] + stairs.half_width, color=theme.shade, linewidth=0)
    close.axvline(totals[-1], color=theme.figure, linewidth=2)
    close.axvline(stairs.limit, color=theme.mark, linewidth=1.4, linestyle=(0, (5, 2)))
    close.set_xlim(min(totals[-1], stairs.limit) - reach, max(totals[-1], stairs.limit) + reach)
    close.set_yticks([])
    close.spines["left"].set_visible(False)
    close.xaxis.set_major_locator(_ticks(5 if page.look.shape == "narrow" else 7))
    said = f"where it ends: {stairs.end_label}" + (" (shaded, k = 2)" if stairs.half_width > 0 else "")
    page.text(0.1, top - 0.24, said, size=9, weight="bold", color=theme.figure)


def _rows(page: _Page, rows: Rows) -> None:
    theme, count = page.theme, len(rows.names)
    letters = 22 if page.look.shape == "wide" else 15
    left = 0.25 + 0.073 * max(4, min(letters, max(map(len, rows.names))))
    beside = 2 if page.look.shape == "wide" and len(rows.columns) > 1 else 1
    each = 0.26 * count + 0.16
    down = math.ceil(len(rows.columns) / beside)
    page.resize(page.top + down * (each + 0.42) + 0.05)
    room = (page.width - left - 0.15) / beside
    for at, column in enumerate(rows.columns):
        top = page.top + 0.28 + (at // beside) * (each + 0.42)
        begin = left + (at % beside) * room
        axes = page.axes(begin + 0.06, top, begin + room - 0.15, top + each)
        values = column.values
        axes.barh(np.arange(count), np.nan_to_num(values), height=0.6, color=theme.figure, linewidth=0)
        if column.widths is not None and (column.widths > 0).any():
            known = np.isfinite(values)
            axes.errorbar(
                values[known], np.arange(count)[known], xerr=2 * column.widths[known], fmt="none",
                ecolor=theme.mark, elinewidth=1.2, capsize=2.5,
            )  # fmt: skip
        ends = np.where(np.isfinite(values), values, 0.0)
        reach = 2 * column.widths if column.widths is not None else np.zeros(count)
        high, low = max(0.0, float((ends + reach).max())), min(0.0, float((ends - reach).min()))
        span = (high - low) or 1.0
        axes.set_xlim(low - (0.05 * span if low < 0 else 0), high + 0.75 * span)
        for place, (value, words) in enumerate(zip(ends.tolist(), column.texts, strict=True)):
            end = max(value + float(reach[place]), 0.0)
            axes.annotate(
                words, (end, place), xytext=(4, 0), textcoords="offset points", va="center", size=8.5, color=theme.ink
            )
        axes.axvline(0, color=theme.faint, linewidth=0.8)
        axes.set_ylim(count - 0.4, -0.6)
        axes.set_yticks(np.arange(count), [_cut(n, letters) for n in rows.names] if at % beside == 0 else [""] * count)
        axes.tick_params(axis="y", length=0)
        axes.set_xticks([])
        for side in ("bottom", "left"):
            axes.spines[side].set_visible(False)
        page.text(begin + 0.06, top - 0.22, column.label, size=9, weight="bold")


def _map(page: _Page, seen: Map) -> None:
    theme = page.theme
    height = 0.6 * page.width
    page.resize(page.top + 0.5 + height + 0.45)
    top = page.top + 0.5
    axes = page.axes(0.62, top, page.width - 0.2, top + height)
    page.text(0.1, page.top + 0.06, f"{seen.label}, by the lines", size=9, weight="bold", color=theme.figure)
    page.text(0.1, top - 0.2, seen.up_label, size=9, weight="bold")
    page.text(page.width - 0.2, top + height + 0.24, seen.across_label, size=9, ha="right")
    axes.xaxis.set_major_locator(_ticks(6))
    axes.yaxis.set_major_locator(_ticks(6))
    axes.set_xlim(float(np.nanmin(seen.across)), float(np.nanmax(seen.across)))
    axes.set_ylim(float(np.nanmin(seen.up)), float(np.nanmax(seen.up)))
    known = seen.values[np.isfinite(seen.values)]
    if not len(known) or known.min() == known.max():
        said = "no answer here" if not len(known) else f"{known[0]:.6g} everywhere"
        axes.text(0.5, 0.5, said, transform=axes.transAxes, ha="center", color=theme.ink)
        return
    levels = _ticks(9).tick_values(float(known.min()), float(known.max()))
    values = np.ma.masked_invalid(seen.values)
    shades = LinearSegmentedColormap.from_list("gramwatt", [theme.paper, theme.shade, theme.figure])
    axes.contourf(seen.across, seen.up, values, levels=levels, cmap=shades)
    lines = axes.contour(seen.across, seen.up, values, levels=levels, colors=theme.ink, linewidths=0.7)
    for label in axes.clabel(lines, fontsize=8.5, colors=theme.ink, inline=True):
        label.set_bbox({"facecolor": theme.paper, "edgecolor": "none", "pad": 0.6, "alpha": 0.8})
