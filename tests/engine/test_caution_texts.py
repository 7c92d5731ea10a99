"""The cautions of responses: their words, their order, and how those of several rows of a table become one."""

from __future__ import annotations

import re
from collections import Counter
from typing import Any

import pytest

from caution_cases import cases, outcome
from gramwatt import calculate
from gramwatt.engine import registry
from gramwatt.engine.caution_texts import MAX_LISTED_ENTRIES, join_entries
from gramwatt.engine.cautions import get_rank
from gramwatt.engine.response import build_response
from gramwatt.model import Calculator, get_label
from gramwatt.model.messages import lower_first

CALCULATORS = list(registry.load().values())
SNAKE_CASE = re.compile(r"[a-z0-9]_[a-z0-9]", re.IGNORECASE)
CODE_UNIT = re.compile(r"\b(?:m?ohm|deg[CF])\b")
PACKS: list[dict[str, Any]] = [
    {"name": "4 cells", "cells": 4, "capacity": 1300, "mass": 158, "discharge_rating": 10},
    {"name": "6 cells", "cells": 6, "capacity": 1300, "mass": 212, "discharge_rating": 10},
]
CRAFT: dict[str, Any] = {"dry_mass": 370, "kv": 1750, "diameter": 5.1, "pitch": 3.6}


@pytest.mark.parametrize("calculator", CALCULATORS, ids=lambda calculator: calculator.name)
def test_cautions_have_words_and_an_order(calculator: Calculator[Any, Any]) -> None:
    """In all examples and pinned cases: no names of fields, no units in code, each code once, findings first."""
    every = [*(dict(each.given) for each in calculator.examples), *(case["given"] for case in cases(calculator))]
    for given in every:
        cautions = build_response(outcome(calculator, given), 0)["cautions"]
        for caution in cautions:
            assert not SNAKE_CASE.search(caution["text"]), caution
            assert not CODE_UNIT.search(caution["text"]), caution
        ranks = [get_rank(caution["kind"], caution["severity"]) for caution in cautions]
        assert ranks == sorted(ranks)
        assert max(Counter(caution["code"] for caution in cautions).values()) == 1


@pytest.mark.parametrize("calculator", CALCULATORS, ids=lambda calculator: calculator.name)
def test_labels_are_words(calculator: Calculator[Any, Any]) -> None:
    """A label is in sentence case, short, no name of a field, and the only one of its form or table."""
    assert not [name for name, kind in calculator.input_fields.items() if kind.group is None]
    fields = {**calculator.input_fields, **calculator.result_fields}
    shown = [fields, *(kind.columns for kind in fields.values() if kind.columns)]
    for kinds in shown:
        labels = {name: get_label(name, kind) for name, kind in kinds.items() if kind.is_given}
        assert not [label for label in labels.values() if SNAKE_CASE.search(label)]
        assert not [label for label in labels.values() if not label[0].isupper() or len(label) > 28]
        assert not [label for label, times in Counter(labels.values()).items() if times > 1]


def test_rows_with_the_same_caution_share_it() -> None:
    """Both packs exceed their rating of 13 A; the shares differ, and follow the order of the names."""
    response = calculate("build", packs=PACKS, **CRAFT)
    (caution,) = (each for each in response["cautions"] if each["code"] == "over-discharge-rating")
    shares = re.fullmatch(r"4 cells and 6 cells: .* (\d+(?:\.\d+)?) % and (\d+(?:\.\d+)?) % of .*", caution["text"])
    assert shares
    used = [
        row["discharge_rating_share"]
        for row in next(rows for rows in response["results"].values() if isinstance(rows, list))
    ]
    assert [float(share) for share in shares.groups()] == pytest.approx(used, rel=0.05)
    assert (caution["kind"], caution["severity"]) == ("finding", "high")
    assert response["cautions"][0]["severity"] == "high"


def test_a_reason_of_several_rows_names_the_results_of_each() -> None:
    without = [{name: value for name, value in pack.items() if name != "discharge_rating"} for pack in PACKS]
    response = calculate("build", packs=without, **CRAFT)
    (reason,) = (each for each in response["cautions"] if each["code"] == "no-rating")
    assert reason["text"].startswith("4 cells and 6 cells: ")
    assert reason["results"] == ["/by_setup/0/discharge_rating_share", "/by_setup/1/discharge_rating_share"]
    assert reason["kind"] == "missing"


def test_a_missing_input_is_named_by_its_label() -> None:
    response = calculate("full-throttle", cells=6, capacity=1300, kv=1750, diameter=5.1, pitch=3.6)
    (reason,) = (each for each in response["cautions"] if each["code"] == "needs-input")
    assert "C rating used requires C rating." in reason["text"]
    assert "Controller rating used requires controller (ESC) rating." in reason["text"]
    assert {"discharge_rating_share", "controller_rating_share"} <= set(reason["results"])
    assert (reason["kind"], reason["severity"]) == ("missing", "low")


def test_many_rows_are_counted() -> None:
    names = [f"pack {at}" for at in range(MAX_LISTED_ENTRIES + 3)]
    assert join_entries(names) == "pack 0, pack 1, pack 2, pack 3, pack 4 and 3 more"
    assert join_entries(["20 %"] * 9) == "20 %"


@pytest.mark.parametrize(
    ("label", "expected"),
    [("Pack current", "pack current"), ("C rating", "C rating"), ("RMS current",) * 2, ("", "")],
)
def test_a_label_within_a_sentence(label: str, expected: str) -> None:
    assert lower_first(label) == expected
