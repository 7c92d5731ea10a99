"""One file made of the parts, for who wants a single file."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from gramwatt.files.columnar import READ_ROWS, save_batches
from gramwatt.files.formats import BINARY_FORMATS
from gramwatt.files.output import Output

_PIECE = 1024 * 1024


def part_form(form: str) -> str:
    """Return the format of the parts of a single file."""
    return {"json": "ndjson", "arrow": "arrow-file"}.get(form, form)


def join_parts(paths: Sequence[Path], form: str, header: bytes, output: Output) -> None:
    """Write the parts one after the other. ``header`` is what each part of CSV begins with."""
    if form in BINARY_FORMATS:
        save_batches(_schema(paths[0]), _batches(paths), form, output)
        return
    if form == "json":
        _join_array(paths, output)
        return
    for number, path in enumerate(paths):
        with open(path, "rb") as file:
            file.seek(len(header) if number else 0)
            while piece := file.read(_PIECE):
                output.write(piece)


def _join_array(paths: Sequence[Path], output: Output) -> None:
    output.write(b"[\n")
    left = b""
    for path in paths:
        with open(path, "rb") as file:
            while piece := file.read(_PIECE):
                text = left + piece
                left = text[-1:]  # the last line end is not followed by a comma
                output.write(text[:-1].replace(b"\n", b",\n"))
    output.write(left + b"]\n")


def _schema(path: Path) -> pa.Schema:
    if path.suffix == ".parquet":
        return pq.read_schema(path)
    with pa.memory_map(str(path)) as mapped:
        return pa.ipc.open_file(mapped).schema


def _batches(paths: Sequence[Path]) -> Iterator[pa.RecordBatch]:
    for path in paths:
        if path.suffix == ".parquet":
            with pq.ParquetFile(path) as file:
                yield from file.iter_batches(batch_size=READ_ROWS)
            continue
        with pa.memory_map(str(path)) as mapped:
            reader: Any = pa.ipc.open_file(mapped)
            yield from (reader.get_batch(at) for at in range(reader.num_record_batches))
