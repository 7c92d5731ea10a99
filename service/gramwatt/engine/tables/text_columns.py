"""Convert a column of texts to cells: numbers with a unit by the column, the rest one by one."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from gramwatt.engine.column_types import ABSENT, Cells, DictionaryColumn, NumericColumn
from gramwatt.model import Choice, Count, Flag, Kind, NumberList, Quantity, Text, units
from gramwatt.model.parsing import MAX_NUMBER_LENGTH, NUMBER

_NUMBER: Final = re.compile(NUMBER)
_NUMBER_CHARACTERS: Final = b"0123456789.eE+- "
"""A text of these characters alone that Python accepts as a number is one here too."""


def parse_text_column(
    kind: Kind, texts: Sequence[str | None], *, bare: units.Unit | None, text: bool, decimal: str = "."
) -> Cells:
    """Return the cells of a text column.

    ``bare`` is the unit of a number without one. With ``text`` a number alone is a number, and a cell of spaces is
    absent; without it both are left to the reader of single cells, which reports them.
    """
    if decimal == "," and not isinstance(kind, Choice | Text):
        texts = [None if cell is None else cell.replace(",", ".") for cell in texts]
        if isinstance(kind, NumberList):
            texts = [None if cell is None else cell.replace(";", ",") for cell in texts]
    if isinstance(kind, Count) and kind.spellings:  # a text such as 00 may be one of them, and not the number 0
        return encode_distinct([cell.strip(" \t") if text and cell else cell for cell in texts])
    if text and isinstance(kind, Quantity | Count):
        numbers = parse_plain_numbers(texts)
        if numbers is not None:
            return NumericColumn(numbers, _make_present(len(numbers)), () if bare is None else (bare,), bare=bare)
    if text:
        texts = [None if cell is None or not cell.strip(" \t") else cell for cell in texts]
    elif "" in texts:
        return [ABSENT if cell is None else cell for cell in texts]
    if isinstance(kind, Quantity):
        return _parse_quantities(kind, texts, bare=bare, text=text)
    if isinstance(kind, Count) and text:
        return _parse_quantities(None, texts, bare=None, text=True)
    if isinstance(kind, Choice | Flag | Text | Count):
        return encode_distinct(texts, bare)
    return [ABSENT if cell is None else cell for cell in texts]


def _make_present(rows: int) -> Any:
    return np.ones(rows, dtype=np.bool_)


def parse_plain_numbers(texts: Sequence[str | None]) -> Any:
    """Return the texts as doubles if each is a finite number without a unit, else None."""
    try:
        characters = "".join(texts).encode()  # type: ignore[arg-type]
        if characters.translate(None, _NUMBER_CHARACTERS) or max(map(len, texts), default=0) > MAX_NUMBER_LENGTH:  # type: ignore[arg-type]
            return None
        numbers = np.fromiter(map(float, texts), np.float64, len(texts))  # type: ignore[arg-type]
    except (TypeError, ValueError):  # a cell that is absent, or no number
        return None
    return numbers if np.isfinite(numbers).all() else None


def encode_distinct(texts: Sequence[str | None], bare: units.Unit | None = None) -> DictionaryColumn:
    """Encode a text column by its distinct cells. None and empty texts are absent."""
    distinct = dict.fromkeys(texts)
    distinct.pop(None, None)
    distinct.pop("", None)
    at: dict[str | None, int] = {cell: position for position, cell in enumerate(distinct)}
    at[None] = at[""] = -1
    return DictionaryColumn(list(distinct), np.fromiter(map(at.__getitem__, texts), np.intp, len(texts)), bare)


def _parse_quantities(
    kind: Quantity | None, texts: Sequence[str | None], *, bare: units.Unit | None, text: bool
) -> Cells:
    """Return numbers with units; other cells are left to be read one by one."""
    known = units.compatible_units(kind.unit) if kind is not None and kind.unit != "1" else {}
    in_units: list[units.Unit | None] = [bare, *known.values()]
    position = {spelling: at for at, spelling in enumerate(known, 1)}
    if text:
        position[""] = 0
    numbers = [np.nan] * len(texts)
    unit_at = [-1] * len(texts)
    others: dict[int, object] = {}
    for row, cell in enumerate(texts):
        if cell is None:
            continue
        stripped = cell.strip(" ")
        match = _NUMBER.match(stripped)
        at = position.get(stripped[match.end() :].lstrip(" ")) if match else None
        number = float(match[0]) if match and at is not None and len(cell) <= MAX_NUMBER_LENGTH else math.inf
        if at is None or math.isinf(number):
            others[row] = cell
            if len(others) > len(texts) // 4:
                return encode_distinct(texts, bare)
        else:
            numbers[row], unit_at[row] = number, at
    present = np.fromiter((cell is not None for cell in texts), np.bool_, len(texts))
    return _make_column(kind, np.array(numbers), present, in_units, np.array(unit_at, dtype=np.intp), others, bare)


def _make_column(
    kind: Quantity | None,
    numbers: Any,
    present: Any,
    in_units: list[units.Unit | None],
    unit_at: Any,
    others: dict[int, object],
    bare: units.Unit | None,
) -> NumericColumn:
    declared = None if kind is None else units.get_unit(kind.unit)
    if declared is None:
        return NumericColumn(numbers, present, others=others)
    spelled = tuple(unit or declared for unit in in_units)
    used = set(np.unique(unit_at[unit_at >= 0]).tolist())
    if len(used) == 1:
        return NumericColumn(numbers, present, (spelled[used.pop()],), None, others, bare)
    return NumericColumn(numbers, present, spelled, unit_at, others, bare)
