"""The comparison of builds, run as a user runs it."""

import csv
import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from clients.running import environment, number
from gramwatt import calculate

PARTS = ("frame", "motors", "electronics", "camera", "pack")
HEADER = "name,cells,capacity,discharge_rating,mean_power,burst_power,frame,motors,electronics,camera,pack,mass_limit"


def compare(examples: Path, *arguments: str) -> "subprocess.CompletedProcess[str]":
    """Run the example."""
    script = examples / "batch" / "compare_builds.py"
    command = [sys.executable, "-X", "utf8", str(script), *arguments]
    return subprocess.run(command, capture_output=True, text=True, encoding="utf-8", env=environment(), timeout=120)


def lines(printed: str) -> list[dict[str, str]]:
    """Parse the printed table; two or more spaces separate its columns."""
    table = printed.split("\n\n")[0].splitlines()
    headings = re.split(r"\s{2,}", table[0].strip())
    return [dict(zip(headings, re.split(r"\s{2,}", row.strip()), strict=False)) for row in table[1:]]


@pytest.fixture(scope="module")
def demonstration(service: str, examples: Path) -> "subprocess.CompletedProcess[str]":
    """Run the example on its own builds."""
    return compare(examples, "--url", service + "/")


def test_figures_are_the_calculators(demonstration: "subprocess.CompletedProcess[str]", examples: Path) -> None:
    """Every figure of every build is what the library gives for it."""
    assert demonstration.returncode == 0, demonstration.stderr
    with (examples / "batch" / "builds.csv").open(encoding="utf-8", newline="") as file:
        builds = list(csv.DictReader(file))
    shown = lines(demonstration.stdout)
    assert [row["build"] for row in shown] == [build["name"] for build in builds]
    assert len(builds) == 5
    for build, row in zip(builds, shown, strict=True):
        flight, burst, mass = answers(build)
        assert row["min"] == f"{flight['endurance']:.1f}"
        assert row["ended by"] == flight["ended_by"]
        assert row["A"] == f"{burst['pack_current']:.1f}"
        assert row["V/cell"] == f"{burst['loaded_cell_voltage']:.2f}"
        assert row["% rating"] == (
            "-" if burst["discharge_rating_share"] is None else f"{burst['discharge_rating_share']:.0f}"
        )
        assert row["g"] == f"{mass['total_mass']:.1f}"
        assert row["g left"] == f"{mass['mass_margin']:.1f}"
        assert row["verdict"] == mass["verdict"]


def answers(build: dict[str, str]) -> tuple[dict[str, Any], dict[str, Any], dict[str, Any]]:
    """Return the library's results for a build: endurance, pack-current, mass-margin."""
    pack: dict[str, Any] = {"cells": int(build["cells"]), "capacity": number(build["capacity"])}
    rating = {"discharge_rating": number(build["discharge_rating"])} if build["discharge_rating"] else {}
    masses = [number(build[part]) for part in PARTS]
    return (
        calculate("endurance", **pack, mean_power=number(build["mean_power"]))["results"],
        calculate("pack-current", **pack, **rating, pack_power=number(build["burst_power"]))["results"],
        calculate("mass-margin", masses=masses, mass_limit=number(build["mass_limit"]))["results"],
    )


def test_cautions_stand_below(demonstration: "subprocess.CompletedProcess[str]") -> None:
    """Each caution appears once; one that concerns a single build names it."""
    foot = demonstration.stdout.split("\n\n")[1].splitlines()
    assert sum("Lithium packs can burn" in line for line in foot) == 1
    assert any("aviation authority" in line for line in foot)
    assert any(line.startswith("! light, bigger pack: The margin of") for line in foot)


def test_columns_are_aligned(demonstration: "subprocess.CompletedProcess[str]") -> None:
    """Numbers end where their heading ends, and verdicts begin where theirs begins."""
    table = demonstration.stdout.split("\n\n")[0].splitlines()
    verdict = table[0].index("verdict")
    margin_ends = table[0].index("g left") + len("g left")
    for row in table[1:]:
        assert row[verdict - 2 : verdict] == "  "
        assert row[verdict] != " "
        assert row[margin_ends - 1].isdigit()


def test_a_bad_row_spoils_no_other(service: str, examples: Path, tmp_path: Path) -> None:
    """A comma in a number, a power beyond the pack and a row too short are notes in their rows."""
    bad = tmp_path / "bad.csv"
    bad.write_text(
        f'{HEADER}\ncomma,6,"1,3 Ah",,200,400,1,2,3,,4,250\ngreedy,6,1300,,200,9000,1,2,3,,4,250\nshort,6\n'
        "good,6,1300,,200,400,1,2,3,,4,250\n",
        encoding="utf-8-sig",
    )
    ran = compare(examples, str(bad), "--url", service)
    comma, greedy, short, good = ran.stdout.split("\n\n")[0].splitlines()[1:]
    assert ran.returncode == 1
    assert "endurance: 1 error: capacity: Write a decimal point" in comma
    assert "240.0  under" in comma
    assert "pack-current: The pack cannot deliver 9000 W" in greedy
    assert f"{calculate('endurance', cells=6, capacity=1300, mean_power=200)['results']['endurance']:.1f}" in greedy
    assert "capacity is required" in short
    assert good.endswith("under")
    assert "Traceback" not in ran.stderr


@pytest.mark.parametrize(
    ("table", "url", "message"),
    [
        (f"{HEADER}\nx,6,1300,,200,400,1,2,3,,4,250\n", "http://127.0.0.1:9", "refused"),
        (f"{HEADER}\nx,6,1300,,200,400,1,2,3,,4,250\n", "localhost", "unknown url type"),
        (HEADER.replace(",", ";"), "http://127.0.0.1:9", "no column named name"),
    ],
)
def test_no_table_or_service_is_one_line(examples: Path, tmp_path: Path, table: str, url: str, message: str) -> None:
    """No service or no usable table: one line on standard error, and status 2."""
    file = tmp_path / "builds.csv"
    file.write_text(table, encoding="utf-8")
    ran = compare(examples, str(file), "--url", url)
    assert (ran.returncode, ran.stdout) == (2, "")
    assert message in ran.stderr
    assert len(ran.stderr.splitlines()) == 1


def test_variations_of_one_craft(service: str, examples: Path) -> None:
    """Each row is the library's for the same craft, pack and propeller; the margins differ by the part left out."""
    script = examples / "batch" / "vary_craft.py"
    command = [sys.executable, "-X", "utf8", str(script), "--url", service, "--without", "camera"]
    ran = subprocess.run(command, capture_output=True, text=True, encoding="utf-8", env=environment(), timeout=120)
    assert ran.returncode == 0, ran.stderr
    craft = json.loads((examples / "craft" / "craft.json").read_bytes())
    driven, weighed = (
        [re.split(r"\s{2,}", line) for line in table.splitlines()[1:]] for table in ran.stdout.split("\n\n")
    )
    with (examples / "batch" / "variations.csv").open(encoding="utf-8", newline="") as file:
        variations = list(csv.DictReader(file))
    assert len(driven) == len(variations) == len(craft["packs"]) * len(craft["propellers"])
    for (name, *figures), row in zip(driven, variations, strict=True):
        found = calculate("full-throttle", craft=craft, pack=row["pack"], propeller=row["propeller"])["results"]
        columns = ("pack_current", "loaded_cell_voltage", "discharge_rating_share", "hover_power")
        assert (name, *figures) == (row["name"], *(f"{found[column]:.4g}" for column in columns))
    margins = {name: float(margin) for name, _, margin, _ in weighed}
    assert len(margins) == 2 * len(craft["packs"])
    for pack in craft["packs"]:
        total = calculate("mass-margin", craft=craft, pack=pack["name"])["results"]["mass_margin"]
        assert margins[f"{pack['name']}, all parts"] == pytest.approx(total, abs=0.01)
        assert margins[f"{pack['name']}, without camera"] == pytest.approx(total + 9.1, abs=0.01)  # its mass
    assert list(margins.values()) == sorted(margins.values(), reverse=True)


def test_the_command_in_its_docstring(examples: Path) -> None:
    script = (examples / "batch" / "vary_craft.py").read_text(encoding="utf-8")
    (line,) = (line.strip() for line in script.splitlines() if line.strip().startswith("gramwatt "))
    command = [sys.executable, "-m", *line.split()]
    ran = subprocess.run(
        command, cwd=examples / "batch", capture_output=True, text=True, env=environment(), timeout=120
    )
    assert ran.returncode == 0, ran.stderr
    rows = list(csv.DictReader(ran.stdout.splitlines()))
    assert [row["name"] for row in rows[:2]] == ["6 cells, three blades", "6 cells, two blades"]
    assert not any(row["error"] for row in rows)


def test_an_unknown_pack_is_the_error_of_its_row(service: str, examples: Path, tmp_path: Path) -> None:
    table = tmp_path / "variations.csv"
    table.write_text("name,pack,propeller\nright,6 cells,two blades\nwrong,7 cells,two blades\n", encoding="utf-8")
    command = [sys.executable, "-X", "utf8", str(examples / "batch" / "vary_craft.py"), "--url", service]
    command += [str(examples / "craft" / "craft.json"), str(table)]
    ran = subprocess.run(command, capture_output=True, text=True, encoding="utf-8", env=environment(), timeout=120)
    right, wrong = ran.stdout.splitlines()[1:3]
    assert "7 cells" in wrong
    assert "7 cells" not in right
