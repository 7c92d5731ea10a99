"""Draw panels one above the other, with a common x axis."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from gramwatt.charts.canvas import Canvas, tick_locator
from gramwatt.charts.chart_data import Graph, Line, Marker, Panel
from gramwatt.charts.formatting import describe_ranges
from gramwatt.charts.sizes import panel_height, shorten
from gramwatt.charts.themes import DASHES, Theme


def draw_graph(canvas: Canvas, graph: Graph) -> None:
    """Draw a graph."""
    height = panel_height(len(graph.panels))
    first: Axes | None = None
    top = canvas.top
    for place, panel in enumerate(graph.panels, 1):
        top += 0.26
        axes = canvas.add_axes(0.62, top, canvas.width - 0.18, top + height, **({"sharex": first} if first else {}))
        _draw_panel(axes, panel, graph, canvas.theme)
        canvas.add_text(0.1, top - 0.22, panel.label, size=9, weight="bold")
        if place < len(graph.panels):
            axes.tick_params(labelbottom=False)
        first, top = first or axes, top + height + 0.08
    canvas.add_text(canvas.width - 0.18, top + 0.2, graph.x_label, size=9, ha="right")
    canvas.add_text(0.1, top + 0.21, _legend_of_shading(graph), size=8, color=canvas.theme.muted)


def _legend_of_shading(graph: Graph) -> str:
    """Return what the shaded areas, or the error bars, mean."""
    ranged = [line for panel in graph.panels for line in _list_ranged(panel)]
    if ranged:
        word = "shaded" if ranged[0].joined else "bars"
        return f"{word}: {describe_ranges(line.range for line in ranged if line.range is not None)}"
    return f"shaded: {graph.spans_label}" if graph.spans and graph.spans_label else ""


def _list_ranged(panel: Panel) -> list[Line]:
    """Return the lines whose range is drawn: points, and a curve that is alone."""
    is_alone = sum(not line.measured for line in panel.lines) == 1
    return [line for line in panel.lines if line.range is not None and (is_alone or not line.joined)]


def _draw_panel(axes: Axes, panel: Panel, graph: Graph, theme: Theme) -> None:
    axes.grid(axis="y")
    axes.set_axisbelow(True)
    for start, stop in graph.spans:
        axes.axvspan(start, stop, color=theme.band, linewidth=0)
    count = sum(not line.measured for line in panel.lines)
    for index, line in enumerate(panel.lines):
        if line.measured:
            style = {"color": theme.highlight, "markersize": 4.5, "fillstyle": "none", "label": line.label}
            axes.plot(line.x, line.y, "D", **style)  # type: ignore[arg-type]
        elif line.joined:
            _draw_curve(axes, line, index, count, theme)
        else:
            _draw_points(axes, line, index, count, theme)
    _set_limits_and_ticks(axes, panel, graph)
    if any(line.label for line in panel.lines):
        axes.legend(frameon=False, fontsize=8, loc="best", handlelength=2.4, labelcolor=theme.text)
    for marker in panel.markers:
        _draw_marker(axes, marker, panel.lines[0], theme)


def _draw_curve(axes: Axes, line: Line, index: int, count: int, theme: Theme) -> None:
    """Draw one of ``count`` joined lines; a band shows the range of a single one."""
    if line.range is not None and count == 1:
        axes.fill_between(line.x, line.range.low, line.range.high, color=theme.band, linewidth=0)
    colour = theme.lines[index % len(theme.lines)] if count > 1 else theme.accent
    dash: Any = DASHES[index % len(DASHES)] if count > 1 else "solid"
    is_point = np.isfinite(line.y).sum() < 2 or np.nanmin(line.x) == np.nanmax(line.x)
    axes.plot(
        line.x, line.y, linewidth=1.6, linestyle=dash, marker="o" if is_point else None, color=colour,
        label=line.label or None,
    )  # fmt: skip


def _draw_points(axes: Axes, line: Line, index: int, count: int, theme: Theme) -> None:
    """Draw one of ``count`` sets of points with error bars, the sets side by side."""
    colour = theme.lines[index % len(theme.lines)] if count > 1 else theme.accent
    x = line.x + (index - (count - 1) / 2) * 0.12
    if line.range is not None:
        bar_colour = colour if count > 1 else theme.muted
        middle, half = (line.range.low + line.range.high) / 2, (line.range.high - line.range.low) / 2
        axes.errorbar(x, middle, half, fmt="none", ecolor=bar_colour, elinewidth=1, capsize=3)
    marker = "osD^v<"[index % 6]
    axes.plot(x, line.y, marker, markersize=5, linestyle="none", color=colour, label=line.label or None)


def _set_limits_and_ticks(axes: Axes, panel: Panel, graph: Graph) -> None:
    """Make room on both axes for everything, with ticks at round numbers."""
    known = np.concatenate([line.y[np.isfinite(line.y)] for line in panel.lines] + [[dot.y for dot in panel.markers]])
    ranges = [line.range for line in _list_ranged(panel) if line.range is not None]
    ends = [end[np.isfinite(end)] for each in ranges for end in (each.low, each.high)]
    if len(known):
        shown = np.concatenate([known, *ends])
        low, high = float(shown.min()), float(shown.max())
        room = 0.12 * float(known.max() - known.min()) or 0.05 * abs(high) or 1.0
        near_zero = 0 <= low < 0.4 * high
        axes.set_ylim(0 if near_zero else low - room, high + room)
    if graph.tick_labels:
        axes.set_xticks(range(len(graph.tick_labels)), [shorten(label, 14) for label in graph.tick_labels])
        axes.set_xlim(-0.5, len(graph.tick_labels) - 0.5)
    else:
        axes.xaxis.set_major_locator(tick_locator(6, integer=graph.integer_ticks))
        x = np.concatenate([line.x[np.isfinite(line.x)] for line in panel.lines] or [np.zeros(0)])
        if len(x) and x.min() < x.max():
            margin = (0.4 if graph.integer_ticks else 0.0) + 0.012 * float(x.max() - x.min())
            axes.set_xlim(float(x.min()) - margin, float(x.max()) + margin)
    axes.yaxis.set_major_locator(tick_locator(5))


def _draw_marker(axes: Axes, marker: Marker, line: Line, theme: Theme) -> None:
    """Draw a point of a line with its label, on the side where there is room."""
    left, right = axes.get_xlim()
    x, y = marker.x, marker.y
    if not (left <= x <= right and math.isfinite(y)):
        return
    axes.axvline(x, color=theme.highlight, linewidth=0.8, linestyle=(0, (2, 2)))
    axes.plot([x], [y], "o", color=theme.highlight, markersize=6, markeredgecolor=theme.background, markeredgewidth=1)
    on_the_left = x > (left + right) / 2
    below = _is_label_below(axes, marker, line, x + (-0.15 if on_the_left else 0.15) * (right - left))
    axes.annotate(
        marker.label,
        (x, y),
        xytext=(-7 if on_the_left else 7, -7 if below else 7),
        textcoords="offset points",
        ha="right" if on_the_left else "left",
        va="top" if below else "bottom",
        size=9,
        weight="bold",
        color=theme.highlight,
        bbox={"facecolor": theme.background, "edgecolor": "none", "pad": 1.0, "alpha": 0.85},
    )


def _is_label_below(axes: Axes, marker: Marker, line: Line, middle: float) -> bool:
    """Return whether a label with this ``middle`` along x belongs below its point: inside, and off the line."""
    low, high = axes.get_ylim()
    height = (marker.y - low) / (high - low)
    if not 0.17 < height < 0.83:
        return height > 0.5
    known = np.isfinite(line.x) & np.isfinite(line.y)
    order = np.argsort(line.x[known], kind="stable")
    return bool(np.interp(middle, line.x[known][order], line.y[known][order]) > marker.y)
