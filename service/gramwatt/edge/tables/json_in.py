"""Tables in JSON: an array of objects, or an object a line (NDJSON), read in pieces that end with a row.

A piece is parsed by columns at once. Where that could hide something (a name given twice, numbers and texts in one
column), the piece is read again row by row as strictly as a single question.
"""

from __future__ import annotations

import codecs
import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

import orjson
import polars as pl

from gramwatt.declare import Calculator, Choice, Count, Flag, Kind, Quantity, Text
from gramwatt.edge.cells import kind_of
from gramwatt.edge.columns import ABSENT, Cells, Packed, escape_name
from gramwatt.edge.strict_json import BYTE_ORDER_MARKS, NotJson, strict_json, strict_value
from gramwatt.edge.tables import letters
from gramwatt.edge.tables.chunk import LONGEST_ROW, PIECE, Broken, Chunk, Kept, Source, numeric
from gramwatt.edge.tables.heading import Keeping, clash, possible, refusal
from gramwatt.edge.tables.words import cells_of
from gramwatt.edge.wording import Fault, echo, one_of

NUMERIC: Final = (pl.Int64, pl.Float64)
_TYPES: Final[Mapping[type, Any]] = {int: pl.Int64, float: pl.Float64, str: pl.String, bool: pl.Boolean}
MOST_AT_ONCE: Final = 20_000
"""Rows read one by one before they are answered."""
_SPACE: Final = " \t\r\n"
_LENIENT: Final = json.JSONDecoder(parse_int=float)
"""Finds the end of an element that is refused for a name given twice, NaN, or too many digits."""
_HIDING: Final = (b" :", b"\t:", b"\r:")
"""What would spoil the count of names, as escapes do: space before a colon."""


def read_ndjson(
    calculator: Calculator[Any, Any],
    source: Source,
    *,
    keeping: Keeping = Keeping(),  # noqa: B008 - it never changes
    constants: Mapping[str, object] | None = None,
) -> Iterator[Chunk]:
    """The chunks of a table with one JSON object a line; blank lines are no rows."""
    rows, left, ended = _Rows(calculator, keeping, constants or {}), b"", False
    while not ended:
        read = source(PIECE)
        ended = not read
        left += read
        if rows.first == 0:
            left = _without_mark(left)
        end = len(left) if ended else left.rfind(b"\n") + 1
        piece, left = left[:end].strip(b" \t\r\n"), left[end:]
        if len(left) > LONGEST_ROW + PIECE:
            raise Broken(f"a line is longer than {LONGEST_ROW} bytes")
        if piece:
            chunk = rows.by_columns(piece, piece.count(b"\n") + 1)
            yield from [chunk] if chunk else rows.one_by_one(_line(line) for line in piece.split(b"\n") if line.strip())


def _begins_mark(raw: bytes) -> bool:
    """Whether so few bytes have come that a byte-order mark may be among them."""
    return len(raw) < len(codecs.BOM_UTF8) and any(mark.startswith(raw) for mark in BYTE_ORDER_MARKS)


def _without_mark(raw: bytes) -> bytes:
    if raw.startswith(BYTE_ORDER_MARKS) and not raw.startswith(codecs.BOM_UTF8):
        raise Broken("the table is UTF-16; send UTF-8")
    return raw.removeprefix(codecs.BOM_UTF8)


def _line(line: bytes) -> object:
    try:
        return strict_json(line)
    except NotJson as error:
        return error


def read_json(
    calculator: Calculator[Any, Any],
    source: Source,
    *,
    keeping: Keeping = Keeping(),  # noqa: B008 - it never changes
    constants: Mapping[str, object] | None = None,
) -> Iterator[Chunk]:
    """The chunks of a JSON array of objects. Raises Broken where it is none, or no longer JSON."""
    return _Array(_Rows(calculator, keeping, constants or {}), source).chunks()


class _Array:
    """A JSON array read element by element, many at once where they are written without line ends in between."""

    def __init__(self, rows: _Rows, source: Source) -> None:
        self._rows, self._source = rows, source
        self._left, self._ended, self._closed = b"", False, False

    def _more(self) -> bool:
        read = b"" if self._ended else self._source(PIECE)
        self._ended = not read
        self._left += read
        return not self._ended

    def chunks(self) -> Iterator[Chunk]:
        """The rows, until the closing bracket, after which nothing may stand."""
        self._open()
        before = -1
        while not self._closed:
            if before >= 0 and (len(self._left) < PIECE or len(self._left) == before):
                self._more()  # but what came with the bracket is given before more is waited for
            before = len(self._left)
            piece, left = self._at_once()
            chunk = self._rows.by_columns(piece, piece.count(b"\n") + 1) if piece else None
            if chunk:
                self._left = left
                yield chunk
                self._close_if_at_end()
            else:
                yield from self._one_by_one()
        while self._more() or self._left.strip():
            if self._left.strip():
                raise Broken("something follows the closing bracket of the array")

    def _open(self) -> None:
        while (not self._left.strip() or _begins_mark(self._left)) and self._more():
            pass
        self._left = _without_mark(self._left.lstrip())
        if not self._left.startswith(b"["):
            found = "nothing" if not self._left else repr(self._left[:1].decode("ascii", "replace"))
            raise Broken(f"a JSON table is an array of objects, and this begins with {found}")
        self._left = self._left[1:]

    def _at_once(self) -> tuple[bytes, bytes]:
        """Whole elements, one a line, and what is left after them; nothing where their end cannot be told so."""
        if self._ended or self._left[-16:].rstrip().endswith(b"}]"):  # the end, as it seems; else it will not parse
            stripped = self._left.rstrip()
            piece, left = (stripped[:-1], b"]") if stripped.endswith(b"]") else (b"", self._left)
        else:
            cut = self._left.rfind(b"},{")
            cut = self._left.rfind(b"}, {") if cut < 0 else cut
            piece, left = (self._left[: cut + 1], self._left[cut + 1 :]) if cut > 0 else (b"", self._left)
        piece = piece.strip()
        if self._rows.first:
            piece = piece[1:].strip() if piece.startswith(b",") else b""
        lines, many = letters.put(piece, b"},{", 1, b"\n")
        return lines if many else piece.replace(b"}, {", b"}\n{"), left

    def _close_if_at_end(self) -> None:
        if self._ended and self._left.strip() == b"]":
            self._left, self._closed = b"", True

    def _one_by_one(self) -> Iterator[Chunk]:
        """The elements that have arrived whole, as the strict reader of single questions takes them."""
        text, undecoded, wrong = self._decoded()
        values: list[object] = []
        at, problem = 0, ""
        while True:
            at = _skip(text, at)
            if text.startswith("]", at):
                self._closed, at = True, at + 1
                break
            if (self._rows.first or values) and not text.startswith(",", at):
                problem = "a comma or the closing bracket of the array is missing"
                break
            begin = _skip(text, at + 1) if self._rows.first or values else at
            try:
                value, end = strict_value(text, begin)
            except NotJson as error:
                problem, value = str(error), error
                try:
                    _, end = _LENIENT.raw_decode(text, begin)
                except (ValueError, RecursionError):
                    break
                problem = ""
            if end == len(text) and not self._ended:
                break  # a number may go on
            values.append(value)
            at = end
            if len(values) >= MOST_AT_ONCE:
                break
        self._left = text[at:].encode() + undecoded
        yield from self._rows.one_by_one(iter(values))
        if problem and (wrong or self._ended or len(self._left) > LONGEST_ROW + PIECE):
            raise Broken(f"after row {self._rows.first}: the array is not JSON: {wrong or problem}")

    def _decoded(self) -> tuple[str, bytes, str]:
        """What has arrived as text, the bytes after it, and what is wrong with those where they are no UTF-8."""
        try:
            text, used = codecs.utf_8_decode(self._left, "strict", self._ended)
        except UnicodeDecodeError as error:
            good = self._left[: error.start].decode("utf-8")
            return good, self._left[error.start :], f"a byte is not UTF-8 ({error.reason})"
        return text, self._left[used:], ""


def _skip(text: str, at: int) -> int:
    while at < len(text) and text[at] in _SPACE:
        at += 1
    return at


class _Rows:
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
        return refusal(self._calculator, name, self._keeping)

    def _chunk(
        self, rows: int, cells: Mapping[str, Cells], kept: Mapping[str, Kept], faults: Mapping[int, list[Fault]]
    ) -> Chunk:
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
