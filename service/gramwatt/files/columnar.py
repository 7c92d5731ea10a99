"""Parquet and Arrow IPC files. Imported only for such files, since pyarrow is optional."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from typing import IO, TYPE_CHECKING, Any, Final, NamedTuple

import pyarrow as pa
import pyarrow.parquet as pq

from gramwatt.engine.tables.arrow_writer import BufferSink
from gramwatt.engine.tables.chunks import MalformedTable

if TYPE_CHECKING:
    from gramwatt.files.output import Output

READ_ROWS: Final = 65_536
"""Rows of a columnar file to read at once."""
ROW_GROUP_SIZE: Final = 131_072
"""Minimum rows of a row group of a Parquet file."""


class ColumnarFile(NamedTuple):
    """An open file. ``rows`` is None if only reading all of it would show that."""

    schema: pa.Schema
    batches: Iterator[pa.RecordBatch]
    rows: int | None


def open_columnar(
    file: IO[bytes], path: str | None, form: str, stack: contextlib.ExitStack, advance: Callable[[int], None]
) -> ColumnarFile:
    """Open a Parquet or Arrow IPC file.

    Parameters
    ----------
    file
        The open file.
    path
        Its path, if it has one.
    form
        ``parquet`` or ``arrow-file``.
    stack
        Keeps open what this function opens.
    advance
        Called with the number of rows read.

    Raises
    ------
    MalformedTable
        The file is of another format, or damaged; the latter also while it is read.
    """
    try:
        if form == "parquet":
            parquet = pq.ParquetFile(file, pre_buffer=False, buffer_size=4 * 1024 * 1024)
            batches = _read_slices(parquet.iter_batches(batch_size=READ_ROWS), advance)
            return ColumnarFile(parquet.schema_arrow, batches, parquet.metadata.num_rows)
        reader = pa.ipc.open_file(pa.PythonFile(file) if path is None else stack.enter_context(pa.memory_map(path)))
        record_batches = (reader.get_batch(index) for index in range(reader.num_record_batches))
        return ColumnarFile(reader.schema, _read_slices(record_batches, advance), None)
    except (pa.ArrowException, OSError, EOFError) as error:
        kind = "a Parquet" if form == "parquet" else "an Arrow IPC"
        raise MalformedTable(f"this is not {kind} file: {str(error).partition(chr(10))[0][:200]}") from None


def _read_slices(batches: Iterator[pa.RecordBatch], advance: Callable[[int], None]) -> Iterator[pa.RecordBatch]:
    """Yield the batches in slices of `READ_ROWS`. Raises MalformedTable at a damaged batch."""
    rows = 0
    while True:
        try:
            batch = next(batches, None)
        except (pa.ArrowException, OSError, EOFError) as error:
            detail = str(error).partition("\n")[0][:200]
            raise MalformedTable(f"the file is damaged after row {rows}: {detail}") from None
        if batch is None:
            return
        for start in range(0, batch.num_rows, READ_ROWS):
            part = batch.slice(start, READ_ROWS)
            yield part
            rows += part.num_rows
            advance(part.num_rows)


def encode_stream(schema: pa.Schema, batches: Iterator[pa.RecordBatch]) -> Iterator[bytes]:
    """Yield the bytes of an Arrow IPC stream of record batches."""
    sink = BufferSink()
    with pa.ipc.new_stream(sink, schema) as stream:
        yield sink.drain()
        for batch in batches:
            stream.write_batch(batch)
            yield sink.drain()
    yield sink.drain()


class _ChunkFile:
    """Chunks of bytes as a file that the Arrow library can read."""

    closed = False

    def __init__(self, chunks: Iterator[bytes]) -> None:
        self._chunks, self._rest = chunks, b""

    def read(self, size: int = -1) -> bytes:
        parts, missing = [self._rest], size - len(self._rest)
        while missing > 0 and (chunk := next(self._chunks, None)) is not None:
            parts.append(chunk)
            missing -= len(chunk)
        data = b"".join(parts)
        result, self._rest = data[:size], data[size:]
        return result


def save_stream(
    chunks: Iterator[bytes], form: str, output: Output, on_batch: Callable[[pa.RecordBatch], None] | None = None
) -> None:
    """Write an Arrow IPC stream into a file of a columnar ``form``. Call ``on_batch`` with every batch."""
    with contextlib.closing(pa.ipc.open_stream(pa.PythonFile(_ChunkFile(chunks), mode="r"))) as reader:
        save_batches(reader.schema, _pass_batches(reader, on_batch), form, output)


def save_batches(schema: pa.Schema, batches: Iterator[pa.RecordBatch], form: str, output: Output) -> None:
    """Write record batches into a file of a columnar ``form``."""
    if form == "parquet":
        _save_parquet(schema, batches, output)
        return
    make_writer: Any = pa.ipc.new_stream if form == "arrow" else pa.ipc.new_file
    with make_writer(output, schema) as writer:
        for batch in batches:
            writer.write_batch(batch)


def _pass_batches(reader: Any, on_batch: Callable[[pa.RecordBatch], None] | None) -> Iterator[pa.RecordBatch]:
    for batch in reader:
        if on_batch is not None:
            on_batch(batch)
        yield batch


def _save_parquet(schema: pa.Schema, batches: Iterator[pa.RecordBatch], output: Output) -> None:
    pending: list[pa.RecordBatch] = []
    with pq.ParquetWriter(output, schema) as writer:
        for batch in batches:
            pending.append(batch)
            if sum(each.num_rows for each in pending) >= ROW_GROUP_SIZE:
                writer.write_table(pa.Table.from_batches(pending, schema))
                pending.clear()
        if pending:
            writer.write_table(pa.Table.from_batches(pending, schema))
