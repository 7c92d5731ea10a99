"""A table through the whole of `edge.tables`, and its answer as rows again: what the tests of tables share."""

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


def source_of(raw: bytes) -> Source:
    """Return the bytes as a table comes in."""
    return io.BytesIO(raw).read


def passthrough(keep: str) -> Passthrough:
    """Return what ``keep=`` says."""
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
    """Return the answered table as bytes."""
    wish = Plan(name, **plan)
    wish, pieces = batch.read_first_chunk(
        wish, batch.read_chunks(wish, batch.TableFormat(sent, style), source_of(raw), passthrough(keep))
    )
    into = batch.make_writer(wish, batch.TableFormat(wanted, style))
    return b"".join(batch.write_table(wish, pieces, into, batch.RowCounts()))


def rows(name: str, raw: bytes, sent: str = "csv", wanted: str = "json", **options: Any) -> list[Row]:
    """Return the answered table as rows."""
    return read(table(name, raw, sent, wanted, **options), wanted)


def read(made: bytes, form: str, *, separator: str | None = None) -> list[Row]:
    """Bytes of any format as rows: numbers and words, None where a cell is empty."""
    match form:
        case "json":
            return list(json.loads(made))
        case "ndjson":
            return [json.loads(line) for line in made.splitlines()]
        case "arrow":
            return list(pa.ipc.open_stream(made).read_all().to_pylist())
        case _:
            text = io.StringIO(made.decode(), newline="")
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


def written(questions: Sequence[Mapping[str, object]], form: str) -> bytes:
    """Questions as a table in a format; what a row leaves out is empty or null."""
    match form:
        case "json":
            return json.dumps(questions).encode()
        case "ndjson":
            return "".join(json.dumps(question) + "\n" for question in questions).encode()
        case "arrow":
            return _arrow(questions)
        case _:
            names = list(dict.fromkeys(name for question in questions for name in question))
            made = io.StringIO(newline="")
            lines = csv.writer(made, delimiter="\t" if form == "tsv" else ",")
            lines.writerow(names)
            lines.writerows([_word(question.get(name)) for name in names] for question in questions)
            return made.getvalue().encode()


def _word(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list):
        return ",".join(map(str, value))
    return "" if value is None else str(value)


def _arrow(questions: Sequence[Mapping[str, object]]) -> bytes:
    names = list(dict.fromkeys(name for question in questions for name in question))
    columns = {}
    for name in names:
        values = [question.get(name) for question in questions]
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


def single(name: str, question: Mapping[str, object], *, text: bool = False, **options: Any) -> Row:
    """Return the answer to one question; where it is refused its faults alone, as ``error``."""
    try:
        return calculate.compute_response(registry.load()[name], question, text=text, **options)
    except calculate.InvalidInput as refused:
        return {"error": [error.pointer for error in refused.errors]}


def told(row: Row) -> Iterator[str]:
    """Yield the codes of a row's cautions, however the format has them."""
    codes = row["cautions"]
    yield from codes if isinstance(codes, list) else (codes or "").split()


@contextmanager
def row_by_row() -> Iterator[None]:
    """Without any reading by columns."""

    def nothing(*_: object, **__: object) -> None:
        return None

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(csv_reader, "_column_parser", nothing)
        patch.setattr(json_rows.RowBuilder, "parse_columns", nothing)
        yield


@contextmanager
def in_pieces(size: int) -> Iterator[None]:
    """Read so many bytes at once."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(csv_reader, "READ_SIZE", size)
        patch.setattr(json_reader, "READ_SIZE", size)
        yield
