"""Tests of previews: whether there is a chart, its description and its size, before it is drawn."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from typing import Any

import pytest

from gramwatt import calculate
from gramwatt.charts import calculator_charts, draw
from gramwatt.charts.chart_data import ChartData
from gramwatt.charts.chart_request import ChartRequest
from gramwatt.charts.preview import Preview, preview
from gramwatt.charts.themes import SHAPES, ChartStyle
from gramwatt.engine import registry
from gramwatt.engine.calculate import evaluate_request
from gramwatt.engine.response import build_response
from gramwatt.model import AnyChart, CurveChart

EXAMPLES = [
    pytest.param(calculator.name, dict(example.given), id=f"{calculator.name}: {example.title}")
    for calculator in registry.load().values()
    for example in calculator.examples
]


def chart_request(name: str, inputs: dict[str, Any]) -> ChartRequest:
    calculator = registry.load()[name]
    outcome = evaluate_request(calculator, inputs)
    return ChartRequest(calculator, inputs, False, outcome, build_response(outcome, 0))


def previews_and_charts(name: str, inputs: dict[str, Any]) -> list[tuple[Preview, AnyChart, ChartData]]:
    """Return the preview of each chart with its declaration and the chart itself."""
    request, found = chart_request(name, inputs), []
    previews = {shown.name: shown for shown in preview(request)}
    for spec in request.calculator.charts:
        chart = calculator_charts.make_chart(request, spec)
        assert (chart is not None) == (spec.name in previews)
        if chart is not None:
            found.append((previews[spec.name], spec, chart))
    assert found
    return found


@pytest.mark.parametrize(("name", "inputs"), EXAMPLES)
def test_it_has_title_size_and_description_of_the_chart(name: str, inputs: dict[str, Any]) -> None:
    """A curve's points are not computed, so that its description has only the values at these inputs."""
    for shown, spec, chart in previews_and_charts(name, inputs):
        assert (shown.title, shown.name) == (spec.title, spec.name)
        for shape in SHAPES:
            drawn = ET.fromstring(draw.as_svg(chart, ChartStyle(shape=shape, titled=False)))
            assert shown.sizes[shape] == (int(drawn.get("width", "")), int(drawn.get("height", "")))
        curve, separator, here = shown.alt.partition(" Here, ")
        if isinstance(spec, CurveChart):
            assert " against " in curve
            assert separator + here == chart.description[chart.description.index(" Here, ") :]
        else:
            assert shown.alt == chart.description


def test_the_description_of_a_curve() -> None:
    results = calculate("pack-current", cells=6, capacity=1300, power=700, cell_resistance=8)["results"]
    inputs = {"cells": 6, "capacity": 1300, "power": 700, "cell_resistance": 8}
    assert preview(chart_request("pack-current", inputs))[0].alt == (
        f"Pack current and loaded pack voltage against power. Here, at 700 W, pack current is "
        f"{results['current']:.4g} A and loaded pack voltage is {results['loaded_voltage']:.4g} V."
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
    request = chart_request(name, inputs)
    assert preview(request) == ()
    assert [calculator_charts.make_chart(request, spec) for spec in request.calculator.charts] == [None] * len(
        request.calculator.charts
    )


def test_a_curve_over_an_input_that_is_also_a_result_has_the_unit_of_the_result() -> None:
    """By hand: -20 °C is -4 °F, 45 °C is 113 °F, 20 °C is 68 °F."""
    calculator, inputs = registry.load()["air-density"], {"elevation": 100, "temperature": 20}
    result_units = {"temperature": "degF"}
    outcome = evaluate_request(calculator, inputs, result_units=result_units)
    request = ChartRequest(calculator, inputs, False, outcome, build_response(outcome, 0, result_units=result_units))
    spec = next(spec for spec in calculator.charts if isinstance(spec, CurveChart) and spec.vary == "temperature")
    chart = calculator_charts.make_chart(request, spec)
    assert chart is not None
    assert "from −4 °F to 113 °F" in chart.description
    assert "Here, at 68 °F" in chart.description
