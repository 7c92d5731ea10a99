"""Compute drawings to scale: the shapes and dimensions of a calculator in the units of the response."""

from __future__ import annotations

import dataclasses
import math
from typing import Any, Final

import numpy as np

from gramwatt.arrays import Array
from gramwatt.charts import formatting
from gramwatt.charts.chart_data import Arrow, Drawing, Shape
from gramwatt.charts.chart_request import ChartRequest
from gramwatt.model import Dimension, DrawingChart, Outline, units

MAX_LABELS: Final = 20
"""Names and dimensions that one picture holds."""


def make_drawing(request: ChartRequest, spec: DrawingChart[Any, Any]) -> tuple[Drawing, str] | None:
    """Return the shapes and dimensions that a calculator computes for a chart."""
    given, found = request.outcome.inputs, request.outcome.results
    unit = request.unit(spec.measure) if spec.measure else "1"
    shapes: list[Shape] = []
    arrows: list[Arrow] = []
    for traced in spec.trace(given, found):
        if isinstance(traced, Dimension):
            if np.isfinite([*traced.start, *traced.end]).all():
                arrows.append(_make_arrow(request, traced, unit, is_measured=bool(spec.measure)))
        elif len(x := _to_unit(traced.x, unit)):
            y = _to_unit(traced.y, unit)
            known = np.isfinite(x) & np.isfinite(y)
            if known.any():
                shapes.append(_make_shape(traced, x[known], y[known]))
    if not shapes and not arrows:
        return None
    own = tuple(float(_to_unit(end, unit)) for end in spec.window(given, found)) if spec.window is not None else None
    left, right, bottom, top = own or _find_extent(shapes, arrows)
    drawing = Drawing(
        tuple(shapes), tuple(arrows), (left, right, bottom, top), own is not None,
        unit if spec.scale_bar and spec.measure else "", spec.note,
    )  # fmt: skip
    return _limit_labels(drawing), _describe(drawing)


def _to_unit(values: Any, unit: str) -> Array:
    return units.convert_from_si(np.asarray(values, dtype=np.float64), unit)


def _make_shape(traced: Outline, x: Array, y: Array) -> Shape:
    return Shape(x, y, traced.role, traced.name, traced.closed and len(x) > 2, traced.filled, traced.dashed)


def _make_arrow(request: ChartRequest, traced: Dimension, unit: str, *, is_measured: bool) -> Arrow:
    """Return a dimension, with its value if it has a unit."""
    (start, end), away = (_to_unit(place, unit) for place in (traced.start, traced.end)), _to_unit(traced.away, unit)
    words = [traced.name] if traced.name else []
    if traced.value is not None:
        own = request.unit(traced.measure) if traced.measure else unit
        words.append(formatting.format_value(float(_to_unit(traced.value, own)), own))
    elif is_measured:
        words.append(formatting.format_value(math.dist(start, end), unit))
    return Arrow((float(start[0]), float(start[1])), (float(end[0]), float(end[1])), float(away), " ".join(words))


def _find_extent(shapes: list[Shape], arrows: list[Arrow]) -> tuple[float, float, float, float]:
    """Return left, right, bottom and top of everything."""
    ends = [end for arrow in arrows for end in (arrow.start, arrow.end, *arrow.ends)]
    x, y = (
        np.concatenate([*(getattr(shape, name) for shape in shapes), [end[at] for end in ends]])
        for at, name in enumerate("xy")
    )
    size = max(float(np.ptp(x)), float(np.ptp(y))) or 1.0
    # A line has no height; it gets some, so that a scale can be found.
    x_room, y_room = (max(0.0, 0.02 * size - float(np.ptp(values))) / 2 for values in (x, y))
    return float(x.min()) - x_room, float(x.max()) + x_room, float(y.min()) - y_room, float(y.max()) + y_room


def _limit_labels(drawing: Drawing) -> Drawing:
    """Return a drawing without the labels that a picture has no room for; the description has them all."""
    shown = drawing.arrows[:MAX_LABELS]
    left = MAX_LABELS - len(shown)
    named = [at for at, shape in enumerate(drawing.shapes) if shape.label][left:]
    shapes = [dataclasses.replace(shape, label="") if at in named else shape for at, shape in enumerate(drawing.shapes)]
    arrows = shown + tuple(dataclasses.replace(arrow, label="") for arrow in drawing.arrows[MAX_LABELS:])
    return dataclasses.replace(drawing, arrows=arrows, shapes=tuple(shapes))


def _describe(drawing: Drawing) -> str:
    """Return what is drawn, in words."""
    named = [shape.label for shape in drawing.shapes if shape.label]
    sizes = [arrow.label for arrow in drawing.arrows if arrow.label]
    text = f"Drawn to scale: {'; '.join(named)}" if named else "Drawn to scale"
    text += f". Dimensions: {'; '.join(sizes)}" if sizes else ""
    return f"{text}. {drawing.note}" if drawing.note else text
