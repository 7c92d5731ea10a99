"""From figures by frame to captions: what stands on the video from which frame to which."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import repeat
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gramwatt.arrays import Array
from gramwatt.captions.frames import Frames
from gramwatt.captions.smoothing import alike, prominence, recorded
from gramwatt.captions.template import TIMECODE, Slot, Template, figure, nearest, places
from gramwatt.captions.timecode import frame_time, labels

HOLD: Final = 0.7
"""A shown figure stays until its value is further from it than this share of its last place; more than a half, so one
at the border between two figures does not flicker."""
_AVERAGED: Final = ("voltage", "cell_voltage", "current", "power", "throttle")
_GREATEST: Final = ("peak_current", "peak_power")


class Cue(NamedTuple):
    """A caption: on the video from ``first_frame`` to before ``end_frame``."""

    first_frame: int
    end_frame: int
    text: str
    """With a line feed where a line ends."""
    start: Fraction
    """[s] into the video, exactly."""
    end: Fraction
    """[s] into the video, exactly."""


def cues(frames: Frames, template: Template, *, rate: Fraction, changes: float) -> Iterator[Cue]:
    """Captions without a gap between them over all frames, in order; see `captions`."""
    for first, end, text in captions(frames, template, rate=rate, changes=changes):
        yield Cue(first, end, text, frame_time(first, rate), frame_time(end, rate))


def captions(frames: Frames, template: Template, *, rate: Fraction, changes: float) -> Iterator[tuple[int, int, str]]:
    """First frame, frame after the last, and text of each caption in turn; neighbours of equal text are one.

    Figures change ``changes`` times a second at most, to within a frame: frames are taken together by the flight time
    they lie in, so that a clock ticks evenly. A block shows `block_means` of its frames, totals as at its first frame,
    the greatest peak. A figure stays until its value has left it by more than `HOLD`.
    """
    if not len(frames.number):
        return
    starts = _blocks(frames, changes)
    asked = {slot.name for slot in template.slots}
    means = block_means({name: getattr(frames, name) for name in _AVERAGED if name in asked}, starts)
    columns = [
        repeat(part) if isinstance(part, str) else _column(frames, part, starts, rate, means) for part in template.parts
    ]
    first = begun = int(frames.number[0])
    shown = None
    for number, parts in zip((starts + first).tolist(), zip(*columns, strict=False), strict=False):
        text = "".join(parts)
        if shown is not None and text != shown:
            yield begun, number, shown
            begun = number
        shown = text
    if shown is not None:
        yield begun, first + len(frames.number), shown


def _blocks(frames: Frames, changes: float) -> NDArray[np.intp]:
    """Where each block begins among the frames (B,)."""
    block = np.floor(frames.instant * changes + 1e-6)
    return np.concatenate(([0], np.flatnonzero(np.diff(block)) + 1))


def _column(
    frames: Frames, slot: Slot, starts: NDArray[np.intp], rate: Fraction, means: dict[str, Array]
) -> Iterator[str]:
    """The text of one field for each block."""
    if slot.name == TIMECODE:
        yield from labels(frames.number[starts], rate)
        return
    values: Array = getattr(frames, slot.name)
    if slot.name in means:
        blocks = means[slot.name]
    elif slot.name in _GREATEST:
        blocks = np.fmax.reduceat(values, starts)
    else:
        blocks = values[starts]
    shown: int | None = None
    text = figure(slot, None)
    for value in blocks.tolist():
        number = nearest(slot, value)
        if number is not None and shown is not None and slot.name != "time":
            number = shown if abs(places(slot, value) - shown) <= HOLD else number
        if number != shown:
            shown, text = number, figure(slot, number)
        yield text


def block_means(channels: dict[str, Array], starts: NDArray[np.intp]) -> dict[str, Array]:
    """Means (B,) of channels (F,) by block of frames; nan where a block has none.

    Where frames of a block stand out from its mean in any channel, all channels show the one that stands out most: a
    crest of current and the sag of voltage beside it are of one instant.
    """
    if not channels:
        return {}
    figures = np.array(list(channels.values()))
    count = figures.shape[1]
    block = np.repeat(np.arange(len(starts)), np.diff(np.append(starts, count)))
    means = np.full((len(figures), len(starts)), np.nan)
    most = np.zeros(count)
    for rows in alike(figures):
        values = figures[rows]
        known = recorded(values)
        many = np.add.reduceat(known.astype(np.intp), starts)
        base = values[:, known.argmax(), None]
        sums = np.add.reduceat(np.where(known, values - base, 0.0), starts, axis=1)
        found = base + np.divide(sums, many, out=np.full(sums.shape, np.nan), where=many > 0)
        means[rows] = found
        most = np.fmax(most, np.fmax.reduce(prominence(values - found[:, block], values), axis=0))
    out = np.flatnonzero(most > 1)
    out = out[np.argsort(most[out], kind="stable")]  # the greatest comes last and stays
    channel, crest = np.nonzero(np.isfinite(figures[:, out]))
    means[channel, block[out[crest]]] = figures[channel, out[crest]]
    return dict(zip(channels, means, strict=True))
