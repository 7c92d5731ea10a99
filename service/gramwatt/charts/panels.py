"""Draw waterfalls against a limit, bars side by side, and maps."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap

from gramwatt.charts.canvas import Canvas, tick_locator
from gramwatt.charts.chart_data import BarRows, Column, HeatMap, Waterfall
from gramwatt.charts.formatting import describe_ranges
from gramwatt.charts.sizes import bars_height, columns_per_row, map_height, shorten, steps_height
from gramwatt.charts.themes import Theme

_LIMIT_LINE: Any = {"linewidth": 1.4, "linestyle": (0, (5, 2))}


def draw_waterfall(canvas: Canvas, waterfall: Waterfall) -> None:
    """Draw steps that add up, and a close-up of the total beside the limit."""
    theme, count = canvas.theme, len(waterfall.names)
    max_length = 22 if canvas.style.shape == "wide" else 16
    left, right = _left_margin(waterfall.names, max_length), canvas.width - 0.25
    top, height = canvas.top + 0.3, steps_height(waterfall)
    axes = canvas.add_axes(left, top, right, top + height)
    totals = np.array(waterfall.totals)
    before = np.concatenate([[0.0], totals[:-1]])
    rows = np.arange(count)
    axes.barh(rows, totals - before, left=before, height=0.62, color=theme.accent, linewidth=0)
    axes.vlines(totals[:-1], rows[:-1], rows[1:], color=theme.accent, linewidth=0.8)
    axes.axvline(waterfall.limit, color=theme.highlight, **_LIMIT_LINE)
    axes.set_yticks(rows, [shorten(name, max_length) for name in waterfall.names])
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(count - 0.4, -0.6)
    axes.set_xlim(0, 1.03 * max(waterfall.limit, totals[-1]))
    axes.grid(axis="x")
    axes.set_axisbelow(True)
    axes.xaxis.set_major_locator(tick_locator(6))
    label = {"size": 9, "weight": "bold"}
    canvas.add_text(right, canvas.top + 0.06, waterfall.limit_label, color=theme.highlight, ha="right", **label)
    canvas.add_text(0.1, canvas.top + 0.06, waterfall.label, **label)
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
    canvas.add_text(0.1, top - 0.24, f"total: {waterfall.total_label}", size=9, weight="bold", color=theme.accent)
    if high > low:
        canvas.add_text(0.1, top + 0.78, f"shaded: {describe_ranges([])}", size=8, color=theme.muted)


def _left_margin(names: tuple[str, ...], max_length: int) -> float:
    """Return the room for the names of rows, in inches."""
    return 0.25 + 0.073 * max(4, min(max_length, max(map(len, names))))


def draw_bar_rows(canvas: Canvas, rows: BarRows) -> None:
    """Draw columns of bars, one bar for each row."""
    count = len(rows.names)
    max_length = 22 if canvas.style.shape == "wide" else 15
    left = _left_margin(rows.names, max_length)
    beside, height = columns_per_row(rows, canvas.style.shape), bars_height(rows)
    width = (canvas.width - left - 0.15) / beside
    names, top = [shorten(name, max_length) for name in rows.names], canvas.top
    for index, column in enumerate(rows.columns):
        top = canvas.top + 0.28 + (index // beside) * (height + 0.42)
        start = left + (index % beside) * width
        axes = canvas.add_axes(start + 0.06, top, start + width - 0.15, top + height)
        _draw_bars(axes, column, canvas.theme)
        axes.set_ylim(count - 0.4, -0.6)
        axes.set_yticks(np.arange(count), names if index % beside == 0 else [""] * count)
        canvas.add_text(start + 0.06, top - 0.22, column.label, size=9, weight="bold")
    if rows.ranges:
        text = f"lines: {describe_ranges(rows.ranges)}"
        canvas.add_text(0.1, top + height + 0.08, text, size=8, color=canvas.theme.muted)


def _draw_bars(axes: Axes, column: Column, theme: Theme) -> None:
    """Draw the bars of a column with error bars and values."""
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
    furthest = np.maximum(ends, range_high)
    high, low = max(0.0, float(furthest.max())), min(0.0, float(np.minimum(ends, range_low).min()))
    span = (high - low) or 1.0
    axes.set_xlim(low - (0.05 * span if low < 0 else 0), high + 0.75 * span)
    for row, (end, text) in enumerate(zip(furthest.tolist(), column.texts, strict=True)):
        place = (max(end, 0.0), row)
        axes.annotate(text, place, xytext=(4, 0), textcoords="offset points", va="center", size=8.5, color=theme.text)
    axes.axvline(0, color=theme.muted, linewidth=0.8)
    axes.tick_params(axis="y", length=0)
    axes.set_xticks([])
    for side in ("bottom", "left"):
        axes.spines[side].set_visible(False)


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
        contour_label.set_bbox({"facecolor": theme.background, "edgecolor": "none", "pad": 0.6, "alpha": 0.8})
