"""Tests of captions burnt in by ffmpeg: on exactly their frames, in the right place."""

from __future__ import annotations

import subprocess
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from gramwatt.captions import subrip, substation, webvtt
from gramwatt.captions.cues import Cue
from gramwatt.captions.placement import Placement

WIDTH, HEIGHT, COUNT = 160, 90, 61
SPANS = ((0, 1), (2, 5), (5, 7), (9, 10), (11, 26), (40, 59))
"""Frames of each cue, to before; neighbours, single frames, gaps of one frame."""
NTSC = Fraction(30000, 1001)
FORMATS = ("ass", "vtt", "srt")

pytestmark = pytest.mark.client("ffmpeg")


def captions(folder: Path, form: str, cues: list[Cue], rate: Fraction, placement: Placement) -> str:
    """Write a file of captions, and name the filter that burns it in."""
    pieces = {
        "ass": lambda: substation.write_cues(cues, rate=rate, placement=placement),
        "vtt": lambda: webvtt.write_cues(cues, rate=rate, placement=placement),
        "srt": lambda: subrip.write_cues(cues, rate=rate),
    }[form]()
    (folder / f"cues.{form}").write_text("".join(pieces), encoding="utf-8")
    return "ass=cues.ass" if form == "ass" else f"subtitles=cues.{form}:force_style='FontSize=40'"


def pictures(folder: Path, source: list[str], chain: str) -> NDArray[np.uint8]:
    """All frames (F, height, width) in grey."""
    command = ["ffmpeg", "-nostdin", "-v", "error", *source, "-vf", f"{chain},format=gray"]
    command += ["-fps_mode", "passthrough", "-f", "rawvideo", "-"]
    ran = subprocess.run(command, cwd=folder, capture_output=True, check=True, timeout=120)
    return np.frombuffer(ran.stdout, np.uint8).reshape(-1, HEIGHT, WIDTH)


def lavfi(rate: Fraction) -> list[str]:
    return ["-f", "lavfi", "-i", f"testsrc=size={WIDTH}x{HEIGHT}:rate={rate}:decimals=0", "-frames:v", str(COUNT)]


def on_frames(first: int, rate: Fraction) -> list[Cue]:
    return [Cue(first + a, first + b, f"{a} V", (first + a) / rate, (first + b) / rate) for a, b in SPANS]


EXPECTED = [frame for begin, end in SPANS for frame in range(begin, end)]


@pytest.mark.parametrize("form", FORMATS)
@pytest.mark.parametrize(
    ("rate", "base", "first"),
    [
        pytest.param(Fraction(25), 12800, 0, id="25"),
        pytest.param(NTSC, 30000, 0, id="29.97"),
        pytest.param(Fraction(60), 15360, 0, id="60"),
        pytest.param(NTSC, 30000, 107_892, id="29.97-after-an-hour"),
        pytest.param(NTSC, 1000, 107_892, id="29.97-after-an-hour-in-thousandths"),
        pytest.param(Fraction(60), 90000, 216_000, id="60-after-an-hour"),
    ],
)
def test_captions_are_on_their_frames_alone(tmp_path: Path, form: str, rate: Fraction, base: int, first: int) -> None:
    """Frames are stamped as a container with that time base would: rounded to it."""
    placement = Placement(WIDTH, HEIGHT, "bottom-left", text_height_share=0.2)
    burn = captions(tmp_path, form, on_frames(first, rate), rate, placement)
    stamp = f"settb=1/{base},setpts=round((N+{first})*{rate.denominator}*{base}/{rate.numerator})"
    plain = pictures(tmp_path, lavfi(rate), stamp)
    burnt = pictures(tmp_path, lavfi(rate), f"{stamp},{burn}")
    assert plain.shape == burnt.shape == (COUNT, HEIGHT, WIDTH)
    changed = (plain != burnt).sum(axis=(1, 2))
    assert np.flatnonzero(changed).tolist() == EXPECTED
    assert changed[EXPECTED].min() > 50


@pytest.mark.parametrize("form", FORMATS)
@pytest.mark.parametrize("container", ["mkv", "mp4"])
def test_captions_on_a_file_of_video(tmp_path: Path, form: str, container: str) -> None:
    """As a user does it; Matroska stamps frames in thousandths of a second."""
    clip = f"clip.{container}"
    make = ["ffmpeg", "-nostdin", "-v", "error", *lavfi(NTSC), "-c:v", "mpeg4", "-q:v", "2", clip]
    subprocess.run(make, cwd=tmp_path, check=True, timeout=120)
    burn = captions(tmp_path, form, on_frames(0, NTSC), NTSC, Placement(WIDTH, HEIGHT, text_height_share=0.2))
    plain = pictures(tmp_path, ["-i", clip], "null")
    burnt = pictures(tmp_path, ["-i", clip], burn)
    assert np.flatnonzero((plain != burnt).any(axis=(1, 2))).tolist() == EXPECTED


@pytest.mark.parametrize(
    ("place", "rows", "columns"),
    [
        ("top-left", slice(0, 40), slice(0, 80)),
        ("middle-center", slice(25, 65), slice(30, 130)),
        ("bottom-right", slice(50, 90), slice(80, 160)),
    ],
)
def test_ass_is_in_the_right_place(tmp_path: Path, place: str, rows: slice, columns: slice) -> None:
    burn = captions(
        tmp_path,
        "ass",
        [Cue(0, 5, "8 V", Fraction(0), Fraction(1, 5))],
        Fraction(25),
        Placement(WIDTH, HEIGHT, place, 0.2),
    )
    changed = pictures(tmp_path, lavfi(Fraction(25)), "null")[0] != pictures(tmp_path, lavfi(Fraction(25)), burn)[0]
    inside = np.zeros_like(changed)
    inside[rows, columns] = True
    assert changed[inside].sum() > 100
    assert not changed[~inside].any()


def test_text_gives_no_commands_to_ass(tmp_path: Path) -> None:
    """A command for the top of the picture, in the text, is letters at the bottom."""
    commands = [Cue(0, 5, "{\\an8}x", Fraction(0), Fraction(1, 5))]
    burn = captions(tmp_path, "ass", commands, Fraction(25), Placement(WIDTH, HEIGHT, "bottom-left", 0.2))
    changed = pictures(tmp_path, lavfi(Fraction(25)), "null")[0] != pictures(tmp_path, lavfi(Fraction(25)), burn)[0]
    rows, columns = np.nonzero(changed)
    assert rows.min() > HEIGHT // 2
    assert columns.max() - columns.min() > 3 * 0.2 * HEIGHT  # wider than the x alone
