"""Tests of calculators' charts: they show the values that the calculator computes, and describe them in words."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.collections import LineCollection

from charts.overlaps import find_overlaps
from charts.svg_checks import check_svg
from gramwatt import calculate
from gramwatt.charts import calculator_charts, draw, sweep_charts
from gramwatt.charts.chart_data import BarRows, ChartData, Graph, Line, Panel, Point, Scatter, Waterfall
from gramwatt.charts.chart_request import ChartRequest
from gramwatt.charts.curve_charts import curve_axis
from gramwatt.charts.formatting import summarize_inputs
from gramwatt.charts.row_charts import make_bars_of_table
from gramwatt.charts.themes import SHAPES, ChartStyle
from gramwatt.engine import registry
from gramwatt.engine.calculate import InvalidInput, evaluate_request
from gramwatt.engine.draws import DRAWS, FEW_DRAWS
from gramwatt.engine.evaluate import evaluate_columns
from gramwatt.engine.response import build_response
from gramwatt.engine.tables.sweep import make_even_axis
from gramwatt.model import CATEGORIES, BarChart, Calculator, Count, CurveChart, Quantity

CALCULATORS = list(registry.load().values())
COVERAGE = "95 % range"
EXAMPLES = [(calculator, example) for calculator in CALCULATORS for example in calculator.examples]
every_example = pytest.mark.parametrize(
    ("calculator", "example"), EXAMPLES, ids=[f"{calculator.name}: {example.title}" for calculator, example in EXAMPLES]
)
SVG = "{http://www.w3.org/2000/svg}"


def chart_or_none(
    name: str, units: dict[str, str] | None = None, chart: str | None = None, **inputs: Any
) -> ChartData | None:
    """Return a chart of these inputs, by default the first; None where there is none."""
    calculator = registry.load()[name]
    outcome = evaluate_request(calculator, inputs, result_units=units)
    response = build_response(outcome, 0, result_units=units)
    spec = calculator_charts.find_chart(calculator, chart)
    return calculator_charts.make_chart(ChartRequest(calculator, inputs, False, outcome, response), spec)


def chart_of(name: str, units: dict[str, str] | None = None, chart: str | None = None, **inputs: Any) -> ChartData:
    data = chart_or_none(name, units, chart, **inputs)
    assert data is not None
    return data


def graph_of(chart: ChartData) -> Graph:
    assert isinstance(chart.body, Graph)
    return chart.body


@pytest.mark.parametrize("calculator", CALCULATORS, ids=lambda calculator: calculator.name)
def test_every_calculator_declares_a_chart_and_a_category(calculator: Calculator[Any, Any]) -> None:
    assert calculator.charts
    assert calculator.category in CATEGORIES


@every_example
def test_every_example_has_charts_in_every_format(calculator: Calculator[Any, Any], example: Any) -> None:
    """SVG has no styles or scripts, PNG has the requested size; both have a title and a description.

    In neither shape does a text lie on a curve, on another text or beyond the edge.
    """
    outcome = evaluate_request(calculator, example.given)
    request = ChartRequest(calculator, example.given, False, outcome, build_response(outcome, 0))
    for spec in calculator.charts:
        chart = calculator_charts.make_chart(request, spec)
        if chart is None:
            assert spec is not calculator.charts[0], "every example has the main chart"
            continue
        assert chart.title == spec.title
        assert chart.description.endswith(".")
        assert "nan" not in chart.description
        assert not re.search(r"[a-z]_[a-z]", chart.description + chart.inputs)
        for shape in SHAPES:
            check_svg(chart, ChartStyle(shape=shape))
            assert find_overlaps(chart, ChartStyle(shape=shape)) == []
        png = draw.as_png(chart, ChartStyle(scale=2, theme="dark"))
        assert png.startswith(b"\x89PNG")
        assert int.from_bytes(png[16:20], "big") == round(SHAPES["wide"] * draw.PIXELS_PER_INCH * 2)
        assert chart.title.encode() in png


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("count", [1, 3, 6])
def test_long_names_and_crowded_points_are_labelled_beside_them(shape: str, count: int) -> None:
    points = tuple(
        Point(480.0 + 40 * place, 6.0 + 0.7 * place, 4.0 + 0.4 * place, 9.0 + place, f"{place} cells, no cap")
        for place in range(count)
    )
    scatter = Scatter("All-up mass, g", "Flight time, min", points, 600.0, "limit 600 g")
    chart = ChartData("Flight time against mass", "", "No description.", scatter)
    assert find_overlaps(chart, ChartStyle(shape=shape)) == []
    drawn = draw.as_svg(chart, ChartStyle(shape=shape)).decode()
    assert drawn.count(" cells, no") == count


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("limit", [550.0, 600.0])
def test_labels_of_points_close_together_are_whole_and_apart(shape: str, limit: float) -> None:
    """One at the right edge, three at one mass, the others so close that lines lead to their labels.

    Only the one at the edge may lie on a line: the wide one on the line that leads to it, the narrow one on the limit.
    """
    masses = {485.5: ["6 light"], 488: ["4, two blades"], 491: ["4", "4, cold"], 522.7: ["6", "6, capped", "6, cold"]}
    masses[555.9] = ["6 large, capped"]
    points = [
        Point(mass, 5.7 + (mass - 485) / 40 - 0.1 * at, 4.0, 8.0 + (mass - 485) / 30, name)
        for mass, names in masses.items()
        for at, name in enumerate(names)
    ]
    scatter = Scatter("All-up mass, g", "Flight time, min", tuple(points), limit, f"limit {limit:g} g")
    chart = ChartData("Flight time against mass", "", "No description.", scatter)
    known = {("wide", 550.0), ("narrow", 600.0)}
    expected = ["'6 large, capped' lies on a curve"] if (shape, limit) in known else []
    assert find_overlaps(chart, ChartStyle(shape=shape)) == expected


@pytest.mark.parametrize("shape", SHAPES)
def test_lines_of_a_sweep_are_labelled_beside_the_axes(shape: str) -> None:
    """Also where several end at the same height."""
    x = np.linspace(0, 1, 20)
    lines = tuple(Line(x, x * (1 + 0.001 * index), label=f"{index} cells, an option") for index in range(6))
    chart = ChartData("A title", "", "None.", Graph("Throttle, %", (Panel("Thrust, gf", lines),)))
    assert find_overlaps(chart, ChartStyle(shape=shape)) == []
    assert draw.as_svg(chart, ChartStyle(shape=shape)).decode().count(" cells,") == 6


@pytest.mark.parametrize("count", [1, 2, 4])
def test_the_axis_of_a_count_has_whole_numbers_only(count: int) -> None:
    line = Line(np.arange(1.0, count + 1), np.arange(1.0, count + 1), joined=False)
    panel = Panel("Cells", (line,), integer_ticks=True)
    chart = ChartData("A title", "", "None.", Graph("Motors", (panel,), integer_ticks=True))
    (axes,) = draw.make_figure(chart, ChartStyle()).axes
    for ticks in (axes.get_xticks(), axes.get_yticks()):
        assert [tick for tick in ticks if tick != round(tick)] == []


def test_an_unknown_chart_is_an_error_with_suggestions() -> None:
    calculator = registry.load()["flight-log"]
    with pytest.raises(InvalidInput, match="did you mean flown-over-predicted"):
        calculator_charts.find_chart(calculator, "flown-over-predictd")


def test_the_same_chart_gives_the_same_bytes() -> None:
    """Entity tags are strong, in whatever order and thread charts are drawn."""
    chart, other = (
        chart_of("pack-current", cells=6, capacity=1300, pack_power=700),
        chart_of("pack-energy", cells=6, capacity=1300),
    )
    first = draw.as_svg(chart, ChartStyle()), draw.as_png(chart, ChartStyle())
    draw.as_svg(other, ChartStyle(theme="dark", shape="narrow"))
    assert (draw.as_svg(chart, ChartStyle()), draw.as_png(chart, ChartStyle())) == first


def test_a_curve_has_the_calculator_s_result_at_each_point() -> None:
    inputs: dict[str, Any] = {"cells": 6, "capacity": 1300, "cell_resistance": 8}
    graph = graph_of(chart_of("pack-current", pack_power=700, **inputs))
    assert [panel.label for panel in graph.panels] == ["Pack current, A", "Loaded pack voltage, V"]
    (current,), (voltage,) = (panel.lines for panel in graph.panels)
    for at in (0, 17, 60, 119):
        expected = calculate("pack-current", pack_power=float(current.x[at]), **inputs)["results"]
        assert current.y[at] == pytest.approx(expected["pack_current"], rel=1e-9), "rtol of 12 printed digits"
        assert voltage.y[at] == pytest.approx(expected["loaded_voltage"], rel=1e-9)
    whole = calculate("pack-current", pack_power=700, **inputs)["results"]
    (marker,) = graph.panels[0].markers
    assert (marker.x, marker.y) == (700, whole["pack_current"])


@pytest.mark.parametrize(("rating", "amps"), [(None, (25 - 6 * 3.3) / 0.048), (50, 1.3 * 50), (500, 5.2 / 0.048)])
def test_the_axis_ends_where_the_pack_leaves_its_limits(rating: float | None, amps: float) -> None:
    """By hand: at the cut-off of 3.3 V a cell I = (V0 - 6 * 3.3) / R, R = 6 * 8 mohm; or at the rating before it."""
    pack: dict[str, Any] = {"cells": 6, "capacity": 1300, "open_circuit_voltage": 25, "cell_resistance": 8}
    given = {**pack, "pack_power": 100, **({"discharge_rating": rating} if rating else {})}
    current, voltage = (panel.lines[0] for panel in graph_of(chart_of("pack-current", **given)).panels)
    assert current.y[-1] == pytest.approx(amps, rel=1e-9)
    assert current.x[-1] == pytest.approx(amps * (25 - amps * 0.048), rel=1e-9)
    assert voltage.y[-1] == pytest.approx(25 - amps * 0.048, rel=1e-9)
    beyond = graph_of(chart_of("pack-current", **{**given, "pack_power": 2800}))
    assert beyond.panels[0].lines[0].x[-1] == pytest.approx(2800, rel=1e-9), "the axis holds the request itself"


def test_a_flight_over_time_ends_where_the_endurance_does() -> None:
    inputs: dict[str, Any] = {"cells": 4, "capacity": "3 Ah", "mean_power": 90, "chemistry": "li-ion", "reserve": 0,
                                "cell_resistance": 25}  # fmt: skip
    expected = calculate("endurance", **inputs)["results"]
    graph = graph_of(chart_of("endurance", **inputs))
    volts, charge = (panel.lines[0] for panel in graph.panels)
    assert graph.x_label == "Flight time, min"
    assert volts.x[-1] == pytest.approx(expected["endurance"], rel=1e-9)
    assert volts.y[-1] == pytest.approx(expected["end_cell_voltage"], rel=1e-9)
    assert charge.y[0] == pytest.approx(100, abs=1e-3)
    assert charge.y[-1] == pytest.approx(expected["end_state_of_charge"], rel=1e-9)
    assert (np.diff(volts.x) > 0).all()
    assert (np.diff(volts.y) < 0).all()


def test_results_are_drawn_in_the_requested_units() -> None:
    inputs: dict[str, Any] = {"cells": 6, "capacity": 1300, "pack_power": 700}
    plain, other = (
        graph_of(chart_of("pack-current", **inputs)),
        graph_of(chart_of("pack-current", {"pack_current": "mA"}, **inputs)),
    )
    assert other.panels[0].label == "Pack current, mA"
    assert other.panels[0].lines[0].y == pytest.approx(1000 * plain.panels[0].lines[0].y, rel=1e-9)
    assert other.panels[0].markers[0].y == pytest.approx(1000 * plain.panels[0].markers[0].y, rel=1e-9)


CURVES = [each for each in CALCULATORS if isinstance(each.charts[0], CurveChart)]


def add_uncertainties(calculator: Calculator[Any, Any], inputs: dict[str, Any], exact: str) -> dict[str, Any]:
    """Return the inputs, each quantity but one with an uncertainty of 3 %."""
    uncertain = {}
    for name, kind in calculator.input_fields.items():
        if isinstance(kind, Quantity) and name in inputs and name != exact:
            number, _, unit = str(inputs[name]).partition(" ")
            uncertain[name] = f"{number} ± {0.03 * float(number):.3g} {unit or kind.unit.removeprefix('1')}"
    return {**inputs, **uncertain}


@pytest.mark.parametrize("calculator", CURVES, ids=lambda calculator: calculator.name)
def test_the_band_of_a_curve_is_the_range_of_each_response(calculator: Calculator[Any, Any]) -> None:
    """To its percentiles: a point of a curve is drawn as often as a response."""
    spec = calculator.charts[0]
    assert isinstance(spec, CurveChart)
    inputs = add_uncertainties(calculator, dict(calculator.examples[0].given), spec.vary)
    outcome = evaluate_request(calculator, inputs)
    request = ChartRequest(calculator, inputs, False, outcome, build_response(outcome, 0))
    axis = curve_axis(request, spec)
    chart = calculator_charts.make_chart(request, spec)
    assert axis is not None
    assert chart is not None
    kind = calculator.input_fields[spec.vary]
    places = axis.points(np.arange(axis.count)).astype(int if isinstance(kind, Count) else float).tolist()
    panels = [panel for panel in graph_of(chart).panels if panel.lines[0].range is not None]
    assert panels or "uncertainty" not in request.response
    for panel in panels:
        line = panel.lines[0]
        assert line.range is not None
        known = np.flatnonzero(np.isfinite(line.y)).tolist()
        for at in (known[len(known) // 3], known[len(known) // 2]):
            alone = calculate(calculator.name, **{**inputs, spec.vary: places[at]})["uncertainty"][panel.name]
            assert line.range.low[at] == pytest.approx(alone["low"], rel=1e-9), "rtol of 12 printed digits"
            assert line.range.high[at] == pytest.approx(alone["high"], rel=1e-9)
    word = "bars" if isinstance(kind, Count) else "shaded"
    assert (f">{word}: {COVERAGE}" in draw.as_svg(chart, ChartStyle()).decode()) is bool(panels)


def test_the_axes_of_a_curve_hold_its_band() -> None:
    """Also where the range is many times wider than the curve."""
    chart = chart_of("pack-current", cells=6, capacity="1300 ± 300 mAh", pack_power=100)
    for panel, axes in zip(graph_of(chart).panels, draw.make_figure(chart, ChartStyle()).axes, strict=True):
        (line,), (bottom, top) = panel.lines, axes.get_ylim()
        assert line.range is not None
        assert bottom <= np.nanmin(line.range.low)
        assert np.nanmax(line.range.high) <= top


@pytest.mark.parametrize(("count", "draws"), [(11, DRAWS), (2000, FEW_DRAWS)])
def test_a_swept_line_is_drawn_as_often_as_a_response_unless_it_is_long(count: int, draws: int) -> None:
    calculator = registry.load()["pack-current"]
    inputs: dict[str, Any] = {"cells": 4, "capacity": 650}
    axis, _ = make_even_axis(calculator, "pack_power", 100, 400, count, text=False)
    assert axis is not None
    options: dict[str, Any] = {"text": False, "result_units": {}}
    (panel,) = graph_of(sweep_charts.compute_chart(calculator, inputs, [axis], ["pack_current"], **options)).panels
    cells = {name: [value] for name, value in {**inputs, "pack_power": 400}.items()}
    uncertainty = evaluate_columns(calculator, cells, 1, text=False, draws=draws).uncertainty
    (line,) = panel.lines
    assert uncertainty is not None
    assert line.range is not None
    assert line.range.low[-1] == pytest.approx(uncertainty.low["pack_current"][0], rel=1e-9)
    assert line.range.high[-1] == pytest.approx(uncertainty.high["pack_current"][0], rel=1e-9)


@pytest.mark.parametrize(("capacity", "ending"), [(650, " of the cases with a result"), ("650 ± 1 mAh", "")])
def test_a_band_of_some_of_the_cases_is_labelled_so(capacity: object, ending: str) -> None:
    """A pack that may be too weak for the powers on the axis has a range only where it is not."""
    resistance = {} if ending else {"cell_resistance": "20 ± 0.1 mohm"}
    calculator = registry.load()["pack-current"]
    axis, _ = make_even_axis(calculator, "pack_power", 100, 600, 9, text=False)
    assert axis is not None
    inputs = {"cells": 4, "capacity": capacity, **resistance}
    options: dict[str, Any] = {"text": False, "result_units": {}}
    chart = sweep_charts.compute_chart(calculator, inputs, [axis], ["pack_current"], **options)
    assert f">shaded: {COVERAGE}{ending}<" in draw.as_svg(chart, ChartStyle()).decode()


def test_points_have_bars_from_end_to_end() -> None:
    """A count has points, not a line."""
    calculator = registry.load()["endurance"]
    axis, _ = make_even_axis(calculator, "cells", 2, 6, 5, text=False)
    assert axis is not None
    inputs = {"capacity": 1300, "mean_power": 250}
    options: dict[str, Any] = {"text": False, "result_units": {}}
    chart = sweep_charts.compute_chart(calculator, inputs, [axis], ["endurance"], **options)
    (line,) = graph_of(chart).panels[0].lines
    (axes,) = draw.make_figure(chart, ChartStyle()).axes
    (bars,) = (each for each in axes.collections if isinstance(each, LineCollection))
    assert line.range is not None
    ends = np.array([segment[:, 1] for segment in bars.get_segments()])
    assert ends[:, 0] == pytest.approx(line.range.low, rel=1e-12)
    assert ends[:, 1] == pytest.approx(line.range.high, rel=1e-12)
    assert ends[0, 1] - line.y[0] < 0.5 * (line.y[0] - ends[0, 0]), "not symmetric"
    assert f">bars: {COVERAGE} of the cases with a result<" in draw.as_svg(chart, ChartStyle()).decode()


def test_a_waterfall_adds_the_parts_up_to_the_total() -> None:
    parts = [{"name": "frame", "mass": 38.4}, {"name": "motor", "mass": 11.1, "count": 4}, {"mass": 102.7}]
    chart = chart_of("mass-margin", parts=parts, masses=[31.9], mass_limit=250, scale_resolution=0.1).body
    assert isinstance(chart, Waterfall)
    assert chart.names == ("frame", "motor × 4", "part", "mass 1")
    assert chart.totals == pytest.approx((38.4, 82.8, 185.5, 217.4), rel=1e-12), "by hand"
    assert chart.limit == pytest.approx(250, rel=1e-12)
    displays = np.random.default_rng(1).uniform(-0.05, 0.05, (4, 100_000))  # JCGM 101, 6.4.2; the motors read once
    ends = 217.4 + np.percentile(displays.T @ [1, 4, 1, 1], [2.5, 97.5])
    assert chart.ends == pytest.approx(ends, abs=0.03 * (ends[1] - ends[0]))


@pytest.mark.parametrize("readings", ["each", "together"])
def test_the_total_of_a_waterfall_has_its_range(readings: str) -> None:
    inputs: dict[str, Any] = {
        "masses": [100, "50 ± 2"],
        "mass_limit": 250,
        "scale_resolution": 1,
        "weighing_method": readings,
    }
    expected = calculate("mass-margin", **inputs)["uncertainty"]["total_mass"]
    chart = chart_of("mass-margin", **inputs)
    assert isinstance(chart.body, Waterfall)
    assert chart.body.ends == (expected["low"], expected["high"])
    assert f">shaded: {COVERAGE}<" in draw.as_svg(chart, ChartStyle()).decode()
    exact = chart_of("mass-margin", masses=[100], mass_limit=250, scale_resolution=0)
    assert "shaded" not in draw.as_svg(exact, ChartStyle()).decode()


@pytest.mark.parametrize(
    ("inputs", "line"),
    [
        ({"parts": [{"mass": 38.4}], "masses": [100.5]}, "1 part · Masses 100.5 g · Mass limit 250 g"),
        ({"parts": [{"mass": 38.4}] * 2, "masses": [1, 2]}, "2 parts · 2 masses · Mass limit 250 g"),
    ],
)
def test_the_line_of_inputs_says_how_many_entries_there_are(inputs: dict[str, Any], line: str) -> None:
    response = calculate("mass-margin", mass_limit=250, **inputs)
    assert summarize_inputs(registry.load()["mass-margin"], response) == line


def test_a_named_rule_draws_its_own_limit() -> None:
    """14 CFR 48.15: 0.55 lb = 0.55 x 453.59237 g (NIST SP 811)."""
    chart = chart_of("mass-margin", masses=[200], rule="us-registration").body
    assert isinstance(chart, Waterfall)
    assert chart.limit == pytest.approx(0.55 * 453.59237, rel=1e-9)


def test_a_long_waterfall_is_shortened_and_still_ends_at_the_total() -> None:
    chart = chart_of("mass-margin", masses=[1.0] * 300, mass_limit=250).body
    assert isinstance(chart, Waterfall)
    assert len(chart.totals) == calculator_charts.MAX_STEPS
    assert chart.totals[-1] == pytest.approx(300, rel=1e-12)
    assert chart.names[-1] == "and 277 more"


def test_each_pack_is_a_bar() -> None:
    calculator = registry.load()["build"]
    given: dict[str, Any] = dict(calculator.examples[0].given)
    expected = calculate("build", **given)["results"]["by_setup"]
    chart = chart_of("build", chart="setups-side-by-side", **given)
    assert isinstance(chart.body, BarRows)
    assert chart.body.names == tuple(row["name"] for row in expected)
    endurance = chart.body.columns[0]
    assert endurance.label == "Flight time, min"
    assert endurance.values == pytest.approx([row["endurance"] for row in expected], rel=1e-12)
    ends = calculate("build", **given)["uncertainty"]["by_setup.endurance"]
    assert (list(endurance.range.low), list(endurance.range.high)) == (ends["low"], ends["high"])
    assert f">lines and brackets: {COVERAGE}<" in draw.as_svg(chart, ChartStyle()).decode()


@pytest.mark.parametrize("peak", [{"peak_current": 50}, {}])
def test_the_first_column_with_values_has_the_limit(peak: dict[str, Any]) -> None:
    """Without a peak the shares at the peak have no bars, and those on average have the limit."""
    chart = chart_of("current-ratings", mean_current=14, connector_rating=40, **peak)
    assert isinstance(chart.body, BarRows)
    assert [column.label[:4] for column in chart.body.columns] == (["Peak", "Aver"] if peak else ["Aver"])
    limits = [column.limits for column in chart.body.columns]
    assert limits == [((100.0, "continuous limit 100 %"),), ()][: len(limits)]


def test_bars_are_described_by_whole_labels() -> None:
    calculator = registry.load()["build"]
    outcome = evaluate_request(calculator, calculator.examples[0].given)
    request = ChartRequest(calculator, {}, False, outcome, build_response(outcome, 0))
    spec = BarChart(("mass_change", "mass_change_share"), table="by_setup", title="Changes")
    drawn = make_bars_of_table(request, spec)
    assert drawn is not None
    body, description = drawn
    assert [column.label for column in body.columns] == ["Mass change, g", "Mass change, relative, %"]
    changed, relative = (column.texts[1] for column in body.columns)
    assert f"{body.names[1]}: mass change {changed}, mass change, relative {relative}" in description


def test_setups_are_points_beside_the_limit() -> None:
    given: dict[str, Any] = dict(registry.load()["build"].examples[0].given)
    expected = calculate("build", **given)
    body = chart_of("build", **given).body
    assert isinstance(body, Scatter)
    assert (body.x_label, body.y_label) == ("All-up mass, g", "Flight time, min")
    assert body.limit == pytest.approx(600, rel=1e-12)
    assert body.limit_label == "limit 600 g"
    ends = expected["uncertainty"]["by_setup.endurance"]
    for at, (point, row) in enumerate(zip(body.points, expected["results"]["by_setup"], strict=True)):
        assert (point.label, point.x, point.y) == (row["name"], row["mass"], row["endurance"])
        assert (point.low, point.high) == (ends["low"][at], ends["high"][at])


def test_the_thrust_of_each_setup_ends_at_full_throttle_and_its_cap_is_marked() -> None:
    given: dict[str, Any] = dict(registry.load()["build"].examples[0].given)
    rows = calculate("build", **given)["results"]["by_setup"]
    graph = graph_of(chart_of("build", chart="thrust-against-throttle", **given))
    assert (graph.x_label, graph.panels[0].label, graph.marks_label) == ("Throttle, %", "Thrust, gf", "throttle cap")
    for line, row in zip(graph.panels[0].lines, rows, strict=True):
        assert line.label == row["name"]
        assert line.y[-1] == pytest.approx(row["thrust"], rel=1e-9)
        cap = row["throttle_cap"]
        assert line.mark == (None if cap == 100 else pytest.approx((cap, row["capped_thrust"]), rel=1e-9))
        assert np.interp(cap, line.x, line.y) == pytest.approx(row["capped_thrust"], rel=1e-3), (
            "the mark is on the line"
        )
    assert any(line.mark is not None for line in graph.panels[0].lines)
    uncapped = {name: value for name, value in given.items() if name not in ("throttle_cap", "setups")}
    graph = graph_of(chart_of("build", chart="thrust-against-throttle", **uncapped))
    assert graph.marks_label == ""
    assert {line.mark for line in graph.panels[0].lines} == {None}


def test_full_throttle_marks_the_cap() -> None:
    graph = graph_of(chart_of("full-throttle", cells=6, capacity=1100, kv=1950, diameter=5, pitch=4, throttle_cap=66))
    assert graph.x_label == "Throttle cap, %"
    (marker,) = graph.panels[0].markers
    assert marker.x == 66
    line = graph.panels[0].lines[0]
    assert marker.y == pytest.approx(float(np.interp(66, line.x, line.y)), rel=1e-3), "between two points of the curve"


def test_a_recorded_flight_shows_its_punch_outs() -> None:
    given: dict[str, Any] = dict(registry.load()["flight-log"].examples[0].given)
    expected = calculate("flight-log", **given)["results"]["punch_outs"]
    graph = graph_of(chart_of("flight-log", **given))
    assert graph.spans == tuple(
        pytest.approx((punch["punch_start_time"], punch["punch_start_time"] + punch["punch_duration"]))
        for punch in expected
    ), "in seconds, as the flight is short"
    assert [panel.label for panel in graph.panels] == ["Voltage, V", "Current, A", "Throttle, %"]
    assert graph.panels[1].lines[0].y.max() == pytest.approx(40, rel=1e-12)


def test_each_punch_out_is_a_bar_named_by_its_time() -> None:
    given: dict[str, Any] = dict(registry.load()["flight-log"].examples[0].given)
    expected = calculate("flight-log", **given)["results"]["punch_outs"]
    bars = chart_of("flight-log", chart="sag-of-each-punch-out", **given).body
    assert isinstance(bars, BarRows)
    assert bars.names == tuple(f"{punch['punch_start_time']:g} s" for punch in expected)
    assert bars.columns[0].values == pytest.approx([punch["voltage_sag"] for punch in expected], rel=1e-12)


def test_a_flight_is_compared_with_its_prediction() -> None:
    """The recording uses 151.64 W (tested with flight-log), predicted were 140 W: 8.3 % more."""
    given: dict[str, Any] = dict(registry.load()["flight-log"].examples[0].given)
    bars = chart_of("flight-log", chart="flown-over-predicted", **given).body
    assert isinstance(bars, BarRows)
    assert bars.columns[0].label == "in %"
    assert bars.columns[0].values[0] == pytest.approx(100 * (151.64 / 140 - 1), abs=0.05)
    some = {
        name: value for name, value in given.items() if name not in ("predicted_mean_power", "predicted_peak_current")
    }
    bars = chart_of("flight-log", chart="flown-over-predicted", **some).body
    assert isinstance(bars, BarRows)
    assert len(bars.names) == 1, "what was not predicted is left out"


def test_measured_flights_are_points_beside_the_fit() -> None:
    given: dict[str, Any] = dict(registry.load()["power-fit"].examples[0].given)
    expected = calculate("power-fit", **given)["results"]
    graph = graph_of(chart_of("power-fit", **given))
    measured = graph.panels[0].lines[1]
    assert measured.label == "flown"
    assert measured.y == pytest.approx(expected["mean_power_by_flight"], rel=1e-9)


@pytest.mark.parametrize(
    ("name", "inputs"),
    [
        pytest.param(
            "pack-current", {"cells": 6, "capacity": 1300, "pack_power": 700, "cell_resistance": 0}, id="no-limit"
        ),
        pytest.param("endurance", {"cells": 6, "capacity": 1300, "mean_power": 90000}, id="more-than-the-pack-gives"),
        pytest.param("flight-log", {"log": {"time": [0.0], "current": [1.0]}}, id="one-sample"),
    ],
)
def test_without_results_there_is_no_chart(name: str, inputs: dict[str, Any]) -> None:
    for spec in registry.load()[name].charts:
        assert chart_or_none(name, chart=spec.name, **inputs) is None


HOSTILE = [
    "\ufffe\uffff",
    '<script>alert("1")</script>',
    "$x_2^{3$",
    "Ünïcode 机架 🛩",
    "a" * 80,
    "&amp; ' \"",
    "%s {0} \\n",
]


@pytest.mark.parametrize("shape", SHAPES)
def test_names_are_drawn_as_plain_text(shape: str) -> None:
    """They are neither markup nor mathematics, and raise no error. SVG holds them unchanged."""
    chart = chart_of("mass-margin", parts=[{"name": name, "mass": 10} for name in HOSTILE], mass_limit=250)
    root = ET.fromstring(draw.as_svg(chart, ChartStyle(shape=shape)))
    assert not list(root.iter(f"{SVG}script"))
    letters = "".join(each.text or "" for each in root.iter(f"{SVG}text"))
    for name in ("$x_2^{3$", "Ünïcode 机架", "%s {0}"):
        assert name in letters
    assert draw.as_png(chart, ChartStyle(shape=shape)).startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("name", "inputs", "places"),
    [
        (
            "full-throttle",
            {"cells": 6, "capacity": 1100, "kv": 1950, "diameter": 5, "pitch": 4, "throttle_cap": 10},
            [10],
        ),
        ("air-density", {"air_temperature": -60, "air_pressure": 1000}, [-60]),
        ("power-fit", dict(registry.load()["power-fit"].examples[1].given), [620]),
    ],
)
def test_a_curve_includes_the_inputs(name: str, inputs: dict[str, Any], places: list[float]) -> None:
    graph = graph_of(chart_of(name, **inputs))
    line = graph.panels[0].lines[0]
    for place in places:
        assert line.x.min() - 1e-6 <= place <= line.x.max() + 1e-6
    assert graph.panels[0].markers


@given(
    values=st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=4000),
    max_samples=st.integers(5, 200).map(lambda half: 2 * half),
)
def test_downsampling_keeps_the_peaks(values: list[float], max_samples: int) -> None:
    x, y = np.arange(len(values), dtype=np.float64), np.array(values)
    short_x, short_y = calculator_charts.downsample(x, y, max_samples)
    assert len(short_x) == len(short_y) <= max(max_samples, 2)
    assert short_y.max() == y.max()
    assert short_y.min() == y.min()
    assert set(short_y.tolist()) <= set(values)
    assert (np.diff(short_x) >= 0).all()


def test_downsampling_skips_missing_samples() -> None:
    y = np.full(5000, np.nan)
    y[4000] = 7.0
    _, short = calculator_charts.downsample(np.arange(5000.0), y, 100)
    assert np.nanmax(short) == 7.0
    assert np.isfinite(short).sum() == 2
