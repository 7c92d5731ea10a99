"""Captions as Advanced SubStation Alpha (ASS), for burning into a video: the one format that defines how text looks.

The fields of styles and events are those that ffmpeg's encoder writes. A test draws captions into a video by libass.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import Final

from gramwatt.captions.cues import Cue
from gramwatt.captions.placement import OUTLINE, Placement
from gramwatt.captions.timestamps import format_clock, to_tick

PER_SECOND: Final = 100
"""Ticks in a second: too few for frame rates above 90, see `timestamps.can_resolve`."""
_TIME_PATTERN: Final = "{0}:{1:02}:{2:02}.{3:02}"
_FONT: Final = "sans-serif"
_CELL: Final = 1.16
"""Font sizes of the format, in ems: from the lowest to the highest stroke of common sans-serif fonts."""
_ALIGNMENTS: Final = ((7, 8, 9), (4, 5, 6), (1, 2, 3))
_STYLE: Final = (
    "Name, Fontname, Fontsize, PrimaryColour, SecondaryColour, OutlineColour, BackColour, Bold, Italic, Underline, "
    "StrikeOut, ScaleX, ScaleY, Spacing, Angle, BorderStyle, Outline, Shadow, Alignment, MarginL, MarginR, MarginV, "
    "Encoding"
)
_EVENT: Final = "Layer, Start, End, Style, Name, MarginL, MarginR, MarginV, Effect, Text"


def write_cues(cues: Iterable[Cue], *, rate: Fraction, placement: Placement, title: str = "") -> Iterator[str]:
    """Yield the file cue by cue, after its header with ``title``.

    A cue that starts and ends at the same tick, at rates above a hundred cues a second, is left out.
    """
    yield make_header(placement, title)
    for cue in cues:
        start, end = (to_tick(frame, rate, PER_SECOND) for frame in (cue.first_frame, cue.end_frame))
        if start < end:
            times = ",".join(format_clock(each, PER_SECOND, _TIME_PATTERN) for each in (start, end))
            yield f"Dialogue: 0,{times},Figures,,0,0,0,,{escape_text(cue.text)}\n"


def make_header(placement: Placement, title: str = "") -> str:
    """Return all before the cues: a style of white letters with a dark outline and a soft shadow."""
    side, bottom = (round(placement.safe_margin_share * size) for size in (placement.width, placement.height))
    alignment = _ALIGNMENTS[placement.row][placement.column]
    style = (
        f"Figures,{_FONT},{_CELL * placement.em:.1f},&H00FFFFFF,&H00FFFFFF,&H20000000,&H80000000,0,0,0,0,100,100,0,0,"
        f"1,{OUTLINE * placement.em:.1f},{OUTLINE * placement.em / 2:.1f},{alignment},{side},{side},{bottom},1"
    )
    return (
        f"[Script Info]\nTitle: {' '.join(title.split())}\nScriptType: v4.00+\n"
        f"PlayResX: {placement.width}\nPlayResY: {placement.height}\n"
        "ScaledBorderAndShadow: yes\nWrapStyle: 2\n\n"
        f"[V4+ Styles]\nFormat: {_STYLE}\nStyle: {style}\n\n[Events]\nFormat: {_EVENT}\n"
    )


def escape_text(text: str) -> str:
    """Return text as an event holds it, so that nothing in it is a command.

    A backslash cannot be escaped; an invisible character after it takes away its meaning.
    """
    escaped = text.replace("\\", "\\\N{WORD JOINER}").replace("{", "\\{").replace("}", "\\}")
    return escaped.replace("\n", "\\N")
