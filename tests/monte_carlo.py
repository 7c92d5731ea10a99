"""Propagation of distributions written a second time: pseudo-random numbers, rejection, plain percentiles.

For tests only. It takes from the service which input has which distribution, and the formula, but none of the code that
draws, cuts and reduces.
"""

import dataclasses
from collections.abc import Mapping
from typing import Any, Final

import numpy as np

from gramwatt.engine.calculate import get_calculator
from gramwatt.engine.evaluate import Outcome, evaluate_columns
from gramwatt.model import AnyCalculator, Deviate, Quantity, get_fields, units

DRAWS: Final = 100_000


def simulate(name: str, request: Mapping[str, Any], draws: int = DRAWS) -> Any:
    """Return the results of ``draws`` requests whose uncertain inputs are drawn at random."""
    calculator = get_calculator(name)
    outcome = evaluate_columns(calculator, {key: [value] for key, value in request.items()}, 1, text=False)
    assert not outcome.errors, outcome.errors
    random = np.random.default_rng(12345)
    inputs = _repeat(outcome.inputs, draws)
    for field, kind in get_fields(calculator.inputs).items():
        if isinstance(kind, Deviate):
            values = random.uniform(-0.5, 0.5, draws) if kind.even else random.standard_normal(draws)
            _set(inputs, (field,), values)
    for path, kind in _list_quantities(calculator):
        _vary_given(random, inputs, path, kind, request, outcome)
    _fill_assumptions(random, calculator, inputs, outcome)
    with np.errstate(all="ignore"):
        return calculator.formula(inputs)


def _vary_given(random: Any, inputs: Any, path: Any, kind: Quantity, request: Mapping[str, Any], outcome: Any) -> None:
    values = np.array(_get(inputs, path))
    scale = units.get_unit(kind.unit).scale
    if len(path) == 1 and kind.default is not None and outcome.assumed[path[0]][0]:
        if kind.default_u is not None:
            values = _draw_cut(random, values, kind.default_u * scale, kind)
        elif kind.default_factor is not None:
            values = values * np.exp(random.normal(0.0, np.log(kind.default_factor), len(values)))
    else:
        stated = _read_stated(request, path, scale)
        if np.any(stated):
            values = _draw_cut(random, values, np.broadcast_to(stated, values.shape), kind)
    if kind.display is not None and values.size and not np.isnan(values).all():
        step = kind.display.get_step(inputs).reshape(-1, *[1] * (values.ndim - 1))
        values = np.maximum(values + random.uniform(-0.5, 0.5, values.shape) * step, 0.0)
    _set(inputs, path, values)


def _read_stated(request: Mapping[str, Any], path: Any, scale: float) -> Any:
    """Return the standard uncertainties that a request states, SI: it writes them as text in the declared unit."""
    cells = request.get(path[0])
    if len(path) > 1:
        cells = [row.get(path[1]) for row in cells] if cells else []
    many = [_read_one(cell) for cell in cells] if isinstance(cells, list) else _read_one(cells)
    return np.array(many) * scale


def _read_one(cell: Any) -> float:
    return float(cell.split("±")[1].split()[0]) if isinstance(cell, str) and "±" in cell else 0.0


def _draw_cut(random: Any, values: Any, deviation: Any, kind: Quantity) -> Any:
    """Return normal draws, those outside of the bounds drawn again until there are none."""
    low, high = _bounds(kind)
    drawn = random.normal(values, deviation)
    while (outside := (drawn < low) | (drawn > high)).any():
        drawn = np.where(outside, random.normal(values, deviation), drawn)
    return drawn


def _bounds(kind: Quantity) -> tuple[float, float]:
    unit = units.get_unit(kind.unit)
    low, high = (
        [unit.to_si(each) for each in pair if each is not None]
        for pair in ((kind.above, kind.at_least), (kind.below, kind.at_most))
    )
    return min(low, default=-np.inf), min(high, default=np.inf)


def _fill_assumptions(random: Any, calculator: AnyCalculator, inputs: Any, outcome: Outcome) -> None:
    """Assume again what was assumed, from what the inputs are now."""
    assumed = [a for a in calculator.assumptions if not _was_given(outcome, a.name)]
    defaults: dict[str, Any] = {}
    for assumption in assumed:
        path = tuple(assumption.name.split("."))
        marks = [marks[assumption.name] for marks in (outcome.assumed, outcome.solved) if assumption.name in marks]
        taken = np.any([mark[0] for mark in marks], axis=0) if marks else np.False_
        values = np.array(_get(inputs, path), dtype=np.float64)
        if getattr(calculator.input_fields[path[0]], "default", None) is not None:
            defaults[assumption.name] = values
        _set(inputs, path, np.where(taken, np.nan, values) if values.dtype.kind == "f" else values)
    shared: dict[str, Any] = {}
    with np.errstate(all="ignore"):
        for assumption in assumed:
            path = tuple(assumption.name.split("."))
            values = _get(inputs, path)
            empty = np.isnan(values) if values.dtype.kind == "f" else np.zeros(values.shape, bool)
            if not empty.any():
                continue
            values = np.where(empty, assumption.value(inputs), values)
            if assumption.name in defaults:  # which stays where the assumption gives nothing
                empty &= ~np.isnan(values)
                values = np.where(np.isnan(values), defaults[assumption.name], values)
            _set(inputs, path, values)
            if assumption.solved_from and all(outcome.present[name][0] for name in assumption.solved_from):
                continue
            deviate = shared.setdefault(assumption.shared_draw, random.standard_normal(len(values)))
            deviate = deviate.reshape(-1, *[1] * (values.ndim - 1))
            filled, kind = _get(inputs, path), dict(_list_quantities(calculator)).get(path)
            if kind is None:
                continue
            if assumption.factor is not None:
                factor = assumption.factor(inputs) if callable(assumption.factor) else assumption.factor
                filled = np.where(empty, np.clip(filled * np.exp(deviate * np.log(factor)), *_bounds(kind)), filled)
            elif assumption.uncertainty is not None:
                drawn = _draw_cut(random, filled, np.broadcast_to(assumption.uncertainty(inputs), filled.shape), kind)
                filled = np.where(empty, drawn, filled)
            _set(inputs, path, filled)


def _was_given(outcome: Outcome, name: str) -> bool:
    return name in outcome.present and bool(outcome.present[name][0])


def _list_quantities(calculator: AnyCalculator) -> list[tuple[tuple[str, ...], Quantity]]:
    listed: list[tuple[tuple[str, ...], Quantity]] = []
    for name, kind in calculator.input_fields.items():
        if kind.columns:
            listed += [
                ((name, inner), column) for inner, column in kind.columns.items() if isinstance(column, Quantity)
            ]
        elif kind.quantity is not None:
            listed.append(((name,), kind.quantity))
    return listed


def _repeat(value: Any, times: int) -> Any:
    if isinstance(value, np.ndarray):
        return np.repeat(value, times, axis=0)
    return type(value)(
        **{field.name: _repeat(getattr(value, field.name), times) for field in dataclasses.fields(value)}
    )


def _get(inputs: Any, path: tuple[str, ...]) -> Any:
    return getattr(inputs, path[0]) if len(path) == 1 else getattr(getattr(inputs, path[0]), path[1])


def _set(inputs: Any, path: tuple[str, ...], values: Any) -> None:
    object.__setattr__(inputs if len(path) == 1 else getattr(inputs, path[0]), path[-1], values)
