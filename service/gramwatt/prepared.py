"""Recordings made good, and what every request about them needs, computed once for each recording."""

import functools
from collections.abc import Iterator
from typing import Final, NamedTuple
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from gramwatt.declare import Array, Recording, Recordings
from gramwatt.physics import recording as rec
from gramwatt.physics.loaded_pack import Groups, grouped

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
    """Powers as recorded by a current sensor that is off by an offset [W]."""

    percentiles: Array
    """Greatest, median and 95th percentile (3,)."""
    of_bursts: Array
    """Greatest in each punch-out (P,)."""


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
        self._powers: dict[float, Powers] = {}

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
    def bursts(self) -> rec.PunchOuts:
        """Its punch-outs."""
        return rec.punch_outs(self.course, self.weights)

    @functools.cached_property
    def groups(self) -> Groups | None:
        """What the pack's resistance is found from."""
        return grouped(self.course, self.weights)

    @functools.cached_property
    def extremes(self) -> Extremes:
        """Lowest voltages, and the throttle."""
        time, voltage, throttle = self.course.time, self.course.voltage, self.course.throttle
        lowest = int(np.nanargmin(voltage)) if np.isfinite(voltage).any() else -1
        flies = np.isfinite(throttle).any()
        return Extremes(
            float(voltage[lowest]) if lowest >= 0 else np.nan,
            float(time[lowest] - time[0]) if lowest >= 0 else np.nan,
            float(np.fmin.reduce(self.course.cell_voltage, initial=np.nan)),
            float(np.nansum(self.weights * throttle) / self.sums.duration) if flies else np.nan,
            float(np.fmax.reduce(throttle, initial=np.nan)),
        )

    @functools.cached_property
    def currents(self) -> Array:
        """Greatest, median and 95th percentile of the current (3,), as recorded."""
        return self._percentiles(self.course.current)

    def powers(self, offset: float) -> Powers:
        """What a current sensor that is off by an offset [A] has of power, kept for each offset."""
        if offset not in self._powers:
            power = self.course.voltage * (self.course.current - offset)
            bounds = np.column_stack((self.bursts.first, self.bursts.last + 1)).ravel()
            by_burst = np.fmax.reduceat(np.append(power, np.nan), bounds)[::2]  # between bursts stands every other one
            self._powers[offset] = Powers(self._percentiles(power), by_burst)
        return self._powers[offset]

    def _percentiles(self, values: Array) -> Array:
        if not len(values) or not np.isfinite(values).all():
            return np.full(1 + len(SHARES), np.nan)
        percentiles = rec.percentiles(rec.thinned(values), rec.thinned(self.weights), np.array(SHARES))
        return np.concatenate(([values.max()], percentiles))


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
    log: Recordings, longest_gap: Array, begin: Array, end: Array
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
