"""Inputs that are within their bounds and hardly meant are questioned, and computed all the same."""

from __future__ import annotations

from typing import Any

import pytest
from flask.testing import FlaskClient

from gramwatt import calculate
from gramwatt.engine import registry
from gramwatt.engine.unusual_inputs import UNUSUAL

PACK: dict[str, Any] = {"cells": 6, "capacity": 1300}


def get_texts(name: str, **inputs: Any) -> list[str]:
    return [each["text"] for each in calculate(name, **inputs)["cautions"] if each["code"] == UNUSUAL]


@pytest.mark.parametrize(
    ("name", "inputs", "text"),
    [
        (
            "pack-energy",
            {"cells": 6, "capacity": "550 Ah"},
            "Is the capacity of 550000 mAh meant? More usual would be 550 mAh.",
        ),
        (
            "pack-energy",
            {"cells": 6, "capacity": 1.3},
            "Is the capacity of 1.3 mAh meant? More usual would be 1300 mAh.",
        ),
        (
            "pack-current",
            {**PACK, "pack_power": 400, "cell_resistance": 0.012},
            "Is the cell resistance of 0.012 mΩ meant? More usual would be 12 mΩ.",
        ),
        (
            "pack-current",
            {**PACK, "pack_power": "100 kW"},
            "Is the pack power of 100000 W meant? More usual would be 100 W.",
        ),
        (
            "hover-power",
            {"mass": 0.58, "diameter": 5},
            "Is the all-up mass of 0.58 g meant? More usual would be 580 g.",
        ),
        ("pack-energy", {**PACK, "pack_mass": 90000}, "Is the pack mass of 90000 g meant? More usual would be 90 g."),
    ],
)
def test_a_slip_of_the_unit_is_questioned(name: str, inputs: dict[str, Any], text: str) -> None:
    assert get_texts(name, **inputs) == [text]


@pytest.mark.parametrize("capacity", [20, 1300, "100 Ah"])
def test_what_is_usual_is_not(capacity: object) -> None:
    assert get_texts("pack-energy", cells=6, capacity=capacity) == []


def test_zero_is_no_slip() -> None:
    """An ideal pack, for comparison with a formula."""
    assert get_texts("pack-current", **PACK, pack_power=100, cell_resistance=0) == []


def test_rows_of_a_table_share_the_sentence() -> None:
    packs = [
        {"name": name, "cells": 4, "capacity": capacity, "mass": 158} for name, capacity in (("a", 1.3), ("b", 1.5))
    ]
    (text,) = get_texts("build", packs=packs, kv=1750, diameter=5.1, pitch=3.6, dry_mass=370)
    assert text == "Is the capacity of 1.3 mAh and 1.5 mAh meant? More usual would be 1300 mAh and 1500 mAh."


def test_it_is_a_finding_of_a_table_too(client: FlaskClient) -> None:
    response = client.post(
        "/v1/pack-energy/batch", data="cells,capacity\n6,1300\n6,1.3\n6,1300000\n", content_type="text/csv"
    )
    lines = response.get_data(as_text=True).splitlines()
    assert [UNUSUAL in line for line in lines[1:3]] == [False, True]


def test_no_example_is_unusual() -> None:
    for calculator in registry.load().values():
        for example in calculator.examples:
            assert get_texts(calculator.name, **dict[str, Any](example.given)) == []


def test_a_table_of_invalid_rows_has_no_unusual_ones(client: FlaskClient) -> None:
    rows = client.get("/v1/pack-energy/sweep?vary=cells&from=0&to=0&count=2&capacity=1300").get_json()
    assert [row["error"]["errors"][0]["pointer"] for row in rows] == ["/cells", "/cells"]
