"""The columns of a recording as they were sent, whatever the format: their names, and some of them as series."""

from __future__ import annotations

import codecs
import contextlib
import csv
import io
import itertools
import json
import re
from collections.abc import Callable, Mapping, Sequence, Set
from typing import Any, Final, Protocol

import numpy as np
import orjson
import polars as pl
import pyarrow as pa

from gramwatt.edge.cells import kind_of
from gramwatt.edge.columns import escape_name
from gramwatt.edge.strict_json import NotJson, strict_json
from gramwatt.edge.tables.arrow_in import first_line, is_number, is_text
from gramwatt.edge.wording import Fault, echo

MOST_COLUMNS: Final = 1000
MOST_PREAMBLE: Final = 200
LONGEST_HEADER: Final = 65_536
SEPARATORS: Final = (",", ";", "\t")
ACCEPTED: Final = "numbers, or null where nothing was recorded; times also as texts such as 12:34:56.7"
LONGEST_CELL: Final = 200
_CELLS: Final = frozenset({int, float, str, type(None)})


class Unusable(ValueError):
    """The bytes are no recording; ``faults`` says why, by the name of the input or the option."""

    def __init__(self, *faults: Fault) -> None:
        super().__init__("; ".join(fault.detail for fault in faults))
        self.faults = faults


class Malformed(ValueError):
    """The bytes are not of their format at all."""


class Columns(Protocol):
    """What a format gives: the columns' names, and on demand some of them."""

    @property
    def names(self) -> Sequence[str]:
        """As they were sent, in order."""
        ...

    @property
    def skipped_lines(self) -> int:
        """Lines before the header."""
        ...

    def take(self, positions: Sequence[int]) -> list[pl.Series]:
        """These columns: of numbers where all cells are, else of texts; null where a cell is empty."""
        ...


class CsvColumns:
    """A CSV text (RFC 4180; separated by commas, semicolons or tabs). Lines before the header are skipped.

    The header is the first line that ``is_header`` takes for one, else the first that is not blank.
    """

    def __init__(self, raw: bytes, is_header: Callable[[Sequence[str]], bool], *, decimal: str = ".") -> None:
        if raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            raise Malformed("it is UTF-16; send UTF-8")
        raw = raw.removeprefix(codecs.BOM_UTF8)
        if b"\n" not in raw and b"\r" in raw:
            raw = raw.replace(b"\r", b"\n")
        found = self._header(raw, is_header)
        if found is None:
            raise Malformed("it is empty: a line must name the columns")
        self.names, self._separator, self.skipped_lines, start = found
        self._raw, self._decimal = raw[start:], decimal

    @staticmethod
    def _header(raw: bytes, is_header: Callable[[Sequence[str]], bool]) -> tuple[list[str], str, int, int] | None:
        first: tuple[list[str], str, int, int] | None = None
        start = 0
        for line in range(MOST_PREAMBLE):
            if start >= len(raw):
                break
            end = raw.find(b"\n", start) + 1 or len(raw)
            if end - start > LONGEST_HEADER:
                raise Malformed(f"line {line + 1} is longer than {LONGEST_HEADER} bytes")
            text = raw[start:end].decode("utf-8", "replace").strip("\r\n")
            fields = [(_fields(text, by), by) for by in SEPARATORS]
            named = next((each for each in fields if is_header(each[0])), None)
            best = named or max(fields, key=lambda each: len(each[0]))
            if (named or (first is None and text.strip())) and len(best[0]) <= MOST_COLUMNS:
                first = ([name.strip() for name in best[0]], best[1], line, end)
            if named:
                break
            start = end
        return first

    def take(self, positions: Sequence[int]) -> list[pl.Series]:
        for kind in (pl.Float64, pl.String):
            names = [f"column_{at}" for at in range(len(self.names))]
            schema: dict[str, Any] = {name: kind if at in positions else pl.String for at, name in enumerate(names)}
            if re.search(rb"\S", self._raw) is None:
                return [pl.Series([], dtype=pl.Float64) for _ in positions]
            try:
                frame = pl.read_csv(
                    io.BytesIO(self._raw),
                    has_header=False,
                    schema=schema,
                    columns=sorted(positions),
                    separator=self._separator,
                    decimal_comma=self._decimal == "," and self._separator != ",",
                    truncate_ragged_lines=True,
                    encoding="utf8-lossy",
                )
            except (pl.exceptions.PolarsError, pl.exceptions.PanicException) as error:
                if kind == pl.String:
                    raise Malformed(f"it cannot be read as CSV: {first_line(error)}") from None
                continue
            return [frame[names[at]] for at in positions]
        raise AssertionError("texts always parse")


def _fields(line: str, separator: str) -> list[str]:
    """The fields of one line; none where it is no CSV."""
    try:
        return next(csv.reader([line.replace("\r", " ")], delimiter=separator), [])
    except csv.Error:
        return []


class ObjectColumns:
    """A JSON object of lists by name, as parsed, or of arrays of numbers as the library's callers have them."""

    skipped_lines = 0

    def __init__(self, columns: Mapping[str, Any], longest: int) -> None:
        self.names = list(columns)
        self._columns = columns
        self._kinds = {
            name: set(map(type, each)) if isinstance(each, list) else set() for name, each in columns.items()
        }
        faults = []
        for name, values in columns.items():
            if not isinstance(values, list) and not hasattr(values, "dtype"):
                faults.append(
                    Fault(f"/{escape_name(name)}", f"{kind_of(values)} is not a list", echo(values), ACCEPTED)
                )
            elif len(values) > longest:
                faults.append(
                    Fault(f"/{escape_name(name)}", f"a list of {len(values)}", None, f"up to {longest} samples")
                )
        if len(columns) > MOST_COLUMNS:
            faults.append(Fault("", f"{len(columns)} columns", None, f"up to {MOST_COLUMNS} columns"))
        if faults:
            raise Unusable(*faults)
        for name, values in columns.items():
            if isinstance(values, list):
                faults += self._cell_faults(name, values)
        if faults:
            raise Unusable(*faults)
        self._rows = max((len(values) for values in columns.values()), default=0)

    def _cell_faults(self, name: str, values: list[Any]) -> list[Fault]:
        kinds = self._kinds[name]
        short = str not in kinds or all(len(each) <= LONGEST_CELL for each in values if type(each) is str)
        if kinds <= _CELLS and short:
            return []
        told = enumerate(values)
        at, cell = next((at, each) for at, each in told if type(each) not in _CELLS or len(str(each)) > LONGEST_CELL)
        long = type(cell) in _CELLS
        detail = f"{len(str(cell))} characters" if long else f"{kind_of(cell)} is neither a number nor null"
        return [Fault(f"/{escape_name(name)}/{at}", detail, echo(cell), ACCEPTED)]

    def take(self, positions: Sequence[int]) -> list[pl.Series]:
        made = []
        for at in positions:
            name = self.names[at]
            series = _series(self._columns[name], self._kinds[name])
            made.append(series if len(series) == self._rows else series.extend_constant(None, self._rows - len(series)))
        return made


def _series(values: Any, kinds: Set[type]) -> pl.Series:
    if not isinstance(values, list):
        return pl.Series(values).cast(pl.Float64)
    with contextlib.suppress(OverflowError, TypeError):  # a whole number beyond a double is then told as it was sent
        if kinds and kinds <= {float, int}:
            return pl.Series(np.array(values, dtype=np.float64))
        numbers = pl.Series(values, dtype=pl.Float64, strict=False) if str not in kinds else None
        if numbers is not None and numbers.null_count() == values.count(None):
            return numbers
    return pl.Series([None if value is None else str(value) for value in values], dtype=pl.String)


class JsonColumns(ObjectColumns):
    """A JSON text of such an object."""

    def __init__(self, raw: bytes, longest: int) -> None:
        try:
            value = strict_json(raw)
        except NotJson as error:
            raise Malformed(f"it is not JSON: {error}") from None
        if not isinstance(value, dict):
            raise Unusable(Fault("", f"{kind_of(value)} is not an object", echo(value), "an object of lists by name"))
        super().__init__(value, longest)


class NdjsonColumns:
    """Objects, one a line. A line that is none counts as a row in which nothing can be read."""

    skipped_lines = 0
    _LOOKED_AT: Final = 1000

    def __init__(self, raw: bytes) -> None:
        self._raw = raw.removeprefix(codecs.BOM_UTF8)
        names: dict[str, None] = {}
        for line in itertools.islice(io.BytesIO(self._raw), self._LOOKED_AT):
            names |= dict.fromkeys(self._object(line) if line.strip() else {})
        if not names:
            raise Malformed("no line is a JSON object")
        self.names = list(names)

    @staticmethod
    def _object(line: bytes) -> Mapping[str, Any]:
        try:
            value = orjson.loads(line)
        except orjson.JSONDecodeError:
            try:
                value = json.loads(line)  # which takes NaN, as a recorder may well write it
            except (ValueError, RecursionError):
                return {}
        return value if isinstance(value, dict) else {}

    def take(self, positions: Sequence[int]) -> list[pl.Series]:
        names = [self.names[at] for at in positions]
        try:
            frame = pl.read_ndjson(self._raw, schema=dict.fromkeys(names, pl.Float64))
            lines = self._raw.count(b"\n") + (not self._raw.endswith(b"\n"))
            if frame.height == lines or frame.height == self._filled_lines():  # the latter takes far longer
                return [frame[name] for name in names]
        except (pl.exceptions.PolarsError, pl.exceptions.PanicException):
            pass
        cells: list[list[Any]] = [[] for _ in names]
        for line in io.BytesIO(self._raw):  # one object at a time: many would fill the memory
            if line.strip():
                found = self._object(line)
                for column, name in zip(cells, names, strict=True):
                    column.append(_scalar(found.get(name)))
        return [_series(column, set(map(type, column))) for column in cells]

    def _filled_lines(self) -> int:
        """Lines that are not blank."""
        return sum(1 for line in io.BytesIO(self._raw) if line.strip())


def _scalar(value: Any) -> Any:
    return value if value is None or type(value) in (int, float, str) else json.dumps(value)


class ArrowColumns:
    """An Arrow IPC stream, or a file of that kind."""

    skipped_lines = 0

    def __init__(self, raw: bytes) -> None:
        try:
            whole = raw.startswith(b"ARROW1")
            opened = (pa.ipc.open_file if whole else pa.ipc.open_stream)(pa.BufferReader(raw))
            batches = []
            for batch in map(opened.get_batch, range(opened.num_record_batches)) if whole else opened:
                batch.validate(full=True)  # places beyond a buffer would be read, and end the process
                batches.append(batch)
            self._table = pa.Table.from_batches(batches, opened.schema)
            self.names: list[str] = list(self._table.schema.names)
        except (pa.ArrowException, OSError, EOFError, UnicodeDecodeError) as error:
            raise Malformed(f"it is no Arrow IPC stream: {first_line(error)}") from None

    def take(self, positions: Sequence[int]) -> list[pl.Series]:
        return [_of_arrow(self.names[at], self._table.column(at).combine_chunks()) for at in positions]


def _of_arrow(name: str, values: Any) -> pl.Series:
    kind = values.type
    if pa.types.is_timestamp(kind) or pa.types.is_duration(kind):
        per_second = {"s": 1, "ms": 10**3, "us": 10**6, "ns": 10**9}[kind.unit]
        return pl.Series(values.cast(pa.int64()).to_numpy(zero_copy_only=False)) / float(per_second)
    if is_number(kind) or pa.types.is_null(kind):
        return pl.Series(pl.from_arrow(values.cast(pa.float64(), safe=False)))
    if is_text(kind):
        return pl.Series(pl.from_arrow(values.cast(pa.string())))
    accepted = "numbers, times or texts"
    raise Unusable(Fault(f"/{escape_name(name)}", f"a column of type {kind}"[:200], None, accepted))
