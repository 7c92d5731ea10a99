"""Read the columns of a recording in any format: their names, and some of them on demand.

If pyarrow is installed, `arrow` reads CSV columns of plain numbers ten times as fast. Everything else is read here.
Both give the same result.
"""

from __future__ import annotations

import codecs
import contextlib
import csv
import io
import itertools
import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence, Set
from typing import Any, Final

import numpy as np
import orjson

from gramwatt.engine.columns import escape_name
from gramwatt.engine.limits import MAX_HEADER_BYTES, MAX_RECORDING_COLUMNS, MAX_ROW_BYTES
from gramwatt.engine.recordings.column_types import (
    MalformedRecording,
    NumberCells,
    TextCells,
    UnusableRecording,
    check_width,
)
from gramwatt.engine.strict_json import InvalidJson, parse_strict_json
from gramwatt.extras import is_installed
from gramwatt.model.messages import InputError, quote_input
from gramwatt.model.parsing import describe_type

MAX_PREAMBLE_LINES: Final = 200
SEPARATORS: Final = (",", ";", "\t")
ACCEPTED: Final = "numbers, or null where nothing was recorded; times also as texts such as 12:34:56.7"
MAX_CELL_LENGTH: Final = 200
_CELLS: Final = frozenset({int, float, str, type(None)})


class CsvColumns:
    """CSV text (RFC 4180), separated by commas, semicolons or tabs. Lines before the header are skipped.

    The header is the first line for which ``is_header`` is true, else the first of those with most fields.
    """

    def __init__(self, raw: bytes, is_header: Callable[[Sequence[str]], bool], *, decimal: str = ".") -> None:
        if raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            raise MalformedRecording("it is UTF-16; send UTF-8")
        raw = raw.removeprefix(codecs.BOM_UTF8)
        if b"\n" not in raw and b"\r" in raw:
            raw = raw.replace(b"\r", b"\n")
        header = self._header(raw, is_header)
        if header is None:
            raise MalformedRecording("it is empty: a line must name the columns")
        self.names, self._separator, self.skipped_lines, start = header
        self._raw, self._decimal = raw[start:], decimal

    @staticmethod
    def _header(raw: bytes, is_header: Callable[[Sequence[str]], bool]) -> tuple[list[str], str, int, int] | None:
        first: tuple[list[str], str, int, int] | None = None
        start = 0
        for line in range(MAX_PREAMBLE_LINES):
            if start >= len(raw):
                break
            end = raw.find(b"\n", start) + 1 or len(raw)
            if end - start > MAX_HEADER_BYTES:
                raise MalformedRecording(f"line {line + 1} is longer than {MAX_HEADER_BYTES} bytes")
            text = raw[start:end].decode("utf-8", "replace").strip("\r\n")
            fields = [(_fields(text, by), by) for by in SEPARATORS]
            fields = [each for each in fields if len(each[0]) <= MAX_RECORDING_COLUMNS]
            named = next((each for each in fields if is_header(each[0])), None)
            names, separator = named or max(fields, key=lambda each: len(each[0]), default=([], ""))
            if named or (text.strip() and len(names) > (0 if first is None else len(first[0]))):
                first = ([name.strip() for name in names], separator, line, end)
            if named:
                break
            start = end
        return first

    def take(self, positions: Sequence[int]) -> list[NumberCells | TextCells]:
        """Return these columns in this order."""
        if re.search(rb"\S", self._raw) is None:
            return [NumberCells(np.zeros(0), np.zeros(0, np.bool_)) for _ in positions]
        if is_installed("pyarrow"):
            from gramwatt.engine.recordings.arrow import csv_numbers

            numbers = csv_numbers(self._raw, self._separator, self._decimal, len(self.names), positions)
            if numbers is not None:
                return list(numbers)
        lines = io.TextIOWrapper(io.BytesIO(self._raw), "utf-8", "replace", newline="")
        texts: list[TextCells] = [[] for _ in positions]
        try:
            for row in csv.reader(_no_longer(lines), delimiter=self._separator, strict=True):
                for column, at in zip(texts, positions, strict=True):
                    column.append(row[at] if at < len(row) else None)
        except csv.Error as error:
            raise MalformedRecording(f"it cannot be read as CSV: {error}") from None
        return list(texts)


def _no_longer(lines: Iterable[str]) -> Iterator[str]:
    """Yield the lines. Raises MalformedRecording for a line that is too long."""
    for line in lines:
        if len(line) > MAX_ROW_BYTES:
            raise MalformedRecording(f"a line is longer than {MAX_ROW_BYTES} characters")
        yield line


def _fields(line: str, separator: str) -> list[str]:
    """Return the fields of a line; none if it is not CSV."""
    try:
        return next(csv.reader([line.replace("\r", " ")], delimiter=separator), [])
    except csv.Error:
        return []


class ObjectColumns:
    """A parsed JSON object of lists by name, or of arrays of numbers from callers of the library."""

    skipped_lines = 0

    def __init__(self, columns: Mapping[str, Any], longest: int) -> None:
        check_width(columns)
        self.names = list(columns)
        self._columns = columns
        self._kinds = {
            name: set(map(type, each)) if isinstance(each, list) else set() for name, each in columns.items()
        }
        errors = []
        for name, values in columns.items():
            if not isinstance(values, list) and not hasattr(values, "dtype"):
                errors.append(
                    InputError(
                        f"/{escape_name(name)}", f"{describe_type(values)} is not a list", quote_input(values), ACCEPTED
                    )
                )
            elif len(values) > longest:
                errors.append(
                    InputError(f"/{escape_name(name)}", f"a list of {len(values)}", None, f"up to {longest} samples")
                )
        if errors:
            raise UnusableRecording(*errors)
        for name, values in columns.items():
            if isinstance(values, list):
                errors += self._cell_errors(name, values)
        if errors:
            raise UnusableRecording(*errors)
        self._rows = max((len(values) for values in columns.values()), default=0)
        longest_name = next((name for name, values in columns.items() if len(values) == self._rows), "")
        errors += [
            InputError(
                f"/{escape_name(name)}",
                f"a list of {len(values)}, while {quote_input(longest_name)} has {self._rows}",
                None,
                "lists of equal length, with null where nothing was recorded",
            )
            for name, values in columns.items()
            if len(values) < self._rows
        ]
        if errors:
            raise UnusableRecording(*errors)

    def _cell_errors(self, name: str, values: list[Any]) -> list[InputError]:
        kinds = self._kinds[name]
        short = str not in kinds or all(len(each) <= MAX_CELL_LENGTH for each in values if type(each) is str)
        if kinds <= _CELLS and short:
            return []
        cells = enumerate(values)
        at, cell = next(
            (at, each) for at, each in cells if type(each) not in _CELLS or len(str(each)) > MAX_CELL_LENGTH
        )
        long = type(cell) in _CELLS
        detail = f"{len(str(cell))} characters" if long else f"{describe_type(cell)} is neither a number nor null"
        return [InputError(f"/{escape_name(name)}/{at}", detail, quote_input(cell), ACCEPTED)]

    def take(self, positions: Sequence[int]) -> list[NumberCells | TextCells]:
        """Return these columns in this order."""
        names = [self.names[at] for at in positions]
        return [_cells(self._columns[name], self._kinds[name]) for name in names]


def _cells(values: Any, kinds: Set[type]) -> NumberCells | TextCells:
    """Convert a list of cells of these types, or an array of numbers."""
    if not isinstance(values, list):
        return NumberCells(np.asarray(values, dtype=np.float64), np.ones(len(values), np.bool_))
    if str not in kinds:
        with contextlib.suppress(OverflowError):  # a whole number beyond a double is then reported as it was sent
            if type(None) not in kinds:
                return NumberCells(np.array(values, dtype=np.float64), np.ones(len(values), np.bool_))
            given = np.array([value is not None for value in values], dtype=np.bool_)
            return NumberCells(
                np.array([np.nan if value is None else value for value in values], dtype=np.float64), given
            )
    return [None if value is None else str(value) for value in values]


class JsonColumns(ObjectColumns):
    """JSON text of such an object."""

    def __init__(self, raw: bytes, longest: int) -> None:
        try:
            value = parse_strict_json(raw)
        except InvalidJson as error:
            raise MalformedRecording(f"it is not JSON: {error}") from None
        if not isinstance(value, dict):
            raise UnusableRecording(
                InputError(
                    "", f"{describe_type(value)} is not an object", quote_input(value), "an object of lists by name"
                )
            )
        super().__init__(value, longest)


class NdjsonColumns:
    """NDJSON. A line that is not an object counts as a row without readable cells."""

    skipped_lines = 0
    _LOOKED_AT: Final = 1000
    _AT_ONCE: Final = 100
    """Objects to hold at once: all of them would fill the memory."""

    def __init__(self, raw: bytes) -> None:
        self._raw = raw.removeprefix(codecs.BOM_UTF8)
        names: dict[str, None] = {}
        for line in itertools.islice(io.BytesIO(self._raw), self._LOOKED_AT):
            names |= dict.fromkeys(self._object(line) if line.strip() else {})
            check_width(names)
        if not names:
            raise MalformedRecording("no line is a JSON object")
        self.names = list(names)

    @staticmethod
    def _object(line: bytes) -> Mapping[str, Any]:
        if len(line) > MAX_ROW_BYTES:
            raise MalformedRecording(f"a line is longer than {MAX_ROW_BYTES} bytes")
        try:
            value = orjson.loads(line)
        except orjson.JSONDecodeError:
            try:
                value = json.loads(line)  # which takes NaN, as a recorder may well write it
            except (ValueError, RecursionError):
                return {}
        return value if isinstance(value, dict) else {}

    def take(self, positions: Sequence[int]) -> list[NumberCells | TextCells]:
        """Return these columns in this order."""
        names = [self.names[at] for at in positions]
        cells: list[list[Any]] = [[] for _ in names]
        lines = (line for line in io.BytesIO(self._raw) if not line.isspace())
        while objects := [self._object(line) for line in itertools.islice(lines, self._AT_ONCE)]:
            for column, name in zip(cells, names, strict=True):
                column += [each.get(name) for each in objects]
        return [_cells(each, kinds) for each, kinds in map(_scalars, cells)]


def _scalars(column: list[Any]) -> tuple[list[Any], Set[type]]:
    """Return cells and their types. A value that is not a number, text or None becomes its JSON."""
    kinds = set(map(type, column))
    if kinds <= _CELLS:
        return column, kinds
    return [value if type(value) in _CELLS else json.dumps(value) for value in column], (kinds & _CELLS) | {str}
