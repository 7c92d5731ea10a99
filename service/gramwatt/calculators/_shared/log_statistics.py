"""Recordings made good, and what every request about them needs, computed once for each recording."""

import functools
from collections.abc import Iterator
from typing import Final, NamedTuple
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from gramwatt.model import Array, Recording, RecordingArray
from gramwatt.physics import recording as rec
from gramwatt.physics.loaded_pack import Groups, grouped
from gramwatt.physics.punch_outs import PunchOuts, punch_outs

SHARES: Final = (0.5, 0.95)


class Extremes(NamedTuple):
    """What holds under any correction of the current sensor; nan where the channel lacks."""

    lowest_voltage: float
    """As recorded [V]."""
    lowest_at: float
    """When that was, from the first sample [s]."""
    lowest_cell_voltage: float
    """[V]"""
    mean_throttle: float
    peak_throttle: float


class Powers(NamedTuple):
    """Powers as recorded by a current sensor that is off by N offsets [W]."""

    percentiles: Array
    """Greatest, median and 95th percentile (N, 3)."""
    of_bursts: Array
    """Greatest in each punch-out (N, P)."""


LARGEST_BLOCK: Final = 1_000_000
"""Powers computed at a time, over all offsets."""


class Prepared:
    """A recording made good, and what every question of it needs, worked out once."""

    def __init__(self, recording: Recording, longest_gap: float, begin: float, end: float) -> None:
        told = recording.samples
        self.cleaned = rec.clean(
            told.time,
            told.voltage,
            told.current,
            told.throttle,
            told.cell_voltage,
            longest_gap=longest_gap,
            begin=begin,
            end=end,
        )
        self.course = self.cleaned.course

    @functools.cached_property
    def weights(self) -> Array:
        """Seconds that each sample stands for."""
        return rec.weights(self.course)

    @functools.cached_property
    def sums(self) -> rec.Sums:
        """Integrals over the course."""
        return rec.integrals(self.course, self.weights)

    @functools.cached_property
    def running(self) -> tuple[Array, Array]:
        """Charge as recorded and seconds that count, up to each sample."""
        return rec.cumulative(self.course, self.course.current), rec.cumulative(self.course, np.ones_like(self.weights))

    @functools.cached_property
    def bursts(self) -> PunchOuts:
        """Its punch-outs."""
        return punch_outs(self.course, self.weights)

    @functools.cached_property
    def groups(self) -> Groups | None:
        """What the pack's resistance is found from."""
        return grouped(self.course, self.weights)

    @functools.cached_property
    def extremes(self) -> Extremes:
        """Lowest voltages, and the throttle."""
        time, voltage, throttle = self.course.time, self.course.voltage, self.course.throttle
        lowest = float(np.fmin.reduce(voltage, initial=np.nan))
        at = int((voltage == lowest).argmax()) if lowest >= 0 else -1
        flies = np.isfinite(throttle).any()
        return Extremes(
            lowest,
            float(time[at] - time[0]) if at >= 0 else np.nan,
            float(np.fmin.reduce(self.course.cell_voltage, initial=np.nan)),
            float(np.nansum(self.weights * throttle) / self.sums.duration) if flies else np.nan,
            float(np.fmax.reduce(throttle, initial=np.nan)),
        )

    @functools.cached_property
    def currents(self) -> Array:
        """Greatest, median and 95th percentile of the current (3,), as recorded."""
        return self._percentiles(self.course.current)

    def powers(self, offsets: Array) -> Powers:
        """What a current sensor that is off by offsets (N,) [A] has of power."""
        distinct, which = np.unique(offsets, return_inverse=True)
        bounds = np.column_stack((self.bursts.first, self.bursts.last + 1)).ravel()
        size = max(1, LARGEST_BLOCK // max(1, len(self.course.time)))
        blocks = []
        for begin in range(0, len(distinct), size):
            power = self.course.voltage * (self.course.current - distinct[begin : begin + size, None])
            ended = np.append(power, np.full((len(power), 1), np.nan), axis=1)  # a burst may last to the end
            blocks.append((self._percentiles(power), np.fmax.reduceat(ended, bounds, axis=1)[:, ::2]))
        return Powers(*(np.concatenate(parts)[which] for parts in zip(*blocks, strict=True)))

    def _percentiles(self, values: Array) -> Array:
        """Greatest, median and 95th percentile (..., 3) of channels (..., K); nan where one is not recorded."""
        percentiles = rec.percentiles(rec.thinned(values), rec.thinned(self.weights), np.array(SHARES))
        greatest = values.max(axis=-1, keepdims=True, initial=-np.inf)
        return np.concatenate((np.where(np.isfinite(greatest), greatest, np.nan), percentiles), axis=-1)


_PREPARED: Final[WeakKeyDictionary[Recording, dict[bytes, Prepared]]] = WeakKeyDictionary()
"""Of recordings that are in use: the formula is called again to carry uncertainty."""


def prepared(recording: Recording, left_out: Array) -> Prepared:
    """A recording made good, worked out once for each recording and what is left out of it: the longest gap, begin and
    end (3,) [s], see `recording.clean`."""
    known = _PREPARED.setdefault(recording, {})
    key = left_out.tobytes()
    if key not in known:
        known[key] = Prepared(recording, *left_out.tolist())
    return known[key]


def groups(
    log: RecordingArray, longest_gap: Array, begin: Array, end: Array
) -> Iterator[tuple[NDArray[np.intp], Recording, Prepared]]:
    """Each recording with the rows (indices) that share it and what is left out of it; rows without one are not among
    them."""
    left_out = np.column_stack((longest_gap, begin, end))
    shared: dict[tuple[int, bytes], list[int]] = {}
    for row, recording in enumerate(log):
        if isinstance(recording, Recording):
            shared.setdefault((id(recording), left_out[row].tobytes()), []).append(row)
    for rows in shared.values():
        yield np.array(rows), log[rows[0]], prepared(log[rows[0]], left_out[rows[0]])
