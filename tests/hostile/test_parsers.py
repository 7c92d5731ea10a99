"""What reads the text of strangers takes time in proportion to it: patterns, headers, cells, unknown names."""

from __future__ import annotations

import difflib
import os
import re
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from gramwatt.engine import limits
from gramwatt.engine.column_names import split_unit
from gramwatt.engine.recordings import timestamps
from gramwatt.model import parsing
from gramwatt.web import create_app
from pattern_costs import MAX_COST_RATIO, Use, slow_uses

FOLDER = Path(__file__).parent
FLOOR = 0.02
"""Seconds of CPU below which two costs are not compared."""


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    """Return a client of the application, in this process."""
    return create_app().test_client()


def json_of(response: Any) -> Any:
    """Return the JSON of a response."""
    return response.get_json()


def check_linear(build: Callable[[int], object], small: int) -> None:
    """Assert that eight times the size takes less than twenty times the CPU time."""
    costs = []
    for size in (small, 8 * small):
        rounds = []
        for _ in range(3):
            start = time.process_time()
            build(size)
            rounds.append(time.process_time() - start)
        costs.append(min(rounds))
    assert costs[1] < FLOOR or costs[1] < MAX_COST_RATIO * costs[0], costs


def test_every_pattern_is_linear() -> None:
    """In a process of its own: a pattern that does not come back must not hold up the tests."""
    found = subprocess.run(
        [sys.executable, str(FOLDER.parent / "pattern_costs.py")],
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )
    assert (found.returncode, found.stdout, found.stderr) == (0, "", "")


def test_a_quadratic_pattern_is_found() -> None:
    pattern = re.compile(r" *[+-]?[0-9]+,[0-9]+ *[^0-9]*")
    assert [use.where for use, _, _ in slow_uses([Use(pattern, "fullmatch", "here")])] == ["here"]


def test_header_of_a_recording_with_60_000_spaces(client: FlaskClient) -> None:
    def send(spaces: int) -> None:
        body = b"time,voltage" + b" " * spaces + b"x,current\n0,16,8\n1,16,8\n"
        response = client.post("/v1/flight-log/log?cells=4&capacity=850", data=body, content_type="text/csv")
        assert response.status_code == 200  # without the voltage

    check_linear(send, 60_000 // 8)


def test_recording_of_lines_of_commas_before_its_header(client: FlaskClient) -> None:
    """Each of the lines before the header is looked at, for each separator."""
    body = (b"," * 60_000 + b"\n") * 100 + b"time,voltage,current\n0,16,8\n1,16,8\n"
    start = time.process_time()
    client.post("/v1/flight-log/log?cells=4&capacity=850", data=body, content_type="text/csv")
    long = time.process_time() - start
    plain = body.replace(b",,", b"xx")
    start = time.process_time()
    client.post("/v1/flight-log/log?cells=4&capacity=850", data=plain, content_type="text/csv")
    assert long < MAX_COST_RATIO * max(time.process_time() - start, FLOOR)


def test_header_of_a_table_with_250_000_spaces(client: FlaskClient) -> None:
    def send(spaces: int) -> None:
        body = b"cells,capacity" + b" " * spaces + b"[mAh] x\n6,1300\n"
        response = client.post("/v1/pack-energy/batch", data=body, content_type="text/csv")
        assert response.status_code == 422

    check_linear(send, 250_000 // 8)


def test_cell_with_100_000_spaces(client: FlaskClient) -> None:
    def send(spaces: int) -> None:
        body = b"cells,capacity\n6,1 x" + b" " * spaces + b"y\n"
        response = client.post("/v1/pack-energy/batch?format=json", data=body, content_type="text/csv")
        assert response.status_code == 200
        assert "too long for a number" in json_of(response)[0]["error"]["detail"]

    check_linear(send, 100_000 // 8)


def test_time_with_spaces_before_what_is_no_zone(client: FlaskClient) -> None:
    check_linear(lambda size: timestamps.parse_clock_times(["12:34:56" + " " * size + "x"]), 20_000)


@pytest.mark.parametrize("middle", [" ", "\t", "a "])
def test_accept_header_of_spaces(client: FlaskClient, middle: str) -> None:
    def send(size: int) -> None:
        accept = "a" + middle * (size // len(middle)) + "x"
        response = client.get("/v1/pack-energy?cells=6&capacity=1300", headers={"Accept": accept})
        assert response.status_code == 406

    check_linear(send, 8_000)


@pytest.mark.parametrize("name", ["If-None-Match", "Content-Type", "Host", "Cookie", "Cache-Control", "X-Request-ID"])
@pytest.mark.parametrize("piece", [" ", '"', ",", "a ", '""', "W/", ";=", "\\"])
def test_other_headers(client: FlaskClient, name: str, piece: str) -> None:
    def send(size: int) -> None:
        headers = {"Content-Type": "application/json", name: "a" + piece * (size // len(piece)) + "x"}
        client.post("/v1/pack-energy", data=b'{"cells":6,"capacity":1300}', headers=headers)

    check_linear(send, 8_000)


@pytest.mark.parametrize(
    ("name", "parts"),
    [
        pytest.param("voltage [V]", ("voltage", "V"), id="plain"),
        pytest.param(" voltage  [ V ] ", ("voltage", "V"), id="spaces"),
        pytest.param("a[b] [V]", ("a[b]", "V"), id="the-last-brackets"),
        pytest.param("a [[V]", ("a [", "V"), id="a-bracket-before"),
        pytest.param("a [V]]", ("a [V]]", None), id="a-bracket-behind"),
        pytest.param("a [V] b", ("a [V] b", None), id="something-behind"),
        pytest.param("a\nb [V]", ("a\nb [V]", None), id="two-lines"),
        pytest.param("[V]", ("", "V"), id="a-unit-alone"),
        pytest.param("a []", ("a", ""), id="an-empty-unit"),
        pytest.param("a (mA)", ("a", "mA"), id="parentheses"),
        pytest.param("a(b) (mA)", ("a(b)", "mA"), id="the-last-parentheses"),
        pytest.param("a (b) [V]", ("a (b)", "V"), id="both"),
        pytest.param("a (V]", ("a (V]", None), id="of-two-kinds"),
        pytest.param("a )", ("a )", None), id="closed-alone"),
    ],
)
def test_unit_in_a_name(name: str, parts: tuple[str, str | None]) -> None:
    assert split_unit(name) == parts


@pytest.fixture
def compared(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return the words that are compared with known ones during a test."""
    words: list[str] = []

    def note(word: str, known: object, **options: object) -> list[str]:
        words.append(word)
        return []

    monkeypatch.setattr(difflib, "get_close_matches", note)
    return words


def test_few_unknown_names_of_a_request_are_compared(client: FlaskClient, compared: list[str]) -> None:
    response = client.post("/v1/pack-energy", json={f"name{at}": 1 for at in range(5000)})
    errors = json_of(response)["errors"]
    assert response.status_code == 422
    assert len(compared) == limits.MAX_COMPARED_NAMES
    assert len(errors) <= 100
    assert errors[-1]["detail"] == f"{5000 - limits.MAX_LISTED_NAMES} more unknown names"


def test_few_unknown_names_of_a_table_in_a_request_are_compared(client: FlaskClient, compared: list[str]) -> None:
    flights = [{f"name{row}_{at}": 1 for at in range(1000)} for row in range(50)]
    response = client.post("/v1/build", json={"parts": flights})
    assert response.status_code == 422
    assert len(compared) <= 2 * limits.MAX_COMPARED_NAMES


@pytest.mark.parametrize("form", ["csv", "ndjson", "json"])
def test_few_unknown_columns_are_compared(client: FlaskClient, compared: list[str], form: str) -> None:
    names = [f"name{at}" for at in range(150)]
    row = "{" + ",".join(f'"{name}":1' for name in names) + "}"
    bodies = {
        "csv": ",".join(names) + "\n" + ",".join("1" * len(names)) + "\n",
        "ndjson": (row + "\n") * 2000,
        "json": f"[{','.join([row] * 2000)}]",
    }
    media = {"csv": "text/csv", "ndjson": "application/x-ndjson", "json": "application/json"}
    client.post("/v1/pack-energy/batch", data=bodies[form], content_type=media[form])
    assert len(compared) <= limits.MAX_COMPARED_NAMES


@pytest.mark.parametrize("cell", ["1 unit{}", "{} mAh 1"])
def test_few_cells_of_a_column_are_compared(client: FlaskClient, compared: list[str], cell: str) -> None:
    body = "cells,capacity\n" + "".join(f"6,{cell.format(at)}\n" for at in range(10_000))
    response = client.post("/v1/pack-energy/batch", data=body, content_type="text/csv")
    assert response.status_code == 200
    assert len(compared) <= limits.MAX_COMPARED_NAMES


def test_long_names_are_not_compared(client: FlaskClient, compared: list[str]) -> None:
    response = client.post("/v1/pack-energy", json={"cells" * 20: 1})
    assert response.status_code == 422
    assert compared == []


def test_first_unknown_names_have_near_matches(client: FlaskClient) -> None:
    response = client.post("/v1/pack-energy", json={"cels": 6, **{f"name{at}": 1 for at in range(500)}})
    assert any("did you mean cells?" in error["detail"] for error in json_of(response)["errors"])


@pytest.mark.parametrize(
    "text",
    ["1 " + " " * 40 + "x", "1,1" + " " * 40 + "1", "+", "1 ± 2 V", "1.3 Ah ", " 1 +/- 0.1  Ah", "1 x y"],
)
def test_a_cell_means_what_it_meant(text: str) -> None:
    """The pattern that went back and forth, and the one in its place."""
    number = parsing.NUMBER
    before = re.compile(rf" *({number})(?: *(?:±|\+?/-|\+-) *({number}))? *([^0-9 .,+±-].*?)? *", re.ASCII)
    old, new = before.fullmatch(text), parsing.QUANTITY.fullmatch(text)
    assert (old and old.groups()) == (new and new.groups())


def test_json_of_too_many_names(client: FlaskClient) -> None:
    body = b"{" + b",".join(b'"%d":1' % at for at in range(limits.MAX_JSON_NAMES + 1)) + b"}"
    response = client.post("/v1/flight-log", data=body, content_type="application/json")
    assert response.status_code == 400
    assert "names" in json_of(response)["detail"]


def test_json_of_too_many_lists(client: FlaskClient) -> None:
    body = b'{"log":{"time":[' + b",".join([b"[]"] * limits.MAX_JSON_CONTAINERS) + b"]}}"
    response = client.post("/v1/flight-log", data=body, content_type="application/json")
    assert response.status_code == 400
    assert "lists" in json_of(response)["detail"]
