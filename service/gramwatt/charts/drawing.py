"""Draw shapes to scale, with their names and dimensions."""

from __future__ import annotations

import math
from typing import Any, Final, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from gramwatt.arrays import Array, BoolArray
from gramwatt.charts.canvas import EDGE, POINTS_PER_INCH, Canvas, fit_text, text_width
from gramwatt.charts.chart_data import Arrow, Drawing, Shape
from gramwatt.charts.formatting import format_value
from gramwatt.charts.graph import LABEL_HEIGHT, LABEL_SIZE
from gramwatt.charts.label_places import CLEARANCE, LabelGrid, Target, subdivide
from gramwatt.charts.scatter import LIMIT_STYLE
from gramwatt.charts.sizes import LINE_HEIGHT, drawing_bands, drawing_box, drawing_footer, drawing_height
from gramwatt.charts.themes import Theme

MAX_LABEL: Final = {"wide": (2.2, 1.6, 1.1), "narrow": (2.6, 1.7, 1.1)}
"""Widths of a label in inches, one after the other until there is room, by shape."""
LINE_WIDTH: Final = 1.4
THIN: Final = 0.8
DASH: Final = (0, (4, 2.5))
TINT: Final = 0.2
"""Opacity of the fill of a shape whose colour is that of its outline."""
HEAD: Final = (0.085, 0.028)
"""Length and half the width of an arrowhead in inches."""
DOT: Final = 6
"""Points."""
AROUND_DOT: Final = 0.15
"""Inches from a dot within which a label would seem to name it."""
AROUND_SHAPE: Final = 0.12
"""The same for a shape that is beside the one to name."""
OVERSHOOT: Final = 0.05
"""Inches that the thin lines of a dimension go on beyond its arrow."""
MAX_BAR: Final = 1.2
"""Inches of a scale bar."""


class _Traced(NamedTuple):
    """A shape in inches from the upper left corner of the canvas."""

    shape: Shape
    x: Array
    y: Array
    """The points of its outline, the first again at the end if it is closed."""
    inside: BoolArray | None
    """The cells of the grid within it."""


def draw_drawing(canvas: Canvas, drawing: Drawing) -> None:
    """Draw a drawing to scale."""
    scale, width, height = drawing_box(drawing, canvas.style.shape)
    bottom = canvas.top + drawing_height(drawing, canvas.style.shape) - drawing_footer(drawing, canvas.style.shape)
    left, top = (canvas.width - width) / 2, canvas.top + drawing_bands(drawing, canvas.style.shape)
    axes = canvas.add_axes(0, 0, canvas.width, canvas.height)
    axes.set_axis_off()
    axes.set_xticks([])
    axes.set_yticks([])
    axes.set_xlim(0, canvas.width)
    axes.set_ylim(canvas.height, 0)
    grid = LabelGrid(EDGE, canvas.top, canvas.width - EDGE, bottom)
    x_low, _, _, y_high = drawing.window

    def to_inches(x: Any, y: Any) -> tuple[Any, Any]:
        return left + (x - x_low) * scale, top + (y_high - y) * scale

    window = Rectangle((left, top), width, height, transform=axes.transData) if drawing.is_clipped else None
    traced = [_trace(shape, *to_inches(shape.x, shape.y), grid) for shape in drawing.shapes]
    seen = grid.find_within(left, top, left + width, top + height) if drawing.is_clipped else None
    for order, each in enumerate(traced):
        _draw_shape(axes, each, canvas.theme, window, 1 + 0.01 * order)
        grid.take_line(each.x, each.y, seen)
        if len(each.x) == 1:
            grid.take(grid.find_around(*_get_dot(each), DOT / 2 / POINTS_PER_INCH + CLEARANCE))
        if seen is not None and each.inside is not None and each.shape.filled:
            grid.take_edge(each.inside & seen)
    targets = []
    filled = [each.inside for each in traced if each.inside is not None and each.shape.filled]
    for arrow in drawing.arrows:
        middle = _draw_arrow(axes, arrow, to_inches, scale, grid, canvas.theme)
        target = Target(*middle, None, False, grid.empty(), np.logical_or.reduce([grid.empty(), *filled]))
        targets.append((arrow.label, target, canvas.theme.text))
    for each in sorted(traced, key=_get_area):
        outline = _find_visible(each, window)
        if len(outline[0]):
            inside = each.inside & seen if each.inside is not None and seen is not None else each.inside
            target = Target(*outline, inside, each.shape.filled, *_list_others(each, outline, traced, grid))
            targets.append((each.shape.label, target, _get_colours(each.shape, canvas.theme)[0]))
    for label, target, colour in targets:
        if label:
            _write(canvas, axes, label, target, grid, colour)
    _draw_footer(canvas, axes, drawing, scale, bottom)


def _trace(shape: Shape, x: Array, y: Array, grid: LabelGrid) -> _Traced:
    """Return a shape in inches with the cells within it."""
    if not shape.closed:
        return _Traced(shape, x, y, None)
    return _Traced(shape, np.append(x, x[0]), np.append(y, y[0]), grid.find_inside(x, y))


def _get_colours(shape: Shape, theme: Theme) -> tuple[str, str, float]:
    """Return the colours of a shape's outline and of its fill, and the opacity of the fill."""
    match shape.role:
        case "body":
            return theme.accent, theme.band, 1
        case "quiet":
            return theme.muted, theme.rule, 1
        case "good" | "close" | "bad":
            colour = {"good": theme.good, "close": theme.close, "bad": theme.bad}[shape.role]
            return colour, colour, TINT
        case _:
            return theme.highlight, theme.highlight, TINT


def _draw_shape(axes: Axes, traced: _Traced, theme: Theme, window: Rectangle | None, order: float) -> None:
    shape = traced.shape
    colour, fill, opacity = _get_colours(shape, theme)
    style: Any = DASH if shape.dashed else LIMIT_STYLE if shape.role == "limit" else "solid"
    options: dict[str, Any] = {"zorder": order, "clip_on": window is not None}
    drawn: list[Any] = []
    if shape.filled and shape.closed:
        drawn += axes.fill(traced.x, traced.y, facecolor=fill, alpha=opacity, linewidth=0, **options)
    options |= {"linewidth": THIN if shape.role == "quiet" else LINE_WIDTH, "linestyle": style}
    if shape.closed:
        drawn += axes.fill(traced.x, traced.y, fill=False, edgecolor=colour, **options)
    else:
        dot: dict[str, Any] = {"marker": "o", "markersize": DOT} if len(traced.x) == 1 else {}
        drawn += axes.plot(traced.x, traced.y, color=colour, **options, **dot)
    for artist in drawn:
        if window is not None:
            artist.set_clip_path(window)


def _draw_arrow(
    axes: Axes, arrow: Arrow, to_inches: Any, scale: float, grid: LabelGrid, theme: Theme
) -> tuple[Array, Array]:
    """Draw a dimension without its text; return the middle of its line."""
    places = np.array([to_inches(*place) for place in (arrow.start, arrow.end, *arrow.ends)])
    start, end = places[2:]
    length = math.dist(start, end)
    along = (end - start) / length if length else np.array([1.0, 0.0])
    is_short = length < 4 * HEAD[0]
    tail = 2.5 * HEAD[0] * along if is_short else np.zeros(2)
    lines = [(start - tail, end + tail)]
    if abs(arrow.away) * scale > OVERSHOOT:
        for place, tip in zip(places[:2], places[2:], strict=True):
            outward = (tip - place) / math.dist(tip, place)
            lines.append((place + OVERSHOOT * outward, tip + OVERSHOOT * outward))
    for line in np.array(lines):
        axes.plot(*line.T, color=theme.muted, linewidth=THIN, zorder=2.2, clip_on=False)
        grid.take_line(*line.T)
    for tip, back in ((start, 1), (end, -1)):
        base = tip + HEAD[0] * along * (-back if is_short else back)
        aside = HEAD[1] * np.array([-along[1], along[0]])
        axes.fill(
            *np.array([tip, base + aside, base - aside]).T, color=theme.muted, linewidth=0, zorder=2.2, clip_on=False
        )
    middle = (start + end) / 2
    return middle[:1], middle[1:]


def _get_area(traced: _Traced) -> float:
    """Return the cells within a shape, none for a line."""
    return 0.0 if traced.inside is None else float(traced.inside.sum())


def _get_dot(traced: _Traced) -> tuple[float, float]:
    return float(traced.x[0]), float(traced.y[0])


def _find_visible(traced: _Traced, window: Rectangle | None) -> tuple[Array, Array]:
    """Return places along the outline of a shape, as far as it is within the window."""
    x, y = subdivide(traced.x, traced.y)
    if window is None:
        return x, y
    left, top = window.get_xy()
    shown = (x >= left) & (x <= left + window.get_width()) & (y >= top) & (y <= top + window.get_height())
    return x[shown], y[shown]


def _list_others(
    traced: _Traced, outline: tuple[Array, Array], others: list[_Traced], grid: LabelGrid
) -> tuple[BoolArray, BoolArray]:
    """Return the cells in which a label would name another shape, and those in which it would be less clear.

    It would name a smaller one, and a filled one that is drawn over the shape. It is less clear within one that is
    beside the shape, and close to a dot.
    """
    area, naming, unclear = _get_area(traced), grid.empty(), grid.empty()
    middle = float(outline[0].mean()), float(outline[1].mean())
    is_over = False
    for other in others:
        is_over = is_over or other is traced
        if other is traced:
            continue
        if len(other.x) == 1:
            unclear |= grid.find_around(*_get_dot(other), AROUND_DOT)
        if other.inside is None:
            continue
        if _get_area(other) < area or (is_over and other.shape.filled):
            naming |= other.inside
        elif not grid.holds(other.inside, *middle):
            unclear |= grid.widen(other.inside, AROUND_SHAPE)
    return naming, unclear


def _write(canvas: Canvas, axes: Axes, label: str, target: Target, grid: LabelGrid, colour: str) -> None:
    """Write a label where there is room for it, shorter where there is none for all of it, with a line if it is far."""
    for width in MAX_LABEL[canvas.style.shape]:
        text = fit_text(label, width, LABEL_SIZE)
        place = grid.place(text_width(text, LABEL_SIZE), LABEL_HEIGHT, target)
        if place is not None:
            break
    else:
        return
    if place.leader is not None:
        axes.plot(*place.leader, color=canvas.theme.muted, linewidth=0.6, zorder=2.1, clip_on=False)
    colour = canvas.theme.text if place.is_inside and target.is_centered else colour
    canvas.add_text(place.left, place.top + LABEL_HEIGHT / 2, text, size=LABEL_SIZE, va="center", color=colour)


def _draw_footer(canvas: Canvas, axes: Axes, drawing: Drawing, scale: float, top: float) -> None:
    """Draw the note and, beside it or on a phone below it, a length in the unit of the drawing."""
    if drawing.note:
        note = fit_text(drawing.note, canvas.width - 2 * EDGE - (0 if canvas.is_narrow else 2.5), 8)
        canvas.add_text(EDGE, top, note, size=8, color=canvas.theme.muted)
    if not drawing.scale_unit:
        return
    if canvas.is_narrow and drawing.note:
        top += LINE_HEIGHT
    longest = MAX_BAR / scale
    power = 10.0 ** math.floor(math.log10(longest))
    length = power * max(step for step in (1, 2, 5) if step * power <= longest)
    text = format_value(length, drawing.scale_unit)
    right = canvas.width - EDGE
    axes.plot(
        [right - length * scale, right], [top + 0.07] * 2, color=canvas.theme.text, linewidth=LINE_WIDTH, clip_on=False
    )
    canvas.add_text(right - length * scale - 0.08, top, text, size=8, ha="right", color=canvas.theme.muted)
