"""Reduce draws of results to standard deviations, percentiles and the share of each source (JCGM 101:2008, 7)."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

COVERAGE: Final = (0.025, 0.975)
"""The percentiles that are the ends of a range: 95 % of the draws lie between."""
MIN_SHARE: Final = 0.005
"""Smaller shares, of few sources, are noise of the design, and are left out."""
MIN_RESULTS: Final = 20
"""Draws with a result below which a response has no range of it."""
_ROUNDING: Final = 1e-12
"""Relative differences below this are rounding, not spread."""


class Reduced(NamedTuple):
    """Draws of K results in R columns, reduced; arrays (K, R)."""

    standard: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    no_result: NDArray[np.float64]
    weights: NDArray[np.float64]
    """How each result follows the deviates of each source, (K, S, R): its covariance with them."""


def reduce_draws(given: NDArray[np.float64], drawn: NDArray[np.float64], scores: NDArray[np.float64]) -> Reduced:
    """Reduce the draws (K, n, R) of results that are ``given`` (K, R) for the inputs as given.

    Draws without a result are left out. ``scores`` (S, n) are the deviates of the sources.
    """
    count = drawn.shape[1]
    is_known = np.isfinite(drawn)
    if is_known.all():
        numbers = np.full(given.shape, count)
        deviations = drawn - drawn.mean(axis=1, keepdims=True)
    else:
        numbers = is_known.sum(axis=1)
        drawn = np.where(is_known, drawn, np.nan)
        mean = np.where(is_known, drawn, 0.0).sum(axis=1) / np.maximum(numbers, 1)
        deviations = np.where(is_known, drawn - mean[:, None], 0.0)
    standard = np.sqrt((deviations**2).sum(axis=1) / np.where(numbers >= MIN_RESULTS, numbers, np.nan))
    is_exact = standard <= _ROUNDING * np.abs(given)
    deviations = np.where(is_exact[:, None], 0.0, deviations)
    weights = np.matmul(scores, deviations) / count
    ordered = np.sort(drawn, axis=1)  # nan last
    few = numbers < MIN_RESULTS
    low, high = (np.where(few, np.nan, _pick(ordered, numbers, share * numbers)) for share in COVERAGE)
    # Without any spread the range is the value, to its last bit. A value at the end of what is possible, such as that
    # of an input at its bound, would be outside the range: it is one of its ends.
    return Reduced(
        np.where(is_exact, 0.0, standard),
        np.where(is_exact | (given < low), given, low),
        np.where(is_exact | (given > high), given, high),
        1 - numbers / count,
        weights,
    )


def _pick(ordered: NDArray[np.float64], numbers: NDArray[np.intp], ranks: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the values (K, R) below which ``ranks`` of the first ``numbers`` ordered draws (K, n, R) lie."""
    last = np.maximum(numbers - 1, 0)
    position = np.clip(ranks - 0.5, 0.0, last)
    left = position.astype(np.intp)
    if left.size and (numbers == ordered.shape[1]).all() and (left == left.flat[0]).all():
        at = int(left.flat[0])  # indexing is quicker, and nearly all results have all draws
        below, above = ordered[:, at], ordered[:, at + 1]
    else:
        right = np.minimum(left + 1, last)
        below, above = (np.take_along_axis(ordered, each[:, None], axis=1)[:, 0] for each in (left, right))
    return np.asarray(below + (above - below) * (position - left))


def attribute_variance(
    weights: NDArray[np.float64], label_of: NDArray[np.intp], labels: int, draws: int
) -> NDArray[np.float64]:
    """Return the share of each label (K, L, R) in the variance, from the weights of the sources (K, S, R).

    The squares of the weights, added up by label, over the sum of all. Shares that chance could give to sources without
    influence in so few draws, some 1 / draws, are left out.
    """
    by_label = weights**2
    if len(label_of) != labels:
        is_of = label_of == np.arange(labels)[:, None]
        by_label = np.matmul(is_of.astype(np.float64), by_label)
    shares = _normalize(by_label)
    smallest = min(max(MIN_SHARE, 4 / draws), 0.5 / max(labels, 1))
    return _normalize(np.where(shares < smallest, 0.0, shares))


def _normalize(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return values (K, L, R) over their sum along L; zeros where that is 0."""
    total = values.sum(axis=1, keepdims=True)
    return np.asarray(values / np.where(total > 0, total, 1.0))
