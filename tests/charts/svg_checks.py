"""Check a chart as SVG."""

from __future__ import annotations

import xml.etree.ElementTree as ET

from gramwatt.charts import draw
from gramwatt.charts.chart_data import ChartData
from gramwatt.charts.themes import ChartStyle

SVG = "{http://www.w3.org/2000/svg}"


def check_svg(chart: ChartData, style: ChartStyle) -> None:
    """Raise AssertionError if the SVG lacks a title or a description, or has a style, a script or a broken link."""
    root = ET.fromstring(draw.as_svg(chart, style))
    assert root.get("role") == "img"
    assert [child.tag for child in root][:2] == [f"{SVG}title", f"{SVG}desc"]
    assert (root[0].text, root[1].text) == (chart.title, chart.description)
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
