"""Columns of cells as they were sent, and as they are once read."""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from gramwatt.model import BoolArray, IndexArray, units
from gramwatt.model.messages import InputError


class _Absent:
    """The cell of a row that gives no value."""

    def __repr__(self) -> str:
        return "ABSENT"

    def __reduce__(self) -> str:
        return "ABSENT"  # the one of this module, also from another process


ABSENT: Final = _Absent()


@dataclass(frozen=True, slots=True)
class JsonCell:
    """A JSON value with no unit but its own, whatever the other cells of its column are."""

    value: object


@dataclass(frozen=True, slots=True)
class NumericColumn:
    """A column of plain numbers, with what else stands among them.

    ``in_units`` and ``unit_at`` give the unit of each number where that is not the declared one; ``others``
    holds, by row, the cells that are no plain number and are parsed one by one.
    """

    numbers: NDArray[np.float64]
    present: BoolArray
    in_units: tuple[units.Unit, ...] = ()
    unit_at: IndexArray | None = None
    """Position in ``in_units``, where those are several."""
    others: Mapping[int, object] = field(default_factory=dict)
    bare: units.Unit | None = None
    """The unit of a number without one among the others."""

    def __len__(self) -> int:
        return len(self.numbers)


@dataclass(frozen=True, slots=True)
class DictionaryColumn:
    """A column whose cells are few different ones: each distinct cell, and where it stands (-1 where none is given)."""

    distinct: Sequence[object]
    at: IndexArray
    bare: units.Unit | None = None

    def __len__(self) -> int:
        return len(self.at)


@dataclass(frozen=True, slots=True)
class ConstantColumn:
    """A column with the same cell in every row."""

    cell: object
    rows: int
    text: bool = False
    """Whether the cell is a word, whatever the other columns hold."""

    def __len__(self) -> int:
        return self.rows


Cells: TypeAlias = Sequence[object] | NumericColumn | DictionaryColumn | ConstantColumn


@dataclass(slots=True)
class Column:
    """N cells of one kind. ``values`` has shape (N,), or (N, M) in a list, or is the Inputs of a table's rows.

    Values and ``present`` may be read-only and repeat one value without storing it.
    """

    values: Any
    present: BoolArray
    uncertainty: NDArray[np.float64] | None = None
    errors: dict[int, list[InputError]] = field(default_factory=dict)


@dataclass(slots=True)
class TableColumn(Column):
    """A table's column; ``uncertainties`` has those of its quantities that have any, shape (1, M)."""

    uncertainties: dict[str, NDArray[np.float64]] = field(default_factory=dict)
    given: dict[str, BoolArray] = field(default_factory=dict)
    """Whether a row gives a cell (M,), by column."""


def column_uncertainties(column: Column) -> Mapping[str, NDArray[np.float64]]:
    """Return the standard uncertainties of a table's quantities, shape (1, M), by name. A plain column has none."""
    return column.uncertainties if isinstance(column, TableColumn) else {}


@functools.lru_cache(maxsize=64)
def all_true(rows: int) -> BoolArray:
    """Return true in every row; read-only."""
    return np.broadcast_to(np.True_, (rows,)) if rows > 1 else make_read_only(np.ones(rows, dtype=np.bool_))


@functools.lru_cache(maxsize=64)
def all_false(rows: int) -> BoolArray:
    """Return false in every row; read-only."""
    return np.broadcast_to(np.False_, (rows,)) if rows > 1 else make_read_only(np.zeros(rows, dtype=np.bool_))


def make_read_only(values: Any) -> Any:
    """Make an array read-only and return it."""
    values.flags.writeable = False
    return values


@dataclass(frozen=True, slots=True)
class LoadedInputs:
    """Columns by name, and the errors that concern whole columns (every row)."""

    columns: Mapping[str, Column]
    errors: tuple[InputError, ...]
