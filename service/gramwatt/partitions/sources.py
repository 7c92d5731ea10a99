"""The sources of parts: a file that every worker can open, or a grid of points."""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from gramwatt.engine.tables import batch, sweep
from gramwatt.engine.tables.chunks import Chunk
from gramwatt.engine.tables.header import Passthrough
from gramwatt.engine.tables.plan import Plan
from gramwatt.engine.tables.sweep import Axis
from gramwatt.engine.tables.writers import Style

COLUMNAR_FORMATS: Final = ("parquet", "arrow-file")
TEXT_FORMATS: Final = ("csv", "tsv", "ndjson")


@dataclass(frozen=True, slots=True)
class Part:
    """A part of a table or grid.

    ``start`` and ``stop`` count bytes of a text file, rows of a columnar file, or points of a grid. ``first`` counts
    the rows before the part, ``rows`` those in it.
    """

    number: int
    first: int
    rows: int
    start: int
    stop: int


class SourceError(Exception):
    """A worker cannot read the table or write the part. The text is one line for the user."""


@dataclass(frozen=True, slots=True)
class Grid:
    """The points of a grid."""

    axes: tuple[Axis, ...]

    def read_chunks(self, plan: Plan, part: Part) -> Iterator[Chunk]:
        """Yield the points of a part."""
        return sweep.read_grid(self.axes, text=plan.text, start=part.start, stop=part.stop)

    def check(self) -> None:
        """Do nothing: a grid cannot change."""


@dataclass(frozen=True, slots=True)
class TableFile:
    """A file that can be read from the start of any of its parts.

    Its size and modification time show whether it has changed since it was split. ``header`` is the first row of CSV,
    and ``begin`` the position after it.
    """

    path: str
    form: str
    style: Style
    passthrough: Passthrough
    size: int
    modified: int
    header: bytes = b""
    begin: int = 0
    separator: str = ","

    def read_chunks(self, plan: Plan, part: Part) -> Iterator[Chunk]:
        """Yield the rows of a part, numbered as in the whole table. Raises SourceError, Unreadable, Broken."""
        self.check()
        chunks = self._read_columnar(plan, part) if self.form in COLUMNAR_FORMATS else self._read_text(plan, part)
        for chunk in chunks:
            yield dataclasses.replace(chunk, first=chunk.first + part.first)

    def check(self) -> None:
        """Raise SourceError if the file has changed since it was split."""
        status = os.stat(self.path)
        if (status.st_size, status.st_mtime_ns) != (self.size, self.modified):
            raise SourceError(f"{self.path} has changed since the run began")

    def _read_text(self, plan: Plan, part: Part) -> Iterator[Chunk]:
        with open(self.path, "rb") as file:
            file.seek(part.start)
            header, remaining = self.header, part.stop - part.start

            def read(size: int) -> bytes:
                nonlocal header, remaining
                if header:
                    data, header = header[:size], header[size:]
                else:
                    data = file.read(min(size, remaining))
                    remaining -= len(data)
                return data

            yield from batch.read_chunks(plan, batch.TableFormat(self.form, self.style), read, self.passthrough)

    def _read_columnar(self, plan: Plan, part: Part) -> Iterator[Chunk]:
        from gramwatt.engine.tables.arrow_reader import read_batches
        from gramwatt.partitions.columnar import open_reader

        with open_reader(self.path, self.form) as columns:
            batches = columns.read_rows(part.start, part.stop)
            yield from read_batches(
                plan.calculator, columns.schema, batches, passthrough=self.passthrough, constants=plan.constants
            )
