"""Rows of JSON objects as chunks: by columns where nothing can be hidden so, else one by one."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

import orjson
import polars as pl

from gramwatt.declare import Calculator, Choice, Count, Flag, Kind, Quantity, Text
from gramwatt.edge.cells import kind_of
from gramwatt.edge.columns import ABSENT, Cells, Packed, escape_name
from gramwatt.edge.strict_json import NotJson
from gramwatt.edge.tables import letters
from gramwatt.edge.tables.chunk import Chunk, Kept, numeric
from gramwatt.edge.tables.heading import Keeping, clash, possible, refusal
from gramwatt.edge.tables.words import cells_of
from gramwatt.edge.wording import Fault, echo, one_of

NUMERIC: Final = (pl.Int64, pl.Float64)
_TYPES: Final[Mapping[type, Any]] = {int: pl.Int64, float: pl.Float64, str: pl.String, bool: pl.Boolean}
MOST_AT_ONCE: Final = 20_000
"""Rows read one by one before they are answered."""
_HALF: Final = re.compile("[\\ud800-\\udfff]")
_HIDING: Final = (b" :", b"\t:", b"\r:")
"""What would spoil the count of names, as escapes do: space before a colon."""


class Rows:
    """Rows of objects as chunks."""

    def __init__(self, calculator: Calculator[Any, Any], keeping: Keeping, constants: Mapping[str, object]) -> None:
        self._known: Mapping[str, Kind] = possible(calculator)
        self._calculator, self._keeping, self._constants = calculator, keeping, constants
        self.first = 0
        self._types: dict[str, Any] = {}

    def _frame(self, lines: bytes, rows: int, names: int) -> pl.DataFrame | None:
        """The piece as a frame that holds all that it names; by the types that were right before, which is quicker."""
        if not self._types:
            self._types = self._guessed(lines[: lines.find(b"\n") + 1] or lines)
        for types in (self._types, None):
            frame = _parsed(lines, types) if types != {} else None
            if frame is None or frame.height != rows:
                continue
            if types and any(series.null_count() == rows for series in frame):
                continue  # no row of this piece may have such a column
            if _holds(frame, lines, names):
                if types is None:
                    self._types = self._types_of(frame)
                return frame
        return None

    def _guessed(self, line: bytes) -> dict[str, Any]:
        """The types that the first row suggests; nothing where it holds more than texts, numbers, and truths."""
        try:
            row = orjson.loads(line)
        except orjson.JSONDecodeError:
            return {}
        if not isinstance(row, dict) or not all(type(value) in _TYPES for value in row.values()):
            return {}
        return {
            name: pl.Float64 if name in self._known and type(value) is int else _TYPES[type(value)]
            for name, value in row.items()
        }

    def _types_of(self, frame: pl.DataFrame | None) -> dict[str, Any]:
        """The types of a frame's columns, with doubles for all numbers of inputs."""
        if frame is None or any(kind.is_nested() or kind == pl.Null for kind in frame.dtypes):
            return {}
        return {
            name: pl.Float64 if name in self._known and kind in NUMERIC else kind for name, kind in frame.schema.items()
        }

    def by_columns(self, lines: bytes, rows: int) -> Chunk | None:
        """A piece of one object a line, parsed at once; None where that could hide something."""
        if not self._calculator.columnwise or b"\\" in lines:
            return None
        names = letters.count(lines, b'":')
        if names != letters.count(lines, b":") and any(hiding in lines for hiding in _HIDING):
            return None
        frame = self._frame(lines, rows, names)
        if frame is None:
            return None
        cells: dict[str, Cells] = {}
        kept: dict[str, Kept] = {}
        for series in frame:
            name = series.name
            if series.dtype == pl.String and not _all_texts(lines, series):
                return None
            if self._refusal(name):
                return None
            if name in self._known:
                read = _cells(self._known[name], series)
                if read is None:
                    return None
                cells[name] = read
            elif not _stays(series):
                return None
            else:
                kept[name] = series
        return self._chunk(frame.height, cells, kept, {})

    def one_by_one(self, values: Iterator[object]) -> Iterator[Chunk]:
        """Rows that were parsed singly: objects, or what else stood there, or why one is not JSON."""
        rows: list[object] = []
        for value in values:
            rows.append(value)
            if len(rows) >= MOST_AT_ONCE:
                yield self._of_objects(rows)
                rows = []
        if rows:
            yield self._of_objects(rows)

    def _of_objects(self, rows: Sequence[object]) -> Chunk:
        faults: dict[int, list[Fault]] = {}
        names: dict[str, list[Fault]] = {}
        for at, row in enumerate(rows):
            if isinstance(row, NotJson):
                faults[at] = [Fault("", f"not JSON: {row}", None, "a JSON object")]
            elif not isinstance(row, dict):
                accepted = f"an object with {one_of(self._calculator.asked)}"
                faults[at] = [Fault("", f"{kind_of(row)} is not an object", echo(row), accepted)]
            else:
                names |= {name: self._refusal(name) for name in row if name not in names}
                found = [fault for name in row for fault in names[name]]
                if found:
                    faults[at] = found
        objects: list[dict[str, Any]] = [row if isinstance(row, dict) else {} for row in rows]
        cells: dict[str, Cells] = {
            name: [ABSENT if (cell := row.get(name)) is None else cell for row in objects]
            for name in names
            if name in self._known
        }
        kept: dict[str, list[Any]] = {
            name: [row.get(name) for row in objects]
            for name, refused in names.items()
            if name not in self._known and not refused
        }
        for name, values in kept.items():
            _take_out_unsendable(name, values, faults)
        return self._chunk(len(rows), cells, kept, faults)

    def _refusal(self, name: str) -> list[Fault]:
        if name in self._known:
            return clash(name, self._constants)
        if _HALF.search(name):
            accepted = "a name of whole characters"
            return [Fault(f"/{escape_name(name)}", "a name with half a surrogate pair", echo(name), accepted)]
        return refusal(self._calculator, name, self._keeping)

    def _chunk(
        self, rows: int, cells: Mapping[str, Cells], kept: Mapping[str, Kept], faults: Mapping[int, list[Fault]]
    ) -> Chunk:
        lacking = [name for name in self._keeping.names if name not in kept and not self._refusal(name)]
        if lacking:
            nulls = pl.Series([None], dtype=pl.String).new_from_index(0, rows)
            kept = {**kept, **{name: nulls for name in sorted(lacking) if name not in self._known}}
        chunk = Chunk(self.first, rows, cells, False, kept, faults, headed=False)
        self.first += rows
        return chunk


def _holds(frame: pl.DataFrame, lines: bytes, names: int) -> bool:
    """Whether a frame has a value for each of the names. A null counts as a value, to be missed where another hides
    it."""
    if _values(frame) == names:
        return True
    if b'":null' in lines or b'": null' in lines:
        filled = _parsed(lines.replace(b'":null', b'":0').replace(b'": null', b'": 0'), None)
        return filled is not None and set(filled.columns) <= set(frame.columns) and _values(filled) == names
    return False


def _values(frame: pl.DataFrame) -> int:
    return sum(frame.height - series.null_count() for series in frame)


def _stays(series: pl.Series) -> bool:
    """Whether a column passes through as it was sent: one of 5 and 0.5 would come back with a 5.0."""
    if series.dtype == pl.Float64:
        return not (series.round(0) == series).any()
    return series.dtype in (pl.Int64, pl.String)


def _take_out_unsendable(name: str, values: list[Any], faults: dict[int, list[Fault]]) -> None:
    """What no JSON writer can send back: half a surrogate pair, a whole number beyond 64 bits, deep lists."""
    for at, value in enumerate(values):
        try:
            orjson.dumps(value)
        except TypeError as error:
            detail = f"{name} cannot be passed through: {str(error)[:100]}"
            fault = Fault(f"/{escape_name(name)}", detail, echo(value), "a text, a number, or short lists of them")
            faults.setdefault(at, []).append(fault)
            values[at] = None


def _parsed(lines: bytes, types: Mapping[str, Any] | None) -> pl.DataFrame | None:
    """A frame of one object a line, or None where it is none, or not of these types."""
    try:
        return pl.read_ndjson(lines, schema=types) if types else pl.read_ndjson(lines, infer_schema_length=None)
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException):
        return None


def _all_texts(lines: bytes, series: pl.Series) -> bool:
    """Whether every value of a text column was a text in the source: a parser by columns makes texts of numbers too."""
    name = series.name.encode()
    texts = lines.count(b'"' + name + b'":"') + lines.count(b'"' + name + b'": "')
    return texts == len(series) - series.null_count()


def _cells(kind: Kind, series: pl.Series) -> Cells | None:
    """The cells of a column, or None where they must be judged one by one."""
    if isinstance(kind, Quantity | Count) and series.dtype in NUMERIC:
        numbers, present = numeric(series)
        return Packed(numbers, present)
    if isinstance(kind, Quantity | Choice | Text) and series.dtype == pl.String:
        return cells_of(kind, series, bare=None, text=False)
    if isinstance(kind, Flag) and series.dtype == pl.Boolean:
        return [ABSENT if cell is None else cell for cell in series.to_list()]
    return None
