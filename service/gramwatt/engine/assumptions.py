"""Defaults that depend on other inputs: which rows take them, and how uncertain they are."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from gramwatt.engine.column_types import all_false, all_true
from gramwatt.engine.input_plans import CompleteInputs
from gramwatt.engine.uncertainty import Uncertainties
from gramwatt.model import AnyCalculator, Assumption, BoolArray


def fill_assumptions(calculator: AnyCalculator, inputs: Any) -> Any:
    """Return the inputs with every assumption that depends on other inputs filled in."""
    inputs = dataclasses.replace(inputs)
    fill_in_place(calculator.assumptions, inputs)
    return inputs


def fill_in_place(assumptions: Sequence[Assumption[Any]], inputs: Any) -> None:
    """Fill in assumptions, in the order in which they are declared. ``given`` must be the caller's own object."""
    for assumption in assumptions:
        _fill(assumption, inputs)


def fill_and_record_assumptions(
    calculator: AnyCalculator, inputs: Any, complete: CompleteInputs, rows: int, *, propagates: bool
) -> tuple[dict[str, BoolArray], Uncertainties, list[Assumption[Any]]]:
    """Fill in the assumptions and mark in ``complete.assumed`` what was assumed.

    Returns the rows whose value was solved from measured inputs, by input; with ``uncertain`` the standard
    uncertainties of all inputs; and the assumptions that follow other inputs when those vary. A value that is assumed
    with an uncertainty of its own does not: it is put into ``complete.fields`` and stays the same while others vary.
    """
    every_row, no_rows = all_true(rows), all_false(rows)
    solved: dict[str, BoolArray] = {}
    uncertainties: Uncertainties = dict(complete.uncertainties) if propagates else {}
    following = []
    for assumption in calculator.assumptions:
        name = assumption.name
        if complete.present[name] is every_row:
            continue
        following.append(assumption)
        filled = _fill(assumption, inputs)
        if filled is None:
            continue
        assumed_rows = filled
        if assumption.solved_from:
            measured = filled & _all_present(complete.present, assumption.solved_from, rows)
            if np.count_nonzero(measured):
                solved[name] = solved.get(name, no_rows) | measured
                assumed_rows = filled & ~measured
        count = np.count_nonzero(assumed_rows)
        if count == 0:
            continue
        complete.assumed[name] = complete.assumed.get(name, no_rows) | assumed_rows
        if propagates and assumption.is_uncertain:
            values = getattr(inputs, name)
            factor = assumption.factor(inputs) if callable(assumption.factor) else assumption.factor
            uncertainty = np.asarray(
                assumption.uncertainty(inputs)
                if assumption.uncertainty
                else values * np.log(1.0 if factor is None else factor)
            )
            if count < rows or uncertainty.shape != values.shape:
                values = np.where(filled, values, complete.fields[name])
                uncertainty = np.where(assumed_rows, uncertainty, uncertainties.get((name,), np.zeros(rows)))
            else:
                following.pop()
            complete.fields[name], uncertainties[(name,)] = values, uncertainty
    if propagates:
        uncertainties |= complete.default_uncertainties
    return solved, uncertainties, following


def _fill(assumption: Assumption[Any], inputs: Any) -> BoolArray | None:
    """Fill in one assumption; return the rows that took it, None where no row did."""
    current = getattr(inputs, assumption.name)
    empty = _is_absent(current)
    count = np.count_nonzero(empty)
    if count == 0:
        return None
    values: Any = assumption.value(inputs)
    if count < empty.size or np.shape(values) != current.shape:
        values = np.where(empty, values, current)
    values = values.astype(current.dtype, copy=False)
    # Setting a field of a frozen dataclass: a replaced copy of some thirty fields would cost ten times as much.
    object.__setattr__(inputs, assumption.name, values)
    left = _is_absent(values)
    count_left = np.count_nonzero(left)
    if count_left == count:
        return None
    return empty & ~left if count_left else empty


def _all_present(present: Mapping[str, BoolArray], names: Sequence[str], rows: int) -> BoolArray:
    no_rows = all_false(rows)
    if not names or any(present[name] is no_rows for name in names):
        return no_rows
    return np.asarray(np.logical_and.reduce([present[name] for name in names]))


def _is_absent(values: Any) -> BoolArray:
    return np.asarray(values < 0 if values.dtype.kind == "i" else np.isnan(values))
