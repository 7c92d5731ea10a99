"""Read tables in CSV (RFC 4180), in chunks that end with a row.

A chunk is parsed by columns. Where that could hide an error, such as a short row or a stray quote, the chunk is read
again row by row, and the error belongs to its row.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Any, Final

import numpy as np

from gramwatt.engine.column_names import split_unit
from gramwatt.engine.column_types import Cells, NumericColumn
from gramwatt.engine.limits import MAX_ROW_BYTES
from gramwatt.engine.tables.chunks import (
    MAX_BUFFER,
    READ_SIZE,
    Chunk,
    InvalidTable,
    MalformedTable,
    PassthroughValues,
    Source,
)
from gramwatt.engine.tables.header import Header, InputColumn, Passthrough, column_kinds, parse_header
from gramwatt.engine.tables.text_columns import parse_text_column
from gramwatt.model import Calculator, Count, NumberList, Quantity
from gramwatt.model.messages import InputError, quote_input

csv.field_size_limit(max(csv.field_size_limit(), MAX_BUFFER))  # one for the whole process; only raised
_FIELD: Final = r'(?:"(?:[^"]++|"")*+"[^{0}\r\n]*+|[^"{0}\r\n][^{0}\r\n]*+)?+'
"""A field that may be quoted. A quote inside a field that does not begin with one is an ordinary character."""
_ROW: Final = rf"{_FIELD}(?:[{{0}}]{_FIELD})*+(?:\r\n|\n|\r(?!\n|\Z))"
MAX_ROWS_AT_ONCE: Final = 20_000
"""Rows to read one by one before they are computed."""
_UNDECODED: Final = re.compile("[\udc80-\udcff]")
"""Characters that replace undecodable bytes."""


def read_csv(
    calculator: Calculator[Any, Any],
    source: Source,
    *,
    separator: str = ",",
    decimal: str = ".",
    passthrough: Passthrough = Passthrough(),  # noqa: B008 - it never changes
    constants: Mapping[str, object] | None = None,
) -> Iterator[Chunk]:
    """Yield the chunks of a table whose first line names its columns.

    Raises InvalidTable for an invalid header, before any chunk, and MalformedTable if the rest cannot be read.
    """
    splitter = RowSplitter(source)
    header, separator = split_header(splitter.header(), separator, column_kinds(calculator))
    heading, errors = parse_header(calculator, header, passthrough, constants or {})
    if errors:
        raise InvalidTable(errors)
    return _chunks(_Reader(heading, separator, decimal), splitter.rows(separator))


def _chunks(reader: _Reader, chunks_of_bytes: Iterator[bytes]) -> Iterator[Chunk]:
    first = 0
    for data in chunks_of_bytes:
        for chunk in reader.read(data, first):
            first += chunk.rows
            yield chunk
        if reader.broken is not None:
            raise reader.broken
    if first == 0:
        yield reader.make_empty_chunk()


SEPARATORS: Final = (",", ";", "\t")
_FIRST_ROW: Final = re.compile(_ROW.format("".join(SEPARATORS)).encode())


def split_header(line: bytes, separator: str, known: Collection[str]) -> tuple[list[str], str]:
    """Return the names of the columns, and the separator that finds most inputs among them."""
    try:
        text = line.decode("utf-8")
    except UnicodeDecodeError as error:
        raise MalformedTable(f"the header is not UTF-8 (byte {error.start})") from None
    if "\0" in text:
        raise MalformedTable("the header holds a NUL character; send UTF-8")
    if re.search(r"\r(?!\n)", re.sub(r'"[^"]*"', "", text)):
        raise MalformedTable("the header ends with a carriage return alone; end lines with LF or CRLF")

    def names(by: str) -> list[str]:
        return next(csv.reader(io.StringIO(text, newline=""), delimiter=by), [])

    def count_known(by: str) -> int:
        return sum(split_unit(name)[0] in known for name in names(by))

    best = max((separator, *SEPARATORS), key=count_known)
    return names(best), best


class RowSplitter:
    """Splits bytes after the last complete row: after a line end outside quotes."""

    def __init__(self, source: Source) -> None:
        self._source, self._rest, self._ended = source, b"", False

    def _read_more(self) -> bool:
        read = b"" if self._ended else self._source(READ_SIZE)
        self._ended = not read
        self._rest += read
        return not self._ended

    def header(self) -> bytes:
        """Return the first row without its byte-order mark. Raises MalformedTable if there is none."""
        while (end := self._find_first_end()) < 0 and len(self._rest) <= MAX_ROW_BYTES and self._read_more():
            pass
        if self._rest.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            raise MalformedTable("the table is UTF-16; send UTF-8")
        line, self._rest = (self._rest, b"") if end < 0 else (self._rest[:end], self._rest[end:])
        line = line.removeprefix(codecs.BOM_UTF8)
        if not line.strip():
            raise MalformedTable("the table is empty: its first line must name the columns")
        if len(line) > MAX_ROW_BYTES:
            raise MalformedTable(f"the header is longer than {MAX_ROW_BYTES} bytes")
        return line

    def _find_first_end(self) -> int:
        """Return where the first row that is not blank ends, or -1."""
        self._rest = self._rest.lstrip(b"\r\n") if not self._rest.startswith(codecs.BOM_UTF8) else self._rest
        match = _FIRST_ROW.match(self._rest, len(codecs.BOM_UTF8) * self._rest.startswith(codecs.BOM_UTF8))
        return -1 if match is None else match.end()

    def rows(self, separator: str) -> Iterator[bytes]:
        """Yield the rest in chunks of complete rows."""
        whole = re.compile(f"(?:{_ROW.format(separator)})*+".encode())
        while True:  # what is there is given before more is waited for
            match = whole.match(self._rest) if b'"' in self._rest else None
            end = match.end() if match else self._rest.rfind(b"\n") + 1
            if end:
                data, self._rest = self._rest[:end], self._rest[end:]
                yield data
            if len(self._rest) > MAX_BUFFER:
                raise MalformedTable(f"a row is longer than {MAX_ROW_BYTES} bytes, or a quote is never closed")
            if not self._read_more():
                break
        if self._rest.strip(b" \r\n"):
            yield self._rest
            self._rest = b""


def _column_parser(heading: Header, separator: str, decimal: str) -> Any:
    """Return a parser by columns, or None if its library is not installed."""
    try:
        from gramwatt.engine.tables.arrow_csv_parser import ColumnParser
    except ModuleNotFoundError:
        return None
    numeric = {
        position
        for position, column in enumerate(heading.columns)
        if isinstance(column, InputColumn)
        and (isinstance(column.kind, Quantity) or (isinstance(column.kind, Count) and not column.kind.spellings))
    }
    return ColumnParser(numeric, len(heading.columns), separator, decimal)


class _Reader:
    """Reads chunks of bytes of one table."""

    def __init__(self, heading: Header, separator: str, decimal: str) -> None:
        self._heading, self._separator, self._decimal = heading, separator, decimal
        self.broken: MalformedTable | None = None
        """The error after the rows of the last chunk, if any."""
        self._parser = _column_parser(heading, separator, decimal)

    def read(self, data: bytes, first: int) -> Iterator[Chunk]:
        """Yield the rows of a chunk without its blank lines."""
        columns = self._parser.parse(data) if self._parser is not None else None
        if columns is None:
            return self._read_rows(data, first)
        return iter((self._chunk(columns, first, {}),) if len(columns[0]) else ())

    def make_empty_chunk(self) -> Chunk:
        """Return the columns of a table without rows."""
        return self._chunk([[] for _ in self._heading.columns], 0, {})

    def _chunk(self, columns: Sequence[Any], first: int, errors: dict[int, list[InputError]]) -> Chunk:
        cells: dict[str, Cells] = {}
        passthrough_columns: dict[str, PassthroughValues] = {}
        for texts, column in zip(columns, self._heading.columns, strict=True):
            if isinstance(column, InputColumn):
                cells[column.name] = self._cells(texts, column, errors)
            elif column is not None:
                passthrough_columns[column] = texts
        return Chunk(first, len(columns[0]), cells, True, passthrough_columns, errors)

    def _cells(self, texts: Any, column: InputColumn, errors: dict[int, list[InputError]]) -> Cells:
        if isinstance(texts, np.ndarray):
            return NumericColumn(
                texts, ~np.isnan(texts), () if column.unit is None else (column.unit,), bare=column.unit
            )
        if self._decimal == "," and isinstance(column.kind, Quantity | Count | NumberList):
            for row in [row for row, cell in enumerate(texts) if "." in cell]:
                detail = "a point in a number, and decimal=, says that its decimal sign is a comma"
                error = InputError(
                    f"/{column.name}", detail, quote_input(texts[row]), "a number with a comma, or decimal=."
                )
                errors[row] = [*errors.get(row, ()), error]
        return parse_text_column(column.kind, texts, bare=column.unit, text=True, decimal=self._decimal)

    def _read_rows(self, data: bytes, first: int) -> Iterator[Chunk]:
        """Read a chunk row by row with the standard library. Rows of another length become errors."""
        errors: dict[int, list[InputError]] = {}
        rows: list[Sequence[str]] = []
        width = len(self._heading.columns)
        errors_of_detail: dict[str, list[InputError]] = {}
        text = data.decode("utf-8", "surrogateescape")
        all_utf8 = _UNDECODED.search(text) is None
        lines = csv.reader(io.StringIO(text, newline=""), delimiter=self._separator, strict=False)
        for row in self._each_row(lines):
            if not row or (len(row) == 1 and not row[0].strip(" ")):
                continue
            utf8 = all_utf8 or not any(_UNDECODED.search(cell) for cell in row)
            if len(row) != width or not utf8:
                many = f"{len(row)} field{'' if len(row) == 1 else 's'} where the header has {width}"
                detail = many if len(row) != width else "bytes that are not UTF-8"
                accepted = f"{width} fields in UTF-8, one for each column"
                errors[len(rows)] = errors_of_detail.setdefault(detail, [InputError("", detail, None, accepted)])
                row = [_UNDECODED.sub("\ufffd", cell) for cell in [*row, *[""] * width][:width]]
            rows.append(row)
            if len(rows) == MAX_ROWS_AT_ONCE:
                yield self._chunk([list(column) for column in zip(*rows, strict=True)], first, errors)
                first, rows, errors = first + len(rows), [], {}
        if rows:
            yield self._chunk([list(column) for column in zip(*rows, strict=True)], first, errors)

    def _each_row(self, lines: Iterator[list[str]]) -> Iterator[list[str]]:
        """Yield rows until the end, or until a field beyond the limit of the reader."""
        while True:
            try:
                yield next(lines)
            except StopIteration:
                return
            except csv.Error as error:
                self.broken = MalformedTable(f"a row cannot be read as CSV: {error}")
                return
