"""Defaults that depend on other inputs: which rows take them, and how they vary."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from gramwatt.engine.column_types import all_false, all_true
from gramwatt.engine.defaults import get_replacements
from gramwatt.engine.input_plans import CompleteInputs
from gramwatt.engine.uncertainty import Draws, Shape, Source, get_values, set_values
from gramwatt.model import AnyCalculator, Assumption, BoolArray


class Taken(NamedTuple):
    """An assumption that was tried, and where its value was taken: (N,), or (N, M) of a column; None for nowhere."""

    assumption: Assumption[Any]
    rows: BoolArray | None


def fill_assumptions(calculator: AnyCalculator, inputs: Any) -> Any:
    """Return the inputs with every assumption that depends on other inputs filled in."""
    inputs = dataclasses.replace(inputs)
    fill_in_place(calculator.assumptions, inputs)
    return inputs


def fill_in_place(assumptions: Sequence[Assumption[Any]], inputs: Any) -> None:
    """Fill in assumptions, in the order in which they are declared. ``inputs`` must be the caller's own object."""
    for assumption in assumptions:
        _fill(assumption, inputs)


def fill_and_record_assumptions(
    calculator: AnyCalculator, inputs: Any, complete: CompleteInputs, rows: int
) -> tuple[dict[str, BoolArray], list[Taken]]:
    """Fill in the assumptions and mark in ``complete.assumed`` what was assumed: (N,), or (N, M) of a table's column.

    Returns the rows whose value was solved from measured inputs, by input; and the assumptions that were tried.
    """
    every_row, no_rows = all_true(rows), all_false(rows)
    solved: dict[str, BoolArray] = {}
    taken: list[Taken] = []
    for assumption in calculator.assumptions:
        name = assumption.name
        if complete.present.get(name) is every_row and complete.unused.get(name, no_rows) is no_rows:
            continue
        if assumption.solved_from and not np.count_nonzero(
            _all_present(complete.present, assumption.solved_from, rows)
        ):
            continue
        filled = _fill(assumption, inputs)
        taken.append(Taken(assumption, filled))
        if filled is None:
            continue
        assumed_rows = filled
        if assumption.solved_from:
            measured = filled & _all_present(complete.present, assumption.solved_from, rows)
            if np.count_nonzero(measured):
                solved[name] = solved.get(name, no_rows) | measured
                assumed_rows = filled & ~measured
        if np.count_nonzero(assumed_rows):
            complete.assumed[name] = complete.assumed.get(name, no_rows) | assumed_rows
    _forget_replaced(calculator, complete)
    return solved, taken


def _forget_replaced(calculator: AnyCalculator, complete: CompleteInputs) -> None:
    """Leave out of what was assumed the inputs that another one replaces: their values follow from that one."""
    for name, others in get_replacements(calculator).by:
        for other in others:
            if other in complete.assumed and np.count_nonzero(complete.present[name]):
                complete.assumed[other] = complete.assumed[other] & ~complete.present[name]


def fill_draws(
    draws: Draws,
    taken: Sequence[Taken],
    inputs: Any,
    present: Mapping[str, BoolArray],
    solved: Mapping[str, BoolArray],
) -> None:
    """Fill in assumptions on draws: each follows the draws of other inputs, and varies by its own distribution.

    One that is decided once keeps the value that it has in the ``inputs`` as given, which are complete. What is solved
    from measured inputs has no distribution of its own; a draw that does not solve it has no value. ``present`` are the
    rows that give an input, ``solved`` those that solve one.
    """
    unsolved: dict[str, BoolArray] = {}
    for assumption, _ in taken:
        name, path = assumption.name, tuple(assumption.name.split("."))
        filled = _fill(assumption, draws.inputs, inputs if assumption.once else None)
        if assumption.solved_from and name in solved:
            unsolved[name] = _is_absent(get_values(draws.inputs, path)) & np.tile(solved[name], draws.count)
        elif filled is not None and name in unsolved:
            set_values(draws.inputs, path, np.where(unsolved[name], np.nan, get_values(draws.inputs, path)))
            filled = filled & ~unsolved[name]
        if filled is None or not assumption.is_uncertain:
            continue
        by_measurement = _all_present(present, assumption.solved_from, draws.rows)
        if np.count_nonzero(by_measurement):
            filled = filled & ~np.tile(by_measurement, draws.count)
        if assumption.factor is None:
            width = np.asarray(assumption.uncertainty(draws.inputs) if assumption.uncertainty else 0.0)
        else:
            width = np.log(assumption.factor(draws.inputs) if callable(assumption.factor) else assumption.factor)
        shape: Shape = "normal" if assumption.factor is None else "log-normal"
        draws.apply_assumed(Source(path, assumption.shared_draw, assumption.shared_draw, shape, width), filled)


def _fill(assumption: Assumption[Any], inputs: Any, decided: Any = None) -> BoolArray | None:
    """Fill in one assumption; return the rows that took it, None where no row did.

    With ``decided`` inputs, fewer rows that are complete, its values are theirs, repeated.
    """
    path = tuple(assumption.name.split("."))
    current = get_values(inputs, path)
    empty = _is_absent(current)
    count = np.count_nonzero(empty)
    if count == 0:
        return None
    values: Any = assumption.value(inputs) if decided is None else _repeat(get_values(decided, path), len(current))
    if count < empty.size or np.shape(values) != current.shape:
        values = np.where(empty, values, current)
    values = values.astype(current.dtype, copy=False)
    set_values(inputs, path, values)
    left = _is_absent(values)
    count_left = np.count_nonzero(left)
    if count_left == count:
        return None
    return empty & ~left if count_left else empty


def _repeat(values: Any, rows: int) -> Any:
    return np.tile(values, (rows // len(values), *[1] * (values.ndim - 1)))


def _all_present(present: Mapping[str, BoolArray], names: Sequence[str], rows: int) -> BoolArray:
    no_rows = all_false(rows)
    if not names or any(present[name] is no_rows for name in names):
        return no_rows
    return np.asarray(np.logical_and.reduce([present[name] for name in names]))


def _is_absent(values: Any) -> BoolArray:
    return np.asarray(values < 0 if values.dtype.kind == "i" else np.isnan(values))
