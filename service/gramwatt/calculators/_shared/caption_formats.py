"""Output formats of overlay captions: files of captions, and pictures of one instant.

All functions take the complete inputs and the results of one request (N = 1).
"""

import math
from collections.abc import Iterator
from fractions import Fraction
from typing import Any, Final

import numpy as np

from gramwatt.captions import image, subrip, substation, template, webvtt
from gramwatt.captions.caption_track import parse_rate_or_none, rebuild_cues
from gramwatt.captions.cues import Cue
from gramwatt.captions.placement import PLACES, Placement
from gramwatt.model import Array, OutputFormat
from gramwatt.physics import constants

NOTE: Final = "Figures recorded in flight, by Gramwatt's overlay-cues; sensors may be off by some per cent."


def _rate(given: Any) -> Fraction:
    return parse_rate_or_none(str(given.frame_rate[0])) or Fraction(1)


def _cues(given: Any, found: Any) -> Iterator[Cue]:
    number = found.frames.frame_number[0].astype(np.int64)
    return rebuild_cues(number, found.frames.caption_number[0], found.frames.text[0], _rate(given))


def _placement(given: Any) -> Placement:
    return Placement(
        int(given.video_width[0]),
        int(given.video_height[0]),
        PLACES[int(given.caption_position[0])],
        float(given.text_height_share[0]),
        float(given.safe_margin_share[0]),
    )


def as_webvtt(given: Any, found: Any) -> Iterator[bytes]:
    """Write the captions as WebVTT."""
    lines = webvtt.write_cues(_cues(given, found), rate=_rate(given), placement=_placement(given), note=NOTE)
    yield from (line.encode() for line in lines)


def as_subrip(given: Any, found: Any) -> Iterator[bytes]:
    """Write the captions as SubRip."""
    yield from (line.encode() for line in subrip.write_cues(_cues(given, found), rate=_rate(given)))


def as_substation(given: Any, found: Any) -> Iterator[bytes]:
    """Write the captions as Advanced SubStation."""
    lines = substation.write_cues(_cues(given, found), rate=_rate(given), placement=_placement(given), title=NOTE)
    yield from (line.encode() for line in lines)


def _text_at(given: Any, found: Any) -> str:
    """Return the caption at the requested instant; dashes where no frame is."""
    number = found.frames.frame_number[0]
    at = float(given.picture_time[0] / constants.SECOND)
    frame = math.floor(Fraction(at) * _rate(given) + Fraction(1, 1000)) - number[0] if at >= 0 and len(number) else 0
    if 0 <= frame < len(number):
        return str(found.frames.text[0, int(frame)])
    parts = template.compile_template(str(given.caption_template[0])).parts
    return "".join(part if isinstance(part, str) else template.format_field(part, None) for part in parts)


def as_svg(given: Any, found: Any) -> Iterator[bytes]:
    """Write a picture of one instant as SVG."""
    yield image.draw_svg(_text_at(given, found), _placement(given)).encode()


def as_png(given: Any, found: Any) -> Iterator[bytes]:
    """Write a picture of one instant as PNG."""
    yield image.draw_png(_text_at(given, found), _placement(given))


def _pixels(given: Any) -> Array:
    return np.asarray(given.video_width * given.video_height)


FORMATS: Final[tuple[OutputFormat[Any, Any], ...]] = (
    OutputFormat("vtt", "text/vtt", "WebVTT captions.", as_webvtt),
    OutputFormat("srt", "application/x-subrip", "SubRip captions, plain text.", as_subrip),
    OutputFormat("ass", "text/x-ssa", "Advanced SubStation captions, placed and outlined, to burn in.", as_substation),
    OutputFormat("svg", "image/svg+xml", "Transparent picture of one instant.", as_svg),
    OutputFormat("png", "image/png", "Transparent picture of one instant.", as_png, binary=True, pixels=_pixels),
)
