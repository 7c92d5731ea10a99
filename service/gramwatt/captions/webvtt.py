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
from gramwatt.captions.timestamps import format_clock, to_tick

PER_SECOND: Final = 1000
"""Ticks in a second."""
_TIME_PATTERN: Final = "{0:02}:{1:02}:{2:02}.{3:03}"
_ALIGN: Final = ("start", "center", "end")
_ESCAPES: Final = str.maketrans({"&": "&amp;", "<": "&lt;", ">": "&gt;"})


def write_cues(cues: Iterable[Cue], *, rate: Fraction, placement: Placement, note: str = "") -> Iterator[str]:
    """Yield the file cue by cue. ``note`` is a comment at its start.

    A cue that starts and ends at the same tick, at rates above a thousand cues a second, is left out.
    """
    yield "WEBVTT\n"
    if note:
        yield f"\nNOTE {' '.join(note.split()).replace('-->', '->')}\n"
    for cue in cues:
        start, end = (to_tick(frame, rate, PER_SECOND) for frame in (cue.first_frame, cue.end_frame))
        if start < end:
            times = " --> ".join(format_clock(each, PER_SECOND, _TIME_PATTERN) for each in (start, end))
            yield f"\n{times} {format_settings(placement, cue.text.count(chr(10)) + 1)}\n{escape_text(cue.text)}\n"


def escape_text(text: str) -> str:
    """Return text as a cue holds it. An empty line would end the cue, so it gets a non-breaking space."""
    return "\n".join(line.translate(_ESCAPES) if line.strip() else "&nbsp;" for line in text.split("\n"))


def format_settings(placement: Placement, lines: int) -> str:
    """Return the settings that place a cue with so many lines.

    Browsers choose the text size themselves. At the bottom they count lines from there, so that all are visible.
    """
    x = (placement.safe_margin_share, 0.5, 1 - placement.safe_margin_share)[placement.column]
    line = "-1" if placement.row == 2 else f"{_share(placement.top(lines))}%"
    return f"line:{line} position:{_share(x)}% align:{_ALIGN[placement.column]}"


def _share(value: float) -> str:
    return f"{min(max(100 * value, 0.0), 100.0):.2f}".rstrip("0").rstrip(".")
