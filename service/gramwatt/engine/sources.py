"""List what makes the inputs of requests uncertain: what is given with ±, defaults, and displays."""

from __future__ import annotations

import functools
from collections.abc import Collection, Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gramwatt.engine.draws import name_display
from gramwatt.engine.input_plans import CompleteInputs
from gramwatt.engine.uncertainty import Path, Shape, Source, get_values
from gramwatt.model import AnyCalculator, Deviate, get_fields
from gramwatt.model.kinds import Display


def list_sources(calculator: AnyCalculator, inputs: Any, complete: CompleteInputs) -> list[Source]:
    """Return the sources of uncertainty among given inputs and declared defaults, in the order they are applied.

    ``inputs`` are complete. Assumptions that depend on other inputs are not among them.
    """
    # A display comes last: it adds to what an input varies by itself.
    return [
        *(_make_source(calculator, path, "normal", width) for path, width in complete.uncertainties.items()),
        *(_make_source(calculator, path, "log-normal", width) for path, width in complete.default_factors.items()),
        *_list_displays(calculator, inputs, complete),
    ]


def _make_source(calculator: AnyCalculator, path: Path, shape: Shape, width: NDArray[np.float64]) -> Source:
    name = "/".join(path)
    label = name if width.ndim == 1 else "/".join(("", path[0], "*", *path[1:]))
    return Source(path, label, _name_draws(calculator, path), shape, width)


@functools.cache
def _name_draws(calculator: AnyCalculator, path: Path) -> str:
    """Return the name of the draws of an input: ``packs/mass`` for a column, whose first entry has those of ``mass``.

    Only one field of a calculator has those, a plain input before a column; any other is named ``parts.mass``.
    """
    columns = [(name, column) for name, kind in calculator.input_fields.items() for column in kind.columns]
    first = next((each for each in columns if each[-1] == path[-1]), path)
    is_own = len(path) == 1 or (path == first and path[-1] not in calculator.input_fields)
    return ("/" if is_own else ".").join(path)


def _list_displays(calculator: AnyCalculator, inputs: Any, complete: CompleteInputs) -> Iterator[Source]:
    for path, display in _get_displays(calculator):
        values = get_values(inputs, path)
        step = display.get_step(inputs)
        if values.size and step.any():
            step = step if values.ndim == 1 else step[:, None]
            given = complete.fields[path[0]] if len(path) == 1 else getattr(complete.fields[path[0]], path[1])
            width = np.where(np.isnan(given), 0.0, step)
            yield Source(path, display.step, name_display(_name_draws(calculator, path)), "even", width)


@functools.cache
def _get_displays(calculator: AnyCalculator) -> tuple[tuple[Path, Display], ...]:
    """Return the readings of a calculator by path, with their displays."""
    found: list[tuple[Path, Display]] = []
    for name, kind in calculator.input_fields.items():
        fields = {(name, inner): column for inner, column in kind.columns.items()} if kind.columns else {(name,): kind}
        for path, field in fields.items():
            if field.quantity is not None and field.quantity.display is not None:
                found.append((path, field.quantity.display))
    return tuple(found)


@functools.cache
def get_deviates(calculator: AnyCalculator) -> tuple[tuple[str, Deviate], ...]:
    """Return the deviates that a calculator's formula scales, by name."""
    return tuple((name, kind) for name, kind in get_fields(calculator.inputs).items() if isinstance(kind, Deviate))


def may_vary(calculator: AnyCalculator, given: Collection[str]) -> bool:
    """Return whether requests that give these inputs, all exact, may still have an uncertain one."""
    defaults = (
        name for name, kind in calculator.input_fields.items() if kind.quantity and kind.quantity.has_uncertain_default
    )
    assumed = (assumption.name for assumption in calculator.assumptions if assumption.is_uncertain)
    left = any(name not in given for name in (*defaults, *assumed))
    return left or bool(get_deviates(calculator)) or bool(_get_displays(calculator))
