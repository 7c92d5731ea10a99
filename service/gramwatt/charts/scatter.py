"""Draw labelled points with the range of their y, and a limit on the x axis."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from typing import Final, NamedTuple

import numpy as np
from matplotlib.axes import Axes

from gramwatt.charts.canvas import EDGE, GAP, POINTS_PER_INCH, Canvas, fit_text, text_width, tick_locator
from gramwatt.charts.chart_data import Point, Scatter
from gramwatt.charts.formatting import describe_ranges
from gramwatt.charts.graph import LABEL_HEIGHT, LABEL_SIZE, LEFT, RIGHT
from gramwatt.charts.sizes import LINE_HEIGHT, SCATTER_HEADER, SCATTER_HEIGHT

MARKER_SIZE: Final = 6.5
"""Points."""
CLEARANCE: Final = 0.08
"""Inches between a point and its label."""
MAX_LABEL: Final = {"wide": 1.6, "narrow": 1.45}
"""Width of a label in inches, by shape."""
GAPS: Final = (CLEARANCE, 0.3, 0.55, 0.8)
"""Inches between a point and its label, one after the other until there is room."""
SHIFTS: Final = (0.0, *(sign * 0.16 * step for step in range(1, 11) for sign in (1, -1)))
"""Inches that a label may be higher than its point."""
BESIDE: Final = 0.2
"""Inches from a point within which its label needs no line to it."""
LEADER_PIECES: Final = 12
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

    def nearest(self, place: tuple[float, float]) -> tuple[float, float]:
        """Return the place of the rectangle that is nearest to another."""
        return min(max(place[0], self.left), self.right), min(max(place[1], self.bottom), self.top)

    def is_beside(self, dot: tuple[float, float], dots: Sequence[tuple[float, float]]) -> bool:
        """Return whether the rectangle is close to a dot, and to none closer."""
        own = math.dist(self.nearest(dot), dot)
        return own <= BESIDE and all(own <= math.dist(self.nearest(other), other) + 1e-9 for other in dots)

    def lead_to(self, dot: tuple[float, float]) -> list[_Box]:
        """Return the line between a dot and the rectangle, as small rectangles."""
        ends = np.array([self.nearest(dot), dot])
        places = ends[0] + np.linspace(0, 1, LEADER_PIECES)[1:, None] * (ends[1] - ends[0])
        return [_Box(x - 0.02, y - 0.02, x + 0.02, y + 0.02) for x, y in places.tolist()]


def _keep_within(box: _Box, bounds: _Box) -> _Box:
    """Return a rectangle moved sideways until it is within others' left and right."""
    shift = min(0.0, bounds.right - box.right) + max(0.0, bounds.left - box.left)
    return box._replace(left=box.left + shift, right=box.right + shift)


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
        note = f"bars: {describe_ranges(scatter.is_partial)}"
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
    """Write the label of each point beside it, where nothing else is drawn, else further away with a line to it."""
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
    labels: list[_Box] = []
    canvas_box = _Box(0.04, 0.04, width + RIGHT - 0.04, height)
    dots = [to_inches(point.x, point.y) for point in scatter.points]
    for point, dot in zip(scatter.points, dots, strict=True):
        text = fit_text(point.label, MAX_LABEL[canvas.style.shape], LABEL_SIZE)
        places = list(_list_places(point, text, to_inches))
        free = [
            each
            for each in places
            if canvas_box.left <= each.left and each.right <= canvas_box.right
            and canvas_box.bottom <= each.bottom and each.top <= canvas_box.top
            and not any(each.overlaps(other) for other in taken)
            and not any(piece.overlaps(label) for piece in each.lead_to(dot) for label in labels)
        ]  # fmt: skip
        beside = [each for each in free if each.is_beside(dot, dots)]
        apart = [
            each for each in (_keep_within(place, canvas_box) for place in places)
            if canvas_box.bottom <= each.bottom and each.top <= canvas_box.top
            and not any(each.overlaps(label) for label in labels)
        ]  # fmt: skip
        if scatter.may_skip_labels and not free:
            continue
        chosen = (beside or free or apart or [_keep_within(places[0], canvas_box)])[0]
        taken.append(chosen)
        labels.append(chosen)
        if not beside:
            taken.extend(chosen.lead_to(dot))
            ends = np.array([dot, chosen.nearest(dot)]) / (width, height)
            axes.plot(*ends.T, color=canvas.theme.muted, linewidth=0.8, transform=axes.transAxes, zorder=1.8)
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
    for gap in GAPS:
        for shift in SHIFTS:
            yield _Box(x + gap, y + shift - half, x + gap + wide, y + shift + half)
            yield _Box(x - gap - wide, y + shift - half, x - gap, y + shift + half)
        for away in (gap - 0.03, gap + 0.15):
            for base in (top + away, bottom - away - LABEL_HEIGHT):
                for left in (x - wide / 2, x, x - wide):
                    yield _Box(left, base, left + wide, base + LABEL_HEIGHT)
