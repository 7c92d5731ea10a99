"""The options of charts, and their formats."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from gramwatt.charts.themes import AUTO, GROUNDS, MAX_SCALE, SHAPES, THEMES
from gramwatt.model import AnyCalculator, Choice, Count, Flag, Kind, Text
from gramwatt.web.request_parsing import RESPONSE_OPTIONS

CHART_MEDIA_TYPES: Final[Mapping[str, str]] = {"svg": "image/svg+xml", "png": "image/png", "txt": "text/plain"}
CHART_OPTIONS: Final[Mapping[str, Kind]] = {
    "units": RESPONSE_OPTIONS["units"],
    "format": Choice(
        tuple(CHART_MEDIA_TYPES),
        "The format of the chart, instead of an Accept header; txt describes the chart in words.",
        optional=True,
    ),
    "chart": Text(
        "Which of the calculator's charts, by default the first; a sweep has one only.", max_length=80, optional=True
    ),
    "theme": Choice(
        (*THEMES, AUTO),
        "Dark lines on a light background, or the reverse; auto, for SVG only, follows the reader's settings.",
        default="light",
    ),
    "shape": Choice(tuple(SHAPES), "wide for a page, narrow for the screen of a phone.", default="wide"),
    "ground": Choice(GROUNDS, "Whether the background is drawn; without it the chart is transparent.", default="paper"),
    "scale": Count("For PNG: multiplies width and height in pixels.", at_least=1, at_most=MAX_SCALE, default=1),
    "show": Text(
        "For a sweep: the results to draw, separated by commas; by default the headline.",
        max_length=200,
        optional=True,
    ),
    "title": Flag("Whether the chart shows its title and the inputs.", default=True),
}


def make_chart_option(calculator: AnyCalculator) -> Choice:
    """Return the option ``chart`` of a calculator."""
    names = tuple(chart.name for chart in calculator.charts)
    shown = "; ".join(f"{chart.name}: {chart.title}" for chart in calculator.charts)
    return Choice(names, f"Which chart. {shown}.", default=names[0])
