"""What a page says of a chart before it is drawn: that there is one, its words, its size."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from typing import Any

import pytest

from gramwatt import calculate
from gramwatt.charts import calculator_charts, draw
from gramwatt.charts.preview import Preview, preview
from gramwatt.charts.themes import SHAPES, Look
from gramwatt.engine import registry
from gramwatt.engine.calculate import evaluate_request
from gramwatt.engine.response import build_response
from gramwatt.model import CurveChart

EXAMPLES = [
    pytest.param(calculator.name, dict(example.given), id=f"{calculator.name}: {example.title}")
    for calculator in registry.load().values()
    for example in calculator.examples
]


def asked(name: str, inputs: dict[str, Any]) -> calculator_charts.ChartRequest:
    calculator = registry.load()[name]
    outcome = evaluate_request(calculator, inputs)
    return calculator_charts.ChartRequest(calculator, inputs, False, outcome, build_response(outcome, 0))


def previewed(name: str, inputs: dict[str, Any]) -> Preview:
    found = preview(asked(name, inputs))
    assert found is not None
    return found


@pytest.mark.parametrize(("name", "inputs"), EXAMPLES)
def test_it_leaves_the_room_that_the_chart_takes(name: str, inputs: dict[str, Any]) -> None:
    found, sheet = previewed(name, inputs), calculator_charts.make_figure(asked(name, inputs))
    assert sheet is not None
    for shape in SHAPES:
        drawn = ET.fromstring(draw.as_svg(sheet, Look(shape=shape, titled=False)))
        assert found.sizes[shape] == (int(drawn.get("width", "")), int(drawn.get("height", "")))


@pytest.mark.parametrize(("name", "inputs"), EXAMPLES)
def test_its_words_are_the_chart_s_own(name: str, inputs: dict[str, Any]) -> None:
    """All of them; of a curve, whose points it does not compute, those that say where these inputs stand."""
    found, sheet = previewed(name, inputs), calculator_charts.make_figure(asked(name, inputs))
    assert sheet is not None
    curve, dot, here = found.words.partition(" Here, ")
    if isinstance(registry.load()[name].chart, CurveChart):
        assert " against " in curve
        assert dot + here == sheet.told[sheet.told.index(" Here, ") :]
    else:
        assert found.words == sheet.told


def test_the_words_of_a_curve() -> None:
    found = calculate("pack-current", cells=6, capacity=1300, power=700, cell_resistance=8)["results"]
    words = previewed("pack-current", {"cells": 6, "capacity": 1300, "power": 700, "cell_resistance": 8}).words
    assert words == (
        f"Current and loaded voltage against power. Here, at 700 W, current is {found['current']:.4g} A and loaded "
        f"voltage is {found['loaded_voltage']:.4g} V."
    )


@pytest.mark.parametrize(
    ("name", "inputs"),
    [
        pytest.param("pack-current", {"cells": 6, "capacity": 1300, "power": 700, "cell_resistance": 0}, id="no-limit"),
        pytest.param("endurance", {"cells": 6, "capacity": 1300, "power": 90000}, id="more-than-the-pack-gives"),
        pytest.param("flight-log", {"log": {"time": [0.0], "current": [1.0]}}, id="one-sample"),
    ],
)
def test_where_there_is_nothing_to_draw_there_is_no_preview(name: str, inputs: dict[str, Any]) -> None:
    assert preview(asked(name, inputs)) is None
    assert calculator_charts.make_figure(asked(name, inputs)) is None
