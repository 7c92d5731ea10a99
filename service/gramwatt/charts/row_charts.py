"""Compute charts of the rows of a table: bars, labelled points, and lines of a calculator's own."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np

from gramwatt.charts import formatting
from gramwatt.charts.chart_data import BarRows, Column, Graph, Line, Panel, Point, Range, Scatter
from gramwatt.charts.chart_request import ChartRequest
from gramwatt.model import Array, BarChart, Choice, LinesChart, ScatterChart, units
from gramwatt.model.messages import lower_first

MAX_POINTS: Final = 20
"""Labelled points that one picture holds."""
MAX_ROWS: Final = 24
"""Bars in a column."""


def make_bars_of_table(request: ChartRequest, spec: BarChart) -> tuple[BarRows, str] | None:
    """Return a column of bars for each shown column of the table, a bar for each row."""
    rows: Sequence[Mapping[str, Any]] = (request.response["results"][spec.table] or ())[:MAX_ROWS]
    total = len(request.response["results"][spec.table] or ())
    names = name_rows(request, spec.table, spec.label, rows)
    columns: dict[str, Column] = {}
    for key in (f"{spec.table}.{name}" for name in spec.show):
        values, own_range, texts = _read_column(request, key, rows)
        if np.isfinite(values).any():
            limits = () if columns else _list_limits(spec, request.unit(key), values)
            columns[key] = Column(request.axis_label(key), values, texts, own_range, limits)
    if not columns:
        return None
    description = ". ".join(
        f"{name}: "
        + ", ".join(f"{lower_first(request.label(key))} {column.texts[index]}" for key, column in columns.items())
        for index, name in enumerate(names)
    )
    if total > len(rows):
        description += f". The first {len(rows)} of {total}"
    rows_of_bars = BarRows(names, tuple(columns.values()))
    if rows_of_bars.limits:
        description += f". Limits: {rows_of_bars.limits}"
    return rows_of_bars, description


def _list_limits(spec: BarChart, unit: str, values: Array) -> tuple[tuple[float, str], ...]:
    """Return the limits of bars that are drawn: those that some bar reaches, and the next."""
    places = [float(units.convert_from_si(np.array([limit.value]), unit)[0]) for limit in spec.limits]
    reached = sum(place < np.nanmax(values) for place in places)
    return tuple(
        (place, f"{limit.name} {formatting.format_value(place, unit, 6)}")
        for place, limit in list(zip(places, spec.limits, strict=True))[: reached + 1]
    )


def name_rows(request: ChartRequest, table: str, column: str, rows: Sequence[Mapping[str, Any]]) -> tuple[str, ...]:
    """Return the text that names each row: that of a column, a number with its unit, or the row's place."""
    unit = request.unit(f"{table}.{column}")
    cells = [row.get(column) for row in rows]
    kind = request.calculator.result_tables[table].columns.get(column)
    if isinstance(kind, Choice):
        cells = [kind.get_option_label(cell) if cell else None for cell in cells]
    return tuple(
        formatting.format_value(cell, unit) if isinstance(cell, int | float) else str(cell or f"no. {number}")
        for number, cell in enumerate(cells, 1)
    )


def _read_column(
    request: ChartRequest, key: str, rows: Sequence[Mapping[str, Any]]
) -> tuple[Array, Range, tuple[str, ...]]:
    """Return a column of numbers with their ranges, and each as text."""
    column = key.rpartition(".")[2]
    cells = [row.get(column) for row in rows]
    values = np.array([float(cell) if isinstance(cell, int | float) else math.nan for cell in cells])
    uncertainty = request.response.get("uncertainty", {}).get(key, {})
    count = len(rows)
    standard, low, high = ((uncertainty.get(name) or [None] * count)[:count] for name in ("standard", "low", "high"))
    texts = tuple(
        formatting.format_with_range(value, standard[at], low[at], high[at], request.unit(key))
        for at, value in enumerate(values.tolist())
    )
    own_range = request.range(key, count)
    return values, Range(own_range.low[:count], own_range.high[:count], own_range.is_partial), texts


def make_scatter(request: ChartRequest, spec: ScatterChart[Any, Any]) -> tuple[Scatter, str] | None:
    """Return the rows of a table as labelled points."""
    rows: Sequence[Mapping[str, Any]] = (request.response["results"][spec.table] or ())[:MAX_POINTS]
    names = name_rows(request, spec.table, spec.label, rows)
    x_key, y_key = f"{spec.table}.{spec.x}", f"{spec.table}.{spec.y}"
    (x, _, x_texts), (y, y_range, y_texts) = (_read_column(request, key, rows) for key in (x_key, y_key))
    low, high = (np.where(np.isfinite(end), end, y) for end in (y_range.low, y_range.high))
    known = np.flatnonzero(np.isfinite(x) & np.isfinite(y)).tolist()
    if not known:
        return None
    points = tuple(Point(float(x[at]), float(y[at]), float(low[at]), float(high[at]), names[at]) for at in known)
    unit, limit = request.unit(x_key), None
    if spec.limit is not None:
        in_force = np.asarray(spec.limit(request.outcome.inputs, request.outcome.results))
        limit = float(units.convert_from_si(in_force, unit).reshape(-1)[0])
    label = ""
    description = "; ".join(f"{names[at]}: {y_texts[at]} at {x_texts[at]}" for at in known)
    if limit is not None and math.isfinite(limit):
        label = f"{spec.limit_name} {formatting.format_value(limit, unit, 6)}"
        description += f". {formatting.sentence_case(label)}"
    scatter = Scatter(
        request.axis_label(x_key), request.axis_label(y_key), points, limit if label else None, label,
        y_range.is_partial, spec.may_skip_labels,
    )  # fmt: skip
    return scatter, description


def make_lines(request: ChartRequest, spec: LinesChart[Any, Any]) -> tuple[Graph, str] | None:
    """Return the lines that a calculator computes for a chart."""
    x_unit, y_unit = request.unit(spec.x), request.unit(spec.y)
    x_label, y_label = spec.x_label or request.label(spec.x), spec.y_label or request.label(spec.y)
    lines, trends = [], []
    for traced in spec.trace(request.outcome.inputs, request.outcome.results):
        x, y = units.convert_from_si(np.asarray(traced.x), x_unit), units.convert_from_si(np.asarray(traced.y), y_unit)
        if not np.isfinite(y).any():
            continue
        mark = None
        if traced.mark is not None and np.isfinite(traced.mark).all():
            place, value = np.array(traced.mark[:1]), np.array(traced.mark[1:])
            mark = (float(units.convert_from_si(place, x_unit)[0]), float(units.convert_from_si(value, y_unit)[0]))
        lines.append(Line(x, y, label=traced.name, mark=mark))
        trend = formatting.describe_trend(f"{lower_first(y_label)} with {traced.name}", y, y_unit)
        trends.append(trend + (f", {spec.marks_are} {formatting.format_value(mark[0], x_unit)}" if mark else ""))
    if not lines:
        return None
    known = np.concatenate([line.x for line in lines])
    panel = Panel(formatting.axis_label(y_label, y_unit), tuple(lines), name=spec.y)
    has_marks = any(line.mark is not None for line in lines)
    graph = Graph(formatting.axis_label(x_label, x_unit), (panel,), marks_label=spec.marks_are if has_marks else "")
    ends = [formatting.format_value(float(end), x_unit) for end in (known.min(), known.max())]
    return graph, f"As {lower_first(x_label)} goes from {ends[0]} to {ends[1]}, {'; '.join(trends)}"
