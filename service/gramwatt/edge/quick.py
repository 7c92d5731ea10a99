"""The answer to a plain question without an array: what every such question has alike is prepared once.

Plain is a question whose inputs are given or take a declared default, without uncertainty anywhere, and whose results
all have an answer. Which inputs are given, and the choices among them, tell all but the numbers: what is assumed,
in which units, what is said. That is taken from the one general path the first time; from then on cells are read by the
same reader, the formula's own operations are done on plain floats (see `scalar`), and the numbers are put in. Any other
question is left to the general path. A test holds the answers of both together.
"""

from __future__ import annotations

import functools
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from gramwatt.declare import Calculator, Caution, Choice, Count, Flag, Kind, Quantity, Rule
from gramwatt.edge import scalar, units
from gramwatt.edge.answer import Answer, answer, number
from gramwatt.edge.cells import Refused, read_cell
from gramwatt.edge.notes import plain_words
from gramwatt.edge.run import Outcome, run
from gramwatt.edge.wording import measured

MOST_PATTERNS: Final = 512
_NOTHING: Final = object()
_UNKNOWN: Final[Any] = object()


@dataclass(frozen=True, slots=True)
class Template:
    """A caution whose text names figures of the answer."""

    code: str
    text: str
    figures: tuple[tuple[str, bool, int, float, str], ...]
    """By name in the text: whether it is a result, its position (-1: a default, the constant), that constant, unit."""

    def filled(self, values: list[float], found: Sequence[Any]) -> dict[str, str] | None:
        """The caution as told."""
        text = self.text
        for name, is_result, at, constant, spelling in self.figures:
            value = found[at] if is_result else constant if at < 0 else values[at]
            unit = units.unit(spelling)
            text = text.replace(name, measured((value - unit.offset) / unit.scale, spelling))
        return {"code": self.code, "text": text}


@dataclass(frozen=True, slots=True)
class Pattern:
    """The answer to all questions with the same inputs given and the same choices, but for its numbers."""

    calculator_name: str
    arguments: tuple[tuple[int, float], ...]
    """Of the function: the position of a value that was given, or -1 and a default."""
    function: Any
    given: tuple[tuple[str, int, float, float, Any], ...]
    """Name; position or -1; offset and scale of its unit; what stands there where nothing was given."""
    results: tuple[tuple[str, float, float, Any], ...]
    """Name; offset and scale of its unit; the options of a choice, `math.nan` where there never is an answer."""
    assumed: tuple[str, ...]
    units: Mapping[str, str]
    lacking: tuple[Mapping[str, Any], ...]
    """Cautions about results that lack an input."""
    said: tuple[Mapping[str, str] | Template | bool | None, ...]
    """By place among the calculator's `scalar.sayings`: see `_told`."""
    stands: tuple[bool, ...]


class _NoExample(Exception):
    """This question's numbers make its answer no example of the others: another one will do."""


_PATTERNS: Final[dict[tuple[Any, ...], Pattern | None]] = {}


@functools.cache
def _fields(calculator: Calculator[Any, Any]) -> tuple[tuple[str, Kind, bool], ...] | None:
    """The inputs and whether each is a number; None where some input or result is a list, a table or a text."""
    kinds = [*calculator.asked.values(), *calculator.answered.values()]
    if not all(isinstance(kind, Quantity | Count | Choice | Flag) for kind in kinds):
        return None
    return tuple((name, kind, isinstance(kind, Quantity | Count)) for name, kind in calculator.asked.items())


def quick_answer(calculator: Calculator[Any, Any], question: Mapping[str, object], *, text: bool) -> Answer | None:
    """The answer to one question, or None where the general path must give it (or say what is wrong)."""
    fields = _fields(calculator)
    if fields is None:
        return None
    key: list[Any] = [calculator]
    values: list[float] = []
    try:
        for name, kind, is_number in fields:
            cell = question.get(name, _NOTHING)
            if cell is _NOTHING:
                key.append(None)
                continue
            value, spread = read_cell(kind, cell, text=text)
            if spread is not None:
                return None
            values.append(value)
            key.append(True if is_number else str(value))
    except Refused:
        return None
    if len(values) != len(question):
        return None  # a name that is no input
    fixed = tuple(key)
    pattern = _PATTERNS.get(fixed, _UNKNOWN)
    if pattern is _UNKNOWN:
        if len(_PATTERNS) >= MOST_PATTERNS:
            _PATTERNS.clear()
        try:
            pattern = _PATTERNS[fixed] = _pattern(calculator, question, text=text)
        except _NoExample:
            return None
    return None if pattern is None else _filled(pattern, values)


def _filled(pattern: Pattern, values: list[float]) -> Answer | None:
    try:
        with np.errstate(all="ignore"):
            found, holds = pattern.function(*[constant if at < 0 else values[at] for at, constant in pattern.arguments])
    except (ArithmeticError, ValueError):
        return None
    results: dict[str, Any] = {}
    for (name, offset, scale, special), value in zip(pattern.results, found, strict=True):
        if special is None:
            if not math.isfinite(value):
                return None
            results[name] = number((value - offset) / scale)
        elif special is math.nan:
            results[name] = None
        elif isinstance(special, tuple):
            if value < 0:
                return None
            results[name] = special[value]
        else:
            results[name] = value
    special_cautions: list[Any] = []
    standing: list[Any] = []
    for hold, told, stands in zip(holds, pattern.said, pattern.stands, strict=True):
        if hold and told is not False:
            if told is None:
                return None
            if isinstance(told, Template):
                told = told.filled(values, found)
                if told is None:
                    return None
            (standing if stands else special_cautions).append(told)
    return {
        "calculator": pattern.calculator_name,
        "given": {
            name: constant if at < 0 else number((values[at] - offset) / scale)
            for name, at, offset, scale, constant in pattern.given
        },
        "assumed": list(pattern.assumed),
        "results": results,
        "units": dict(pattern.units),
        "cautions": [dict(told) for told in (*pattern.lacking, *special_cautions, *standing)],
    }


def _pattern(calculator: Calculator[Any, Any], question: Mapping[str, object], *, text: bool) -> Pattern | None:
    """The pattern of a question, from the general path's answer to it; None where such questions are not plain."""
    outcome = run(calculator, {name: [cell] for name, cell in question.items()}, 1, text=text)
    if outcome.faults or outcome.uncertainty is not None or any(mark.any() for mark in outcome.unused.values()):
        return None
    asked = {name for name, mark in outcome.present.items() if mark[0]}
    if any(assumption.name not in asked for assumption in calculator.assumptions):
        return None  # what is assumed then depends on the numbers
    variant = scalar.variant_of(calculator, outcome.given)
    if variant is None:
        return None
    made = answer(outcome, 0)
    places = {name: at for at, name in enumerate(name for name in calculator.asked if name in asked)}
    arguments = tuple((places.get(name, -1), float(getattr(outcome.given, name)[0])) for name in variant.arguments)
    given = []
    for name, value in made["given"].items():
        kind = calculator.asked[name]
        computed = name in places and isinstance(kind, Quantity | Count)
        unit = units.unit(made["units"].get(name, "1"))
        given.append((name, places[name] if computed else -1, unit.offset, unit.scale, value))
    results, lacking = [], []
    for name, kind in calculator.answered.items():
        unit = units.unit(made["units"].get(name, "1"))
        special: Any = kind.options if isinstance(kind, Choice) else True if isinstance(kind, Flag) else None
        if name in variant.never:
            if isinstance(kind, Choice | Flag):
                return None
            reasons = [note for note in made["cautions"] if name in note.get("results", ())]
            if [note["code"] for note in reasons] != ["needs-input"]:
                raise _NoExample
            lacking += reasons
            special = math.nan
        results.append((name, unit.offset, unit.scale, special))
    sayings = scalar.sayings(calculator)
    said = [_told(each, outcome, variant.never, places) for each in sayings]
    return Pattern(
        calculator.name,
        arguments,
        variant.function,
        tuple(given),
        tuple(results),
        tuple(made["assumed"]),
        made["units"],
        tuple(lacking),
        tuple(said),
        tuple(isinstance(each, Caution) and each.stands for each in sayings),
    )


def _told(
    said: Any, outcome: Outcome, never: Sequence[str], places: Mapping[str, int]
) -> Mapping[str, str] | Template | bool | None:
    """How a saying is told where it holds; False where it never is, None where the general path must tell it."""
    if isinstance(said, Rule):
        return None if set(said.results) & set(never) else False  # all other results have an answer
    if said.assumed and not outcome.assumed[said.assumed][0]:
        return False
    plain = plain_words(outcome.calculator).get(said.code)
    return plain if plain is not None else _template(said, outcome, never, places)


def _template(
    said: Caution[Any, Any], outcome: Outcome, never: Sequence[str], places: Mapping[str, int]
) -> Template | None:
    calculator = outcome.calculator
    figures = []
    for name in dict.fromkeys(re.findall(r"\{(\w+)\}", said.text)):
        kind = calculator.answered.get(name) or calculator.asked[name]
        if not isinstance(kind, Quantity) or name in never:
            return None
        if name in calculator.answered:
            figures.append((f"{{{name}}}", True, list(calculator.answered).index(name), 0.0, kind.unit))
        else:
            constant = float(getattr(outcome.given, name)[0])
            figures.append((f"{{{name}}}", False, places.get(name, -1), constant, kind.unit))
    return Template(said.code, said.text, tuple(figures))
