"""Normal probabilities, the uncertainty of a digital reading, and weighted percentiles."""

import math
from typing import Final

import numpy as np

from gramwatt.arrays import Array


def normal_probability(deviations: Array) -> Array:
    """Compute the probability that a normal variable is below its mean plus ``deviations`` standard deviations.

    Parameters
    ----------
    deviations : any shape
        Standard deviations from the mean.
    """
    probabilities = [math.erfc(-each) / 2 for each in (deviations / math.sqrt(2)).ravel().tolist()]
    return np.array(probabilities).reshape(deviations.shape)


_DEVIATES: Final = np.linspace(-8.0, 8.0, 4001)
_PROBABILITIES: Final = normal_probability(_DEVIATES)


def normal_cumulative(deviates: Array) -> Array:
    """Compute the normal distribution function (any shape), to 1e-6: interpolated between 4,001 points."""
    return np.interp(deviates, _DEVIATES, _PROBABILITIES)


def normal_quantile(probabilities: Array) -> Array:
    """Compute the inverse of `normal_cumulative` (any shape)."""
    return np.interp(probabilities, _PROBABILITIES, _DEVIATES)


def reading_uncertainty(resolution: Array) -> Array:
    """Compute the standard uncertainty ``d / sqrt(12)`` of one reading of a digital display.

    Parameters
    ----------
    resolution : any shape
        Step d of the display, in any unit.

    References
    ----------
    JCGM 100:2008 (GUM), 4.3.7 and F.2.2.1: an even distribution of full width d has standard deviation d/sqrt(12).
    """
    return resolution / math.sqrt(12)


MAX_EXAMINED_SAMPLES: Final = 100_000
"""Number of samples from which percentiles, thresholds and the median step are computed."""


def thin(values: Array) -> Array:
    """Pick at most `MAX_EXAMINED_SAMPLES` of many values (..., K) evenly: for statistics that depend little on each."""
    return values[..., :: -(-values.shape[-1] // MAX_EXAMINED_SAMPLES) or 1]


_BINS: Final = 4096
"""Bins of equal width, of which one is sorted where there are more samples; any number gives the same percentiles."""


def percentiles(values: Array, weights: Array, shares: Array) -> Array:
    """Compute weighted percentiles: values that channels do not exceed for given shares of the time.

    Parameters
    ----------
    values : (..., K)
        Channels that are recorded at all samples or at none.
    weights : (K,)
        Time that each sample represents [s].
    shares : (P,)
        Shares of the total weight, 0 to 1.

    Returns
    -------
    (..., P)
        The smallest value whose weight, with that of all smaller ones, reaches the share; nan without any weight. This
        is the inverse of the weighted distribution function, without interpolation.
    """
    total = float(weights.sum())
    if not len(weights) or not total > 0 or not np.isfinite(values).all():
        return np.full((*values.shape[:-1], len(shares)), np.nan)
    rows, targets = values.reshape(-1, len(weights)), shares * total * (1 - 1e-12)
    if len(weights) <= _BINS:
        found = _percentiles_by_sorting(rows, weights, targets)
    else:
        found = np.array([_percentiles_by_bins(row, weights, targets) for row in rows])
    return found.reshape(*values.shape[:-1], len(shares))


def _percentiles_by_sorting(rows: Array, weights: Array, targets: Array) -> Array:
    """Find the smallest values (N, P) of rows (N, K) at which the cumulative weight reaches each target (P,)."""
    order = rows.argsort(axis=1)
    at = (np.cumsum(weights[order], axis=1)[:, None, :] < targets[:, None]).sum(axis=2)
    row = np.arange(len(rows))[:, None]
    return np.asarray(rows[row, order[row, np.minimum(at, len(weights) - 1)]])


def _percentiles_by_bins(values: Array, weights: Array, targets: Array) -> Array:
    """Find the same values (P,) of one long row (K,) and sort only the bin of each: sorting all takes much longer."""
    low, high = float(values.min()), float(values.max())
    if low == high:
        return np.full(len(targets), low)
    bins = ((values - low) * (_BINS / (high - low))).astype(np.int32)
    running = np.cumsum(np.bincount(bins, weights, minlength=_BINS + 1))
    found = np.empty(len(targets))
    for at, chosen in enumerate(np.minimum(np.searchsorted(running, targets), _BINS).tolist()):
        while running[chosen] <= 0 or not (inside := bins == chosen).any():
            chosen += 1
        below = running[chosen - 1] if chosen else 0.0
        found[at] = _percentiles_by_sorting(values[None, inside], weights[inside], targets[at : at + 1] - below)[0, 0]
    return found
