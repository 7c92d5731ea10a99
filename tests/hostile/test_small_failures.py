"""Requests of a few bytes that were computed with 500, and cells that a spreadsheet would run."""

from __future__ import annotations

import csv
import io
import json

import pytest
from flask.testing import FlaskClient

from gramwatt.captions.image import draw_png
from gramwatt.captions.placement import PLACES, Placement
from gramwatt.engine.formula_guard import guard_cell, guard_cells, guard_text
from web.conftest import client

__all__ = ["client"]

FLIGHT = {
    "log": {"time": [0, 1], "voltage": [16, 16], "current": [8, 8]},
    "cells": 4,
    "capacity": 850,
    "video_end_time": 1,
}


@pytest.mark.parametrize("path", ["/", "/v1/pack-energy", "/calculators/pack-energy", "/v1/x"])
def test_a_query_of_bytes_that_are_no_utf_8_is_rejected(client: FlaskClient, path: str) -> None:
    """Some servers pass bytes on that no URL may have."""
    answer = client.get(path, environ_overrides={"QUERY_STRING": "cells=6&capacity=\xec"})
    assert (answer.status_code, answer.get_json()["type"]) == (400, "http://localhost/problems/malformed-request")


@pytest.mark.parametrize("place", ["top-left", "middle-center", "bottom-right"])
def test_a_picture_of_the_largest_size_with_the_longest_text_is_drawn(client: FlaskClient, place: str) -> None:
    """Pillow takes a line of many pixels for a decompression bomb; `MOST_PIXELS` bounds the picture."""
    size = {
        "video_width": 3840,
        "video_height": 2160,
        "text_height_share": 25,
        "caption_position": place,
        "picture_time": 0,
    }
    answer = client.post("/v1/overlay-cues?format=png", json={**FLIGHT, **size, "caption_template": "W" * 199})
    assert (answer.status_code, answer.mimetype) == (200, "image/png")


@pytest.mark.parametrize("place", PLACES)
def test_of_a_line_that_is_too_long_the_part_within_the_picture_is_drawn(
    place: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The picture is that of the whole line, but for pixels at its letters' edges in the middle and on the right."""
    from PIL import Image, ImageChops

    placement, text = (
        Placement(320, 180, place=place, text_height_share=0.2),
        "abcdefghijklmnopqrstuvwxyz" * 2,
    )
    cut = Image.open(io.BytesIO(draw_png(text, placement)))
    monkeypatch.setattr(
        "gramwatt.captions.image._crop_line", lambda line, *_: (line, placement.x, "lmr"[placement.column])
    )
    whole = Image.open(io.BytesIO(draw_png(text, placement)))
    assert cut.getbbox() == whole.getbbox()
    differing = sum(ImageChops.difference(cut, whole).convert("RGBA").getchannel("A").histogram()[64:])
    assert differing < (1 if placement.column == 0 else 320 * 180 // 50)


DISPOSITIONS = [
    b"Content-Disposition: form-data",
    b'Content-Disposition: form-data; filename="a"',
    b'Content-Disposition: form-data; name=""',
    b"Content-Type: text/plain",
    b"",
]


@pytest.mark.parametrize("head", DISPOSITIONS)
@pytest.mark.parametrize("name", ["flight-log", "build", "pack-energy"])
def test_a_part_of_a_form_without_a_name_is_left_out(client: FlaskClient, head: bytes, name: str) -> None:
    body = b"--x\r\n" + head + b"\r\n\r\n1\r\n--x\r\nContent-Disposition: form-data; name=cells\r\n\r\n4\r\n--x--\r\n"
    answer = client.post(f"/calculators/{name}", data=body, content_type="multipart/form-data; boundary=x")
    assert answer.status_code in (200, 405)


FORMULAS = ["=1+1", "+x", "-x", "@x", "\t=1", "\r=1", "\n=1", "\n", " =1", "\u00a0=1", "\u200b=1", "\ufeff=1", "\x00=1"]
FORMULAS += ["\uff1d1+1", "\uff0bx", "\uff0dx", "\uff20x", "\n\uff1d1", "\ufe661"]


@pytest.mark.parametrize("text", FORMULAS)
def test_a_formula_is_guarded(text: str) -> None:
    assert guard_text(text) == guard_cell(text) == f"'{text}"
    assert guard_cells(["a", text], ".") == ["a", f"'{text}"]


@pytest.mark.parametrize("text", ["", "a", "a=1", "1", " 1", "x-y", "{voltage}", "\u2013"])
def test_another_text_is_left(text: str) -> None:
    assert guard_text(text) == guard_cell(text) == text
    assert guard_cells(["a", text], ".") == ["a", text]


@pytest.mark.parametrize(("text", "decimal"), [("-1.5", "."), (" -1.5", "."), ("+1", "."), ("-1,5", ",")])
def test_a_cell_that_is_a_number_is_left(text: str, decimal: str) -> None:
    assert guard_cell(text, decimal) == text


@pytest.mark.parametrize("template", ["=1+1", "@x", "\uff1d1+1", " =1"])
@pytest.mark.parametrize("way", ["answer", "batch", "sweep"])
def test_no_text_input_comes_back_as_a_formula(client: FlaskClient, way: str, template: str) -> None:
    flight = {**FLIGHT, "caption_template": template}
    if way == "answer":
        answer = client.post("/v1/overlay-cues?format=csv", json=flight)
    elif way == "batch":
        rows = json.dumps([flight])
        answer = client.post("/v1/overlay-cues/batch?format=csv&keep=*", data=rows, content_type="application/json")
    else:
        given = {name: value for name, value in flight.items() if name != "caption_template"}
        body = {"given": given, "vary": {"caption_template": {"values": [template, "b"]}}}
        answer = client.post("/v1/overlay-cues/sweep?format=csv", json=body)
    if way == "sweep" and answer.status_code == 422:
        pytest.skip("a text is not varied")
    assert answer.status_code == 200
    cells = [cell for row in csv.reader(io.StringIO(answer.text, newline="")) for cell in row]
    assert not [cell for cell in cells if cell == template]
