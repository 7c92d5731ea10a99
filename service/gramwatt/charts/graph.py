"""Panels above each other over one level axis."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from gramwatt.charts.chart_data import Graph, Panel
from gramwatt.charts.page import Page, ticks
from gramwatt.charts.sizes import cut, panel_height
from gramwatt.charts.themes import DASHES, Theme


def draw_graph(page: Page, graph: Graph) -> None:
    """Draw a graph."""
    each = panel_height(len(graph.panels))
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


def _panel(page: Page, axes: Axes, panel: Panel, graph: Graph) -> None:
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
        axes.set_xticks(range(len(graph.ticks)), [cut(word, 14) for word in graph.ticks])
        axes.set_xlim(-0.5, len(graph.ticks) - 0.5)
    else:
        axes.xaxis.set_major_locator(ticks(6, whole=graph.whole))
        across = np.concatenate([line.x[np.isfinite(line.x)] for line in panel.lines] or [np.zeros(0)])
        if len(across) and across.min() < across.max():
            margin = (0.4 if graph.whole else 0.0) + 0.012 * float(across.max() - across.min())
            axes.set_xlim(float(across.min()) - margin, float(across.max()) + margin)
    axes.yaxis.set_major_locator(ticks(5))


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
