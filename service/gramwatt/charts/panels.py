"""Draw waterfalls against a limit, bars side by side, and maps."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap

from gramwatt.charts.canvas import EDGE, GAP, POINTS_PER_INCH, Canvas, fit_text, text_width, tick_locator
from gramwatt.charts.chart_data import BarRows, Column, HeatMap, Waterfall
from gramwatt.charts.formatting import describe_ranges
from gramwatt.charts.sizes import LINE_HEIGHT, NOTE_HEIGHT, bars_height, columns_per_row, map_height, steps_height
from gramwatt.charts.themes import Theme

NAME_SIZE: Final = 9
VALUE_SIZE: Final = 8.5
MAX_NAME: Final = {"wide": 1.7, "narrow": 1.45}
"""Width in inches of the names of rows, by shape."""
VALUE_GAP: Final = 0.06
"""Inches between a bar and its value."""
MIN_BAR: Final = 0.4
"""Inches that texts leave to the longest bar."""
EDGE_OF_MAP: Final = 0.035
"""Share of an axis in which a map has no labels."""
COLUMN_GAP: Final = 0.15
_LIMIT_LINE: Any = {"linewidth": 1.4, "linestyle": (0, (5, 2))}


def draw_waterfall(canvas: Canvas, waterfall: Waterfall) -> None:
    """Draw steps that add up, and a close-up of the total beside the limit."""
    theme, count = canvas.theme, len(waterfall.names)
    names = [fit_text(name, MAX_NAME[canvas.style.shape], NAME_SIZE) for name in waterfall.names]
    left, right = _left_margin(names), canvas.width - 0.25
    top, height = canvas.top + 0.3, steps_height(waterfall)
    axes = canvas.add_axes(left, top, right, top + height)
    totals = np.array(waterfall.totals)
    before = np.concatenate([[0.0], totals[:-1]])
    rows = np.arange(count)
    axes.barh(rows, totals - before, left=before, height=0.62, color=theme.accent, linewidth=0)
    axes.vlines(totals[:-1], rows[:-1], rows[1:], color=theme.accent, linewidth=0.8)
    axes.axvline(waterfall.limit, color=theme.highlight, **_LIMIT_LINE)
    axes.set_yticks(rows, names)
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(count - 0.4, -0.6)
    axes.set_xlim(0, 1.03 * max(waterfall.limit, totals[-1]))
    axes.grid(axis="x")
    axes.set_axisbelow(True)
    axes.xaxis.set_major_locator(tick_locator(6 if canvas.style.shape == "wide" else 4))
    label: dict[str, Any] = {"size": 9, "weight": "bold"}
    canvas.add_text(EDGE, canvas.top + 0.06, waterfall.label, **label)
    center = left + (right - left) * waterfall.limit / axes.get_xlim()[1]
    after = EDGE + text_width(waterfall.label, 9, "bold") + GAP
    canvas.add_text_above(center, canvas.top + 0.06, waterfall.limit_label, after=after, color=theme.highlight, **label)
    _draw_close_up(canvas, waterfall, top + height + 0.62, right)


def _draw_close_up(canvas: Canvas, waterfall: Waterfall, top: float, right: float) -> None:
    """Draw the total with its range beside the limit."""
    theme, total, limit, (low, high) = canvas.theme, waterfall.totals[-1], waterfall.limit, waterfall.ends
    axes = canvas.add_axes(0.25, top, right, top + 0.5)
    room = max(0.25 * (high - low), 0.25 * abs(limit - total), 0.002 * limit)
    axes.axvspan(low, high, color=theme.band, linewidth=0)
    axes.axvline(total, color=theme.accent, linewidth=2)
    axes.axvline(limit, color=theme.highlight, **_LIMIT_LINE)
    axes.set_xlim(min(low, limit) - room, max(high, limit) + room)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.xaxis.set_major_locator(tick_locator(5 if canvas.style.shape == "narrow" else 7))
    canvas.add_text(EDGE, top - 0.24, f"total: {waterfall.total_label}", size=9, weight="bold", color=theme.accent)
    if high > low:
        canvas.add_text(EDGE, top + 0.78, f"shaded: {describe_ranges(False)}", size=8, color=theme.muted)


def _left_margin(names: Sequence[str]) -> float:
    """Return the room for the names of rows, in inches."""
    return EDGE + max(text_width(name, NAME_SIZE) for name in names) + 0.12


def draw_bar_rows(canvas: Canvas, rows: BarRows) -> None:
    """Draw columns of bars, one bar for each row."""
    count = len(rows.names)
    names = [fit_text(name, MAX_NAME[canvas.style.shape], NAME_SIZE) for name in rows.names]
    left = _left_margin(names)
    beside, height = columns_per_row(rows, canvas.style.shape), bars_height(rows)
    width = (canvas.width - left - EDGE) / beside
    top = canvas.top
    for index, column in enumerate(rows.columns):
        top = canvas.top + 0.28 + (index // beside) * (height + 0.42)
        start = left + (index % beside) * width
        axes = canvas.add_axes(start, top, start + width - COLUMN_GAP, top + height)
        _draw_bars(axes, column, canvas.theme, width - COLUMN_GAP)
        axes.set_ylim(count - 0.4, -0.6)
        axes.set_yticks(np.arange(count), names if index % beside == 0 else [""] * count)
        label = fit_text(column.label, width - COLUMN_GAP, 9, "bold")
        canvas.add_text(start, top - 0.22, label, size=9, weight="bold")
    notes = top + height + 0.08
    if rows.limits:
        notes += LINE_HEIGHT  # below the numbers at the lines
        text = fit_text(f"dashed: {rows.limits}", canvas.width - 2 * EDGE, 8)
        canvas.add_text(EDGE, notes, text, size=8, color=canvas.theme.highlight)
        notes += NOTE_HEIGHT
    if rows.ranges:
        text = f"lines and brackets: {describe_ranges(any(each.is_partial for each in rows.ranges))}"
        canvas.add_text(EDGE, notes, text, size=8, color=canvas.theme.muted)


def _draw_bars(axes: Axes, column: Column, theme: Theme, width: float) -> None:
    """Draw the bars of a column with error bars and values, in ``width`` inches."""
    values, rows = column.values, np.arange(len(column.values))
    ends = np.where(np.isfinite(values), values, 0.0)
    axes.barh(rows, ends, height=0.6, color=theme.accent, linewidth=0)
    range_low, range_high = (np.where(np.isfinite(end), end, ends) for end in (column.range.low, column.range.high))
    ranged = range_high > range_low
    if ranged.any():
        middle, half = (range_low + range_high) / 2, (range_high - range_low) / 2
        axes.errorbar(
            middle[ranged], rows[ranged], xerr=half[ranged], fmt="none",
            ecolor=theme.highlight, elinewidth=1.2, capsize=2.5,
        )  # fmt: skip
    furthest = np.maximum(np.maximum(ends, range_high), 0.0)
    low = min(0.0, float(np.minimum(ends, range_low).min()))
    # The text of each bar stands to the right of it: the scale is the largest that leaves room for all texts.
    texts = [fit_text(text, width - MIN_BAR, VALUE_SIZE) for text in column.texts]
    rooms = [width - text_width(text, VALUE_SIZE) - 2 * VALUE_GAP for text in texts]
    if column.limits:  # the texts have a column of their own, beyond the lines
        furthest = np.full(len(furthest), max(column.limits[-1][0], float(furthest.max())))
        rooms = [min(rooms)] * len(rooms)
    spans = [(end - low) / max(room, MIN_BAR / 2) for end, room in zip(furthest.tolist(), rooms, strict=True)]
    axes.set_xlim(low, low + (max(spans) * width or 1.0))
    for row, (end, text) in enumerate(zip(furthest.tolist(), texts, strict=True)):
        axes.annotate(
            text, (end, row), xytext=(VALUE_GAP * POINTS_PER_INCH, 0), textcoords="offset points", va="center",
            size=VALUE_SIZE, color=theme.text,
        )  # fmt: skip
    axes.axvline(0, color=theme.muted, linewidth=0.8)
    axes.tick_params(axis="y", length=0)
    _draw_limits(axes, [place for place, _ in column.limits], theme, width)
    for side in ("bottom", "left"):
        axes.spines[side].set_visible(False)


def _draw_limits(axes: Axes, places: Sequence[float], theme: Theme, width: float) -> None:
    """Draw lines across bars, with their numbers below where these have room."""
    shown: list[float] = []
    scale = width / (axes.get_xlim()[1] - axes.get_xlim()[0])
    for place in places:
        axes.axvline(place, color=theme.highlight, **_LIMIT_LINE)
        if not shown or (place - shown[-1]) * scale > text_width(f"{place:.6g}", VALUE_SIZE) + VALUE_GAP:
            shown.append(place)
    axes.set_xticks(shown, [f"{place:.6g}" for place in shown], color=theme.highlight, size=VALUE_SIZE)
    axes.tick_params(axis="x", length=0)


def color_map(theme: Theme) -> LinearSegmentedColormap:
    """Return the colours of a map, from its minimum to its maximum."""
    return LinearSegmentedColormap.from_list("gramwatt", [theme.background, theme.band, theme.accent])


def draw_heat_map(canvas: Canvas, heat_map: HeatMap) -> None:
    """Draw one result over two inputs, with shaded areas and labelled contour lines."""
    theme = canvas.theme
    height = map_height(canvas.width)
    top = canvas.top + 0.5
    axes = canvas.add_axes(0.62, top, canvas.width - 0.2, top + height)
    label = f"{heat_map.label} (on the lines)"
    canvas.add_text(0.1, canvas.top + 0.06, label, size=9, weight="bold", color=theme.accent)
    canvas.add_text(0.1, top - 0.2, heat_map.y_label, size=9, weight="bold")
    canvas.add_text(canvas.width - 0.2, top + height + 0.24, heat_map.x_label, size=9, ha="right")
    axes.xaxis.set_major_locator(tick_locator(6))
    axes.yaxis.set_major_locator(tick_locator(6))
    axes.set_xlim(float(np.nanmin(heat_map.x)), float(np.nanmax(heat_map.x)))
    axes.set_ylim(float(np.nanmin(heat_map.y)), float(np.nanmax(heat_map.y)))
    known = heat_map.values[np.isfinite(heat_map.values)]
    if not len(known) or known.min() == known.max():
        text = "no result here" if not len(known) else f"{known[0]:.6g} everywhere"
        axes.text(0.5, 0.5, text, transform=axes.transAxes, ha="center", color=theme.text)
        return
    levels = tick_locator(9).tick_values(float(known.min()), float(known.max()))
    values = np.ma.masked_invalid(heat_map.values)
    axes.contourf(heat_map.x, heat_map.y, values, levels=levels, cmap=color_map(theme))
    lines = axes.contour(heat_map.x, heat_map.y, values, levels=levels, colors=theme.text, linewidths=0.7)
    for contour_label in axes.clabel(lines, fontsize=8.5, colors=theme.text, inline=True):
        if _is_at_edge(axes, *contour_label.get_position()):
            contour_label.set_visible(False)  # it would be cut
        contour_label.set_bbox({"facecolor": theme.background, "edgecolor": "none", "pad": 0.6, "alpha": 0.8})


def _is_at_edge(axes: Axes, x: float, y: float) -> bool:
    """Return whether a place is so near to an edge of a map that a label there would cross it."""
    (left, right), (bottom, top) = axes.get_xlim(), axes.get_ylim()
    shares = (x - left) / (right - left), (y - bottom) / (top - bottom)
    return any(not EDGE_OF_MAP < share < 1 - EDGE_OF_MAP for share in shares)
