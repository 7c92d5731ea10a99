"""Compute one part in a worker: read it, compute it, write it, and return counts."""

from __future__ import annotations

import socket
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np

from gramwatt.engine.tables.batch import RowCounts, write_table
from gramwatt.engine.tables.chunks import BatchResult, Chunk, MalformedTable, PassthroughValues
from gramwatt.engine.tables.compute import compute_batch
from gramwatt.engine.tables.plan import Plan
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
    """What all parts have in common. It is small, since it travels with each part."""

    plan: Plan
    source: TableFile | Grid
    folder: str
    form: str
    style: Style
    passthrough_columns: Mapping[str, PassthroughValues] = field(default_factory=dict)
    """The columns that pass through, without rows: they give every part the same columns of the same types."""

    def file_name(self, part: Part) -> str:
        """Return the file name of a part."""
        return f"part-{part.number:05}{SUFFIXES[self.form]}"

    def make_writer(self) -> Writer:
        """Return a writer whose header is the same for every part."""
        return _FixedHeaderWriter(make_table_writer(self.plan, self.form, self.style), self.passthrough_columns)


@dataclass(frozen=True, slots=True)
class PartResult:
    """The counts of a part that was written. ``failure`` says why the part ended early, if it did."""

    number: int
    rows: int
    invalid: int
    size: int
    failure: str | None = None


class _FixedHeaderWriter:
    """A writer that takes its columns from the job rather than from the first rows."""

    def __init__(self, writer: Writer, passthrough_columns: Mapping[str, PassthroughValues]) -> None:
        self._writer, self._passthrough_columns = writer, passthrough_columns
        self.errors: RowErrorReporter = writer.errors

    def begin(self, first: BatchResult | None) -> bytes:
        no_rows = np.zeros(0, dtype=np.intp)
        return self._writer.begin(BatchResult(0, 0, self._passthrough_columns, {}, no_rows, [()], {}))

    def write_rows(self, result: BatchResult) -> bytes:
        return self._writer.write_rows(result)

    def write_failure(self, failure: MalformedTable, row: int) -> bytes:
        return self._writer.write_failure(failure, row)

    def end(self) -> bytes:
        return self._writer.end()


def get_passthrough_columns(chunk: Chunk | None) -> dict[str, PassthroughValues]:
    """Return the columns of a chunk that pass through, without their rows."""
    columns = {} if chunk is None else chunk.passthrough_columns
    return {name: [] if isinstance(column, list) else _make_empty(column) for name, column in columns.items()}


def _make_empty(column: PassthroughValues) -> PassthroughValues:
    """Return an empty Arrow array of the same type. A slice would travel with all rows of the array."""
    import pyarrow as pa

    return pa.nulls(0, column.type)


def compute_part(job: Job, part: Part) -> PartResult:
    """Read, compute and write one part. Its file appears complete or not at all. Raises SourceError."""
    try:
        counts = RowCounts(rows=part.first)
        path = Path(job.folder) / job.file_name(part)
        with Output(str(path)) as output:
            chunks = job.source.read_chunks(job.plan, part)
            save_output(write_table(job.plan, chunks, job.make_writer(), counts), job.form, output)
            output.commit()
        failure = None if counts.failure is None else counts.failure.detail
        return PartResult(part.number, counts.rows - part.first, counts.invalid, path.stat().st_size, failure)
    except OSError as error:
        where = error.filename or job.folder
        raise SourceError(f"{where}: {error.strerror or error} (on {socket.gethostname()})") from None


def compute_best_of_part(plan: Plan, grid: Grid, ranking: Ranking, part: Part) -> tuple[Part, BestRows, int]:
    """Return the best points of a part of a grid, and the number of its invalid points."""
    invalid = 0

    def compute() -> Iterator[BatchResult]:
        nonlocal invalid
        for chunk in grid.read_chunks(plan, part):
            for result in compute_batch(plan, chunk):
                invalid += len(result.errors)
                yield result

    return part, select_best(ranking, compute()), invalid
