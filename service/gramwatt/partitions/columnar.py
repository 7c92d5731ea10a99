"""Columnar files whose rows can be read from any position. Imported only for such files: pyarrow is optional."""

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
    """An open Parquet or Arrow IPC file. ``groups`` has the number of rows of each row group or record batch."""

    def __init__(self, path: str, form: str, stack: contextlib.ExitStack) -> None:
        self._reader: Any
        self.schema: pa.Schema
        if form == "parquet":
            self._reader = stack.enter_context(pq.ParquetFile(path, pre_buffer=False, buffer_size=4 * 1024 * 1024))
            self.schema = self._reader.schema_arrow
            metadata = self._reader.metadata
            self.groups = [metadata.row_group(index).num_rows for index in range(metadata.num_row_groups)]
        else:
            self._reader = pa.ipc.open_file(stack.enter_context(pa.memory_map(path)))
            self.schema = self._reader.schema
            self.groups = [self._reader.get_batch(index).num_rows for index in range(self._reader.num_record_batches)]

    def read_rows(self, start: int, stop: int) -> Iterator[pa.RecordBatch]:
        """Yield the rows from ``start`` to ``stop``. Raises MalformedTable if they cannot be read."""
        rows_read, group_start = start, 0
        for group, rows in enumerate(self.groups):
            if group_start < stop and group_start + rows > start:
                position = group_start
                try:
                    for batch in self._read_group(group):
                        low, high = max(start - position, 0), min(stop - position, batch.num_rows)
                        if low < high:
                            yield batch.slice(low, high - low)
                            rows_read += high - low
                        position += batch.num_rows
                        if position >= stop:
                            return
                except (pa.ArrowException, OSError, EOFError) as error:
                    raise MalformedTable(f"the file is damaged after row {rows_read}: {first_line(error)}") from None
            group_start += rows

    def _read_group(self, group: int) -> Iterator[pa.RecordBatch]:
        if isinstance(self._reader, pq.ParquetFile):
            yield from self._reader.iter_batches(batch_size=READ_ROWS, row_groups=[group], use_threads=False)
            return
        batch = self._reader.get_batch(group)
        for start in range(0, batch.num_rows, READ_ROWS):
            yield batch.slice(start, READ_ROWS)


@contextlib.contextmanager
def open_reader(path: str, form: str) -> Iterator[ColumnarReader]:
    """Open a columnar file. Raises MalformedTable if it has another format, OSError if it cannot be opened."""
    with contextlib.ExitStack() as stack:
        try:
            reader = ColumnarReader(path, form, stack)
        except FileNotFoundError:
            raise
        except (pa.ArrowException, OSError, EOFError) as error:
            kind = "a Parquet" if form == "parquet" else "an Arrow IPC"
            raise MalformedTable(f"this is not {kind} file: {first_line(error)}") from None
        yield reader
