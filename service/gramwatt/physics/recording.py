"""A recorded flight as it counts: samples in order of time, what is bridged and what is left out, and sums over it."""

from typing import Annotated, Final, NamedTuple

import numpy as np

from gramwatt.arrays import Array, BoolArray, Unit

SHORTEST_GAP: Final[Annotated[float, Unit("s")]] = 2.0
USUAL_STEPS: Final = 5.0
"""A step longer than both is a gap unless said otherwise: a judgement, some missed samples are still bridged."""
DROPPED: Final = 0.2
"""Share of the median voltage below which a reading is taken for a failed one: no pack sags as far and goes on."""
_SPIKE_PASSES: Final = 3
"""Times that lone leaps of the clock are looked for: one may hide another."""
_STAYS: Final = 5
"""Samples that a clock must stay back to have begun again; a judgement."""
MOST_LOOKED_AT: Final = 100_000
"""Samples that percentiles, thresholds and the usual step rest on."""


class CleanRecording(NamedTuple):
    """A recording made good: K samples in strict order of time. A channel that was not recorded is nan throughout."""

    time: Array
    """(K,) on the recording's own clock [s], strictly rising."""
    voltage: Array
    """(K,) of the pack [V]."""
    current: Array
    """(K,) from the pack [A]."""
    throttle: Array
    """(K,) as a share of full."""
    cell_voltage: Array
    """(K,) of the lowest cell [V]."""
    counts: BoolArray
    """(K - 1,) whether the time from a sample to the next counts; not where it is longer than a gap may be."""


class Cause(NamedTuple):
    """Samples left out for one cause: how many, and the position of the first (-1 where there is none)."""

    many: int
    first: int


class Cleaned(NamedTuple):
    """A course, and what was left out of the recording to make it."""

    course: CleanRecording
    samples: int
    untimed: Cause
    repeated: Cause
    backward: Cause
    dropped_out: Cause
    outside: Cause
    gaps: Cause
    """Steps that do not count; the position is that of the sample before."""
    gap_time: float
    """What those take [s]."""
    usual_step: float
    """See `usual_step`."""


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
) -> Cleaned:
    """Make a recording good.

    Parameters
    ----------
    time : (S,) on any clock [s], nan where none was recorded
    voltage, current, throttle, cell_voltage : (S,) in SI, nan where nothing was recorded
    longest_gap : a longer step does not count [s]; nan: 2 s, or 5 times the median step where that is more
    begin, end : seconds from the first sample that is used; what lies before and after is left out; nan: nothing is

    Returns
    -------
    `Cleaned`. Left out are samples without a time; one whose voltage or current lacks though the recording has such a
    channel, or whose voltage is nothing or a fifth of the median at most, unless that is so of all; then one whose time
    leaps ahead of the next that is again in order, one not later than all before it, and all after the clock began
    again. What lies between the samples that stay is bridged by straight lines, but for steps longer than a gap may be.
    """
    untimed = ~np.isfinite(time)
    dropped = ~untimed & _dropped(voltage, current)
    usable = ~(untimed | dropped)
    repeated, backward = _out_of_order(time, usable)
    good = usable & ~(repeated | backward)
    origin = float(time[good.argmax()]) if good.any() else 0.0
    outside = good & ((time < origin + begin) | (time > origin + end))
    kept = good & ~outside
    at = slice(None) if kept.all() else np.flatnonzero(kept)  # a slice copies nothing
    steps = np.diff(time[at])
    usual = usual_step(steps)
    limit = longest_gap if np.isfinite(longest_gap) else max(SHORTEST_GAP, USUAL_STEPS * usual)
    counts = steps <= limit
    gaps = ~counts
    return Cleaned(
        course=CleanRecording(time[at], voltage[at], current[at], throttle[at], cell_voltage[at], counts),
        samples=len(time),
        untimed=_cause(untimed),
        repeated=_cause(repeated),
        backward=_cause(backward),
        dropped_out=_cause(dropped),
        outside=_cause(outside),
        gaps=Cause(int(gaps.sum()), int(np.flatnonzero(kept)[gaps.argmax()]) if gaps.any() else -1),
        gap_time=float(steps[gaps].sum()),
        usual_step=usual,
    )


def thinned(values: Array) -> Array:
    """At most `MOST_LOOKED_AT` of many values (..., K), evenly picked: for what depends on all, but little on each."""
    return values[..., :: -(-values.shape[-1] // MOST_LOOKED_AT) or 1]


def usual_step(steps: Array) -> float:
    """Median step [s], of many by those evenly picked; 0 where there is none."""
    ordered = np.sort(thinned(steps))  # for few steps much faster than numpy.median
    count = len(ordered)
    return float((ordered[(count - 1) // 2] + ordered[count // 2]) / 2) if count else 0.0


def _cause(left_out: BoolArray) -> Cause:
    many = int(np.count_nonzero(left_out))
    return Cause(many, int(left_out.argmax()) if many else -1)


def _out_of_order(time: Array, usable: BoolArray) -> tuple[BoolArray, BoolArray]:
    """Usable samples (S,) at the time of one before them, and those whose time goes back or leaps ahead."""
    none = np.zeros(len(time), dtype=np.bool_)
    if (np.diff(time[usable]) > 0).all():
        return none, none
    spikes = _spikes(time, usable)
    in_order = usable & ~spikes
    latest = np.maximum.accumulate(np.where(in_order, time, -np.inf))
    before = np.concatenate(([-np.inf], latest[:-1]))
    late = spikes | (in_order & (time < before))
    again = _restart(time, in_order, before)
    late[again:] |= in_order[again:]
    repeated = in_order & (time == before)
    repeated[again:] = False
    return repeated, late


def _restart(time: Array, in_order: BoolArray, before: Array) -> int:
    """Where the clock begins again, as at a second flight: it falls back by more than half of what was recorded, and
    stays there for some samples. Where nothing does, the number of samples."""
    at = np.flatnonzero(in_order)
    told, latest = time[at], before[at]
    fell = np.flatnonzero(told - told[0] < (latest - told[0]) / 2)
    for each in fell.tolist():
        stays = told[each : each + _STAYS]
        if len(stays) == _STAYS and (stays < latest[each]).all():
            return int(at[each])
    return len(time)


def _spikes(time: Array, known: BoolArray) -> BoolArray:
    """Samples whose time leaps ahead while the next is again in order with the one before: a clock's lone error."""
    spikes = np.zeros(len(time), dtype=np.bool_)
    for _ in range(_SPIKE_PASSES):
        at = np.flatnonzero(known & ~spikes)
        told = time[at]
        if len(told) < 3 or (np.diff(told) > 0).all():
            break
        lone = (told[1:-1] > told[2:]) & (told[2:] > told[:-2]) & (told[1:-1] > told[:-2])
        # Of a leap and a step back both look so where samples are equal; the leap is the one that is far ahead.
        lone &= told[1:-1] - told[:-2] > 2 * (told[2:] - told[:-2])
        if not lone.any():
            break
        spikes[at[1:-1][lone]] = True
    return spikes


def _dropped(voltage: Array, current: Array) -> BoolArray:
    dropped = np.zeros(len(voltage), dtype=np.bool_)
    for values in (voltage, current):
        known = np.isfinite(values)
        if known.any():
            dropped |= ~known
    if np.fmin.reduce(voltage, initial=np.nan) <= DROPPED * np.fmax.reduce(voltage, initial=np.nan):
        known = np.isfinite(voltage)
        low = voltage <= DROPPED * np.median(voltage[known])
        dropped |= low & ~low[known].all()
    return dropped


def cumulative(course: CleanRecording, values: Array) -> Array:
    """Running integrals of channels (..., K) over the time that counts, from 0, by the trapezoidal rule."""
    steps = np.where(course.counts, np.diff(course.time), 0.0)
    running = np.zeros(values.shape)
    np.cumsum(steps * (values[..., 1:] + values[..., :-1]) / 2, axis=-1, out=running[..., 1:])
    return running


def weights(course: CleanRecording) -> Array:
    """Seconds (K,) that each sample stands for: half the steps beside it that count. ``weights @ values`` is the
    trapezoidal integral."""
    steps = np.where(course.counts, np.diff(course.time), 0.0)
    made = np.zeros(len(course.time))
    made[:-1] += steps / 2
    made[1:] += steps / 2
    return made


class Sums(NamedTuple):
    """Trapezoidal integrals over a course of 1 [s], V [V s], I [A s] and V I [J]; nan where a channel lacks."""

    duration: float
    voltage: float
    current: float
    power: float


def integrals(course: CleanRecording, w: Array | None = None) -> Sums:
    """The sums from which charge and energy under any sensor correction follow in closed form; ``w`` are the `weights`
    where they are at hand."""
    w = weights(course) if w is None else w
    lacking = np.nan if len(w) == 0 else 0.0
    charged = w * course.current
    return Sums(
        float(w.sum()),
        float(w @ course.voltage) + lacking,
        float(charged.sum()) + lacking,
        float(charged @ course.voltage) + lacking,
    )


def corrected_charge(sums: Sums, *, scale: Array, offset: Array) -> Array:
    """Charge (N,) [A s] where I' = scale (I - offset): ``scale (int I - offset T)``."""
    return scale * (sums.current - offset * sums.duration)


def corrected_energy(sums: Sums, *, scale: Array, offset: Array, voltage_scale: Array) -> Array:
    """Energy (N,) [J] where moreover V' = voltage_scale V: ``scale voltage_scale (int V I - offset int V)``."""
    return scale * voltage_scale * (sums.power - offset * sums.voltage)


_CLASSES: Final = 4096
"""Of equal width, of which one is sorted where there are more samples; any number gives the same percentiles."""


def percentiles(values: Array, w: Array, shares: Array) -> Array:
    """Values that channels stay at or below for shares of the time, samples weighted by seconds.

    The least value whose weight, with that of all below it, reaches the share of the whole (Hyndman & Fan 1996,
    definition 1, from memory, weighted); nan without any weight.

    Parameters
    ----------
    values : (..., K), recorded at all samples or none
    w : (K,) [s]
    shares : (P,) 0 to 1

    Returns
    -------
    (..., P)
    """
    whole = float(w.sum())
    if not len(w) or not whole > 0 or not np.isfinite(values).all():
        return np.full((*values.shape[:-1], len(shares)), np.nan)
    rows, targets = values.reshape(-1, len(w)), shares * whole * (1 - 1e-12)
    if len(w) <= _CLASSES:
        found = _weighted_least(rows, w, targets)
    else:
        found = np.array([_weighted_least_of_many(row, w, targets) for row in rows])
    return found.reshape(*values.shape[:-1], len(shares))


def _weighted_least(rows: Array, w: Array, targets: Array) -> Array:
    """The least values (N, P) of rows (N, K) whose weight, with that of all below them, reaches each target (P,)."""
    order = rows.argsort(axis=1)
    at = (np.cumsum(w[order], axis=1)[:, None, :] < targets[:, None]).sum(axis=2)
    row = np.arange(len(rows))[:, None]
    return np.asarray(rows[row, order[row, np.minimum(at, len(w) - 1)]])


def _weighted_least_of_many(values: Array, w: Array, targets: Array) -> Array:
    """The same (P,) for one row (K,): first in which of many equal classes each lies, then where in that one, as a sort
    of all would take much longer."""
    low, high = float(values.min()), float(values.max())
    if low == high:
        return np.full(len(targets), low)
    place = ((values - low) * (_CLASSES / (high - low))).astype(np.int32)
    running = np.cumsum(np.bincount(place, w, minlength=_CLASSES + 1))
    found = np.empty(len(targets))
    for at, which in enumerate(np.minimum(np.searchsorted(running, targets), _CLASSES).tolist()):
        while running[which] <= 0 or not (inside := place == which).any():
            which += 1
        below = running[which - 1] if which else 0.0
        found[at] = _weighted_least(values[None, inside], w[inside], targets[at : at + 1] - below)[0, 0]
    return found


def when_reached(course: CleanRecording, running: Array, level: float) -> float:
    """When a running integral (K,) first reaches a level, by straight lines [s on the course's clock]; nan: never."""
    reached = running >= level
    if not reached.any():
        return np.nan
    at = int(reached.argmax())
    if at == 0:
        return float(course.time[0])
    low, high = running[at - 1], running[at]
    share = (level - low) / (high - low)
    return float(course.time[at - 1] + share * (course.time[at] - course.time[at - 1]))
