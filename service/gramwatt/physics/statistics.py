"""Normal probabilities, Student's t, the uncertainty of a digital reading, and weighted percentiles."""

import math
from typing import Final

import numpy as np

from gramwatt.arrays import Array

FAR_DEVIATION: Final = 27.3
"""Beyond it erfc is 0 or 2 to the last bit."""


def normal_probability(deviations: Array) -> Array:
    """Compute the probability that a normal variable is below its mean plus ``deviations`` standard deviations.

    Parameters
    ----------
    deviations : any shape
        Standard deviations from the mean.
    """
    scaled = (deviations / math.sqrt(2)).ravel()
    probabilities = np.where(scaled > 0, 1.0, 0.0)
    far = np.abs(scaled) > FAR_DEVIATION
    near = np.flatnonzero(~far)  # nan too
    probabilities[near] = [math.erfc(-each) / 2 for each in scaled[near].tolist()]
    return probabilities.reshape(deviations.shape)


_DEVIATES: Final = np.linspace(-8.0, 8.0, 4001)
_PROBABILITIES: Final = normal_probability(_DEVIATES)


def normal_cumulative(deviates: Array) -> Array:
    """Compute the normal distribution function (any shape), to 1e-6: interpolated between 4,001 points."""
    return np.interp(deviates, _DEVIATES, _PROBABILITIES)


def normal_quantile(probabilities: Array) -> Array:
    """Compute the inverse of `normal_cumulative` (any shape)."""
    return np.interp(probabilities, _PROBABILITIES, _DEVIATES)


NEWTON_STEPS: Final = 6


def student_t(deviations: Array, degrees: Array) -> Array:
    """Compute the value of Student's t that is as probable to be exceeded as a normal deviate.

    Parameters
    ----------
    deviations : any shape
        Normal deviates, -6 to 6: standard deviations from the mean.
    degrees : the same shape
        Degrees of freedom, whole numbers from 1.

    Returns
    -------
    the same shape
        t. Found by Newton's method in ln t and ln of the tail, from the approximation of Wallace (1959):
        ``z = (8 n + 1) / (8 n + 3) sqrt(n ln(1 + t^2 / n))``.

    References
    ----------
    Abramowitz and Stegun (1964), 26.7.3 and 26.7.4: the distribution function for whole degrees of freedom in closed
    form. Tests compare with SciPy.
    """
    found = np.zeros(np.broadcast_shapes(deviations.shape, degrees.shape))
    deviations, degrees = np.broadcast_to(deviations, found.shape), np.broadcast_to(degrees, found.shape)
    for each in np.unique(degrees[deviations != 0]).tolist():
        chosen = (degrees == each) & (deviations != 0)
        found[chosen] = np.sign(deviations[chosen]) * _positive_student_t(np.abs(deviations[chosen]), int(each))
    return found


def _positive_student_t(deviations: Array, degrees: int) -> Array:
    tail = normal_probability(-deviations)
    t = np.sqrt(degrees * np.expm1((deviations * (8 * degrees + 3) / (8 * degrees + 1)) ** 2 / degrees))
    log_factor = math.lgamma((degrees + 1) / 2) - math.lgamma(degrees / 2) - math.log(degrees * math.pi) / 2
    for _ in range(NEWTON_STEPS):
        density = np.exp(log_factor - (degrees + 1) / 2 * np.log1p(t**2 / degrees))
        beyond = _student_tail(t, degrees)
        t = t * np.exp(beyond * np.log(beyond / tail) / (t * density))
    return np.asarray(t)


def _student_tail(t: Array, degrees: int) -> Array:
    """Return the probability that Student's t exceeds ``t`` (any shape), 0 or more."""
    cosine_squared = 1 / (1 + t**2 / degrees)
    series = np.zeros_like(t)
    for k in range((degrees - 1) // 2 if degrees % 2 else degrees // 2, 0, -1):  # Horner's scheme
        ratio = 2 * k / (2 * k + 1) if degrees % 2 else (2 * k - 1) / (2 * k)
        series = series * cosine_squared * ratio + 1
    sine = np.sqrt(1 - cosine_squared)
    if degrees % 2:
        return np.asarray(0.5 - (np.arctan(t / math.sqrt(degrees)) + sine * np.sqrt(cosine_squared) * series) / math.pi)
    return np.asarray((1 - sine * series) / 2)


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
