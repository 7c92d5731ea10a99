"""matplotlib's SVG in fewer bytes, drawn the same."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest

from gramwatt.charts import svg


def path(steps: str) -> str:
    """A path as it comes out."""
    text = f'<svg xmlns="{svg.SVG}" width="10pt" height="10pt"><path d="{steps}"/></svg>'
    root = ET.fromstring(svg.tidy(text, "title", "words", key="w", dark={}))
    return root.findall(f"{{{svg.SVG}}}path")[0].attrib["d"]


@pytest.mark.parametrize(
    ("steps", "shorter"),
    [
        pytest.param("M 0 1.23456 \nL 2 -3 \nL 4 5 \nz\n", "M 0 1.23 2 -3 4 5 z", id="lines-after-lines"),
        pytest.param("M 0 0 L 1 1 z M 2 2 L 3 3", "M 0 0 1 1 z M 2 2 3 3", id="a-new-start"),
        pytest.param("M 0 0 C 1 1 2 2 3 3 L 4 4", "M 0 0 C 1 1 2 2 3 3 L 4 4", id="a-line-after-a-curve-stays-one"),
        pytest.param("M 0 0 Q 1 1 2 2 L 4 4", "M 0 0 Q 1 1 2 2 L 4 4", id="a-line-after-an-arc-stays-one"),
    ],
)
def test_a_path(steps: str, shorter: str) -> None:
    assert path(steps) == shorter


def test_a_turn_by_nothing_is_left_out() -> None:
    text = f'<svg xmlns="{svg.SVG}" width="1pt" height="1pt"><text transform="{{}}">a</text></svg>'
    for turn, kept in (("rotate(-0 1 2)", None), ("rotate(-90 1 2)", "rotate(-90 1 2)")):
        root = ET.fromstring(svg.tidy(text.format(turn), "title", "words", key="w", dark={}))
        assert root.findall(f"{{{svg.SVG}}}text")[0].get("transform") == kept
