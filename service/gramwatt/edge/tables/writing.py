"""An answered table written in pieces: CSV, JSON array, NDJSON; see `arrow_out` for Arrow."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Protocol

import orjson
import polars as pl

from gramwatt.declare import NESTED, Series
from gramwatt.edge.cells import NUMBER
from gramwatt.edge.tables.answering import Answered, OutputColumn, Plan, output_columns
from gramwatt.edge.tables.chunk import Broken
from gramwatt.edge.tables.errors import ErrorTeller, with_left_out
from gramwatt.edge.tables.frame import (
    as_lists,
    caution_lists,
    caution_series,
    kept_series,
    result_series,
    results,
)

_FORMULA: Final = r"^[=+\-@\t\r]"


@dataclass(frozen=True, slots=True)
class Style:
    """How text is written: header ``units``, ``names`` or ``off``; digits; separator and decimal sign of CSV."""

    header: str = "units"
    digits: int = 12
    separator: str = ","
    decimal: str = "."


class Writer(Protocol):
    """Writes one table. ``begin`` may be called with the first piece, or with None where there is no row."""

    errors: ErrorTeller

    def begin(self, first: Answered | None) -> bytes:
        """What stands before the rows."""
        ...

    def rows(self, piece: Answered) -> bytes:
        """A piece's rows."""
        ...

    def broken(self, broken: Broken, row: int) -> bytes:
        """A last row that says why the table ends before its end."""
        ...

    def end(self) -> bytes:
        """What stands after the rows."""
        ...


@dataclass(slots=True)
class CsvWriter:
    """Kept columns, results, ``cautions``, ``error``; texts that a spreadsheet would run are guarded."""

    plan: Plan
    style: Style
    errors: ErrorTeller = field(default_factory=ErrorTeller)
    _kept: tuple[str, ...] = ()

    def begin(self, first: Answered | None) -> bytes:
        """The header line."""
        self._kept = () if first is None else tuple(first.kept)
        if self.style.header == "off":
            return b""
        names = [*self._kept, *(self._headed(column) for column in output_columns(self.plan)), "cautions", "error"]
        written = io.StringIO(newline="")
        line = csv.writer(written, delimiter=self.style.separator, lineterminator="\r\n")
        line.writerow(
            f"'{name}" if re.match(_FORMULA, name) and not re.fullmatch(NUMBER, name) else name for name in names
        )
        return written.getvalue().encode()

    def _headed(self, column: OutputColumn) -> str:
        if self.style.header != "units" or column.unit == "1":
            return column.name
        return f"{column.name} [{column.unit}]"

    def rows(self, piece: Answered) -> bytes:
        """The rows as text."""
        kept = [kept_series(name, piece.kept.get(name), piece.rows) for name in self._kept]
        errors = pl.Series("error", [None], dtype=pl.String).new_from_index(0, piece.rows)
        faults = with_left_out(piece, self._kept)
        if faults:
            texts: list[str | None] = [None] * piece.rows
            for row in sorted(faults):
                texts[row] = self.errors.text(piece.first + row + 1, faults[row])
            errors = pl.Series("error", texts, dtype=pl.String)
        columns = [
            *(_guard(series, self.style.decimal) if series.dtype == pl.String else series for series in kept),
            *results(output_columns(self.plan), piece.columns, self.style.digits),
            caution_series(piece),
            _guard(errors) if faults else errors,
        ]
        return self._write(pl.DataFrame([series.alias(str(at)) for at, series in enumerate(columns)]))

    def _write(self, frame: pl.DataFrame) -> bytes:
        sink = io.BytesIO()
        frame.write_csv(
            sink,
            include_header=False,
            separator=self.style.separator,
            line_terminator="\r\n",
            decimal_comma=self.style.decimal == ",",
        )
        return sink.getvalue()

    def broken(self, broken: Broken, row: int) -> bytes:
        """A row whose error says so."""
        width = len(self._kept) + len(output_columns(self.plan)) + 1
        text = f"#ERR {broken.kind} after row {row}: {broken.detail}"
        return self._write(pl.DataFrame([[None]] * width + [[text]], schema=[str(at) for at in range(width + 1)]))

    def end(self) -> bytes:
        """Nothing."""
        return b""


def _guard(series: pl.Series, decimal: str = ".") -> pl.Series:
    risky = series.str.contains(_FORMULA)
    if not risky.any():
        return series
    risky &= ~series.str.replace(decimal, ".", literal=True).str.contains(f"^{NUMBER}$")
    return pl.select(pl.when(risky).then(pl.lit("'") + series).otherwise(series)).to_series()


@dataclass(slots=True)
class JsonWriter:
    """One object a row: kept columns, results, ``cautions``, and ``error`` where there is one."""

    plan: Plan
    array: bool
    errors: ErrorTeller = field(default_factory=ErrorTeller)
    _any: bool = False

    def begin(self, first: Answered | None) -> bytes:
        """The opening bracket of an array."""
        return b"[\n" if self.array else b""

    def rows(self, piece: Answered) -> bytes:
        """The rows as objects."""
        columns = output_columns(self.plan)
        by_columns = not any(isinstance(column.kind, NESTED) for column in columns) and not any(
            isinstance(kept, list) for kept in piece.kept.values()
        )
        if by_columns and not piece.faults:
            return self._text(self._frame(piece, columns))
        if by_columns:
            lines = self._frame(piece, columns).getvalue().split(b"\n")[:-1]
        else:
            lines = [orjson.dumps(row) for row in self._objects(piece, columns)]
        kept = _kept_lists(piece) if piece.faults else {}
        for row in sorted(piece.faults):
            told = self.errors.as_object(piece.first + row + 1, piece.faults[row])
            lines[row] = orjson.dumps({**{name: cells[row] for name, cells in kept.items()}, "error": told})
        return self._joined(lines)

    def _frame(self, piece: Answered, columns: Sequence[OutputColumn]) -> io.BytesIO:
        """The rows, a line each."""
        made = [
            *(kept_series(name, kept, piece.rows) for name, kept in piece.kept.items()),
            *(result_series(column, piece.columns[column.name], 12) for column in columns),
            caution_lists(piece),
        ]
        sink = io.BytesIO()
        pl.DataFrame(made).write_ndjson(sink)
        return sink

    def _objects(self, piece: Answered, columns: Sequence[OutputColumn]) -> list[dict[str, Any]]:
        values: dict[str, Any] = _kept_lists(piece)
        for column in columns:
            cells = piece.columns[column.name]
            if isinstance(cells, list):
                values[column.name] = cells
            elif isinstance(column.kind, Series):
                values[column.name] = as_lists(cells, 12)
            else:
                values[column.name] = result_series(column, cells, 12).to_list()
        return [
            {
                **{name: cells[row] for name, cells in values.items()},
                "cautions": list(piece.cautions[int(piece.caution_at[row])]),
            }
            for row in range(piece.rows)
        ]

    def _joined(self, lines: Sequence[bytes]) -> bytes:
        return self._text(io.BytesIO(b"".join(line + b"\n" for line in lines))) if lines else b""

    def _text(self, lines: io.BytesIO) -> bytes:
        """Lines as they are written: in an array with commas between, as text in JSON holds no line end itself."""
        if not self.array:
            return lines.getvalue()
        lines.truncate(lines.seek(-1, io.SEEK_END))
        first, self._any = not self._any, True
        text = lines.getvalue().replace(b"\n", b",\n")
        return text if first else b",\n" + text

    def broken(self, broken: Broken, row: int) -> bytes:
        """A last object whose error says so."""
        return self._joined(
            [orjson.dumps({"error": {"row": row, "type": f"/problems/{broken.kind}", "detail": broken.detail}})]
        )

    def end(self) -> bytes:
        """The closing bracket of an array."""
        if not self.array:
            return b""
        return b"\n]\n" if self._any else b"]\n"


def _kept_lists(piece: Answered) -> dict[str, list[Any]]:
    """The columns passed through, as values of JSON."""
    return {
        name: kept if isinstance(kept, list) else kept_series(name, kept, piece.rows).to_list()
        for name, kept in piece.kept.items()
    }
