"""The options of charts, and the formats they come in."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from gramwatt.charts.themes import AUTO, GROUNDS, MAX_SCALE, SHAPES, THEMES
from gramwatt.model import Choice, Count, Flag, Kind, Text
from gramwatt.web.request_parsing import RESPONSE_OPTIONS

CHART_MEDIA_TYPES: Final[Mapping[str, str]] = {"svg": "image/svg+xml", "png": "image/png", "txt": "text/plain"}
CHART_OPTIONS: Final[Mapping[str, Kind]] = {
    "units": RESPONSE_OPTIONS["units"],
    "format": Choice(
        tuple(CHART_MEDIA_TYPES),
        "The format, instead of an Accept header; txt is what the picture shows, in words.",
        optional=True,
    ),
    "theme": Choice(
        (*THEMES, AUTO),
        "Dark ink on light paper, or the reverse; auto, of SVG, is what the reader's own settings prefer.",
        default="light",
    ),
    "shape": Choice(tuple(SHAPES), "For a page, or for a phone's screen.", default="wide"),
    "ground": Choice(GROUNDS, "Whether the paper is drawn; without it whatever lies below shows.", default="paper"),
    "scale": Count("Of PNG: pixels, times as many each way.", at_least=1, at_most=MAX_SCALE, default=1),
    "show": Text(
        "Of a sweep: the results drawn, separated by commas; the headline unless said.", max_length=200, optional=True
    ),
    "title": Flag("Whether title and inputs stand in the picture.", default=True),
}
