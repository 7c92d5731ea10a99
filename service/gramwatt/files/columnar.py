"""Files that hold columns: Parquet, Arrow IPC. Imported where there is one, since pyarrow is optional."""

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
"""Rows of a file with columns that are read at once."""
ROW_GROUP_SIZE: Final = 131_072
"""Rows of a Parquet file's groups."""


class ColumnarFile(NamedTuple):
    """A file that was opened. ``rows`` is None where only reading all of it would show that."""

    schema: pa.Schema
    batches: Iterator[pa.RecordBatch]
    rows: int | None


def open_columnar(
    file: IO[bytes], path: str | None, form: str, held: contextlib.ExitStack, advance: Callable[[int], None]
) -> ColumnarFile:
    """Open a Parquet or Arrow IPC file whose end must be read first.

    ``path`` is that of ``file`` where it has one; ``held`` keeps open what is opened; ``advance`` is called with the
    number of rows read. Raises Broken where it is none, and while it is read.
    """
    try:
        if form == "parquet":
            parquet = pq.ParquetFile(file, pre_buffer=False, buffer_size=4 * 1024 * 1024)
            batches = _guarded(parquet.iter_batches(batch_size=READ_ROWS), advance)
            return ColumnarFile(parquet.schema_arrow, batches, parquet.metadata.num_rows)
        reader = pa.ipc.open_file(pa.PythonFile(file) if path is None else held.enter_context(pa.memory_map(path)))
        each = (reader.get_batch(at) for at in range(reader.num_record_batches))
        return ColumnarFile(reader.schema, _guarded(each, advance), None)
    except (pa.ArrowException, OSError, EOFError) as error:
        kind = "Parquet" if form == "parquet" else "Arrow IPC"
        raise MalformedTable(f"this is no {kind} file: {str(error).partition(chr(10))[0][:200]}") from None


def _guarded(batches: Iterator[pa.RecordBatch], advance: Callable[[int], None]) -> Iterator[pa.RecordBatch]:
    """The batches in slices that are answered at once; a fault of the file on the way breaks the table off."""
    rows = 0
    while True:
        try:
            found = next(batches, None)
        except (pa.ArrowException, OSError, EOFError) as error:
            detail = str(error).partition("\n")[0][:200]
            raise MalformedTable(f"the file breaks off after row {rows}: {detail}") from None
        if found is None:
            return
        for start in range(0, found.num_rows, READ_ROWS):
            piece = found.slice(start, READ_ROWS)
            yield piece
            rows += piece.num_rows
            advance(piece.num_rows)


def encode_stream(schema: pa.Schema, batches: Iterator[pa.RecordBatch]) -> Iterator[bytes]:
    """Record batches as the bytes of an Arrow IPC stream."""
    sink = BufferSink()
    with pa.ipc.new_stream(sink, schema) as stream:
        yield sink.take()
        for each in batches:
            stream.write_batch(each)
            yield sink.take()
    yield sink.take()


class _Readable:
    """Pieces of bytes as the file that the Arrow library reads."""

    closed = False

    def __init__(self, pieces: Iterator[bytes]) -> None:
        self._pieces, self._left = pieces, b""

    def read(self, size: int = -1) -> bytes:
        parts, missing = [self._left], size - len(self._left)
        while missing > 0 and (piece := next(self._pieces, None)) is not None:
            parts.append(piece)
            missing -= len(piece)
        whole = b"".join(parts)
        read, self._left = whole[:size], whole[size:]
        return read


def save_stream(
    pieces: Iterator[bytes], form: str, output: Output, each: Callable[[pa.RecordBatch], None] | None = None
) -> None:
    """Write an Arrow IPC stream into a file of a columnar ``form``. ``each`` sees every batch."""
    with contextlib.closing(pa.ipc.open_stream(pa.PythonFile(_Readable(pieces), mode="r"))) as reader:
        save_batches(reader.schema, _seen(reader, each), form, output)


def save_batches(schema: pa.Schema, batches: Iterator[pa.RecordBatch], form: str, output: Output) -> None:
    """Write record batches into a file of a columnar ``form``."""
    if form == "parquet":
        _save_parquet(schema, batches, output)
        return
    make: Any = pa.ipc.new_stream if form == "arrow" else pa.ipc.new_file
    with make(output, schema) as writer:
        for found in batches:
            writer.write_batch(found)


def _seen(reader: Any, each: Callable[[pa.RecordBatch], None] | None) -> Iterator[pa.RecordBatch]:
    for found in reader:
        if each is not None:
            each(found)
        yield found


def _save_parquet(schema: pa.Schema, batches: Iterator[pa.RecordBatch], output: Output) -> None:
    waiting: list[pa.RecordBatch] = []
    with pq.ParquetWriter(output, schema) as writer:
        for found in batches:
            waiting.append(found)
            if sum(each.num_rows for each in waiting) >= ROW_GROUP_SIZE:
                writer.write_table(pa.Table.from_batches(waiting, schema))
                waiting.clear()
        if waiting:
            writer.write_table(pa.Table.from_batches(waiting, schema))
