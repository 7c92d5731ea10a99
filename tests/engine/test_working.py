"""The working that is shown is what was computed: formulas, numbers, units, values, sources."""

from __future__ import annotations

import contextlib
import functools
import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any, Final, NamedTuple

import numpy as np
import pint
import pytest

from gramwatt import calculate
from gramwatt.engine import registry
from gramwatt.engine.evaluate import Outcome, evaluate_columns
from gramwatt.engine.unit_expressions import UNIT_EXPRESSIONS
from gramwatt.model import AnyCalculator, Kind, Table, TimeSeries
from gramwatt.model.constants import get_constants, list_constants
from gramwatt.model.expressions import list_names
from gramwatt.model.messages import unit_sign

CALCULATORS: Final = list(registry.load().values())


@dataclass(frozen=True, eq=False)
class Case:
    """Inputs whose working is checked."""

    calculator: AnyCalculator
    given: Mapping[str, Any]


DRIVE: Final = {"cells": 6, "capacity": 1300, "kv": 1950, "diameter": 5, "pitch": 4}
CHARGE: Final = {"cells": 6, "capacity": 1300}
CASES: Final = {
    **{f"{each.name}: {at.title}": Case(each, at.given) for each in CALCULATORS for at in each.examples},
    "bench point without shaft power and speed": Case(
        registry.get("full-throttle"), {**DRIVE, "bench_voltage": 11.1, "bench_current": 10, "bench_thrust": 410}
    ),
    "bench point of volts and amps": Case(
        registry.get("full-throttle"), {**DRIVE, "bench_voltage": 11.1, "bench_current": 10}
    ),
    "recording with the charge put back": Case(
        registry.get("flight-log"),
        {
            "log": {"time": [0, 1, 2, 3], "voltage": [16, 15.5, 15.5, 15.8], "current": [5, 20, 20, 10]},
            "charge_put_back": 18,
        },
    ),
    "parts beside masses": Case(
        registry.get("mass-margin"), {"parts": [{"mass": 31.5, "count": 4}], "masses": [98, 52.5], "mass_limit": 300}
    ),
    "parts beside a dry mass": Case(
        registry.get("build"),
        {
            **{name: DRIVE[name] for name in ("kv", "diameter", "pitch")},
            "dry_mass": 300,
            "parts": [{"name": "camera", "mass": 61}, {"name": "strap", "mass": 4.5, "count": 2}],
            "packs": [{"name": "small", "cells": 4, "capacity": 1300, "mass": 155}],
        },
    ),
    "charge current of several packs": Case(
        registry.get("charge-time"), {**CHARGE, "charge_current": 3, "packs_in_parallel": 2}
    ),
    "charge current above that of the charger": Case(
        registry.get("charge-time"), {**CHARGE, "charge_current": 3, "maximum_charger_current": 2}
    ),
    "charger of little power": Case(registry.get("charge-time"), {**CHARGE, "maximum_charger_power": 40}),
    "supply of little power": Case(registry.get("charge-time"), {**CHARGE, "maximum_supply_power": 40}),
    "parts and propellers without a pack": Case(
        registry.get("balance"), {"parts": [{"mass": 300, "x": 4}], "propeller_mass": 5, "wheelbase": 220}
    ),
}
every_case = pytest.mark.parametrize("case", [pytest.param(case, id=name) for name, case in CASES.items()])
every_calculator = pytest.mark.parametrize("calculator", CALCULATORS, ids=lambda calculator: calculator.name)
REGISTRY: Final[pint.UnitRegistry[float]] = pint.UnitRegistry()
UNITS: Final = {
    unit_sign(spelling): expression for units in UNIT_EXPRESSIONS.values() for spelling, expression in units.items()
}
NUMBER: Final = re.compile(
    r"\((-?[\d.]+(?:e[+-]?\d+)?)(?: |(?=°))([^()*/+-][^()]*(?:\([^()]*\))?)\)|(?<![\w.])([\d.]+(?:e[+-]?\d+)?)"
)
"""A number with a unit, or by itself."""
DIGITS: Final = 6
"""Significant digits of the numbers that are put in."""


class Formula(NamedTuple):
    """A formula that the working of an example shows with its value."""

    path: str
    at: int | None
    """The row of its table."""
    text: str
    numbers: str
    value: float
    unit: str


@functools.cache
def work(case: Case) -> tuple[Outcome, list[dict[str, Any]]]:
    """Return the outcome of a case, and the steps of its working."""
    cells = {name: [value] for name, value in case.given.items()}
    outcome = evaluate_columns(case.calculator, cells, 1, text=False)
    return outcome, calculate(case.calculator.name, working=True, **case.given)["working"]["steps"]


def list_formulas(steps: list[dict[str, Any]]) -> Iterator[Formula]:
    for step in steps:
        rows = step.get("rows")
        for at, row in enumerate(rows or [step]):
            text = row.get("formula", step.get("formula"))
            if text and "numbers" in row:
                place = None if rows is None else at
                yield Formula(step["name"], place, text, row["numbers"], row["value"], step.get("unit", "1"))


def name_values(outcome: Outcome) -> dict[str, Any]:
    """Return all that a formula may name, in SI units; tables with arrays of their columns."""
    calculator = outcome.calculator
    with np.errstate(all="ignore"):
        steps = None if calculator.steps is None else calculator.steps(outcome.inputs, outcome.results)
    names: dict[str, Any] = {name: each.value for name, each in get_constants().items()}
    for fields, values in (
        (calculator.input_fields, outcome.inputs),
        (calculator.step_fields, steps),
        (calculator.result_fields, outcome.results),
    ):
        for name, kind in fields.items():
            if isinstance(kind, Table):
                columns = {column: getattr(getattr(values, name), column)[0] for column in kind.columns}
                names[name] = SimpleNamespace(**{**vars(names.get(name, SimpleNamespace())), **columns})
            elif not isinstance(kind, TimeSeries):
                names[name] = getattr(values, name)[0]
    return names


def either(of_numbers: Callable[..., Any], of_rows: Callable[[Any], Any]) -> Callable[..., Any]:
    return lambda *values: of_rows(values[0]) if len(values) == 1 and np.ndim(values[0]) else of_numbers(*values)


FUNCTIONS: Final[dict[str, Any]] = {
    "__builtins__": {},
    **{name: getattr(math, name) for name in ("sqrt", "exp", "log", "sin", "cos", "acos", "pi")},
    "abs": abs,
    "sum": np.nansum,
    "max": either(max, np.nanmax),
    "min": either(min, np.nanmin),
}


@every_case
def test_formulas_are_those_that_were_used(case: Case) -> None:
    """Python's own arithmetic on the text of each formula, with the SI numbers of inputs, steps and results."""
    outcome, steps = work(case)
    names = name_values(outcome)
    for path, at, text, *_ in list_formulas(steps):
        table, _, name = path.rpartition(".")
        columns = {} if at is None else {column: values[at] for column, values in vars(names[table]).items()}
        expected = (columns or names)[name]
        value = eval(text, FUNCTIONS, {**names, **columns})
        assert value == pytest.approx(expected, rel=1e-9, abs=1e-12), f"{path} = {text}"


@functools.cache
def find_unit(sign: str) -> Any:
    """Return one of a unit in SI base units; a temperature is in kelvin in any formula."""
    return REGISTRY.Quantity(1.0, {**UNITS, "": "dimensionless", "°C": "K"}.get(sign, sign)).to_base_units()


def of_pure_numbers(function: Callable[[float], float]) -> Callable[[Any], float]:
    return lambda value: function(REGISTRY.Quantity(value).m_as("")) if hasattr(value, "m_as") else function(value)


PINT_FUNCTIONS: Final[dict[str, Any]] = {
    **FUNCTIONS,
    **{name: of_pure_numbers(getattr(math, name)) for name in ("exp", "log", "sin", "cos", "acos")},
    "sqrt": lambda value: value**0.5,
    "max": max,
    "min": min,
}


def read_numbers(numbers: str) -> tuple[str, dict[str, tuple[float, str]]]:
    """Return an expression with names for its numbers, and these with their units."""
    read: dict[str, tuple[float, str]] = {}

    def rename(match: re.Match[str]) -> str:
        name = f"n{len(read)}"
        read[name] = (float(match[1] or match[3]), match[2] or "")
        return name

    return NUMBER.sub(rename, numbers), read


def evaluate_ends(code: Any, values: dict[str, float], name: str, half: float) -> Iterator[float]:
    """Yield the values with one number half a digit less, and more, where both sides of a domain exist."""
    for change in (-half, half):
        with contextlib.suppress(ValueError, TypeError):  # a root of a negative number is complex
            found = eval(code, FUNCTIONS, {**values, name: values[name] + change})
            if isinstance(found, float):
                yield found


@every_case
def test_numbers_put_in_give_the_value_in_its_unit(case: Case) -> None:
    """To within the rounding of what was put in; both sides have the same dimension, as Pint finds."""
    _, steps = work(case)
    for path, _, _, numbers, value, unit in list_formulas(steps):
        expression, read = read_numbers(numbers)
        code = compile(expression, path, "eval")
        quantities = {name: each * find_unit(sign) if sign else each for name, (each, sign) in read.items()}
        found = REGISTRY.Quantity(eval(code, PINT_FUNCTIONS, quantities)).to_base_units()
        assert (found / find_unit(unit_sign(unit))).dimensionless, f"{path} = {numbers}: no {unit}, but {found}"
        scales = {name: find_unit(sign).magnitude if sign else 1.0 for name, (_, sign) in read.items()}
        si = {name: each * scales[name] for name, (each, _) in read.items()}
        exact, tolerance = eval(code, FUNCTIONS, si), 0.0
        for name, (each, _) in read.items():
            if each:
                half = 0.5 * 10.0 ** (math.floor(math.log10(abs(each))) + 1 - DIGITS) * scales[name]
                tolerance += max((abs(end - exact) for end in evaluate_ends(code, si, name, half)), default=0.0)
        expected = value * find_unit(unit_sign(unit)).magnitude + (273.15 if unit == "degC" else 0.0)
        assert abs(exact - expected) <= 1.01 * tolerance + 1e-11 * abs(expected), f"{path} = {numbers}: {exact}"


def list_declared(calculator: AnyCalculator) -> Iterator[tuple[str, Kind]]:
    for fields in (calculator.result_fields, calculator.step_fields):
        for name, kind in fields.items():
            yield name, kind
            yield from ((f"{name}.{column}", each) for column, each in kind.columns.items())


def test_some_case_shows_every_formula_and_every_step() -> None:
    """Else the tests above might pass over it. What calculators share needs an example of one of them."""
    worked = [work(case)[1] for case in CASES.values()]
    shown = {(each.path.rpartition(".")[2], each.text) for steps in worked for each in list_formulas(steps)}
    kinds = [(path.rpartition(".")[2], kind) for calculator in CALCULATORS for path, kind in list_declared(calculator)]
    declared = {(name, formula) for name, kind in kinds for formula in kind.formulas}
    declared |= {(a.name.rpartition(".")[2], a.formula) for each in CALCULATORS for a in each.assumptions if a.formula}
    assert declared - shown == set()
    names = {step["name"].rpartition(".")[2] for steps in worked for step in steps}
    assert {name for name, kind in kinds if kind.formulas or kind.method} - names == set()


@every_case
def test_every_result_has_its_working(case: Case) -> None:
    names = {step["name"] for step in work(case)[1]}
    assert {name for name, kind in case.calculator.result_fields.items() if not kind.columns} <= names


@every_case
def test_a_step_stands_below_those_that_it_names(case: Case) -> None:
    """Unless they name it in turn, as equations do that are solved together."""
    _, steps = work(case)
    order = [step["name"] for step in steps]
    assert len(order) == len(set(order))
    named: dict[str, set[str]] = {name: set() for name in order}
    for step in steps:
        table = step["name"].rpartition(".")[0]
        for name in list_names(step.get("formula", "")):
            own = f"{table}.{name}"
            named[step["name"]] |= {own if own in order else name} & set(order)
    reached = {name: set(each) for name, each in named.items()}
    for _ in order:
        for name in order:
            reached[name] |= {far for near in reached[name] for far in reached[near]}
    for name, each in named.items():
        late = {other for other in each if order.index(other) > order.index(name)}
        assert all(name in reached[other] for other in late), f"{name} before {late}"


@every_calculator
def test_sources_are_cited_by_number(calculator: AnyCalculator) -> None:
    """The list is there once; each result cites those that name it, and those that name none."""
    working = calculate(calculator.name, working=True, **dict[str, Any](calculator.examples[0].given))["working"]
    assert [each["text"] for each in working["references"]] == [each.text for each in calculator.references]
    assert [each["number"] for each in working["references"]] == list(range(1, len(calculator.references) + 1))
    for step in working["steps"]:
        path, owner = step["name"], step["name"].partition(".")[0]
        kind = calculator.result_fields.get(owner)
        is_result = kind is not None and (path == owner or path.partition(".")[2] in kind.columns)
        names = {owner, path} if is_result else {path}
        expected = [
            number
            for number, each in enumerate(calculator.references, 1)
            if names & set(each.about) or (is_result and not each.about)
        ]
        assert step["references"] == expected
        assert expected or not is_result


def test_constants_that_formulas_name_are_unique() -> None:
    expressions = [text for each in CALCULATORS for _, kind in list_declared(each) for text in kind.formulas]
    expressions += [assumption.formula for each in CALCULATORS for assumption in each.assumptions]
    used = {name for text in expressions for name in list_names(text)} & set(get_constants())
    every = [each.name for each in list_constants()]
    assert used
    assert [name for name in used if every.count(name) > 1] == []


def show(name: str, given: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """Return the steps of a working by name."""
    return {step["name"]: step for step in calculate(name, working=True, **given)["working"]["steps"]}


def test_the_steps_are_those_that_were_taken() -> None:
    """A flight that ends by its reserve has other steps than one that ends by its cut-off."""
    flight = {"cells": 6, "capacity": 1300, "mean_power": 200}
    by_reserve = show("endurance", flight)
    by_cutoff = show("endurance", {**flight, "reserve": 0, "cutoff_cell_voltage": 3.4})
    assert by_reserve["end_state_of_charge"]["numbers"] == "min((20 %), (100 %))"
    assert "stop_rested_voltage" not in by_reserve
    assert "stop_rested_voltage" in by_cutoff["end_state_of_charge"]["formula"]
    assert by_cutoff["stop_loaded_voltage"]["value"] == 3.4
    assert "end_rested_voltage" not in by_cutoff
    pieces = by_reserve["pieces.duration"]["rows"]
    assert len(pieces) == 16, "by hand: from 100 to 20 % in steps of 5 %"
    total = sum(piece["value"] for piece in pieces)
    assert total == pytest.approx(by_reserve["endurance"]["value"], rel=1e-11)


def test_what_was_measured_has_no_formula() -> None:
    measured = show("pack-current", {"cells": 4, "capacity": 650, "pack_power": 400, "pack_resistance": 60})
    assert measured["pack_resistance"]["method"].startswith("as measured")
    assert "formula" not in measured["pack_resistance"]
    assert "cell_resistance" not in measured
    assumed = show("pack-current", {"cells": 4, "capacity": 650, "pack_power": 400})
    assert assumed["cell_resistance"]["formula"] == "RESISTANCE_TIMES_CHARGE / capacity"
    assert assumed["cell_resistance"]["value"] == pytest.approx(15 / 0.65, rel=1e-11)  # by hand: 15 mΩ Ah / 0.65 Ah
    assert "method" not in assumed["pack_resistance"]


def test_a_result_without_a_value_has_its_formula_without_numbers() -> None:
    step = show("pack-energy", {"cells": 6, "capacity": 1300})["specific_energy"]
    assert step["formula"] == "nominal_energy / pack_mass"
    assert not {"numbers", "value"} & set(step)


def test_of_many_rows_some_are_shown() -> None:
    """A sum of more than 60 terms is not written out."""
    masses = show("mass-margin", {"masses": [1.5] * 61, "mass_limit": 300})
    assert masses["total_mass"]["formula"] == "sum(masses)"
    assert "numbers" not in masses["total_mass"]
    flights = [{"mass": 500 + at, "duration": 5, "cells": 6, "capacity": 1300} for at in range(62)]
    step = show("power-fit", {"flights": flights})["law.log_mass"]
    assert len(step["rows"]) == 60
    assert step["omitted_rows"] == 2
