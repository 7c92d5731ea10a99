"""gramwatt batch --jobs: processes on this machine, killed, stopped or left alone in the midst of a run."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from click.testing import CliRunner, Result

from gramwatt.__main__ import main
from partitions.part_folders import contents, recorded
from partitions.pools import pool_of, wait_until_gone

PARTS = 60
ROWS = 2_000
BATCH = ("batch", "pack-current", "--set", "cells=6", "--set", "capacity=1300", "--rows-per-part", str(ROWS))


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in arguments])


@pytest.fixture(scope="module")
def table(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("pool") / "table.parquet"
    power = np.linspace(10, 900, PARTS * ROWS)
    pq.write_table(pa.table({"id": np.arange(PARTS * ROWS), "pack_power": power}), path, row_group_size=ROWS)
    return path


@pytest.fixture(scope="module")
def expected(table: Path) -> dict[str, bytes]:
    """Return the parts as this process writes them."""
    folder = table.parent / "alone"
    assert run(*BATCH, table, "-o", f"{folder}/").exit_code == 0
    return contents(folder)


def begun(table: Path, folder: Path) -> subprocess.Popen[bytes]:
    """Return a run on two processes of which some parts are done."""
    arguments = [sys.executable, "-m", "gramwatt", *BATCH, str(table), "-o", f"{folder}/", "--jobs", "2"]
    process = subprocess.Popen(arguments, stderr=subprocess.PIPE, start_new_session=True)
    while recorded(folder) <= 3:
        assert process.poll() is None
        time.sleep(0.005)
    return process


def check_continued(table: Path, folder: Path, expected: dict[str, bytes]) -> None:
    """Check that the same command computes the rest, keeps what is done, and all is as in one process."""
    before = {path.name: path.stat().st_ino for path in folder.glob("part-*")}
    again = run(*BATCH, table, "-o", f"{folder}/")
    assert again.exit_code == 0
    output = again.stderr.removeprefix(f"120,000 rows computed, 0 invalid: {folder}/ ({PARTS} parts, ")
    found = int(output.removesuffix(" of them from an earlier run)\n"))
    assert 3 < found < PARTS
    assert contents(folder) == expected
    assert sum(before.get(path.name) == path.stat().st_ino for path in folder.iterdir()) >= found


def test_two_processes_write_what_one_writes(table: Path, expected: dict[str, bytes], tmp_path: Path) -> None:
    result = run(*BATCH, table, "-o", f"{tmp_path}/out/", "--jobs", "2")
    assert (result.exit_code, result.stdout) == (0, "")
    assert result.stderr == f"120,000 rows computed, 0 invalid: {tmp_path}/out/ ({PARTS} parts)\n"
    assert contents(tmp_path / "out") == expected


def test_a_killed_process_ends_the_run_with_a_line(table: Path, expected: dict[str, bytes], tmp_path: Path) -> None:
    with begun(table, tmp_path / "out") as process:
        pool = pool_of(process)
        assert len(pool) == 2
        os.kill(pool[0], signal.SIGKILL)
        assert process.stderr is not None
        output_text = process.stderr.read().decode()
        assert process.wait(60) == 2
    done = output_text.removeprefix("a worker process ended: killed, or out of memory; ")
    assert int(done.partition(f" of {PARTS} parts written: run the same command again to continue\n")[0]) > 3
    check_continued(table, tmp_path / "out", expected)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_stopped_run_continues(
    number: signal.Signals, table: Path, expected: dict[str, bytes], tmp_path: Path
) -> None:
    with begun(table, tmp_path / "out") as process:
        pool = pool_of(process)
        os.killpg(process.pid, number)  # as a terminal does: to the pool as well
        assert process.stderr is not None
        output_text = process.stderr.read().decode()
        assert process.wait(60) == 128 + number
    assert output_text.startswith("interrupted; ")
    assert output_text.endswith(f" of {PARTS} parts written: run the same command again to continue\n")
    wait_until_gone(pool)
    check_continued(table, tmp_path / "out", expected)


def test_the_pool_ends_with_a_killed_command(table: Path, expected: dict[str, bytes], tmp_path: Path) -> None:
    with begun(table, tmp_path / "out") as process:
        pool = pool_of(process)
        process.kill()
        wait_until_gone(pool)
    check_continued(table, tmp_path / "out", expected)
