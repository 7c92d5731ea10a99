"""Probability and the uncertainty of a digital reading."""

import math

import numpy as np

from gramwatt.declare import Array


def normal_probability(deviations: Array) -> Array:
    """Probability (N,) that a normal variable is below its mean plus ``deviations`` (N,) standard deviations."""
    return np.fromiter((math.erfc(-z / math.sqrt(2)) / 2 for z in deviations), np.float64, len(deviations))


def reading_uncertainty(resolution: Array) -> Array:
    """Standard uncertainty of one reading of a digital display with steps of ``resolution``: ``d / sqrt(12)``.

    References
    ----------
    JCGM 100:2008 (GUM), 4.3.7 and F.2.2.1: an even distribution of full width d has standard deviation d/sqrt(12).
    """
    return resolution / math.sqrt(12)
