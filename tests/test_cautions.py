"""Which cautions and reasons each calculator shows, in pinned cases where each part of each condition decides."""

from __future__ import annotations

from typing import Any

import pytest

from caution_cases import cases, codes, needs, outcome
from gramwatt.engine import registry
from gramwatt.model import Calculator

CALCULATORS = list(registry.load().values())
CASES = [(calculator, at, case) for calculator in CALCULATORS for at, case in enumerate(cases(calculator))]


@pytest.mark.parametrize(
    ("calculator", "case"),
    [(calculator, case) for calculator, _, case in CASES],
    ids=[f"{calculator.name}: {at}" for calculator, at, _ in CASES],
)
def test_a_case_shows_the_cautions_that_are_pinned(calculator: Calculator[Any, Any], case: dict[str, Any]) -> None:
    made = outcome(calculator, case["given"])
    assert not made.errors
    assert codes(made) == case["codes"]


@pytest.mark.parametrize("calculator", CALCULATORS, ids=lambda calculator: calculator.name)
def test_every_part_of_every_condition_decides_in_some_case(calculator: Calculator[Any, Any]) -> None:
    """Else a caution or rule may never be shown, or a part of its condition could be left out without notice."""
    made = [outcome(calculator, case["given"]) for case in cases(calculator)]
    lacking = [need for need, holds in needs(calculator).items() if not any(holds(each) for each in made)]
    assert not lacking, f"run `PYTHONPATH=service:tests python -m caution_cases {calculator.name}` and look at the diff"
