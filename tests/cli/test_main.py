"""The command line: the results of the service in a terminal, and its errors on standard error."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
from pathlib import Path
from typing import Any, Final

import pytest
from click.testing import CliRunner, Result
from flask.testing import FlaskClient

from fast_yaml import load_yaml
from gramwatt.__main__ import main
from gramwatt.engine import registry
from gramwatt.version import __version__
from gramwatt.web import create_app

PACK = ("calc", "pack-energy", "cells=6", "capacity=1300")


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return create_app().test_client()


def run(*arguments: str, body: bytes | None = None) -> Result:
    return CliRunner().invoke(main, arguments, input=body)


def run_invalid(result: Result) -> str:
    """Return the errors of an invalid command; standard output must be empty."""
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "Traceback" not in result.stderr
    return result.stderr


@pytest.mark.parametrize("more", [(), ("--working",), ("--units", "usable_energy:kJ")], ids=str)
def test_json_is_the_service_s_byte_for_byte(client: FlaskClient, more: tuple[str, ...]) -> None:
    options = {(): "", ("--working",): "&working=true"}.get(more, "&units=usable_energy:kJ")
    served = client.get(f"/v1/pack-energy?cells=6&capacity=1300{options}")
    assert run(*PACK, "--json", *more).stdout_bytes == served.data


def test_a_body_from_standard_input(client: FlaskClient) -> None:
    body = {"parts": [{"name": "frame", "mass": "38.4 ± 0.1 g"}, {"mass": 11.1, "count": 4}], "mass_limit": 250}
    served = client.post("/v1/mass-margin", json=body)
    result = run("calc", "mass-margin", "--json", "--body", "-", body=json.dumps(body).encode())
    assert result.stdout_bytes == served.data


def test_a_body_from_a_file(tmp_path: Path) -> None:
    (tmp_path / "inputs.json").write_text('{"cells": 6, "capacity": "1.3 Ah"}', encoding="utf-8")
    result = run("calc", "pack-energy", "--value", "usable_energy", "--body", str(tmp_path / "inputs.json"))
    assert result.stdout == "23.088\n"


def test_csv_is_the_service_s(client: FlaskClient) -> None:
    served = client.get("/v1/pack-energy?cells=6&capacity=1300&format=csv")
    result = run(*PACK, "--csv")
    assert result.stdout_bytes == served.data
    header, row = csv.reader(io.StringIO(result.stdout_bytes.decode(), newline=""))
    assert row[header.index("usable_energy [Wh]")] == "23.088"


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        pytest.param(("--value", "usable_energy"), "23.088", id="number"),
        pytest.param(("--value", "usable_energy", "--digits", "3"), "23.1", id="digits"),
        pytest.param(("--value", "usable_energy", "--units", "usable_energy:kJ"), "83.1168", id="converted"),
        pytest.param(("--value", "baggage"), "carry-on", id="word"),
    ],
)
def test_one_value(more: tuple[str, ...], expected: str) -> None:
    assert run(*PACK, *more).stdout == f"{expected}\n"


def test_every_error_is_on_standard_error() -> None:
    output = run_invalid(
        run("calc", "pack-energy", "cells=0", "capacity=1_000", "cels=6", "--units", "usable_energy:lb")
    )
    lines = output.splitlines()
    assert [line.split(":")[0] for line in lines] == ["cels", "cells", "capacity", "units"]
    assert "did you mean cells?" in lines[0]
    assert all("accepted: " in line for line in lines)


@pytest.mark.parametrize(
    ("arguments", "expected_text"),
    [
        pytest.param(("calc", "pack-enregy", "cells=6"), "Did you mean pack-energy", id="calculator-misspelt"),
        pytest.param((*PACK, "--value", "usable"), "usable_energy", id="result-misspelt"),
        pytest.param((*PACK, "--value", "specific_energy"), "requires pack mass", id="no-result"),
        pytest.param(("calc", "pack-energy", "cells"), "name=value", id="no-equals-sign"),
        pytest.param((*PACK, "cells=6"), "once", id="an-input-twice"),
        pytest.param((*PACK, "--units", "usable_energy"), "result:unit", id="no-colon"),
        pytest.param((*PACK, "--units", "usable_energy:J,usable_energy:kJ"), "usable_energy", id="a-unit-twice"),
        pytest.param((*PACK, "--body", "-"), "not both", id="words-and-body"),
        pytest.param(("calc", "pack-energy", "--body", "no such file"), "no such file", id="no-such-file"),
        pytest.param(("calc", "mass-margin", "parts=5"), "--body", id="a-table-as-a-word"),
        pytest.param(("calcs",), "did you mean calc?", id="command-misspelt"),
        pytest.param(("pack-energy", "cells=6"), "gramwatt calc pack-energy", id="no-command"),
        pytest.param(("pack-enrgy",), "calc pack-energy", id="no-command-and-misspelt"),
        pytest.param(("xyz",), "choose batch, calc", id="no-such-command"),
        pytest.param((*PACK, "--unit", "a:b"), "--units", id="option-misspelt"),
        pytest.param(("calc",), "Missing argument 'CALCULATOR'", id="no-calculator"),
        pytest.param((*PACK, "--json", "--digits", "3"), "--digits is for text", id="digits-of-json"),
        pytest.param((*PACK, "--csv", "--working"), "--working is for text", id="working-of-csv"),
        pytest.param(
            (*PACK, "--value", "usable_energy", "--working"), "--working is for text", id="working-of-a-value"
        ),
        pytest.param(("serve", "--port", "99999"), "65535", id="no-such-port"),
    ],
)
def test_an_error_suggests_a_fix(arguments: tuple[str, ...], expected_text: str) -> None:
    assert expected_text in run_invalid(run(*arguments, body=b"{}"))


@pytest.mark.parametrize(
    ("body", "expected_text"),
    [
        pytest.param(b"{", "--body: ", id="cut-off"),
        pytest.param(b"[1]", "must be a JSON object", id="no-object"),
        pytest.param(b'{"cells": NaN}', "NaN", id="nan"),
        pytest.param(b'{"cells": 6, "cells": 6}', "more than once", id="a-name-twice"),
        pytest.param(b'{"cells": "6"}', "capacity", id="every-fault-of-a-body"),
    ],
)
def test_an_invalid_body_is_an_error(body: bytes, expected_text: str) -> None:
    assert expected_text in run_invalid(run("calc", "pack-energy", "--body", "-", body=body))


def test_list_names_every_calculator_with_its_inputs_and_results() -> None:
    shown = run("list").stdout
    for name, calculator in registry.load().items():
        assert calculator.summary in shown
        assert f"{', '.join(calculator.input_fields)} -> {', '.join(calculator.result_fields)}" in shown
        assert any(line.startswith(name) for line in shown.splitlines())


def test_contract_is_the_service_s(client: FlaskClient, tmp_path: Path) -> None:
    served = client.get("/openapi.json").get_json()
    assert load_yaml(run("contract").stdout) == served
    assert run("contract", "--write", str(tmp_path / "new")).exit_code == 0
    assert json.loads((tmp_path / "new" / "gramwatt.openapi.json").read_text("utf-8")) == served


def test_version() -> None:
    assert run("--version").stdout == f"gramwatt, version {__version__}\n"


@pytest.mark.parametrize("command", ["serve", "calc", "list", "contract"])
def test_help(command: str) -> None:
    assert command in run("--help").stdout
    assert run(command, "-h").exit_code == 0


def test_as_a_process() -> None:
    """Bytes through a real pipe, whatever the locale."""
    command = [sys.executable, "-m", "gramwatt", "calc", "pack-energy", "cells=6", "capacity=1300 ± 13 mAh"]
    shown = subprocess.run(command, capture_output=True, check=True, env={"PYTHONIOENCODING": "utf-8"})
    assert "22.64 to 23.54" in shown.stdout.decode()
    assert shown.stderr == b""
    failed = subprocess.run([*command, "bogus=1"], capture_output=True, check=False)
    assert (failed.returncode, failed.stdout) == (2, b"")
    assert b"bogus" in failed.stderr


FLIGHT = Path(__file__).resolve().parents[2] / "examples" / "overlay" / "flight.csv"


def test_a_recording_in_a_file(tmp_path: Path) -> None:
    """The result is that of the service for the same file; options choose a value, a format and a column."""
    arguments = ("calc", "flight-log", "--log", str(FLIGHT), "cells=4", "capacity=850")
    shown = CliRunner().invoke(main, [*arguments, "--json"])
    client = create_app().test_client()
    sent = client.post("/v1/flight-log/log?cells=4&capacity=850", data=FLIGHT.read_bytes(), content_type="text/csv")
    assert shown.stdout_bytes == sent.data
    shown = CliRunner().invoke(main, [*arguments, "--column", "current=throttle [%]"])
    assert (shown.exit_code, "not one of A, mA" in shown.output) == (2, True)
    local = tmp_path / "local.csv"
    local.write_bytes(FLIGHT.read_bytes().replace(b",", b";").replace(b".", b","))
    by_comma = CliRunner().invoke(
        main, [*arguments[:3], str(local), "--recording-decimal", ",", *arguments[4:], "--json"]
    )
    assert json.loads(by_comma.output)["results"] == sent.get_json()["results"]
    shown = CliRunner().invoke(
        main, ["calc", "overlay-cues", "--log", str(FLIGHT), "--format", "vtt", "video_offset=2 s"]
    )
    assert shown.output.startswith("WEBVTT\n")


def test_files_as_the_rows_of_a_table(tmp_path: Path) -> None:
    """Each row has the name of its file; inputs of a single flight apply to each, the others to all."""
    for name in ("fresh", "tired"):
        (tmp_path / f"{name}.csv").write_bytes(FLIGHT.read_bytes())
    logs = [word for name in ("fresh", "tired") for word in ("--log", str(tmp_path / f"{name}.csv"))]
    shown = CliRunner().invoke(
        main, ["calc", "flight-comparison", *logs, "cells=4", "capacity=0.85 Ah", "current_scale=1.1", "--json"]
    )
    answer = json.loads(shown.output)
    assert [row["name"] for row in answer["results"]["by_flight"]] == ["fresh", "tired"]
    assert [row["capacity"] for row in answer["given"]["flights"]] == [850, 850]
    assert answer["given"]["current_scale"] == 1.1
    shown = CliRunner().invoke(main, ["calc", "power-fit", *logs, "cells=4", "capacity=850", "mass=250", "--json"])
    assert len(json.loads(shown.output)["results"]["mean_power_by_flight"]) == 2


CRAFT: Final[dict[str, Any]] = {
    "kv": 3000,
    "diameter": 4,
    "pitch": 3,
    "dry_mass": 150,
    "mass_limit": 250,
    "packs": [{"name": "flown", "cells": 4, "capacity": 850, "mass": 99}],
}
RECORDED: Final[dict[str, Any]] = {"cells": 4, "capacity": 850, "mass": 249}


def run_with_logs(inputs: dict[str, Any], folder: Path, *arguments: str) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    """Return the flights and the results of a build whose inputs are in a file, with a recording."""
    body = folder / "inputs.json"
    body.write_text(json.dumps(inputs), encoding="utf-8")
    shown = CliRunner().invoke(
        main, ["calc", "build", "--body", str(body), "--log", str(FLIGHT), *arguments, "--json"], catch_exceptions=False
    )
    assert shown.exit_code == 0, shown.output
    answer = json.loads(shown.output)
    return answer["inputs"]["flights"], answer["results"]


def test_a_recording_beside_the_inputs_of_a_file(tmp_path: Path) -> None:
    """Each way to say which flight it is gives one result: a new row, a row without a recording, a row of a craft.

    Independently, flight-log has the average power of the same file.
    """
    log = CliRunner().invoke(main, ["calc", "flight-log", "--log", str(FLIGHT), "cells=4", "capacity=850", "--json"])
    power = json.loads(log.output)["results"]["mean_power"]
    timed = {**RECORDED, "duration": 3}
    appended = run_with_logs(CRAFT, tmp_path, *(f"{name}={value}" for name, value in RECORDED.items()))
    filled = run_with_logs({**CRAFT, "flights": [RECORDED]}, tmp_path)
    both = run_with_logs({**CRAFT, "flights": [timed, RECORDED]}, tmp_path)
    of_craft = run_with_logs({"craft": {**CRAFT, "flights": [RECORDED]}}, tmp_path)
    by_pack = run_with_logs({"craft": CRAFT}, tmp_path)
    for flights, results in (appended, filled, of_craft, by_pack):
        assert [flight["log"]["samples"] for flight in flights] == [filled[0][0]["log"]["samples"]]
        assert results["by_setup"][0]["mean_power"] == pytest.approx(power, rel=1e-6)
        assert results == filled[1]
    assert ["log" in flight for flight in both[0]] == [False, True]


@pytest.mark.parametrize(
    ("arguments", "output"),
    [
        pytest.param(("pack-energy", "--log", str(FLIGHT)), "takes no recording", id="none is needed"),
        pytest.param(("flight-log", "--log", str(FLIGHT), "--log", str(FLIGHT)), "one recording", id="two of them"),
        pytest.param(("flight-log", "--log", str(FLIGHT), "--column", "volts=a"), "no such channel", id="no channel"),
        pytest.param(("flight-log", "--log", str(FLIGHT), "--column", "voltage=a"), "no column", id="no column"),
        pytest.param(("flight-log", "--log", str(FLIGHT), "--format", "vtt"), "choose json or csv", id="no form"),
        pytest.param(("flight-log", "log=flight.csv"), "does not fit in text", id="as a word"),
        pytest.param(("pack-energy", "cells=6", "capacity=1", "--recording-decimal", ","), "add --log", id="no log"),
    ],
)  # fmt: skip
def test_invalid_recordings(arguments: tuple[str, ...], output: str) -> None:
    shown = CliRunner().invoke(main, ["calc", *arguments])
    assert shown.exit_code == 2
    assert output in shown.output
