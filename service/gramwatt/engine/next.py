"""Choose the calculators that go on from a response, with their inputs filled from its results and its inputs.

An input declares in ``follows`` which results may fill it. An input of the same name means the same everywhere, so one
that a request gave is passed on as it was. Nothing here knows a calculator or a field by name.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Set
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from gramwatt.engine import registry
from gramwatt.model import CATEGORIES, AnyCalculator, Kind, Quantity, Table, TimeSeries, units
from gramwatt.model.messages import format_estimate, format_number
from gramwatt.model.parsing import ValueParseError

MAX_SUGGESTIONS: Final = 3
MIN_SHARED: Final = 2
"""Inputs that a calculator must share with a request if it takes none of its results."""
_TABLE_COST: Final = 3
"""How many single inputs a table or a recording is that is still to be given."""


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A calculator that goes on from a response."""

    calculator: str
    inputs: Mapping[str, object]
    """JSON values as a request has them."""
    from_results: Mapping[str, str]
    """The result of the response that an input is filled from, by input."""
    missing: tuple[str, ...]
    """Required inputs still to be given. Where one of a group is enough, its first is named."""


def suggest_next(response: Mapping[str, Any]) -> tuple[Suggestion, ...]:
    """Return up to three calculators that go on from a response, the one with the most use of it first."""
    source = registry.get(response["calculator"])
    ranked: list[tuple[tuple[int, ...], Suggestion]] = []
    for calculator in registry.load().values():
        if calculator is source:
            continue
        filler = _Filler(calculator, response)
        shared = len(filler.inputs) - len(filler.from_results)
        if not filler.from_results and shared < MIN_SHARED:
            continue
        missing = _find_missing(calculator, filler.inputs.keys())
        suggestion = Suggestion(calculator.name, filler.inputs, filler.from_results, missing)
        to_give = sum(_TABLE_COST if calculator.input_fields[name].is_nested else 1 for name in missing)
        rank = (not filler.from_results, to_give, -len(filler.from_results), -shared)
        ranked.append(((*rank, _count_steps(source, calculator)), suggestion))
    ranked.sort(key=lambda each: each[0])
    return tuple(suggestion for _, suggestion in ranked[:MAX_SUGGESTIONS])


def _find_missing(calculator: AnyCalculator, known: Set[str]) -> tuple[str, ...]:
    missing = [name for name in calculator.required_inputs if name not in known]
    missing += [group[0] for group in calculator.any_of if known.isdisjoint(group)]
    return tuple(dict.fromkeys(missing))


def _count_steps(source: AnyCalculator, calculator: AnyCalculator) -> int:
    """Return how many steps of the work a calculator is ahead."""
    steps = list(CATEGORIES)
    return (steps.index(calculator.category) - steps.index(source.category)) % len(steps)


class _Filler:
    """Fills the inputs of one calculator from a response."""

    def __init__(self, calculator: AnyCalculator, response: Mapping[str, Any]) -> None:
        self._calculator, self._response = calculator, response
        self._unstated = {*response["assumed"], *response.get("computed", ())}
        self.inputs: dict[str, object] = {}
        self.from_results: dict[str, str] = {}
        self._own = registry.get(response["calculator"]).input_fields
        for name, kind in calculator.input_fields.items():
            if name in response["given"] and name not in self._unstated and isinstance(kind, type(self._own[name])):
                self._add(name, self._pass_on(name, kind))
        for name, kind in calculator.input_fields.items():
            if name not in response["given"] or name in self._unstated:
                self._follow(name, kind)
        if self.from_results:
            self._keep_defaults()

    def _add(self, name: str, value: object) -> None:
        if value is not None:
            self.inputs[name] = value

    def _keep_defaults(self) -> None:
        """Fill in the defaults that the results rest on, where those of this calculator differ."""
        for name in self._response["assumed"]:
            own, kind = self._own.get(name), self._calculator.input_fields.get(name)
            if name in self.inputs or not isinstance(own, Quantity) or not isinstance(kind, Quantity):
                continue
            if own.default is not None and kind.default not in (None, own.default):
                self._add(name, _check(kind, own.default))

    def _pass_on(self, name: str, kind: Kind) -> object:
        """Return an input as the request gave it, None if this calculator cannot take it."""
        value = self._response["given"][name]
        if isinstance(kind, TimeSeries):
            return None  # a response has only a summary of it
        if isinstance(kind, Table):
            return self._pass_on_rows(name, kind, value)
        return _check(kind, value)

    def _pass_on_rows(self, name: str, kind: Table, rows: Iterable[Mapping[str, object]]) -> object:
        columns = {
            column: inner
            for column, inner in kind.input_columns.items()
            if not isinstance(inner, TimeSeries) and f"{name}.{column}" not in self._unstated
        }
        taken = [{column: row[column] for column in columns if column in row} for row in rows]
        needed = [{column for column, inner in kind.input_columns.items() if inner.is_required}, *map(set, kind.any_of)]
        required, *groups = needed
        complete = all(
            required <= row.keys() and not any(row.keys().isdisjoint(group) for group in groups) for row in taken
        )
        return taken if taken and complete else None

    def _follow(self, name: str, kind: Kind) -> None:
        """Fill an input from the first result that it follows and that fills no other input.

        So the current in hover is the average current of the next calculator, and not its peak current as well.
        """
        if not isinstance(kind, Quantity):
            return
        taken = set(self.from_results.values())
        for result in (each for each in kind.follows if each not in taken):
            # A result that is also an input there, such as a measured resistance, may rest on an assumption.
            value = None if result in self._own else self._read_result(result, kind)
            if value is not None:
                self.inputs[name] = value
                self.from_results[name] = result
                return

    def _read_result(self, result: str, kind: Quantity) -> object:
        """Return a result as this input takes it, None if it cannot take it.

        It has more digits than its uncertainty, since one rounded up may be beyond what a pack gives.
        """
        number = self._response["results"].get(result)
        spelling = self._response["units"].get(result)
        if not isinstance(number, float | int) or spelling not in units.compatible_units(kind.unit):
            return None
        unit, own = units.get_unit(spelling), units.get_unit(kind.unit)
        value = float(units.convert_from_si(np.array(unit.to_si(number)), kind.unit))
        standard = self._response.get("uncertainty", {}).get(result, {}).get("standard", 0.0) * unit.scale / own.scale
        if kind.exact or not standard > 0:
            return _check(kind, float(f"{value:.6g}"))
        uncertainty = format_estimate(value, kind.unit, standard).uncertainty
        return _check(kind, f"{format_number(value, 5)} ± {uncertainty}" if uncertainty else value)


def _check(kind: Kind, value: object) -> object:
    """Return a JSON value if the kind accepts it, without its uncertainty if the input has none; else None."""
    if isinstance(value, str) and isinstance(kind, Quantity) and kind.exact:
        number = float(value.partition("±")[0])
        value = number if math.isfinite(number) else None
    if isinstance(value, list):
        return value
    try:
        kind.parse(value, text=False)
    except ValueParseError:
        return None
    return value
