"""The rankings over `batch`: scripts, a shell's line and a notebook, each run as its user runs it."""

import csv
import io
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import nbformat
import pytest
from nbclient import NotebookClient

from clients.running import environment, need
from gramwatt import calculate


def packs(examples: Path) -> list[dict[str, Any]]:
    with (examples / "batch" / "packs.csv").open(encoding="utf-8", newline="") as file:
        return [{n: v if n == "name" else float(v) for n, v in row.items()} for row in csv.DictReader(file)]


def run(examples: Path, *words: str) -> str:
    ran = subprocess.run(
        words,
        cwd=examples / "batch",
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=environment(PYTHONUTF8="1"),
        timeout=120,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    return ran.stdout


def flight(pack: dict[str, Any]) -> dict[str, Any]:
    power = calculate("hover-power", mass=182 + pack["pack_mass"], diameter=3, motors=4)["results"]["pack_power"]
    found = calculate("endurance", cells=int(pack["cells"]), capacity=pack["capacity"], mean_power=power)["results"]
    return {**found, "mean_power": power}


def punch(pack: dict[str, Any]) -> dict[str, Any]:
    given: dict[str, Any] = {name: pack[name] for name in ("capacity", "discharge_rating")}
    found: dict[str, Any] = calculate(
        "pack-current", cells=int(pack["cells"]), pack_power=300, state_of_charge=80, **given
    )["results"]
    return found


def test_ranked_with_pandas(service: str, examples: Path) -> None:
    """The library's figures, the longest flight first."""
    printed = run(examples, sys.executable, "rank_with_pandas.py", "packs.csv", "--url", service)
    expected = sorted(
        ((flight(pack), pack["name"]) for pack in packs(examples)), key=lambda each: -each[0]["endurance"]
    )
    lines = printed.splitlines()[1:]
    assert len(lines) == len(expected) == 10
    for line, (found, name) in zip(lines, expected, strict=True):
        assert line.strip().startswith(name)
        cells = line.strip().removeprefix(name).split()
        assert cells[:2] == [f"{found['endurance']:.2f}", f"{found['mean_current']:.2f}"]
        assert cells[2:4] == [found["ended_by"], f"{found['mean_power']:.2f}"]


def test_ranked_with_polars(service: str, examples: Path) -> None:
    """The library's figures, the smallest sag first, with the cautions that concern each."""
    printed = run(examples, sys.executable, "rank_with_polars.py", "packs.csv", "--power", "300", "--url", service)
    found = []
    for pack in packs(examples):
        given = {
            "cells": int(pack["cells"]),
            "capacity": pack["capacity"],
            "discharge_rating": pack["discharge_rating"],
        }
        found.append((calculate("pack-current", pack_power=300, state_of_charge=80, **given)["results"], pack["name"]))
    found.sort(key=lambda each: -each[0]["loaded_cell_voltage"])
    rows = [[cell.strip() for cell in line.split("┆")] for line in printed.splitlines() if line.startswith("│ ")][3:]
    named = [row for row in rows if row[0].strip("│ ")]
    assert [row[0].strip("│ ") for row in named] == [name for _, name in found]
    for row, (answer, _) in zip(named, found, strict=True):
        assert float(row[1]) == pytest.approx(answer["pack_current"], rel=1e-6)
        assert float(row[2]) == pytest.approx(answer["loaded_cell_voltage"], rel=1e-6)
        assert float(row[3]) == pytest.approx(answer["discharge_rating_share"], rel=1e-6)
    assert "over-discharge-rating" in printed


@pytest.mark.client("curl")
def test_a_line_for_a_shell(service: str, examples: Path) -> None:
    """A row each, in order, with the columns that pass through."""
    printed = run(examples, need("sh"), "current.sh", "packs.csv", "300", service)
    rows = list(csv.DictReader(io.StringIO(printed)))
    assert [row["name"] for row in rows] == [pack["name"] for pack in packs(examples)]
    for row, pack in zip(rows, packs(examples), strict=True):
        assert float(row["pack_mass"]) == pack["pack_mass"]
        given = {
            "cells": int(pack["cells"]),
            "capacity": pack["capacity"],
            "discharge_rating": pack["discharge_rating"],
        }
        answer = calculate("pack-current", pack_power=300, state_of_charge=80, **given)["results"]
        assert float(row["pack_current [A]"]) == pytest.approx(answer["pack_current"], rel=5e-4), (
            "four digits were requested"
        )


@pytest.mark.parametrize("script", ["rank_with_pandas.py", "rank_with_polars.py"])
def test_no_service_is_an_error(examples: Path, script: str) -> None:
    ran = subprocess.run(
        [sys.executable, script, "packs.csv", "--url", "http://127.0.0.1:9"],
        cwd=examples / "batch",
        capture_output=True,
        text=True,
        env=environment(),
        check=False,
    )
    assert ran.returncode != 0
    assert ran.stdout == ""


@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")
def test_the_notebook(service: str, examples: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Run from top to bottom by a real kernel: some hundred builds, ranked as the library ranks them, and a figure."""
    monkeypatch.setenv("GRAMWATT_URL", service)
    for name in [each for each in os.environ if each.lower().endswith("_proxy")]:
        monkeypatch.delenv(name)
    notebook: Any = nbformat.read(examples / "batch" / "ranked_builds.ipynb", as_version=4)  # type: ignore[no-untyped-call]
    assert not any(cell.get("outputs") for cell in notebook.cells), "it is committed without its outputs"
    NotebookClient(notebook, timeout=120, kernel_name="python3").execute()
    outputs = [output for cell in notebook.cells for output in cell.get("outputs", ())]
    shown = [output["data"] for output in outputs if "data" in output]
    assert shown[0]["text/plain"] == "320"
    best = shown[1]["text/html"].split("<tr>")[1]
    found = {}
    for cells in (2, 3, 4, 6):
        for capacity in range(300, 1800, 75):
            for diameter, dry in {2.5: 96.0, 3.0: 148.0, 3.5: 176.0, 5.0: 262.0}.items():
                mass = dry + 6.2 * 3.7 * cells * capacity / 1000
                power = calculate("hover-power", mass=mass, diameter=diameter, motors=4)["results"]["pack_power"]
                answer = calculate("endurance", cells=cells, capacity=capacity, mean_power=1.2 * power)["results"]
                found[f"{diameter:g} in, {cells} x {capacity} mAh"] = answer["endurance"]
    longest = max(found, key=lambda name: found[name])
    assert longest in best
    assert f"{found[longest]:.6f}" in best
    assert any("image/png" in output.get("data", {}) for output in outputs)
