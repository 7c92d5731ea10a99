"""Tests of previews: whether there is a chart, its description and its size, before it is drawn."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from typing import Any

import pytest

from gramwatt import calculate
from gramwatt.charts import calculator_charts, draw
from gramwatt.charts.chart_request import ChartRequest
from gramwatt.charts.preview import Preview, preview
from gramwatt.charts.themes import SHAPES, ChartStyle
from gramwatt.engine import registry
from gramwatt.engine.calculate import evaluate_request
from gramwatt.engine.response import build_response
from gramwatt.model import CurveChart

EXAMPLES = [
    pytest.param(calculator.name, dict(example.given), id=f"{calculator.name}: {example.title}")
    for calculator in registry.load().values()
    for example in calculator.examples
]


def chart_request(name: str, inputs: dict[str, Any]) -> ChartRequest:
    calculator = registry.load()[name]
    outcome = evaluate_request(calculator, inputs)
    return ChartRequest(calculator, inputs, False, outcome, build_response(outcome, 0))


def preview_of(name: str, inputs: dict[str, Any]) -> Preview:
    shown = preview(chart_request(name, inputs))
    assert shown is not None
    return shown


@pytest.mark.parametrize(("name", "inputs"), EXAMPLES)
def test_it_has_the_size_of_the_chart(name: str, inputs: dict[str, Any]) -> None:
    shown, chart = preview_of(name, inputs), calculator_charts.make_chart(chart_request(name, inputs))
    assert chart is not None
    for shape in SHAPES:
        drawn = ET.fromstring(draw.as_svg(chart, ChartStyle(shape=shape, titled=False)))
        assert shown.sizes[shape] == (int(drawn.get("width", "")), int(drawn.get("height", "")))


@pytest.mark.parametrize(("name", "inputs"), EXAMPLES)
def test_it_describes_the_chart(name: str, inputs: dict[str, Any]) -> None:
    """For a curve, whose points it does not compute, only the values at these inputs."""
    shown, chart = preview_of(name, inputs), calculator_charts.make_chart(chart_request(name, inputs))
    assert chart is not None
    curve, separator, here = shown.alt.partition(" Here, ")
    if isinstance(registry.load()[name].chart, CurveChart):
        assert " against " in curve
        assert separator + here == chart.description[chart.description.index(" Here, ") :]
    else:
        assert shown.alt == chart.description


def test_the_description_of_a_curve() -> None:
    results = calculate("pack-current", cells=6, capacity=1300, power=700, cell_resistance=8)["results"]
    alt = preview_of("pack-current", {"cells": 6, "capacity": 1300, "power": 700, "cell_resistance": 8}).alt
    assert alt == (
        f"Current and loaded voltage against power. Here, at 700 W, current is {results['current']:.4g} A and loaded "
        f"voltage is {results['loaded_voltage']:.4g} V."
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
    assert preview(chart_request(name, inputs)) is None
    assert calculator_charts.make_chart(chart_request(name, inputs)) is None
