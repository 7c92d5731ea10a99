"""Compute the chart that a calculator declares, for the inputs of one request."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

import numpy as np

from gramwatt.charts import formatting
from gramwatt.charts.chart_data import (
    BarRows,
    Body,
    ChartData,
    Column,
    Graph,
    Line,
    NothingToDraw,
    Panel,
    Waterfall,
    join_ranges,
)
from gramwatt.charts.chart_request import ChartRequest
from gramwatt.charts.curve_charts import compute_curve
from gramwatt.charts.drawing_charts import make_drawing
from gramwatt.charts.row_charts import make_bars_of_table, make_lines, make_scatter
from gramwatt.engine.calculate import InvalidInput, evaluate_request
from gramwatt.engine.response import build_response
from gramwatt.model import (
    AnyChart,
    Array,
    BarChart,
    Calculator,
    CurveChart,
    DrawingChart,
    LinesChart,
    Quantity,
    ScatterChart,
    TimeSeriesChart,
    WaterfallChart,
    get_fields,
    get_label,
    units,
)
from gramwatt.model.messages import InputError, join_with_or, lower_first, quote_input, suggest

MAX_STEPS: Final = 24
MAX_SAMPLES: Final = 1500
MAX_SPANS: Final = 500


def find_chart(calculator: Calculator[Any, Any], chart: str | None) -> AnyChart:
    """Return one of the charts that a calculator declares, by default the first.

    Raises
    ------
    InvalidInput
        It has no chart of this name.
    """
    names = [each.name for each in calculator.charts]
    if chart is not None and chart not in names:
        detail = f"{quote_input(chart)} is none of its charts{suggest(chart, names)}"
        raise InvalidInput((InputError("/chart", detail, quote_input(chart), join_with_or(names)),))
    return calculator.charts[names.index(chart) if chart is not None else 0]


def compute_chart(
    calculator: Calculator[Any, Any],
    inputs: Mapping[str, object],
    *,
    text: bool,
    result_units: Mapping[str, str],
    chart: str | None = None,
) -> ChartData:
    """Return a chart of a calculator's results, by default the first.

    Raises
    ------
    InvalidInput
        With every error of the inputs, or if the calculator has no chart of this name.
    NothingToDraw
        The results of these inputs cannot be drawn.
    """
    spec = find_chart(calculator, chart)
    outcome = evaluate_request(calculator, inputs, text=text, result_units=result_units)
    response = build_response(outcome, 0, result_units=result_units)
    drawn = make_chart(ChartRequest(calculator, inputs, text, outcome, response), spec)
    if drawn is None:
        reasons = [caution["text"] for caution in response["cautions"] if "results" in caution]
        raise NothingToDraw(" ".join(["There is nothing to draw for these inputs.", *reasons]))
    return drawn


def make_chart(request: ChartRequest, chart: AnyChart) -> ChartData | None:
    """Return a chart of a response, or None where there is nothing to draw."""
    body_and_description: tuple[Body, str] | None = None
    match chart:
        case CurveChart() as spec:
            body_and_description = compute_curve(request, spec)
        case WaterfallChart() as spec:
            body_and_description = _make_waterfall(request, spec)
        case ScatterChart() as spec:
            body_and_description = make_scatter(request, spec)
        case LinesChart() as spec:
            body_and_description = make_lines(request, spec)
        case DrawingChart() as spec:
            body_and_description = make_drawing(request, spec)
        case BarChart() as spec:
            body_and_description = make_bars_of_table(request, spec) if spec.table else _make_bars(request, spec)
        case TimeSeriesChart() as spec:
            body_and_description = _make_time_series(request, spec)
    if body_and_description is None:
        return None
    body, description = body_and_description
    inputs = formatting.summarize_inputs(request.calculator, request.response)
    return ChartData(chart.title, inputs, formatting.sentence(description), body)


def _make_waterfall(request: ChartRequest, spec: WaterfallChart[Any, Any]) -> tuple[Waterfall, str] | None:
    inputs, results, unit = request.response["inputs"], request.response["results"], request.unit(spec.steps)
    totals: list[float] = results[spec.steps]
    names = [_row_name(row, number) for number, row in enumerate(inputs.get(spec.table) or [], 1)]
    names += [f"mass {number}" for number in range(1, len(inputs.get(spec.masses) or ()) + 1)]
    limit = float(
        units.convert_from_si(np.asarray(spec.limit(request.outcome.inputs, request.outcome.results)), unit)[0]
    )
    if not totals or not math.isfinite(limit):
        return None
    if len(totals) > MAX_STEPS:
        shown = MAX_STEPS - 1
        names = [*names[:shown], f"and {len(totals) - shown} more"]
        totals = [*totals[:shown], totals[-1]]
    total, limit_text = totals[-1], formatting.format_value(limit, unit, 6)
    total_label = request.format_result(spec.total)
    margin = f"{formatting.format_value(abs(limit - total), unit)} {'below' if limit >= total else 'above'} the limit"
    steps = "; ".join(
        f"{name}, {formatting.format_value(subtotal, unit, 6)}" for name, subtotal in zip(names, totals, strict=True)
    )
    description = (
        f"{len(names)} step{'s add' if len(names) != 1 else ' adds'} up to {total_label}. The limit is "
        f"{limit_text}: the total is {margin}. Subtotals: {steps}"
    )
    label = request.axis_label(spec.total)
    limit_label = f"limit {limit_text}"
    low, high, _ = request.range(spec.total)
    ends = (float(low[0]), float(high[0])) if np.isfinite(low[0]) else (total, total)
    return Waterfall(label, tuple(names), tuple(totals), limit, ends, limit_label, total_label), description


def _row_name(row: Mapping[str, Any], number: int) -> str:
    name = str(row.get("name") or f"part {number}")
    count = row.get("count", 1)
    return name if count == 1 else f"{name} × {count}"


def _make_bars(request: ChartRequest, spec: BarChart) -> tuple[BarRows, str] | None:
    results, unit = request.response["results"], request.unit(spec.show[0])
    shown = [name for name in spec.show if results[name] is not None]
    if not shown:
        return None
    names = [request.label(name) for name in shown]
    texts = tuple(request.format_result(name) for name in shown)
    values = np.array([float(results[name]) for name in shown])
    column = Column(f"in {formatting.unit_sign(unit)}", values, texts, join_ranges([request.range(n) for n in shown]))
    description = "; ".join(f"{name}: {text}" for name, text in zip(names, texts, strict=True))
    return BarRows(tuple(names), (column,)), description


def _make_time_series(request: ChartRequest, spec: TimeSeriesChart[Any, Any]) -> tuple[Graph, str] | None:
    trace = spec.trace(request.outcome.inputs, request.outcome.results)
    if trace is None:
        return None
    kind = request.calculator.input_fields[spec.recording]
    channels = get_fields(getattr(kind, "row"))  # noqa: B009 - of a TimeSeries
    time_name = next(iter(channels))
    time_unit, scale = ("min", 60.0) if trace.time[-1] > 300 else ("s", 1.0)
    times = units.convert_from_si(trace.time, "s") / scale
    panels, ranges = [], []
    for name, values in trace.channels.items():
        channel = channels[name]
        unit = channel.unit if isinstance(channel, Quantity) else "1"
        x, y = downsample(times, units.convert_from_si(values, unit), MAX_SAMPLES)
        panels.append(Panel(formatting.axis_label(get_label(name, channel), unit), (Line(x, y),)))
        low, high = (formatting.format_value(bound(y[np.isfinite(y)]), unit) for bound in (np.min, np.max))
        ranges.append(f"{lower_first(get_label(name, channel))} is between {low} and {high}")
    spans = []
    if spec.spans:
        table, *columns = spec.spans
        factors = [units.get_unit(request.unit(f"{table}.{column}")).scale / scale for column in columns]
        for row in request.response["results"][table][:MAX_SPANS]:
            start, duration = (row[column] * factor for column, factor in zip(columns, factors, strict=True))
            spans.append((start, start + duration))
        ranges.append(f"{spec.spans_are} marked: {len(spans) or 'none'}")
    graph = Graph(
        formatting.axis_label(get_label(time_name, channels[time_name]), time_unit),
        tuple(panels),
        tuple(spans),
        spec.spans_are,
    )
    return graph, f"Over {formatting.format_value(times[-1], time_unit)}, {'; '.join(ranges)}"


def downsample(x: Array, y: Array, max_samples: int) -> tuple[Array, Array]:
    """Return the minimum and the maximum of each of ``max_samples / 2`` intervals, so that no peak is lost."""
    if len(x) <= max_samples:
        return x, y
    starts = np.linspace(0, len(x), max_samples // 2 + 1).astype(np.intp)[:-1]
    low = np.minimum.reduceat(np.where(np.isfinite(y), y, np.inf), starts)
    high = np.maximum.reduceat(np.where(np.isfinite(y), y, -np.inf), starts)
    both = np.stack([low, high], axis=1).reshape(-1)
    return np.repeat(x[starts], 2), np.where(np.isfinite(both), both, np.nan)
