"""Helpers for tests of tables: encode rows, compute a table, and decode the output into rows."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any, Final

import pyarrow as pa
import pytest

from gramwatt.engine import calculate, registry
from gramwatt.engine.tables import batch, csv_reader, json_reader, json_rows
from gramwatt.engine.tables.chunks import Source
from gramwatt.engine.tables.header import Passthrough
from gramwatt.engine.tables.plan import Plan
from gramwatt.engine.tables.writers import Style

FORMATS: Final = ("json", "ndjson", "csv", "tsv", "arrow")
PLAIN: Final = Style(header="names")
Row = dict[str, Any]


def bare_header(form: str) -> str:
    """Return the option for a header without units where the format has a header."""
    return "header=names" if form in ("csv", "tsv") else ""


def source_of(raw: bytes) -> Source:
    """Return a source that reads these bytes."""
    return io.BytesIO(raw).read


def passthrough(keep: str) -> Passthrough:
    """Return the parsed value of ``keep``."""
    names = frozenset(name for name in keep.split(",") if name and name != "*")
    return Passthrough(names, "*" in keep)


def table(
    name: str,
    raw: bytes,
    sent: str = "csv",
    wanted: str = "json",
    *,
    keep: str = "",
    style: Style = PLAIN,
    **plan: Any,
) -> bytes:
    """Return the computed table as bytes."""
    table_plan = Plan(name, **plan)
    table_plan, chunks = batch.read_first_chunk(
        table_plan, batch.read_chunks(table_plan, batch.TableFormat(sent, style), source_of(raw), passthrough(keep))
    )
    into = batch.make_writer(table_plan, batch.TableFormat(wanted, style))
    return b"".join(batch.write_table(table_plan, chunks, into, batch.RowCounts()))


def rows(name: str, raw: bytes, sent: str = "csv", wanted: str = "json", **options: Any) -> list[Row]:
    """Return the computed table as rows."""
    return decode_rows(table(name, raw, sent, wanted, **options), wanted)


def decode_rows(output: bytes, form: str, *, separator: str | None = None) -> list[Row]:
    """Decode a table of any format into rows: numbers and texts, None where a cell is empty."""
    match form:
        case "json":
            return list(json.loads(output))
        case "ndjson":
            return [json.loads(line) for line in output.splitlines()]
        case "arrow":
            return list(pa.ipc.open_stream(output).read_all().to_pylist())
        case _:
            text = io.StringIO(output.decode(), newline="")
            lines = csv.reader(text, delimiter=separator or ("\t" if form == "tsv" else ","), strict=True)
            header = next(lines)
            return [dict(zip(header, (_cell(cell) for cell in line), strict=True)) for line in lines if len(line) > 0]


def _cell(cell: str) -> Any:
    if cell in ("", "true", "false"):
        return {"": None, "true": True, "false": False}[cell]
    try:
        return float(cell)
    except ValueError:
        return cell


def encode_rows(requests: Sequence[Mapping[str, object]], form: str) -> bytes:
    """Encode requests as a table in a format. An input that a row does not have is empty or null."""
    match form:
        case "json":
            return json.dumps(requests).encode()
        case "ndjson":
            return "".join(json.dumps(request) + "\n" for request in requests).encode()
        case "arrow":
            return _arrow(requests)
        case _:
            names = list(dict.fromkeys(name for request in requests for name in request))
            text = io.StringIO(newline="")
            lines = csv.writer(text, delimiter="\t" if form == "tsv" else ",")
            lines.writerow(names)
            lines.writerows([_format_cell(request.get(name)) for name in names] for request in requests)
            return text.getvalue().encode()


def _format_cell(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list):
        return ",".join(map(str, value))
    return "" if value is None else str(value)


def _arrow(requests: Sequence[Mapping[str, object]]) -> bytes:
    names = list(dict.fromkeys(name for request in requests for name in request))
    columns = {}
    for name in names:
        values = [request.get(name) for request in requests]
        given = [value for value in values if value is not None]
        numbers = all(isinstance(value, int | float) and not isinstance(value, bool) for value in given)
        columns[name] = pa.array(values, pa.float64() if numbers else None)
    return stream(pa.table(columns))


def stream(given: pa.Table, rows_each: int | None = None) -> bytes:
    """Return an Arrow table as an IPC stream."""
    sink = io.BytesIO()
    with pa.ipc.new_stream(sink, given.schema) as writer:
        writer.write_table(given, max_chunksize=rows_each)
    return sink.getvalue()


def single(name: str, request: Mapping[str, object], *, text: bool = False, **options: Any) -> Row:
    """Return the response to one request, or for an invalid one the pointers of its errors, as ``error``."""
    try:
        return calculate.compute_response(registry.load()[name], request, text=text, **options)
    except calculate.InvalidInput as invalid:
        return {"error": [error.pointer for error in invalid.errors]}


def caution_codes(row: Row) -> Iterator[str]:
    """Yield the codes of a row's cautions, however the format has them."""
    codes = row["cautions"]
    yield from codes if isinstance(codes, list) else (codes or "").split()


@contextmanager
def row_by_row() -> Iterator[None]:
    """Turn off reading by columns."""

    def nothing(*_: object, **__: object) -> None:
        return None

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(csv_reader, "_column_parser", nothing)
        patch.setattr(json_rows.RowBuilder, "parse_columns", nothing)
        yield


@contextmanager
def in_chunks(size: int) -> Iterator[None]:
    """Read this many bytes at once."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(csv_reader, "READ_SIZE", size)
        patch.setattr(json_reader, "READ_SIZE", size)
        yield
