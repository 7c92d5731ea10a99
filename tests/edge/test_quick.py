"""The prepared answer to a plain question: to the byte the general path's."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edge.test_scalar import question
from gramwatt import registry
from gramwatt.edge import quick
from gramwatt.edge.answer import answer
from gramwatt.edge.figures import json_bytes
from gramwatt.edge.run import run

CALCULATORS = registry.load()
PLAIN = ["air-density", "endurance-from-flight", "pack-current", "pack-energy"]
EVERYTHING: dict[str, dict[str, Any]] = {
    "air-density": {"elevation": 1000, "temperature": 20, "pressure": 900, "humidity": 40},
    "pack-current": {"cells": 6, "capacity": 1300, "power": 400, "cell_resistance": 8},
    "pack-energy": {"cells": 6, "capacity": 1300, "pack_mass": "212 g"},
}
"""Plain questions."""


def general(name: str, asked: dict[str, Any], *, text: bool) -> bytes | None:
    """The general path's answer, or None where it has faults."""
    outcome = run(CALCULATORS[name], {each: [cell] for each, cell in asked.items()}, 1, text=text)
    return None if outcome.faults else json_bytes(answer(outcome, 0))


@pytest.mark.parametrize("name", CALCULATORS)
def test_examples_are_answered_alike(name: str) -> None:
    for example in CALCULATORS[name].examples:
        found = quick.quick_answer(CALCULATORS[name], example.given, text=False)
        if found is not None:
            assert json_bytes(found) == general(name, dict(example.given), text=False)


@pytest.mark.parametrize("name", PLAIN)
@settings(max_examples=400, deadline=None)
@given(data=st.data())
def test_questions_within_bounds_are_answered_alike(name: str, data: st.DataObject) -> None:
    asked = data.draw(question(CALCULATORS[name]))
    found = quick.quick_answer(CALCULATORS[name], asked, text=False)
    if found is not None:
        assert json_bytes(found) == general(name, asked, text=False)


CELLS = st.sampled_from(
    ["6", "0", "1300 mAh", "1.3 Ah", "212 ± 1 g", "x", "lipo", "li-ion", "1e3", "-4", "50 %", "", "25"]
)


@pytest.mark.parametrize("name", CALCULATORS)
@settings(max_examples=150, deadline=None)
@given(data=st.data())
def test_words_of_any_kind_are_answered_alike_or_left(name: str, data: st.DataObject) -> None:
    """Faults, uncertainties and unknown names are left to the general path."""
    names = st.sampled_from([*CALCULATORS[name].asked, "celsl"])
    asked = {**EVERYTHING.get(name, {}), **data.draw(st.dictionaries(names, CELLS, max_size=4))}
    asked = {each: str(cell) for each, cell in asked.items()}
    found = quick.quick_answer(CALCULATORS[name], asked, text=True)
    if found is not None:
        assert json_bytes(found) == general(name, asked, text=True)


@pytest.mark.parametrize("name", EVERYTHING)
def test_a_plain_question_is_answered_without_the_general_path(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Else the tests above would compare the general path with itself."""
    calculator, asked = CALCULATORS[name], EVERYTHING[name]
    first = quick.quick_answer(calculator, asked, text=False)
    assert first is not None
    monkeypatch.setattr(quick, "run", lambda *_, **__: pytest.fail("the general path was asked"))
    assert quick.quick_answer(calculator, asked, text=False) == first


def test_answers_share_nothing_that_a_caller_may_change() -> None:
    calculator, asked = CALCULATORS["pack-energy"], EVERYTHING["pack-energy"]
    first = quick.quick_answer(calculator, asked, text=False)
    assert first is not None
    before = json_bytes(first)
    for part in ("given", "results", "units"):
        first[part].clear()
    first["assumed"].clear()
    first["cautions"][0].clear()
    again = quick.quick_answer(calculator, asked, text=False)
    assert again is not None
    assert json_bytes(again) == before


def test_patterns_are_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(quick, "MOST_PATTERNS", 3)
    monkeypatch.setattr(quick, "_PATTERNS", {})
    for chemistry in ("lipo", "lihv", "li-ion", "lifepo4"):
        for more in ({}, {"pack_mass": 200}):
            asked = {"cells": 4, "capacity": 900, "chemistry": chemistry, **more}
            assert quick.quick_answer(CALCULATORS["pack-energy"], asked, text=False) is not None
            assert len(quick._PATTERNS) <= 3
