"""gramwatt batch as a process: files that appear whole or not at all, signals, terminals, memory."""

from __future__ import annotations

import os
import pty
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

CSV = b"id,cells,pack_power,capacity\na,6,500,1300\nb,4,120.5,850\nc,3,60,450\n"


def run(*arguments: object, body: bytes | None = None) -> Result:
    return CliRunner().invoke(main, ["batch", *map(str, arguments)], input=body)


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    out = tmp_path / "none" / "answers.csv"
    result = run("pack-current", "-", "-o", out, body=CSV)
    assert (result.exit_code, result.stderr) == (2, f"{out}: No such file or directory\n")


def test_a_file_is_replaced_with_its_rights_and_through_its_link(tmp_path: Path) -> None:
    old, link = tmp_path / "answers.csv", tmp_path / "link.csv"
    old.write_text("old", encoding="utf-8")
    old.chmod(0o640)
    link.symlink_to(old)
    assert run("pack-current", "-", "-o", link, body=CSV).exit_code == 0
    assert link.is_symlink()
    assert old.stat().st_mode & 0o777 == 0o640
    assert len(old.read_text(encoding="utf-8").splitlines()) == 4
    assert sorted(tmp_path.iterdir()) == [old, link]


def test_a_table_may_be_replaced_by_its_own_answer(tmp_path: Path) -> None:
    table = tmp_path / "table.csv"
    table.write_bytes(CSV)
    assert run("pack-current", table, "-o", table).exit_code == 0
    assert table.read_text(encoding="utf-8").startswith("id,pack_current [A]")


def test_a_new_file_has_the_rights_that_any_other_would(tmp_path: Path) -> None:
    assert run("pack-current", "-", "-o", tmp_path / "answers.csv", body=CSV).exit_code == 0
    (tmp_path / "other").touch()
    assert (tmp_path / "answers.csv").stat().st_mode == (tmp_path / "other").stat().st_mode


def command(*arguments: object) -> list[str]:
    return [sys.executable, "-m", "gramwatt", "batch", *map(str, arguments)]


@pytest.mark.parametrize(("number", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 143), (signal.SIGHUP, 129)])
def test_an_end_from_outside_leaves_nothing_behind(number: signal.Signals, status: int, tmp_path: Path) -> None:
    out = tmp_path / "answers.csv"
    with subprocess.Popen(
        command("pack-current", "-", "-o", out), stdin=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stdin is not None
        process.stdin.write(CSV + b"d,3,60,450\n" * 800_000)  # more than is read at once, so that rows are written
        process.stdin.flush()
        while not any(path.stat().st_size for path in tmp_path.iterdir()):
            assert process.poll() is None
            time.sleep(0.01)
        process.send_signal(number)
        assert process.wait(60) == status
        assert process.stderr is not None
        assert b"Traceback" not in process.stderr.read()
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("unbuffered", ["", "1"])
def test_a_closed_pipe_prints_no_error(unbuffered: str, tmp_path: Path) -> None:
    environment = {**os.environ, "PYTHONUNBUFFERED": unbuffered}
    table = tmp_path / "table.csv"
    table.write_bytes(CSV + b"d,3,60,450\n" * 300_000)
    with subprocess.Popen(
        command("pack-current", table), stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        assert process.stdout.readline().startswith(b"id,pack_current")
        process.stdout.close()
        assert process.wait(60) == 1
        assert process.stderr.read() == b""


def on_terminal(*arguments: object, stdout: int | None = None) -> str:
    """Return the output of a process whose standard error (and standard output by default) is a terminal."""
    ours, theirs = pty.openpty()
    try:
        out = theirs if stdout is None else stdout
        with subprocess.Popen(command(*arguments), stdin=subprocess.DEVNULL, stdout=out, stderr=theirs) as process:
            os.close(theirs)
            output_text = b""
            with open(ours, "rb", closefd=False, buffering=0) as terminal:
                try:
                    while piece := terminal.read(65536):
                        output_text += piece
                except OSError:  # the other end is closed
                    pass
            assert process.wait(60) == 0
    finally:
        os.close(ours)
    return output_text.decode()


def test_a_bar_is_shown_on_a_terminal_only(tmp_path: Path) -> None:
    table, out = tmp_path / "table.csv", tmp_path / "answers.csv"
    table.write_bytes(CSV)
    output_text = on_terminal("pack-current", table, "-o", out)
    assert "100%" in output_text
    assert output_text.endswith(f"3 rows computed, 0 invalid: {out}\r\n")
    assert "%" not in on_terminal("pack-current", table, "-o", out, "--no-progress")
    assert "100%" not in on_terminal("pack-current", table)  # where the rows themselves are shown
    piped = subprocess.run(command("pack-current", table, "-o", out, "--progress"), capture_output=True, check=True)
    assert (piped.stdout, piped.stderr.decode()) == (b"", f"3 rows computed, 0 invalid: {out}\n")


def test_a_bar_counts_the_rows_of_a_parquet_file(tmp_path: Path) -> None:
    table = tmp_path / "table.parquet"
    pq.write_table(pa.table({"cells": [6, 4], "pack_power": [500, 120], "capacity": [1300, 850]}), table)
    assert "100%" in on_terminal("pack-current", table, "-o", tmp_path / "answers.parquet")


def test_memory_does_not_grow_with_the_table(tmp_path: Path) -> None:
    """Two million rows of Parquet to Parquet: the columns of inputs and results alone are 250 MB."""
    table = tmp_path / "table.parquet"
    schema = pa.schema({"cells": pa.int64(), "pack_power": pa.float64(), "capacity": pa.float64()})
    with pq.ParquetWriter(table, schema) as writer:
        for _ in range(4):
            power = np.linspace(1, 900, 500_000)
            writer.write_table(pa.table([np.full(500_000, 6), power, np.full(500_000, 1300.0)], schema=schema))
    code = (
        "import resource, subprocess, sys; subprocess.run(sys.argv[1:], check=True); "
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss // 1024)"
    )
    arguments = [sys.executable, "-c", code, *command("pack-current", table, "-o", tmp_path / "answers.parquet")]
    shown = subprocess.run(arguments, capture_output=True, check=True)
    assert pq.read_metadata(tmp_path / "answers.parquet").num_rows == 2_000_000
    assert int(shown.stdout) < 450
