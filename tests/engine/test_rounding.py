"""Rounding whole columns gives the very double that Python's formatting gives, bit for bit."""

from __future__ import annotations

import math
import struct

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from gramwatt.engine.rounding import BLOCK_ROWS, MIN_ARRAY_LENGTH, round_array, round_number, round_numbers

every_digits = pytest.mark.parametrize(
    "digits", [pytest.param(digits, id=f"{digits}-digits") for digits in range(1, 16)]
)


def bits(value: float) -> bytes:
    return struct.pack("<d", value)


def expected(value: float, digits: int) -> float:
    """By definition; a negative zero becomes a plain one, and what is not finite nan."""
    return float(f"{value:.{digits}g}") + 0.0 if math.isfinite(value) else math.nan


def check(values: list[float], digits: int) -> None:
    for value, made in zip(values, round_array(np.array(values), digits).tolist(), strict=True):
        wanted = expected(value, digits)
        assert bits(made) == bits(wanted) or (math.isnan(made) and math.isnan(wanted)), (value, digits, made, wanted)


@settings(max_examples=300)
@given(st.lists(st.floats(), min_size=1, max_size=20), st.integers(1, 15))
@example(
    [math.nan, math.inf, -math.inf, -0.0, 0.0, 5e-324, -5e-324, 2.2250738585072014e-308, 1.7976931348623157e308], 12
)
def test_any_double(values: list[float], digits: int) -> None:
    check(values, digits)


@settings(max_examples=300)
@given(st.integers(-(10**15), 10**15), st.integers(-30, 30), st.integers(1, 15))
def test_decimal_numbers_and_what_is_next_to_them(mantissa: int, exponent: int, digits: int) -> None:
    value = float(f"{mantissa}e{exponent}")
    check([value, math.nextafter(value, math.inf), math.nextafter(value, -math.inf)], digits)


@every_digits
def test_decades(digits: int) -> None:
    """Where the number of digits before the point changes, on both sides of every power of ten."""
    decades = [float(f"{lead}e{exponent}") for exponent in range(-320, 309) for lead in ("1", "9.99999999999995")]
    near = [math.nextafter(value, way) for value in decades for way in (0.0, math.inf)]
    check([*decades, *near, *(-value for value in decades)], digits)


@every_digits
def test_ties(digits: int) -> None:
    """Exactly between two numbers of so many digits, as far as a double can be."""
    odd = np.arange(1, 2001, 2) + 10 ** (digits - 1) * 2
    ties = [float(value) * scale for value in odd.tolist() for scale in (0.5, 0.05, 5e-5, 50.0, 0.125)]
    check([*ties, *(math.nextafter(tie, 0.0) for tie in ties)], digits)


def test_blocks_do_not_show() -> None:
    values = np.random.default_rng(1).lognormal(0, 20, 2 * BLOCK_ROWS + 7)
    made = round_array(values)
    assert made.tolist() == [float(f"{value:.12g}") for value in values.tolist()]


def test_what_was_given_stays() -> None:
    values = np.array([1 / 3, np.nan, -2.5])
    before = values.tobytes()
    round_array(values, 3)
    assert values.tobytes() == before
    assert round_array(np.zeros(0)).shape == (0,)


@given(
    st.lists(
        st.floats() | st.integers(-(10**16), 10**16).map(float) | st.floats(-1e13, 1e13).map(round).map(float),
        min_size=1,
        max_size=8,
    )
)
@example([math.nan, math.inf, -0.0, 999_999_999_999.5, 1e12 - 1, 1e12 + 1, 1e15, -1e15, 999_999_999_999_500.0])
def test_numbers_together_are_those_one_by_one(values: list[float]) -> None:
    """The same figures and types, whole numbers as integers, however many are rounded together."""
    alone = [round_number(value) for value in values]
    for times in (1, MIN_ARRAY_LENGTH):
        together = round_numbers(np.array(values * times))
        assert together == alone * times
        assert [type(value) for value in together] == [type(value) for value in alone * times]
