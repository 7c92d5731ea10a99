"""Parse single values and columns: valid cells, invalid cells with their messages, and no input that raises."""

import math
import re
from typing import Any, Final

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.column_helpers import (
    CHARGE,
    CHOICE,
    COUNT,
    FLAG,
    MASSES,
    PARTS,
    SHARE,
    TEXT,
    VOLTAGE,
    read_cell,
    read_errors,
)
from gramwatt.engine import nested
from gramwatt.engine.column_types import ABSENT, Cells
from gramwatt.engine.columns import read_plain
from gramwatt.engine.tables.text_columns import parse_text_column
from gramwatt.model import Count, Kind, Quantity


@pytest.mark.parametrize(
    "cell",
    [
        pytest.param("1300", id="number-in-quotes"),
        pytest.param("1_000 mAh", id="underscore-that-python-would-take"),
        pytest.param("１２ mAh", id="full-width-digits"),
        pytest.param("١٢ mAh", id="arabic-digits"),
        pytest.param(True, id="true-is-not-one"),
        pytest.param(False, id="false-is-not-zero"),
        pytest.param(None, id="null"),
        pytest.param(math.nan, id="nan"),
        pytest.param(math.inf, id="infinity"),
        pytest.param(-math.inf, id="minus-infinity"),
        pytest.param(10**400, id="whole-number-beyond-a-float"),
        pytest.param("1e999 mAh", id="text-beyond-a-float"),
        pytest.param("nan mAh", id="nan-in-text"),
        pytest.param("inf mAh", id="infinity-in-text"),
        pytest.param("0x10 mAh", id="hexadecimal"),
        pytest.param("1,5 Ah", id="decimal-comma"),
        pytest.param("1,300 mAh", id="comma-of-thousands"),
        pytest.param("1.300,5 mAh", id="both"),
        pytest.param("1.3.5 mAh", id="two-points"),
        pytest.param("1 300 mAh", id="space-of-thousands"),
        pytest.param("1300 furlong", id="unknown-unit"),
        pytest.param("1300 V", id="unit-of-another-dimension"),
        pytest.param("1300 mah", id="unit-in-the-wrong-case"),
        pytest.param("1300 mAh please", id="words-behind"),
        pytest.param("mAh", id="unit-alone"),
        pytest.param("", id="empty"),
        pytest.param(" ", id="a-space"),
        pytest.param("1300 mAh\n", id="line-end"),
        pytest.param("1300\tmAh", id="tab"),
        pytest.param("1300 mAh\x00", id="nul"),
        pytest.param("1300 \ud800", id="lone-surrogate"),
        pytest.param("1300 ± -10 mAh", id="negative-uncertainty"),
        pytest.param("1300 ± 1e999 mAh", id="infinite-uncertainty"),
        pytest.param("1300 mAh ± 10 mAh", id="unit-twice"),
        pytest.param("1300 ± mAh", id="uncertainty-left-out"),
        pytest.param("0 mAh", id="on-an-open-bound"),
        pytest.param(-1, id="below-the-bound"),
        pytest.param(1e6 + 1, id="above-the-bound"),
        pytest.param("1e-999 mAh", id="rounds-to-zero-on-an-open-bound"),
        pytest.param("1" + "0" * 60 + " mAh", id="65-characters"),
        pytest.param([1300], id="list"),
        pytest.param({"value": 1300}, id="object"),
    ],
)
def test_invalid_quantities(cell: object) -> None:
    """Each could be read as a number that the user did not mean."""
    (error,) = read_errors(CHARGE, cell)
    assert error.pointer == ""
    assert "mAh, Ah, As" in error.accepted
    assert np.isnan(read_cell(CHARGE, cell).values[0])


@pytest.mark.parametrize(
    ("cell", "coulombs", "spread"),
    [
        # By hand: 1 mAh is 3.6 A s.
        pytest.param(1300, 4680.0, None, id="bare-number"),
        pytest.param(1300.0, 4680.0, None, id="bare-float"),
        pytest.param(" 1.3 Ah", 4680.0, None, id="space-before-and-another-unit"),
        pytest.param("1300mAh", 4680.0, None, id="no-space"),
        pytest.param("1300\xa0mAh", 4680.0, None, id="no-break-space-of-a-copied-text"),
        pytest.param("1.3e3 mAh", 4680.0, None, id="exponent"),
        pytest.param("+1300 mAh", 4680.0, None, id="plus"),
        pytest.param(".5 Ah", 1800.0, None, id="no-leading-zero"),
        pytest.param("1300 ± 10 mAh", 4680.0, 36.0, id="plus-minus-sign"),
        pytest.param("1300 +/- 10 mAh", 4680.0, 36.0, id="plus-minus-in-ascii"),
        pytest.param("1300 /- 10 mAh", 4680.0, 36.0, id="a-plus-lost-in-a-url"),
        pytest.param("1300 +- 10 mAh", 4680.0, 36.0, id="plus-minus-without-a-slash"),
        pytest.param("1300±10mAh", 4680.0, 36.0, id="no-spaces"),
        pytest.param("1300 ± 0 mAh", 4680.0, 0.0, id="no-uncertainty-stated"),
        pytest.param("1" + "0" * 3 + "." + "0" * 55 + " mAh", 3600.0, None, id="64-characters"),
    ],
)
def test_valid_quantities(cell: object, coulombs: float, spread: float | None) -> None:
    column = read_cell(CHARGE, cell)
    assert not column.errors
    assert column.values[0] == pytest.approx(coulombs, rel=1e-12)
    assert column.present[0]
    assert (
        (column.uncertainty is None)
        if spread is None
        else (column.uncertainty is not None and column.uncertainty[0] == spread)
    )


def test_a_query_may_omit_the_unit() -> None:
    """Values in a query have no quotes, so "1300" there is the number."""
    assert read_cell(CHARGE, "1300", text=True).values[0] == pytest.approx(4680.0, rel=1e-12)
    assert read_errors(CHARGE, "1_300", text=True)


@pytest.mark.parametrize(
    ("cell", "word"),
    [
        pytest.param("1,5 V", "comma", id="decimal-comma"),
        pytest.param("15", "quotes", id="number-in-quotes"),
        pytest.param("15 mAh", "V, mV", id="wrong-dimension-lists-what-is-accepted"),
        pytest.param("15 v", "did you mean V", id="near-match"),
        pytest.param(None, "null", id="null-by-its-name"),
        pytest.param(True, "true or false", id="boolean-by-its-name"),
        pytest.param([1], "a list", id="list-by-its-name"),
        pytest.param(201, "at most 200 V", id="bound-by-its-value"),
    ],
)
def test_an_error_says_why(cell: object, word: str) -> None:
    assert word in read_errors(VOLTAGE, cell)[0].detail


@pytest.mark.parametrize(
    ("kind", "inside", "outside"),
    [
        pytest.param(
            Quantity("degC", "", at_least=-30, at_most=90), "-22 degF", "-22.1 degF", id="closed-low-converted"
        ),
        pytest.param(Quantity("degC", "", at_least=-30, at_most=90), 90, "90.001", id="closed-high"),
        pytest.param(Quantity("%", "", above=0, below=100), "0.999 fraction", "1 fraction", id="open-high-converted"),
        pytest.param(Quantity("in", "", above=0, at_most=100), "2540 mm", "2540.1 mm", id="closed-high-converted"),
    ],
)
def test_bounds_hold_in_every_unit(kind: Quantity, inside: object, outside: object) -> None:
    assert not read_errors(kind, inside, text=True)
    assert read_errors(kind, outside, text=True)


@pytest.mark.parametrize(
    ("cell", "text", "value"),
    [
        pytest.param(6, False, 6.0, id="whole"),
        pytest.param(6.0, False, 6.0, id="whole-written-as-a-float"),
        pytest.param("6", True, 6.0, id="word-of-a-query"),
        pytest.param(" 6 ", True, 6.0, id="word-with-spaces"),
        pytest.param("6.0", True, 6.0, id="spreadsheet-writes-a-point"),
        pytest.param(6.5, False, None, id="half"),
        pytest.param("6", False, None, id="in-quotes"),
        pytest.param(True, False, None, id="true-is-not-one"),
        pytest.param("6.5", True, None, id="half-in-a-query"),
        pytest.param("six", True, None, id="word"),
        pytest.param("6 V", True, None, id="with-a-unit"),
        pytest.param("٦", True, None, id="arabic-digit"),
        pytest.param("1e999", True, None, id="infinite-in-a-query"),
        pytest.param("1" * 5000, True, None, id="thousands-of-digits"),
        pytest.param(10**400, False, None, id="beyond-a-float"),
        pytest.param(math.nan, False, None, id="nan"),
        pytest.param(0, False, None, id="below"),
        pytest.param(25, False, None, id="above"),
        pytest.param(None, False, None, id="null"),
    ],
)
def test_a_count(cell: object, text: bool, value: float | None) -> None:
    column = read_cell(COUNT, cell, text=text)
    if value is None:
        assert [error.accepted for error in column.errors[0]] == ["a whole number from 1 to 24"]
    else:
        assert not column.errors
        assert column.values[0] == value


def test_a_plain_number_in_quotes_is_rejected() -> None:
    """It has no unit that could be written, so the message asks for the number without quotes."""
    (error,) = read_errors(SHARE, "0.7")
    assert error.detail == "Send 0.7 without quotes"
    assert read_cell(SHARE, "0.7", text=True).values.tolist() == read_cell(SHARE, 0.7).values.tolist() == [0.7]


def test_a_choice() -> None:
    """Positions in the options; a close match is suggested, never used."""
    assert read_cell(CHOICE, "at-most").values.tolist() == [1]
    (error,) = read_errors(CHOICE, "at_most")
    assert "did you mean at-most?" in error.detail
    assert error.accepted == "below or at-most"
    for cell in ("BELOW", "", 0, True, None, ["below"]):
        assert read_errors(CHOICE, cell)
        assert read_cell(CHOICE, cell).values.tolist() == [-1]


@pytest.mark.parametrize(
    ("cell", "text", "value"),
    [
        pytest.param(True, False, True, id="true"),
        pytest.param(False, False, False, id="false"),
        pytest.param("true", True, True, id="word-true"),
        pytest.param("false", True, False, id="word-false"),
        pytest.param("true", False, None, id="true-in-quotes"),
        pytest.param("True", True, None, id="capital"),
        pytest.param(1, False, None, id="one"),
        pytest.param("1", True, None, id="word-one"),
        pytest.param(None, False, None, id="null"),
    ],
)
def test_a_flag(cell: object, text: bool, value: bool | None) -> None:
    column = read_cell(FLAG, cell, text=text)
    assert bool(column.errors) == (value is None)
    assert column.values.tolist() == [bool(value)]


@pytest.mark.parametrize(
    ("cell", "taken"),
    [
        pytest.param("frame", True, id="word"),
        pytest.param("Arm ✓ 5″", True, id="other-scripts-and-signs"),
        pytest.param("1234567890", True, id="as-long-as-allowed"),
        pytest.param("12345678901", False, id="one-longer"),
        pytest.param("", False, id="empty"),
        pytest.param("a\x00b", False, id="nul"),
        pytest.param("a\x1b[31m", False, id="escape-sequence"),
        pytest.param("a\nb", False, id="line-end"),
        pytest.param("a\x85b", False, id="c1-control"),
        pytest.param("a\u2028b", False, id="line-separator"),
        pytest.param("a\ud800", False, id="lone-surrogate"),
        pytest.param(5, False, id="number"),
        pytest.param(None, False, id="null"),
    ],
)
def test_a_text(cell: object, taken: bool) -> None:
    column = read_cell(TEXT, cell)
    assert bool(column.errors) != taken
    assert column.values.tolist() == [cell if taken else ""]


def test_an_invalid_row_leaves_the_others_alone() -> None:
    column = nested.read_column(CHARGE, [1300, "x", "1300 ± 10 mAh", ABSENT], text=False)
    assert list(column.errors) == [1]
    assert column.present.tolist() == [True, True, True, False]
    np.testing.assert_allclose(column.values, [4680, np.nan, 4680, np.nan], rtol=1e-12)
    assert column.uncertainty is not None
    assert column.uncertainty.tolist() == [0, 0, 36, 0]


JSON: Final = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.integers(min_value=10**300)
    | st.floats()
    | st.text(st.characters(exclude_categories=()), max_size=80)
    | st.from_regex(r"[-+]?[0-9.,eE]{0,6} ?(±|\+/-)? ?[0-9.]{0,4} ?(mAh|g|V|%|degC)?", fullmatch=True),
    lambda inner: (
        st.lists(inner, max_size=5) | st.dictionaries(st.text(max_size=5) | st.just("mass"), inner, max_size=4)
    ),
    max_leaves=10,
)
KINDS: Final = {
    "quantity": CHARGE,
    "plain-number": SHARE,
    "count": COUNT,
    "choice": CHOICE,
    "flag": FLAG,
    "text": TEXT,
    "list": MASSES,
    "table": PARTS,
}


@pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)
@given(cell=JSON, text=st.booleans())
def test_no_json_value_raises(kind: Kind, cell: object, text: bool) -> None:
    """Every cell gives a value or an error. A value is never nan, and an error can always be sent back."""
    column = read_cell(kind, cell, text=text)
    for error in column.errors.get(0, []):
        error.pointer.encode()
        error.detail.encode()
        error.accepted.encode()
        assert not isinstance(error.given, float) or math.isfinite(error.given)
        str(error.given).encode()
    is_number = isinstance(column.values, np.ndarray) and column.values.dtype.kind == "f"
    assert column.errors or not is_number or np.isfinite(column.values).all()


@given(st.lists(JSON, max_size=6), st.booleans())
def test_nothing_in_a_column_raises(cells: list[Any], text: bool) -> None:
    column = nested.read_column(CHARGE, cells, text=text)
    assert column.values.shape == (len(cells),)
    assert set(column.errors) == set(np.flatnonzero(np.isnan(column.values)).tolist())


GAUGE: Final = Count("Size.", at_least=-3, at_most=40, spellings=(("4/0", -3), ("1/0", 0), ("0000", -3), ("00", -1)))
SIZES: Final = [("4/0", -3.0), ("0000", -3.0), ("00", -1.0), ("0", 0.0), ("-3", -3.0), ("16", 16.0), ("016", 16.0)]


@pytest.mark.parametrize(("text", "number"), SIZES)
def test_a_text_that_means_a_number(text: str, number: float) -> None:
    """In a query and in JSON; a number in quotes stays an error there, as of any count."""
    assert read_cell(GAUGE, text, text=True).values.tolist() == [number]
    in_json = read_cell(GAUGE, text)
    assert (in_json.values.tolist() == [number]) == (text in dict(GAUGE.spellings))
    assert bool(in_json.errors) != (text in dict(GAUGE.spellings))


@pytest.mark.parametrize("suffix", ["", "W"])
def test_a_column_of_texts_that_mean_numbers(suffix: str) -> None:
    """Where all of a column look like plain numbers too."""
    kind = Count("Size.", at_least=-3, at_most=40, spellings=GAUGE.spellings, suffix=suffix)
    sizes = [size for size in SIZES if "/" not in size[0]]
    cells: Cells = parse_text_column(kind, [*(text for text, _ in sizes), "", " ", " 00 "], bare=None, text=True)
    column = read_plain(kind, cells, text=True)
    assert not column.errors
    assert column.values[: len(sizes)].tolist() == [number for _, number in sizes]
    assert column.present.tolist() == [True] * len(sizes) + [False, False, True]
    assert column.values[-1] == -1


def test_what_a_count_accepts_in_words_and_as_a_pattern() -> None:
    assert GAUGE.describe_accepted() == "a whole number from -3 to 40, also as 4/0, 1/0, 0000 or 00"
    both = Count("Size.", at_least=1, at_most=2, suffix="S", spellings=(("one", 1),))
    assert both.describe_accepted() == "a whole number from 1 to 2, also as 2S or one"
    for kind, good, bad in ((GAUGE, ("4/0", "00"), ("4/0S", "0")), (both, ("1S", "2s", "one"), ("1", "oneS", "3S"))):
        assert all(re.fullmatch(kind.labelled_pattern, text) for text in good)
        assert not any(re.search(kind.labelled_pattern, text) for text in bad)
    assert [GAUGE.format_text(value, 5) for value in (-3.0, 0.0, -2.0, 16.0)] == ["4/0", "1/0", "-2", "16"]


def test_a_spelling_outside_the_bounds_is_a_mistake() -> None:
    kind = Count("Size.", at_least=0, at_most=40, spellings=(("4/0", -3),))
    assert list(kind.find_input_problems({})) == ["'4/0' means a number outside its bounds"]
