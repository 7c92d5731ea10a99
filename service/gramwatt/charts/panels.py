"""Stairs against a limit, bars side by side, and maps."""

from __future__ import annotations

import numpy as np
from matplotlib.colors import LinearSegmentedColormap

from gramwatt.charts.chart_data import BarRows, HeatMap, Waterfall
from gramwatt.charts.page import Page, ticks
from gramwatt.charts.sizes import bars_height, cut, ladder_height, map_height, rows_beside
from gramwatt.charts.themes import Theme


def draw_stairs(page: Page, stairs: Waterfall) -> None:
    """Draw steps that add up, and a close view of where they end."""
    theme, count = page.theme, len(stairs.names)
    letters = 22 if page.look.shape == "wide" else 16
    left = 0.25 + 0.073 * max(4, min(letters, max(map(len, stairs.names))))
    ladder = ladder_height(stairs)
    top = page.top + 0.3
    right = page.width - 0.25
    axes = page.axes(left, top, right, top + ladder)
    totals = np.array(stairs.totals)
    before = np.concatenate([[0.0], totals[:-1]])
    places = np.arange(count)
    axes.barh(places, totals - before, left=before, height=0.62, color=theme.figure, linewidth=0)
    axes.vlines(totals[:-1], places[:-1], places[1:], color=theme.figure, linewidth=0.8)
    axes.axvline(stairs.limit, color=theme.mark, linewidth=1.4, linestyle=(0, (5, 2)))
    axes.set_yticks(places, [cut(name, letters) for name in stairs.names])
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(count - 0.4, -0.6)
    axes.set_xlim(0, 1.03 * max(stairs.limit, totals[-1]))
    axes.grid(axis="x")
    axes.set_axisbelow(True)
    axes.xaxis.set_major_locator(ticks(6))
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
    close.xaxis.set_major_locator(ticks(5 if page.look.shape == "narrow" else 7))
    said = f"where it ends: {stairs.end_label}" + (" (shaded, k = 2)" if stairs.half_width > 0 else "")
    page.text(0.1, top - 0.24, said, size=9, weight="bold", color=theme.figure)


def draw_rows(page: Page, rows: BarRows) -> None:
    """Draw figures of several rows, a bar each."""
    theme, count = page.theme, len(rows.names)
    letters = 22 if page.look.shape == "wide" else 15
    left = 0.25 + 0.073 * max(4, min(letters, max(map(len, rows.names))))
    beside, each = rows_beside(rows, page.look.shape), bars_height(rows)
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
        axes.set_yticks(np.arange(count), [cut(n, letters) for n in rows.names] if at % beside == 0 else [""] * count)
        axes.tick_params(axis="y", length=0)
        axes.set_xticks([])
        for side in ("bottom", "left"):
            axes.spines[side].set_visible(False)
        page.text(begin + 0.06, top - 0.22, column.label, size=9, weight="bold")


def shades(theme: Theme) -> LinearSegmentedColormap:
    """Return the colours of a map, from its least value to its greatest."""
    return LinearSegmentedColormap.from_list("gramwatt", [theme.paper, theme.shade, theme.figure])


def draw_map(page: Page, seen: HeatMap) -> None:
    """Draw one figure over two inputs, in shades and labelled lines."""
    theme = page.theme
    height = map_height(page.width)
    top = page.top + 0.5
    axes = page.axes(0.62, top, page.width - 0.2, top + height)
    page.text(0.1, page.top + 0.06, f"{seen.label}, by the lines", size=9, weight="bold", color=theme.figure)
    page.text(0.1, top - 0.2, seen.up_label, size=9, weight="bold")
    page.text(page.width - 0.2, top + height + 0.24, seen.across_label, size=9, ha="right")
    axes.xaxis.set_major_locator(ticks(6))
    axes.yaxis.set_major_locator(ticks(6))
    axes.set_xlim(float(np.nanmin(seen.across)), float(np.nanmax(seen.across)))
    axes.set_ylim(float(np.nanmin(seen.up)), float(np.nanmax(seen.up)))
    known = seen.values[np.isfinite(seen.values)]
    if not len(known) or known.min() == known.max():
        said = "no answer here" if not len(known) else f"{known[0]:.6g} everywhere"
        axes.text(0.5, 0.5, said, transform=axes.transAxes, ha="center", color=theme.ink)
        return
    levels = ticks(9).tick_values(float(known.min()), float(known.max()))
    values = np.ma.masked_invalid(seen.values)
    axes.contourf(seen.across, seen.up, values, levels=levels, cmap=shades(theme))
    lines = axes.contour(seen.across, seen.up, values, levels=levels, colors=theme.ink, linewidths=0.7)
    for label in axes.clabel(lines, fontsize=8.5, colors=theme.ink, inline=True):
        label.set_bbox({"facecolor": theme.paper, "edgecolor": "none", "pad": 0.6, "alpha": 0.8})
