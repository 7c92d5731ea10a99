"""Turn the values at each frame into captions: text from one frame to another."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import repeat
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gramwatt.arrays import Array
from gramwatt.captions.frames import Frames
from gramwatt.captions.smoothing import find_recorded, group_by_samples, prominence
from gramwatt.captions.template import TIMECODE, Placeholder, Template, format_field, round_to_last_place, to_last_place
from gramwatt.captions.timecode import format_timecodes

HYSTERESIS: Final = 0.7
"""A shown number stays until its value differs by more than this share of its last place.

It is more than a half, so that a value between two numbers does not flicker."""
_AVERAGED: Final = ("voltage", "cell_voltage", "current", "power", "throttle")
_MAXIMA: Final = ("peak_current", "peak_power")


class Cue(NamedTuple):
    """A caption, shown from ``first_frame`` until before ``end_frame``."""

    first_frame: int
    end_frame: int
    text: str
    """Lines are separated by line feeds."""
    start: Fraction
    """Exact time in the video [s]."""
    end: Fraction
    """Exact time in the video [s]."""


def make_captions(
    frames: Frames, template: Template, *, rate: Fraction, changes: float
) -> Iterator[tuple[int, int, str]]:
    """Yield the first frame, the frame after the last, and the text of each caption. Equal neighbours are merged.

    Numbers change at most ``changes`` times a second, to within a frame. Frames are grouped by flight time, so that a
    clock ticks evenly. A group shows the averages of `average_blocks`, totals at its first frame, and the highest peak.
    A number stays until its value differs from it by more than `HYSTERESIS`.
    """
    if not len(frames.number):
        return
    starts = _find_block_starts(frames, changes)
    names = {field.name for field in template.placeholders}
    means = average_blocks({name: getattr(frames, name) for name in _AVERAGED if name in names}, starts)
    columns = [
        repeat(part) if isinstance(part, str) else _format_blocks(frames, part, starts, rate, means)
        for part in template.parts
    ]
    first = start = int(frames.number[0])
    shown = None
    for number, parts in zip((starts + first).tolist(), zip(*columns, strict=False), strict=False):
        text = "".join(parts)
        if shown is not None and text != shown:
            yield start, number, shown
            start = number
        shown = text
    if shown is not None:
        yield start, first + len(frames.number), shown


def _find_block_starts(frames: Frames, changes: float) -> NDArray[np.intp]:
    """Return the index of each group's first frame (B,)."""
    block = np.floor(frames.instant * changes + 1e-6)
    return np.concatenate(([0], np.flatnonzero(np.diff(block)) + 1))


def _format_blocks(
    frames: Frames, field: Placeholder, starts: NDArray[np.intp], rate: Fraction, means: dict[str, Array]
) -> Iterator[str]:
    """Yield the text of one field for each group."""
    if field.name == TIMECODE:
        yield from format_timecodes(frames.number[starts], rate)
        return
    values: Array = getattr(frames, field.name)
    if field.name in means:
        blocks = means[field.name]
    elif field.name in _MAXIMA:
        blocks = np.fmax.reduceat(values, starts)
    else:
        blocks = values[starts]
    shown: int | None = None
    text = format_field(field, None)
    for value in blocks.tolist():
        number = round_to_last_place(field, value)
        if number is not None and shown is not None and field.name != "flight_time":
            number = shown if abs(to_last_place(field, value) - shown) <= HYSTERESIS else number
        if number != shown:
            shown, text = number, format_field(field, number)
        yield text


def average_blocks(channels: dict[str, Array], starts: NDArray[np.intp]) -> dict[str, Array]:
    """Return the means (B,) of channels (F,) by group of frames; nan where a group has no values.

    Where a frame stands out from the mean of its group in any channel, all channels show the one that stands out most:
    a peak of current and the sag of voltage with it belong to one instant.
    """
    if not channels:
        return {}
    stacked = np.array(list(channels.values()))
    count = stacked.shape[1]
    block = np.repeat(np.arange(len(starts)), np.diff(np.append(starts, count)))
    means = np.full((len(stacked), len(starts)), np.nan)
    prominences = np.zeros(count)
    for rows in group_by_samples(stacked):
        values = stacked[rows]
        known = find_recorded(values)
        counts = np.add.reduceat(known.astype(np.intp), starts)
        base = values[:, known.argmax(), None]
        sums = np.add.reduceat(np.where(known, values - base, 0.0), starts, axis=1)
        block_means = base + np.divide(sums, counts, out=np.full(sums.shape, np.nan), where=counts > 0)
        means[rows] = block_means
        in_rows = np.fmax.reduce(prominence(values - block_means[:, block], values), axis=0)
        prominences = np.fmax(prominences, in_rows)
    peaks = np.flatnonzero(prominences > 1)
    peaks = peaks[np.argsort(prominences[peaks], kind="stable")]  # the highest comes last and overwrites the others
    channel, peak = np.nonzero(np.isfinite(stacked[:, peaks]))
    means[channel, block[peaks[peak]]] = stacked[channel, peaks[peak]]
    return dict(zip(channels, means, strict=True))
