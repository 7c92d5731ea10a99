"""A column of texts as cells: numbers with a unit are told apart by whole columns, the rest is left for one by one."""

from __future__ import annotations

import re
from typing import Final

import numpy as np
import polars as pl

from gramwatt.declare import Choice, Count, Flag, Kind, Quantity, Series, Text
from gramwatt.edge import units
from gramwatt.edge.cells import LONGEST_NUMBER, NUMBER
from gramwatt.edge.columns import ABSENT, Cells, Coded, Packed

MOST_SUFFIXES: Final = 8
_SUFFIX: Final = re.compile(rf" *{NUMBER}( *)([^0-9 .,+±-].*?) *", re.ASCII)


def cells_of(kind: Kind, series: pl.Series, *, bare: units.Unit | None, text: bool, decimal: str = ".") -> Cells:
    """The cells of a text column. ``bare`` is the unit of a number without one.

    With ``text`` a number alone is a number, and a cell of nothing but spaces is absent; without, both are left for
    the judge of single cells, who refuses them.
    """
    if decimal == "," and not isinstance(kind, Choice | Text):
        series = series.str.replace_all(",", ".", literal=True)
        if isinstance(kind, Series):
            series = series.str.replace_all(";", ",", literal=True)
    if text:
        series = pl.select(pl.when(series.str.strip_chars(" \t") != "").then(series)).to_series()
    elif (series == "").any():
        return [ABSENT if cell is None else cell for cell in series.to_list()]
    if isinstance(kind, Quantity):
        return _quantities(kind, series, bare=bare, text=text)
    if isinstance(kind, Count) and text:
        return _quantities(None, series, bare=None, text=True)
    if isinstance(kind, Choice | Flag | Text | Count):
        return coded(series, bare)
    return [_item(cell) for cell in series.to_list()]


def coded(series: pl.Series, bare: units.Unit | None = None) -> Coded:
    """A text column by its distinct cells."""
    encoded = series.replace("", None).to_arrow().dictionary_encode()
    at = encoded.indices.fill_null(-1).to_numpy(zero_copy_only=False).astype(np.intp)
    return Coded(encoded.dictionary.to_pylist(), at, bare)


def _item(cell: str | None) -> object:
    return ABSENT if cell in (None, "") else cell


def _quantities(kind: Quantity | None, series: pl.Series, *, bare: units.Unit | None, text: bool) -> Cells:
    """Numbers with few different units after them, each unit's rows at once."""
    rows = len(series)
    numbers = np.full(rows, np.nan)
    unit_at = np.full(rows, -1, dtype=np.intp)
    in_units: list[units.Unit | None] = []
    left = series.is_not_null() & (series != "")
    present = left.to_numpy().copy()
    if text:
        found = series.cast(pl.Float64, strict=False)
        good = found.is_not_null() & found.is_finite() & left & (series.str.len_bytes() <= LONGEST_NUMBER)
        left = _take(found, good, left, numbers, unit_at, 0)
    in_units.append(bare)
    known = units.alternatives(kind.unit) if kind is not None else {}
    for _ in range(MOST_SUFFIXES):
        row = left.arg_max()
        if row is None or not left[row] or kind is None:
            break
        match = _SUFFIX.fullmatch(series[row])
        if match is None or match[2] not in known:
            break
        suffix = match[1] + match[2]
        stripped = pl.when(series.str.ends_with(suffix)).then(series.str.strip_suffix(suffix))
        found = pl.select(stripped.cast(pl.Float64, strict=False)).to_series()
        good = found.is_not_null() & found.is_finite() & left & (series.str.len_bytes() <= LONGEST_NUMBER)
        if not good[row]:
            break
        in_units.append(known[match[2]])
        left = _take(found, good, left, numbers, unit_at, len(in_units) - 1)
    others = dict(zip(left.arg_true().to_list(), series.filter(left).to_list(), strict=True))
    if len(others) > rows // 4:
        return coded(series, bare)
    return _packed(kind, numbers, present, in_units, unit_at, others, bare)


def _take(
    found: pl.Series, good: pl.Series, left: pl.Series, numbers: np.ndarray, unit_at: np.ndarray, position: int
) -> pl.Series:
    rows = good.to_numpy()
    numbers[rows] = found.to_numpy()[rows]
    unit_at[rows] = position
    return left & ~good


def _packed(
    kind: Quantity | None,
    numbers: np.ndarray,
    present: np.ndarray,
    in_units: list[units.Unit | None],
    unit_at: np.ndarray,
    others: dict[int, object],
    bare: units.Unit | None,
) -> Packed:
    declared = None if kind is None else units.unit(kind.unit)
    told = tuple(unit or declared for unit in in_units)
    if declared is None:
        return Packed(numbers, present, others=others)
    spelled = tuple(unit for unit in told if unit is not None)
    used = set(np.unique(unit_at[unit_at >= 0]).tolist())
    if len(used) == 1:
        return Packed(numbers, present, (spelled[used.pop()],), None, others, bare)
    return Packed(numbers, present, spelled, unit_at, others, bare)
