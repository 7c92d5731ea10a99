"""Parts on Dask workers, in processes of their own, one of which is killed in the midst; what passes the client."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from click.testing import CliRunner, Result

from gramwatt.__main__ import main
from gramwatt.partitions import cluster
from partitions.counted import Counted
from partitions.dask_workers import Cluster, two_workers, wait_for
from partitions.part_folders import contents, recorded

PARTS = 60
ROWS = 2_000
BATCH = ("batch", "pack-current", "--set", "cells=6", "--set", "capacity=1300", "--rows-per-part", str(ROWS))
MANY = f"{PARTS * ROWS:,} rows computed, 0 invalid: "


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in arguments])


@pytest.fixture(scope="module")
def table(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("shared") / "table.parquet"
    rows = PARTS * ROWS
    columns = {"id": [f"a label as long as people make them: {row}" for row in range(rows)]}
    pq.write_table(pa.table({**columns, "pack_power": np.linspace(10, 900, rows)}), path, row_group_size=ROWS)
    return path


@pytest.fixture(scope="module")
def expected(table: Path) -> dict[str, bytes]:
    """Return the parts as this process writes them."""
    folder = table.parent / "alone"
    assert run(*BATCH, table, "-o", f"{folder}/").exit_code == 0
    return contents(folder)


@contextmanager
def begun(table: Path, folder: Path, address: str) -> Iterator[subprocess.Popen[bytes]]:
    """Make a run of which some parts are done."""
    arguments = [sys.executable, "-m", "gramwatt", *BATCH, str(table), "-o", f"{folder}/", "--scheduler", address]
    with subprocess.Popen(arguments, stderr=subprocess.PIPE) as process:
        wait_for(lambda: recorded(folder) > 5, process)
        yield process


def test_no_row_is_lost_or_doubled_though_a_worker_is_killed(
    table: Path, expected: dict[str, bytes], workers: Cluster, tmp_path: Path
) -> None:
    with begun(table, tmp_path / "out", workers.address) as process:
        workers.workers[0].kill()
        assert workers.workers[0].wait(60) == -signal.SIGKILL
        assert process.stderr is not None
        assert process.stderr.read().decode() == f"{MANY}{tmp_path}/out/ ({PARTS} parts)\n"
        assert process.wait(120) == 0
    assert contents(tmp_path / "out") == expected
    assert pq.read_table(tmp_path / "out")["id"].equals(pq.read_table(table)["id"])


def test_a_run_continues_after_its_client_was_killed(
    table: Path, expected: dict[str, bytes], workers: Cluster, tmp_path: Path
) -> None:
    with begun(table, tmp_path / "out", workers.address) as process:
        process.kill()
    again = run(*BATCH, table, "-o", f"{tmp_path}/out/", "--scheduler", workers.address)
    assert again.exit_code == 0
    output = again.stderr.removeprefix(f"{MANY}{tmp_path}/out/ ({PARTS} parts, ")
    assert 5 < int(output.removesuffix(" of them from an earlier run)\n")) < PARTS
    assert contents(tmp_path / "out") == expected


def test_a_single_file_is_joined_of_what_the_workers_wrote(table: Path, workers: Cluster, tmp_path: Path) -> None:
    alone, joined = tmp_path / "alone.csv", tmp_path / "joined.csv"
    assert run(*BATCH[:-2], table, "-o", alone).exit_code == 0
    result = run(*BATCH[:-1], 20_000, table, "-o", joined, "--scheduler", workers.address)
    assert (result.exit_code, result.stderr) == (0, f"{MANY}{joined} (6 parts)\n")
    assert joined.read_bytes() == alone.read_bytes()
    assert sorted(tmp_path.iterdir()) == [alone, joined]


def test_what_passes_the_client_is_small_whatever_the_rows(table: Path, workers: Cluster, tmp_path: Path) -> None:
    passed = {}
    for parts in (6, 60):
        counted = Counted(workers.address)
        arguments = (*BATCH[:-1], PARTS * ROWS // parts, table, "-o", f"{tmp_path}/{parts}/")
        result = run(*arguments, "--scheduler", counted.address)
        counted.close()
        assert result.stderr == f"{MANY}{tmp_path}/{parts}/ ({parts} parts)\n"
        passed[parts] = counted.bytes
    each = (passed[60] - passed[6]) / 54
    assert each < 8_000, passed
    assert passed[6] < 200_000 < table.stat().st_size


def test_a_run_goes_on_with_a_worker_that_came_after_all_were_gone(workers: Cluster) -> None:
    def killing() -> Iterator[tuple[Any, ...]]:
        for number in range(8):
            if number == 7:
                for worker in workers.workers:
                    worker.kill()
                    worker.wait()
                workers.join()
            yield (number,)

    with cluster.connect(workers.address) as connected:
        assert sorted(connected.run(abs, killing())) == list(range(8))


def test_no_more_tasks_are_taken_than_are_under_way(workers: Cluster) -> None:
    taken = 0

    def counting() -> Iterator[tuple[Any, ...]]:
        nonlocal taken
        for number in range(40):
            taken += 1
            yield (number,)

    with cluster.connect(workers.address) as connected:
        for done, _ in enumerate(connected.run(abs, counting()), 1):
            assert taken - done < 2 * 2 + 2 + 1
    assert taken == 40


def test_a_task_that_keeps_failing_ends_the_run(workers: Cluster) -> None:
    fails = pytest.raises(cluster.ClusterError, match="keeps failing on the workers: ValueError: invalid")
    with cluster.connect(workers.address) as connected, fails:
        list(connected.run(int, [("x",)]))


def test_a_table_that_a_worker_does_not_see_is_named(table: Path, workers: Cluster, tmp_path: Path) -> None:
    gone = tmp_path / "gone"

    class Elsewhere(cluster.Cluster):
        def run(self, function: Callable[..., Any], tasks: Any) -> Iterator[Any]:
            for path in gone.iterdir():  # as on a machine that does not share the folder
                path.unlink()
            gone.rmdir()
            return super().run(function, tasks)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(cluster, "Cluster", Elsewhere)
        result = run(*BATCH, table, "-o", f"{gone}/", "--scheduler", workers.address)
    assert result.exit_code == 2
    assert result.stderr.startswith(f"{gone}/part-000")
    assert f": No such file or directory (on {socket.gethostname()}); 0 of {PARTS} parts written" in result.stderr


@pytest.mark.heavy
def test_a_part_that_kills_its_workers_ends_the_run(tmp_path: Path) -> None:
    with two_workers(tmp_path) as made:
        for _ in range(3):
            made.join()
        with cluster.connect(made.address) as connected:
            wait_for(lambda: connected.threads == 5, made.scheduler)
            with pytest.raises(cluster.ClusterError, match="a part keeps failing on the workers: Killed"):
                list(connected.run(os._exit, [(3,)]))


@pytest.mark.heavy
def test_a_run_without_workers_or_scheduler_is_given_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster, "NO_WORKER_TIMEOUT", 1)
    with two_workers(tmp_path) as made:

        def killing() -> Iterator[tuple[Any, ...]]:
            for worker in made.workers:
                worker.kill()
                worker.wait()
            yield (1,)

        def ending() -> Iterator[tuple[Any, ...]]:
            made.scheduler.kill()
            made.scheduler.wait()
            yield (1,)

        with cluster.connect(made.address) as connected:
            monkeypatch.setattr(cluster, "CONNECT_TIMEOUT", 2)
            with pytest.raises(cluster.ClusterError, match="has had no worker for"):
                list(connected.run(abs, killing()))
        monkeypatch.undo()
        made.complete()
        with (
            cluster.connect(made.address) as connected,
            pytest.raises(cluster.ClusterError, match="no longer responds"),
        ):
            list(connected.run(abs, ending()))
