"""Smoothing that keeps peaks, for numbers that people read on a video.

A running mean alone would show a punch-out lower, and earlier, than it was. So where a sample deviates from the mean by
more than noise would, the sample itself is used. Among n samples, noise of standard deviation s reaches about
s sqrt(2 ln n): that is the limit, but at least 3 s. (With 3 s alone, three of 1000 samples a second would stand out by
chance, and captions that show the peak of each group would show only those.) The standard deviation is the robust one,
1.4826 x the median absolute deviation, which the punch-outs themselves do not widen.

The limit, derived: a normal deviate exceeds x > 0 with a probability of at most exp(-x^2/2) / (x sqrt(2 pi)). At
x = sqrt(2 ln n) that is 1 / (2 n sqrt(pi ln n)), so that of n samples fewer than 1 / sqrt(pi ln n) are expected beyond
it, on either side. The factor 1.4826 is one over the upper quartile of the normal distribution, as in
scipy.stats.median_abs_deviation.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gramwatt.arrays import Array, BoolArray
from gramwatt.physics.recording import CleanRecording, cumulative_integral

SIGMAS: Final = 3.0
"""Robust standard deviations below which nothing stands out, however few samples there are."""
_MAD_TO_SIGMA: Final = 1.4826  # standard deviation of a normal variable over its median absolute deviation
_NEGLIGIBLE: Final = 1e-9  # of the highest value: smaller deviations are rounding errors
_MIN_ACTIVE_SHARE: Final = 0.1  # share of the deviations that must not be negligible, or the median is of all


def prominence(deviations: Array, values: Array) -> Array:
    """Return how far deviations (..., K) of channels (..., K) from a mean stand out.

    Above 1 where noise does not reach.

    Samples where nothing happens (a craft on the ground) do not show the noise: negligible deviations are left out of
    the median if a tenth is not negligible. Nan where there is no deviation; all channels have them at the same
    samples.
    """
    sizes, known = np.abs(deviations), find_recorded(deviations)
    rows, level = (each.reshape(-1, len(known))[:, known] for each in (sizes, np.abs(values)))
    count = rows.shape[1]
    if not count:
        return sizes
    nothing = _NEGLIGIBLE * level.max(axis=1)
    some = np.count_nonzero(rows > nothing[:, None], axis=1)
    usual = _MAD_TO_SIGMA * _median_of_largest(rows, np.where(some >= _MIN_ACTIVE_SHARE * count, some, count))
    limit = np.maximum(max(SIGMAS, math.sqrt(2 * math.log(count))) * usual, nothing)
    found: Array = sizes / np.where(some > 0, limit, np.inf).reshape(*values.shape[:-1], 1)
    return found


def _median_of_largest(rows: Array, counts: NDArray[np.intp]) -> Array:
    """Return the median (C,) of the largest ``counts`` (C,) in each row (C, K)."""
    first = rows.shape[1] - counts
    low, high = first + np.maximum(counts - 1, 0) // 2, np.minimum(first + counts // 2, rows.shape[1] - 1)
    ordered = np.partition(rows, np.concatenate((low, high)), axis=1)
    at = np.arange(len(rows))
    return np.asarray((ordered[at, low] + ordered[at, high]) / 2)


def group_by_samples(channels: Array) -> list[list[int]]:
    """Return groups of channels (C, K), by position, that have values at the same samples; without empty channels."""
    groups: dict[bytes, list[int]] = {}
    for row, known in enumerate(np.isfinite(channels)):
        if known.any():
            groups.setdefault(known.tobytes(), []).append(row)
    return list(groups.values())


def find_recorded(values: Array) -> BoolArray:
    """Return the samples (K,) at which channels (..., K) have a value: the same ones for all."""
    known: BoolArray = np.isfinite(values.reshape(-1, values.shape[-1])[0])
    return known


def find_known_steps(recording: CleanRecording, values: Array) -> BoolArray:
    """Return the steps (K - 1,) over which channels (..., K) are known: they count and have values at both ends."""
    known = find_recorded(values)
    return recording.counts & known[1:] & known[:-1]


def running_integral(recording: CleanRecording, values: Array) -> Array:
    """Return running integrals of channels (..., K) over the steps where they are known, from 0 [value x s]."""
    return cumulative_integral(
        recording._replace(counts=find_known_steps(recording, values)), np.where(find_recorded(values), values, 0.0)
    )


def integrate_to(
    recording: CleanRecording, values: Array, integral: Array, step: NDArray[np.intp], seconds: Array
) -> Array:
    """Return running integrals (..., F) at ``seconds`` (F,) after the samples ``step`` (F,), exact for straight lines.

    ``integral`` (..., K) comes from `running_integral`; each ``step`` is one that counts, or ``seconds`` is 0.
    """
    after = np.minimum(step + 1, values.shape[-1] - 1)
    length = recording.time[after] - recording.time[step]
    start = values[..., step]
    rise = values[..., after] - start
    slope = np.divide(rise, length, out=np.zeros(rise.shape), where=length > 0)
    found: Array = integral[..., step] + seconds * (start + slope * seconds / 2)
    return found


def moving_mean(recording: CleanRecording, values: Array, window: float) -> Array:
    """Return means of channels (..., K) over a window [s] around each sample, weighted by time.

    The window is symmetrical: near a gap or an end it is as narrow as the nearer side allows, so a ramp is unchanged.
    """
    known, links = find_recorded(values), find_known_steps(recording, values)
    if not links.any() or window <= 0:
        return values
    base = values[..., known.argmax(), None]
    level = np.where(known, values - base, 0.0)
    time = recording.time - recording.time[0]
    only = recording._replace(time=time, counts=links)
    integral = cumulative_integral(only, level)
    at = np.arange(len(time))
    begins = np.maximum.accumulate(np.where(np.concatenate(([True], ~links)), at, 0))
    ends = np.minimum.accumulate(np.where(np.concatenate((~links, [True])), at, at[-1])[::-1])[::-1]
    half = np.minimum(window / 2, np.minimum(time - time[begins], time[ends] - time))

    def up_to(edge: Array) -> Array:
        step = np.minimum(np.maximum(np.searchsorted(time, edge, "right") - 1, begins), ends)
        return integrate_to(only, level, integral, step, np.maximum(edge - time[step], 0.0))

    rise = up_to(time + half) - up_to(time - half)
    mean = base + np.divide(rise, 2 * half, out=level, where=half > 0)
    return np.where(known, mean, np.nan)


class Surroundings(NamedTuple):
    """The moving mean around each sample of channels (..., K), and how far the sample stands out from it."""

    mean: Array
    prominence: Array


def surroundings(recording: CleanRecording, values: Array, window: float) -> Surroundings:
    """Return the `moving_mean` over a window [s], and the `prominence` of channels (..., K) against it."""
    mean = moving_mean(recording, values, window)
    return Surroundings(mean, prominence(values - mean, values))


def smooth(recording: CleanRecording, values: Array, window: float, around: Surroundings | None = None) -> Array:
    """Return channels (..., K) smoothed over a window [s]; 0 changes nothing.

    Samples that stand out stay, and the windows of their neighbours end there, so that a peak does not spread.
    ``around`` are the `surroundings` of that window, if they are known already.
    """
    if window <= 0:
        return values
    mean, prominences = around or surroundings(recording, values, window)
    smoothed = mean.reshape(-1, values.shape[-1]).copy()
    rows, peaks = values.reshape(smoothed.shape), prominences.reshape(smoothed.shape) > 1
    for row in np.flatnonzero(peaks.any(axis=1)).tolist():
        apart = recording._replace(counts=recording.counts & ~(peaks[row, 1:] | peaks[row, :-1]))
        smoothed[row] = np.where(peaks[row], rows[row], moving_mean(apart, rows[row], window))
    return smoothed.reshape(values.shape)
