"""Compute a table of any length, from the bytes of a request to those of the response."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from gramwatt.engine.budget import TooMuchWork, count_response_bytes
from gramwatt.engine.column_types import ABSENT
from gramwatt.engine.columns import get_cell
from gramwatt.engine.craft_fields import MEMBER
from gramwatt.engine.tables.chunks import BatchResult, Chunk, MalformedTable, Source
from gramwatt.engine.tables.compute import compute_batch
from gramwatt.engine.tables.craft_columns import list_members
from gramwatt.engine.tables.csv_reader import read_csv
from gramwatt.engine.tables.header import Passthrough
from gramwatt.engine.tables.json_reader import read_json, read_ndjson
from gramwatt.engine.tables.plan import Plan, carries_uncertainty
from gramwatt.engine.tables.writers import CsvWriter, JsonWriter, Style, Writer
from gramwatt.extras import require


@dataclass(frozen=True, slots=True)
class TableFormat:
    """A format and its style."""

    name: str
    style: Style = field(default_factory=Style)


def require_arrow() -> None:
    """Raise MissingExtra if Arrow streams cannot be read or written."""
    require("pyarrow", extra="tables", purpose="Arrow streams")


def read_chunks(plan: Plan, form: TableFormat, source: Source, passthrough: Passthrough) -> Iterator[Chunk]:
    """Read a table in a format. Raises Unreadable or Broken, some of it only as the rows are read."""
    match form.name:
        case "json":
            return read_json(plan.calculator, source, passthrough=passthrough, constants=plan.constants)
        case "ndjson":
            return read_ndjson(plan.calculator, source, passthrough=passthrough, constants=plan.constants)
        case "arrow":
            require_arrow()
            from gramwatt.engine.tables.arrow_reader import read_arrow

            return read_arrow(plan.calculator, source, passthrough=passthrough, constants=plan.constants)
        case _:
            return read_csv(
                plan.calculator,
                source,
                separator="\t" if form.name == "tsv" else form.style.separator,
                decimal=form.style.decimal,
                passthrough=passthrough,
                constants=plan.constants,
            )


def make_writer(plan: Plan, form: TableFormat) -> Writer:
    """Return the writer of a format."""
    match form.name:
        case "json" | "ndjson":
            return JsonWriter(plan, form.name == "json", form.style.digits)
        case "arrow":
            require_arrow()
            from gramwatt.engine.tables.arrow_writer import ArrowWriter

            return ArrowWriter(plan, form.style.digits)
        case "tsv":
            style = form.style
            return CsvWriter(plan, Style(style.header, style.digits, "\t", style.decimal))
        case _:
            return CsvWriter(plan, form.style)


def read_first_chunk(plan: Plan, pieces: Iterator[Chunk]) -> tuple[Plan, Iterator[Chunk]]:
    """Return the plan, with uncertainty if the first row has any in a column ``<name>_u``, and the chunks.

    The first chunk is read here, so that errors at the beginning of a table are raised before any output.
    """
    first = next(pieces, None)
    if first is None:
        return plan, iter(())
    known = {*plan.calculator.input_fields, *list_members(plan.calculator)}
    has_uncertainty = any(name not in known and first.has_column(name) for name in first.cells)
    has_craft = first.rows > 0 and MEMBER in first.cells and first.has_column(MEMBER)
    if has_uncertainty or (has_craft and _is_craft_uncertain(plan, first)):
        plan = dataclasses.replace(plan, uncertain=True)
    return plan, itertools.chain((first,), pieces)


def _is_craft_uncertain(plan: Plan, first: Chunk) -> bool:
    """Return whether the craft document of the first row has an uncertain value that the calculator takes."""
    request = {name: get_cell(first.cells[name], 0) for name in list_members(plan.calculator) if name in first.cells}
    request = {**plan.constants, **{name: cell for name, cell in request.items() if cell is not ABSENT}}
    return carries_uncertainty(plan.calculator, request, first.cells, text=first.text or plan.text)


@dataclass(slots=True)
class RowCounts:
    """The counts of a table so far."""

    rows: int = 0
    invalid: int = 0
    failure: MalformedTable | None = None


def write_table(
    plan: Plan,
    pieces: Iterator[Chunk],
    writer: Writer,
    counts: RowCounts,
    compute: Callable[[Plan, Chunk], Iterator[BatchResult]] = compute_batch,
    *,
    max_rows: int | None = None,
) -> Iterator[bytes]:
    """Compute and write, at most ``max_rows`` rows at a time.

    An error that ends the table early is reported in a last row and in the row counts. Raises TooMuchWork before the
    first row, Cancelled anywhere.
    """
    started, head = False, b""
    try:
        for chunk in pieces:
            for piece in _split(compute(plan, chunk), max_rows):
                head = head if started else writer.begin(piece)
                started = True
                text = writer.write_rows(piece) if piece.rows else b""
                counts.rows += piece.rows
                counts.invalid += len(piece.errors)
                if head:
                    text, head = head + text, b""
                size = len(text)
                yield text
                count_response_bytes(size)  # after it is sent, since writers count their rows
    except (MalformedTable, TooMuchWork) as error:
        if isinstance(error, TooMuchWork) and not started:
            raise
        failure = counts.failure = (
            error if isinstance(error, MalformedTable) else MalformedTable(error.detail, "too-much-work")
        )
        yield (head if started else writer.begin(None)) + writer.write_failure(failure, counts.rows)
        started = True
    if not started:
        yield writer.begin(None)
    last = writer.end()
    if last:
        yield last


def _split(pieces: Iterator[BatchResult], max_rows: int | None) -> Iterator[BatchResult]:
    for piece in pieces:
        if max_rows is None or piece.rows <= max_rows:
            yield piece
            continue
        for start in range(0, piece.rows, max_rows):
            stop = min(start + max_rows, piece.rows)
            yield BatchResult(
                piece.first + start,
                stop - start,
                {name: values[start:stop] for name, values in piece.passthrough_columns.items()},
                {name: values[start:stop] for name, values in piece.columns.items()},
                piece.caution_index[start:stop],
                piece.cautions,
                {row - start: row_errors for row, row_errors in piece.errors.items() if start <= row < stop},
            )
