"""Captions as Advanced SubStation Alpha (ASS), for burning into a video: the one format that says how text looks.

References
----------
The format's description "ASS File Format Specification" as libass keeps it; from memory.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import Final

from gramwatt.captions.cues import Cue
from gramwatt.captions.placement import OUTLINE, Placement
from gramwatt.captions.timestamps import clock, tick

PER_SECOND: Final = 100
"""Ticks that a second has: too few for frame rates above 90, see `ticks.resolves`."""
_FORM: Final = "{0}:{1:02}:{2:02}.{3:02}"
_FONT: Final = "sans-serif"
_CELL: Final = 1.16
"""The format's size of a font is from the lowest to the highest stroke, in ems: that of common sans-serif fonts."""
_ALIGNMENTS: Final = ((7, 8, 9), (4, 5, 6), (1, 2, 3))
_STYLE: Final = (
    "Name, Fontname, Fontsize, PrimaryColour, SecondaryColour, OutlineColour, BackColour, Bold, Italic, Underline, "
    "StrikeOut, ScaleX, ScaleY, Spacing, Angle, BorderStyle, Outline, Shadow, Alignment, MarginL, MarginR, MarginV, "
    "Encoding"
)
_EVENT: Final = "Layer, Start, End, Style, Name, MarginL, MarginR, MarginV, Effect, Text"


def write(cues: Iterable[Cue], *, rate: Fraction, placement: Placement, title: str = "") -> Iterator[str]:
    """The file in pieces, a cue each; see `ticks` for when they begin. ``title`` stands at its head.

    A cue that begins and ends at one tick, at rates that cannot be told in hundredths, is left out.
    """
    yield head(placement, title)
    for cue in cues:
        begins, ends = (tick(frame, rate, PER_SECOND) for frame in (cue.first_frame, cue.end_frame))
        if begins < ends:
            times = ",".join(clock(each, PER_SECOND, _FORM) for each in (begins, ends))
            yield f"Dialogue: 0,{times},Figures,,0,0,0,,{harmless(cue.text)}\n"


def head(placement: Placement, title: str = "") -> str:
    """All before the cues: white letters with a dark line around them and a soft shadow."""
    across, down = (round(placement.safe_area * size) for size in (placement.width, placement.height))
    alignment = _ALIGNMENTS[placement.row][placement.column]
    style = (
        f"Figures,{_FONT},{_CELL * placement.em:.1f},&H00FFFFFF,&H00FFFFFF,&H20000000,&H80000000,0,0,0,0,100,100,0,0,"
        f"1,{OUTLINE * placement.em:.1f},{OUTLINE * placement.em / 2:.1f},{alignment},{across},{across},{down},1"
    )
    return (
        f"[Script Info]\nTitle: {' '.join(title.split())}\nScriptType: v4.00+\n"
        f"PlayResX: {placement.width}\nPlayResY: {placement.height}\n"
        "ScaledBorderAndShadow: yes\nWrapStyle: 2\n\n"
        f"[V4+ Styles]\nFormat: {_STYLE}\nStyle: {style}\n\n[Events]\nFormat: {_EVENT}\n"
    )


def harmless(text: str) -> str:
    """Text as an event holds it: nothing in it is a command.

    A backslash cannot be escaped; an invisible character after it keeps it from meaning anything.
    """
    kept = text.replace("\\", "\\\N{WORD JOINER}").replace("{", "\\{").replace("}", "\\}")
    return kept.replace("\n", "\\N")
