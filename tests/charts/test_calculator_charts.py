"""Tests of calculators' charts: they show the values that the calculator computes, and describe them in words."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gramwatt import calculate
from gramwatt.charts import calculator_charts, draw
from gramwatt.charts.chart_data import BarRows, ChartData, Graph, Waterfall
from gramwatt.charts.chart_request import ChartRequest
from gramwatt.charts.themes import SHAPES, ChartStyle
from gramwatt.engine import registry
from gramwatt.engine.calculate import evaluate_request
from gramwatt.engine.response import build_response
from gramwatt.model import CATEGORIES, Calculator

CALCULATORS = list(registry.load().values())
EXAMPLES = [(calculator, example) for calculator in CALCULATORS for example in calculator.examples]
every_example = pytest.mark.parametrize(
    ("calculator", "example"), EXAMPLES, ids=[f"{calculator.name}: {example.title}" for calculator, example in EXAMPLES]
)
SVG = "{http://www.w3.org/2000/svg}"


def chart_or_none(name: str, units: dict[str, str] | None = None, **inputs: Any) -> ChartData | None:
    """Return the chart of these inputs, None where there is none."""
    calculator = registry.load()[name]
    outcome = evaluate_request(calculator, inputs, result_units=units)
    response = build_response(outcome, 0, result_units=units)
    return calculator_charts.make_chart(ChartRequest(calculator, inputs, False, outcome, response))


def chart_of(name: str, units: dict[str, str] | None = None, **inputs: Any) -> ChartData:
    chart = chart_or_none(name, units, **inputs)
    assert chart is not None
    return chart


def graph_of(chart: ChartData) -> Graph:
    assert isinstance(chart.body, Graph)
    return chart.body


@pytest.mark.parametrize("calculator", CALCULATORS, ids=lambda calculator: calculator.name)
def test_every_calculator_declares_a_chart_and_a_category(calculator: Calculator[Any, Any]) -> None:
    assert calculator.chart is not None
    assert calculator.category in CATEGORIES


@every_example
def test_every_example_has_a_chart_in_every_format(calculator: Calculator[Any, Any], example: Any) -> None:
    """SVG has no styles or scripts, PNG has the requested size; both have a title and a description."""
    chart = chart_of(calculator.name, **dict(example.given))
    assert chart.title == calculator.title
    assert chart.description.endswith(".")
    assert "nan" not in chart.description
    for shape in SHAPES:
        root = ET.fromstring(draw.as_svg(chart, ChartStyle(shape=shape)))
        assert root.get("role") == "img"
        assert [child.tag for child in root][:2] == [f"{SVG}title", f"{SVG}desc"]
        assert (root[0].text, root[1].text) == (chart.title, chart.description)
        assert root.get("aria-labelledby") == f"{root[0].get('id')} {root[1].get('id')}"
        ids = [each.get("id") for each in root.iter() if each.get("id")]
        assert len(ids) == len(set(ids))
        for each in root.iter():
            assert each.tag not in (f"{SVG}style", f"{SVG}script")
            assert "style" not in each.attrib
            assert not any(name.startswith("on") for name in each.attrib)
            for name in ("href", "clip-path"):
                if each.get(name):
                    assert each.attrib[name].strip("url(#)") in ids
    png = draw.as_png(chart, ChartStyle(scale=2, theme="dark"))
    assert png.startswith(b"\x89PNG")
    assert int.from_bytes(png[16:20], "big") == round(SHAPES["wide"] * draw.PIXELS_PER_INCH * 2)
    assert chart.title.encode() in png


def test_the_same_chart_gives_the_same_bytes() -> None:
    """Entity tags are strong, in whatever order and thread charts are drawn."""
    chart, other = (
        chart_of("pack-current", cells=6, capacity=1300, power=700),
        chart_of("pack-energy", cells=6, capacity=1300),
    )
    first = draw.as_svg(chart, ChartStyle()), draw.as_png(chart, ChartStyle())
    draw.as_svg(other, ChartStyle(theme="dark", shape="narrow"))
    assert (draw.as_svg(chart, ChartStyle()), draw.as_png(chart, ChartStyle())) == first


def test_a_curve_has_the_calculator_s_result_at_each_point() -> None:
    inputs: dict[str, Any] = {"cells": 6, "capacity": 1300, "cell_resistance": 8}
    graph = graph_of(chart_of("pack-current", power=700, **inputs))
    assert [panel.label for panel in graph.panels] == ["current in A", "loaded voltage in V"]
    (current,), (voltage,) = (panel.lines for panel in graph.panels)
    for at in (0, 17, 60, 119):
        expected = calculate("pack-current", power=float(current.x[at]), **inputs)["results"]
        assert current.y[at] == pytest.approx(expected["current"], rel=1e-9), "rtol of 12 printed digits"
        assert voltage.y[at] == pytest.approx(expected["loaded_voltage"], rel=1e-9)
    whole = calculate("pack-current", power=700, **inputs)["results"]
    assert current.x[-1] == pytest.approx(whole["greatest_power"], rel=1e-9)
    (marker,) = graph.panels[0].markers
    assert (marker.x, marker.y) == (700, whole["current"])


def test_at_the_greatest_power_half_the_voltage_is_left() -> None:
    """Matched load, by hand: at P = V^2 / 4R the terminals have V / 2 and the current is V / 2R."""
    graph = graph_of(
        chart_of("pack-current", cells=6, capacity=1300, power=100, open_circuit_voltage=25, cell_resistance=8)
    )
    current, voltage = (panel.lines[0].y[-1] for panel in graph.panels)
    assert voltage == pytest.approx(12.5, rel=1e-5), "the last point is as near as a double can be to the edge"
    assert current == pytest.approx(25 / (2 * 0.048), rel=1e-5)


def test_a_flight_over_time_ends_where_the_endurance_does() -> None:
    inputs: dict[str, Any] = {"cells": 4, "capacity": "3 Ah", "power": 90, "chemistry": "li-ion", "reserve": 0,
                                "cell_resistance": 25}  # fmt: skip
    expected = calculate("endurance", **inputs)["results"]
    graph = graph_of(chart_of("endurance", **inputs))
    volts, charge = (panel.lines[0] for panel in graph.panels)
    assert graph.x_label == "endurance in min"
    assert volts.x[-1] == pytest.approx(expected["endurance"], rel=1e-9)
    assert volts.y[-1] == pytest.approx(expected["end_cell_voltage"], rel=1e-9)
    assert charge.y[0] == pytest.approx(100, abs=1e-3)
    assert charge.y[-1] == pytest.approx(expected["end_charge"], rel=1e-9)
    assert (np.diff(volts.x) > 0).all()
    assert (np.diff(volts.y) < 0).all()


def test_results_are_drawn_in_the_requested_units() -> None:
    inputs: dict[str, Any] = {"cells": 6, "capacity": 1300, "power": 700}
    plain, other = (
        graph_of(chart_of("pack-current", **inputs)),
        graph_of(chart_of("pack-current", {"current": "mA"}, **inputs)),
    )
    assert other.panels[0].label == "current in mA"
    assert other.panels[0].lines[0].y == pytest.approx(1000 * plain.panels[0].lines[0].y, rel=1e-9)
    assert other.panels[0].markers[0].y == pytest.approx(1000 * plain.panels[0].markers[0].y, rel=1e-9)


def test_a_band_is_two_standard_uncertainties_of_each_point() -> None:
    inputs: dict[str, Any] = {"cells": 6, "capacity": 1300, "cell_resistance": "8 +/- 1 mohm"}
    line = graph_of(chart_of("pack-current", power=300, **inputs)).panels[0].lines[0]
    assert line.uncertainty is not None
    for at in (20, 60):
        uncertainty = calculate("pack-current", power=float(line.x[at]), **inputs)["uncertainty"]["current"]
        assert line.uncertainty[at] == pytest.approx(uncertainty["standard"], rel=1e-6)


def test_a_waterfall_adds_the_parts_up_to_the_total() -> None:
    parts = [{"name": "frame", "mass": 38.4}, {"name": "motor", "mass": 11.1, "count": 4}, {"mass": 102.7}]
    chart = chart_of("mass-margin", parts=parts, masses=[31.9], limit=250, resolution=0.1).body
    assert isinstance(chart, Waterfall)
    assert chart.names == ("frame", "motor × 4", "part", "mass 1")
    assert chart.totals == pytest.approx((38.4, 82.8, 185.5, 217.4), rel=1e-12), "by hand"
    assert chart.limit == pytest.approx(250, rel=1e-12)
    assert chart.half_width == pytest.approx(2 * 0.1 * math.sqrt((1 + 16 + 1 + 1) / 12), rel=1e-12), "GUM 4.3.7"


def test_a_named_rule_draws_its_own_limit() -> None:
    """14 CFR 48.15: 0.55 lb = 0.55 x 453.59237 g (NIST SP 811)."""
    chart = chart_of("mass-margin", masses=[200], rule="us-registration").body
    assert isinstance(chart, Waterfall)
    assert chart.limit == pytest.approx(0.55 * 453.59237, rel=1e-9)


def test_a_long_waterfall_is_shortened_and_still_ends_at_the_total() -> None:
    chart = chart_of("mass-margin", masses=[1.0] * 300, limit=250).body
    assert isinstance(chart, Waterfall)
    assert len(chart.totals) == calculator_charts.MAX_STEPS
    assert chart.totals[-1] == pytest.approx(300, rel=1e-12)
    assert chart.names[-1] == "and 277 more"


def test_each_pack_is_a_bar() -> None:
    calculator = registry.load()["build"]
    given: dict[str, Any] = dict(calculator.examples[0].given)
    expected = calculate("build", **given)["results"]["by_pack"]
    chart = chart_of("build", **given).body
    assert isinstance(chart, BarRows)
    assert chart.names == tuple(row["name"] for row in expected)
    endurance = chart.columns[0]
    assert endurance.label == "endurance in min"
    assert endurance.values == pytest.approx([row["endurance"] for row in expected], rel=1e-12)


def test_full_throttle_marks_the_cap() -> None:
    graph = graph_of(chart_of("full-throttle", cells=6, capacity=1100, kv=1950, diameter=5, pitch=4, throttle_cap=66))
    assert graph.x_label == "throttle cap in %"
    (marker,) = graph.panels[0].markers
    assert marker.x == 66
    line = graph.panels[0].lines[0]
    assert marker.y == pytest.approx(float(np.interp(66, line.x, line.y)), rel=1e-3), "between two points of the curve"


def test_a_recorded_flight_shows_its_punch_outs() -> None:
    given: dict[str, Any] = dict(registry.load()["flight-log"].examples[0].given)
    expected = calculate("flight-log", **given)["results"]["punch_outs"]
    graph = graph_of(chart_of("flight-log", **given))
    assert graph.spans == tuple(
        pytest.approx((punch["start"], punch["start"] + punch["length"])) for punch in expected
    ), "in seconds, as the flight is short"
    assert [panel.label for panel in graph.panels] == ["voltage in V", "current in A", "throttle in %"]
    assert graph.panels[1].lines[0].y.max() == pytest.approx(40, rel=1e-12)


def test_measured_flights_are_points_beside_the_fit() -> None:
    given: dict[str, Any] = dict(registry.load()["power-fit"].examples[0].given)
    expected = calculate("power-fit", **given)["results"]
    graph = graph_of(chart_of("power-fit", **given))
    measured = graph.panels[0].lines[1]
    assert measured.label == "measured"
    assert measured.y == pytest.approx(expected["flight_powers"], rel=1e-9)


@pytest.mark.parametrize(
    ("name", "inputs"),
    [
        pytest.param("pack-current", {"cells": 6, "capacity": 1300, "power": 700, "cell_resistance": 0}, id="no-limit"),
        pytest.param("endurance", {"cells": 6, "capacity": 1300, "power": 90000}, id="more-than-the-pack-gives"),
        pytest.param("flight-log", {"log": {"time": [0.0], "current": [1.0]}}, id="one-sample"),
    ],
)
def test_without_results_there_is_no_chart(name: str, inputs: dict[str, Any]) -> None:
    assert chart_or_none(name, **inputs) is None


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
    chart = chart_of("mass-margin", parts=[{"name": name, "mass": 10} for name in HOSTILE], limit=250)
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
        ("air-density", {"temperature": -60, "pressure": 1000}, [-60]),
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
