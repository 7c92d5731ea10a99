"""Pictures on the command line: the service's own, to a file or a pipe."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from flask.testing import FlaskClient

from gramwatt.__main__ import main
from gramwatt.engine import registry
from gramwatt.web import create_app

INPUTS = ("pack-current", "cells=6", "capacity=1300", "pack_power=700")
URL = "/v1/pack-current/chart?cells=6&capacity=1300&pack_power=700"
SWEEP = ("endurance", "cells=6", "capacity=1300", "--vary", "mean_power=50:400:8")


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return create_app().test_client()


def run(*arguments: str, body: bytes | None = None) -> Result:
    return CliRunner().invoke(main, ("chart", *arguments), input=body)


@pytest.mark.parametrize("ending", ["svg", "png", "txt"])
def test_a_file_is_what_the_service_draws(client: FlaskClient, tmp_path: Path, ending: str) -> None:
    out = tmp_path / f"amps.{ending}"
    assert run(*INPUTS, "-o", str(out)).exit_code == 0
    assert out.read_bytes() == client.get(f"{URL}&format={ending}").data


def test_looks_and_units(client: FlaskClient, tmp_path: Path) -> None:
    out = tmp_path / "amps"
    look = ("--theme", "dark", "--shape", "narrow", "--ground", "clear", "--scale", "2", "--units", "pack_current:mA")
    assert run(*INPUTS, *look, "--format", "png", "-o", str(out)).exit_code == 0
    query = "&theme=dark&shape=narrow&ground=clear&scale=2&units=pack_current:mA&format=png"
    assert out.read_bytes() == client.get(URL + query).data


def test_to_a_pipe(client: FlaskClient) -> None:
    assert run(*INPUTS, "--format", "txt").stdout_bytes == client.get(f"{URL}&format=txt").data


def test_a_sweep(client: FlaskClient) -> None:
    url = "/v1/endurance/chart?cells=6&capacity=1300&vary=mean_power&from=50&to=400&count=8&format=txt"
    assert run(*SWEEP, "--format", "txt").stdout_bytes == client.get(url).data
    assert run(*SWEEP, "--show", "mean_current", "--format", "txt").stdout.splitlines()[1].count("mean current") == 1
    grid = run("endurance", "cells=6", *SWEEP[3:], "--vary", "capacity=500:3000:6", "--format", "txt")
    assert grid.stdout.splitlines()[1].startswith("Over average power and capacity, flight time is between")


def test_tables_and_recordings(client: FlaskClient) -> None:
    build = dict(registry.load()["build"].examples[0].given)
    drawn = run("build", "--body", "-", "--format", "svg", body=json.dumps(build).encode())
    assert drawn.stdout_bytes == client.post("/v1/build/chart", json=build).data
    log = Path(__file__).resolve().parents[2] / "examples" / "overlay" / "flight.csv"
    flight = run("flight-log", "--log", str(log), "cells=4", "capacity=850", "--format", "txt")
    assert "punch-outs marked: " in flight.stdout


@pytest.mark.parametrize(
    ("arguments", "output_text"),
    [
        pytest.param(INPUTS, "choose a format: --format", id="no-format"),
        pytest.param((*INPUTS, "-o", "amps.gif"), "choose a format: --format", id="another-ending"),
        pytest.param(("pack-curent", "--format", "svg"), "Did you mean pack-current", id="calculator"),
        pytest.param((*INPUTS[:3], "--format", "svg"), "pack_power is required", id="missing"),
        pytest.param((*INPUTS, "--show", "pack_current", "--format", "svg"), "add --vary", id="show-alone"),
        pytest.param((*SWEEP, "--show", "ended_by", "--format", "svg"), "no result that can be drawn", id="no-number"),
        pytest.param(
            (*SWEEP, "--vary", "cells=2,3", "--vary", "reserve=1,2", "--format", "svg"), "3 inputs", id="three"
        ),
        pytest.param(
            (*SWEEP[:3], "--vary", "mean_power=1:9:5000", "--format", "svg"), "up to 2000", id="too-many-points"
        ),
        pytest.param(
            ("endurance", "cells=6", "capacity=9", "mean_power=90000", "--format", "svg"), "nothing to draw", id="nan"
        ),
        pytest.param((*INPUTS, "-o", "nowhere/at/all.svg"), "nowhere", id="no-such-folder"),
    ],
)
def test_a_chart_that_cannot_be_drawn_gives_the_reason(arguments: tuple[str, ...], output_text: str) -> None:
    result = run(*arguments)
    assert result.exit_code == 2
    assert output_text in result.stderr
    assert result.stdout == ""
