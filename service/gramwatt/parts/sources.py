"""What parts are read from: a file that every worker can open, or a grid of points."""

from __future__ import annotations

import contextlib
import dataclasses
import os
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import pyarrow as pa
import pyarrow.parquet as pq

from gramwatt.edge.tables import batch, sweep
from gramwatt.edge.tables.answering import Plan
from gramwatt.edge.tables.arrow_in import first_line, read_batches
from gramwatt.edge.tables.chunk import Broken, Chunk
from gramwatt.edge.tables.heading import Keeping
from gramwatt.edge.tables.sweep import Axis
from gramwatt.edge.tables.writing import Style

ROWS: Final = 65_536
"""Rows of a columnar file read at once."""
COLUMNAR: Final = ("parquet", "arrow-file")
TEXT: Final = ("csv", "tsv", "ndjson")


@dataclass(frozen=True, slots=True)
class Part:
    """A part of a table or grid. ``start`` and ``stop`` count bytes of a text file, rows of a columnar file, or
    points of a grid; ``first`` counts the rows before the part, ``rows`` those in it."""

    number: int
    first: int
    rows: int
    start: int
    stop: int


class SourceError(Exception):
    """A worker cannot read the table or write the part; the text is one line for the user."""


@dataclass(frozen=True, slots=True)
class Grid:
    """The points of a grid."""

    axes: tuple[Axis, ...]

    def chunks(self, plan: Plan, part: Part) -> Iterator[Chunk]:
        """Yield the points of a part."""
        return sweep.grid(self.axes, text=plan.words, start=part.start, stop=part.stop)

    def check(self) -> None:
        """Do nothing: a grid cannot change."""


@dataclass(frozen=True, slots=True)
class TableFile:
    """A file that can be read from any of its parts. Size and modification time show whether the file is still the
    one that was split. CSV has a ``header``, its first row, after which the rows begin, and a ``separator``."""

    path: str
    form: str
    style: Style
    keeping: Keeping
    size: int
    modified: int
    header: bytes = b""
    begin: int = 0
    separator: str = ","

    def chunks(self, plan: Plan, part: Part) -> Iterator[Chunk]:
        """Yield the rows of a part, numbered as in the whole table. Raises SourceError, Unreadable, Broken."""
        self.check()
        chunks = self._columnar(plan, part) if self.form in COLUMNAR else self._text(plan, part)
        for chunk in chunks:
            yield dataclasses.replace(chunk, first=chunk.first + part.first)

    def check(self) -> None:
        """Raise SourceError if the file has changed since it was split."""
        found = os.stat(self.path)
        if (found.st_size, found.st_mtime_ns) != (self.size, self.modified):
            raise SourceError(f"{self.path} has changed since the run began")

    def _text(self, plan: Plan, part: Part) -> Iterator[Chunk]:
        with open(self.path, "rb") as file:
            file.seek(part.start)
            header, left = self.header, part.stop - part.start

            def source(size: int) -> bytes:
                nonlocal header, left
                if header:
                    read, header = header[:size], header[size:]
                else:
                    read = file.read(min(size, left))
                    left -= len(read)
                return read

            yield from batch.chunks(plan, batch.Form(self.form, self.style), source, self.keeping)

    def _columnar(self, plan: Plan, part: Part) -> Iterator[Chunk]:
        with columns_of(self.path, self.form) as columns:
            batches = columns.rows_between(part.start, part.stop)
            yield from read_batches(
                plan.calculator, columns.schema, batches, keeping=self.keeping, constants=plan.constants
            )


class Columns:
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
                    raise Broken(f"the file breaks off after row {read}: {first_line(error)}") from None
            begin += rows

    def _batches(self, group: int) -> Iterator[pa.RecordBatch]:
        if isinstance(self._reader, pq.ParquetFile):
            yield from self._reader.iter_batches(batch_size=ROWS, row_groups=[group], use_threads=False)
            return
        found = self._reader.get_batch(group)
        for start in range(0, found.num_rows, ROWS):
            yield found.slice(start, ROWS)


@contextlib.contextmanager
def columns_of(path: str, form: str) -> Iterator[Columns]:
    """Open a columnar file. Raises Broken where it is none, OSError where it cannot be opened."""
    with contextlib.ExitStack() as held:
        try:
            columns = Columns(path, form, held)
        except FileNotFoundError:
            raise
        except (pa.ArrowException, OSError, EOFError) as error:
            kind = "Parquet" if form == "parquet" else "Arrow IPC"
            raise Broken(f"this is no {kind} file: {first_line(error)}") from None
        yield columns
