"""Files of captions, read back by programs that others wrote: pysubs2, webvtt-py, srt."""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Iterator
from datetime import timedelta
from fractions import Fraction
from itertools import pairwise, product

import numpy as np
import pysubs2
import pytest
import srt
import webvtt
from hypothesis import given
from hypothesis import strategies as st

from gramwatt.captions import subrip, substation
from gramwatt.captions import webvtt as vtt
from gramwatt.captions.cues import Cue
from gramwatt.captions.placement import PLACES, Placement
from gramwatt.captions.timestamps import can_resolve, to_tick

NTSC = Fraction(30000, 1001)
HERE = Placement()
Read = list[tuple[Fraction, Fraction, str]]
"""Begin and end [s], text."""


def cue(first: int, end: int, text: str, rate: Fraction = NTSC) -> Cue:
    return Cue(first, end, text, first / rate, end / rate)


def an_hour(rate: Fraction) -> list[Cue]:
    """Captions of 1 to 40 frames, one after the other."""
    edges = np.cumsum(np.random.default_rng(9).integers(1, 41, 12_000)).tolist()
    edges = [0, *(edge for edge in edges if edge < 3601 * rate)]
    return [cue(first, end, f"{first / 7:.1f} V  & <{end}>\n– A", rate) for first, end in pairwise(edges)]


def seconds(text: str) -> Fraction:
    hours, minutes, rest = text.replace(",", ".").split(":")
    return int(hours) * 3600 + int(minutes) * 60 + Fraction(rest)


def by_webvtt_py(cues: list[Cue], rate: Fraction) -> Read:
    written = "".join(vtt.write_cues(cues, rate=rate, placement=HERE, note="Made up --> here\n\nnext"))
    return [
        (seconds(one.start), seconds(one.end), html.unescape(one.text)) for one in webvtt.from_string(written).captions
    ]


def by_srt(cues: list[Cue], rate: Fraction) -> Read:
    captions = list(srt.parse("".join(subrip.write_cues(cues, rate=rate))))
    assert [one.index for one in captions] == list(range(1, len(captions) + 1))
    millisecond = timedelta(milliseconds=1)
    return [
        (Fraction(one.start // millisecond, 1000), Fraction(one.end // millisecond, 1000), one.content)
        for one in captions
    ]


def by_pysubs2(form: str, cues: list[Cue], rate: Fraction) -> Read:
    pieces: dict[str, Callable[[], Iterator[str]]] = {
        "ass": lambda: substation.write_cues(cues, rate=rate, placement=HERE, title="Made up"),
        "srt": lambda: subrip.write_cues(cues, rate=rate),
        "vtt": lambda: vtt.write_cues(cues, rate=rate, placement=HERE),
    }
    captions = pysubs2.SSAFile.from_string("".join(pieces[form]()), format_=form)
    plain = html.unescape if form == "vtt" else str
    return [(Fraction(one.start, 1000), Fraction(one.end, 1000), plain(one.plaintext)) for one in captions]


READERS: dict[str, Callable[[list[Cue], Fraction], Read]] = {
    "webvtt-py": by_webvtt_py,
    "srt": by_srt,
    "pysubs2-ass": lambda cues, rate: by_pysubs2("ass", cues, rate),
    "pysubs2-srt": lambda cues, rate: by_pysubs2("srt", cues, rate),
    "pysubs2-vtt": lambda cues, rate: by_pysubs2("vtt", cues, rate),
}


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize(
    "rate",
    [NTSC, Fraction(24000, 1001), *(pytest.param(Fraction(rate), marks=pytest.mark.heavy) for rate in (25, 60))],
    ids=str,
)
def test_an_hour_is_read_back_to_the_frame(reader: str, rate: Fraction) -> None:
    """The first frame at or after what a file shows is a cue's first, and the nearest one too; texts are the same."""
    cues = an_hour(rate)
    read = READERS[reader](cues, rate)
    assert cues[-1].end > 3550
    assert [text for *_, text in read] == [each.text for each in cues]
    for each, (start, end, _) in zip(cues, read, strict=True):
        assert -(-start * rate // 1) == each.first_frame
        assert -(-end * rate // 1) == each.end_frame
        if rate < 50 or "ass" not in reader:
            assert round(start * rate) == each.first_frame
    for (_, end, _), (start, *_) in pairwise(read):
        assert end == start


@pytest.mark.parametrize(
    ("rate", "per_second"),
    [
        *((rate, 100) for rate in ("24000/1001", "24", "25", "30000/1001", "30", "50", "60000/1001", "60", "90")),
        *((rate, 1000) for rate in ("24000/1001", "25", "30000/1001", "60000/1001", "60", "100", "240", "500")),
    ],
)
def test_a_player_in_doubles_misses_no_frame(rate: str, per_second: int) -> None:
    """A burning filter shows a cue from where trunc(pts * timebase * 1000) reaches its begin, pts rounded or cut."""
    exact = Fraction(rate)
    assert can_resolve(exact, per_second)
    number = np.arange(90_000)
    begins = np.array([to_tick(frame, exact, per_second) for frame in number.tolist()]) * (1000 // per_second)
    for half, base in product((1, 0), (12800, 15360, 30000, 90000, 1000, 1_000_000)):
        stamp = (2 * number * exact.denominator * base + half * exact.numerator) // (2 * exact.numerator)
        shown = np.trunc(stamp * (1 / base) * 1000)
        assert (shown >= begins).all()
        assert (shown[:-1] < begins[1:]).all()


@pytest.mark.parametrize(
    ("rate", "hundredths", "thousandths"),
    [
        ("30000/1001", True, True),
        ("90", True, True),
        ("100", False, True),
        ("500", False, True),
        ("1000", False, False),
    ],
)
def test_what_a_format_resolves(rate: str, hundredths: bool, thousandths: bool) -> None:
    assert can_resolve(Fraction(rate), substation.PER_SECOND) is hundredths
    assert can_resolve(Fraction(rate), vtt.PER_SECOND) is thousandths
    assert subrip.PER_SECOND == vtt.PER_SECOND


def test_cues_shorter_than_a_tick_are_left_out_and_never_overlap() -> None:
    rate = Fraction(1000)
    cues = [cue(first, first + 1, str(first), rate) for first in range(100)]
    read = by_pysubs2("ass", cues, rate)
    assert len(read) == 10
    assert all(one[1] == two[0] for one, two in pairwise(read))


TEXTS = [
    "12 V & <b>bold</b> &amp;",
    "1\n\n2",
    "\n",
    "a --> b",
    "{\\an8}{\\pos(1,1)}x\\Ny\\h",
    "NOTE x",
    " padded ",
    "–° Ω 測 🙂",
]


@pytest.mark.parametrize("text", TEXTS)
def test_any_text_is_one_cue(text: str) -> None:
    cues = [cue(0, 30, text), cue(30, 60, "next")]
    expected = "\n".join(line if line.strip() else "\N{NO-BREAK SPACE}" for line in text.split("\n"))
    (_, _, text_read), (_, _, after) = by_webvtt_py(cues, NTSC)
    assert (text_read.strip(" "), after) == (expected.strip(" "), "next")
    (_, _, text_read), (_, _, after) = by_srt(cues, NTSC)
    assert (text_read.replace("\N{WORD JOINER}", "").strip(" "), after) == (expected.strip(" "), "next")


@given(st.text(st.sampled_from("\\{}Nnhax1 \n&")))
def test_no_text_is_a_command_of_ass(text: str) -> None:
    """What is left of a backslash is before a brace, the line break, or followed by what means nothing."""
    written = substation.escape_text(text)
    rest = re.sub(r"\\[{}]|\\N|\\\N{WORD JOINER}", "", written)
    assert not set(rest) & set("\\{}\n")
    back = re.sub(r"\\([{}])", r"\1", written.replace("\\N", "\n")).replace("\N{WORD JOINER}", "")
    assert back == text


@pytest.mark.parametrize("place", PLACES)
def test_where_cues_stand(place: str) -> None:
    """As a reader of each format sees it."""
    placement = Placement(1280, 720, place, text_height_share=0.05, safe_margin_share=0.1)
    height, side = place.split("-")
    output = vtt.format_settings(placement, 2)
    assert output.endswith(
        {"left": "position:10% align:start", "center": "position:50% align:center"}.get(side, "position:90% align:end")
    )
    assert output.startswith({"top": "line:10% ", "middle": "line:44% ", "bottom": "line:-1 "}[height])
    read = pysubs2.SSAFile.from_string(substation.make_header(placement), format_="ass")
    style = read.styles["Figures"]
    assert style.alignment.name == f"{height}_{side}".upper()
    assert (read.info["PlayResX"], read.info["PlayResY"]) == ("1280", "720")
    assert (style.marginl, style.marginr, style.marginv) == (128, 128, 72)
    assert style.fontsize == pytest.approx(36 * 1.16, abs=0.05)


def test_long_after_the_begin() -> None:
    """Ten hours and more have two digits, a hundred hours three."""
    far = [cue(25 * 360_000, 25 * 360_001, "x", Fraction(25))]
    assert "99:59:59,999 --> 100:00:00,999" in "".join(subrip.write_cues(far, rate=Fraction(25)))
    assert "Dialogue: 0,99:59:59.99,100:00:00.99," in "".join(
        substation.write_cues(far, rate=Fraction(25), placement=HERE)
    )


def test_files_come_in_pieces() -> None:
    """A cue is written before the next one is known."""

    def endless() -> Iterator[Cue]:
        number = 0
        while True:
            yield cue(number, number + 1, str(number))
            number += 1

    for pieces in (
        vtt.write_cues(endless(), rate=NTSC, placement=HERE),
        subrip.write_cues(endless(), rate=NTSC),
        substation.write_cues(endless(), rate=NTSC, placement=HERE),
    ):
        assert "4" in "".join(next(pieces) for _ in range(6))
