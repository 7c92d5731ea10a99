"""Bursts of high current in a recorded flight."""

from typing import Annotated, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gramwatt.arrays import Array, Unit
from gramwatt.physics.recording import CleanRecording, percentiles, thinned, weights


class PunchOuts(NamedTuple):
    """Bursts of high current in order of time, arrays (P,). ``found`` counts those too that are left out."""

    first: NDArray[np.intp]
    last: NDArray[np.intp]
    """Positions of the first and the last sample in the burst."""
    start: Array
    """On the course's clock [s]."""
    length: Array
    """[s]"""
    peak_current: Array
    """As recorded [A]."""
    voltage_before: Array
    """Mean over the second before, or of the sample before [V]."""
    lowest_voltage: Array
    """[V]"""
    found: int


HIGH: Final = 0.6
LOW: Final = 0.4
"""Of the way from the usual (median) current to the crest (its 99.5th percentile): a burst begins above the one and
ends below the other."""
STANDS_OUT: Final = 6.0
"""Robust standard deviations of steady flying that the crest is above it at least; a judgement, as are all here."""
MERGED: Final[Annotated[float, Unit("s")]] = 0.3
SHORTEST: Final[Annotated[float, Unit("s")]] = 0.2
BEFORE: Final[Annotated[float, Unit("s")]] = 1.0
MOST_PUNCHES: Final = 200


def punch_outs(course: CleanRecording, w: Array | None = None) -> PunchOuts:
    """The bursts of high current in a course; they do not depend on the sensor's scale and offset.

    A burst begins where the current rises above 60 % of the way from its median to its 99.5th percentile (both by
    time, of more than 100,000 samples from as many evenly picked), and ends where it falls below 40 %. Bursts less than
    0.3 s apart are one, those shorter than 0.2 s (from the first sample to the one after the last) are none. There are
    none where that crest is no further above the median than six robust standard deviations (1.4826 times the median
    of the departures from the median), as in steady flying. The 200 of the greatest current are told.
    """
    current = course.current
    nothing, nowhere = np.zeros(0), np.zeros(0, dtype=np.intp)
    none = PunchOuts(nowhere, nowhere, nothing, nothing, nothing, nothing, nothing, 0)
    if len(current) < 3 or not np.isfinite(current).all():
        return none
    few, fewer = thinned(current), thinned(weights(course) if w is None else w)
    usual, crest = percentiles(few, fewer, np.array([0.5, 0.995]))
    spread = 1.4826 * percentiles(np.abs(few - usual), fewer, np.array([0.5]))[0]
    size = float(np.abs(current).max())
    if not crest - usual > max(STANDS_OUT * spread, 1e-9 * size):
        return none
    high, low = (usual + share * (crest - usual) for share in (HIGH, LOW))
    side = (current >= high).view(np.int8) - (current < low).view(np.int8)
    # Stretches on one side of both thresholds or between them; in a burst, the last that was not between was above.
    begins = np.concatenate(([0], np.flatnonzero(side[1:] != side[:-1]) + 1))
    told = side[begins]
    last = np.maximum.accumulate(np.where(told != 0, np.arange(len(told)), 0))
    edges = np.diff(np.concatenate(([False], told[last] > 0, [False])).astype(np.int8))
    first = begins[np.flatnonzero(edges > 0)]
    end = np.append(begins, len(current))[np.flatnonzero(edges < 0)] - 1
    apart = course.time[first[1:]] - course.time[end[:-1]] > MERGED
    first, end = first[np.concatenate(([True], apart))], end[np.concatenate((apart, [True]))]
    after = np.minimum(end + 1, len(current) - 1)
    long = course.time[after] - course.time[first] >= SHORTEST
    first, end, after = first[long], end[long], after[long]
    if not len(first):
        return none
    found = len(first)
    peaks = np.array([current[a : b + 1].max() for a, b in zip(first.tolist(), end.tolist(), strict=True)])
    told = np.sort(np.argsort(-peaks, kind="stable")[:MOST_PUNCHES])
    first, end, after, peaks = first[told], end[told], after[told], peaks[told]
    before = np.minimum(np.searchsorted(course.time, course.time[first] - BEFORE), np.maximum(first - 1, 0))
    spans = list(zip(before.tolist(), first.tolist(), end.tolist(), strict=True))
    return PunchOuts(
        first,
        end,
        course.time[first],
        course.time[after] - course.time[first],
        peaks,
        np.array([course.voltage[b : max(a, b + 1)].mean() for b, a, _ in spans]),
        np.array([course.voltage[a : e + 1].min() for _, a, e in spans]),
        found,
    )
