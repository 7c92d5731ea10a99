"""Join the parts into one file."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Final

import pyarrow as pa
import pyarrow.parquet as pq

from gramwatt.files.columnar import READ_ROWS, save_batches
from gramwatt.files.formats import BINARY_FORMATS
from gramwatt.files.output import Output

_READ_SIZE: Final = 1024 * 1024


def choose_part_format(form: str) -> str:
    """Return the format of the parts of a file of format ``form``."""
    return {"json": "ndjson", "arrow": "arrow-file"}.get(form, form)


def join_parts(paths: Sequence[Path], form: str, header: bytes, output: Output) -> None:
    """Write the parts one after the other. ``header`` is the beginning of each part of CSV."""
    if form in BINARY_FORMATS:
        save_batches(_read_schema(paths[0]), _read_batches(paths), form, output)
        return
    if form == "json":
        _join_array(paths, output)
        return
    for number, path in enumerate(paths):
        with open(path, "rb") as file:
            file.seek(len(header) if number else 0)
            while data := file.read(_READ_SIZE):
                output.write(data)


def _join_array(paths: Sequence[Path], output: Output) -> None:
    """Write NDJSON as a JSON array. The last line end is held back, since no comma may follow it."""
    output.write(b"[\n")
    rest = b""
    for path in paths:
        with open(path, "rb") as file:
            while data := file.read(_READ_SIZE):
                text = rest + data
                rest = text[-1:]
                output.write(text[:-1].replace(b"\n", b",\n"))
    output.write(rest + b"]\n")


def _read_schema(path: Path) -> pa.Schema:
    if path.suffix == ".parquet":
        return pq.read_schema(path)
    with pa.memory_map(str(path)) as mapped:
        return pa.ipc.open_file(mapped).schema


def _read_batches(paths: Sequence[Path]) -> Iterator[pa.RecordBatch]:
    for path in paths:
        if path.suffix == ".parquet":
            with pq.ParquetFile(path) as file:
                yield from file.iter_batches(batch_size=READ_ROWS)
            continue
        with pa.memory_map(str(path)) as mapped:
            reader: Any = pa.ipc.open_file(mapped)
            yield from (reader.get_batch(index) for index in range(reader.num_record_batches))
