"""What parts are read from: a file that every worker can open, or a grid of points."""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from gramwatt.engine.tables import batch, sweep
from gramwatt.engine.tables.chunks import Chunk
from gramwatt.engine.tables.compute import Plan
from gramwatt.engine.tables.header import Passthrough
from gramwatt.engine.tables.sweep import Axis
from gramwatt.engine.tables.writers import Style

COLUMNAR_FORMATS: Final = ("parquet", "arrow-file")
TEXT_FORMATS: Final = ("csv", "tsv", "ndjson")


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
        return sweep.read_grid(self.axes, text=plan.text, start=part.start, stop=part.stop)

    def check(self) -> None:
        """Do nothing: a grid cannot change."""


@dataclass(frozen=True, slots=True)
class TableFile:
    """A file that can be read from any of its parts. Size and modification time show whether the file is still the
    one that was split. CSV has a ``header``, its first row, after which the rows begin, and a ``separator``."""

    path: str
    form: str
    style: Style
    passthrough: Passthrough
    size: int
    modified: int
    header: bytes = b""
    begin: int = 0
    separator: str = ","

    def chunks(self, plan: Plan, part: Part) -> Iterator[Chunk]:
        """Yield the rows of a part, numbered as in the whole table. Raises SourceError, Unreadable, Broken."""
        self.check()
        chunks = self._columnar(plan, part) if self.form in COLUMNAR_FORMATS else self._text(plan, part)
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

            yield from batch.read_chunks(plan, batch.TableFormat(self.form, self.style), source, self.passthrough)

    def _columnar(self, plan: Plan, part: Part) -> Iterator[Chunk]:
        from gramwatt.engine.tables.arrow_reader import read_batches
        from gramwatt.partitions.columnar import open_reader

        with open_reader(self.path, self.form) as columns:
            batches = columns.rows_between(part.start, part.stop)
            yield from read_batches(
                plan.calculator, columns.schema, batches, passthrough=self.passthrough, constants=plan.constants
            )
