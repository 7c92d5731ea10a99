"""Bursts of high current in a recorded flight."""

from typing import Annotated, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gramwatt.arrays import Array, Unit
from gramwatt.physics.recording import CleanRecording, sample_weights
from gramwatt.physics.statistics import percentiles, thin


class PunchOuts(NamedTuple):
    """Bursts of high current in order of time; arrays (P,)."""

    first: NDArray[np.intp]
    last: NDArray[np.intp]
    """Indices of the first and the last sample in the burst."""
    start: Array
    """Time of its first sample since the first usable one of the recording [s]."""
    length: Array
    """Duration [s]."""
    peak_current: Array
    """Maximum current as recorded [A]."""
    voltage_before: Array
    """Mean voltage over the second before, or the voltage of the sample before [V]."""
    lowest_voltage: Array
    """Minimum voltage [V]."""
    total: int
    """Number of bursts, including those over the maximum that are left out."""


START_SHARE: Final = 0.6
END_SHARE: Final = 0.4
"""Shares of the way from the median current to its 99.5th percentile: a burst begins above the first and ends below the
second."""
MIN_PROMINENCE: Final = 6.0
"""Minimum height of the 99.5th percentile above the median, in robust standard deviations. An estimate, like all
thresholds here."""
MAX_PAUSE: Final[Annotated[float, Unit("s")]] = 0.3
MIN_LENGTH: Final[Annotated[float, Unit("s")]] = 0.2
BASELINE_WINDOW: Final[Annotated[float, Unit("s")]] = 1.0
MAX_PUNCH_OUTS: Final = 200


def find_punch_outs(recording: CleanRecording, weights: Array | None = None) -> PunchOuts:
    """Find the bursts of high current in a recording; they do not depend on scale and offset of the sensor.

    Parameters
    ----------
    recording : CleanRecording
        K samples.
    weights : (K,), optional
        Its `sample_weights`, if they are already known.

    Returns
    -------
    PunchOuts
        The 200 with the highest current. A burst begins where the current rises above 60 % of the way from its median
        to its 99.5th percentile (both by time, of more than 100,000 samples from as many evenly picked), and ends where
        it falls below 40 %. Bursts less than 0.3 s apart are merged; those shorter than 0.2 s (from the first sample to
        the one after the last) are dropped. There are none where that percentile is at most six robust standard
        deviations (1.4826 times the median absolute deviation) above the median, as in steady flight.
    """
    current, time = recording.current, recording.time
    empty, no_samples = np.zeros(0), np.zeros(0, dtype=np.intp)
    none = PunchOuts(no_samples, no_samples, empty, empty, empty, empty, empty, 0)
    if len(current) < 3 or not np.isfinite(current).all():
        return none
    thresholds = _thresholds(current, sample_weights(recording) if weights is None else weights)
    if thresholds is None:
        return none
    first, end = _bursts(current, *thresholds)
    apart = time[first[1:]] - time[end[:-1]] > MAX_PAUSE
    first, end = first[np.concatenate(([True], apart))], end[np.concatenate((apart, [True]))]
    after = np.minimum(end + 1, len(current) - 1)
    long = time[after] - time[first] >= MIN_LENGTH
    first, end, after = first[long], end[long], after[long]
    if not len(first):
        return none
    total = len(first)
    peaks = np.array([current[a : b + 1].max() for a, b in zip(first.tolist(), end.tolist(), strict=True)])
    highest = np.sort(np.argsort(-peaks, kind="stable")[:MAX_PUNCH_OUTS])
    first, end, after, peaks = first[highest], end[highest], after[highest], peaks[highest]
    before = np.minimum(np.searchsorted(time, time[first] - BASELINE_WINDOW), np.maximum(first - 1, 0))
    spans = list(zip(before.tolist(), first.tolist(), end.tolist(), strict=True))
    return PunchOuts(
        first,
        end,
        time[first],
        time[after] - time[first],
        peaks,
        np.array([recording.voltage[b : max(a, b + 1)].mean() for b, a, _ in spans]),
        np.array([recording.voltage[a : e + 1].min() for _, a, e in spans]),
        total,
    )


def _thresholds(current: Array, weights: Array) -> tuple[float, float] | None:
    """Return the currents above which bursts begin and below which they end; None for a steady current."""
    picked, picked_weights = thin(current), thin(weights)
    median, crest = percentiles(picked, picked_weights, np.array([0.5, 0.995]))
    deviation = 1.4826 * percentiles(np.abs(picked - median), picked_weights, np.array([0.5]))[0]
    if not crest - median > max(MIN_PROMINENCE * deviation, 1e-9 * float(np.abs(current).max())):
        return None
    return median + START_SHARE * (crest - median), median + END_SHARE * (crest - median)


def _bursts(current: Array, high: float, low: float) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the indices of the first and the last sample of each burst."""
    side = (current >= high).view(np.int8) - (current < low).view(np.int8)
    # Runs above both thresholds, between or below; in a burst the latest run that was not between was above.
    begins = np.concatenate(([0], np.flatnonzero(side[1:] != side[:-1]) + 1))
    sides = side[begins]
    latest = np.maximum.accumulate(np.where(sides != 0, np.arange(len(sides)), 0))
    edges = np.diff(np.concatenate(([False], sides[latest] > 0, [False])).astype(np.int8))
    first = begins[np.flatnonzero(edges > 0)]
    return first, np.append(begins, len(current))[np.flatnonzero(edges < 0)] - 1
