"""The picture that a calculator declares, of one question: what there is to see in it, worked out."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from gramwatt.charts import formatting
from gramwatt.charts.chart_data import (
    BarRows,
    Body,
    ChartData,
    Column,
    Dot,
    Graph,
    Line,
    NothingToDraw,
    Panel,
    Waterfall,
)
from gramwatt.charts.curves import BEYOND, points
from gramwatt.engine.calculate import evaluate_request
from gramwatt.engine.evaluate import Outcome
from gramwatt.engine.response import ResponseBody, build_response, get_declared_units
from gramwatt.engine.tables.sweep import Axis
from gramwatt.model import (
    Array,
    BarChart,
    Calculator,
    Count,
    CurveChart,
    Quantity,
    Table,
    TimeSeriesChart,
    WaterfallChart,
    get_fields,
    units,
)

POINTS: Final = 121
"""Of a curve whose points are answered at once."""
POINTS_EACH: Final = 25
"""Of one whose points are answered question by question."""
MOST_STEPS: Final = 24
MOST_SAMPLES: Final = 1500
MOST_SPANS: Final = 500


@dataclass(frozen=True, slots=True)
class ChartRequest:
    """A question and its answer, as a picture needs them."""

    calculator: Calculator[Any, Any]
    question: Mapping[str, object]
    text: bool
    """Whether the question's values are words of a query."""
    outcome: Outcome
    response: ResponseBody

    def unit(self, name: str) -> str:
        """The unit in which the answer tells a name."""
        told: str = self.response["units"].get(name) or get_declared_units(self.calculator.input_fields).get(name, "1")
        return told

    def width(self, name: str) -> Any:
        """The standard uncertainty of a result, in the unit of the answer; None where it has none."""
        return self.response.get("uncertainty", {}).get(name, {}).get("standard")


def chart_of(
    calculator: Calculator[Any, Any], question: Mapping[str, object], *, text: bool, result_units: Mapping[str, str]
) -> ChartData:
    """The picture of the answer to a question. Raises Refused with every fault; Nothing where there is none."""
    outcome = evaluate_request(calculator, question, text=text, result_units=result_units)
    told = build_response(outcome, 0, result_units=result_units)
    seen = make_figure(ChartRequest(calculator, question, text, outcome, told))
    if seen is None:
        reasons = [caution["text"] for caution in told["cautions"] if "results" in caution]
        raise NothingToDraw(" ".join(["There is nothing to draw for these inputs.", *reasons]))
    return seen


def make_figure(asked: ChartRequest) -> ChartData | None:
    """The picture of an answer, or None where there is nothing to see."""
    picture, body = asked.calculator.chart, None
    match picture:
        case CurveChart():
            body = _curve(asked, picture)
        case WaterfallChart():
            body = _ladder(asked, picture)
        case BarChart():
            body = _bars(asked, picture)
        case TimeSeriesChart():
            body = _course(asked, picture)
    if body is None:
        return None
    seen, told = body
    return ChartData(asked.calculator.title, formatting.short(asked.calculator, asked.response), told, seen)


def unit_across(asked: ChartRequest, picture: CurveChart[Any, Any]) -> str:
    """Return the unit of a curve's level axis."""
    return (
        asked.unit(picture.across)
        if picture.across
        else formatting.own_unit(asked.calculator.input_fields[picture.vary])
    )


def curve_axis(asked: ChartRequest, picture: CurveChart[Any, Any]) -> Axis | None:
    """Return the points of the varied input, or None where its ends are not known."""
    calculator, name = asked.calculator, picture.vary
    kind = calculator.input_fields[name]
    if not isinstance(kind, Quantity | Count):
        raise TypeError(f"{name} has no range")
    low, high = (_end(asked, kind, end) for end in (picture.start, picture.stop))
    if low is None or high is None:
        return None
    inside = [each for each in _held(asked, picture, name, kind) if math.isfinite(each)]
    least, most = min([low, high, *inside]), max([low, high, *inside])
    low, high = (least, most) if low <= high else (most, least)
    if low == high:
        return None
    count = POINTS if calculator.columnwise else POINTS_EACH
    if isinstance(kind, Count):
        low, high = math.floor(low), math.ceil(high)
        count = min(count, int(abs(high - low)) + 1)
    return Axis(name, count, float(low), float(high))


def _curve(asked: ChartRequest, picture: CurveChart[Any, Any]) -> tuple[Body, str] | None:
    calculator, name = asked.calculator, picture.vary
    kind, axis = calculator.input_fields[name], curve_axis(asked, picture)
    if axis is None:
        return None
    count = axis.count
    constants = {each: value for each, value in asked.question.items() if each != name}
    shown = (*picture.show, *((picture.across,) if picture.across else ()))
    told_units = {each: unit for each, unit in asked.response["units"].items() if each in calculator.result_fields}
    found = points(calculator, constants, [axis], text=asked.text, result_units=told_units, names=shown)
    across = picture.across or name
    unit = unit_across(asked, picture)
    level = found.values(picture.across) if picture.across else axis.points(np.arange(count))
    here = asked.response["results"].get(across, asked.response["given"].get(across))
    panels, courses, asked_for = [], [], []
    for at, result in enumerate(picture.show):
        y = found.values(result)
        if not np.isfinite(y).any():
            continue
        label, own = formatting.axis(result, asked.unit(result)), asked.unit(result)
        lines = [Line(level, y, found.widths(result), joined=not isinstance(kind, Count))]
        if at == 0 and picture.points is not None:
            lines.append(_measured(asked, picture.points, across, result))
        dots: tuple[Dot, ...] = ()
        value = asked.response["results"][result]
        if isinstance(here, int | float) and isinstance(value, int | float) and abs(value) < BEYOND:
            dots = (Dot(float(here), float(value), formatting.with_width(value, asked.width(result), own)),)
            asked_for.append(f"{formatting.spoken(result)} is {dots[0].label}")
        panels.append(Panel(label, tuple(lines), dots))
        courses.append(formatting.course(formatting.spoken(result), y, own))
    known = level[np.isfinite(level)]
    if not panels or not len(known):
        return None
    first, last = (0.0 if abs(end) < 1e-4 * np.abs(known).max() else end for end in (known[0], known[-1]))
    ends = f"from {formatting.value(first, unit)} to {formatting.value(last, unit)}"
    told = formatting.sentence(f"As {formatting.spoken(across)} goes {ends}, {' and '.join(courses)}")
    if asked_for and isinstance(here, int | float):
        told += " " + formatting.sentence(f"Here, at {formatting.value(here, unit)}, {' and '.join(asked_for)}")
    graph = Graph(formatting.axis(across, unit), tuple(panels), whole=isinstance(kind, Count))
    return graph, told


def _held(asked: ChartRequest, picture: CurveChart[Any, Any], name: str, kind: Quantity | Count) -> list[float]:
    """Places that the range of a curve must hold, in the input's own unit: the question's own, and measured ones."""
    if picture.across:
        return []
    values = getattr(asked.outcome.results if name in asked.calculator.result_fields else asked.outcome.given, name)
    places = [float(values[0])]
    if picture.points is not None:
        places += np.asarray(picture.points(asked.outcome.given, asked.outcome.results)[0]).reshape(-1).tolist()
    return units.convert_from_si(np.array(places), kind.unit).tolist() if isinstance(kind, Quantity) else places


def _measured(asked: ChartRequest, of: Callable[[Any, Any], tuple[Array, Array]], across: str, result: str) -> Line:
    x, y = of(asked.outcome.given, asked.outcome.results)
    return Line(
        units.convert_from_si(np.asarray(x), asked.unit(across)),
        units.convert_from_si(np.asarray(y), asked.unit(result)),
        label="as flown",
        joined=False,
        measured=True,
    )


def _end(asked: ChartRequest, kind: Quantity | Count, end: Any) -> float | None:
    """An end of a range in the input's own unit, within its bounds; None where it is not known."""
    if callable(end):
        value = float(np.asarray(end(asked.outcome.given, asked.outcome.results)).reshape(-1)[0])
        if isinstance(kind, Quantity):
            value = float(units.convert_from_si(np.array([value]), kind.unit)[0])
    else:
        value = float(end)
    if not math.isfinite(value):
        return None
    if isinstance(kind, Count):
        return min(max(value, kind.at_least), kind.at_most)
    margin = 1e-6 * (_bound(kind.at_most, kind.below) - _bound(kind.at_least, kind.above))
    low = kind.at_least if kind.at_least is not None else _bound(kind.above) + margin
    high = kind.at_most if kind.at_most is not None else _bound(kind.below) - margin
    return min(max(value, low), high)


def _bound(*bounds: float | None) -> float:
    return next(bound for bound in bounds if bound is not None)


def _ladder(asked: ChartRequest, picture: WaterfallChart[Any, Any]) -> tuple[Body, str] | None:
    given, results, unit = asked.response["given"], asked.response["results"], asked.unit(picture.steps)
    totals: list[float] = results[picture.steps]
    rows = given.get(picture.table) or []
    names = [_named(row, at) for at, row in enumerate(rows, 1)]
    names += [f"mass {at}" for at in range(1, len(given.get(picture.masses) or ()) + 1)]
    limit, half = (
        float(units.convert_from_si(np.asarray(each(asked.outcome.given, asked.outcome.results)), unit)[0])
        for each in (picture.limit, picture.half_width)
    )
    if not totals or not math.isfinite(limit):
        return None
    if len(totals) > MOST_STEPS:
        kept = MOST_STEPS - 1
        names = [*names[:kept], f"and {len(totals) - kept} more"]
        totals = [*totals[:kept], totals[-1]]
    end, margin = totals[-1], limit - totals[-1]
    end_label = f"{formatting.value(end, unit, 6)} ± {formatting.value(half, unit, 2)}"
    side = f"{formatting.value(abs(margin), unit)} {'below' if margin >= 0 else 'above'} it"
    climbed = "; ".join(
        f"{name} to {formatting.value(total, unit, 6)}" for name, total in zip(names, totals, strict=True)
    )
    told = (
        f"{len(names)} step{'s add' if len(names) != 1 else ' adds'} up to {end_label} (k = 2); the limit is "
        f"{formatting.value(limit, unit, 6)}, the total is {side}. Step by step: {climbed}"
    )
    limit_label = f"limit {formatting.value(limit, unit, 6)}"
    stairs = Waterfall(formatting.axis("total", unit), tuple(names), tuple(totals), limit, half, limit_label, end_label)
    return stairs, formatting.sentence(told)


def _named(row: Mapping[str, Any], at: int) -> str:
    name = str(row.get("name") or f"part {at}")
    count = row.get("count", 1)
    return name if count == 1 else f"{name} × {count}"


def _bars(asked: ChartRequest, picture: BarChart) -> tuple[Body, str] | None:
    results = asked.response["results"]
    if not picture.table:
        one = [formatting.spoken(name) for name in picture.show]
        values = np.array([_number(results[name]) for name in picture.show])
        unit = asked.unit(picture.show[0])
        widths = [asked.width(name) for name in picture.show]
        texts = tuple(formatting.with_width(v, w, unit) for v, w in zip(values.tolist(), widths, strict=True))
        column = Column(f"in {unit}", values, texts, np.array([w or 0.0 for w in widths]))
        return BarRows(tuple(one), (column,)), formatting.sentence(
            "; ".join(f"{n}: {t}" for n, t in zip(one, texts, strict=True))
        )
    rows: Sequence[Mapping[str, Any]] = results[picture.table]
    kind = asked.calculator.result_fields[picture.table]
    if not isinstance(kind, Table):
        raise TypeError(picture.table)
    names = tuple(str(row.get(picture.label) or f"no. {at}") for at, row in enumerate(rows, 1))
    columns = []
    for name in picture.show:
        unit = asked.unit(f"{picture.table}.{name}")
        values = np.array([_number(row.get(name)) for row in rows])
        if not np.isfinite(values).any() or name not in get_fields(kind.row):
            continue
        widths = [each or 0.0 for each in asked.width(f"{picture.table}.{name}") or [0.0] * len(rows)]
        texts = tuple(formatting.with_width(v, w, unit) for v, w in zip(values.tolist(), widths, strict=True))
        columns.append(Column(formatting.axis(name, unit), values, texts, np.array(widths)))
    if not columns:
        return None
    told = ". ".join(
        f"{name}: " + ", ".join(f"{column.label.partition(' in ')[0]} {column.texts[at]}" for column in columns)
        for at, name in enumerate(names)
    )
    return BarRows(names, tuple(columns)), formatting.sentence(told)


def _number(value: object) -> float:
    return float(value) if isinstance(value, int | float) else math.nan


def _course(asked: ChartRequest, picture: TimeSeriesChart[Any, Any]) -> tuple[Body, str] | None:
    trace = picture.trace(asked.outcome.given, asked.outcome.results)
    if trace is None:
        return None
    kind = asked.calculator.input_fields[picture.recording]
    channels = get_fields(getattr(kind, "row"))  # noqa: B009 - of a Samples
    time = next(iter(channels))
    unit, scale = ("min", 60.0) if trace.time[-1] > 300 else ("s", 1.0)
    seconds = units.convert_from_si(trace.time, "s")
    panels, said = [], []
    for name, values in trace.channels.items():
        channel = channels[name]
        own = channel.unit if isinstance(channel, Quantity) else "1"
        x, y = thinned(seconds / scale, units.convert_from_si(values, own), MOST_SAMPLES)
        panels.append(Panel(formatting.axis(name, own), (Line(x, y),)))
        known = y[np.isfinite(y)]
        said.append(
            f"{formatting.spoken(name)} lies between {formatting.value(known.min(), own)}"
            f" and {formatting.value(known.max(), own)}"
        )
    spans = []
    if picture.spans:
        seconds_of = asked.unit(f"{picture.spans}.start")
        in_seconds = units.get_unit(seconds_of).scale / scale
        for row in asked.response["results"][picture.spans][:MOST_SPANS]:
            spans.append((row["start"] * in_seconds, (row["start"] + row["length"]) * in_seconds))
        said.append(f"{picture.spans_are} marked: {len(spans) or 'none'}")
    told = f"Over {formatting.value(seconds[-1] / scale, unit)}, " + "; ".join(said)
    graph = Graph(formatting.axis(time, unit), tuple(panels), tuple(spans), picture.spans_are)
    return graph, formatting.sentence(told)


def thinned(x: Array, y: Array, most: int) -> tuple[Array, Array]:
    """Samples for a picture: of each of ``most``/2 stretches the least and the greatest, so that no peak is lost."""
    if len(x) <= most:
        return x, y
    edges = np.linspace(0, len(x), most // 2 + 1).astype(np.intp)
    starts = edges[:-1]
    low = np.minimum.reduceat(np.where(np.isfinite(y), y, np.inf), starts)
    high = np.maximum.reduceat(np.where(np.isfinite(y), y, -np.inf), starts)
    both = np.stack([low, high], axis=1).reshape(-1)
    places = np.repeat(x[starts], 2)
    return places, np.where(np.isfinite(both), both, np.nan)
