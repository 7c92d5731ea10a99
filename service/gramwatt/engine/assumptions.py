"""Defaults that depend on other inputs: which rows take them, and how uncertain they are."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from gramwatt.engine.column_types import all_false, all_true
from gramwatt.engine.input_plans import CompleteInputs
from gramwatt.engine.uncertainty import Uncertainties
from gramwatt.model import Assumption, BoolArray, Calculator


def fill_assumptions(calculator: Calculator[Any, Any], given: Any) -> Any:
    """Return the inputs with every assumption that depends on other inputs filled in."""
    given = dataclasses.replace(given)
    fill_in_place(calculator.assumptions, given)
    return given


def fill_in_place(assumptions: Sequence[Assumption[Any]], given: Any) -> None:
    """Fill in assumptions, in the order in which they are declared. ``given`` must be the caller's own object."""
    for assumption in assumptions:
        _fill(assumption, given)


def fill_and_record_assumptions(
    calculator: Calculator[Any, Any], given: Any, inputs: CompleteInputs, rows: int, *, uncertain: bool
) -> tuple[dict[str, BoolArray], Uncertainties, list[Assumption[Any]]]:
    """Fill in the assumptions and mark in ``inputs.assumed`` what was assumed.

    Returns the rows whose value was derived from measured inputs, by input; with ``uncertain`` the standard
    uncertainties of all inputs; and the assumptions that follow other inputs when those vary. A value that is assumed
    with an uncertainty of its own does not: it is put into ``inputs.fields`` and stands fast while other inputs vary.
    """
    whole, nowhere = all_true(rows), all_false(rows)
    derived: dict[str, BoolArray] = {}
    spreads: Uncertainties = dict(inputs.spreads) if uncertain else {}
    following = []
    for assumption in calculator.assumptions:
        name = assumption.name
        if inputs.present[name] is whole:
            continue
        following.append(assumption)
        filled = _fill(assumption, given)
        if filled is None:
            continue
        guessed = filled
        if assumption.solved_from:
            measured = filled & _all_present(inputs.present, assumption.solved_from, rows)
            if np.count_nonzero(measured):
                derived[name] = derived.get(name, nowhere) | measured
                guessed = filled & ~measured
        count = np.count_nonzero(guessed)
        if count == 0:
            continue
        inputs.assumed[name] = inputs.assumed.get(name, nowhere) | guessed
        if uncertain and assumption.uncertainty is not None:
            values, spread = getattr(given, name), np.asarray(assumption.uncertainty(given))
            if count < rows or spread.shape != values.shape:
                values = np.where(filled, values, inputs.fields[name])
                spread = np.where(guessed, spread, spreads.get((name,), np.zeros(rows)))
            else:
                following.pop()
            inputs.fields[name], spreads[(name,)] = values, spread
    if uncertain:
        spreads |= inputs.default_uncertainties
    return derived, spreads, following


def _fill(assumption: Assumption[Any], given: Any) -> BoolArray | None:
    """Fill in one assumption; return the rows that took it, None where no row did."""
    current = getattr(given, assumption.name)
    lacking = _is_absent(current)
    count = np.count_nonzero(lacking)
    if count == 0:
        return None
    values: Any = assumption.value(given)
    if count < lacking.size or np.shape(values) != current.shape:
        values = np.where(lacking, values, current)
    values = values.astype(current.dtype, copy=False)
    # Setting a field of a frozen dataclass: a replaced copy of some thirty fields would cost ten times as much.
    object.__setattr__(given, assumption.name, values)
    left = _is_absent(values)
    count_left = np.count_nonzero(left)
    if count_left == count:
        return None
    return lacking & ~left if count_left else lacking


def _all_present(present: Mapping[str, BoolArray], names: Sequence[str], rows: int) -> BoolArray:
    nowhere = all_false(rows)
    if not names or any(present[name] is nowhere for name in names):
        return nowhere
    return np.asarray(np.logical_and.reduce([present[name] for name in names]))


def _is_absent(values: Any) -> BoolArray:
    return np.asarray(values < 0 if values.dtype.kind == "i" else np.isnan(values))
