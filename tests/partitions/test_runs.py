"""gramwatt batch and sweep by parts in this process: folders of parts, single files, runs that continue, refusals."""

from __future__ import annotations

import json
import os
import re
import time
from pathlib import Path
from typing import Any

import dask.dataframe
import numpy as np
import pandas as pd
import polars as pl
import pyarrow as pa
import pyarrow.dataset as ds
import pyarrow.parquet as pq
import pytest
from click.testing import CliRunner, Result

from gramwatt.__main__ import main
from gramwatt.partitions import workers
from gramwatt.partitions.job import SUFFIXES

SHARED = ("--set", "cells=6", "--set", "capacity=1300")
SMALL = ("--rows-per-part", "1000")
GRID = ("pack-current", "cells=6", "capacity=1300", "--vary", "pack_power=10:5000:3500")


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in arguments])


def batch(table: Path, out: object, *more: object) -> Result:
    return run("batch", "pack-current", table, *SHARED, "-o", out, *more)


@pytest.fixture
def table(tmp_path: Path) -> Path:
    """5000 rows in five row groups, two rows invalid."""
    power = np.linspace(10, 900, 5000)
    power[[77, 4321]] = -1
    columns = pa.table({"id": [f"row {row}" for row in range(5000)], "pack_power": power, "note": np.arange(5000)})
    path = tmp_path / "table.parquet"
    pq.write_table(columns, path, row_group_size=1000)
    return path


@pytest.fixture
def one_process(monkeypatch: pytest.MonkeyPatch) -> None:
    """No pool is started for --jobs: what it does is tested in test_local_pool.py, and it is slow to start."""
    monkeypatch.setattr(workers, "Pool", lambda jobs: workers.ThisProcess())


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def stamps(folder: Path) -> dict[str, tuple[int, int]]:
    """Return what changes of a file when it is written again."""
    return {path.name: (path.stat().st_ino, path.stat().st_mtime_ns) for path in sorted(folder.iterdir())}


def test_a_folder_of_parts_is_read_by_every_library_as_one_table(table: Path, tmp_path: Path) -> None:
    folder, single = tmp_path / "out", tmp_path / "out.parquet"
    result = batch(table, f"{folder}/", *SMALL)
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == f"4,998 rows computed, 2 invalid: {folder}/ (5 parts)\n"
    assert batch(table, single).exit_code == 1
    expected = pq.read_table(single)
    assert expected["error"][4321].as_py().startswith("row 4322: pack_power: ")
    assert list(contents(folder)) == [f"part-0000{number}.parquet" for number in range(5)]
    assert pq.read_table(folder).equals(expected)
    assert ds.dataset(folder).to_table().equals(expected)
    assert pl.read_parquet(f"{folder}/").equals(pl.read_parquet(single))
    pd.testing.assert_frame_equal(pd.read_parquet(folder), pd.read_parquet(single))
    frame: Any = dask.dataframe.read_parquet(folder)
    assert len(frame) == 5000


@pytest.mark.parametrize("to", SUFFIXES)
@pytest.mark.usefixtures("one_process")
def test_parts_and_single_files_have_every_format(to: str, table: Path, tmp_path: Path) -> None:
    alone, joined, folder = tmp_path / "alone", tmp_path / "joined", tmp_path / "parts"
    options = ("--to", to, "--given", "--uncertainty")
    assert batch(table, alone, *options).exit_code == 1
    assert batch(table, f"{folder}/", *options, *SMALL).exit_code == 1
    assert [path.suffix for path in folder.iterdir()] == [SUFFIXES[to]] * 5
    result = batch(table, joined, *options, *SMALL, "--jobs", "2")
    assert (result.exit_code, result.stderr) == (1, f"4,998 rows computed, 2 invalid: {joined} (5 parts)\n")
    if to in ("csv", "tsv", "ndjson", "json"):
        assert joined.read_bytes() == alone.read_bytes()
    else:
        read = {"parquet": pq.read_table, "arrow": _read_stream, "arrow-file": _read_file}[to]
        assert read(joined).equals(read(alone))
        assert pa.concat_tables(read(path) for path in sorted(folder.iterdir())).equals(read(alone))
    left = sorted(path.name for path in tmp_path.iterdir())
    assert left == ["alone", "joined", "parts", "parts.manifest.json", "table.parquet"]


def _read_stream(path: Path) -> pa.Table:
    return pa.ipc.open_stream(path.read_bytes()).read_all()


def _read_file(path: Path) -> pa.Table:
    return pa.ipc.open_file(path.read_bytes()).read_all()


def test_every_part_has_the_same_columns_whatever_its_rows_hold(tmp_path: Path) -> None:
    rows: list[dict[str, Any]] = [{"id": row, "pack_power": 5 + row} for row in range(2000)]
    rows += [{"pack_power": "much", "note": "late"} for _ in range(2000)]  # no result, other columns, texts
    table = tmp_path / "table.ndjson"
    table.write_text("".join(json.dumps(row) + "\n" for row in rows), encoding="utf-8")
    result = batch(table, f"{tmp_path}/out/", "--to", "parquet", "--rows-per-part", "500")
    assert result.stderr.startswith("2,000 rows computed, 2,000 invalid")
    first, *others = [pq.read_schema(path) for path in sorted((tmp_path / "out").iterdir())]
    assert len(others) >= 3
    assert all(other.equals(first, check_metadata=True) for other in others)
    last = pq.read_table(sorted((tmp_path / "out").iterdir())[-1])
    assert (last["id"][0].as_py(), last["note"][0].as_py()) == (None, "late")


@pytest.mark.usefixtures("one_process")
def test_a_calculator_that_computes_row_by_row_has_parts_too(tmp_path: Path) -> None:
    table = tmp_path / "table.ndjson"
    lines = [
        json.dumps({"id": row, "mass_limit": 250, "parts": [{"mass": 10 + row, "count": 2}]}) for row in range(200)
    ]
    table.write_text("\n".join(lines), encoding="utf-8")
    assert run("batch", "mass-margin", table, "-o", tmp_path / "alone.ndjson").exit_code == 0
    result = run(
        "batch", "mass-margin", table, "-o", tmp_path / "joined.ndjson", "--jobs", "2", "--rows-per-part", "60"
    )
    assert re.search(r"200 rows computed, 0 invalid: .*joined.ndjson \(\d parts\)", result.stderr)
    assert (tmp_path / "joined.ndjson").read_bytes() == (tmp_path / "alone.ndjson").read_bytes()


@pytest.mark.usefixtures("one_process")
def test_a_grid_has_parts_too(tmp_path: Path) -> None:
    assert run("sweep", *GRID, "-o", tmp_path / "alone.csv").exit_code == 0
    result = run("sweep", *GRID, "-o", tmp_path / "joined.csv", "--jobs", "2", *SMALL)
    assert result.stderr == f"3,500 points computed, 0 invalid: {tmp_path}/joined.csv (4 parts)\n"
    assert (tmp_path / "joined.csv").read_bytes() == (tmp_path / "alone.csv").read_bytes()
    folder = tmp_path / "grid.parquet"
    assert run("sweep", *GRID, "-o", f"{folder}/", *SMALL).exit_code == 0
    assert pq.read_table(folder).num_rows == 3500
    best = run("sweep", *GRID, "--best", "9")
    assert run("sweep", *GRID, "--best", "9", "--jobs", "2", *SMALL).stdout_bytes == best.stdout_bytes


def test_the_same_command_computes_only_what_is_missing(table: Path, tmp_path: Path) -> None:
    folder = tmp_path / "out"
    first = batch(table, f"{folder}/", *SMALL)
    whole, before = contents(folder), stamps(folder)
    manifest = tmp_path / "out.manifest.json"
    found = json.loads(manifest.read_bytes())
    del found["parts"][1]["done"]  # written, but not recorded: the client ended in between
    manifest.write_text(json.dumps(found), encoding="utf-8")
    (folder / "part-00002.parquet").unlink()
    (folder / "part-00003.parquet").write_bytes(whole["part-00003.parquet"][:-10])
    (folder / ".part-00004.parquet.x.part").write_bytes(b"half")
    again = batch(table, f"{folder}/", *SMALL)
    assert (again.exit_code, first.exit_code) == (1, 1)
    assert again.stderr == first.stderr.replace("(5 parts)", "(5 parts, 2 of them from an earlier run)")
    assert contents(folder) == whole
    unchanged = {name for name, stamp in stamps(folder).items() if stamp == before[name]}
    assert unchanged == {"part-00000.parquet", "part-00004.parquet"}
    last = stamps(folder)
    assert "(5 parts, 5 of them from an earlier run)" in batch(table, f"{folder}/", *SMALL).stderr
    assert stamps(folder) == last


def test_another_run_is_rejected_and_changes_nothing(table: Path, tmp_path: Path) -> None:
    folder = tmp_path / "out"
    batch(table, f"{folder}/", *SMALL)
    before = stamps(folder)

    def run_invalid(*arguments: object) -> str:
        result = run(*arguments)
        assert (result.exit_code, result.stdout, result.stderr.count("\n")) == (2, "", 1)
        assert stamps(folder) == before
        return result.stderr

    same = ("batch", "pack-current", table, "-o", folder, *SMALL)
    output = run_invalid(*same, *SHARED, "--digits", "6", "--given", "--units", "pack_current:mA")
    assert output.startswith(f"{folder}: contains parts of another run: ")
    assert "--digits was 12 and is 6" in output
    assert "--given was off and is on" in output
    assert "--units was off and is pack_current:mA" in output
    assert output.endswith("choose another -o, or delete that folder and out.manifest.json\n")
    assert "--set was cells=6, capacity=1300 and is cells=4, capacity=1300" in run_invalid(
        *same, "--set", "cells=4", "--set", "capacity=1300"
    )
    assert "--rows-per-part was 1000 and is 2000" in run_invalid(*same, *SHARED, "--rows-per-part", "2000")
    assert "--vary was off and is pack_power=10:5000:3500" in run_invalid("sweep", *GRID, "-o", folder)
    os.utime(table, ns=(0, 0))
    assert "modification time was" in run_invalid(*same, *SHARED)
    (tmp_path / "out.manifest.json").write_text("{}", encoding="utf-8")
    assert "out.manifest.json: this is not the manifest of a run" in run_invalid(*same, *SHARED)
    (tmp_path / "out.manifest.json").unlink()
    assert "contains files, but there is no out.manifest.json beside it" in run_invalid(*same, *SHARED)


def test_a_part_that_breaks_off_is_computed_again(tmp_path: Path) -> None:
    table, folder = tmp_path / "table.parquet", tmp_path / "out"
    frame = pa.table({"pack_power": np.linspace(1, 900, 210_000)})
    pq.write_table(frame, table, row_group_size=70_000, use_dictionary=False, compression="zstd")
    whole = table.read_bytes()
    start = pq.ParquetFile(table).metadata.row_group(1).column(0).data_page_offset
    table.write_bytes(whole[:start] + bytes(60_000) + whole[start + 60_000 :])
    time_of = table.stat().st_mtime_ns
    result = batch(table, f"{folder}/", "--rows-per-part", "70000")
    assert result.exit_code == 1, result.stderr
    assert "140,000 rows computed" in result.stderr
    assert "the table ended early: part-00001.parquet: the file is damaged after row 70000" in result.stderr, (
        result.stderr
    )
    assert pq.read_table(folder / "part-00001.parquet")["error"][-1].as_py().startswith("#ERR ")
    table.write_bytes(whole)  # such as a storage that failed once
    os.utime(table, ns=(time_of, time_of))
    again = batch(table, f"{folder}/", "--rows-per-part", "70000")
    assert again.stderr == f"210,000 rows computed, 0 invalid: {folder}/ (3 parts, 2 of them from an earlier run)\n"


def test_a_table_that_changes_meanwhile_ends_the_run(table: Path, tmp_path: Path, monkeypatch: Any) -> None:
    class Changing(workers.ThisProcess):
        def run(self, function: Any, tasks: Any) -> Any:
            for number, task in enumerate(tasks):
                if number == 2:
                    os.utime(table, ns=(time.time_ns(), time.time_ns()))
                yield function(*task)

    monkeypatch.setattr(workers, "ThisProcess", Changing)
    result = batch(table, f"{tmp_path}/out/", *SMALL)
    assert result.exit_code == 2
    assert result.stderr == f"{table} has changed since the run began; 2 of 5 parts written\n"


@pytest.mark.parametrize(
    ("arguments", "expected_text"),
    [
        pytest.param(["-", "-o", "x/"], "-o x/: each worker opens the table by itself; give a file", id="stdin"),
        pytest.param(["-", "-o", "x.csv", "--jobs", "2"], "--jobs: each worker opens the table", id="stdin-jobs"),
        pytest.param(["TABLE", "--jobs", "2"], "--jobs: the workers write files; add -o OUT or", id="stdout"),
        pytest.param(["TABLE", "--scheduler", "x:1"], "--scheduler: the workers write files", id="stdout-scheduler"),
        pytest.param(
            ["TABLE", "-o", "x", "--scheduler", "x:1", "--jobs", "2"], "--jobs and --scheduler: use only one", id="2"
        ),
        pytest.param(["TABLE", "-o", "x/", "--url", "x"], "--url and -o x/: use only one of them", id="url"),
        pytest.param(["TABLE", "--rows-per-part", "5"], "--rows-per-part: needs --jobs", id="no-parts"),
        pytest.param(["TABLE", "-o", "x/", "--rows-per-part", "0"], "--rows-per-part", id="no-rows"),
        pytest.param(["TABLE", "-o", "x/", "--jobs", "0"], "--jobs", id="no-jobs"),
        pytest.param(["table.json", "-o", "x/"], "is a JSON array, which cannot be split", id="json"),
        pytest.param(["none.csv", "-o", "x/"], "none.csv: No such file or directory", id="no-file"),
        pytest.param(["bad.csv", "-o", "x/"], "did you mean pack_power", id="header"),
        pytest.param(["empty.csv", "-o", "x/"], "empty.csv: the table is empty", id="empty"),
        pytest.param(["bad.parquet", "-o", "x/"], "not a Parquet file", id="no-parquet"),
        pytest.param(["TABLE", "-o", "none/x/"], "none/x: No such file or directory", id="no-place"),
        pytest.param(["TABLE", "-o", "/dev/null", "--jobs", "2"], "/dev/null is neither a file nor", id="device"),
    ],
)
def test_an_invalid_command_prints_one_line(
    arguments: list[str], expected_text: str, table: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    for name, text in {"table.json": "[]", "bad.csv": "powr\n5\n", "empty.csv": "", "bad.parquet": "x"}.items():
        Path(name).write_text(text, encoding="utf-8")
    before = sorted(tmp_path.iterdir())
    arguments = [table.name if word == "TABLE" else word for word in arguments]
    result = run("batch", "pack-current", *arguments, *SHARED)
    assert (result.exit_code, result.stdout) == (2, "")
    assert expected_text in result.stderr
    assert "Traceback" not in result.stderr
    assert sorted(tmp_path.iterdir()) == before


def test_a_grid_of_too_many_parts_is_an_error(tmp_path: Path) -> None:
    result = run("sweep", *GRID[:-1], "pack_power=1:2:1000000000", "-o", f"{tmp_path}/x/", "--rows-per-part", "10")
    assert result.stderr == "--rows-per-part: this makes more than 100,000 parts; use a larger number\n"
    best = run("sweep", *GRID, "--best", "2", "-o", f"{tmp_path}/", "--jobs", "2")
    assert best.stderr == f"-o {tmp_path}/: --best writes one file; give a file, not a folder\n"
