"""Probability and the uncertainty of a digital reading."""

import math

import numpy as np

from gramwatt.arrays import Array


def normal_probability(deviations: Array) -> Array:
    """Probability that a normal variable is below its mean plus ``deviations`` (any shape) standard deviations."""
    probabilities = [math.erfc(-each) / 2 for each in (deviations / math.sqrt(2)).ravel().tolist()]
    return np.array(probabilities).reshape(deviations.shape)


def reading_uncertainty(resolution: Array) -> Array:
    """Standard uncertainty of one reading of a digital display with steps of ``resolution``: ``d / sqrt(12)``.

    References
    ----------
    JCGM 100:2008 (GUM), 4.3.7 and F.2.2.1: an even distribution of full width d has standard deviation d/sqrt(12).
    """
    return resolution / math.sqrt(12)
