"""Captions as WebVTT, for the web's video element.

References
----------
W3C, WebVTT: The Web Video Text Tracks Format, Candidate Recommendation 2019, section 4 (syntax).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import Final

from gramwatt.captions.cues import Cue
from gramwatt.captions.placement import Placement
from gramwatt.captions.timestamps import clock, tick

PER_SECOND: Final = 1000
"""Ticks that a second has."""
_FORM: Final = "{0:02}:{1:02}:{2:02}.{3:03}"
_ALIGN: Final = ("start", "center", "end")
_ESCAPES: Final = str.maketrans({"&": "&amp;", "<": "&lt;", ">": "&gt;"})


def write(cues: Iterable[Cue], *, rate: Fraction, placement: Placement, note: str = "") -> Iterator[str]:
    """The file in pieces, a cue each; see `ticks` for when they begin. ``note`` is a comment at its head.

    A cue that begins and ends at one tick, at rates that cannot be told in thousandths, is left out.
    """
    yield "WEBVTT\n"
    if note:
        yield f"\nNOTE {' '.join(note.split()).replace('-->', '->')}\n"
    for cue in cues:
        begins, ends = (tick(frame, rate, PER_SECOND) for frame in (cue.first_frame, cue.end_frame))
        if begins < ends:
            times = " --> ".join(clock(each, PER_SECOND, _FORM) for each in (begins, ends))
            yield f"\n{times} {settings(placement, cue.text.count(chr(10)) + 1)}\n{escape(cue.text)}\n"


def escape(text: str) -> str:
    """Text as a cue holds it. A line of nothing would end the cue, so it has a space that stays."""
    return "\n".join(line.translate(_ESCAPES) if line.strip() else "&nbsp;" for line in text.split("\n"))


def settings(placement: Placement, lines: int) -> str:
    """Where a cue of so many lines stands, in the words of the format.

    A browser gives text its own size; at the bottom it counts lines from there, so that all are seen.
    """
    across = (placement.safe_area, 0.5, 1 - placement.safe_area)[placement.column]
    line = "-1" if placement.row == 2 else f"{_share(placement.above(lines))}%"
    return f"line:{line} position:{_share(across)}% align:{_ALIGN[placement.column]}"


def _share(value: float) -> str:
    return f"{min(max(100 * value, 0.0), 100.0):.2f}".rstrip("0").rstrip(".")
