"""Write a chart in one of its formats. matplotlib takes half a second to import, so it is imported only to draw."""

from __future__ import annotations

import functools

from gramwatt import extras
from gramwatt.charts.chart_data import ChartData
from gramwatt.charts.themes import ChartStyle

LIBRARY = "matplotlib"


def render(chart: ChartData, file_format: str, style: ChartStyle) -> bytes:
    """Return a chart as ``svg`` or ``png``, or as ``txt``: its title and its description.

    Raises
    ------
    MissingExtra
        The chart must be drawn and matplotlib is not installed.
    """
    if file_format == "txt":
        return chart.as_text()
    extras.require(LIBRARY, extra="charts", purpose="Charts")
    from gramwatt.charts import draw

    return draw.as_png(chart, style) if file_format == "png" else draw.as_svg(chart, style)


@functools.cache
def can_draw() -> bool:
    """Return whether matplotlib is installed. Cached, since looking for it takes longer than some pages."""
    return extras.is_installed(LIBRARY)
