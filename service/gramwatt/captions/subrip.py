"""Captions as SubRip (SRT): times and plain text, for whatever knows nothing else. There is no standard of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import Final

from gramwatt.captions.cues import Cue
from gramwatt.captions.timestamps import clock, tick

PER_SECOND: Final = 1000
"""Ticks that a second has."""
_FORM: Final = "{0:02}:{1:02}:{2:02},{3:03}"


def write(cues: Iterable[Cue], *, rate: Fraction) -> Iterator[str]:
    """The file in pieces, a cue each, numbered from 1; see `ticks` for when they begin.

    A cue that begins and ends at one tick, at rates that cannot be told in thousandths, is left out.
    """
    count = 0
    for cue in cues:
        begins, ends = (tick(frame, rate, PER_SECOND) for frame in (cue.first_frame, cue.end_frame))
        if begins < ends:
            count += 1
            times = " --> ".join(clock(each, PER_SECOND, _FORM) for each in (begins, ends))
            yield f"{count}\n{times}\n{plain(cue.text)}\n\n"


def plain(text: str) -> str:
    """Text as a cue holds it: there is no way to escape anything, but a line of nothing, or an arrow as between times,
    would end the cue."""
    lines = (line if line.strip() else "\N{NO-BREAK SPACE}" for line in text.split("\n"))
    return "\n".join(lines).replace("-->", "--\N{WORD JOINER}>")
