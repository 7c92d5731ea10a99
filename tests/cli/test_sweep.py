"""gramwatt sweep: grids of any size, whole or reduced to the best of them, against plain numpy and the library."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pyarrow.parquet as pq
import pytest
from click.testing import CliRunner, Result

from gramwatt import calculate
from gramwatt.__main__ import main
from gramwatt.web import create_app

PACK = ("pack-current", "cells=6", "capacity=1300")


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["sweep", *map(str, arguments)])


def rows_of(result: Result) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(result.stdout_bytes.decode(), newline="")))


def test_a_range_with_both_its_ends_and_the_library_s_values() -> None:
    result = run(*PACK, "--vary", "pack_power=10:400:40")
    rows = rows_of(result)
    assert [float(row["pack_power [W]"]) for row in rows] == pytest.approx(np.linspace(10, 400, 40).tolist(), rel=1e-12)
    for row in rows:
        answer = calculate("pack-current", cells=6, capacity=1300, pack_power=float(row["pack_power [W]"]))
        assert float(row["pack_current [A]"]) == pytest.approx(answer["results"]["pack_current"], rel=1e-10)
    assert (result.exit_code, result.stderr) == (0, "40 points computed, 0 invalid: standard output\n")


def test_it_is_the_service_s_sweep() -> None:
    varied = "vary=pack_power&from=10&to=400&count=40&vary=cells&values=&values=2,3,4"
    url = f"/v1/pack-current/sweep?format=csv&capacity=1300&{varied}"
    served = create_app().test_client().get(url)
    ours = run("pack-current", "capacity=1300", "--vary", "pack_power=10:400:40", "--vary", "cells=2,3,4")
    assert ours.stdout_bytes == served.data


def test_a_list_and_units_and_the_last_varies_fastest() -> None:
    varied = ("--vary", "capacity=1 Ah:2 Ah:2", "--vary", "chemistry=lipo,lihv", "--vary", "pack_power=0.1 kW:300 W:3")
    rows = rows_of(run("pack-current", "cells=6", *varied))
    capacity, power = [row["capacity [mAh]"] for row in rows], [float(row["pack_power [W]"]) for row in rows]
    assert capacity == ["1000.0"] * 6 + ["2000.0"] * 6
    assert [row["chemistry"] for row in rows] == (["lipo"] * 3 + ["lihv"] * 3) * 2
    assert power == pytest.approx([100, 200, 300] * 4, rel=1e-12)


def test_points_out_of_bounds_say_so_and_the_status_too() -> None:
    result = run(*PACK, "--vary", "pack_power=100:-100:3")
    assert result.exit_code == 1
    assert result.stderr.startswith("2 points computed, 1 invalid")
    assert [bool(row["error"]) for row in rows_of(result)] == [False, False, True]


@pytest.mark.parametrize("least", [False, True])
def test_the_best_are_those_that_numpy_finds(least: bool) -> None:
    """The current solves I (U - I R) = P; here R = 69.2307692308 mohm x 1300 mAh / capacity."""
    varied = ("--vary", "pack_power=10:700:400", "--vary", "capacity=500:3000:251")
    result = run("pack-current", "cells=6", *varied, "--best", "7", *(["--ascending"] if least else []))
    power, capacity = np.meshgrid(np.linspace(10, 700, 400), np.linspace(500, 3000, 251), indexing="ij")
    one = calculate("pack-current", cells=6, capacity=1300, pack_power=1)["results"]
    resistance = one["pack_resistance"] / 1000 * 1300 / capacity
    voltage = one["open_circuit_voltage"]
    current = (voltage - np.sqrt(voltage**2 - 4 * resistance * power)) / (2 * resistance)
    key = (current if least else -current).ravel()
    best = np.argsort(key, kind="stable")[:7]
    rows = rows_of(result)
    assert [float(row["pack_current [A]"]) for row in rows] == pytest.approx(current.ravel()[best].tolist(), rel=1e-9)
    assert [float(row["pack_power [W]"]) for row in rows] == pytest.approx(power.ravel()[best].tolist(), rel=1e-9)
    assert [float(row["capacity [mAh]"]) for row in rows] == pytest.approx(capacity.ravel()[best].tolist(), rel=1e-9)
    assert result.stderr == "100,400 points computed, 0 invalid: the best 7 by pack_current in standard output\n"


def test_of_equals_the_earlier_point_comes_first() -> None:
    result = run(*PACK, "--vary", "pack_power=1:100:50000", "--best", "3", "--by", "maximum_pack_power")
    assert [float(row["pack_power [W]"]) for row in rows_of(result)] == pytest.approx(
        np.linspace(1, 100, 50000)[:3].tolist(), rel=1e-11
    )


def test_points_without_an_answer_are_never_best() -> None:
    result = run(*PACK, "--vary", "pack_power=1000:50000:1000", "--best", "500", "--ascending")
    rows = rows_of(result)
    assert 0 < len(rows) < 100
    assert all(row["pack_current [A]"] for row in rows)


def test_no_point_with_an_answer() -> None:
    result = run(*PACK, "--vary", "pack_power=40000:50000:10", "--best", "5")
    assert (result.exit_code, rows_of(result)) == (0, [])
    assert result.stdout.startswith("pack_power [W],pack_current [A]")


def test_a_list_of_parts_is_no_argument() -> None:
    output = run("mass-margin", "parts=5", "--vary", "mass_limit=100:300:5")
    assert (output.exit_code, output.stdout) == (2, "")
    assert "parts: " in output.stderr


@pytest.mark.parametrize("suffix", [".csv", ".ndjson", ".json", ".parquet"])
def test_every_way_to_write_holds_every_point(suffix: str, tmp_path: Path) -> None:
    out = tmp_path / f"grid{suffix}"
    result = run(*PACK, "--vary", "pack_power=1:500:70000", "-o", out, "--uncertainty")
    assert (result.exit_code, result.stdout) == (0, "")
    frame: Any
    match suffix:
        case ".csv":
            frame = pl.read_csv(out)
            frame = frame.rename({name: name.partition(" [")[0] for name in frame.columns})
        case ".ndjson":
            frame = pl.read_ndjson(out, infer_schema_length=None)
        case ".json":
            frame = pl.DataFrame(json.loads(out.read_bytes()), infer_schema_length=None)
        case _:
            frame = pl.from_arrow(pq.read_table(out))
    assert frame.height == 70_000
    assert frame["pack_power"].to_list() == pytest.approx(np.linspace(1, 500, 70_000).tolist(), rel=1e-11)
    assert (frame["pack_current_u"] > 0).all()
    assert (frame["pack_current_low"] < frame["pack_current_high"]).all()
    assert [path.name for path in tmp_path.iterdir()] == [out.name]


@pytest.mark.parametrize(
    ("arguments", "expected_text"),
    [
        pytest.param(("pack-curent", "--vary", "pack_power=1:2:3"), "Did you mean pack-current", id="calculator"),
        pytest.param(PACK, "--vary", id="nothing-varied"),
        pytest.param((*PACK, "--vary", "pack_power"), "name=value", id="no-value"),
        pytest.param((*PACK, "--vary", "pack_powr=1:2:3"), "did you mean pack_power", id="input"),
        pytest.param((*PACK, "--vary", "pack_power=1:2:1"), "2 points or more", id="one-point"),
        pytest.param((*PACK, "--vary", "pack_power=1:2:x"), "not a number of points", id="no-count"),
        pytest.param((*PACK, "--vary", "pack_power=1:many:3"), "pack_power: Enter a number", id="no-end"),
        pytest.param((*PACK, "--vary", "pack_power=1:2:3", "--vary", "pack_power=3,4"), "once", id="twice"),
        pytest.param(
            (*PACK, "--vary", "cells=2,3", "pack_power=5"), "cells is both given and varied", id="given-and-varied"
        ),
        pytest.param((*PACK, "--vary", "chemistry=1:2:3"), "chemistry cannot vary over a range", id="no-range"),
        pytest.param(("pack-current", "cells=6", "--vary", "pack_power=1:2:3"), "capacity is required", id="missing"),
        pytest.param((*PACK, "cels=6", "--vary", "pack_power=1:2:3"), "did you mean cells", id="unknown-input"),
        pytest.param((*PACK, "--vary", "pack_power=1:2:3", "--best", "2", "--by", "curent"), "pack_current", id="by"),
        pytest.param((*PACK, "--vary", "pack_power=1:2:3", "--best", "0"), "0", id="best-of-none"),
        pytest.param((*PACK, "--vary", "pack_power=1:2:3", "--ascending"), "--best", id="ascending-without-best"),
        pytest.param(
            (*PACK, "--vary", "pack_power=1:2:3", "--to", "json", "--decimal", ","), "for CSV", id="no-decimal"
        ),
        pytest.param((*PACK, "--vary", f"pack_power=1:2:{10**15}", "--vary", "cells=2,3"), "points", id="too-many"),
    ],
)
def test_an_invalid_command_lists_every_error(arguments: tuple[str, ...], expected_text: str, tmp_path: Path) -> None:
    result = run(*arguments, "-o", tmp_path / "out.csv")
    assert (result.exit_code, result.stdout) == (2, "")
    assert expected_text in result.stderr
    assert "Traceback" not in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_ten_million_points_are_never_held(tmp_path: Path) -> None:
    """Their columns would be 80 MB each, and there are a dozen."""
    code = (
        "import resource, subprocess, sys; subprocess.run(sys.argv[1:], check=True); "
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss // 1024)"
    )
    varied = ("--vary", "pack_power=10:900:4000", "--vary", "capacity=500:3000:2500")
    arguments = [sys.executable, "-m", "gramwatt", "sweep", "pack-current", "cells=6", *varied, "--best", "5"]
    command = [sys.executable, "-c", code, *arguments, "-o", str(tmp_path / "best.csv")]
    shown = subprocess.run(command, capture_output=True, check=True)
    assert shown.stderr.startswith(b"10,000,000 points computed, 0 invalid: the best 5 by pack_current in ")
    assert int(shown.stdout) < 250
    assert len((tmp_path / "best.csv").read_bytes().splitlines()) == 6
