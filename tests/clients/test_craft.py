"""examples/craft: one craft document and one recording answer the whole job by two requests."""

from __future__ import annotations

import itertools
import json
import re
import shlex
import subprocess
import textwrap
import urllib.parse
import urllib.request
from typing import Any

import pytest
from click.testing import CliRunner

from clients.running import EXAMPLES, environment
from gramwatt.cli.main import main

CRAFT = EXAMPLES / "craft" / "craft.json"
FLIGHT = EXAMPLES / "overlay" / "flight.csv"


def post(url: str, body: bytes, media: str = "application/json") -> Any:
    with urllib.request.urlopen(urllib.request.Request(url, body, {"Content-Type": media}), timeout=60) as response:
        return json.load(response)


@pytest.fixture(scope="module")
def craft() -> Any:
    return json.loads(CRAFT.read_bytes())


@pytest.fixture(scope="module")
def built(service: str, craft: Any) -> Any:
    """Return the response of build, the first of the two requests."""
    return post(f"{service}/v1/build", json.dumps({"craft": craft}).encode())


@pytest.fixture(scope="module")
def flown(service: str, craft: Any, built: Any) -> Any:
    """Return the response of flight-log, the second, with what build predicted for the setup that was flown."""
    four = built["results"]["by_setup"][0]
    query = {
        "craft": json.dumps(craft),
        "pack": "4 cells",
        "predicted_mean_power": four["mean_power"],
        "predicted_endurance": four["endurance"],
        "predicted_peak_current": four["pack_current"],
    }
    url = f"{service}/v1/flight-log/log?{urllib.parse.urlencode(query)}"
    return post(url, FLIGHT.read_bytes(), "text/csv")


def find_setup(built: Any, name: str) -> Any:
    (setup,) = (each for each in built["results"]["by_setup"] if each["name"] == name)
    return setup


def test_the_setups_of_the_craft_are_compared(built: Any, craft: Any) -> None:
    assert [each["name"] for each in built["results"]["by_setup"]] == [each["name"] for each in craft["setups"]]
    assert {"parts", "packs", "propellers", "setups", "flights", "mass_limit"} <= set(built["from_craft"])


def test_under_the_limit_with_which_pack(built: Any, craft: Any) -> None:
    """Masses by hand: parts, four propellers, the pack."""
    dry = sum(part["mass"] * part.get("count", 1) for part in craft["parts"]) + 4 * craft["propellers"][0]["mass"]
    packs = {pack["name"]: pack["mass"] for pack in craft["packs"]}
    for setup, pack in (("4 cells", "4 cells"), ("6 cells", "6 cells"), ("6 cells large, capped", "6 cells large")):
        found = find_setup(built, setup)
        assert found["mass"] == pytest.approx(dry + packs[pack], rel=1e-12)
        assert found["mass_margin"] == pytest.approx(craft["mass_limit"] - dry - packs[pack], rel=1e-9)
    verdicts = {each["name"]: each["verdict"] for each in built["results"]["by_setup"]}
    assert [name for name, verdict in verdicts.items() if verdict != "under"] == ["6 cells large, capped"]
    assert any(each["code"] == "over-limit" and "6 cells large" in each["text"] for each in built["cautions"])


def test_minutes_amps_and_sag(built: Any) -> None:
    """Each setup has them with a range that holds the figure, and the power rests on the recorded flight."""
    assert built["results"]["mean_power_source"] == "flights"
    for column in ("endurance", "pack_current", "capped_pack_current", "capped_cell_voltage"):
        uncertainty = built["uncertainty"][f"by_setup.{column}"]
        for at, setup in enumerate(built["results"]["by_setup"]):
            assert uncertainty["low"][at] < setup[column] < uncertainty["high"][at], (column, setup["name"])
    assert 3.0 < find_setup(built, "6 cells")["capped_cell_voltage"] < 4.2


def test_the_cap_matches_the_other_pack(built: Any) -> None:
    """The same rotor speed and propeller give the same thrust, with fewer amps at the higher voltage."""
    four, six, capped = (find_setup(built, name) for name in ("4 cells", "6 cells", "6 cells, capped"))
    assert six["throttle_cap"] == four["throttle_cap"] == 100
    assert 60 < capped["throttle_cap"] < 75  # a rule of thumb, no source: four sixths, more for the sag
    assert capped["capped_thrust"] == pytest.approx(four["capped_thrust"], rel=1e-6)
    assert capped["capped_pack_current"] < four["capped_pack_current"] < six["capped_pack_current"]
    assert six["discharge_rating_share"] > 100 > capped["discharge_rating_share"]
    assert any(
        each["code"] == "over-discharge-rating" and each["text"].startswith("6 cells:") for each in built["cautions"]
    )


def test_a_cold_day_and_another_propeller(built: Any) -> None:
    """A cold pack sags more and flies shorter; a propeller lighter by 0.8 g saves 3.2 g on four motors."""
    four, cold, other = (find_setup(built, name) for name in ("4 cells", "4 cells, cold", "4 cells, two blades"))
    assert cold["capped_cell_voltage"] < four["capped_cell_voltage"]
    assert cold["endurance"] < four["endurance"]
    assert other["mass_change"] == pytest.approx(-3.2, rel=1e-9)
    assert other["capped_pack_current"] != pytest.approx(four["capped_pack_current"], rel=0.01)


def test_what_the_recorded_flight_says(flown: Any, built: Any) -> None:
    """Energy and charge by hand from the file: the trapezoidal rule over the steps of 0.1 s, without the gap of 3 s."""
    assert flown["from_craft"] == ["cells", "capacity", "reserve"]
    rows = [line.split(",") for line in FLIGHT.read_text(encoding="utf-8").splitlines()[1:]]
    points = [(float(t) / 1000, float(v), float(i)) for t, v, i, *_ in rows if i]
    steps = [(a, b) for a, b in itertools.pairwise(points) if 0 < b[0] - a[0] < 1]
    charge = sum((b[0] - a[0]) * (a[2] + b[2]) / 2 for a, b in steps) / 3.6
    energy = sum((b[0] - a[0]) * (a[1] * a[2] + b[1] * b[2]) / 2 for a, b in steps) / 3600
    results = flown["results"]
    assert results["charge_used"] == pytest.approx(charge, rel=2e-3)
    assert results["energy_used"] == pytest.approx(energy, rel=2e-3)
    assert results["charge_used_share"] == pytest.approx(100 * charge / 1300, rel=2e-3), (
        "of the pack in the craft document"
    )
    assert results["peak_current"] == max(current for _, _, current in points)
    four = find_setup(built, "4 cells")
    for name, measured, predicted in (
        ("mean_power_deviation_share", results["mean_power"], four["mean_power"]),
        ("endurance_deviation_share", None, four["endurance"]),
        ("peak_current_deviation_share", results["peak_current"], four["pack_current"]),
    ):
        assert -40 < results[name] < 40
        if measured is not None:
            assert results[name] == pytest.approx(100 * (measured / predicted - 1), rel=1e-9)
    assert len(results["punch_outs"]) == 3, "as make_flight.py invents it"
    assert results["pack_resistance"] == pytest.approx(30, rel=0.05), "mohm, as make_flight.py invents it"


README = (EXAMPLES / "craft" / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"(?:^ {4}.*\n|^\n(?= {4}))+", README, re.MULTILINE)


@pytest.mark.client("curl")
def test_the_curl_commands_of_the_readme(service: str, built: Any, flown: Any) -> None:
    """They give what the tests above look at."""
    commands = [block.replace("http://127.0.0.1:8000", service) for block in BLOCKS if "curl " in block]
    first, second = (
        json.loads(
            subprocess.run(
                ["sh", "-c", command.replace("curl ", "curl -sS ", 1)],
                cwd=EXAMPLES / "craft",
                capture_output=True,
                check=True,
                env=environment(),
            ).stdout
        )
        for command in commands
    )
    assert first == built
    assert second["results"]["energy_used"] == flown["results"]["energy_used"]


def test_the_python_code_of_the_readme(
    built: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(EXAMPLES / "craft")
    (code,) = (textwrap.dedent(block) for block in BLOCKS if "import json" in block)
    exec(compile(code, "README.md", "exec"), {})
    *lines, amps = capsys.readouterr().out.splitlines()
    setups = built["results"]["by_setup"]
    assert lines == [f"{each['name']} {each['verdict']} {each['endurance']}" for each in setups]
    assert float(amps) == pytest.approx(find_setup(built, "6 cells")["pack_current"], rel=1e-9)


def test_the_commands_of_the_readme(built: Any, flown: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """They give what the requests give."""
    monkeypatch.chdir(EXAMPLES / "craft")
    commands = [line.strip() for block in BLOCKS for line in block.splitlines() if line.strip().startswith("gramwatt ")]
    outputs = {}
    for command in commands:
        arguments = shlex.split(command)[1:]
        result = CliRunner().invoke(main, arguments if "--format" in arguments else [*arguments, "--json"])
        assert result.exit_code == 0, result.output
        if "--format" not in arguments:
            outputs[arguments[1]] = json.loads(result.stdout)["results"]
    assert outputs["build"] == built["results"]
    assert outputs["flight-log"]["energy_used"] == flown["results"]["energy_used"]
    assert outputs["fit-out"]["present_mass_margin"] == pytest.approx(-3, rel=1e-9)


def test_the_craft_is_valid() -> None:
    """As `gramwatt craft check` in the README says."""
    result = CliRunner().invoke(main, ["craft", "check", str(CRAFT)])
    assert result.exit_code == 0
    assert "no errors" in result.stdout
