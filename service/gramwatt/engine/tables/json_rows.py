"""Make chunks of JSON objects: by columns where that hides no error, else row by row."""

from __future__ import annotations

import contextlib
import itertools
import operator
import re
from collections.abc import Collection, Iterator, Mapping, Sequence, Set
from typing import Any, Final

import numpy as np
import orjson

from gramwatt.engine.column_types import ABSENT, Cells, NumericColumn
from gramwatt.engine.columns import escape_name
from gramwatt.engine.craft_fields import MEMBER
from gramwatt.engine.limits import MAX_COMPARED_NAMES, MAX_TABLE_COLUMNS
from gramwatt.engine.strict_json import InvalidJson
from gramwatt.engine.tables import byte_search
from gramwatt.engine.tables.chunks import Chunk, InvalidTable, PassthroughValues
from gramwatt.engine.tables.craft_columns import take_for_constants
from gramwatt.engine.tables.header import Passthrough, check_column, check_conflict, column_kinds, member_kinds
from gramwatt.engine.tables.text_columns import parse_text_column
from gramwatt.model import Calculator, Choice, Count, Kind, Quantity, Text
from gramwatt.model.messages import InputError, join_with_or, quote_input
from gramwatt.model.parsing import describe_type

MAX_ROWS_AT_ONCE: Final = 5_000
"""Rows to read one by one before they are computed."""
_PLAIN: Final = frozenset({int, float, str, bool, type(None)})
_EXACT: Final = 2.0**53
"""From this size, a double may not be the integer that was sent."""
_MANY_NAMES: Final = InputError(
    "", "names that would make too many columns", None, f"up to {MAX_TABLE_COLUMNS} different names in a table"
)
_LONE_SURROGATE: Final = re.compile("[\\ud800-\\udfff]")
_SPACED_COLONS: Final = (b" :", b"\t:", b"\r:", b"\n:")
"""Spaces before a colon, which would spoil the count of names, as escapes do."""


class RowBuilder:
    """Makes chunks of rows of one table."""

    def __init__(
        self, calculator: Calculator[Any, Any], passthrough: Passthrough, constants: Mapping[str, object]
    ) -> None:
        self._known: Mapping[str, Kind] = column_kinds(calculator)
        if MEMBER in constants:
            self._known = {**self._known, **member_kinds(calculator)}
        self._calculator, self._passthrough, self._constants = calculator, passthrough, constants
        errors = take_for_constants(calculator, constants, calculator.input_fields, text=True).errors
        if errors:
            raise InvalidTable(errors)
        self._compared: dict[str, list[InputError]] = {}
        """The errors of the first invalid names; only these suggest similar names."""
        self.first = 0

    def parse_columns(self, data: bytes, *, array: bool) -> Chunk | None:
        """Parse a chunk with an object on each line, or with commas between them as in an ``array``.

        Return None where that could hide an error.
        """
        objects = self._parse_objects(data, array=array)
        if objects is None:
            return None
        columns = _columns(objects)
        if columns is None or (MEMBER in columns and MEMBER not in self._constants):
            return None
        cells: dict[str, Cells] = {}
        passthrough_columns: dict[str, PassthroughValues] = {}
        for name, values in columns.items():
            kinds = set(map(type, values))
            if self._check_name(name) or not kinds <= _PLAIN:
                return None
            if name in self._known:
                cells[name] = _cells(self._known[name], values, kinds)
            elif float in kinds and any(type(value) is float and abs(value) >= _EXACT for value in values):
                return None
            else:
                passthrough_columns[name] = values
        return self._chunk(len(objects), cells, passthrough_columns, {})

    def _parse_objects(self, lines: bytes, *, array: bool) -> list[dict[str, Any]] | None:
        """Return the objects, or None if there is anything else or an object repeats a name."""
        if not self._calculator.columnwise or b"\\" in lines:
            return None
        names = byte_search.count(lines, b'":')
        if names != byte_search.count(lines, b":") and any(spaced in lines for spaced in _SPACED_COLONS):
            return None
        rows = 0
        if not array:
            lines = lines.replace(b"\r\n", b"\n") if b"\r" in lines else lines
            rows = lines.count(b"\n") + 1
            if byte_search.count(lines, b"}\n{") != rows - 1:
                return None
            lines = lines.replace(b"\n", b",\n")  # a line end within a text stays one, and is an error
        try:
            objects = orjson.loads(b"[%b]" % lines)
        except orjson.JSONDecodeError:
            return None
        # As no object holds another, which `parse_columns` sees to, each line end is between two of them.
        whole = (array or len(objects) == rows) and set(map(type, objects)) == {dict}
        return objects if whole and sum(map(len, objects)) == names else None

    def parse_rows(self, values: Iterator[object]) -> Iterator[Chunk]:
        """Yield chunks of rows that were parsed one by one: objects, other values, or JSON errors."""
        rows: list[object] = []
        for value in values:
            rows.append(value)
            if len(rows) >= MAX_ROWS_AT_ONCE:
                yield self._convert_objects(rows)
                rows = []
        if rows:
            yield self._convert_objects(rows)

    def _convert_objects(self, rows: Sequence[object]) -> Chunk:
        errors: dict[int, list[InputError]] = {}
        names: dict[str, list[InputError]] = {}
        members = member_kinds(self._calculator).keys()
        taken: list[Collection[str]] = []
        """The names in each row that concern a craft: any of them where there is one."""
        for row in rows:
            has_craft = MEMBER in self._constants or (isinstance(row, dict) and row.get(MEMBER) is not None)
            taken.append(members if has_craft else (MEMBER,))
        for at, row in enumerate(rows):
            if isinstance(row, InvalidJson):
                errors[at] = [InputError("", f"not JSON: {row}", None, "a JSON object")]
            elif not isinstance(row, dict):
                accepted = f"an object with {join_with_or(self._calculator.input_fields)}"
                errors[at] = [InputError("", f"{describe_type(row)} is not an object", quote_input(row), accepted)]
            else:
                new = [name for name in row if name not in names and name not in taken[at]]
                if len(names) + len(new) > MAX_TABLE_COLUMNS:
                    errors[at] = [_MANY_NAMES]
                    continue
                names |= {name: self._check_name(name) for name in new}
                row_errors = [
                    error
                    for name in row
                    for error in (check_conflict(name, self._constants) if name in taken[at] else names[name])
                ]
                if row_errors:
                    errors[at] = row_errors
        objects: list[dict[str, Any]] = [row if isinstance(row, dict) else {} for row in rows]
        cells: dict[str, Cells] = {
            name: [ABSENT if (cell := row.get(name)) is None else cell for row in objects]
            for name in names
            if name in self._known
        }
        for name in members:
            values = [row.get(name) if name in own else None for own, row in zip(taken, objects, strict=True)]
            column = [ABSENT if value is None else value for value in values]
            if any(cell is not ABSENT for cell in column):
                cells[name] = column
        passthrough_columns: dict[str, list[Any]] = {
            name: [None if name in own else row.get(name) for own, row in zip(taken, objects, strict=True)]
            for name, rejected in names.items()
            if name not in self._known and not rejected
        }
        for name, values in passthrough_columns.items():
            _replace_unwritable(name, values, errors)
        return self._chunk(len(rows), cells, passthrough_columns, errors)

    def _check_name(self, name: str) -> list[InputError]:
        if name in self._known:
            return check_conflict(name, self._constants)
        if _LONE_SURROGATE.search(name):
            accepted = "a name of whole characters"
            return [
                InputError(f"/{escape_name(name)}", "a name with half a surrogate pair", quote_input(name), accepted)
            ]
        if name in self._compared:
            return self._compared[name]
        name_errors = check_column(
            self._calculator, name, self._passthrough, compare=len(self._compared) < MAX_COMPARED_NAMES
        )
        if name_errors and len(self._compared) < MAX_COMPARED_NAMES:
            self._compared[name] = name_errors
        return name_errors

    def _chunk(
        self,
        rows: int,
        cells: Mapping[str, Cells],
        passthrough_columns: Mapping[str, PassthroughValues],
        errors: Mapping[int, list[InputError]],
    ) -> Chunk:
        missing = [
            name for name in self._passthrough.names if name not in passthrough_columns and not self._check_name(name)
        ]
        if missing:
            passthrough_columns = {
                **passthrough_columns,
                **{name: [None] * rows for name in sorted(missing) if name not in self._known and name != MEMBER},
            }
        chunk = Chunk(self.first, rows, cells, False, passthrough_columns, errors, has_header=False)
        self.first += rows
        return chunk


def _replace_unwritable(name: str, values: list[Any], errors: dict[int, list[InputError]]) -> None:
    """Replace values that no JSON writer can write: lone surrogates, integers beyond 64 bits, deep lists."""
    for at, value in enumerate(values):
        if value is None:
            continue
        try:
            orjson.dumps(value)
        except TypeError as error:
            detail = f"{name} cannot be passed through: {str(error)[:100]}"
            row_error = InputError(
                f"/{escape_name(name)}", detail, quote_input(value), "a text, a number, or short lists of them"
            )
            errors.setdefault(at, []).append(row_error)
            values[at] = None


def _columns(objects: Sequence[dict[str, Any]]) -> dict[str, list[Any]] | None:
    """Return the values of each name, None where an object lacks it. Return None for too many names."""
    names = objects[0]
    if sum(map(len, objects)) == len(objects) * len(names):
        with contextlib.suppress(KeyError):  # else they have other names, as many
            return {name: list(map(operator.itemgetter(name), objects)) for name in names}
    all_names = dict.fromkeys(itertools.chain.from_iterable(objects))
    return (
        {name: [row.get(name) for row in objects] for name in all_names}
        if len(all_names) <= MAX_TABLE_COLUMNS
        else None
    )


def _cells(kind: Kind, values: list[Any], kinds: Set[type]) -> Cells:
    """Return the cells of a column, packed if all are numbers or all are texts."""
    if isinstance(kind, Quantity | Count) and kinds <= {int, float}:
        return NumericColumn(np.array(values, dtype=np.float64), np.ones(len(values), dtype=np.bool_))
    if isinstance(kind, Quantity | Count) and kinds <= {int, float, type(None)}:
        numbers = np.array(values, dtype=np.float64)  # nan for None
        return NumericColumn(numbers, ~np.isnan(numbers))
    if isinstance(kind, Quantity | Choice | Text) and kinds <= {str, type(None)}:
        return parse_text_column(kind, values, bare=None, text=False)
    return [ABSENT if cell is None else cell for cell in values]
