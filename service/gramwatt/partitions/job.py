"""What a worker does with a part: read it, compute it, write it, and return counts."""

from __future__ import annotations

import socket
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np

from gramwatt.engine.tables.batch import RowCounts, write_table
from gramwatt.engine.tables.chunks import Chunk, MalformedTable, PassthroughValues
from gramwatt.engine.tables.compute import BatchResult, Plan, compute_batch
from gramwatt.engine.tables.ranking import BestRows, Ranking, select_best
from gramwatt.engine.tables.row_errors import RowErrorReporter
from gramwatt.engine.tables.writers import Style, Writer
from gramwatt.files.output import Output, make_table_writer, save_output
from gramwatt.partitions.sources import Grid, Part, SourceError, TableFile

SUFFIXES: Final = {
    "csv": ".csv",
    "tsv": ".tsv",
    "ndjson": ".ndjson",
    "json": ".json",
    "arrow": ".arrows",
    "arrow-file": ".arrow",
    "parquet": ".parquet",
}


@dataclass(frozen=True, slots=True)
class Job:
    """What every part has in common; small, since it travels with each. ``passed`` holds the columns that pass
    through, without rows: with them every part has the same columns of the same types."""

    plan: Plan
    source: TableFile | Grid
    folder: str
    form: str
    style: Style
    passed: Mapping[str, PassthroughValues] = field(default_factory=dict)

    def name_of(self, part: Part) -> str:
        """Return the file name of a part."""
        return f"part-{part.number:05}{SUFFIXES[self.form]}"

    def writer(self) -> Writer:
        """Return a writer whose header is the same for every part."""
        return _Headed(make_table_writer(self.plan, self.form, self.style), self.passed)


@dataclass(frozen=True, slots=True)
class PartResult:
    """The counts of a part that was written. ``broken`` says why the part ends before its end, where it does."""

    number: int
    rows: int
    invalid: int
    size: int
    broken: str | None = None


class _Headed:
    """A writer that takes its columns from the job rather than from the first rows."""

    def __init__(self, into: Writer, passed: Mapping[str, PassthroughValues]) -> None:
        self._into, self._passed = into, passed
        self.errors: RowErrorReporter = into.errors

    def begin(self, first: BatchResult | None) -> bytes:
        none = np.zeros(0, dtype=np.intp)
        return self._into.begin(BatchResult(0, 0, self._passed, {}, none, [()], {}))

    def write_rows(self, piece: BatchResult) -> bytes:
        return self._into.write_rows(piece)

    def write_failure(self, failure: MalformedTable, row: int) -> bytes:
        return self._into.write_failure(failure, row)

    def end(self) -> bytes:
        return self._into.end()


def get_passthrough_columns(chunk: Chunk | None) -> dict[str, PassthroughValues]:
    """Return the columns of a chunk that pass through, without their rows."""
    passthrough_columns = {} if chunk is None else chunk.passthrough_columns
    return {name: [] if isinstance(column, list) else _empty(column) for name, column in passthrough_columns.items()}


def _empty(column: PassthroughValues) -> PassthroughValues:
    """Return an Arrow array of the same type. A slice would travel with all of the array's rows."""
    import pyarrow as pa

    return pa.nulls(0, column.type)


def compute_part(job: Job, part: Part) -> PartResult:
    """Read, compute and write one part; its file appears whole or not at all. Raises SourceError."""
    try:
        counts = RowCounts(rows=part.first)
        path = Path(job.folder) / job.name_of(part)
        with Output(str(path)) as output:
            save_output(
                write_table(job.plan, job.source.chunks(job.plan, part), job.writer(), counts), job.form, output
            )
            output.keep()
        broken = None if counts.failure is None else counts.failure.detail
        return PartResult(part.number, counts.rows - part.first, counts.invalid, path.stat().st_size, broken)
    except OSError as error:
        where = error.filename or job.folder
        raise SourceError(f"{where}: {error.strerror or error} (on {socket.gethostname()})") from None


def compute_best_of_part(plan: Plan, grid: Grid, wish: Ranking, part: Part) -> tuple[Part, BestRows, int]:
    """Return the best points of a part of a grid, and how many points are invalid."""
    invalid = 0

    def pieces() -> Iterator[BatchResult]:
        nonlocal invalid
        for chunk in grid.chunks(plan, part):
            for piece in compute_batch(plan, chunk):
                invalid += len(piece.errors)
                yield piece

    return part, select_best(wish, pieces()), invalid
