"""Numbers, near matches and quoted inputs in messages."""

import json
import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gramwatt.model import Choice, Count, Flag, NumberList, Quantity, Text
from gramwatt.model.messages import (
    InputError,
    close_matches,
    format_estimate,
    format_number,
    format_quantity,
    join_with_or,
    quote_input,
    round_to_12_digits,
    spell_out_expressions,
)


@pytest.mark.parametrize(
    ("value", "digits", "expected"),
    [
        pytest.param(6.0, 12, "6", id="whole-without-a-point"),
        pytest.param(0.1 + 0.2, 12, "0.3", id="last-bits-dropped"),
        pytest.param(1 / 3, 5, "0.33333", id="digits-cut"),
        pytest.param(-0.0, 12, "0", id="no-minus-before-zero"),
        pytest.param(-1e-300, 12, "-1e-300", id="tiny-is-not-zero"),
        pytest.param(1e5, 5, "100000", id="no-exponent-for-a-hundred-thousand"),
        pytest.param(1e14, 12, "100000000000000", id="no-exponent-below-1e15"),
        pytest.param(1e15, 12, "1e+15", id="exponent-from-1e15"),
        pytest.param(0.00001, 12, "0.00001", id="no-exponent-for-a-hundred-thousandth"),
        pytest.param(1.234e-6, 12, "0.000001234", id="small-with-its-digits"),
        pytest.param(1e-8, 12, "1e-08", id="exponent-below-1e-7"),
        pytest.param(9.999999e-6, 3, "0.00001", id="rounds-up-to-the-next-power"),
    ],
)
def test_format_number(value: float, digits: int, expected: str) -> None:
    """By definition: what a person would write."""
    assert format_number(value, digits) == expected


@given(st.floats(allow_nan=False, allow_infinity=False), st.integers(1, 15))
def test_a_number_has_at_most_so_many_significant_digits(value: float, digits: int) -> None:
    """And is the nearest such number, for whole numbers of many digits too."""
    text = format_number(value, digits)
    assert float(text) == pytest.approx(float(f"{value:.{digits}g}"), rel=1e-15, abs=0)
    assert len(Decimal(text).normalize().as_tuple().digits) <= digits


@given(st.floats(1e-7, 1e14))
def test_a_number_has_no_exponent_for_usual_numbers(value: float) -> None:
    assert "e" not in format_number(value)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_rounding_to_12_digits_survives_json(value: float) -> None:
    """Rounding twice changes nothing, and 12 digits are within half a unit of the last."""
    short = round_to_12_digits(value)
    assert round_to_12_digits(short) == short
    assert json.loads(json.dumps(short)) == short
    assert short == pytest.approx(value, rel=0.5e-11, abs=1e-320)


def test_format_quantity() -> None:
    assert format_quantity(1.3, "Ah") == "1.3 Ah"
    assert format_quantity(0.7, "1") == "0.7"


@pytest.mark.parametrize(
    ("value", "uncertainty", "expected"),
    [
        # Published: JCGM 100:2008, 7.2.6: 10.057 62 ohm with 27 mohm is rounded to 10.058 ohm.
        pytest.param(10.05762, 0.027, ("10.058", "0.027"), id="the-guide-s-own-example"),
        pytest.param(59.5016, 21.2, ("60", "21"), id="whole-numbers"),
        pytest.param(59501.6, 2120.0, ("59500", "2100"), id="left-of-the-point"),
        pytest.param(8.04, 0.996, ("8.0", "1.0"), id="two-digits-that-round-up-are-still-two"),
        pytest.param(0.04, 1.2, ("0.0", "1.2"), id="a-zero-keeps-its-place"),
        pytest.param(-0.04, 1.2, ("0.0", "1.2"), id="no-minus-before-zero"),
        pytest.param(-12.34, 0.56, ("-12.34", "0.56"), id="negative"),
        pytest.param(66.6667, None, ("66.67", ""), id="four-digits-without-an-uncertainty"),
        pytest.param(66.6667, 0.0, ("66.67", ""), id="an-uncertainty-of-zero-is-none"),
        pytest.param(12345.6, 1e-12, ("12350", ""), id="a-last-bit-is-no-uncertainty"),
        pytest.param(0.0, None, ("0", ""), id="zero"),
    ],
)
def test_an_estimate_has_the_digits_of_its_uncertainty(
    value: float, uncertainty: float | None, expected: tuple[str, str]
) -> None:
    """By definition, JCGM 100:2008, 7.2.6: the uncertainty has two digits, the value ends at the same place."""
    assert format_estimate(value, "A", uncertainty)[:2] == expected


@pytest.mark.parametrize(
    ("value", "expected"),
    [(66.6667, "66.7"), (99.97, "100"), (5.4321, "5.4"), (0.54321, "0.54"), (123.456, "123.5"), (0.0, "0")],
)
def test_a_share_has_one_digit_after_the_point(value: float, expected: str) -> None:
    """By definition; shares below 1 % have two digits."""
    assert format_estimate(value, "%").value == expected


def test_a_range_ends_at_the_place_of_the_uncertainty() -> None:
    """By definition; a range need not lie evenly about its value."""
    assert format_estimate(59.5016, "A", 21.2, 38.1, 97.4).range == "38 to 97"
    assert format_estimate(0.51, "min", 0.3, 0.044, 1.2).range == "0.04 to 1.20"
    assert format_estimate(59.5016, "A", 21.2).range == ""
    assert format_estimate(59.5016, "A").range == ""


@pytest.mark.parametrize(
    ("word", "expected"),
    [
        pytest.param("capasity", ["capacity"], id="misspelt"),
        pytest.param("CAPACITY", ["capacity"], id="capitals"),
        pytest.param("cell-resistance", ["cell_resistance"], id="dash-for-underscore"),
        pytest.param("zzz", [], id="nothing-near"),
        pytest.param("", [], id="empty"),
        pytest.param("capacity" + "x" * 100000, [], id="very-long"),
    ],
)
def test_close_matches(word: str, expected: list[str]) -> None:
    assert close_matches(word, ["cells", "capacity", "cell_resistance"]) == expected


def test_at_most_three_close_matches_best_first() -> None:
    assert close_matches("cell", ["cello", "cells", "cell", "celli", "ball"]) in (
        ["cell", first, second] for first in ("cello", "cells", "celli") for second in ("cello", "cells", "celli")
    )


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        pytest.param("6S", "6S", id="short-text-as-it-is"),
        pytest.param("x" * 81, "x" * 80 + "... (81 characters)", id="long-text-cut"),
        pytest.param("a\ud800", "a?", id="lone-surrogate-cannot-be-sent"),
        pytest.param([1, 2, 3], "a list of 3", id="list-by-its-length"),
        pytest.param({"a": 1}, "an object of 1", id="object-by-its-length"),
        pytest.param(math.nan, "nan", id="nan-is-not-json"),
        pytest.param(math.inf, "inf", id="infinity-is-not-json"),
        pytest.param(2**53, 2**53, id="exact-in-every-reader"),
        pytest.param(2**53 + 1, "9007199254740993", id="beyond-exact-as-text"),
        pytest.param(10**5000, "a whole number of more than 100 digits", id="longer-than-python-prints"),
        pytest.param(-(10**5000), "a whole number of more than 100 digits", id="the-same-below-zero"),
        pytest.param(True, True, id="boolean"),
        pytest.param(None, None, id="null"),
        pytest.param(1.5, 1.5, id="number"),
    ],
)
def test_quote_input(value: object, expected: object) -> None:
    quoted = quote_input(value)
    assert quoted == expected
    assert type(quoted) is type(expected)


def test_join_with_or() -> None:
    assert join_with_or(["a"]) == "a"
    assert join_with_or(["a", "b"]) == "a or b"
    assert join_with_or(["a", "b", "c"]) == "a, b or c"


def test_describe_accepted() -> None:
    """By definition: what a field accepts, with bounds in its own unit."""
    quantity = Quantity("V", "", above=0, at_most=4.5)
    assert quantity.describe_bounds() == "above 0 and at most 4.5"
    assert quantity.describe_accepted() == "above 0 and at most 4.5 V: a number in V, or text with a unit (V, mV)"
    assert Quantity("1", "", at_least=0, below=2).describe_accepted() == "a number at least 0 and below 2"
    assert Count("", at_least=1, at_most=24).describe_accepted() == "a whole number from 1 to 24"
    assert Choice(("a", "b"), "").describe_accepted() == "a or b"
    assert Flag("").describe_accepted() == "true or false"
    assert Text("", max_length=9).describe_accepted() == "1 to 9 printable characters"
    assert (
        NumberList(quantity, "", max_length=5).describe_accepted().startswith("a list of 1 to 5 values, each above 0")
    )


def test_a_pointer_is_escaped_as_it_is_nested() -> None:
    """RFC 6901, section 3: ~ is ~0 and / is ~1, in that order."""
    assert InputError("", "d", None, "a").under("a/b~c").under("parts").pointer == "/parts/a~1b~0c"


def test_an_estimate_of_boundless_uncertainty_has_none() -> None:
    """Its standard deviation may be beyond a double; the value stays readable."""
    assert format_estimate(1234.5678, "A", math.inf, 0.1, math.inf) == ("1235", "", "", "")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("half of it: `open_circuit_voltage**2 / (4 * R)`", "half of it: open circuit voltage^2 / (4 × R)"),
        ("`v_h = C_T * mass`, where `v_h` is a_b", "vh = CT × mass, where vh is a_b"),
        ("as measured", "as measured"),
    ],
)
def test_expressions_are_spelt_out(text: str, words: str) -> None:
    assert spell_out_expressions(text) == words


@pytest.mark.parametrize(
    ("value", "expected"), [(9.99996, "10.00"), (9.9949, "9.995"), (-99.9996, "-100.0"), (0.0, "0.00000")]
)
def test_an_estimate_keeps_its_digits_where_rounding_carries(value: float, expected: str) -> None:
    assert format_estimate(value, "W", 1.1e-4 if value == 0 else 1e-5, max_digits=4).value == expected


@pytest.mark.parametrize(
    ("value", "uncertainty", "expected"),
    [(1671.5, 131320, "2000"), (9.6, 400, "10"), (-1671.5, 131320, "-2000"), (3.2, 400, "3"), (0.3, 400, "0")],
)
def test_an_estimate_keeps_its_first_digit_beside_a_large_uncertainty(
    value: float, uncertainty: float, expected: str
) -> None:
    assert format_estimate(value, "g", uncertainty).value == expected
