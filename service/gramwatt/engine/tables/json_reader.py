"""Read tables in JSON: an array of objects, or an object on each line (NDJSON), in chunks that end with a row.

A chunk is parsed by columns. Where that could hide an error, such as a repeated name, or numbers and texts in one
column, the chunk is read again row by row as strictly as a single request.
"""

from __future__ import annotations

import codecs
import json
from collections.abc import Iterator, Mapping
from typing import Any, Final

from gramwatt.engine.limits import MAX_ROW_BYTES
from gramwatt.engine.strict_json import BYTE_ORDER_MARKS, InvalidJson, parse_strict_json, parse_value_at
from gramwatt.engine.tables import json_rows
from gramwatt.engine.tables.chunks import MAX_BUFFER, READ_SIZE, Chunk, MalformedTable, Source
from gramwatt.engine.tables.header import Passthrough
from gramwatt.model import Calculator

_SPACE: Final = " \t\r\n"
_LENIENT: Final = json.JSONDecoder(parse_int=float)
"""Finds the end of an element that is invalid: a repeated name, NaN, or too many digits."""


def read_ndjson(
    calculator: Calculator[Any, Any],
    source: Source,
    *,
    passthrough: Passthrough = Passthrough(),  # noqa: B008 - it never changes
    constants: Mapping[str, object] | None = None,
) -> Iterator[Chunk]:
    """Yield the chunks of a table with one JSON object on each line. Blank lines are not rows."""
    rows, left, ended = json_rows.RowBuilder(calculator, passthrough, constants or {}), b"", False
    while not ended:
        read = source(READ_SIZE)
        ended = not read
        left += read
        if rows.first == 0:
            left = _without_mark(left)
        end = len(left) if ended else left.rfind(b"\n") + 1
        piece, left = left[:end].strip(b" \t\r\n"), left[end:]
        if len(left) > MAX_BUFFER:
            raise MalformedTable(f"a line is longer than {MAX_ROW_BYTES} bytes")
        if piece:
            chunk = rows.by_columns(piece, array=False)
            yield from [chunk] if chunk else rows.one_by_one(_line(line) for line in piece.split(b"\n") if line.strip())


def _begins_mark(raw: bytes) -> bool:
    """Return whether the bytes may be the beginning of a byte-order mark."""
    return len(raw) < len(codecs.BOM_UTF8) and any(mark.startswith(raw) for mark in BYTE_ORDER_MARKS)


def _without_mark(raw: bytes) -> bytes:
    if raw.startswith(BYTE_ORDER_MARKS) and not raw.startswith(codecs.BOM_UTF8):
        raise MalformedTable("the table is UTF-16; send UTF-8")
    return raw.removeprefix(codecs.BOM_UTF8)


def _line(line: bytes) -> object:
    try:
        return parse_strict_json(line)
    except InvalidJson as error:
        return error


def read_json(
    calculator: Calculator[Any, Any],
    source: Source,
    *,
    passthrough: Passthrough = Passthrough(),  # noqa: B008 - it never changes
    constants: Mapping[str, object] | None = None,
) -> Iterator[Chunk]:
    """Yield the chunks of a JSON array of objects. Raises MalformedTable if it is not valid JSON."""
    return _Array(json_rows.RowBuilder(calculator, passthrough, constants or {}), source).chunks()


class _Array:
    """Reads a JSON array many elements at once, or one by one where that could hide an error."""

    def __init__(self, rows: json_rows.RowBuilder, source: Source) -> None:
        self._rows, self._source = rows, source
        self._left, self._ended, self._closed = b"", False, False

    def _more(self) -> bool:
        read = b"" if self._ended else self._source(READ_SIZE)
        self._ended = not read
        self._left += read
        return not self._ended

    def chunks(self) -> Iterator[Chunk]:
        """Yield the rows until the closing bracket, which must end the table."""
        self._open()
        before = -1
        while not self._closed:
            if before >= 0 and (len(self._left) < READ_SIZE or len(self._left) == before):
                self._more()  # but what came with the bracket is given before more is waited for
            before = len(self._left)
            piece, left = self._at_once()
            chunk = self._rows.by_columns(piece, array=True) if piece else None
            if chunk:
                self._left = left
                yield chunk
                self._close_if_at_end()
            else:
                yield from self._one_by_one()
        while self._more() or self._left.strip():
            if self._left.strip():
                raise MalformedTable("something follows the closing bracket of the array")

    def _open(self) -> None:
        while (not self._left.strip() or _begins_mark(self._left)) and self._more():
            pass
        self._left = _without_mark(self._left.lstrip())
        if not self._left.startswith(b"["):
            found = "nothing" if not self._left else repr(self._left[:1].decode("ascii", "replace"))
            raise MalformedTable(f"a JSON table is an array of objects, and this begins with {found}")
        self._left = self._left[1:]

    def _at_once(self) -> tuple[bytes, bytes]:
        """Return complete elements with commas between them, and the rest; nothing if their end cannot be found."""
        if self._ended or self._left[-16:].rstrip().endswith(b"}]"):  # the end, as it seems; else it will not parse
            stripped = self._left.rstrip()
            piece, left = (stripped[:-1], b"]") if stripped.endswith(b"]") else (b"", self._left)
        else:
            cut = self._left.rfind(b"},{")
            cut = self._left.rfind(b"}, {") if cut < 0 else cut
            piece, left = (self._left[: cut + 1], self._left[cut + 1 :]) if cut > 0 else (b"", self._left)
        piece = piece.strip()
        if self._rows.first:
            piece = piece[1:] if piece.startswith(b",") else b""
        return piece, left

    def _close_if_at_end(self) -> None:
        if self._ended and self._left.strip() == b"]":
            self._left, self._closed = b"", True

    def _one_by_one(self) -> Iterator[Chunk]:
        """Read the complete elements that have arrived, as strictly as a single request."""
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
                value, end = parse_value_at(text, begin)
            except InvalidJson as error:
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
            if len(values) >= json_rows.MAX_ROWS_AT_ONCE:
                break
        self._left = text[at:].encode() + undecoded
        yield from self._rows.one_by_one(iter(values))
        if problem and (wrong or self._ended or len(self._left) > MAX_BUFFER):
            raise MalformedTable(f"after row {self._rows.first}: the array is not JSON: {wrong or problem}")

    def _decoded(self) -> tuple[str, bytes, str]:
        """Return the text that has arrived, the undecoded bytes after it, and the error if they are not UTF-8."""
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
