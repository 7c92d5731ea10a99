"""Tables cut into parts: every row in one part, counted and numbered as where the table is read whole."""

from __future__ import annotations

import itertools
import json
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from gramwatt.engine.tables.chunks import Chunk
from gramwatt.engine.tables.header import Passthrough
from gramwatt.engine.tables.plan import Plan
from gramwatt.engine.tables.writers import Style
from gramwatt.partitions.sources import Part
from gramwatt.partitions.split import count_csv_rows, count_lines, describe_table, split_table

PLAN = Plan("pack-current", {"cells": "6", "capacity": "1300"})
CSV_ROWS = {
    "plain": ["{0},5{0},x"],
    "crlf": ["{0},5{0},x\r"],
    "blank lines": ["{0},5{0},x", "", "  ", "\r", "{0},6,y"],
    "line ends in quotes": ['{0},5{0},"first\nsecond, ""third""\n\nfourth"', "{0},7,z"],
    "quotes that are letters": ['{0},5{0},5" propeller', '{0},6,"5"" propeller\n"', '{0},7,6" propeller'],
    "a line of quotes": ['""', '"",5,'],
    "too few fields": ["{0}", '{0},5{0},"a"b"', "{0},5,x,y"],
    "carriage returns alone": ["{0},5{0},x\r{0},6,y"],
    "not UTF-8": ["{0},5{0},\udcff"],
}


def written(folder: Path, raw: bytes, name: str = "table.csv") -> str:
    path = folder / name
    path.write_bytes(raw)
    return str(path)


def numbered(chunks: list[Chunk]) -> list[tuple[int, list[Any], bool]]:
    """Every row with its number, its columns that pass through, and whether it is invalid as a whole."""
    return [
        (chunk.first + row, [column[row] for column in chunk.passthrough_columns.values()], row in chunk.errors)
        for chunk in chunks
        for row in range(chunk.rows)
    ]


def check(path: str, form: str, rows: int, style: Style) -> list[Part]:
    """Return the parts of a table, after checking them against the table read whole."""
    table = describe_table(PLAN, path, form, style, Passthrough())
    parts = list(split_table(table, rows))
    whole = list(split_table(table, 10**9))
    assert len(whole) == 1
    read = [list(table.read_chunks(PLAN, part)) for part in parts]
    for part, chunks in zip(parts, read, strict=True):
        assert part.rows == sum(chunk.rows for chunk in chunks)
    assert numbered([chunk for chunks in read for chunk in chunks]) == numbered(list(table.read_chunks(PLAN, whole[0])))
    for one, other in itertools.pairwise(parts):
        assert (one.number + 1, one.first + one.rows, one.stop) == (other.number, other.first, other.start)
    return parts


@pytest.mark.parametrize(
    "head", ["id,pack_power,note\n", "\ufeffid,pack_power,note\r\n", "\n\nid,pack_power,note\n"], ids=repr
)
@pytest.mark.parametrize("lines", CSV_ROWS.values(), ids=CSV_ROWS)
def test_csv_is_cut_at_the_ends_of_rows(lines: list[str], head: str, tmp_path: Path) -> None:
    text = head + "\n".join("\n".join(lines).format(row) for row in range(3000))
    raw = text.encode("utf-8", "surrogateescape")
    assert len(check(written(tmp_path, raw), "csv", 500, Style())) > 3
    check(written(tmp_path, raw + b"\n\n"), "csv", 7, Style())


def test_the_separator_is_the_one_that_is_found(tmp_path: Path) -> None:
    text = "id;pack_power;note\n" + '1;5,5;a,"b\n2;6,5;"a\nb"\n' * 2000
    parts = check(written(tmp_path, text.encode()), "csv", 300, Style(decimal=",", separator=";"))
    assert sum(part.rows for part in parts) == 4000
    tabs = text.replace(";", "\t").encode()
    assert len(check(written(tmp_path, tabs, "table.tsv"), "tsv", 300, Style())) > 3


@pytest.mark.parametrize("raw", [b"id,pack_power", b"id,pack_power\n", b"id,pack_power\n\n \n"])
def test_a_table_without_rows_is_one_empty_part(raw: bytes, tmp_path: Path) -> None:
    assert [part.rows for part in check(written(tmp_path, raw), "csv", 5, Style())] == [0]
    assert [part.rows for part in check(written(tmp_path, b"\n \n", "table.ndjson"), "ndjson", 5, Style())] == [0]


def test_lines_of_json_are_cut_at_line_ends(tmp_path: Path) -> None:
    lines = [json.dumps({"id": row, "pack_power": row % 900, "note": "a\nb"}) for row in range(2000)]
    for end in ("\n", "\r\n", "\n\n \n"):
        raw = end.join(lines).encode()
        parts = check(written(tmp_path, raw, "table.ndjson"), "ndjson", 100, Style())
        assert len(parts) > 5
        assert sum(part.rows for part in parts) == 2000


def test_what_cannot_be_cut_is_left_to_who_reads_it(tmp_path: Path) -> None:
    raw = b'id,pack_power\n1,5\n2,"' + b"x" * 4_000_000
    table = describe_table(PLAN, written(tmp_path, raw), "csv", Style(), Passthrough())
    (part,) = split_table(table, 1_000_000)
    assert part.stop == len(raw)


@pytest.mark.parametrize(
    ("groups", "rows", "expected"),
    [
        ([100], 100, [100]),
        ([10] * 25, 100, [100, 100, 50]),
        ([1000, 10, 10], 300, [333, 333, 334, 20]),
        ([100, 149, 151], 100, [100, 149, 75, 76]),
        ([70, 70, 70], 100, [70, 70, 70]),
        ([0, 5, 0], 100, [5]),
        ([], 100, [0]),
    ],
    ids=str,
)
@pytest.mark.parametrize("form", ["parquet", "arrow-file"])
def test_row_groups_are_cut_or_joined(
    groups: list[int], rows: int, expected: list[int], form: str, tmp_path: Path
) -> None:
    schema, path = pa.schema({"id": pa.int64(), "pack_power": pa.float64()}), tmp_path / "table"
    writer: Any = pq.ParquetWriter(path, schema) if form == "parquet" else pa.ipc.new_file(str(path), schema)
    first = 0
    with writer:
        for group in groups:
            numbers = list(range(first, first + group))
            writer.write_table(pa.table([numbers, [float(number) for number in numbers]], schema=schema))
            first += group
    assert [part.rows for part in check(str(path), form, rows, Style())] == expected


def test_rows_are_counted_as_they_are_read() -> None:
    assert count_csv_rows(b'a,b\n"x\ny",z\n\n1,2', ",") == 3
    assert count_csv_rows(b'5" x,1\n6" x,2\n', ",") == 2
    assert count_csv_rows(b'5,"a"\n"b"', ",") == 2
    assert count_csv_rows(b'"a"', ",") == 1
    assert count_lines(b"{}\n\n  \n{}") == 2
