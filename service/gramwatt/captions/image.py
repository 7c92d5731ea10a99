"""The figures of one instant as a transparent picture of the video's size, to lay over it."""

from __future__ import annotations

import io
from bisect import bisect_left
from collections.abc import Callable
from html import escape
from typing import Final

from gramwatt import extras
from gramwatt.captions.placement import LINE_SPACING, OUTLINE, Placement

_ANCHORS: Final = ("start", "middle", "end")
_RISE: Final = 0.9
"""From the upper edge of a line to the foot of its letters, in ems."""
_ALPHA: Final = 223
"""Of the dark line around letters, of 255."""


def baselines(placement: Placement, lines: int) -> list[float]:
    """The feet of so many lines of text [px from the top]."""
    top = placement.above(lines) * placement.height
    return [top + (_RISE + LINE_SPACING * line) * placement.em for line in range(lines)]


def svg(text: str, placement: Placement, *, title: str = "Flight figures") -> str:
    """The picture as SVG; ``text`` with a line feed where a line ends, ``title`` for those who cannot see it."""
    lines = text.split("\n")
    x, em = placement.across, placement.em
    drawn = "".join(
        f'<text x="{x:.1f}" y="{y:.1f}" xml:space="preserve">{escape(line)}</text>\n'
        for line, y in zip(lines, baselines(placement, len(lines)), strict=True)
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{placement.width}" height="{placement.height}" '
        f'viewBox="0 0 {placement.width} {placement.height}" role="img">\n<title>{escape(title)}</title>\n'
        f'<g font-family="sans-serif" font-size="{em:.1f}" font-variant="tabular-nums" fill="#fff" '
        f'stroke="#000" stroke-opacity="{_ALPHA / 255:.3f}" stroke-width="{2 * OUTLINE * em:.1f}" '
        f'stroke-linejoin="round" paint-order="stroke" text-anchor="{_ANCHORS[placement.column]}">\n'
        f"{drawn}</g>\n</svg>\n"
    )


def png(text: str, placement: Placement) -> bytes:
    """The picture as PNG with an alpha channel, in the font that Pillow brings; letters it has not are boxes.

    Takes 4 bytes a pixel: 142 MB for the largest, however long its text is. Raises MissingExtra where Pillow is not
    installed.
    """
    extras.require("PIL", extra="charts", purpose="Pictures of captions as PNG", name="Pillow")
    from PIL import Image, ImageDraw, ImageFont

    lines = text.split("\n")
    picture = Image.new("RGBA", (placement.width, placement.height), (0, 0, 0, 0))
    pen = ImageDraw.Draw(picture)
    font = ImageFont.load_default(max(1.0, placement.em))
    for line, y in zip(lines, baselines(placement, len(lines)), strict=True):
        seen, x, anchor = _cut(line, placement, font.getlength)
        pen.text(
            (x, y),
            seen,
            fill=(255, 255, 255, 255),
            font=font,
            anchor=anchor + "s",
            stroke_width=OUTLINE * placement.em,
            stroke_fill=(0, 0, 0, _ALPHA),
        )
    written = io.BytesIO()
    picture.save(written, "PNG", compress_level=3)
    return written.getvalue()


def _cut(line: str, placement: Placement, length: Callable[[str], float]) -> tuple[str, float, str]:
    """Return the letters of a line that are within the picture, where they are drawn, and by which of their ends.

    Pillow draws a line as a whole before it puts it into the picture, and refuses one that is too large.
    """
    anchor = "lmr"[placement.column]
    whole = length(line)
    if whole <= placement.width:
        return line, placement.across, anchor
    left = placement.across - whole * placement.column / 2
    ends = range(len(line) + 1)
    first = max(0, bisect_left(ends, -placement.em - left, key=lambda end: length(line[:end])) - 1)
    last = bisect_left(ends, placement.width + placement.em - left, key=lambda end: length(line[:end]))
    return line[first:last], left + length(line[:first]), "l"
