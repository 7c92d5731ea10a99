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
    rows, rest, ended = json_rows.RowBuilder(calculator, passthrough, constants or {}), b"", False
    while not ended:
        read = source(READ_SIZE)
        ended = not read
        rest += read
        if rows.first == 0:
            rest = _remove_mark(rest)
        end = len(rest) if ended else rest.rfind(b"\n") + 1
        data, rest = rest[:end].strip(b" \t\r\n"), rest[end:]
        if len(rest) > MAX_BUFFER:
            raise MalformedTable(f"a line is longer than {MAX_ROW_BYTES} bytes")
        if data:
            chunk = rows.parse_columns(data, array=False)
            yield from (
                [chunk] if chunk else rows.parse_rows(_parse_line(line) for line in data.split(b"\n") if line.strip())
            )


def _may_begin_mark(raw: bytes) -> bool:
    """Return whether the bytes may be the beginning of a byte-order mark."""
    return len(raw) < len(codecs.BOM_UTF8) and any(mark.startswith(raw) for mark in BYTE_ORDER_MARKS)


def _remove_mark(raw: bytes) -> bytes:
    if raw.startswith(BYTE_ORDER_MARKS) and not raw.startswith(codecs.BOM_UTF8):
        raise MalformedTable("the table is UTF-16; send UTF-8")
    return raw.removeprefix(codecs.BOM_UTF8)


def _parse_line(line: bytes) -> object:
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
        self._rest, self._ended, self._closed = b"", False, False

    def _read_more(self) -> bool:
        read = b"" if self._ended else self._source(READ_SIZE)
        self._ended = not read
        self._rest += read
        return not self._ended

    def chunks(self) -> Iterator[Chunk]:
        """Yield the rows until the closing bracket, which must end the table."""
        self._open()
        before = -1
        while not self._closed:
            if before >= 0 and (len(self._rest) < READ_SIZE or len(self._rest) == before):
                self._read_more()  # but what came with the bracket is given before more is waited for
            before = len(self._rest)
            data, rest = self._take_elements()
            chunk = self._rows.parse_columns(data, array=True) if data else None
            if chunk:
                self._rest = rest
                yield chunk
                self._close_if_at_end()
            else:
                yield from self._read_elements()
        while self._read_more() or self._rest.strip():
            if self._rest.strip():
                raise MalformedTable("something follows the closing bracket of the array")

    def _open(self) -> None:
        while (not self._rest.strip() or _may_begin_mark(self._rest)) and self._read_more():
            pass
        self._rest = _remove_mark(self._rest.lstrip())
        if not self._rest.startswith(b"["):
            start = "nothing" if not self._rest else repr(self._rest[:1].decode("ascii", "replace"))
            raise MalformedTable(f"a JSON table is an array of objects, and this begins with {start}")
        self._rest = self._rest[1:]

    def _take_elements(self) -> tuple[bytes, bytes]:
        """Return complete elements with commas between them, and the rest; nothing if their end cannot be found."""
        if self._ended or self._rest[-16:].rstrip().endswith(b"}]"):  # the end, as it seems; else it will not parse
            stripped = self._rest.rstrip()
            data, rest = (stripped[:-1], b"]") if stripped.endswith(b"]") else (b"", self._rest)
        else:
            cut = self._rest.rfind(b"},{")
            cut = self._rest.rfind(b"}, {") if cut < 0 else cut
            data, rest = (self._rest[: cut + 1], self._rest[cut + 1 :]) if cut > 0 else (b"", self._rest)
        data = data.strip()
        if self._rows.first:
            data = data[1:] if data.startswith(b",") else b""
        return data, rest

    def _close_if_at_end(self) -> None:
        if self._ended and self._rest.strip() == b"]":
            self._rest, self._closed = b"", True

    def _read_elements(self) -> Iterator[Chunk]:
        """Read the complete elements that have arrived, as strictly as a single request."""
        text, undecoded, decode_error = self._decode()
        values: list[object] = []
        at, json_error = 0, ""
        while True:
            at = _skip_spaces(text, at)
            if text.startswith("]", at):
                self._closed, at = True, at + 1
                break
            if (self._rows.first or values) and not text.startswith(",", at):
                json_error = "a comma or the closing bracket of the array is missing"
                break
            begin = _skip_spaces(text, at + 1) if self._rows.first or values else at
            try:
                value, end = parse_value_at(text, begin)
            except InvalidJson as error:
                json_error, value = str(error), error
                try:
                    _, end = _LENIENT.raw_decode(text, begin)
                except (ValueError, RecursionError):
                    break
                json_error = ""
            if end == len(text) and not self._ended:
                break  # a number may go on
            values.append(value)
            at = end
            if len(values) >= json_rows.MAX_ROWS_AT_ONCE:
                break
        self._rest = text[at:].encode() + undecoded
        yield from self._rows.parse_rows(iter(values))
        if json_error and (decode_error or self._ended or len(self._rest) > MAX_BUFFER):
            raise MalformedTable(f"after row {self._rows.first}: the array is not JSON: {decode_error or json_error}")

    def _decode(self) -> tuple[str, bytes, str]:
        """Return the text that has arrived, the undecoded bytes after it, and the error if they are not UTF-8."""
        try:
            text, used = codecs.utf_8_decode(self._rest, "strict", self._ended)
        except UnicodeDecodeError as error:
            good = self._rest[: error.start].decode("utf-8")
            return good, self._rest[error.start :], f"a byte is not UTF-8 ({error.reason})"
        return text, self._rest[used:], ""


def _skip_spaces(text: str, at: int) -> int:
    while at < len(text) and text[at] in _SPACE:
        at += 1
    return at
