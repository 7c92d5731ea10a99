"""Cleaned recordings with their statistics, computed once for each recording."""

import functools
from collections.abc import Iterator
from typing import Final, NamedTuple
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from gramwatt.model import Array, Recording, RecordingArray
from gramwatt.physics import recording as rec
from gramwatt.physics.loaded_pack import SampleGroups, group_samples
from gramwatt.physics.punch_outs import PunchOuts, find_punch_outs
from gramwatt.physics.statistics import percentiles, thin

PERCENTILES: Final = np.array([0.5, 0.95])


class Extremes(NamedTuple):
    """Values that do not depend on corrections of the current sensor; nan where the channel is missing."""

    lowest_voltage: float
    """Minimum voltage as recorded [V]."""
    lowest_voltage_time: float
    """Its time from the first sample [s]."""
    highest_voltage: float
    """Maximum voltage as recorded [V]."""
    lowest_cell_voltage: float
    """Minimum voltage of the lowest cell [V]."""
    mean_throttle: float
    peak_throttle: float


class RecordedPowers(NamedTuple):
    """Power as recorded [W], for N offsets of the current sensor."""

    percentiles: Array
    """Maximum, median and 95th percentile (N, 3)."""
    of_punch_outs: Array
    """Maximum in each punch-out (N, P)."""


MAX_BLOCK: Final = 1_000_000
"""Number of powers computed at a time, over all offsets."""


class PreparedRecording:
    """A cleaned recording, and statistics that are computed when first needed."""

    def __init__(self, recording: Recording, longest_gap: float, begin: float, end: float) -> None:
        samples = recording.samples
        self.report = rec.clean(
            samples.time,
            samples.voltage,
            samples.current,
            samples.throttle,
            samples.cell_voltage,
            longest_gap=longest_gap,
            begin=begin,
            end=end,
        )
        self.recording = self.report.recording

    @functools.cached_property
    def weights(self) -> Array:
        """Weight of each sample (K,) [s]."""
        return rec.sample_weights(self.recording)

    @functools.cached_property
    def integrals(self) -> rec.Integrals:
        """Integrals over the recording."""
        return rec.integrate(self.recording, self.weights)

    @functools.cached_property
    def running(self) -> tuple[Array, Array]:
        """Charge as recorded [A s] and time without gaps [s] up to each sample."""
        one = np.ones_like(self.weights)
        return rec.cumulative_integral(self.recording, self.recording.current), rec.cumulative_integral(
            self.recording, one
        )

    @functools.cached_property
    def punch_outs(self) -> PunchOuts:
        """Bursts of high current."""
        return find_punch_outs(self.recording, self.weights)

    @functools.cached_property
    def groups(self) -> SampleGroups | None:
        """Averages from which the resistance of the pack is fitted."""
        return group_samples(self.recording, self.weights)

    @functools.cached_property
    def extremes(self) -> Extremes:
        """Lowest voltages, and the throttle."""
        time, voltage, throttle = self.recording.time, self.recording.voltage, self.recording.throttle
        lowest = float(np.fmin.reduce(voltage, initial=np.nan))
        at = int((voltage == lowest).argmax()) if lowest >= 0 else -1
        has_throttle = np.isfinite(throttle).any()
        return Extremes(
            lowest,
            float(time[at]) if at >= 0 else np.nan,
            float(np.fmax.reduce(voltage, initial=np.nan)),
            float(np.fmin.reduce(self.recording.cell_voltage, initial=np.nan)),
            float(np.nansum(self.weights * throttle) / self.integrals.duration) if has_throttle else np.nan,
            float(np.fmax.reduce(throttle, initial=np.nan)),
        )

    @functools.cached_property
    def currents(self) -> Array:
        """Maximum, median and 95th percentile of the current (3,), as recorded."""
        return self._percentiles(self.recording.current)

    def powers(self, offsets: Array) -> RecordedPowers:
        """Compute power for offsets (N,) [A] of the current sensor."""
        distinct, which = np.unique(offsets, return_inverse=True)
        bounds = np.column_stack((self.punch_outs.first, self.punch_outs.last + 1)).ravel()
        size = max(1, MAX_BLOCK // max(1, len(self.recording.time)))
        blocks = []
        for begin in range(0, len(distinct), size):
            power = self.recording.voltage * (self.recording.current - distinct[begin : begin + size, None])
            padded = np.append(power, np.full((len(power), 1), np.nan), axis=1)  # a burst may last to the end
            blocks.append((self._percentiles(power), np.fmax.reduceat(padded, bounds, axis=1)[:, ::2]))
        return RecordedPowers(*(np.concatenate(parts)[which] for parts in zip(*blocks, strict=True)))

    def _percentiles(self, values: Array) -> Array:
        """Return maximum, median and 95th percentile (..., 3) of channels (..., K); nan where one is missing."""
        median_and_p95 = percentiles(thin(values), thin(self.weights), PERCENTILES)
        maximum = values.max(axis=-1, keepdims=True, initial=-np.inf)
        return np.concatenate((np.where(np.isfinite(maximum), maximum, np.nan), median_and_p95), axis=-1)


_CACHE: Final[WeakKeyDictionary[Recording, dict[bytes, PreparedRecording]]] = WeakKeyDictionary()
"""Of recordings in use: the formula is called again to propagate uncertainty."""


def prepare_recording(recording: Recording, limits: Array) -> PreparedRecording:
    """Return a prepared recording, computed once for each recording and its limits.

    ``limits`` (3,) [s] are the longest gap, begin and end; see `gramwatt.physics.recording.clean`.
    """
    by_limits = _CACHE.setdefault(recording, {})
    key = limits.tobytes()
    if key not in by_limits:
        by_limits[key] = PreparedRecording(recording, *limits.tolist())
    return by_limits[key]


def group_by_recording(
    log: RecordingArray, longest_gap: Array, begin: Array, end: Array
) -> Iterator[tuple[NDArray[np.intp], Recording, PreparedRecording]]:
    """Yield each recording with the indices of the rows that share it and its limits; rows without one are skipped."""
    limits = np.column_stack((longest_gap, begin, end))
    shared: dict[tuple[int, bytes], list[int]] = {}
    for row, recording in enumerate(log):
        if isinstance(recording, Recording):
            shared.setdefault((id(recording), limits[row].tobytes()), []).append(row)
    for rows in shared.values():
        yield np.array(rows), log[rows[0]], prepare_recording(log[rows[0]], limits[rows[0]])
