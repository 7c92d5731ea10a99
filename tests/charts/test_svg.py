"""Tests of SVG: fewer bytes than matplotlib writes, drawn the same."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest

from gramwatt.charts import svg


def shorten_path(commands: str) -> str:
    """Return a path as it is written."""
    text = f'<svg xmlns="{svg.SVG}" width="10pt" height="10pt"><path d="{commands}"/></svg>'
    root = ET.fromstring(svg.clean_svg(text, "title", "words", prefix="w", dark={}))
    return root.findall(f"{{{svg.SVG}}}path")[0].attrib["d"]


@pytest.mark.parametrize(
    ("commands", "shorter"),
    [
        pytest.param("M 0 1.23456 \nL 2 -3 \nL 4 5 \nz\n", "M 0 1.23 2 -3 4 5 z", id="lines-after-lines"),
        pytest.param("M 0 0 L 1 1 z M 2 2 L 3 3", "M 0 0 1 1 z M 2 2 3 3", id="a-new-start"),
        pytest.param("M 0 0 C 1 1 2 2 3 3 L 4 4", "M 0 0 C 1 1 2 2 3 3 L 4 4", id="a-line-after-a-curve-stays-one"),
        pytest.param("M 0 0 Q 1 1 2 2 L 4 4", "M 0 0 Q 1 1 2 2 L 4 4", id="a-line-after-an-arc-stays-one"),
    ],
)
def test_a_path_is_shortened(commands: str, shorter: str) -> None:
    assert shorten_path(commands) == shorter


def test_a_rotation_by_zero_is_left_out() -> None:
    text = f'<svg xmlns="{svg.SVG}" width="1pt" height="1pt"><text transform="{{}}">a</text></svg>'
    for rotation, expected in (("rotate(-0 1 2)", None), ("rotate(-90 1 2)", "rotate(-90 1 2)")):
        root = ET.fromstring(svg.clean_svg(text.format(rotation), "title", "words", prefix="w", dark={}))
        assert root.findall(f"{{{svg.SVG}}}text")[0].get("transform") == expected
