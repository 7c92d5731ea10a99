"""Frame rates as exact fractions, the instants of frames, and their time codes.

References
----------
SMPTE ST 12-1, Time and control code (drop-frame counting at 30000/1001), and ST 12-3 for high frame rates; both from
memory of the standards.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Final

import numpy as np
from numpy.typing import NDArray

RATE_PATTERN: Final = (
    r"(?:(?:[1-9][0-9]{0,2}|1000)(?:\.[0-9]{1,6})?|0\.[0-9]{0,5}[1-9]|[1-9][0-9]{0,5}/[1-9][0-9]{0,5})"
)
"""The pattern of a frame rate such as ``25``, ``23.976`` or ``30000/1001``, without anchors."""
MAX_RATE: Final = 1000
"""Highest frame rate [1/s]."""
_DAY: Final = 24 * 60  # minutes
_DROP_FRAME_RATES: Final = (30, 60, 120)


def parse_rate(text: str) -> Fraction:
    """Return a frame rate as an exact fraction [1/s].

    A decimal with two places or more that equals ``N * 1000/1001``, rounded or cut off to its places, means that
    fraction: ``29.97`` and ``29.970`` are 30000/1001, ``23.976``, ``23.98`` and ``23.97`` are 24000/1001.

    Raises
    ------
    ValueError
        The text is no rate above 0 and at most 1000.
    """
    if not re.fullmatch(RATE_PATTERN, text):
        raise ValueError(f"{text[:40]!r} is not a frame rate such as 25, 23.976 or 30000/1001")
    rate = Fraction(text)
    if rate > MAX_RATE:
        raise ValueError(f"a frame rate is above 0 and at most {MAX_RATE}")
    places = len(text.partition(".")[2])
    if places >= 2 and rate.denominator > 1:
        whole = int(rate) + 1
        exact, last_place = Fraction(whole * 1000, 1001), Fraction(1, 10**places)
        if -last_place < rate - exact <= last_place / 2:
            rate = exact
    return rate


def frame_time(number: int, rate: Fraction) -> Fraction:
    """Return when a frame is shown [s]; the first frame of the video has number 0."""
    return number / rate


def nominal_rate(rate: Fraction) -> int:
    """Return the frames that a second of time code counts: 30 at 29.97, 24 at 23.976, 13 at 12.5."""
    return -(-rate.numerator // rate.denominator)


def dropped_labels(rate: Fraction) -> int:
    """Return how many labels drop-frame counting skips in each minute but every tenth: 2 at 30000/1001, else 0."""
    whole = nominal_rate(rate)
    return whole // 15 if whole in _DROP_FRAME_RATES and rate == Fraction(whole * 1000, 1001) else 0


def format_timecodes(numbers: NDArray[np.int64], rate: Fraction) -> list[str]:
    """Return the time codes of frames (F,) as ``hh:mm:ss:ff``, or ``hh:mm:ss;ff`` at drop-frame rates.

    The frame has three digits where a second has more than 100 frames. Counting restarts after 24 hours.
    """
    whole, dropped = nominal_rate(rate), dropped_labels(rate)
    minute, ten = 60 * whole - dropped, 600 * whole - 9 * dropped
    tens, rest = np.divmod(numbers % (_DAY // 10 * ten), ten)
    label = tens * (600 * whole) + rest + dropped * np.maximum(0, (rest - dropped) // minute)
    seconds, frame = np.divmod(label, whole)
    wide = 3 if whole > 100 else 2
    parts = np.array([seconds // 3600, seconds // 60 % 60, seconds % 60, frame])
    power = np.array([10, 1, 10, 1, 10, 1, *(10**place for place in range(wide - 1, -1, -1))])
    text = np.full((len(label), 9 + wide), ord(":"), np.uint32)
    text[:, 8] = ord(";" if dropped else ":")
    place = [0, 1, 3, 4, 6, 7, *range(9, 9 + wide)]
    text[:, place] = ord("0") + (np.repeat(parts, [2, 2, 2, wide], axis=0).T // power % 10)
    written: list[str] = text.view(f"U{9 + wide}").ravel().tolist()
    return written


def format_timecode_range(first: int, count: int, rate: Fraction) -> list[str]:
    """Return the time codes of ``count`` frames, starting at number ``first``."""
    return format_timecodes(np.arange(first, first + count, dtype=np.int64), rate)
