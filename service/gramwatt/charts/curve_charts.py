"""Compute the chart of results as one input varies and the others stay."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from gramwatt.charts import formatting
from gramwatt.charts.chart_data import Graph, Line, Marker, Panel
from gramwatt.charts.chart_request import ChartRequest
from gramwatt.charts.curves import MAX_MAGNITUDE, GridResults, compute_grid
from gramwatt.engine.tables.sweep import Axis
from gramwatt.model import Array, Count, CurveChart, Quantity, units
from gramwatt.model.messages import lower_first

MAX_CURVE_POINTS: Final = 121
"""Points of a curve whose calculator computes all of them at once."""
MAX_CURVE_POINTS_ROW_BY_ROW: Final = 25
"""Points of a curve whose calculator computes them one at a time."""


def compute_curve(request: ChartRequest, spec: CurveChart[Any, Any]) -> tuple[Graph, str] | None:
    """Return the panels of a curve and their description, or None where there is nothing to draw."""
    calculator = request.calculator
    kind, axis = calculator.input_fields[spec.vary], curve_axis(request, spec)
    if axis is None:
        return None
    constants = {name: value for name, value in request.inputs.items() if name != spec.vary}
    names = (*spec.show, *((spec.across,) if spec.across else ()))
    result_units = {name: unit for name, unit in request.response["units"].items() if name in calculator.result_fields}
    grid = compute_grid(calculator, constants, [axis], text=request.text, result_units=result_units, names=names)
    x = grid.values(spec.across) if spec.across else axis.points(np.arange(axis.count))
    if not spec.across and isinstance(kind, Quantity) and x_unit(request, spec) != kind.unit:  # it is a result too
        x = units.convert_from_si(units.get_unit(kind.unit).to_si(x), x_unit(request, spec))
    panels = _panels(request, spec, grid, x)
    known = x[np.isfinite(x)]
    if not panels or not len(known):
        return None
    x_label = formatting.axis_label(request.label(spec.across or spec.vary), x_unit(request, spec))
    graph = Graph(x_label, panels, integer_ticks=isinstance(kind, Count))
    return graph, _describe(request, spec, panels, known)


def outline_curve(request: ChartRequest, spec: CurveChart[Any, Any]) -> Graph:
    """Return a curve's chart without the points of its lines: enough to know its size."""
    panels = (Panel(request.axis_label(name), (), _make_markers(request, spec, name)) for name in spec.show)
    return Graph(formatting.axis_label(request.label(spec.across or spec.vary), x_unit(request, spec)), tuple(panels))


def x_unit(request: ChartRequest, spec: CurveChart[Any, Any]) -> str:
    """Return the unit of a curve's x axis."""
    return request.unit(spec.across or spec.vary)


def curve_axis(request: ChartRequest, spec: CurveChart[Any, Any]) -> Axis | None:
    """Return the points of the varied input, or None where an end of its range is unknown."""
    calculator, name = request.calculator, spec.vary
    kind = calculator.input_fields[name]
    if not isinstance(kind, Quantity | Count):
        raise TypeError(f"{name} has no range")
    start, stop = (_end_of_range(request, kind, end) for end in (spec.start, spec.stop))
    if start is None or stop is None:
        return None
    included = [place for place in _included_places(request, spec, kind) if math.isfinite(place)]
    low, high = min([start, stop, *included]), max([start, stop, *included])
    start, stop = (low, high) if start <= stop else (high, low)
    if start == stop:
        return None
    count = MAX_CURVE_POINTS if calculator.columnwise else MAX_CURVE_POINTS_ROW_BY_ROW
    if isinstance(kind, Count):
        start, stop = math.floor(start), math.ceil(stop)
        count = min(count, int(abs(stop - start)) + 1)
    return Axis(name, count, float(start), float(stop))


def _panels(request: ChartRequest, spec: CurveChart[Any, Any], grid: GridResults, x: Array) -> tuple[Panel, ...]:
    joined = not isinstance(request.calculator.input_fields[spec.vary], Count)
    panels = []
    for index, name in enumerate(spec.show):
        y = grid.values(name)
        if not np.isfinite(y).any():
            continue
        lines = [Line(x, y, grid.range(name), joined=joined)]
        if index == 0 and spec.points is not None:
            lines.append(_measured_points(request, spec, name))
        is_count = isinstance(request.calculator.result_fields[name], Count)
        panels.append(
            Panel(
                request.axis_label(name),
                tuple(lines),
                _make_markers(request, spec, name),
                name=name,
                integer_ticks=is_count,
            )
        )
    return tuple(panels)


def _make_markers(request: ChartRequest, spec: CurveChart[Any, Any], name: str) -> tuple[Marker, ...]:
    """Return the result of the request itself as a point of the curve."""
    here, value = _x_of_request(request, spec), request.response["results"][name]
    if not isinstance(here, int | float) or not isinstance(value, int | float) or abs(value) >= MAX_MAGNITUDE:
        return ()
    return (Marker(float(here), float(value), request.format_result(name)),)


def _x_of_request(request: ChartRequest, spec: CurveChart[Any, Any]) -> Any:
    """Return where the inputs of the request lie on the x axis."""
    name = spec.across or spec.vary
    return request.response["results"].get(name, request.response["inputs"].get(name))


def _measured_points(request: ChartRequest, spec: CurveChart[Any, Any], name: str) -> Line:
    x, y = spec.points(request.outcome.inputs, request.outcome.results)  # type: ignore[misc]
    return Line(
        units.convert_from_si(np.asarray(x), request.unit(spec.across or spec.vary)),
        units.convert_from_si(np.asarray(y), request.unit(name)),
        label=spec.points_are,
        joined=False,
        measured=True,
    )


def _describe(request: ChartRequest, spec: CurveChart[Any, Any], panels: Sequence[Panel], known: Array) -> str:
    """Return the trend of each panel, and the values at the inputs of the request."""
    unit = x_unit(request, spec)
    first, last = (0.0 if abs(end) < 1e-4 * np.abs(known).max() else end for end in (known[0], known[-1]))
    ends = f"from {formatting.format_value(first, unit)} to {formatting.format_value(last, unit)}"
    trends = [
        formatting.describe_trend(lower_first(request.label(panel.name)), panel.lines[0].y, request.unit(panel.name))
        for panel in panels
    ]
    text = formatting.sentence(
        f"As {lower_first(request.label(spec.across or spec.vary))} goes {ends}, {' and '.join(trends)}"
    )
    here = _x_of_request(request, spec)
    values = [
        f"{lower_first(request.label(panel.name))} is {panel.markers[0].label}" for panel in panels if panel.markers
    ]
    if values and isinstance(here, int | float):
        text += " " + formatting.sentence(f"Here, at {formatting.format_value(here, unit)}, {' and '.join(values)}")
    return text


def _included_places(request: ChartRequest, spec: CurveChart[Any, Any], kind: Quantity | Count) -> list[float]:
    """Return places that the range must include, in the input's own unit: the input itself and measured points."""
    if spec.across:
        return []
    outcome, name = request.outcome, spec.vary
    values = getattr(outcome.results if name in request.calculator.result_fields else outcome.inputs, name)
    places = [float(values[0])]
    if spec.points is not None:
        places += np.asarray(spec.points(outcome.inputs, outcome.results)[0]).reshape(-1).tolist()
    return units.convert_from_si(np.array(places), kind.unit).tolist() if isinstance(kind, Quantity) else places


def _end_of_range(request: ChartRequest, kind: Quantity | Count, end: Any) -> float | None:
    """Return an end of the range in the input's own unit, within its bounds; None where it is unknown."""
    if callable(end):
        value = float(np.asarray(end(request.outcome.inputs, request.outcome.results)).reshape(-1)[0])
        if isinstance(kind, Quantity):
            value = float(units.convert_from_si(np.array([value]), kind.unit)[0])
    else:
        value = float(end)
    if not math.isfinite(value):
        return None
    if isinstance(kind, Count):
        return min(max(value, kind.at_least), kind.at_most)
    margin = 1e-6 * (_first_bound(kind.at_most, kind.below) - _first_bound(kind.at_least, kind.above))
    low = kind.at_least if kind.at_least is not None else _first_bound(kind.above) + margin
    high = kind.at_most if kind.at_most is not None else _first_bound(kind.below) - margin
    return min(max(value, low), high)


def _first_bound(*bounds: float | None) -> float:
    return next(bound for bound in bounds if bound is not None)
