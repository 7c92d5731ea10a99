"""What only shows across declarations, or by computing: names that mean one thing, formulas that never raise."""

from __future__ import annotations

import random
from collections import defaultdict
from pathlib import Path
from typing import Any, Final

import pytest

from caution_cases import changed_inputs
from gramwatt.engine import registry
from gramwatt.engine.evaluate import evaluate_columns
from gramwatt.model import Calculator, Choice, Count, Kind, NumberList, Quantity

CALCULATORS: Final = list(registry.load().values())
TESTS: Final = Path(__file__).parent / "calculators"
RANDOM_REQUESTS: Final = 60
every_calculator = pytest.mark.parametrize("calculator", CALCULATORS, ids=lambda calculator: calculator.name)


@every_calculator
def test_it_has_a_test_file(calculator: Calculator[Any, Any]) -> None:
    path = TESTS / f"test_{calculator.name.replace('-', '_')}.py"
    assert path.exists(), (
        f"write {path.relative_to(TESTS.parent.parent)}, with checks against a source outside the project"
    )


def test_titles_are_distinct() -> None:
    by_title = defaultdict(list)
    for calculator in CALCULATORS:
        by_title[calculator.title].append(calculator.name)
    assert {title: names for title, names in by_title.items() if len(names) > 1} == {}


def meaning(kind: Kind) -> tuple[object, ...]:
    """Return what must be the same wherever an input has this name. Whether a bound itself is allowed may differ."""
    match kind:
        case Quantity():
            low = kind.above if kind.at_least is None else kind.at_least
            high = kind.below if kind.at_most is None else kind.at_most
            return "quantity", kind.unit, low, high
        case Count():
            return "count", kind.at_least, kind.at_most
        case Choice():
            return "choice", kind.options
        case NumberList():
            return "list", *meaning(kind.item)
        case _:
            return (type(kind).__name__,)


@every_calculator
def test_its_inputs_mean_what_they_mean_elsewhere(calculator: Calculator[Any, Any]) -> None:
    others = {
        (name, other.name): meaning(kind)
        for other in CALCULATORS
        for name, kind in other.input_fields.items()
        if other is not calculator and name in calculator.input_fields
    }
    differing = {
        f"{name}: {meaning(calculator.input_fields[name])}, but {elsewhere} in {other}"
        for (name, other), elsewhere in others.items()
        if elsewhere != meaning(calculator.input_fields[name])
    }
    assert not differing, f"take the input from calculators/_shared/, or give it another name: {differing}"


@every_calculator
def test_its_formula_never_raises(calculator: Calculator[Any, Any]) -> None:
    """Random inputs within their bounds, starting from the examples."""
    chance = random.Random(calculator.name)
    computed = 0
    for _ in range(RANDOM_REQUESTS):
        inputs = dict(chance.choice(calculator.examples).given)
        for _ in range(chance.randint(1, 4)):
            inputs = changed_inputs(calculator, inputs, chance)
        try:
            outcome = evaluate_columns(calculator, {name: [value] for name, value in inputs.items()}, 1, text=False)
        except Exception as error:
            error.add_note(f"inputs: {inputs}")
            raise
        if outcome.errors:
            continue
        computed += 1
    assert computed > RANDOM_REQUESTS / 10
