"""Handle inputs that are not given: required ones are errors, others take their default or are replaced."""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from gramwatt.engine import columns
from gramwatt.engine.column_types import Column, all_false, all_true
from gramwatt.model import AnyCalculator, BoolArray, Kind
from gramwatt.model.messages import InputError, join_with_or


@dataclass(frozen=True, slots=True)
class Replacements:
    """The inputs that each input replaces, and those that may be replaced."""

    by: tuple[tuple[str, tuple[str, ...]], ...]
    plain: tuple[tuple[str, Kind], ...]
    """The inputs that are no lists or tables."""


@functools.cache
def get_replacements(calculator: AnyCalculator) -> Replacements:
    """Return which inputs of a calculator replace which."""
    all_columns = calculator.input_fields
    by = tuple((name, others) for name, kind in all_columns.items() if (others := kind.replaces))
    return Replacements(by, tuple((name, kind) for name, kind in all_columns.items() if not kind.is_nested))


def add_missing_errors(
    calculator: AnyCalculator,
    all_columns: Mapping[str, Column],
    known: Sequence[InputError],
    by_row: dict[int, list[InputError]],
) -> None:
    """Add errors for required inputs that single rows leave out, and for groups without any input."""
    reported = {error.pointer for error in known}
    for name in calculator.required_inputs:
        present = all_columns[name].present
        if present is not all_true(len(present)) and not present.all() and f"/{name}" not in reported:
            for row in np.flatnonzero(~present).tolist():
                by_row.setdefault(row, []).append(columns.missing_input_error(name, calculator.input_fields[name]))
    for group in calculator.any_of:
        present = np.logical_or.reduce([all_columns[name].present for name in group])
        if not present.all():
            wanted = "; ".join(f"{name}: {calculator.input_fields[name].describe_accepted()}" for name in group)
            error = InputError(f"/{group[0]}", f"Give {join_with_or(group)}", None, wanted)
            for row in np.flatnonzero(~present).tolist():
                by_row.setdefault(row, []).append(error)


def fill_defaults(
    calculator: AnyCalculator, all_columns: dict[str, Column], rows: int
) -> tuple[dict[str, BoolArray], dict[str, BoolArray]]:
    """Fill in declared defaults; clear inputs that another one replaces.

    Returns, by name, the rows where a default was assumed, and those where what was given is not used.
    """
    plan = get_replacements(calculator)
    all_rows, no_rows = all_true(rows), all_false(rows)
    replaced: dict[str, BoolArray] = {}
    for name, others in plan.by:
        if all_columns[name].present is not no_rows:
            for other in others:
                replaced[other] = replaced.get(other, no_rows) | all_columns[name].present
    assumed: dict[str, BoolArray] = {}
    unused: dict[str, BoolArray] = {}
    for name, kind in plan.plain:
        column = all_columns[name]
        if name in replaced and replaced[name].any():
            all_columns[name], assumed[name], unused[name] = _partly(kind, column, replaced[name])
        elif column.present is all_rows or column.present.all():
            assumed[name] = unused[name] = no_rows
        elif column.present is no_rows or not column.present.any():
            all_columns[name], assumed[name] = _default(kind, rows)
            unused[name] = no_rows
        else:
            all_columns[name], assumed[name], unused[name] = _partly(kind, column, no_rows)
    return assumed, unused


def _default(kind: Kind, rows: int) -> tuple[Column, BoolArray]:
    """Return an input that was not given, and where it has a default."""
    return columns.default_column(kind, rows), all_false(rows) if kind.default is None else all_true(rows)


def _partly(kind: Kind, column: Column, void: BoolArray) -> tuple[Column, BoolArray, BoolArray]:
    """Return an input that some rows give, or some have replaced."""
    empty = ~column.present & ~void
    filled = columns.fill_default(kind, column, empty)
    values, uncertainty = np.array(filled.values), column.uncertainty
    values[void] = columns.empty_column(kind, 1).values[0]
    merged = Column(values, column.present, None if uncertainty is None else np.where(void, 0.0, uncertainty))
    return merged, empty & ~kind.is_empty(filled.values), column.present & void


def overwrite_invalid_rows(all_columns: dict[str, Column], errors: Mapping[int, object], rows: int) -> None:
    """Give invalid rows the values of a valid one, so that no formula gets impossible values."""
    good = next(row for row in range(rows) if row not in errors)
    invalid = list(errors)
    for name, column in all_columns.items():
        values = np.array(column.values)
        values[invalid] = values[good]
        uncertainty = column.uncertainty
        if uncertainty is not None:
            uncertainty = np.array(uncertainty)
            uncertainty[invalid] = 0.0
        all_columns[name] = Column(values, column.present, uncertainty)
