"""One question by plain arithmetic: to the bit what the formula gives on an array of one."""

from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gramwatt import registry
from gramwatt.declare import Array, Calculator, Caution, Choice, Count, Example, Flag, Kind, Quantity, Reference
from gramwatt.edge import run as path
from gramwatt.edge import scalar, schemas
from gramwatt.edge.run import run

CALCULATORS = registry.load()
PLAIN = ["air-density", "endurance-from-flight", "pack-current", "pack-energy"]
"""Whose formulas can be noted; the others are called, which is slower and no less right."""


def value(kind: Kind) -> st.SearchStrategy[Any]:
    """Values within an input's bounds, the bounds among them."""
    match kind:
        case Quantity():
            low = kind.above if kind.at_least is None else kind.at_least
            high = kind.below if kind.at_most is None else kind.at_most
            assert low is not None
            assert high is not None
            inside = st.floats(
                low, high, exclude_min=kind.above is not None, exclude_max=kind.below is not None, allow_nan=False
            )
            return inside | st.floats(min(max(low, 0.5), high), min(high, 5000)) if low < 5000 else inside
        case Count():
            return st.integers(kind.at_least, kind.at_most)
        case Choice():
            return st.sampled_from(kind.options)
        case Flag():
            return st.booleans()
        case _:
            raise TypeError(kind)


def question(calculator: Calculator[Any, Any]) -> st.SearchStrategy[dict[str, Any]]:
    """Questions with every required input and any of the others."""
    must = {name: value(calculator.asked[name]) for name in schemas.required(calculator)}
    must |= {name: value(calculator.asked[name]) for group in calculator.any_of for name in group}
    may = {name: value(kind) for name, kind in calculator.asked.items() if name not in must}
    return st.fixed_dictionaries(must, optional=may)


def same(one: Any, other: Any) -> bool:
    """Arrays of one type, shape and value, to the bit but for nan."""
    return bool(
        one.dtype == other.dtype
        and one.shape == other.shape
        and np.array_equal(one, other, equal_nan=one.dtype.kind == "f")
    )


@pytest.mark.parametrize("name", PLAIN)
@settings(max_examples=400, deadline=None)
@given(data=st.data())
def test_results_and_cautions_are_the_formula_s_own(name: str, data: st.DataObject) -> None:
    calculator = CALCULATORS[name]
    asked = data.draw(question(calculator))
    cells = {each: [cell] for each, cell in asked.items()}
    outcome = run(calculator, cells, 1, text=False)
    if outcome.faults:
        return
    expected = path.evaluate(calculator, outcome.given)
    for result in calculator.answered:
        assert same(getattr(outcome.results, result), getattr(expected, result)), result
    by_arrays = path._notes(calculator, outcome.given, expected, outcome.assumed, 1)
    assert [note.said.code for note in outcome.notes] == [note.said.code for note in by_arrays]


@pytest.mark.parametrize("name", PLAIN)
def test_examples_are_answered_without_the_formula(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Once a variant is known its formula is not called any more."""
    calculator = CALCULATORS[name]
    for example in calculator.examples:
        cells = {each: [cell] for each, cell in example.given.items()}
        before = run(calculator, cells, 1, text=False, uncertain=False)
        with monkeypatch.context() as patch:
            patch.setattr(path, "evaluate", lambda *_: pytest.fail("the formula was called"))
            after = run(calculator, cells, 1, text=False, uncertain=False)
        for result in calculator.answered:
            assert same(getattr(before.results, result), getattr(after.results, result))


def test_every_other_formula_is_called() -> None:
    """The list above is complete: where it grows, its test should too."""
    noted = []
    for name, calculator in CALCULATORS.items():
        example = calculator.examples[0]
        outcome = run(calculator, {each: [cell] for each, cell in example.given.items()}, 1, text=False)
        if scalar.evaluate(calculator, outcome.given) is not None:
            noted.append(name)
    assert noted == PLAIN


# A small calculator that does what plain arithmetic refuses, and everything that can be noted


@dataclass(frozen=True, slots=True)
class Inputs:
    """Two numbers, a count, a choice and a flag."""

    left: Annotated[Array, Quantity("m", "One.", at_least=-1e200, at_most=1e200)]
    right: Annotated[Array, Quantity("m", "Other.", at_least=-1e200, at_most=1e200)]
    times: Annotated[Array, Count("How often.", at_least=0, at_most=9, default=1)]
    law: Annotated[Any, Choice(("plain", "squared"), "Which law.", default="plain")]
    turned: Annotated[Any, Flag("Whether turned.")]


@dataclass(frozen=True, slots=True)
class Results:
    """What becomes of them."""

    quotient: Annotated[Array, Quantity("1", "left / right", method="left / right")]
    root: Annotated[Array, Quantity("1", "a root", method="of the difference")]
    least: Annotated[Array, Quantity("1", "the least", method="of both")]
    rest: Annotated[Array, Quantity("1", "everything else", method="in one")]
    above: Annotated[Any, Flag("left > right", method="compared")]
    which: Annotated[Any, Choice(("plain", "squared"), "the law", method="as given")]


FACTORS = np.array([1.0, 2.5])
HEIGHTS = np.array([0.0, 1.0, 5.0])


def mixed(given: Inputs) -> Results:
    """Every operation that can be noted."""
    difference = given.left - given.right
    rest = np.where(given.turned, -given.left, np.abs(given.right)) * FACTORS[given.law]
    rest = rest + np.clip(given.left, -1.0, 1.0) ** 2 + np.interp(given.right, HEIGHTS, HEIGHTS[::-1])
    rest = rest + np.maximum(given.left, given.right) ** 0.5 + np.floor(given.times / 2) + np.zeros_like(rest)
    rest = rest + np.exp(np.minimum(difference, 3.0)) - np.log(np.abs(given.right) + 1) + np.hypot(given.left, 3.0)
    return Results(
        quotient=given.left / given.right,
        root=np.sqrt(np.where(difference >= 0, difference, np.nan)),
        least=np.minimum(given.left, given.right),
        rest=rest,
        above=(given.left > given.right) & ~np.isnan(rest),
        which=given.law,
    )


MIXED = Calculator(
    title="What?",
    summary="All.",
    inputs=Inputs,
    results=Results,
    formula=mixed,
    references=(Reference("By hand"),),
    cautions=(
        Caution("always", "Take care."),
        Caution("far", "Far apart.", when=lambda given, found: np.abs(given.left - given.right) > 10),
    ),
    examples=(Example("One", given={"left": 1, "right": 2}, expected={"quotient": 0.5}, rtol=1e-12, source="by hand"),),
)
NUMBERS = st.sampled_from([0.0, -0.0, 1.0, -1.0, 1e-300, 1e200, -1e200, 3.5, 12.0]) | st.floats(-1e3, 1e3)


@settings(max_examples=600, deadline=None)
@given(
    left=NUMBERS,
    right=NUMBERS,
    times=st.integers(0, 9),
    law=st.sampled_from(["plain", "squared"]),
    turned=st.booleans(),
)
def test_any_arithmetic_comes_out_as_numpy_s(left: float, right: float, times: int, law: str, turned: bool) -> None:
    """Divisions by zero, overflows, powers of negative numbers, nan: where plain arithmetic refuses, numpy is asked."""
    cells: dict[str, Any] = {"left": [left], "right": [right], "times": [times]}
    cells |= {"law": [law], "turned": [turned]}
    outcome = run(MIXED, cells, 1, text=False)
    expected = path.evaluate(MIXED, outcome.given)
    for result in MIXED.answered:
        assert same(getattr(outcome.results, result), getattr(expected, result)), result
    codes = ["always"] + (["far"] if abs(left - right) > 10 else [])
    assert [note.said.code for note in outcome.notes] == codes


def test_a_formula_that_branches_is_called() -> None:
    """A branch on a value would be taken once and for all: it cannot be noted."""
    with pytest.raises(scalar.Unnotable):
        bool(scalar.Standin(scalar._Notes(), "v", "f"))


def test_variants_are_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scalar, "MOST_VARIANTS", 4)
    monkeypatch.setattr(scalar, "_VARIANTS", {})
    for chemistry in ("lipo", "lihv", "li-ion", "lifepo4"):
        for more in ({}, {"discharge_rating": 50}):
            cells: dict[str, list[Any]] = {"cells": [4], "capacity": [1300], "power": [90], "chemistry": [chemistry]}
            cells |= {name: [each] for name, each in more.items()}
            assert run(CALCULATORS["pack-current"], cells, 1, text=False).results.current[0] > 0
            assert len(scalar._VARIANTS) <= 4
