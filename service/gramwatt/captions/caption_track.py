"""Everything that a recording becomes on a video at once: frames, their time codes, and the captions over them."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gramwatt.arrays import Array, StringArray
from gramwatt.captions.cues import Cue, captions
from gramwatt.captions.frames import Frames, frames
from gramwatt.captions.template import compile_template
from gramwatt.captions.timecode import exact_rate, labels
from gramwatt.physics.recording import CleanRecording


class CaptionTrack(NamedTuple):
    """F frames and the captions over them, each caption's text and for how many frames it stays."""

    frames: Frames
    times: Array
    """(F,) when each frame is shown [s]."""
    timecodes: list[str]
    texts: tuple[str, ...]
    lengths: NDArray[np.intp]


_EMPTY: Final = np.zeros(0)
NOTHING: Final = CaptionTrack(
    Frames(np.zeros(0, np.int64), *[_EMPTY] * (len(Frames._fields) - 1)), _EMPTY, [], (), np.zeros(0, dtype=np.intp)
)
"""No frame at all."""


def rate_or_none(text: str) -> Fraction | None:
    """The frame rate, None where it is none that there is."""
    try:
        return exact_rate(text)
    except ValueError:
        return None


def make_caption_track(
    course: CleanRecording,
    *,
    frame_rate: str,
    template: str,
    changes: float,
    **figures: float,
) -> CaptionTrack | None:
    """A course on the frames of a video; see `frames.frames` (``figures`` are the rest of what it takes) and
    `cues.cues`. None where there is no such rate, or there are more frames than can be told."""
    rate = rate_or_none(frame_rate)
    if rate is None:
        return None
    try:
        found = frames(course, rate=rate, **figures)
    except ValueError:
        return None
    told = list(captions(found, compile_template(template), rate=rate, changes=changes))
    return CaptionTrack(
        found,
        found.number * rate.denominator / rate.numerator,
        labels(found.number, rate),
        tuple(text for _, _, text in told),
        np.array([end - first for first, end, _ in told], dtype=np.intp),
    )


def cues_again(number: NDArray[np.int64], which: Array, texts: StringArray, rate: Fraction) -> Iterator[Cue]:
    """The captions of frames by number (F,), each marked with its caption (F,) and its text (F,)."""
    if not len(number):
        return
    begins = np.concatenate(([0], np.flatnonzero(np.diff(which)) + 1)).tolist()
    for begin, after in zip(begins, [*begins[1:], len(number)], strict=True):
        first, end = int(number[begin]), int(number[0]) + after
        yield Cue(first, end, str(texts[begin]), Fraction(first) / rate, Fraction(end) / rate)
