"""Draw the caption of one instant as a transparent image of the video's size, to overlay it."""

from __future__ import annotations

import io
from bisect import bisect_left
from collections.abc import Callable
from html import escape
from typing import Final

from gramwatt import extras
from gramwatt.captions.placement import LINE_SPACING, OUTLINE, Placement

_ANCHORS: Final = ("start", "middle", "end")
_ASCENT: Final = 0.9
"""From the upper edge of a line to its baseline, in ems."""
_ALPHA: Final = 223
"""Opacity of the outline of letters, of 255."""


def find_baselines(placement: Placement, lines: int) -> list[float]:
    """Return the baselines of so many lines of text [px from the top]."""
    top = placement.top(lines) * placement.height
    return [top + (_ASCENT + LINE_SPACING * line) * placement.em for line in range(lines)]


def draw_svg(text: str, placement: Placement, *, title: str = "Flight figures") -> str:
    """Return the image as SVG. Line feeds separate lines; ``title`` is for people who cannot see it."""
    lines = text.split("\n")
    x, em = placement.x, placement.em
    drawn = "".join(
        f'<text x="{x:.1f}" y="{y:.1f}" xml:space="preserve">{escape(line)}</text>\n'
        for line, y in zip(lines, find_baselines(placement, len(lines)), strict=True)
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{placement.width}" height="{placement.height}" '
        f'viewBox="0 0 {placement.width} {placement.height}" role="img">\n<title>{escape(title)}</title>\n'
        f'<g font-family="sans-serif" font-size="{em:.1f}" font-variant="tabular-nums" fill="#fff" '
        f'stroke="#000" stroke-opacity="{_ALPHA / 255:.3f}" stroke-width="{2 * OUTLINE * em:.1f}" '
        f'stroke-linejoin="round" paint-order="stroke" text-anchor="{_ANCHORS[placement.column]}">\n'
        f"{drawn}</g>\n</svg>\n"
    )


def draw_png(text: str, placement: Placement) -> bytes:
    """Return the image as PNG with an alpha channel, in Pillow's own font. Characters that it lacks are boxes.

    Takes 4 bytes a pixel: 142 MB for the largest image, however long its text is.

    Raises
    ------
    MissingExtra
        Pillow is not installed.
    """
    extras.require("PIL", extra="charts", purpose="Captions as PNG", name="Pillow")
    from PIL import Image, ImageDraw, ImageFont

    lines = text.split("\n")
    image = Image.new("RGBA", (placement.width, placement.height), (0, 0, 0, 0))
    pen = ImageDraw.Draw(image)
    font = ImageFont.load_default(max(1.0, placement.em))
    for line, y in zip(lines, find_baselines(placement, len(lines)), strict=True):
        visible, x, anchor = _crop_line(line, placement, font.getlength)
        pen.text(
            (x, y),
            visible,
            fill=(255, 255, 255, 255),
            font=font,
            anchor=anchor + "s",
            stroke_width=OUTLINE * placement.em,
            stroke_fill=(0, 0, 0, _ALPHA),
        )
    output = io.BytesIO()
    image.save(output, "PNG", compress_level=3)
    return output.getvalue()


def _crop_line(line: str, placement: Placement, length: Callable[[str], float]) -> tuple[str, float, str]:
    """Return the part of a line within the image, its x coordinate, and its anchor.

    Pillow draws a whole line before it pastes it into the image, and fails where the line is too large.
    """
    anchor = "lmr"[placement.column]
    width = length(line)
    if width <= placement.width:
        return line, placement.x, anchor
    left = placement.x - width * placement.column / 2
    ends = range(len(line) + 1)
    first = max(0, bisect_left(ends, -placement.em - left, key=lambda end: length(line[:end])) - 1)
    last = bisect_left(ends, placement.width + placement.em - left, key=lambda end: length(line[:end]))
    return line[first:last], left + length(line[:first]), "l"
