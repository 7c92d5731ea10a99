"""Inputs within their bounds that are hardly meant, such as a capacity of 550 Ah: a caution points them out."""

from __future__ import annotations

import functools
from collections.abc import Iterator
from typing import Any, Final

import numpy as np

from gramwatt.engine.caution_texts import join_entries
from gramwatt.engine.column_types import all_false
from gramwatt.engine.evaluate import Outcome
from gramwatt.model import AnyCalculator, BoolArray, Quantity, get_label, units
from gramwatt.model.messages import format_quantity, lower_first

UNUSUAL: Final = "unusual-input"
_SLIPS: Final = (1e-3, 1e3)
"""Factors between a unit and the one that was probably meant: mAh and Ah, g and kg, mΩ and Ω."""


@functools.cache
def _list_checked(calculator: AnyCalculator) -> tuple[tuple[str, str, Quantity], ...]:
    """Return the quantities with a plausible range: the input, the column if it is a table, and the quantity."""
    found: list[tuple[str, str, Quantity]] = []
    for name, kind in calculator.input_fields.items():
        found += [
            (name, column, inner)
            for column, inner in {"": kind, **kind.columns}.items()
            if isinstance(inner, Quantity) and inner.plausible is not None
        ]
    return tuple(found)


def _is_unusual(kind: Quantity, values: Any) -> BoolArray:
    """Return where SI values are out of the plausible range; 0 is no slip."""
    low, high = (kind.to_internal(bound) for bound in kind.plausible or ())
    return np.asarray((values != 0) & ((values < low) | (values > high)))


def find_unusual_rows(outcome: Outcome) -> BoolArray:
    """Return the rows (N,) that give such an input; tables among the inputs left out."""
    found = np.zeros(outcome.rows, dtype=np.bool_)
    for name, column, kind in _list_checked(outcome.calculator):
        if not column and outcome.inputs is not None:  # else every row is invalid
            found |= outcome.present[name] & _is_unusual(kind, getattr(outcome.inputs, name))
    return found


def describe_unusual_inputs(outcome: Outcome, row: int) -> Iterator[str]:
    """Yield a sentence for each such input of a row, with what was probably meant."""
    for name, column, kind in _list_checked(outcome.calculator):
        present = outcome.present[name]
        if present is all_false(outcome.rows) or not present[row]:
            continue
        values = getattr(outcome.inputs, name)
        values = np.atleast_1d((getattr(values, column) if column else values)[row])
        values = values[_is_unusual(kind, values) & ~_get_assumed(outcome, row, f"{name}.{column}")]
        if len(values):
            shown = [_format(kind, value) for value in values.tolist()]
            meant = [_format(kind, likely) for value in values.tolist() for likely in _find_likely(kind, value)]
            text = f"Is the {lower_first(get_label(column or name, kind))} of {join_entries(shown)} meant?"
            yield text + (f" More usual would be {join_entries(meant)}." if len(meant) == len(shown) else "")


def _get_assumed(outcome: Outcome, row: int, name: str) -> BoolArray:
    """Return which cells (M,) of a column of a table were assumed, not given."""
    marks = outcome.assumed.get(name)
    return np.zeros(1, dtype=np.bool_) if marks is None else np.atleast_1d(marks[row])


def _find_likely(kind: Quantity, value: float) -> list[float]:
    """Return the value that a slip of the unit explains, if there is one."""
    return [value * slip for slip in _SLIPS if not _is_unusual(kind, np.array(value * slip))][:1]


def _format(kind: Quantity, value: float) -> str:
    return format_quantity(float(units.convert_from_si(np.array(value), kind.unit)), kind.unit)
