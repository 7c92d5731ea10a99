"""Captions as SubRip (SRT): times and plain text, which most programs read. There is no standard for it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import Final

from gramwatt.captions.cues import Cue
from gramwatt.captions.timestamps import format_clock, to_tick

PER_SECOND: Final = 1000
"""Ticks in a second."""
_TIME_PATTERN: Final = "{0:02}:{1:02}:{2:02},{3:03}"


def write_cues(cues: Iterable[Cue], *, rate: Fraction) -> Iterator[str]:
    """Yield the file cue by cue, numbered from 1.

    A cue that starts and ends at the same tick, at rates above a thousand cues a second, is left out.
    """
    count = 0
    for cue in cues:
        start, end = (to_tick(frame, rate, PER_SECOND) for frame in (cue.first_frame, cue.end_frame))
        if start < end:
            count += 1
            times = " --> ".join(format_clock(each, PER_SECOND, _TIME_PATTERN) for each in (start, end))
            yield f"{count}\n{times}\n{escape_text(cue.text)}\n\n"


def escape_text(text: str) -> str:
    """Return text without what would end a cue: an empty line, or an arrow as between times."""
    lines = (line if line.strip() else "\N{NO-BREAK SPACE}" for line in text.split("\n"))
    return "\n".join(lines).replace("-->", "--\N{WORD JOINER}>")
