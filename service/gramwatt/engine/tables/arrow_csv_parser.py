"""Parse a chunk of CSV by columns, with the Arrow library: several times as fast as row by row."""

from __future__ import annotations

import re
from typing import Any, Final, TypeAlias

import numpy as np
import pyarrow as pa
from pyarrow import csv

from gramwatt.engine.tables.text_columns import parse_plain_numbers

Parsed: TypeAlias = list[Any]
"""For each column its texts, or its numbers as an array of doubles, nan where a cell is empty."""

_BLANK: Final = re.compile(rb"^ *\r?(?:\n|\Z)", re.MULTILINE)
_QUOTED: Final = re.compile(rb'"[^"]*"')


class ColumnParser:
    """Parses chunks of one table, and remembers which columns are not plain numbers."""

    def __init__(self, numeric: set[int], width: int, separator: str, decimal: str) -> None:
        self._numeric, self._width, self._separator, self._decimal = numeric, width, separator, decimal
        self._names = [str(position) for position in range(width)]

    def parse(self, data: bytes) -> Parsed | None:
        """Return the columns of a chunk, or None if it must be read row by row."""
        quoted = b'"' in data
        if quoted and (self._separator == "\t" or b'"' in _QUOTED.sub(b"", data)):
            return None
        if self._separator != "\t" and b"\t" in data:  # which this parser takes for nothing around a number
            return None
        if b"\r" in data and data.count(b"\r") != data.count(b"\r\n"):
            return None
        if self._decimal == "," and b"." in data:
            self._numeric.clear()  # a point gets the error message of a single cell
        if self._width == 1:
            data = data if quoted else _BLANK.sub(b"", data)
        if not data.strip():
            return [[] for _ in self._names]
        for _ in range(3):
            table = self._parse_table(data, quoted=quoted)
            if table is not None:
                text_columns = self._find_text_columns(table)
                if not text_columns:
                    return [self._to_values(table.column(at), at) for at in range(self._width)]
                self._numeric -= text_columns
            elif not self._numeric or not self._drop_text_columns(data, quoted=quoted):
                return None
        return None

    def _parse_table(self, data: bytes, *, quoted: bool) -> Any:
        types = {name: pa.float64() if at in self._numeric else pa.string() for at, name in enumerate(self._names)}
        try:
            return csv.read_csv(
                pa.BufferReader(data),
                csv.ReadOptions(use_threads=False, block_size=len(data) + 1, column_names=self._names),
                csv.ParseOptions(delimiter=self._separator, newlines_in_values=quoted),
                csv.ConvertOptions(
                    column_types=types,
                    null_values=[""],
                    decimal_point=self._decimal,
                ),
            )
        except pa.ArrowException:
            return None

    def _find_text_columns(self, table: Any) -> set[int]:
        """Return the number columns that contain something else than finite numbers, such as nan."""
        return {
            at
            for at in self._numeric
            if np.isfinite(table.column(at).to_numpy()).sum() != table.num_rows - table.column(at).null_count
        }

    def _drop_text_columns(self, data: bytes, *, quoted: bool) -> bool:
        """Drop columns with more than plain numbers from the number columns. Return whether there were any."""
        numeric, self._numeric = self._numeric, set()
        table = self._parse_table(data, quoted=quoted)
        if table is None:
            return False
        for at in numeric:
            texts = (cell for cell in self._to_values(table.column(at), at) if cell)
            if (
                parse_plain_numbers([cell.replace(",", ".") if self._decimal == "," else cell for cell in texts])
                is not None
            ):
                self._numeric.add(at)
        return self._numeric < numeric

    def _to_values(self, column: Any, at: int) -> Any:
        values = column.to_numpy()
        return values if at in self._numeric else values.tolist()
