"""What a caption may say."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gramwatt.captions.template import (
    DEFAULT,
    FIELDS,
    NOT_RECORDED,
    TEMPLATE,
    TEXT_FIELDS,
    Placeholder,
    compile_template,
    format_field,
    round_to_last_place,
)


def test_words_and_fields() -> None:
    made = compile_template("{voltage:2} V{line}{{{timecode}}} {charge_used}")
    assert made.parts == (
        Placeholder("voltage", 2),
        " V\n{",
        Placeholder("timecode", 0),
        "} ",
        Placeholder("charge_used", 0),
    )
    assert [slot.name for slot in made.placeholders] == ["voltage", "timecode", "charge_used"]


def test_the_default_and_every_field() -> None:
    assert [slot.name for slot in compile_template(DEFAULT).placeholders] == ["voltage", "current", "charge_used"]
    for name, field in FIELDS.items():
        assert compile_template(f"{{{name}}}").placeholders == (Placeholder(name, field.digits),)
    assert compile_template("{line}").parts == ("\n",)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("{curent}", "did you mean current"),
        ("{Cell-Voltage}", "did you mean cell_voltage"),
        ("{zzz}", "no field 'zzz': flight_time or voltage"),
        ("{voltage:5}", "one digit, 0 to 4"),
        ("{voltage:}", "one digit"),
        ("{voltage:.1f}", "one digit"),
        ("{voltage:١}", "one digit"),
        ("{timecode:1}", "takes no digits"),
        ("{voltage.__class__}", "no field"),
        ("{0}", "no field"),
        ("{}", "no field"),
        ("a } b", "a single } at character 3"),
        ("{voltage", "a single { at character 1"),
        ("{a{{b}", "a single { at character 1"),
        ("", "one line of printable text"),
        ("a\nb", "one line of printable text"),
        ("a\u2028b", "one line of printable text"),
        ("a\ud800b", "one line of printable text"),
    ],
)
def test_an_invalid_template_is_an_error(text: str, message: str) -> None:
    with pytest.raises(ValueError, match=re.escape(message)):
        compile_template(text)


PIECES = st.sampled_from(
    ["{", "}", "{{", "}}", ":", "1", "9", "\n", " V ", *(f"{{{name}}}" for name in [*FIELDS, *TEXT_FIELDS])]
)


@given(st.lists(PIECES | st.characters(exclude_categories=["Cs"]), max_size=6).map("".join))
def test_the_pattern_and_the_compiler_agree(text: str) -> None:
    try:
        compile_template(text)
    except ValueError:
        assert not re.fullmatch(TEMPLATE, text)
    else:
        assert re.fullmatch(TEMPLATE, text)


@pytest.mark.parametrize(
    ("slot", "value", "text"),
    [
        pytest.param(Placeholder("voltage", 1), 12.34, "12.3", id="volts"),
        pytest.param(Placeholder("charge_used", 0), 3600, "1000", id="3600-A-s-is-1000-mAh"),
        pytest.param(Placeholder("energy_used", 2), 3600, "1.00", id="3600-J-is-1-Wh"),
        pytest.param(Placeholder("throttle", 0), 0.55, "55", id="throttle-in-percent"),
        pytest.param(Placeholder("state_of_charge", 1), 0.1234, "12.3", id="remaining-in-percent"),
        pytest.param(Placeholder("flight_time", 0), 59.999, "0:59", id="a-clock-does-not-round-up"),
        pytest.param(Placeholder("flight_time", 0), 3661, "61:01", id="minutes-go-on"),
        pytest.param(Placeholder("flight_time", 1), 65.25, "1:05.2", id="tenths-of-a-second"),
        pytest.param(Placeholder("current", 0), -0.2, "0", id="no-minus-nought"),
        pytest.param(Placeholder("current", 1), -0.26, "-0.3", id="regeneration"),
        pytest.param(Placeholder("current", 3), 0.0051, "0.005", id="noughts-after-the-point"),
        pytest.param(Placeholder("power", 0), math.nan, NOT_RECORDED, id="not-recorded"),
    ],
)
def test_a_figure(slot: Placeholder, value: float, text: str) -> None:
    assert format_field(slot, round_to_last_place(slot, value)) == text
