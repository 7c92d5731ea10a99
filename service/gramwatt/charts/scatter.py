"""Draw labelled points with the range of their y, and a limit on the x axis."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Final, NamedTuple

import numpy as np
from matplotlib.axes import Axes

from gramwatt.charts.canvas import EDGE, GAP, POINTS_PER_INCH, Canvas, fit_text, text_width, tick_locator
from gramwatt.charts.chart_data import Point, Range, Scatter
from gramwatt.charts.formatting import describe_ranges
from gramwatt.charts.graph import LABEL_HEIGHT, LABEL_SIZE, LEFT, RIGHT
from gramwatt.charts.sizes import LINE_HEIGHT, SCATTER_HEADER, SCATTER_HEIGHT

MARKER_SIZE: Final = 6.5
"""Points."""
CLEARANCE: Final = 0.08
"""Inches between a point and its label."""
MAX_LABEL: Final = {"wide": 1.6, "narrow": 1.0}
"""Width of a label in inches, by shape."""
SHIFTS: Final = (0.0, 0.16, -0.16, 0.32, -0.32, 0.48, -0.48, 0.64, -0.64, 0.8, -0.8)
"""Inches that a label may be higher than its point."""
LIMIT_STYLE: Final = (0, (5, 2))


class _Box(NamedTuple):
    """A rectangle in inches from the lower left corner of the axes."""

    left: float
    bottom: float
    right: float
    top: float

    def overlaps(self, other: _Box) -> bool:
        """Return whether two rectangles have an area in common."""
        return (
            self.left < other.right and other.left < self.right and self.bottom < other.top and other.bottom < self.top
        )


def draw_scatter(canvas: Canvas, scatter: Scatter) -> None:
    """Draw a scatter chart."""
    theme, top = canvas.theme, canvas.top + SCATTER_HEADER
    right = canvas.width - RIGHT
    axes = canvas.add_axes(LEFT, top, right, top + SCATTER_HEIGHT)
    _set_limits(axes, scatter)
    axes.grid(axis="y")
    axes.set_axisbelow(True)
    for point in scatter.points:
        if point.high > point.low:
            axes.vlines(point.x, point.low, point.high, color=theme.band, linewidth=5, zorder=1.5)
        axes.plot([point.x], [point.y], "o", color=theme.accent, markersize=MARKER_SIZE)
    label = fit_text(scatter.y_label, canvas.width - 2 * EDGE, 9, "bold")
    canvas.add_text(EDGE, canvas.top + 0.04, label, size=9, weight="bold")
    if scatter.limit is not None:
        axes.axvline(scatter.limit, color=theme.highlight, linewidth=1.4, linestyle=LIMIT_STYLE)
        low, high = axes.get_xlim()
        center = LEFT + (right - LEFT) * (scatter.limit - low) / (high - low)
        after = EDGE if canvas.is_narrow else EDGE + text_width(label, 9, "bold") + GAP
        canvas.add_text_above(
            center, top - 0.22, scatter.limit_label, after=after, size=9, weight="bold", color=theme.highlight
        )
    _label_points(canvas, axes, scatter)
    bottom = top + SCATTER_HEIGHT + 0.28
    canvas.add_text(right, bottom, fit_text(scatter.x_label, canvas.width - 0.5, 9), size=9, ha="right")
    if scatter.has_ranges:
        note = f"bars: {describe_ranges([Range(np.zeros(0), np.zeros(0), scatter.is_partial)])}"
        canvas.add_text(EDGE, bottom + 0.01 + (LINE_HEIGHT if canvas.is_narrow else 0), note, size=8, color=theme.muted)


def _set_limits(axes: Axes, scatter: Scatter) -> None:
    x = [point.x for point in scatter.points] + ([scatter.limit] if scatter.limit is not None else [])
    y = [end for point in scatter.points for end in (point.low, point.high, point.y)]
    room = 0.12 * (max(x) - min(x)) or 0.05 * abs(max(x)) or 1.0
    axes.set_xlim(min(x) - room, max(x) + room)
    low, high = min(y), max(y)
    room = 0.12 * (high - low) or 0.1 * abs(high) or 1.0
    axes.set_ylim(0 if 0 <= low < 0.6 * high else low - room, high + room)
    axes.xaxis.set_major_locator(tick_locator(5))
    axes.yaxis.set_major_locator(tick_locator(5))


def _label_points(canvas: Canvas, axes: Axes, scatter: Scatter) -> None:
    """Write the label of each point beside it, where nothing else is drawn; to the right if there is no such place."""
    box = axes.get_position()
    width, height = box.width * canvas.width, box.height * canvas.height
    (x_low, x_high), (y_low, y_high) = axes.get_xlim(), axes.get_ylim()

    def to_inches(x: float, y: float) -> tuple[float, float]:
        return width * (x - x_low) / (x_high - x_low), height * (y - y_low) / (y_high - y_low)

    radius = MARKER_SIZE / 2 / POINTS_PER_INCH
    taken = []
    for point in scatter.points:
        (x, bottom), (_, top) = to_inches(point.x, point.low), to_inches(point.x, point.high)
        middle = to_inches(point.x, point.y)[1]
        taken.append(_Box(x - 0.04, bottom, x + 0.04, top))
        taken.append(_Box(x - radius, middle - radius, x + radius, middle + radius))
    if scatter.limit is not None:
        place = to_inches(scatter.limit, y_low)[0]
        taken.append(_Box(place - 0.02, 0, place + 0.02, height))
    canvas_box = _Box(0.04, 0.04, width + RIGHT - 0.04, height)
    for point in scatter.points:
        text = fit_text(point.label, MAX_LABEL[canvas.style.shape], LABEL_SIZE)
        places = list(_list_places(point, text, to_inches))
        free = [
            each
            for each in places
            if canvas_box.left <= each.left and each.right <= canvas_box.right
            and canvas_box.bottom <= each.bottom and each.top <= canvas_box.top
            and not any(each.overlaps(other) for other in taken)
        ]  # fmt: skip
        chosen = (free or places)[0]
        taken.append(chosen)
        axes.text(
            (box.x0 * canvas.width + chosen.left) / canvas.width,
            (box.y0 * canvas.height + (chosen.bottom + chosen.top) / 2) / canvas.height,
            text, transform=canvas.figure.transFigure, size=LABEL_SIZE, ha="left", va="center",
            color=canvas.theme.text,
        )  # fmt: skip


def _list_places(point: Point, text: str, to_inches: Callable[[float, float], tuple[float, float]]) -> Iterator[_Box]:
    """Yield rectangles for a label: right and left of the point, above and below its range, then further away."""
    wide, half = text_width(text, LABEL_SIZE), LABEL_HEIGHT / 2
    x, y = to_inches(point.x, point.y)
    top, bottom = to_inches(point.x, point.high)[1], to_inches(point.x, point.low)[1]
    for shift in SHIFTS:
        yield _Box(x + CLEARANCE, y + shift - half, x + CLEARANCE + wide, y + shift + half)
        yield _Box(x - CLEARANCE - wide, y + shift - half, x - CLEARANCE, y + shift + half)
    for base in (top + 0.05, bottom - 0.05 - LABEL_HEIGHT):
        for left in (x - wide / 2, x, x - wide):
            yield _Box(left, base, left + wide, base + LABEL_HEIGHT)
