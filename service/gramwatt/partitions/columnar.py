"""Columnar files whose rows can be read from any place. Imported where there is one, since pyarrow is optional."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from gramwatt.engine.arrow_types import first_line
from gramwatt.engine.tables.chunks import MalformedTable
from gramwatt.files.columnar import READ_ROWS


class ColumnarReader:
    """An open Parquet or Arrow IPC file. ``groups`` holds the number of rows of each row group or record batch."""

    def __init__(self, path: str, form: str, held: contextlib.ExitStack) -> None:
        self._reader: Any
        self.schema: pa.Schema
        if form == "parquet":
            self._reader = held.enter_context(pq.ParquetFile(path, pre_buffer=False, buffer_size=4 * 1024 * 1024))
            self.schema = self._reader.schema_arrow
            metadata = self._reader.metadata
            self.groups = [metadata.row_group(at).num_rows for at in range(metadata.num_row_groups)]
        else:
            self._reader = pa.ipc.open_file(held.enter_context(pa.memory_map(path)))
            self.schema = self._reader.schema
            self.groups = [self._reader.get_batch(at).num_rows for at in range(self._reader.num_record_batches)]

    def rows_between(self, start: int, stop: int) -> Iterator[pa.RecordBatch]:
        """Yield the rows from ``start`` to ``stop`` of the file. Raises Broken where they cannot be read."""
        read, begin = start, 0
        for at, rows in enumerate(self.groups):
            if begin < stop and begin + rows > start:
                position = begin
                try:
                    for found in self._batches(at):
                        low, high = max(start - position, 0), min(stop - position, found.num_rows)
                        if low < high:
                            yield found.slice(low, high - low)
                            read += high - low
                        position += found.num_rows
                        if position >= stop:
                            return
                except (pa.ArrowException, OSError, EOFError) as error:
                    raise MalformedTable(f"the file breaks off after row {read}: {first_line(error)}") from None
            begin += rows

    def _batches(self, group: int) -> Iterator[pa.RecordBatch]:
        if isinstance(self._reader, pq.ParquetFile):
            yield from self._reader.iter_batches(batch_size=READ_ROWS, row_groups=[group], use_threads=False)
            return
        found = self._reader.get_batch(group)
        for start in range(0, found.num_rows, READ_ROWS):
            yield found.slice(start, READ_ROWS)


@contextlib.contextmanager
def open_reader(path: str, form: str) -> Iterator[ColumnarReader]:
    """Open a columnar file. Raises Broken where it is none, OSError where it cannot be opened."""
    with contextlib.ExitStack() as held:
        try:
            columns = ColumnarReader(path, form, held)
        except FileNotFoundError:
            raise
        except (pa.ArrowException, OSError, EOFError) as error:
            kind = "Parquet" if form == "parquet" else "Arrow IPC"
            raise MalformedTable(f"this is no {kind} file: {first_line(error)}") from None
        yield columns
