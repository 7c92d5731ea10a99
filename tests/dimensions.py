"""Proof that a formula is dimensionally sound: computed in another coherent system of units, its results follow.

Every base unit (metre, kilogram, second, ampere, kelvin, mole) is replaced by one of another size. Inputs, and the
constants that carry a ``Unit``, are re-expressed by the dimensions that Pint finds in their declared units; a sound
formula then gives results re-expressed in the same way. A result declared as a charge but computed as an energy does
not, nor does a formula that hides a dimensional number.
"""

from __future__ import annotations

import dataclasses
import sys
import typing
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from types import ModuleType
from typing import Any

import numpy as np
import pint

from gramwatt.engine.decisions import decide
from gramwatt.engine.evaluate import evaluate, fill_assumptions
from gramwatt.engine.unit_expressions import UNIT_EXPRESSIONS
from gramwatt.model import (
    Calculator,
    Kind,
    NumberList,
    Quantity,
    Recording,
    RecordingArray,
    StandardUncertainty,
    Table,
    Text,
    TimeSeries,
    Unit,
    get_fields,
)

REGISTRY: pint.UnitRegistry[float] = pint.UnitRegistry()
SIZES: Mapping[str, float] = {
    "[length]": 3.1,
    "[mass]": 0.37,
    "[time]": 61.0,
    "[current]": 1.9,
    "[temperature]": 1.8,
    "[substance]": 0.53,
}
_EXPRESSIONS = {spelling: text for units in UNIT_EXPRESSIONS.values() for spelling, text in units.items()}


def factor(unit: str) -> float:
    """Return the factor from SI to the other system for a unit."""
    expression = _EXPRESSIONS.get(unit, unit)
    dimensions = dict(REGISTRY.parse_units(expression).dimensionality)
    product = 1.0
    for name, power in dimensions.items():
        product *= SIZES[name] ** float(str(power))
    return product


@contextmanager
def other_units(*modules: ModuleType) -> Iterator[None]:
    """Within it, the constants of these modules that carry a ``Unit`` are in the other system."""
    saved = []
    for module in modules:
        for name, hint in typing.get_type_hints(module, include_extras=True).items():
            unit = _unit_of(hint)
            if unit is not None:
                saved.append((module, name, getattr(module, name)))
                setattr(module, name, getattr(module, name) * factor(unit.spelling))
    try:
        yield
    finally:
        for module, name, value in saved:
            setattr(module, name, value)


def _unit_of(hint: Any) -> Unit | None:
    for part in (hint, *typing.get_args(hint)):
        for note in getattr(part, "__metadata__", ()):
            if isinstance(note, Unit):
                return note
    return None


def wrong_dimensions(calculator: Calculator[Any, Any], raw: Any) -> list[str]:
    """Return the results and steps that do not follow into the other system, for inputs before assumptions."""
    kernels = [module for name, module in sys.modules.items() if name.startswith("gramwatt.physics.")]
    own = sys.modules[calculator.formula.__module__]
    before, steps_before = _compute(calculator, raw)
    with other_units(own, *kernels):
        moved = _rescaled(raw, get_fields(calculator.inputs))
        after, steps_after = _compute(calculator, moved)
    return [
        *_wrong(before, after, calculator.result_fields),
        *_wrong(steps_before, steps_after, calculator.step_fields),
    ]


def _compute(calculator: Calculator[Any, Any], raw: Any) -> tuple[Any, Any]:
    """Return results and steps."""
    inputs = fill_assumptions(calculator, raw)
    decide(calculator, inputs)
    results = evaluate(calculator, inputs)
    with np.errstate(all="ignore"):
        return results, None if calculator.steps is None else calculator.steps(inputs, results)


def _wrong(before: Any, after: Any, fields: Mapping[str, Kind], prefix: str = "") -> Iterator[str]:
    for name, kind in fields.items():
        expected, found = getattr(before, name), getattr(after, name)
        quantity = kind.item if isinstance(kind, NumberList) else kind
        if isinstance(kind, Table):
            yield from _wrong(expected, found, get_fields(kind.row), f"{name}.")
        elif isinstance(kind, Text):
            if not np.array_equal(expected, found):
                yield prefix + name
        else:
            scale = factor(quantity.unit) if isinstance(quantity, Quantity) else 1.0
            if not np.allclose(found, expected * scale, rtol=1e-9, atol=1e-12 * scale, equal_nan=True):
                yield prefix + name


def _rescaled(values: Any, fields: Mapping[str, Kind]) -> Any:
    changes: dict[str, Any] = {}
    for name, kind in fields.items():
        source = fields[kind.of] if isinstance(kind, StandardUncertainty) else kind
        source = source.item if isinstance(source, NumberList) else source
        if isinstance(source, Quantity):
            changes[name] = getattr(values, name) * factor(source.unit)
        elif isinstance(source, TimeSeries):
            changes[name] = _retold(getattr(values, name), get_fields(source.row))
        elif isinstance(source, Table):
            changes[name] = _rescaled(getattr(values, name), get_fields(source.row))
    return dataclasses.replace(values, **changes)


def _retold(recordings: RecordingArray, channels: Mapping[str, Kind]) -> RecordingArray:
    """Return the same recordings with every channel in the other system."""
    made = recordings.copy()
    for at in np.ndindex(made.shape):
        recording = made[at]
        if isinstance(recording, Recording):
            made[at] = dataclasses.replace(recording, samples=_rescaled(recording.samples, channels))
    return made
