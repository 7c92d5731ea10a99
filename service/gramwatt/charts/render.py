"""A chart in one of its formats. matplotlib, which takes half a second to import, is imported only to draw."""

from __future__ import annotations

import functools

from gramwatt import extras
from gramwatt.charts.chart_data import ChartData
from gramwatt.charts.themes import Look

LIBRARY = "matplotlib"


def render(sheet: ChartData, form: str, look: Look) -> bytes:
    """Return a chart as ``svg`` or ``png``, or as ``txt``: its title and what it shows, in words.

    Raises MissingExtra where it must be drawn and matplotlib is not installed.
    """
    if form == "txt":
        return sheet.text()
    extras.require(LIBRARY, extra="charts", purpose="Charts")
    from gramwatt.charts import draw

    return draw.as_png(sheet, look) if form == "png" else draw.as_svg(sheet, look)


@functools.cache
def can_draw() -> bool:
    """Return whether matplotlib is installed. Looking for it takes longer than some pages."""
    return extras.is_installed(LIBRARY)
