"""The pictures that calculators declare: what is in them is what the calculators answer, and is told in words."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from typing import Any

import numpy as np
import pytest
from hypothesis import given as told
from hypothesis import strategies as st

from gramwatt import calculate
from gramwatt.charts import calculator_charts, draw
from gramwatt.charts.chart_data import BarRows, ChartData, Graph, Waterfall
from gramwatt.charts.themes import SHAPES, Look
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


def sheet_of(name: str, units: dict[str, str] | None = None, **question: Any) -> ChartData | None:
    """The picture of a question."""
    calculator = registry.load()[name]
    outcome = evaluate_request(calculator, question, result_units=units)
    made = build_response(outcome, 0, result_units=units)
    return calculator_charts.make_figure(calculator_charts.ChartRequest(calculator, question, False, outcome, made))


def seen(name: str, units: dict[str, str] | None = None, **question: Any) -> ChartData:
    sheet = sheet_of(name, units, **question)
    assert sheet is not None
    return sheet


def graph(sheet: ChartData) -> Graph:
    assert isinstance(sheet.body, Graph)
    return sheet.body


@pytest.mark.parametrize("calculator", CALCULATORS, ids=lambda calculator: calculator.name)
def test_every_calculator_names_its_picture_and_its_place_in_the_work(calculator: Calculator[Any, Any]) -> None:
    assert calculator.chart is not None
    assert calculator.category in CATEGORIES


@every_example
def test_every_example_can_be_seen(calculator: Calculator[Any, Any], example: Any) -> None:
    """As SVG without styles or scripts, as PNG of the size asked for, both with title and description in words."""
    sheet = seen(calculator.name, **dict(example.given))
    assert sheet.title == calculator.title
    assert sheet.told.endswith(".")
    assert "nan" not in sheet.told
    for shape in SHAPES:
        root = ET.fromstring(draw.as_svg(sheet, Look(shape=shape)))
        assert root.get("role") == "img"
        assert [child.tag for child in root][:2] == [f"{SVG}title", f"{SVG}desc"]
        assert (root[0].text, root[1].text) == (sheet.title, sheet.told)
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
    png = draw.as_png(sheet, Look(scale=2, theme="dark"))
    assert png.startswith(b"\x89PNG")
    assert int.from_bytes(png[16:20], "big") == round(SHAPES["wide"] * draw.INCH * 2)
    assert sheet.title.encode() in png


def test_the_same_picture_is_the_same_bytes() -> None:
    """So that an entity tag may be strong, in whatever order and thread pictures are drawn."""
    sheet, other = seen("pack-current", cells=6, capacity=1300, power=700), seen("pack-energy", cells=6, capacity=1300)
    first = draw.as_svg(sheet, Look()), draw.as_png(sheet, Look())
    draw.as_svg(other, Look(theme="dark", shape="narrow"))
    assert (draw.as_svg(sheet, Look()), draw.as_png(sheet, Look())) == first


def test_a_curve_is_what_the_calculator_answers_at_each_point() -> None:
    question: dict[str, Any] = {"cells": 6, "capacity": 1300, "cell_resistance": 8}
    made = graph(seen("pack-current", power=700, **question))
    assert [panel.label for panel in made.panels] == ["current in A", "loaded voltage in V"]
    (current,), (voltage,) = (panel.lines for panel in made.panels)
    for at in (0, 17, 60, 119):
        found = calculate("pack-current", power=float(current.x[at]), **question)["results"]
        assert current.y[at] == pytest.approx(found["current"], rel=1e-9), "rtol of 12 printed digits"
        assert voltage.y[at] == pytest.approx(found["loaded_voltage"], rel=1e-9)
    whole = calculate("pack-current", power=700, **question)["results"]
    assert current.x[-1] == pytest.approx(whole["greatest_power"], rel=1e-9)
    (dot,) = made.panels[0].dots
    assert (dot.x, dot.y) == (700, whole["current"])


def test_at_the_greatest_power_half_the_voltage_is_left() -> None:
    """Matched load, by hand: at P = V^2 / 4R the terminals have V / 2 and the current is V / 2R."""
    made = graph(seen("pack-current", cells=6, capacity=1300, power=100, open_circuit_voltage=25, cell_resistance=8))
    current, voltage = (panel.lines[0].y[-1] for panel in made.panels)
    assert voltage == pytest.approx(12.5, rel=1e-5), "the last point is as near as a double can be to the edge"
    assert current == pytest.approx(25 / (2 * 0.048), rel=1e-5)


def test_a_flight_over_time_ends_where_the_endurance_does() -> None:
    question: dict[str, Any] = {"cells": 4, "capacity": "3 Ah", "power": 90, "chemistry": "li-ion", "reserve": 0,
                                "cell_resistance": 25}  # fmt: skip
    found = calculate("endurance", **question)["results"]
    made = graph(seen("endurance", **question))
    volts, charge = (panel.lines[0] for panel in made.panels)
    assert made.across == "endurance in min"
    assert volts.x[-1] == pytest.approx(found["endurance"], rel=1e-9)
    assert volts.y[-1] == pytest.approx(found["end_cell_voltage"], rel=1e-9)
    assert charge.y[0] == pytest.approx(100, abs=1e-3)
    assert charge.y[-1] == pytest.approx(found["end_charge"], rel=1e-9)
    assert (np.diff(volts.x) > 0).all()
    assert (np.diff(volts.y) < 0).all()


def test_results_are_drawn_in_the_units_wished_for() -> None:
    question: dict[str, Any] = {"cells": 6, "capacity": 1300, "power": 700}
    plain, other = graph(seen("pack-current", **question)), graph(seen("pack-current", {"current": "mA"}, **question))
    assert other.panels[0].label == "current in mA"
    assert other.panels[0].lines[0].y == pytest.approx(1000 * plain.panels[0].lines[0].y, rel=1e-9)
    assert other.panels[0].dots[0].y == pytest.approx(1000 * plain.panels[0].dots[0].y, rel=1e-9)


def test_a_band_is_two_standard_uncertainties_of_each_point() -> None:
    question: dict[str, Any] = {"cells": 6, "capacity": 1300, "cell_resistance": "8 +/- 1 mohm"}
    line = graph(seen("pack-current", power=300, **question)).panels[0].lines[0]
    assert line.width is not None
    for at in (20, 60):
        told_there = calculate("pack-current", power=float(line.x[at]), **question)["uncertainty"]["current"]
        assert line.width[at] == pytest.approx(told_there["standard"], rel=1e-6)


def test_a_ladder_climbs_by_the_parts_to_the_total() -> None:
    parts = [{"name": "frame", "mass": 38.4}, {"name": "motor", "mass": 11.1, "count": 4}, {"mass": 102.7}]
    made = seen("mass-margin", parts=parts, masses=[31.9], limit=250, resolution=0.1).body
    assert isinstance(made, Waterfall)
    assert made.names == ("frame", "motor × 4", "part", "mass 1")
    assert made.totals == pytest.approx((38.4, 82.8, 185.5, 217.4), rel=1e-12), "by hand"
    assert made.limit == pytest.approx(250, rel=1e-12)
    assert made.half_width == pytest.approx(2 * 0.1 * math.sqrt((1 + 16 + 1 + 1) / 12), rel=1e-12), "GUM 4.3.7"


def test_a_named_rule_draws_its_own_limit() -> None:
    """14 CFR 48.15: 0.55 lb = 0.55 x 453.59237 g (NIST SP 811)."""
    made = seen("mass-margin", masses=[200], rule="us-14cfr48").body
    assert isinstance(made, Waterfall)
    assert made.limit == pytest.approx(0.55 * 453.59237, rel=1e-9)


def test_a_long_ladder_is_shortened_and_still_ends_at_the_total() -> None:
    made = seen("mass-margin", masses=[1.0] * 300, limit=250).body
    assert isinstance(made, Waterfall)
    assert len(made.totals) == calculator_charts.MOST_STEPS
    assert made.totals[-1] == pytest.approx(300, rel=1e-12)
    assert made.names[-1] == "and 277 more"


def test_packs_stand_side_by_side() -> None:
    calculator = registry.load()["build"]
    given: dict[str, Any] = dict(calculator.examples[0].given)
    found = calculate("build", **given)["results"]["by_pack"]
    made = seen("build", **given).body
    assert isinstance(made, BarRows)
    assert made.names == tuple(row["name"] for row in found)
    endurance = made.columns[0]
    assert endurance.label == "endurance in min"
    assert endurance.values == pytest.approx([row["endurance"] for row in found], rel=1e-12)


def test_full_throttle_marks_the_cap() -> None:
    made = graph(seen("full-throttle", cells=6, capacity=1100, kv=1950, diameter=5, pitch=4, throttle_cap=66))
    assert made.across == "throttle cap in %"
    (dot,) = made.panels[0].dots
    assert dot.x == 66
    line = made.panels[0].lines[0]
    assert dot.y == pytest.approx(float(np.interp(66, line.x, line.y)), rel=1e-3), "between two points of the curve"


def test_a_recorded_flight_shows_its_punch_outs() -> None:
    given: dict[str, Any] = dict(registry.load()["flight-log"].examples[0].given)
    found = calculate("flight-log", **given)["results"]["punch_outs"]
    made = graph(seen("flight-log", **given))
    assert made.spans == tuple(pytest.approx((punch["start"], punch["start"] + punch["length"])) for punch in found), (
        "in seconds, as the flight is short"
    )
    assert [panel.label for panel in made.panels] == ["voltage in V", "current in A", "throttle in %"]
    assert made.panels[1].lines[0].y.max() == pytest.approx(40, rel=1e-12)


def test_measured_flights_lie_beside_their_law() -> None:
    given: dict[str, Any] = dict(registry.load()["power-fit"].examples[0].given)
    found = calculate("power-fit", **given)["results"]
    made = graph(seen("power-fit", **given))
    flown = made.panels[0].lines[1]
    assert flown.label == "as flown"
    assert flown.y == pytest.approx(found["flight_powers"], rel=1e-9)


@pytest.mark.parametrize(
    ("name", "question"),
    [
        pytest.param("pack-current", {"cells": 6, "capacity": 1300, "power": 700, "cell_resistance": 0}, id="no-limit"),
        pytest.param("endurance", {"cells": 6, "capacity": 1300, "power": 90000}, id="more-than-the-pack-gives"),
        pytest.param("flight-log", {"log": {"time": [0.0], "current": [1.0]}}, id="one-sample"),
    ],
)
def test_where_there_is_nothing_to_see_there_is_no_picture(name: str, question: dict[str, Any]) -> None:
    assert sheet_of(name, **question) is None


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
def test_names_of_any_kind_are_words_and_nothing_else(shape: str) -> None:
    """Neither markup, nor mathematics, nor an error; in SVG they stand as they were given."""
    sheet = seen("mass-margin", parts=[{"name": name, "mass": 10} for name in HOSTILE], limit=250)
    root = ET.fromstring(draw.as_svg(sheet, Look(shape=shape)))
    assert not list(root.iter(f"{SVG}script"))
    letters = "".join(each.text or "" for each in root.iter(f"{SVG}text"))
    for name in ("$x_2^{3$", "Ünïcode 机架", "%s {0}"):
        assert name in letters
    assert draw.as_png(sheet, Look(shape=shape)).startswith(b"\x89PNG")


MOTOR = {"cells": 6, "capacity": 1100, "kv": 1950, "diameter": 5, "pitch": 4}


@pytest.mark.parametrize(
    ("name", "question", "places"),
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
def test_a_curve_reaches_as_far_as_what_was_asked(name: str, question: dict[str, Any], places: list[float]) -> None:
    made = graph(seen(name, **question))
    line = made.panels[0].lines[0]
    for place in places:
        assert line.x.min() - 1e-6 <= place <= line.x.max() + 1e-6
    assert made.panels[0].dots


@told(
    values=st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=4000),
    most=st.integers(10, 400).map(lambda most: 2 * (most // 2)),
)
def test_thinning_loses_no_peak(values: list[float], most: int) -> None:
    x, y = np.arange(len(values), dtype=np.float64), np.array(values)
    few_x, few_y = calculator_charts.thinned(x, y, most)
    assert len(few_x) == len(few_y) <= max(most, 2)
    assert few_y.max() == y.max()
    assert few_y.min() == y.min()
    assert set(few_y.tolist()) <= set(values)
    assert (np.diff(few_x) >= 0).all()


def test_thinning_passes_over_what_was_not_recorded() -> None:
    y = np.full(5000, np.nan)
    y[4000] = 7.0
    _, few = calculator_charts.thinned(np.arange(5000.0), y, 100)
    assert np.nanmax(few) == 7.0
    assert np.isfinite(few).sum() == 2
