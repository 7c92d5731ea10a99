"""Instants of frames in the thousandths or hundredths of a second that a file of captions can tell."""

from __future__ import annotations

import functools
from fractions import Fraction
from typing import Final

MARGIN: Final = Fraction(1, 1000)
"""How much earlier than its first frame a caption is told to begin [s], or the last tick before that.

A player works a frame's time out in its own way: rounded to its time base, then cut to thousandths in doubles, where
40 ms may come out as 39. A caption told to begin at 40 would miss its frame. One told to begin at 39 is on that frame
and not on the one before, which is far away. At high rates the margin is half of what the tick leaves.
"""


@functools.lru_cache(maxsize=64)
def _line(rate: Fraction, per_second: int) -> tuple[int, int, int]:
    """(a, b, c) in whole numbers: a frame's tick is (a x frame - b) / c, cut."""
    margin = max(Fraction(0), min(MARGIN, (1 / rate - Fraction(1, per_second)) / 2))
    step, back = per_second / rate, margin * per_second
    shared = step.denominator * back.denominator
    return step.numerator * back.denominator, back.numerator * step.denominator, shared


def tick(frame: int, rate: Fraction, per_second: int) -> int:
    """The tick from which a frame, and none before it, is shown; there are ``per_second`` of them."""
    step, back, shared = _line(rate, per_second)
    return max(0, (step * frame - back) // shared)


def resolves(rate: Fraction, per_second: int) -> bool:
    """Whether ticks are fine enough at a frame rate for a caption to begin and end on exactly its frames.

    Tried over 90,000 frames with five time bases: up to 500 frames a second with thousandths (WebVTT, SubRip), to 90
    with hundredths (ASS). Above that a caption may come or go a frame off.
    """
    return 1 / rate - Fraction(1, per_second) >= MARGIN


def clock(ticks: int, per_second: int, form: str) -> str:
    """``form`` with hours, minutes, seconds and ticks: ``{0:02}:{1:02}:{2:02}.{3:03}``."""
    seconds, rest = divmod(ticks, per_second)
    return form.format(seconds // 3600, seconds // 60 % 60, seconds % 60, rest)
