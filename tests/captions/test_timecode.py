"""Frame rates and time codes. The slow counting here is by hand; labels are printed by libavutil."""

import re
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gramwatt.captions.timecode import (
    RATE_PATTERN,
    dropped_labels,
    format_timecode_range,
    format_timecodes,
    frame_time,
    parse_rate,
)

NTSC = Fraction(30000, 1001)


@pytest.mark.parametrize(
    ("text", "rate"),
    [
        pytest.param("25", Fraction(25), id="whole"),
        pytest.param("30000/1001", NTSC, id="a-fraction"),
        pytest.param("25/1", Fraction(25), id="a-fraction-over-one"),
        pytest.param("29.97", NTSC, id="two-places"),
        pytest.param("29.970", NTSC, id="three-places"),
        pytest.param("29.97003", NTSC, id="five-places"),
        pytest.param("23.976", Fraction(24000, 1001), id="23.976"),
        pytest.param("23.98", Fraction(24000, 1001), id="23.98-rounded"),
        pytest.param("23.97", Fraction(24000, 1001), id="23.97-cut"),
        pytest.param("59.94", Fraction(60000, 1001), id="59.94"),
        pytest.param("119.88", Fraction(120000, 1001), id="119.88"),
        pytest.param("47.952", Fraction(48000, 1001), id="47.952"),
        pytest.param("12.5", Fraction(25, 2), id="no-fraction-over-1001"),
        pytest.param("30.00", Fraction(30), id="30.00-is-30"),
        pytest.param("5.00", Fraction(5), id="5.00-is-not-5000/1001-though-that-rounds-to-it"),
        pytest.param("29.9", Fraction(299, 10), id="one-place-says-too-little"),
        pytest.param("29.96", Fraction(2996, 100), id="near-is-not-enough"),
        pytest.param("0.5", Fraction(1, 2), id="a-picture-every-two-seconds"),
        pytest.param("1000", Fraction(1000), id="the-greatest"),
    ],
)
def test_a_rate_is_what_is_meant(text: str, rate: Fraction) -> None:
    assert re.fullmatch(RATE_PATTERN, text)
    assert parse_rate(text) == rate


@pytest.mark.parametrize(
    "text",
    [
        "",
        "0",
        "0.0",
        "0/1",
        "25/0",
        "-25",
        "+25",
        "25.",
        ".5",
        "1e3",
        "1001",
        "2000/1",
        "1000.5",
        "٢٥",
        "25 ",
        "25\n",
        "1_0",
    ],
)
def test_what_is_no_rate(text: str) -> None:
    with pytest.raises(ValueError, match="rate"):
        parse_rate(text)


@given(st.from_regex(RATE_PATTERN, fullmatch=True))
def test_what_the_pattern_lets_in_is_a_rate_or_above_the_greatest(text: str) -> None:
    if Fraction(text) > 1000:
        with pytest.raises(ValueError, match="at most 1000"):
            parse_rate(text)
    else:
        assert abs(parse_rate(text) - Fraction(text)) < Fraction(1, 100)


@pytest.mark.parametrize(
    ("number", "label"),
    [
        (0, "00:00:00;00"),
        (1799, "00:00:59;29"),
        (1800, "00:01:00;02"),
        (17981, "00:09:59;29"),
        (17982, "00:10:00;00"),
        (107892, "01:00:00;00"),
        (2589407, "23:59:59;29"),
        (2589408, "00:00:00;00"),
    ],
)
def test_drop_frame_as_the_standard_has_it(number: int, label: str) -> None:
    """Golden: libavutil 57.28, av_timecode_make_string; SMPTE ST 12-1 has 2,589,408 frames a day at 30000/1001."""
    assert format_timecode_range(number, 1, NTSC) == [label]


@pytest.mark.parametrize(
    ("rate", "number", "label"),
    [
        pytest.param(Fraction(60000, 1001), 3599, "00:00:59;59", id="60-last-before-a-drop"),
        pytest.param(Fraction(60000, 1001), 3600, "00:01:00;04", id="60-drops-four"),
        pytest.param(Fraction(60000, 1001), 35964, "00:10:00;00", id="60-none-at-the-tenth-minute"),
        pytest.param(Fraction(120000, 1001), 7200, "00:01:00;008", id="120-drops-eight"),
        pytest.param(Fraction(24000, 1001), 1440, "00:01:00:00", id="23.976-counts-24-and-drops-none"),
        pytest.param(Fraction(25), 1500, "00:01:00:00", id="25"),
        pytest.param(Fraction(25, 2), 13, "00:00:01:00", id="12.5-counts-13"),
        pytest.param(Fraction(100), 99, "00:00:00:99", id="100-has-two-digits"),
        pytest.param(Fraction(240), 239, "00:00:00:239", id="240-has-three-digits"),
        pytest.param(Fraction(30), 1800, "00:01:00:00", id="30-drops-none"),
        pytest.param(Fraction(25), 25 * 86400, "00:00:00:00", id="after-a-day"),
    ],
)
def test_other_rates(rate: Fraction, number: int, label: str) -> None:
    assert format_timecode_range(number, 1, rate) == [label]


@pytest.mark.parametrize("whole", [30, 60, 120])
def test_labels_are_those_of_counting_one_by_one(whole: int) -> None:
    """By hand: go through all labels of 21 minutes and leave the dropped ones out."""
    rate, left_out = Fraction(whole * 1000, 1001), whole // 15
    assert dropped_labels(rate) == left_out
    wide = 3 if whole > 100 else 2
    counted = [
        f"00:{minute:02}:{second:02};{frame:0{wide}}"
        for minute in range(21)
        for second in range(60)
        for frame in range(whole)
        if not (frame < left_out and second == 0 and minute % 10)
    ]
    assert format_timecode_range(0, len(counted), rate) == counted


@given(st.integers(0, 10**9), st.sampled_from(["25", "29.97", "59.94", "23.976", "1000"]))
def test_a_label_comes_once_a_day(number: int, text: str) -> None:
    rate = parse_rate(text)
    both = format_timecodes(np.array([number, number + 1]), rate)
    assert both[0] != both[1]
    assert format_timecode_range(number, 2, rate) == both


def test_drop_frame_keeps_to_the_clock() -> None:
    """The label of any frame of a day is within 0.155 s of when it is shown.

    By hand: 2,589,408 frames x 1001/30000 s are 86.4 ms less than a day; within a minute two labels of 33.3 ms more.
    """
    numbers = np.arange(0, 2589408, 997)
    for number, label in zip(numbers.tolist(), format_timecodes(numbers, NTSC), strict=True):
        hours, minutes, seconds, frame = (int(part) for part in re.split("[:;]", label))
        counted = hours * 3600 + minutes * 60 + seconds + frame / 30
        assert abs(counted - float(frame_time(number, NTSC))) < 0.155


def test_no_frames_have_no_labels() -> None:
    assert format_timecode_range(5, 0, NTSC) == []
