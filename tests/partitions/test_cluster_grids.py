"""Grids on Dask workers; and messages for a scheduler, workers or a library that do not fit."""

from __future__ import annotations

import socket
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from gramwatt.__main__ import main
from gramwatt.engine import registry
from gramwatt.engine.tables import sweep
from gramwatt.engine.tables.compute import compute_batch
from gramwatt.engine.tables.plan import Plan
from gramwatt.engine.tables.ranking import Ranking, select_best
from gramwatt.engine.tables.ranking import merge_best as merged_best
from gramwatt.partitions import cluster
from gramwatt.partitions.job import compute_best_of_part
from gramwatt.partitions.sources import Grid
from gramwatt.partitions.split import split_grid
from partitions.dask_workers import Cluster

PLAN = Plan("pack-current", {"cells": "6", "capacity": "1300"})


def run(*arguments: object, body: bytes | None = None) -> Result:
    return CliRunner().invoke(main, [str(word) for word in arguments], input=body)


RUN_EACH = """
import sys
from gramwatt.__main__ import main
for address in sys.argv[2:]:
    try:
        main(["batch", "pack-current", sys.argv[1], "-o", "out.csv", "--scheduler", address], "gramwatt")
    except SystemExit as ended:
        print(ended.code)
"""


def test_an_address_without_a_scheduler_is_reported_in_a_line(tmp_path: Path) -> None:
    """In a process of its own, to see all that reaches standard error."""
    table = tmp_path / "table.csv"
    table.write_bytes(b"cells,pack_power,capacity\n6,500,1300\n")
    addresses = ["nonsense", "foo://127.0.0.1:1", "tcp://127.0.0.1:1", "", "http://127.0.0.1:8786"]
    command = [sys.executable, "-c", RUN_EACH, str(table), *addresses]
    found = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=True)
    assert found.stdout == "2\n" * len(addresses)
    for address, line in zip(addresses, found.stderr.splitlines(), strict=True):
        assert line.startswith(f"--scheduler {address}: no Dask scheduler responds there: ")
    assert list(tmp_path.iterdir()) == [table]


def test_something_else_that_listens_is_no_scheduler() -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        address = f"tcp://127.0.0.1:{other.getsockname()[1]}"
        arguments = ("sweep", "pack-current", "cells=6", "capacity=1", "--vary", "pack_power=1:2:3", "--best", "1")
        result = run(*arguments, "--scheduler", address)
    assert result.exit_code == 2
    assert "no Dask scheduler responds there" in result.stderr


def test_a_scheduler_without_workers_is_an_error(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster, "CONNECT_TIMEOUT", 1)
    made = Cluster(tmp_path)
    try:
        with pytest.raises(cluster.ClusterError, match="it has no workers"), cluster.connect(made.address):
            pass
    finally:
        made.end()


def test_workers_of_another_version_are_an_error(workers: Cluster, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster, "__version__", "9.9.9")
    other = pytest.raises(cluster.ClusterError, match=r"has Gramwatt .*, but this is 9\.9\.9")
    with other, cluster.connect(workers.address):
        pass


GRID = ("sweep", "pack-current", "cells=6", "--vary", "pack_power=10:900:2000", "--vary", "capacity=500:3000:1300")
DRAWN_GRID = ("sweep", "pack-current", "cells=6", "--vary", "pack_power=10:900:300", "--vary", "capacity=500:3000:200")


@pytest.mark.parametrize(
    ("grid", "more", "points"),
    [
        pytest.param(GRID, (), "2,600,000", id="greatest"),
        pytest.param(GRID, ("--ascending",), "2,600,000", id="ascending"),
        pytest.param(DRAWN_GRID, ("--by", "pack_heat_power", "--uncertainty"), "60,000", id="uncertainty"),
    ],
)
def test_the_best_of_a_grid_are_those_found_alone(
    grid: tuple[str, ...], more: tuple[str, ...], points: str, workers: Cluster
) -> None:
    here = run(*grid, "--best", "25", *more)
    there = run(*grid, "--best", "25", *more, "--scheduler", workers.address)
    assert (there.exit_code, there.stderr) == (0, here.stderr)
    assert there.stderr.startswith(f"{points} points computed, 0 invalid")
    assert len(there.stdout.splitlines()) == 26
    assert there.stdout_bytes == here.stdout_bytes


def test_the_best_of_spans_are_the_best_of_all() -> None:
    calculator = registry.load()["pack-current"]
    axes = [
        sweep.make_even_axis(calculator, name, start, stop, count, text=True)[0]
        for name, start, stop, count in (("pack_power", "10", "900", 300), ("capacity", "500", "3000", 100))
    ]
    known = tuple(axis for axis in axes if axis is not None)
    plan, ranking = Plan("pack-current", {"cells": "6"}), Ranking(9, "pack_current")
    whole = select_best(
        ranking, (piece for chunk in sweep.read_grid(known, text=True) for piece in compute_batch(plan, chunk))
    )
    grid = Grid(known)
    parts = [compute_best_of_part(plan, grid, ranking, part)[1] for part in split_grid(grid, 1000)]
    assert len(parts) == 30
    merged = parts[0]
    for part in reversed(parts[1:]):
        merged = merged_best(ranking, merged, part)
    assert merged.rows.tolist() == whole.rows.tolist()


def test_a_whole_grid_comes_back_in_order(workers: Cluster, tmp_path: Path) -> None:
    arguments = ("sweep", "pack-current", "cells=6", "capacity=1300", "--vary", "pack_power=1:500:300000")
    out = tmp_path / "grid.csv"
    there = run(*arguments, "-o", out, "--scheduler", workers.address, "--rows-per-part", "70000")
    assert (there.exit_code, there.stderr) == (0, f"300,000 points computed, 0 invalid: {out} (5 parts)\n")
    assert out.read_bytes() == run(*arguments).stdout_bytes


def test_without_dask_the_command_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    arguments = ("sweep", "pack-current", "cells=6", "capacity=1", "--vary", "pack_power=1:2:3", "--best", "1")
    result = run(*arguments, "--scheduler", "x:1")
    assert result.exit_code == 2
    assert result.stderr == (
        "Runs on several machines (--scheduler) need distributed, which is not installed: "
        "pip install 'gramwatt[cluster]'\n"
    )
