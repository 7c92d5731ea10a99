"""Recorded flights: clean the samples, exclude what is unusable, and integrate over the rest."""

from typing import Annotated, Final, NamedTuple

import numpy as np

from gramwatt.arrays import Array, BoolArray, Unit
from gramwatt.physics.statistics import thin

SHORTEST_GAP: Final[Annotated[float, Unit("s")]] = 2.0
GAP_STEPS: Final = 5.0
"""A step longer than 2 s and than 5 median steps is a gap by default: an estimate that bridges a few lost samples."""
DROPOUT_SHARE: Final = 0.2
"""Share of the median voltage below which a reading counts as failed: no pack sags so far and continues."""
_SPIKE_PASSES: Final = 3
"""Number of searches for single jumps of the clock: one may hide another."""
_RESTART_SAMPLES: Final = 5
"""Samples for which a clock must stay back to count as restarted; an estimate."""


class CleanRecording(NamedTuple):
    """A cleaned recording: K samples in strict order of time. A channel that was not recorded is nan throughout."""

    time: Array
    """(K,) since the first usable sample [s], also if that was before the begin; strictly rising."""
    voltage: Array
    """(K,) voltage of the pack [V]."""
    current: Array
    """(K,) current from the pack [A]."""
    throttle: Array
    """(K,) throttle as a share of full."""
    cell_voltage: Array
    """(K,) voltage of the lowest cell [V]."""
    counts: BoolArray
    """(K - 1,) whether the step from a sample to the next counts; steps that are gaps do not."""


class Exclusion(NamedTuple):
    """Samples excluded for one reason: their number, and the index of the first (-1 where there is none)."""

    number: int
    first: int


class CleaningReport(NamedTuple):
    """A cleaned recording, and the samples that were excluded from it."""

    recording: CleanRecording
    samples: int
    untimed: Exclusion
    repeated: Exclusion
    backward: Exclusion
    dropped_out: Exclusion
    outside: Exclusion
    gaps: Exclusion
    """Steps that do not count; the index is that of the sample before."""
    gap_duration: float
    """What those take [s]."""
    median_step: float
    """See `median_step`."""


def clean(
    time: Array,
    voltage: Array,
    current: Array,
    throttle: Array,
    cell_voltage: Array,
    *,
    longest_gap: float = np.nan,
    begin: float = np.nan,
    end: float = np.nan,
) -> CleaningReport:
    """Clean a recording: sort out samples that cannot be used, and mark gaps.

    Parameters
    ----------
    time : (S,)
        Time on any clock [s], nan where none was recorded.
    voltage, current, throttle, cell_voltage : (S,)
        Channels in SI, nan where nothing was recorded.
    longest_gap
        Longer steps do not count [s]; nan for 2 s or 5 times the median step, whichever is longer.
    begin, end
        Samples outside are excluded [s from the first usable sample]; nan for no limit.

    Returns
    -------
    CleaningReport
        Excluded are, in this order: samples without a time; samples without voltage or current in a recording that has
        the channel, and samples whose voltage is zero or at most a fifth of the median (unless all are); samples whose
        time jumps ahead while the next is in order again; samples not later than all before; and all samples after the
        clock restarted. Straight lines connect the remaining samples, except over gaps.
    """
    untimed = ~np.isfinite(time)
    dropped = ~untimed & _dropouts(voltage, current)
    usable = ~(untimed | dropped)
    repeated, backward = _out_of_order(time, usable)
    good = usable & ~(repeated | backward)
    origin = float(time[good.argmax()]) if good.any() else 0.0
    outside = good & ((time < origin + begin) | (time > origin + end))
    included = good & ~outside
    at = slice(None) if included.all() else np.flatnonzero(included)  # a slice copies nothing
    steps = np.diff(time[at])
    typical_step = median_step(steps)
    limit = longest_gap if np.isfinite(longest_gap) else max(SHORTEST_GAP, GAP_STEPS * typical_step)
    counts = steps <= limit
    gaps = ~counts
    return CleaningReport(
        recording=CleanRecording(time[at] - origin, voltage[at], current[at], throttle[at], cell_voltage[at], counts),
        samples=len(time),
        untimed=_exclusion(untimed),
        repeated=_exclusion(repeated),
        backward=_exclusion(backward),
        dropped_out=_exclusion(dropped),
        outside=_exclusion(outside),
        gaps=Exclusion(int(gaps.sum()), int(np.flatnonzero(included)[gaps.argmax()]) if gaps.any() else -1),
        gap_duration=float(steps[gaps].sum()),
        median_step=typical_step,
    )


def median_step(steps: Array) -> float:
    """Return the median step [s], of a long recording the median of evenly picked steps; 0 where there is none."""
    ordered = np.sort(thin(steps))  # for few steps much faster than numpy.median
    count = len(ordered)
    return float((ordered[(count - 1) // 2] + ordered[count // 2]) / 2) if count else 0.0


def _exclusion(excluded: BoolArray) -> Exclusion:
    number = int(np.count_nonzero(excluded))
    return Exclusion(number, int(excluded.argmax()) if number else -1)


def _out_of_order(time: Array, usable: BoolArray) -> tuple[BoolArray, BoolArray]:
    """Find usable samples (S,) that repeat an earlier time, and those whose time goes back or jumps ahead."""
    none = np.zeros(len(time), dtype=np.bool_)
    if (np.diff(time[usable]) > 0).all():
        return none, none
    spikes = _spikes(time, usable)
    in_order = usable & ~spikes
    latest = np.maximum.accumulate(np.where(in_order, time, -np.inf))
    before = np.concatenate(([-np.inf], latest[:-1]))
    backward = spikes | (in_order & (time < before))
    restart = _restart(time, in_order, before)
    backward[restart:] |= in_order[restart:]
    repeated = in_order & (time == before)
    repeated[restart:] = False
    return repeated, backward


def _restart(time: Array, in_order: BoolArray, before: Array) -> int:
    """Find the sample at which the clock restarts, as for a second flight; the number of samples where it never does.

    The clock restarts where it falls back by more than half of the recorded time and stays back for some samples.
    """
    at = np.flatnonzero(in_order)
    times, latest = time[at], before[at]
    candidates = np.flatnonzero(times - times[0] < (latest - times[0]) / 2)
    for candidate in candidates.tolist():
        following = times[candidate : candidate + _RESTART_SAMPLES]
        if len(following) == _RESTART_SAMPLES and (following < latest[candidate]).all():
            return int(at[candidate])
    return len(time)


def _spikes(time: Array, known: BoolArray) -> BoolArray:
    """Find samples whose time jumps ahead while the next is in order with the one before: single errors of a clock."""
    spikes = np.zeros(len(time), dtype=np.bool_)
    for _ in range(_SPIKE_PASSES):
        at = np.flatnonzero(known & ~spikes)
        times = time[at]
        if len(times) < 3 or (np.diff(times) > 0).all():
            break
        single = (times[1:-1] > times[2:]) & (times[2:] > times[:-2]) & (times[1:-1] > times[:-2])
        # A jump and a step back look the same among equal steps; the jump is the one that is far ahead.
        single &= times[1:-1] - times[:-2] > 2 * (times[2:] - times[:-2])
        if not single.any():
            break
        spikes[at[1:-1][single]] = True
    return spikes


def _dropouts(voltage: Array, current: Array) -> BoolArray:
    dropped = np.zeros(len(voltage), dtype=np.bool_)
    for values in (voltage, current):
        known = np.isfinite(values)
        if known.any():
            dropped |= ~known
    if np.fmin.reduce(voltage, initial=np.nan) <= DROPOUT_SHARE * np.fmax.reduce(voltage, initial=np.nan):
        known = np.isfinite(voltage)
        low = voltage <= DROPOUT_SHARE * np.median(voltage[known])
        dropped |= low & ~low[known].all()
    return dropped


def cumulative_integral(recording: CleanRecording, values: Array) -> Array:
    """Integrate channels (..., K) from 0 up to each sample by the trapezoidal rule, gaps left out."""
    steps = np.where(recording.counts, np.diff(recording.time), 0.0)
    integral = np.zeros(values.shape)
    np.cumsum(steps * (values[..., 1:] + values[..., :-1]) / 2, axis=-1, out=integral[..., 1:])
    return integral


def sample_weights(recording: CleanRecording) -> Array:
    """Return the weight (K,) [s] of each sample in the trapezoidal rule: half of the adjacent steps that count.

    ``weights @ values`` is the trapezoidal integral.
    """
    steps = np.where(recording.counts, np.diff(recording.time), 0.0)
    weights = np.zeros(len(recording.time))
    weights[:-1] += steps / 2
    weights[1:] += steps / 2
    return weights


class Integrals(NamedTuple):
    """Trapezoidal integrals over a recording, nan where a channel is missing."""

    duration: float
    """Integral of 1 [s]."""
    voltage: float
    """Integral of V [V s]."""
    current: float
    """Integral of I [A s]."""
    power: float
    """Integral of V I [J]."""


def integrate(recording: CleanRecording, weights: Array | None = None) -> Integrals:
    """Compute the integrals from which charge and energy follow in closed form for any sensor correction.

    Parameters
    ----------
    recording : CleanRecording
        K samples.
    weights : (K,), optional
        Its `sample_weights`, if they are already known.
    """
    weights = sample_weights(recording) if weights is None else weights
    nan_if_empty = np.nan if len(weights) == 0 else 0.0
    weighted_current = weights * recording.current
    return Integrals(
        float(weights.sum()),
        float(weights @ recording.voltage) + nan_if_empty,
        float(weighted_current.sum()) + nan_if_empty,
        float(weighted_current @ recording.voltage) + nan_if_empty,
    )


def corrected_charge(integrals: Integrals, *, scale: Array, offset: Array) -> Array:
    """Compute the charge (N,) [A s] where I' = scale (I - offset): ``scale (int I - offset T)``."""
    return scale * (integrals.current - offset * integrals.duration)


def corrected_energy(integrals: Integrals, *, scale: Array, offset: Array, voltage_scale: Array) -> Array:
    """Compute the energy (N,) [J] where also V' = voltage_scale V: ``scale voltage_scale (int V I - offset int V)``."""
    return scale * voltage_scale * (integrals.power - offset * integrals.voltage)


def time_reached(recording: CleanRecording, running: Array, level: float) -> float:
    """Return the time [s since the first usable sample] at which a running integral (K,) first reaches a level.

    Straight lines connect the samples. Nan where the level is never reached.
    """
    reached = running >= level
    if not reached.any():
        return np.nan
    at = int(reached.argmax())
    if at == 0:
        return float(recording.time[0])
    low, high = running[at - 1], running[at]
    share = (level - low) / (high - low)
    return float(recording.time[at - 1] + share * (recording.time[at] - recording.time[at - 1]))
