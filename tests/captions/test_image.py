"""One instant as a picture."""

from __future__ import annotations

import io
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from gramwatt.captions.image import draw_png, draw_svg
from gramwatt.captions.placement import PLACES, Placement

SVG = "{http://www.w3.org/2000/svg}"


def drawn(text: str, placement: Placement) -> NDArray[np.uint8]:
    """Return the pixels (height, width, 4) of the PNG."""
    with Image.open(io.BytesIO(draw_png(text, placement))) as picture:
        assert (picture.format, picture.mode) == ("PNG", "RGBA")
        return np.asarray(picture)


def edges(visible: NDArray[np.bool_]) -> tuple[int, int, int, int]:
    """Left, top, right and bottom of what is visible."""
    rows, columns = np.flatnonzero(visible.any(axis=1)), np.flatnonzero(visible.any(axis=0))
    return int(columns[0]), int(rows[0]), int(columns[-1]) + 1, int(rows[-1]) + 1


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("text", ["12.4 V  41 A", "12.4 V\n41 A  812 mAh"])
def test_text_keeps_to_its_place_within_the_safe_margin(place: str, text: str) -> None:
    placement = Placement(640, 360, place, text_height_share=0.08, safe_margin_share=0.1)
    pixels = drawn(text, placement)
    assert pixels.shape == (360, 640, 4)
    left, top, right, bottom = edges(pixels[..., 3] > 0)
    slack = 0.12 * placement.em  # the dark line around letters
    assert left >= 64 - slack
    assert right <= 576 + slack
    assert top >= 36 - slack
    assert bottom <= 324 + slack
    height, side = place.split("-")
    assert {"left": left - 64, "center": (left + right) / 2 - 320, "right": right - 576}[side] == pytest.approx(
        0, abs=5
    )
    near = {"top": top - 36, "middle": (top + bottom) / 2 - 180, "bottom": bottom - 324}[height]
    assert near == pytest.approx(0, abs=0.4 * placement.em)


def test_light_letters_with_a_dark_line_on_nothing() -> None:
    pixels = drawn("8888", Placement(640, 360, "middle-center", text_height_share=0.2))
    opaque = pixels[pixels[..., 3] == 255]
    assert (opaque[:, :3].min(axis=1) == 255).any()
    assert (pixels[..., 3] == 0).mean() > 0.7
    rim = pixels[(pixels[..., 3] > 0) & (pixels[..., 3] < 200)]
    assert len(rim) > 50
    assert rim[:, :3].max() < 60


def test_figures_are_equally_wide() -> None:
    """So that they do not shake as they change."""
    placement = Placement(640, 360, "top-left", text_height_share=0.1)
    widths = {edges(drawn(f"{digit}{digit}{digit}|", placement)[..., 3] > 0)[2] for digit in range(10)}
    assert len(widths) == 1


def lines(document: ET.Element) -> Iterator[ET.Element]:
    return document.iter(f"{SVG}text")


def test_svg_says_what_is_written() -> None:
    text = "12 V & <b> \"x\"\n– 'A'  {y}"
    document = ET.fromstring(draw_svg(text, Placement(1280, 720, "top-right"), title="At <1> & 2"))
    assert document.tag == f"{SVG}svg"
    assert [document.get(name) for name in ("width", "height", "viewBox")] == ["1280", "720", "0 0 1280 720"]
    assert document.findtext(f"{SVG}title") == "At <1> & 2"
    assert [line.text for line in lines(document)] == text.split("\n")
    group = document.find(f"{SVG}g")
    assert group is not None
    assert (group.get("text-anchor"), group.get("font-size"), group.get("paint-order")) == ("end", "36.0", "stroke")


@pytest.mark.parametrize("place", PLACES)
def test_svg_and_png_put_a_line_on_the_same_foot(place: str) -> None:
    placement = Placement(640, 360, place, text_height_share=0.1)
    feet = [float(line.attrib["y"]) for line in lines(ET.fromstring(draw_svg("HHH\nHHH", placement)))]
    bright = drawn("HHH\nHHH", placement)[..., :3].min(axis=2) > 200
    assert edges(bright)[3] == pytest.approx(feet[1], abs=1.5)
    assert feet[1] - feet[0] == pytest.approx(1.2 * placement.em, abs=0.1)


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"width": 8193}, "8192 x 4320"),
        ({"height": 4321}, "8192 x 4320"),
        ({"width": 0}, "8192 x 4320"),
        ({"place": "somewhere"}, "no place 'somewhere': top-left"),
        ({"text_height_share": 0.0}, "text_height_share is above 0 and at most 0.25"),
        ({"text_height_share": float("nan")}, "text_height_share is above 0"),
        ({"safe_margin_share": 0.3}, "safe_margin_share is from 0 to 0.25"),
    ],
)
def test_settings_out_of_their_limits(settings: dict[str, float], message: str) -> None:
    with pytest.raises(ValueError, match=re.escape(message)):
        Placement(**settings)  # type: ignore[arg-type]


def test_text_larger_than_the_picture_is_cut() -> None:
    assert drawn("M" * 200, Placement(64, 36)).shape == (36, 64, 4)
