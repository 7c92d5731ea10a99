"""Smoothing that keeps what stands out, for figures that people read off a video.

A running mean alone would show a punch lower, and begun earlier, than it was. So where a sample departs from the mean
by more than noise would, the sample itself counts. Noise of standard deviation s reaches, among n samples, about
s sqrt(2 ln n): that is the limit, and at least 3 s. (3 s alone: of 1000 samples a second three stand out by chance,
and a caption that shows the crest of each of its blocks would show nothing but those.) The standard deviation is the
robust one, 1.4826 x the median absolute departure, which the punches themselves do not widen.

References
----------
J. S. Lee, Digital image smoothing and the sigma filter, 1983: averages only what lies within a few standard
deviations; here a sample outside is kept rather than left out of the mean.
D. L. Donoho, I. M. Johnstone, Ideal spatial adaptation by wavelet shrinkage, 1994: the limit sqrt(2 ln n).
Both from memory.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gramwatt.arrays import Array, BoolArray
from gramwatt.physics.recording import CleanRecording, cumulative

SIGMAS: Final = 3.0
"""Robust standard deviations below which nothing stands out, however few samples there are."""
_NORMAL: Final = 1.4826  # standard deviation of a normal variable over its median absolute deviation
_NOTHING: Final = 1e-9  # of the greatest value: departures as small are those of arithmetic
_ENOUGH: Final = 0.1  # share of the departures that must not be nothing, or the median is of all


def prominence(departures: Array, values: Array) -> Array:
    """How far departures (..., K) of channels (..., K) from a mean stand out: above 1 where noise would not reach.

    Stretches where nothing happens (a craft on the ground) say nothing of noise: departures of nothing are left out of
    the median if a tenth is something. Nan where there is no departure; all channels have them at the same samples.
    """
    sizes, known = np.abs(departures), recorded(departures)
    rows, level = (each.reshape(-1, len(known))[:, known] for each in (sizes, np.abs(values)))
    count = rows.shape[1]
    if not count:
        return sizes
    nothing = _NOTHING * level.max(axis=1)
    some = np.count_nonzero(rows > nothing[:, None], axis=1)
    usual = _NORMAL * _median_of_greatest(rows, np.where(some >= _ENOUGH * count, some, count))
    limit = np.maximum(max(SIGMAS, math.sqrt(2 * math.log(count))) * usual, nothing)
    found: Array = sizes / np.where(some > 0, limit, np.inf).reshape(*values.shape[:-1], 1)
    return found


def _median_of_greatest(rows: Array, counts: NDArray[np.intp]) -> Array:
    """Median (C,) of the greatest ``counts`` (C,) in each row (C, K)."""
    first = rows.shape[1] - counts
    low, high = first + np.maximum(counts - 1, 0) // 2, np.minimum(first + counts // 2, rows.shape[1] - 1)
    ordered = np.partition(rows, np.concatenate((low, high)), axis=1)
    at = np.arange(len(rows))
    return np.asarray((ordered[at, low] + ordered[at, high]) / 2)


def alike(channels: Array) -> list[list[int]]:
    """The channels (C, K) that are recorded at all, by position, those together that are at the same samples."""
    groups: dict[bytes, list[int]] = {}
    for row, known in enumerate(np.isfinite(channels)):
        if known.any():
            groups.setdefault(known.tobytes(), []).append(row)
    return list(groups.values())


def recorded(values: Array) -> BoolArray:
    """Samples (K,) at which channels (..., K) have a value: all of them at the same ones."""
    known: BoolArray = np.isfinite(values.reshape(-1, values.shape[-1])[0])
    return known


def linked(course: CleanRecording, values: Array) -> BoolArray:
    """Steps (K - 1,) over which channels (..., K) are known: those that count, with a value at both ends."""
    known = recorded(values)
    return course.counts & known[1:] & known[:-1]


def running(course: CleanRecording, values: Array) -> Array:
    """Running integrals of channels (..., K) from 0 over the steps where they are known; values by seconds."""
    return cumulative(course._replace(counts=linked(course, values)), np.where(recorded(values), values, 0.0))


def integral_at(
    course: CleanRecording, values: Array, integral: Array, step: NDArray[np.intp], seconds: Array
) -> Array:
    """Running integrals (..., F) at ``seconds`` (F,) after the samples ``step`` (F,), exactly those of straight lines.

    ``integral`` (..., K) is that of `running`; each ``step`` is one that counts, or ``seconds`` is 0.
    """
    after = np.minimum(step + 1, values.shape[-1] - 1)
    length = course.time[after] - course.time[step]
    start = values[..., step]
    rise = values[..., after] - start
    slope = np.divide(rise, length, out=np.zeros(rise.shape), where=length > 0)
    found: Array = integral[..., step] + seconds * (start + slope * seconds / 2)
    return found


def mean_around(course: CleanRecording, values: Array, window: float) -> Array:
    """Means of channels (..., K) over a window [s] around each sample, weighted by time: samples may lie unevenly.

    The window is symmetrical: near a gap or an end it is as narrow as the nearer side allows, so a ramp stays itself.
    """
    known, links = recorded(values), linked(course, values)
    if not links.any() or window <= 0:
        return values
    base = values[..., known.argmax(), None]
    level = np.where(known, values - base, 0.0)
    time = course.time - course.time[0]
    only = course._replace(time=time, counts=links)
    integral = cumulative(only, level)
    at = np.arange(len(time))
    begins = np.maximum.accumulate(np.where(np.concatenate(([True], ~links)), at, 0))
    ends = np.minimum.accumulate(np.where(np.concatenate((~links, [True])), at, at[-1])[::-1])[::-1]
    half = np.minimum(window / 2, np.minimum(time - time[begins], time[ends] - time))

    def up_to(edge: Array) -> Array:
        step = np.minimum(np.maximum(np.searchsorted(time, edge, "right") - 1, begins), ends)
        return integral_at(only, level, integral, step, np.maximum(edge - time[step], 0.0))

    rise = up_to(time + half) - up_to(time - half)
    mean = base + np.divide(rise, 2 * half, out=level, where=half > 0)
    return np.where(known, mean, np.nan)


class Surroundings(NamedTuple):
    """Channels (..., K) against what is around each sample: the mean, and how far the sample stands out of it."""

    mean: Array
    prominence: Array


def surroundings(course: CleanRecording, values: Array, window: float) -> Surroundings:
    """`mean_around` over a window [s], and the `prominence` of each channel (..., K) above it."""
    mean = mean_around(course, values, window)
    return Surroundings(mean, prominence(values - mean, values))


def smooth(course: CleanRecording, values: Array, window: float, around: Surroundings | None = None) -> Array:
    """Channels (..., K) smoothed over a window [s]; 0 changes nothing.

    Samples that stand out stay themselves, and the windows of those beside them end there: a crest spreads no halo.
    ``around`` are the `surroundings` of that window where they are at hand.
    """
    if window <= 0:
        return values
    mean, standing = around or surroundings(course, values, window)
    smoothed = mean.reshape(-1, values.shape[-1]).copy()
    rows, crests = values.reshape(smoothed.shape), standing.reshape(smoothed.shape) > 1
    for row in np.flatnonzero(crests.any(axis=1)).tolist():
        apart = course._replace(counts=course.counts & ~(crests[row, 1:] | crests[row, :-1]))
        smoothed[row] = np.where(crests[row], rows[row], mean_around(apart, rows[row], window))
    return smoothed.reshape(values.shape)
