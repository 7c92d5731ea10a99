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
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gramwatt.declare import Array, Truths
from gramwatt.physics.recording import Course, cumulative

SIGMAS: Final = 3.0
"""Robust standard deviations below which nothing stands out, however few samples there are."""
_NORMAL: Final = 1.4826  # standard deviation of a normal variable over its median absolute deviation
_NOTHING: Final = 1e-9  # of the greatest value: departures as small are those of arithmetic
_ENOUGH: Final = 0.1  # share of the departures that must not be nothing, or the median is of all


def prominence(departures: Array, values: Array) -> Array:
    """How far departures (K,) of values (K,) from a mean stand out: above 1 where noise would not reach.

    Stretches where nothing happens (a craft on the ground) say nothing of noise: departures of nothing are left out of
    the median if a tenth is something. Nan where there is no departure.
    """
    sizes = np.abs(departures)
    known = sizes[np.isfinite(sizes)]
    nothing = _NOTHING * float(np.abs(values[np.isfinite(values)]).max(initial=0.0))
    some = known[known > nothing]
    if not len(some):
        return sizes * 0.0
    counted = some if len(some) >= _ENOUGH * len(known) else known
    limit = max(SIGMAS, math.sqrt(2 * math.log(len(known)))) * _NORMAL * float(np.median(counted))
    found: Array = sizes / max(limit, nothing)
    return found


def linked(course: Course, values: Array) -> Truths:
    """Steps (K - 1,) over which a channel (K,) can be told: those that count, with a value at both ends."""
    known = np.isfinite(values)
    return course.counts & known[1:] & known[:-1]


def running(course: Course, values: Array) -> Array:
    """Running integral (K,) of a channel (K,) from 0 over the steps where it can be told; values by seconds."""
    return cumulative(course._replace(counts=linked(course, values)), np.nan_to_num(values))


def integral_at(course: Course, values: Array, integral: Array, step: NDArray[np.intp], seconds: Array) -> Array:
    """The running integral (F,) at ``seconds`` (F,) after the samples ``step`` (F,), exactly that of straight lines.

    ``integral`` (K,) is that of `running`; each ``step`` is one that counts, or ``seconds`` is 0.
    """
    after = np.minimum(step + 1, len(values) - 1)
    length = course.time[after] - course.time[step]
    slope = np.divide(values[after] - values[step], length, out=np.zeros(len(step)), where=length > 0)
    found: Array = integral[step] + seconds * (values[step] + slope * seconds / 2)
    return found


def _integral(course: Course, values: Array, integral: Array, at: Array, step: NDArray[np.intp]) -> Array:
    return integral_at(course, values, integral, step, np.maximum(at - course.time[step], 0.0))


def mean_around(course: Course, values: Array, window: float) -> Array:
    """Mean (K,) of a channel over a window [s] around each sample, weighted by time: samples may lie unevenly.

    The window is symmetrical: near a gap or an end it is as narrow as the nearer side allows, so a ramp stays itself.
    """
    links = linked(course, values)
    if len(values) < 2 or not links.any() or window <= 0:
        return values
    base = float(values[np.isfinite(values)][0])
    level = np.nan_to_num(values - base)
    only = course._replace(counts=links)
    integral = cumulative(only, level)
    at = np.arange(len(values))
    begins = np.maximum.accumulate(np.where(np.concatenate(([True], ~links)), at, 0))
    ends = np.minimum.accumulate(np.where(np.concatenate((~links, [True])), at, at[-1])[::-1])[::-1]
    time = course.time - course.time[0]
    half = np.minimum(window / 2, np.minimum(time - time[begins], time[ends] - time))
    here = only._replace(time=time)
    before, after = (
        _integral(here, level, integral, edge, np.clip(np.searchsorted(time, edge, "right") - 1, begins, ends))
        for edge in (time - half, time + half)
    )
    mean = base + np.divide(after - before, 2 * half, out=level.copy(), where=half > 0)
    return np.where(np.isfinite(values), mean, np.nan)


def smooth(course: Course, values: Array, window: float) -> Array:
    """A channel (K,) smoothed over a window [s]; 0 changes nothing.

    Samples that stand out stay themselves, and the windows of those beside them end there: a crest spreads no halo.
    """
    if window <= 0:
        return values
    out = prominence(values - mean_around(course, values, window), values) > 1
    apart = course._replace(counts=course.counts & ~(out[1:] | out[:-1]))
    return np.where(out, values, mean_around(apart, values, window))
