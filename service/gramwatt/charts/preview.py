"""The words and the size of a chart that is not drawn here, for a page that links to it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from gramwatt.charts import formatting, sizes
from gramwatt.charts.calculator_charts import ChartRequest, curve_axis, make_figure, unit_across
from gramwatt.charts.themes import SHAPES, Look
from gramwatt.model import CurveChart


@dataclass(frozen=True, slots=True)
class Preview:
    """What a page needs of a chart: its alternative text, and its size."""

    words: str
    sizes: Mapping[str, tuple[int, int]]
    """By shape: the width and height of its SVG in CSS pixels, without its title."""


def preview(asked: ChartRequest) -> Preview | None:
    """Return the words and the sizes of a chart, or None where there is nothing to draw.

    The points of a curve are not computed, which would take longer than the page: its words say where these inputs
    stand, and not how the curve goes.
    """
    picture = asked.calculator.chart
    looks = [Look(shape=shape, titled=False) for shape in SHAPES]
    if isinstance(picture, CurveChart):
        if curve_axis(asked, picture) is None:
            return None
        panels = len(picture.show)
        return Preview(_words(asked, picture), {look.shape: sizes.graph_pixels(panels, look) for look in looks})
    seen = make_figure(asked)
    if seen is None:
        return None
    return Preview(seen.told, {look.shape: sizes.pixels(seen, look) for look in looks})


def _words(asked: ChartRequest, picture: CurveChart[object, object]) -> str:
    """What is drawn against what, and the values at these inputs."""
    answer, across = asked.response, picture.across or picture.vary
    told = f"{' and '.join(map(formatting.spoken, picture.show))} against {formatting.spoken(across)}"
    here = answer["results"].get(across, answer["given"].get(across))
    values = [
        f"{formatting.spoken(name)} is {formatting.with_width(value, asked.width(name), asked.unit(name))}"
        for name in picture.show
        if isinstance(value := answer["results"][name], int | float)
    ]
    if values and isinstance(here, int | float):
        told += f". Here, at {formatting.value(here, unit_across(asked, picture))}, {' and '.join(values)}"
    return formatting.sentence(told)
