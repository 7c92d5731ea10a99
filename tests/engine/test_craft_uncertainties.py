"""Separate uncertainties in the rows of a craft: `capacity_u` beside `capacity`."""

from __future__ import annotations

from typing import Any

import pytest

from gramwatt import InvalidInput, calculate


def compute(**pack: Any) -> Any:
    return calculate(
        "endurance", mean_power=200, craft={"packs": [{"name": "four", "cells": 4, "cell_resistance": 8, **pack}]}
    )


@pytest.mark.parametrize(
    ("pack", "text"),
    [
        ({"capacity": 1300, "capacity_u": 20}, "1300 ± 20"),
        ({"capacity": "1.3 Ah", "capacity_u": "0.02 Ah"}, "1300 ± 20"),
        ({"capacity": "1300 ± 12", "capacity_u": 16}, "1300 ± 20"),  # 12 and 16 add up in squares
    ],
)
def test_a_column_of_uncertainties_counts_as_one_in_the_value(pack: dict[str, Any], text: str) -> None:
    apart, together = compute(**pack), compute(capacity=text)
    assert apart["uncertainty"] == together["uncertainty"]
    assert apart["results"] == together["results"]


@pytest.mark.parametrize("uncertainty", ["junk", -5])
def test_an_invalid_uncertainty_is_an_error(uncertainty: object) -> None:
    with pytest.raises(InvalidInput) as caught:
        compute(capacity=1300, capacity_u=uncertainty)
    assert [error.pointer for error in caught.value.errors] == ["/craft/packs/0/capacity_u"]
