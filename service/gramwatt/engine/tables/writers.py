"""Write a table in chunks: CSV, JSON array, NDJSON. See `arrow_writer` for Arrow."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, field
from typing import Protocol

import orjson

from gramwatt.engine.formula_guard import guard_cell, guard_cells
from gramwatt.engine.serializers import MAX_DIGITS
from gramwatt.engine.tables.cell_formatting import (
    CsvCells,
    Texts,
    format_json,
    format_result_json,
    join_rows,
    passthrough_values,
    select_texts,
)
from gramwatt.engine.tables.chunks import BatchResult, MalformedTable
from gramwatt.engine.tables.plan import OutputColumn, Plan, output_columns
from gramwatt.engine.tables.row_errors import RowErrorReporter, errors_with_dropped_columns


@dataclass(frozen=True, slots=True)
class Style:
    """The style of text: header ``units``, ``names`` or ``off``; digits; separator and decimal sign of CSV.

    The digits are those of every format.
    """

    header: str = "units"
    digits: int = MAX_DIGITS
    separator: str = ","
    decimal: str = "."


class Writer(Protocol):
    """Writes one table. ``begin`` gets the first result, or None if there are no rows."""

    errors: RowErrorReporter

    def begin(self, first: BatchResult | None) -> bytes:
        """Return what comes before the rows."""
        ...

    def write_rows(self, result: BatchResult) -> bytes:
        """Return the rows of a result."""
        ...

    def write_failure(self, failure: MalformedTable, row: int) -> bytes:
        """Return a last row that says why the table ends early."""
        ...

    def end(self) -> bytes:
        """Return what comes after the rows."""
        ...


@dataclass(slots=True)
class CsvWriter:
    """Writes CSV: pass-through columns, results, ``cautions``, ``error``. Texts that are formulas are guarded."""

    plan: Plan
    style: Style
    errors: RowErrorReporter = field(default_factory=RowErrorReporter)
    _passthrough_columns: tuple[str, ...] = ()

    def begin(self, first: BatchResult | None) -> bytes:
        """Return the header line."""
        self._passthrough_columns = () if first is None else tuple(first.passthrough_columns)
        if self.style.header == "off":
            return b""
        names = [
            *self._passthrough_columns,
            *(self._format_heading(column) for column in output_columns(self.plan)),
            "cautions",
            "error",
        ]
        written = io.StringIO(newline="")
        line = csv.writer(written, delimiter=self.style.separator, lineterminator="\r\n")
        line.writerow(guard_cell(name) for name in names)
        return written.getvalue().encode()

    def _format_heading(self, column: OutputColumn) -> str:
        if self.style.header != "units" or column.unit == "1":
            return column.name
        return f"{column.name} [{column.unit}]"

    def write_rows(self, result: BatchResult) -> bytes:
        """Return the rows as text."""
        cells = CsvCells(self.style.separator, self.style.decimal)
        parts: list[Texts] = []
        for name in self._passthrough_columns:
            values = passthrough_values(result.passthrough_columns.get(name), result.rows)
            parts += [cells.format_values(guard_cells(values, self.style.decimal)), self.style.separator]
        parts += cells.format_results(output_columns(self.plan), result.columns, self.style.digits)
        parts.append(
            select_texts([cells.quote(" ".join(codes) or None) for codes in result.cautions], result.caution_index)
        )
        parts += [self.style.separator, self._errors(result, cells), "\r\n"]
        return join_rows(parts, result.rows).encode()

    def _errors(self, result: BatchResult, cells: CsvCells) -> Texts:
        errors_by_row = errors_with_dropped_columns(result, self._passthrough_columns)
        if not errors_by_row:
            return ""
        texts = [""] * result.rows
        for row in sorted(errors_by_row):
            texts[row] = cells.quote(guard_cell(self.errors.format_text(result.first + row + 1, errors_by_row[row])))
        return texts

    def write_failure(self, failure: MalformedTable, row: int) -> bytes:
        """Return a row with the error."""
        width = len(self._passthrough_columns) + len(output_columns(self.plan)) + 1
        text = f"#ERR {failure.kind} after row {row}: {failure.detail}"
        cell = CsvCells(self.style.separator, self.style.decimal).quote(text)
        return f"{self.style.separator * width}{cell}\r\n".encode()

    def end(self) -> bytes:
        """Return nothing."""
        return b""


@dataclass(slots=True)
class JsonWriter:
    """Writes an object for each row: pass-through columns, results, ``cautions``, and ``error`` for an invalid row."""

    plan: Plan
    array: bool
    digits: int = MAX_DIGITS
    errors: RowErrorReporter = field(default_factory=RowErrorReporter)
    _any: bool = False

    def begin(self, first: BatchResult | None) -> bytes:
        """Return the opening bracket of an array."""
        return b"[\n" if self.array else b""

    def write_rows(self, result: BatchResult) -> bytes:
        """Return the rows as objects."""
        passthrough_columns = {
            name: passthrough_values(values, result.rows) for name, values in result.passthrough_columns.items()
        }
        named: dict[str, Texts] = {name: format_json(values) for name, values in passthrough_columns.items()}
        for column in output_columns(self.plan):
            named[column.name] = format_result_json(column, result.columns[column.name], self.digits)
        codes = [orjson.dumps(codes).decode() for codes in result.cautions]
        named["cautions"] = select_texts(codes, result.caution_index)
        parts: list[Texts] = []
        for name, texts in named.items():
            parts += [("," if parts else "{") + orjson.dumps(name).decode() + ":", texts]
        parts.append("},\n" if self.array else "}\n")
        text = join_rows(parts, result.rows)
        if result.errors:
            lines = text.split("\n")  # text in JSON holds no line end itself
            for row in sorted(result.errors):
                error = self.errors.to_object(result.first + row + 1, result.errors[row])
                line = orjson.dumps(
                    {**{name: cells[row] for name, cells in passthrough_columns.items()}, "error": error}
                ).decode()
                lines[row] = line + "," if self.array else line
            text = "\n".join(lines)
        return self._put(text)

    def _put(self, lines: str) -> bytes:
        """Return lines as bytes. In an array each but the last ends with a comma."""
        if self.array and lines:
            lines, self._any = (",\n" if self._any else "") + lines[:-2], True
        return lines.encode()

    def write_failure(self, failure: MalformedTable, row: int) -> bytes:
        """Return a last object with the error."""
        error = {"error": {"row": row, "type": f"/problems/{failure.kind}", "detail": failure.detail}}
        return self._put(orjson.dumps(error).decode() + (",\n" if self.array else "\n"))

    def end(self) -> bytes:
        """Return the closing bracket of an array."""
        if not self.array:
            return b""
        return b"\n]\n" if self._any else b"]\n"
