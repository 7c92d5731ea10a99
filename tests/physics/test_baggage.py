"""Limits and allowances of packs in baggage, counted by hand."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gramwatt.physics import baggage, constants


def count(
    category: list[int], packs: list[int], installed: list[int], spares: float = 20, approved: float = 2
) -> list[int]:
    """Return approval, excluded, spares, over and verdict of one group of passengers."""
    found = baggage.count_packs(
        np.array([category]),
        np.array([packs], dtype=float),
        np.array([installed], dtype=float),
        spares=np.array([spares]),
        approved=np.array([approved]),
    )
    return [int(each[0]) for each in found]


@pytest.mark.parametrize(
    ("watt_hours", "category"),
    [(1, 0), (99.999, 0), (100, 0), (100.001, 1), (160, 1), (160.001, 2), (1e4, 2)],
)
def test_limits(watt_hours: float, category: int) -> None:
    """Published: 49 CFR 175.10(a)(18), at most 100 Wh; from memory: at most 160 Wh with approval."""
    assert baggage.classify(np.array([watt_hours * constants.WATT_HOUR])).tolist() == [category]


def test_the_last_bit_of_a_product_does_not_decide() -> None:
    """10 x 3.2 V x 3.125 Ah is 100 Wh, and slightly more in binary."""
    assert baggage.classify(np.array([10 * 3.2 * (3.125 * 3600)])).tolist() == [0]


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        pytest.param(([0], [6], [0]), [0, 0, 6, 0, 0], id="all in carry-on"),
        pytest.param(([1], [2], [0]), [2, 0, 2, 0, 1], id="two with approval"),
        pytest.param(([1], [3], [0]), [3, 0, 2, 1, 2], id="one too many"),
        pytest.param(([1], [3], [1]), [3, 0, 2, 0, 1], id="one in a device"),
        pytest.param(([1, 1], [2, 1], [0, 0]), [3, 0, 2, 1, 2], id="of two kinds, one too many"),
        pytest.param(([1], [2], [5]), [2, 0, 0, 0, 1], id="more in devices than there are"),
        pytest.param(([2, 0], [1, 4], [1, 0]), [0, 1, 4, 0, 2], id="a large one stays, even in a device"),
        pytest.param(([0], [20], [0]), [0, 0, 20, 0, 0], id="as many spares as are allowed"),
        pytest.param(([0], [21], [0]), [0, 0, 21, 0, 1], id="one more"),
        pytest.param(([0], [21], [1]), [0, 0, 20, 0, 0], id="of which one is in a device"),
        pytest.param(([0, 1], [19, 2], [0, 0]), [2, 0, 21, 0, 1], id="approved ones count as spares too"),
        pytest.param(([0], [5], [0], 4), [0, 0, 5, 0, 1], id="an airline that allows four"),
        pytest.param(([1], [1], [0], 20, 0), [1, 0, 0, 1, 2], id="an airline that approves none"),
    ],
)
def test_counts(arguments: Any, expected: list[int]) -> None:
    assert count(*arguments) == expected


@given(st.lists(st.tuples(st.integers(0, 2), st.integers(1, 30), st.integers(0, 30)), min_size=1, max_size=6))
def test_nothing_is_lost(kinds: list[tuple[int, int, int]]) -> None:
    """Every spare travels or stays; a larger group of passengers leaves no more behind."""
    category, packs, installed = (list(each) for each in zip(*kinds, strict=True))
    _, _, spares, over, verdict = count(category, packs, installed)
    allowed = sum(number - min(number, inside) for kind, number, inside in kinds if kind < baggage.NOT_IN_BAGGAGE)
    assert spares + over == allowed
    _, _, _, fewer, easier = count(category, packs, installed, spares=40, approved=4)
    assert fewer <= over
    assert easier <= verdict
