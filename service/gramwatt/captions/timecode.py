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

RATE: Final = r"(?:(?:[1-9][0-9]{0,2}|1000)(?:\.[0-9]{1,6})?|0\.[0-9]{0,5}[1-9]|[1-9][0-9]{0,5}/[1-9][0-9]{0,5})"
"""What a frame rate may be written as: ``25``, ``23.976``, ``30000/1001``. Without anchors."""
MOST: Final = 1000
"""No frame rate is higher [1/s]."""
_DAY: Final = 24 * 60  # minutes
_DROPPING: Final = (30, 60, 120)


def exact_rate(text: str) -> Fraction:
    """A frame rate [1/s] as it is meant.

    A decimal with two places or more that is ``N * 1000/1001`` rounded, or cut, to its places means that fraction:
    ``29.97`` and ``29.970`` are 30000/1001, ``23.976``, ``23.98`` and ``23.97`` are 24000/1001.

    Raises ValueError where it is no rate above 0 and at most 1000.
    """
    if not re.fullmatch(RATE, text):
        raise ValueError(f"{text[:40]!r} is no frame rate such as 25, 23.976 or 30000/1001")
    rate = Fraction(text)
    if rate > MOST:
        raise ValueError(f"a frame rate is above 0 and at most {MOST}")
    places = len(text.partition(".")[2])
    if places >= 2 and rate.denominator > 1:
        whole = int(rate) + 1
        meant, last = Fraction(whole * 1000, 1001), Fraction(1, 10**places)
        if -last < rate - meant <= last / 2:
            rate = meant
    return rate


def frame_time(number: int, rate: Fraction) -> Fraction:
    """When a frame is shown [s], counted from the video's first frame, number 0."""
    return number / rate


def nominal(rate: Fraction) -> int:
    """Frames that a second of time code counts: 30 at 29.97, 24 at 23.976, 13 at 12.5."""
    return -(-rate.numerator // rate.denominator)


def drops(rate: Fraction) -> int:
    """Labels that drop-frame counting leaves out each minute but every tenth: 2 at 30000/1001, 0 where none are."""
    whole = nominal(rate)
    return whole // 15 if whole in _DROPPING and rate == Fraction(whole * 1000, 1001) else 0


def labels(numbers: NDArray[np.int64], rate: Fraction) -> list[str]:
    """The time codes of frames by number (F,), ``hh:mm:ss:ff``; ``;`` before the frames where labels are dropped.

    The frame has three digits where a second has more than 100 of them. It starts again after 24 hours.
    """
    whole, dropped = nominal(rate), drops(rate)
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


def timecodes(first: int, count: int, rate: Fraction) -> list[str]:
    """The time codes of ``count`` frames from number ``first`` on."""
    return labels(np.arange(first, first + count, dtype=np.int64), rate)


def timecode(number: int, rate: Fraction) -> str:
    """The time code of one frame."""
    return timecodes(number, 1, rate)[0]
