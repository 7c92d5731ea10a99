"""Format output columns as text for CSV and JSON, with the same digits in both."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from typing import Any, Final, TypeAlias

import numpy as np
import orjson

from gramwatt.engine.formula_guard import guard_text
from gramwatt.engine.rounding import round_array
from gramwatt.engine.serializers import MAX_DIGITS, round_json, to_text
from gramwatt.engine.tables.chunks import PassthroughValues
from gramwatt.engine.tables.plan import OutputColumn
from gramwatt.model import Choice, Count, Flag, Kind, Quantity, Table

Texts: TypeAlias = str | list[str]
"""A text for each row, or one that all rows share."""

_ESCAPED: Final = re.compile(r'["\\\x00-\x1f\ud800-\udfff]')
"""Characters that JSON escapes."""


def format_numbers(values: Any) -> str:
    """Return doubles as a JSON array, nested for an array (N, M). nan becomes null."""
    return orjson.dumps(np.ascontiguousarray(values), option=orjson.OPT_SERIALIZE_NUMPY).decode()


def result_values(column: OutputColumn, values: Any, digits: int | None) -> list[Any]:
    """Return a column as plain values, None without a result. ``digits`` rounds numbers."""
    kind = column.kind
    if isinstance(values, list) and digits is not None and digits < MAX_DIGITS:
        values = [_round_json(kind, value, digits) for value in values]
    if kind.is_nested:
        return values if isinstance(values, list) else to_lists(values, digits)
    if isinstance(values, list):
        plain = {Quantity: float, Count: int}.get(type(kind))
        return values if plain is None else [None if value is None else plain(value) for value in values]
    if isinstance(kind, Choice):
        options = [*kind.options, None]  # -1 is the last
        return [options[at] for at in values.tolist()]
    if isinstance(kind, Flag | Count):
        plain = bool if isinstance(kind, Flag) else int
        finite = np.isfinite(values).tolist()
        return [plain(value) if has else None for value, has in zip(values.tolist(), finite, strict=True)]
    if digits is not None:
        values = round_array(np.ascontiguousarray(values), digits)
    return [value if has else None for value, has in zip(values.tolist(), np.isfinite(values).tolist(), strict=True)]


def _round_json(kind: Kind, value: Any, digits: int) -> Any:
    """Return a result as JSON has it with at most ``digits`` significant digits; counts and texts stay."""
    if isinstance(kind, Table) and value is not None:
        return [{name: _round_json(kind.columns[name], cell, digits) for name, cell in row.items()} for row in value]
    return value if kind.quantity is None else round_json(value, digits)


def to_lists(values: Any, digits: int | None) -> list[Any]:
    """Return a list of numbers for each row of an array (N, M), or None for a row with nan."""
    if values.ndim < 2:  # an array of nan, where no row has a result
        return [None] * len(values)
    flat = round_array(np.ascontiguousarray(values).reshape(-1), digits or 12).reshape(values.shape)
    good: list[bool] = np.asarray(np.isfinite(flat).all(axis=1)).tolist()
    return [row if whole else None for row, whole in zip(flat.tolist(), good, strict=True)]


def passthrough_values(column: PassthroughValues | None, rows: int) -> list[Any]:
    """Return a pass-through column as JSON values."""
    if column is None:
        return [None] * rows
    if isinstance(column, list):
        return column
    from gramwatt.engine.tables.arrow_values import json_values  # an Arrow array, so its library is there

    return json_values(column)


def format_json(values: list[Any]) -> Texts:
    """Format each value as JSON."""
    kinds = set(map(type, values))
    if kinds == {str} and _ESCAPED.search("".join(values)) is None:
        return [f'"{value}"' for value in values]
    return "null" if kinds <= {type(None)} else [orjson.dumps(value).decode() for value in values]


def format_result_json(column: OutputColumn, values: Any, digits: int) -> Texts:
    """Format an output column as JSON."""
    if isinstance(values, list):  # computed row by row
        return format_json(values if digits >= MAX_DIGITS else result_values(column, values, digits))
    if isinstance(column.kind, Choice):
        return select_texts([*map(_json, column.kind.options), "null"], values)
    if isinstance(column.kind, Quantity):
        return format_numbers(round_array(np.ascontiguousarray(values), digits))[1:-1].split(",")
    return format_json(result_values(column, values, digits))


def _json(value: object) -> str:
    return orjson.dumps(value).decode()


def select_texts(texts: Sequence[str], at: Any) -> Texts:
    """Return one of a few texts for each row, by its index."""
    places = np.asarray(at)
    if not len(places):
        return []
    if len(texts) == 1 or (places == places[0]).all():
        return texts[int(places[0])]
    rows: list[int] = places.tolist()
    return [texts[place] for place in rows]


class CsvCells:
    """Formats cells for one separator and decimal sign, in quotes where needed."""

    def __init__(self, separator: str, decimal: str) -> None:
        self._separator, self._decimal = separator, decimal
        self._special = re.compile(f'[{separator}"\r\n]')
        self._in_csv = bytes.maketrans(b"[,.", f"\n{separator}{decimal}".encode())

    def format_values(self, values: list[Any]) -> Texts:
        """Format texts, numbers and booleans. None becomes empty, and an empty text a pair of quotes."""
        kinds = set(map(type, values))
        if kinds == {str}:
            join_rows = "".join(values)
            if self._special.search(join_rows) is None and "" not in values:
                return values
        if kinds <= {type(None)}:
            return ""
        if not kinds <= {str, type(None)}:
            values = [self._format_number(value) if isinstance(value, float) else to_text(value) for value in values]
        return [self.quote(value) for value in values]

    def _format_number(self, value: float) -> str:
        text = _json(value) if math.isfinite(value) else str(value)
        return text.replace(".", ",") if self._decimal == "," else text

    def quote(self, text: str | None) -> str:
        """Quote a text where needed."""
        if text is None:
            return ""
        if text == "" or self._special.search(text):
            return '"' + text.replace('"', '""') + '"'
        return text

    def format_numbers(self, columns: Sequence[Any], digits: int) -> list[str]:
        """Format columns of doubles together: return for each row its cells, each with a separator after it."""
        rows = len(columns[0])
        side_by_side = np.empty((rows, len(columns)))
        for at, values in enumerate(columns):
            side_by_side[:, at] = round_array(np.ascontiguousarray(values), digits)
        text = orjson.dumps(side_by_side, option=orjson.OPT_SERIALIZE_NUMPY)
        texts = text.translate(self._in_csv, b"]nul").decode().split("\n")[2:]  # null is empty
        texts[-1] += self._separator
        return texts

    def format_results(self, columns: Sequence[OutputColumn], values: Any, digits: int) -> Iterator[Texts]:
        """Format output columns with a separator after each, neighbouring columns of numbers together."""
        together: list[Any] = []
        for column in columns:
            cells = values[column.name]
            if isinstance(column.kind, Quantity) and isinstance(cells, np.ndarray):
                together.append(cells)
                continue
            if together:
                yield self.format_numbers(together, digits)
                together = []
            yield self._format_result(column, cells, digits)
            yield self._separator
        if together:
            yield self.format_numbers(together, digits)

    def _format_result(self, column: OutputColumn, values: Any, digits: int) -> Texts:
        if isinstance(column.kind, Choice) and isinstance(values, np.ndarray):
            return select_texts([*map(self.quote, column.kind.options), ""], values)
        plain = result_values(column, values, digits)
        if isinstance(column.kind, Quantity):
            return ["" if value is None else self._format_number(value) for value in plain]
        return self.format_values([guard_text(value) if isinstance(value, str) else to_text(value) for value in plain])


def join_rows(parts: Sequence[Texts], rows: int) -> str:
    """Join the texts of each row, row after row. Neighbours that all rows share are joined once."""
    merged: list[Texts] = []
    for part in parts:
        if isinstance(part, str) and merged and isinstance(merged[-1], str):
            merged[-1] += part
        else:
            merged.append(part)
    width = len(merged)
    flat: list[str] = [""] * (rows * width)
    for at, part in enumerate(merged):
        flat[at::width] = [part] * rows if isinstance(part, str) else part
    return "".join(flat)
