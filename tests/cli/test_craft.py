"""Craft documents on the command line, from the environment, and in the library."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import yaml
from click.testing import CliRunner, Result

from gramwatt import InvalidInput, calculate
from gramwatt.cli.main import main
from gramwatt.engine.craft_files import MAX_YAML_BYTES, InvalidCraftFile, read_craft_file

FILE = Path(__file__).resolve().parents[2] / "examples/craft/craft.json"
CRAFT: dict[str, Any] = json.loads(FILE.read_text("utf-8"))


def run(*arguments: str, env: dict[str, str] | None = None) -> Result:
    return CliRunner().invoke(main, arguments, env={"COLUMNS": "120", **(env or {})})


@pytest.fixture
def yaml_file(tmp_path: Path) -> Path:
    file = tmp_path / "craft.yaml"
    file.write_text(yaml.safe_dump(CRAFT, allow_unicode=True), "utf-8")
    return file


def test_a_calculation_takes_its_inputs_from_a_file(yaml_file: Path) -> None:
    expected = calculate("hover-power", craft=CRAFT, pack="4 cells", motors=6)
    assert expected["from_craft"][0] == "mass"
    for file in (FILE, yaml_file):
        result = run("calc", "hover-power", "--craft", str(file), "pack=4 cells", "motors=6", "--json")
        assert json.loads(result.stdout) == expected
    by_variable = run("calc", "hover-power", "pack=4 cells", "motors=6", "--json", env={"GRAMWATT_CRAFT": str(FILE)})
    assert json.loads(by_variable.stdout) == expected


def test_the_library_takes_a_document_or_a_path(yaml_file: Path) -> None:
    expected = calculate("pack-energy", craft=CRAFT, pack="4 cells")
    assert calculate("pack-energy", craft=str(FILE), pack="4 cells") == expected
    assert calculate("pack-energy", craft=yaml_file, pack="4 cells") == expected
    with pytest.raises(InvalidInput, match=r"pack: There is no row"):
        calculate("pack-energy", craft=FILE, pack="5 cells")


def test_sweeps_tables_and_charts_take_a_craft(tmp_path: Path) -> None:
    craft = ("--craft", str(FILE))
    swept = run("sweep", "full-throttle", "--vary", "kv=1900,2000", "pack=4 cells", *craft, "--to", "json")
    expected = [calculate("full-throttle", craft=CRAFT, pack="4 cells", kv=kv)["results"] for kv in (1900, 2000)]
    assert [row["thrust"] for row in json.loads(swept.stdout)] == [each["thrust"] for each in expected]
    table = tmp_path / "packs.csv"
    table.write_text("pack,kv\n4 cells,1900\n4 cells,2000\n", "utf-8")
    computed = run("batch", "full-throttle", str(table), *craft, "--to", "json")
    assert [row["thrust"] for row in json.loads(computed.stdout)] == [each["thrust"] for each in expected]
    drawn = run("chart", "full-throttle", *craft, "pack=4 cells", "--format", "txt")
    assert drawn.exit_code == 0, drawn.output
    varied = run("chart", "full-throttle", *craft, "--vary", "kv=1900,2000", "--format", "txt")
    assert varied.exit_code == 0, varied.output


def test_a_sweep_has_ranges_only_where_its_points_are_uncertain(tmp_path: Path) -> None:
    file = tmp_path / "craft.json"
    file.write_text('{"cells": 4, "capacity": "1300 ± 50"}', "utf-8")

    def sweep(vary: str) -> list[dict[str, Any]]:
        rows: list[dict[str, Any]] = json.loads(
            run("sweep", "pack-energy", "--craft", str(file), "--vary", vary, "--to", "json").stdout
        )
        return rows

    assert all(row["usable_energy_u"] > 0 for row in sweep("reserve=10,20"))
    assert all("usable_energy_u" not in row for row in sweep("capacity=1000,1300"))


def test_a_sweep_reports_each_error_of_a_craft_once(tmp_path: Path) -> None:
    file = tmp_path / "craft.json"
    file.write_text('{"cells": 99, "capacity": 1300}', "utf-8")
    result = run("sweep", "pack-energy", "--craft", str(file), "--vary", "reserve=10,20")
    assert result.exit_code == 2
    assert result.stderr.count("/craft/cells") == 1, result.stderr


def test_a_report_says_which_rows_it_used() -> None:
    shown = " ".join(run("calc", "full-throttle", "--craft", str(FILE)).stdout.split())
    assert 'From the craft (pack "6 cells", propeller "three blades"): ' in shown


def test_check_lists_every_error_at_once(tmp_path: Path) -> None:
    wrong = {**CRAFT, "kv": "fast", "motorz": 4, "packs": [{"name": "a", "cells": 99}, {"name": "a", "capacity": -1}]}
    file = tmp_path / "wrong.json"
    file.write_text(json.dumps(wrong), "utf-8")
    result = run("craft", "check", str(file))
    assert result.exit_code == 2
    lines = result.stderr.splitlines()
    starts = ("kv: ", "/packs/0/cells: ", "/packs/1/capacity: ", "/packs/1/name: Another row of packs has the name")
    for start in starts:
        assert sum(line.startswith(start) for line in lines) == 1, result.stderr
    assert any('Unknown member of a craft "motorz"; did you mean motors' in line for line in lines)


def test_check_reports_setups_of_one_name(tmp_path: Path) -> None:
    file = tmp_path / "setups.json"
    file.write_text(json.dumps({**CRAFT, "setups": [{"name": "a"}, {"name": "b"}, {"name": "a"}, {}, {}]}), "utf-8")
    result = run("craft", "check", str(file))
    assert result.exit_code == 2
    (line,) = result.stderr.splitlines()[:1]
    assert line.startswith('/setups/2/name: Another row of setups has the name "a"')


def test_check_says_which_calculators_a_craft_is_enough_for() -> None:
    result = run("craft", "check", str(FILE))
    assert result.exit_code == 0, result.output
    assert "no errors" in result.stdout
    (enough,) = [line for line in result.stdout.splitlines() if line.startswith("Enough for")]
    assert "build" in enough
    assert "flight-comparison" not in enough
    for needed in ("endurance also needs mean_power.", "flight-comparison also needs flights.log."):
        assert needed in result.stdout.splitlines()
    for calculator in ("build", "full-throttle", "mass-margin", "pack-energy"):
        assert calculate(calculator, craft=CRAFT)["results"]


def test_show_adds_up_parts_and_packs() -> None:
    """By hand: 112.5 + 4 x 33.2 = 245.3 g; 317.9 + 4 x 4.1 + 156.8 = 491.1 g with the pack of four cells."""
    result = run("craft", "show", str(FILE))
    assert result.exit_code == 0, result.output
    lines = {line.strip().partition("  ")[0]: line.split() for line in result.stdout.splitlines()}
    assert lines["motor"][-1] == "245.3"
    assert lines["straps, screws and pads"][-1] == "317.9"
    assert lines["4 cells"]
    assert any(line.split()[:2] == ["4", "cells"] and line.endswith(" 491.1") for line in result.stdout.splitlines())
    assert "8 ± 1 W" in result.stdout
    assert "_" not in result.stdout.replace("at-most", "")


def test_show_has_every_single_input(tmp_path: Path) -> None:
    file = tmp_path / "craft.json"
    file.write_text('{"kv": 2000, "motors": 4, "mass_limit": "250 g"}')
    lines = run("craft", "show", str(file)).stdout.splitlines()
    assert [line.split() for line in lines if line.startswith("  ")] == [
        ["Motor", "kV", "2000", "rpm/V"],
        ["Motors", "4"],
        ["Mass", "limit", "250", "g"],
    ]


@pytest.mark.parametrize(
    ("name", "text", "reason"),
    [
        ("craft.json", "{", "is not valid JSON"),
        ("craft.json", '{"kv": 1, "kv": 2}', "given more than once"),
        ("craft.json", "[1]", "is an object of inputs"),
        ("craft.yaml", "kv: 1\nkv: 2\n", "given more than once"),
        ("craft.yml", "parts: [", "is not valid YAML"),
        ("craft.yml", "a: &x [1]\nb: *x\n", "alias"),
        ("craft.yml", "packs: !!python/object:os.system {}\n", "is not valid YAML"),
    ],
)
def test_what_is_no_craft_file_is_an_error(tmp_path: Path, name: str, text: str, reason: str) -> None:
    file = tmp_path / name
    file.write_text(text, "utf-8")
    with pytest.raises(InvalidCraftFile, match=reason):
        read_craft_file(file)
    result = run("calc", "pack-energy", "--craft", str(file))
    assert result.exit_code == 2
    assert reason in result.stderr


def test_a_file_that_is_missing_is_named() -> None:
    result = run("craft", "show", "nowhere.json")
    assert (result.exit_code, result.stderr) == (2, "nowhere.json: No such file or directory\n")


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("kv: !motor 1900\n", "line 1: the tag !motor is not supported; remove it"),
        ("kv: 1\nparts: !!set {a}\n", "line 2: the tag !!set is not supported; remove it"),
        ("kv: 1\npitch: 4\nkv: 2\n", "line 3: the name 'kv' is given more than once"),
        ("kv: [1\n", "line 2, column 1: expected ',' or ']', but got '<stream end>'"),
        ("[1, 2]: 3\n", "line 1: a name is text, not a list or an object"),
        ("kv: 1900\n" + "#" * MAX_YAML_BYTES, "YAML may have at most 131072 bytes; save a larger document as JSON"),
    ],
)
def test_what_is_wrong_with_a_yaml_file(tmp_path: Path, text: str, reason: str) -> None:
    file = tmp_path / "craft.yaml"
    file.write_text(text, "utf-8")
    with pytest.raises(InvalidCraftFile) as raised:
        read_craft_file(file)
    assert str(raised.value) == f"{file} is not valid YAML: {reason}"


def test_dates_and_words_in_yaml_are_text(tmp_path: Path) -> None:
    file = tmp_path / "craft.yaml"
    file.write_text("2024-01-01: 2024-01-02\n1: yes\nnames: [a, 2024-01-03 10:00:00, null, 1.5e+3]\n", "utf-8")
    expected = {"2024-01-01": "2024-01-02", "1": True, "names": ["a", "2024-01-03 10:00:00", None, 1500.0]}
    assert read_craft_file(file) == expected
