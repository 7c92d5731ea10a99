"""Draw panels one above the other, with a common x axis. Labels stand above and beside the curves."""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes

from gramwatt.charts.canvas import EDGE, GAP, Canvas, fit_text, spread_labels, text_width, tick_locator
from gramwatt.charts.chart_data import Graph, Line, Marker, Panel
from gramwatt.charts.formatting import describe_ranges
from gramwatt.charts.sizes import PANEL_GAP, header_height, panel_height, shorten
from gramwatt.charts.themes import DASHES, Theme

LEFT: Final = 0.62
RIGHT: Final = 0.18
LABEL_SIZE: Final = 8.5
LABEL_HEIGHT: Final = 0.155
"""Inches from one label beside the curves to the next."""
MAX_LABEL: Final = {"wide": 1.7, "narrow": 1.05}
"""Width in inches of labels beside the curves, by shape."""
_ROW: Final = 0.17


def draw_graph(canvas: Canvas, graph: Graph) -> None:
    """Draw a graph."""
    height = panel_height(len(graph.panels))
    first: Axes | None = None
    top = canvas.top
    right = canvas.width - RIGHT - _room_for_labels(canvas, graph)
    for place, panel in enumerate(graph.panels, 1):
        header = header_height(graph, canvas.style.shape)
        top += header
        axes = canvas.add_axes(LEFT, top, right, top + height, **({"sharex": first} if first else {}))
        _draw_panel(canvas, axes, panel, graph)
        label = fit_text(panel.label, canvas.width - 2 * EDGE, 9, "bold")
        canvas.add_text(EDGE, top - header + 0.04, label, size=9, weight="bold")
        for marker in panel.markers:
            _draw_marker(canvas, axes, marker, label, top)
        if place < len(graph.panels):
            axes.tick_params(labelbottom=False)
        first, top = first or axes, top + height + PANEL_GAP
    canvas.add_text(right, top + 0.16, fit_text(graph.x_label, canvas.width - 0.5, 9), size=9, ha="right")
    _draw_footer(canvas, graph, top + 0.16)


def _draw_footer(canvas: Canvas, graph: Graph, top: float) -> None:
    """Name what is shaded and what is marked, below the title of the x axis where both do not fit in a line."""
    notes = _list_notes(graph)
    if not notes:
        return
    text = "   ".join(notes)
    if canvas.is_narrow:
        top += _ROW
    canvas.add_text(EDGE, top + 0.01, fit_text(text, canvas.width - 2 * EDGE, 8), size=8, color=canvas.theme.muted)


def _list_notes(graph: Graph) -> list[str]:
    """Return what shaded areas, error bars and marks mean."""
    notes = []
    ranged = [line for panel in graph.panels for line in _list_ranged(panel)]
    if ranged:
        word = "shaded" if ranged[0].joined else "bars"
        is_partial = any(line.range is not None and line.range.is_partial for line in ranged)
        notes.append(f"{word}: {describe_ranges(is_partial)}")
    elif graph.spans and graph.spans_label:
        notes.append(f"shaded: {graph.spans_label}")
    measured = [line.label for panel in graph.panels for line in panel.lines if line.measured and line.label]
    notes += [f"◇ {label}" for label in dict.fromkeys(measured)]
    return [*notes, f"● {graph.marks_label}"] if graph.marks_label else notes


def _list_ranged(panel: Panel) -> list[Line]:
    """Return the lines whose range is drawn: points, and a curve that is alone."""
    is_alone = sum(not line.measured for line in panel.lines) == 1
    return [line for line in panel.lines if line.range is not None and (is_alone or not line.joined)]


def _is_labelled(line: Line) -> bool:
    """Return whether a line has a label beside it."""
    return bool(line.label) and not line.measured and bool(np.isfinite(line.y).any())


def _room_for_labels(canvas: Canvas, graph: Graph) -> float:
    """Return the width that the labels beside the curves take, in inches."""
    labels = [line.label for panel in graph.panels for line in panel.lines if _is_labelled(line)]
    if not labels:
        return 0.0
    return min(MAX_LABEL[canvas.style.shape], max(text_width(label, LABEL_SIZE) for label in labels)) + 0.12


def _draw_panel(canvas: Canvas, axes: Axes, panel: Panel, graph: Graph) -> None:
    theme = canvas.theme
    axes.grid(axis="y")
    axes.set_axisbelow(True)
    for start, stop in graph.spans:
        axes.axvspan(start, stop, color=theme.band, linewidth=0)
    count = sum(not line.measured for line in panel.lines)
    for index, line in enumerate(panel.lines):
        if line.measured:
            axes.plot(line.x, line.y, "D", color=theme.highlight, markersize=4.5, fillstyle="none")
        elif line.joined:
            _draw_curve(axes, line, index, count, theme)
        else:
            _draw_points(axes, line, index, count, theme)
    _set_limits_and_ticks(axes, panel, graph)
    _label_lines(canvas, axes, panel, count)


def _get_colour(index: int, count: int, theme: Theme) -> str:
    return theme.lines[index % len(theme.lines)] if count > 1 else theme.accent


def _draw_curve(axes: Axes, line: Line, index: int, count: int, theme: Theme) -> None:
    """Draw one of ``count`` joined lines; a band shows the range of a single one."""
    if line.range is not None and count == 1:
        axes.fill_between(line.x, line.range.low, line.range.high, color=theme.band, linewidth=0)
    colour = _get_colour(index, count, theme)
    dash: Any = DASHES[index % len(DASHES)] if count > 1 else "solid"
    is_point = np.isfinite(line.y).sum() < 2 or np.nanmin(line.x) == np.nanmax(line.x)
    axes.plot(line.x, line.y, linewidth=1.6, linestyle=dash, marker="o" if is_point else None, color=colour)
    if line.mark is not None:
        axes.plot(*([each] for each in line.mark), "o", color=colour, markersize=6, zorder=3)


def _draw_points(axes: Axes, line: Line, index: int, count: int, theme: Theme) -> None:
    """Draw one of ``count`` sets of points with error bars, the sets side by side."""
    colour = _get_colour(index, count, theme)
    x = line.x + (index - (count - 1) / 2) * 0.12
    if line.range is not None:
        bar_colour = colour if count > 1 else theme.muted
        middle, half = (line.range.low + line.range.high) / 2, (line.range.high - line.range.low) / 2
        axes.errorbar(x, middle, half, fmt="none", ecolor=bar_colour, elinewidth=1, capsize=3)
    axes.plot(x, line.y, "osD^v<"[index % 6], markersize=5, linestyle="none", color=colour)


def _set_limits_and_ticks(axes: Axes, panel: Panel, graph: Graph) -> None:
    """Make room on both axes for everything, with ticks at round numbers."""
    marks = [line.mark[1] for line in panel.lines if line.mark is not None]
    known = np.concatenate(
        [line.y[np.isfinite(line.y)] for line in panel.lines] + [[dot.y for dot in panel.markers], marks]
    )
    ranges = [line.range for line in _list_ranged(panel) if line.range is not None]
    ends = [end[np.isfinite(end)] for each in ranges for end in (each.low, each.high)]
    if len(known):
        shown = np.concatenate([known, *ends])
        low, high = float(shown.min()), float(shown.max())
        room = 0.08 * float(known.max() - known.min()) or 0.05 * abs(high) or 1.0
        room = max(room, 0.6) if panel.integer_ticks else room
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
        elif len(x) and graph.integer_ticks:
            axes.set_xlim(float(x.min()) - 1, float(x.max()) + 1)
    axes.yaxis.set_major_locator(tick_locator(5, integer=panel.integer_ticks))


def _label_lines(canvas: Canvas, axes: Axes, panel: Panel, count: int) -> None:
    """Write the label of each line to the right of the axes, at the height of its last point."""
    labelled = [(index, line) for index, line in enumerate(panel.lines) if _is_labelled(line)]
    if not labelled:
        return
    low, high = axes.get_ylim()
    box = axes.get_position()
    bottom, height = box.y0 * canvas.height, box.height * canvas.height
    ends = [line.y[np.isfinite(line.y)][-1] for _, line in labelled]
    places = [bottom + height * (float(end) - low) / (high - low) for end in ends]
    spread = spread_labels(places, LABEL_HEIGHT, bottom + 0.06, bottom + height - 0.04)
    for (index, line), place in zip(labelled, spread, strict=True):
        text = fit_text(line.label, MAX_LABEL[canvas.style.shape], LABEL_SIZE)
        canvas.add_text(
            box.x1 * canvas.width + 0.08, canvas.height - place, text, size=LABEL_SIZE, va="center",
            color=_get_colour(index, count, canvas.theme),
        )  # fmt: skip


def _draw_marker(canvas: Canvas, axes: Axes, marker: Marker, panel_label: str, top: float) -> None:
    """Draw a point with a line up to its label, which stands above the axes."""
    left, right = axes.get_xlim()
    if not (left <= marker.x <= right and math.isfinite(marker.y)):
        return
    theme = canvas.theme
    axes.axvline(marker.x, color=theme.highlight, linewidth=0.8, linestyle=(0, (2, 2)))
    edge = {"markeredgecolor": theme.background, "markeredgewidth": 1}
    axes.plot([marker.x], [marker.y], "o", color=theme.highlight, markersize=6, **edge)  # type: ignore[arg-type]
    box = axes.get_position()
    center = canvas.width * (box.x0 + box.width * (marker.x - left) / (right - left))
    after = EDGE if canvas.is_narrow else EDGE + text_width(panel_label, 9, "bold") + GAP
    canvas.add_text_above(center, top - 0.22, marker.label, after=after, size=9, weight="bold", color=theme.highlight)
