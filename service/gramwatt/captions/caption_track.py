"""Compute the frames of a video with their time codes, and the captions over them, from a recording."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gramwatt.arrays import Array, StringArray
from gramwatt.captions.cues import Cue, make_captions
from gramwatt.captions.frames import Frames, sample_frames
from gramwatt.captions.template import compile_template
from gramwatt.captions.timecode import format_timecodes, parse_rate
from gramwatt.physics.recording import CleanRecording


class CaptionTrack(NamedTuple):
    """F frames and the captions over them: each caption's text, and how many frames it lasts."""

    frames: Frames
    times: Array
    """When each frame is shown (F,) [s]."""
    timecodes: list[str]
    texts: tuple[str, ...]
    lengths: NDArray[np.intp]


_EMPTY: Final = np.zeros(0)
EMPTY_TRACK: Final = CaptionTrack(
    Frames(np.zeros(0, np.int64), *[_EMPTY] * (len(Frames._fields) - 1)), _EMPTY, [], (), np.zeros(0, dtype=np.intp)
)
"""A track without frames."""


def parse_rate_or_none(text: str) -> Fraction | None:
    """Return a frame rate, or None where the text is none."""
    try:
        return parse_rate(text)
    except ValueError:
        return None


def make_caption_track(
    recording: CleanRecording,
    *,
    frame_rate: str,
    template: str,
    changes: float,
    **options: float,
) -> CaptionTrack | None:
    """Return the caption track of a recording, or None where the rate is invalid or there are too many frames.

    ``options`` are those of `frames.sample_frames`; ``changes`` is that of `cues.make_captions`.
    """
    rate = parse_rate_or_none(frame_rate)
    if rate is None:
        return None
    try:
        frames = sample_frames(recording, rate=rate, **options)
    except ValueError:
        return None
    captions = list(make_captions(frames, compile_template(template), rate=rate, changes=changes))
    return CaptionTrack(
        frames,
        frames.number * rate.denominator / rate.numerator,
        format_timecodes(frames.number, rate),
        tuple(text for _, _, text in captions),
        np.array([end - first for first, end, _ in captions], dtype=np.intp),
    )


def rebuild_cues(numbers: NDArray[np.int64], captions: Array, texts: StringArray, rate: Fraction) -> Iterator[Cue]:
    """Yield the cues of frames (F,), from the number of each frame's caption (F,) and its text (F,)."""
    if not len(numbers):
        return
    starts = np.concatenate(([0], np.flatnonzero(np.diff(captions)) + 1)).tolist()
    for start, stop in zip(starts, [*starts[1:], len(numbers)], strict=True):
        first, end = int(numbers[start]), int(numbers[0]) + stop
        yield Cue(first, end, str(texts[start]), Fraction(first) / rate, Fraction(end) / rate)
