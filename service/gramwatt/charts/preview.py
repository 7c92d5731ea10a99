"""Describe a chart and its size without drawing it, for a page that links to it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from gramwatt.charts import formatting, sizes
from gramwatt.charts.calculator_charts import make_chart
from gramwatt.charts.chart_request import ChartRequest
from gramwatt.charts.curve_charts import curve_axis, outline_curve, x_unit
from gramwatt.charts.themes import SHAPES, ChartStyle
from gramwatt.model import AnyChart, CurveChart
from gramwatt.model.messages import lower_first


@dataclass(frozen=True, slots=True)
class Preview:
    """What a page needs to embed a chart: its name and title, its alternative text and its size."""

    name: str
    title: str
    alt: str
    sizes: Mapping[str, tuple[int, int]]
    """By shape: width and height of the untitled SVG in CSS pixels."""


def preview(request: ChartRequest) -> tuple[Preview, ...]:
    """Return names, alternative texts and sizes of the charts of a response, without those that have nothing to draw.

    The points of a curve are not computed, since that would take longer than the page. The text of a curve gives the
    values at these inputs and leaves out the trend.
    """
    previews = (_preview_chart(request, chart) for chart in request.calculator.charts)
    return tuple(each for each in previews if each is not None)


def _preview_chart(request: ChartRequest, spec: AnyChart) -> Preview | None:
    styles = [ChartStyle(shape=shape, titled=False) for shape in SHAPES]
    if isinstance(spec, CurveChart):
        if curve_axis(request, spec) is None:
            return None
        alt = _describe_curve(request, spec)
        outline = outline_curve(request, spec)
        by_shape = {style.shape: sizes.curve_pixels(outline, style) for style in styles}
        return Preview(spec.name, spec.title, alt, by_shape)
    chart = make_chart(request, spec)
    if chart is None:
        return None
    by_shape = {style.shape: sizes.chart_pixels(chart, style) for style in styles}
    return Preview(spec.name, spec.title, chart.description, by_shape)


def _describe_curve(request: ChartRequest, spec: CurveChart[object, object]) -> str:
    """Return what the axes of a curve show, and the values at these inputs."""
    response, x_name = request.response, spec.across or spec.vary
    shown = [lower_first(request.label(name)) for name in spec.show]
    text = f"{' and '.join(shown)} against {lower_first(request.label(x_name))}"
    here = response["results"].get(x_name, response["inputs"].get(x_name))
    values = [
        f"{label} is {request.format_result(name)}"
        for name, label in zip(spec.show, shown, strict=True)
        if isinstance(response["results"][name], int | float)
    ]
    if values and isinstance(here, int | float):
        text += f". Here, at {formatting.format_value(here, x_unit(request, spec))}, {' and '.join(values)}"
    return formatting.sentence(text)
