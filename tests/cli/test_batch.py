"""gramwatt batch: tables of every format in and out, invalid rows, and the exit status."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pyarrow as pa
import pyarrow.ipc
import pyarrow.parquet as pq
import pytest
from click.testing import CliRunner, Result

from gramwatt import calculate
from gramwatt.__main__ import main
from gramwatt.engine.draws import DRAWS, FEW_DRAWS
from gramwatt.files.formats import EXTENSIONS

ROWS = [
    {"id": "a", "cells": 6, "pack_power": 500.0, "capacity": 1300.0},
    {"id": "b", "cells": 4, "pack_power": 120.5, "capacity": 850.0},
    {"id": "c", "cells": 3, "pack_power": 60.0, "capacity": 450.0},
]
SUFFIXES = {"csv": ".csv", "tsv": ".tsv", "ndjson": ".ndjson", "json": ".json"} | {
    "arrow": ".arrows",
    "arrow-file": ".arrow",
    "parquet": ".parquet",
}
FORMATS = list(SUFFIXES)
CSV = b"id,cells,pack_power,capacity\na,6,500,1300\nb,4,120.5,850\nc,3,60,450\n"


def run(*arguments: object, body: bytes | None = None) -> Result:
    return CliRunner().invoke(main, ["batch", *map(str, arguments)], input=body)


def written(form: str, path: Path, rows: list[dict[str, Any]]) -> Path:
    """Return a table as other programs write it."""
    frame = pl.DataFrame(rows)
    table = pa.Table.from_pylist(rows)
    match form:
        case "csv" | "tsv":
            frame.write_csv(path, separator="\t" if form == "tsv" else ",")
        case "ndjson":
            frame.write_ndjson(path)
        case "json":
            path.write_text(json.dumps(rows, indent=1), encoding="utf-8")
        case "arrow":
            with pa.OSFile(str(path), "wb") as sink, pa.ipc.new_stream(sink, table.schema) as stream:
                stream.write_table(table)
        case "arrow-file":
            with pa.OSFile(str(path), "wb") as sink, pa.ipc.new_file(sink, table.schema) as stream:
                stream.write_table(table)
        case _:
            pq.write_table(table, path)
    return path


def read(form: str, raw: bytes) -> list[dict[str, Any]]:
    """Read a result table as other programs do."""
    match form:
        case "csv" | "tsv":
            separator = "\t" if form == "tsv" else ","
            frame = pl.read_csv(raw, separator=separator, infer_schema_length=None)
            return frame.rename({name: name.partition(" [")[0] for name in frame.columns}).to_dicts()
        case "ndjson":
            return [json.loads(line) for line in raw.splitlines()]
        case "json":
            made: list[dict[str, Any]] = json.loads(raw)
            return made
        case "arrow":
            rows: list[dict[str, Any]] = pa.ipc.open_stream(raw).read_all().to_pylist()
            return rows
        case "arrow-file":
            rows = pa.ipc.open_file(raw).read_all().to_pylist()
            return rows
        case _:
            rows = pq.read_table(pa.BufferReader(raw)).to_pylist()
            return rows


@pytest.mark.parametrize("to", FORMATS)
@pytest.mark.parametrize("form", FORMATS)
def test_each_format_in_and_out_has_the_library_s_values(form: str, to: str, tmp_path: Path) -> None:
    table = written(form, tmp_path / f"table{SUFFIXES[form]}", ROWS)
    out = tmp_path / f"answers{SUFFIXES[to]}"
    result = run("pack-current", table, "-o", out)
    assert (result.exit_code, result.stdout) == (0, "")
    assert result.stderr == f"3 rows computed, 0 invalid: {out}\n"
    answers = read(to, out.read_bytes())
    assert [row["id"] for row in answers] == ["a", "b", "c"]
    for row_sent, answer in zip(ROWS, answers, strict=True):
        inputs: dict[str, Any] = {name: value for name, value in row_sent.items() if name != "id"}
        expected = calculate("pack-current", **inputs)
        for name, value in expected["results"].items():
            assert answer[name] == (None if value is None else pytest.approx(value, rel=1e-11))


def test_every_extension_leads_to_its_format(tmp_path: Path) -> None:
    assert set(EXTENSIONS.values()) == set(FORMATS)
    for suffix, form in EXTENSIONS.items():
        out = tmp_path / f"answers{suffix.upper()}"
        assert run("pack-current", "-", "-o", out, body=CSV).exit_code == 0
        assert len(read(form, out.read_bytes())) == 3


@pytest.mark.parametrize("form", FORMATS)
def test_standard_input_and_output_with_a_named_or_detected_format(form: str, tmp_path: Path) -> None:
    raw = written(form, tmp_path / "table", ROWS).read_bytes()
    output = run("pack-current", "-", "--from", form, "--to", "parquet", body=raw)
    assert output.exit_code == 0
    assert [row["id"] for row in read("parquet", output.stdout_bytes)] == ["a", "b", "c"]
    assert output.stderr == "3 rows computed, 0 invalid: standard output\n"
    if form != "tsv":  # which begins like CSV
        assert run("pack-current", "-", "--to", "parquet", body=raw).stdout_bytes == output.stdout_bytes


@pytest.mark.parametrize(
    ("form", "printed"), [("csv", "csv"), ("tsv", "tsv"), ("ndjson", "ndjson"), ("json", "json"), ("parquet", "csv")]
)
def test_what_is_printed_is_like_the_table_where_that_is_text(form: str, printed: str, tmp_path: Path) -> None:
    result = run("pack-current", written(form, tmp_path / f"table{SUFFIXES[form]}", ROWS))
    assert [row["id"] for row in read(printed, result.stdout_bytes)] == ["a", "b", "c"]


def test_an_arrow_extension_may_hold_a_stream(tmp_path: Path) -> None:
    table = written("arrow", tmp_path / "table.arrow", ROWS)
    assert run("pack-current", table).exit_code == 0


def test_options_are_those_of_the_service() -> None:
    """By hand: 90 mohm Ah / 1.3 Ah = 69.23 mohm; 1000 / (22.7556 + sqrt(22.7556^2 - 2000 x 0.06923)) = 23.678 A."""
    body = b"label;cells;capacity\nx;6;1,3 Ah\n"
    arguments = [
        "--set",
        "pack_power=500 W",
        "--keep",
        "label",
        "--units",
        "pack_current:mA",
        "--digits",
        "5",
        "--decimal",
        ",",
    ]
    result = run("pack-current", "-", *arguments, "--given", "--uncertainty", body=body)
    assert result.exit_code == 0, result.stderr
    header, row = (line.split(";") for line in result.stdout.splitlines())
    output = dict(zip(header, row, strict=True))
    assert (output["label"], output["pack_current [mA]"], output["capacity [mAh]"]) == ("x", "23678,0", "1300,0")
    low, high = (float(output[f"pack_current_{end} [mA]"].replace(",", ".")) for end in ("low", "high"))
    assert low < 23678 < high
    assert float(output["pack_current_u [mA]"].replace(",", ".")) < high - low
    for option, first in (("names", "pack_current"), ("off", "23.68")):
        plain = run("pack-current", "-", "--header", option, "--digits", "4", body=CSV).stdout.splitlines()[0]
        assert plain.split(",")[1] == first
    assert "\t" in run("pack-current", "-", "--sep", "tab", body=CSV.replace(b",", b"\t")).stdout


def test_the_help_says_how_often_rows_are_drawn() -> None:
    text = " ".join(run("--help").stdout.split())
    assert f"Each row is drawn {FEW_DRAWS} times, a single request {DRAWS:,} times." in text


@pytest.mark.parametrize("to", FORMATS)
def test_an_invalid_row_has_its_error_and_sets_the_status(to: str, tmp_path: Path) -> None:
    out = tmp_path / "answers"
    result = run("pack-current", "-", "--to", to, "-o", out, body=CSV.replace(b"120.5", b"many"))
    assert result.exit_code == 1
    assert result.stderr == f"2 rows computed, 1 invalid: {out}\n"
    a, b, c = read(to, out.read_bytes())
    assert "pack_power" in str(b["error"])
    assert b.get("pack_current") is None
    assert a.get("error") is None
    assert c["pack_current"] > 0


def test_a_table_that_breaks_off_keeps_the_rows_before(tmp_path: Path) -> None:
    table = pa.Table.from_pylist([ROWS[0]] * 3)
    sink = io.BytesIO()
    with pa.ipc.new_stream(sink, table.schema) as stream:
        stream.write_table(table)
        stream.write_table(table)
    broken = sink.getvalue()[: len(sink.getvalue()) - 100]
    out = tmp_path / "answers.csv"
    result = run("pack-current", "-", "-o", out, "--to", "csv", body=broken)
    assert result.exit_code == 1
    assert "3 rows computed" in result.stderr
    assert "the table ended early" in result.stderr
    *rows, last = read("csv", out.read_bytes())
    assert [row["id"] for row in rows] == ["a"] * 3
    assert last["error"].startswith("#ERR ")


def test_a_parquet_file_with_a_broken_row_group_keeps_the_rows_before(tmp_path: Path) -> None:
    table = tmp_path / "table.parquet"
    frame = pa.table(
        {"cells": [6] * 200_000, "pack_power": np.linspace(1, 900, 200_000), "capacity": [1300.0] * 200_000}
    )
    pq.write_table(frame, table, row_group_size=100_000, use_dictionary=False, compression="zstd")
    start = pq.ParquetFile(table).metadata.row_group(1).column(1).data_page_offset
    raw = bytearray(table.read_bytes())
    raw[start : start + 60_000] = bytes(60_000)
    table.write_bytes(raw)
    result = run("pack-current", table, "-o", tmp_path / "answers.parquet")
    assert result.exit_code == 1
    assert "ended early" in result.stderr
    answers = pq.read_table(tmp_path / "answers.parquet")
    assert 65_536 <= answers.num_rows < 200_000
    assert answers["error"][-1].as_py().startswith("#ERR ")


@pytest.mark.parametrize(
    ("arguments", "expected_text"),
    [
        pytest.param(["pack-curent", "-"], "Did you mean pack-current", id="calculator"),
        pytest.param(["pack-current", "no-such.csv"], "no-such.csv: No such file", id="no-such-file"),
        pytest.param(["pack-current", "."], "directory", id="a-folder"),
        pytest.param(["pack-current", "-", "--set", "cels=6"], "did you mean cells", id="constant"),
        pytest.param(["pack-current", "-", "--set", "cells"], "name=value", id="no-value"),
        pytest.param(
            ["pack-current", "-", "--set", "cells=6"],
            "both in the query and in the",
            id="a-column-and-a-constant",
        ),
        pytest.param(["pack-current", "-", "--units", "current:kg"], "units: ", id="unit"),
        pytest.param(["pack-current", "-", "--units", "pack_current"], "result:unit", id="no-unit"),
        pytest.param(["pack-current", "-", "--decimal", ",", "--sep", ","], "comma", id="comma-twice"),
        pytest.param(["pack-current", "-", "--digits", "13"], "13", id="digits"),
        pytest.param(["pack-current", "-", "--header", "off", "--to", "json"], "output is json", id="header-of-json"),
        pytest.param(
            ["pack-current", "-", "--from", "json", "--to", "ndjson", "--decimal", ","],
            "table json",
            id="decimal-without-csv",
        ),
        pytest.param(
            ["pack-current", "-", "--from", "ndjson", "--to", "arrow", "--sep", ";"],
            "--sep is for CSV",
            id="separator-without-csv",
        ),
        pytest.param(["pack-energy", "-"], "did you mean capacity", id="a-column-that-is-no-input"),
        pytest.param(["pack-current", "-", "--from", "parquet"], "not a Parquet file", id="no-parquet"),
        pytest.param(["pack-current", "-", "--from", "arrow-file"], "not an Arrow IPC file", id="no-arrow-file"),
        pytest.param(["pack-current", "-", "--from", "json"], "array of objects", id="no-array"),
        pytest.param(["pack-current", "-", "--url", "x", "--scheduler", "y"], "one of them", id="two-places"),
        pytest.param(["pack-current", "-", "--url", "ftp://x"], "http://host:port", id="no-web-address"),
        pytest.param(["pack-current", "-", "--url", "http://127.0.0.1:1"], "no connection", id="no-service"),
    ],
)
def test_an_invalid_command_writes_nothing(arguments: list[str], expected_text: str, tmp_path: Path) -> None:
    existing = tmp_path / "answers.csv"
    existing.write_text("what was there\n", encoding="utf-8")
    body = CSV.replace(b"pack_power", b"capacty") if "pack-energy" in arguments else CSV
    result = run(*arguments, "-o", existing, body=body)
    assert (result.exit_code, result.stdout) == (2, "")
    assert expected_text in result.stderr
    assert "Traceback" not in result.stderr
    assert existing.read_text(encoding="utf-8") == "what was there\n"
    assert list(tmp_path.iterdir()) == [existing]


def test_help_says_what_workers_need() -> None:
    for command in ("batch", "sweep"):
        shown = CliRunner().invoke(main, [command, "-h"])
        assert shown.exit_code == 0
        assert "have the same version of gramwatt" in " ".join(shown.stdout.split())
