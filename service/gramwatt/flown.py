"""What a recording says was flown, for N sets of sensor corrections at once: what flight-log, flight-comparison and
power-fit have in common."""

import functools
from collections.abc import Iterator
from typing import Annotated, Final, NamedTuple
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from gramwatt.declare import Array, Codes, Labels, Recording, Recordings, Truths, Unit
from gramwatt.physics import recording as rec
from gramwatt.physics.loaded_pack import Groups, fit_resistance, grouped
from gramwatt.pictures import Trace
from gramwatt.recordings import REASONS, LeftOut, PunchOut

SHARES: Final = (0.5, 0.95)
SLOW: Final[Annotated[float, Unit("s")]] = 0.5
"""Samples further apart miss a punch; a judgement."""
ODD: Final[Annotated[float, Unit("s")]] = 20.0
"""Samples further apart than anybody records: more likely milliseconds taken for seconds; a judgement."""


class Pack(NamedTuple):
    """The pack flown, each (N,): cells and capacity [A s] nan where not told, states of charge as shares."""

    cells: Array
    capacity: Array
    chemistry: Codes
    start: Array
    reserve: Array

    def of(self, rows: NDArray[np.intp]) -> "Pack":
        """Some of the N."""
        return Pack(self.cells[rows], self.capacity[rows], self.chemistry[rows], self.start[rows], self.reserve[rows])


class Sensors(NamedTuple):
    """Corrections, each (N,): true over recorded, what is recorded without current [A]; where ``put_back`` [A s] is
    told, the current's scale is worked out from it."""

    current_scale: Array
    current_offset: Array
    voltage_scale: Array
    put_back: Array


class Flown(NamedTuple):
    """One recording under N corrections; arrays (N,), nan where there is no answer."""

    energy: Array
    charge: Array
    duration: Array
    mean_power: Array
    mean_current: Array
    mean_voltage: Array
    peak_power: Array
    peak_current: Array
    median_power: Array
    power_p95: Array
    median_current: Array
    current_p95: Array
    lowest_voltage: Array
    lowest_cell_voltage: Array
    lowest_at: Array
    current_scale: Array
    pack_resistance: Array
    pack_resistance_u: Array
    used: Array
    remaining: Array
    reserve_at: Array
    mean_throttle: Array
    peak_throttle: Array


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
        self._powers: dict[float, Array] = {}

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
    def currents(self) -> Array:
        """Greatest, median and 95th percentile of the current (3,), as recorded."""
        return self._extremes(self.course.current)

    def powers(self, offset: float) -> Array:
        """The same of the power, for a current sensor that is off by an offset."""
        if offset not in self._powers:
            self._powers[offset] = self._extremes(self.course.voltage * (self.course.current - offset))
        return self._powers[offset]

    def _extremes(self, values: Array) -> Array:
        if not len(values) or not np.isfinite(values).all():
            return np.full(1 + len(SHARES), np.nan)
        percentiles = rec.percentiles(rec.thinned(values), rec.thinned(self.weights), np.array(SHARES))
        return np.concatenate(([values.max()], percentiles))


_PREPARED: Final[WeakKeyDictionary[Recording, dict[tuple[str, ...], Prepared]]] = WeakKeyDictionary()
"""Of recordings that are in use: the formula is called again to carry uncertainty."""


def prepared(recording: Recording, longest_gap: float, begin: float, end: float) -> Prepared:
    """A recording made good, worked out once for each recording and choice of what to leave out."""
    known = _PREPARED.setdefault(recording, {})
    key = tuple(repr(each) for each in (longest_gap, begin, end))
    if key not in known:
        known[key] = Prepared(recording, longest_gap, begin, end)
    return known[key]


def groups(
    log: Recordings, longest_gap: Array, begin: Array, end: Array
) -> Iterator[tuple[NDArray[np.intp], Recording, Prepared]]:
    """Each recording with the rows (indices) that share it and what is left out of it; rows without one are not among
    them."""
    shared: dict[int, tuple[Recording, Prepared, list[int]]] = {}
    for row, recording in enumerate(log):
        if isinstance(recording, Recording):
            made = prepared(recording, float(longest_gap[row]), float(begin[row]), float(end[row]))
            shared.setdefault(id(made), (recording, made, []))[2].append(row)
    for recording, made, rows in shared.values():
        yield np.array(rows), recording, made


def flown(made: Prepared, pack: Pack, sensors: Sensors) -> Flown:
    """What one course says under N corrections; see `Flown`.

    Charge and energy are closed forms of four sums, since I' = s (I - o) and V' = v V: what costs time is done once.
    """
    course, sums = made.course, made.sums
    duration = np.full(pack.cells.shape, sums.duration)
    duration[duration == 0] = np.nan
    offset, voltage_scale = sensors.current_offset, sensors.voltage_scale
    raw_charge = rec.corrected_charge(sums, scale=np.ones_like(offset), offset=offset)
    scale = np.where(np.isnan(sensors.put_back), sensors.current_scale, sensors.put_back / raw_charge)
    charge = rec.corrected_charge(sums, scale=scale, offset=offset)
    energy = rec.corrected_energy(sums, scale=scale, offset=offset, voltage_scale=voltage_scale)
    current = made.currents - offset[:, None]
    power = np.array([made.powers(each) for each in offset.tolist()])
    lowest = int(np.nanargmin(course.voltage)) if np.isfinite(course.voltage).any() else -1
    cell = float(np.nanmin(course.cell_voltage)) if np.isfinite(course.cell_voltage).any() else np.nan
    pack_lowest = voltage_scale * (course.voltage[lowest] if lowest >= 0 else np.nan)
    fit = fit_resistance(
        made.groups,
        scale=scale,
        offset=offset,
        voltage_scale=voltage_scale,
        cells=pack.cells,
        chemistry=pack.chemistry,
        capacity=pack.capacity,
        start=pack.start,
    )
    used = charge / pack.capacity
    throttle = course.throttle
    flies = np.isfinite(throttle).any()
    return Flown(
        energy=energy,
        charge=charge,
        duration=duration,
        mean_power=energy / duration,
        mean_current=charge / duration,
        mean_voltage=np.where(charge != 0, energy / charge, np.nan),
        peak_power=scale * voltage_scale * power[:, 0],
        peak_current=scale * current[:, 0],
        median_power=scale * voltage_scale * power[:, 1],
        power_p95=scale * voltage_scale * power[:, 2],
        median_current=scale * current[:, 1],
        current_p95=scale * current[:, 2],
        lowest_voltage=pack_lowest,
        lowest_cell_voltage=np.where(np.isnan(cell), pack_lowest / pack.cells, cell),
        lowest_at=np.full(offset.shape, course.time[lowest] - course.time[0] if lowest >= 0 else np.nan),
        current_scale=scale,
        pack_resistance=fit.resistance,
        pack_resistance_u=fit.standard_error,
        used=used,
        remaining=pack.start - used,
        reserve_at=_reserve_at(made, (pack.start - pack.reserve) * pack.capacity, charge, duration, scale, offset),
        mean_throttle=np.full(offset.shape, np.nansum(made.weights * throttle) / sums.duration if flies else np.nan),
        peak_throttle=np.full(offset.shape, np.nanmax(throttle) if flies else np.nan),
    )


def _reserve_at(made: Prepared, level: Array, charge: Array, duration: Array, scale: Array, offset: Array) -> Array:
    """Time in flight (N,) [s] at which a charge is used up: when it was, else carried on at the mean current."""
    found = duration * level / charge
    reached: Truths = level <= charge
    for row in np.flatnonzero(reached).tolist():
        used, seconds = made.running
        running = scale[row] * (used - offset[row] * seconds)
        at = rec.when_reached(made.course, running, float(level[row]))
        found[row] = np.interp(at, made.course.time, seconds)
    return np.where(charge > 0, found, np.nan)


class Told(NamedTuple):
    """What N questions say of their recordings; arrays (N,), tables (N, M)."""

    flown: Flown
    samples: Array
    samples_used: Array
    usual_step: Array
    gap_time: Array
    unused_columns: Labels
    punch_outs: PunchOut
    left_out: LeftOut


LONGEST_LIST: Final = 300
"""Letters of the names of columns that were not used."""


def of_recordings(
    log: Recordings, pack: Pack, sensors: Sensors, *, longest_gap: Array, begin: Array, end: Array
) -> Told:
    """`Told` of N recordings, each made good and gone through once whatever the number of rows that share it."""
    count = len(log)
    made = Flown(*(np.full(count, np.nan) for _ in Flown._fields))
    samples, used, step, gap_time = (np.full(count, np.nan) for _ in range(4))
    unused = np.full(count, "none", dtype=f"<U{LONGEST_LIST}")
    punches: dict[int, list[Array]] = {}
    left_out: dict[int, list[tuple[str, int, int, str]]] = {}
    for rows, recording, ready in groups(log, longest_gap, begin, end):
        course, cleaned = ready.course, ready.cleaned
        sensed = Sensors(*(each[rows] for each in sensors))
        found = flown(ready, pack.of(rows), sensed)
        for room, values in zip(made, found, strict=True):
            room[rows] = values
        samples[rows], used[rows], gap_time[rows] = cleaned.samples, len(course.time), cleaned.gap_time
        step[rows] = rec.usual_step(np.diff(course.time)) if len(course.time) > 1 else np.nan
        unused[rows] = _shortened(", ".join(recording.unused)) or "none"
        bursts = ready.bursts
        reasons = _left_out(recording, cleaned)
        for at, row in enumerate(rows.tolist()):
            punches[row] = _punches(course, bursts, sensed, float(found.current_scale[at]), at)
            left_out[row] = reasons
    tables = _punch_table(punches, count), _reason_table(left_out, count)
    return Told(made, samples, used, step, gap_time, unused, *tables)


def _shortened(text: str) -> str:
    return text if len(text) <= LONGEST_LIST else text[: LONGEST_LIST - 4] + " ..."


def lacks(log: Recordings, channels: tuple[str, ...]) -> Truths:
    """Whether a recording has nothing at all in these channels (N,)."""
    return np.array(
        [
            isinstance(each, Recording)
            and not any(np.isfinite(getattr(each.samples, channel)).any() for channel in channels)
            for each in log
        ]
    )


def any_left_out(left_out: LeftOut, reason: str) -> Truths:
    """Whether anything was left out for a reason (N,)."""
    return np.asarray((left_out.reason == REASONS.index(reason)).any(axis=1))


def _left_out(recording: Recording, cleaned: rec.Cleaned) -> list[tuple[str, int, int, str]]:
    """Reason, how many, row of the first (0 where that is not told), and what stood there."""
    found = [
        (each.reason, each.count, each.first_row, f"{each.column}: {each.first_text}") for each in recording.unread
    ]
    found += [
        ("untimed", cleaned.untimed.many, cleaned.untimed.first + 1, ""),
        ("repeated-time", cleaned.repeated.many, cleaned.repeated.first + 1, ""),
        ("backward-time", cleaned.backward.many, cleaned.backward.first + 1, ""),
        ("dropped-out", cleaned.dropped_out.many, cleaned.dropped_out.first + 1, ""),
        ("before-or-after", cleaned.outside.many, cleaned.outside.first + 1, ""),
        ("in-a-gap", cleaned.gaps.many, cleaned.gaps.first + 1, ""),
        ("before-the-header", recording.skipped_lines, 0, ""),
    ]
    return [each for each in found if each[1] > 0]


def _reason_table(by_row: dict[int, list[tuple[str, int, int, str]]], rows: int) -> LeftOut:
    longest = max((len(each) for each in by_row.values()), default=0)
    reason = np.full((rows, longest), -1, dtype=np.intp)
    count, first = np.full((rows, longest), np.nan), np.full((rows, longest), np.nan)
    what = np.full((rows, longest), "", dtype="<U80")
    for row, told in by_row.items():
        for at, (why, many, begins, stood) in enumerate(told):
            reason[row, at], count[row, at], what[row, at] = REASONS.index(why), many, stood[:80]
            first[row, at] = begins if begins > 0 else np.nan
    return LeftOut(reason, count, first, what)


def _punches(course: rec.Course, bursts: rec.PunchOuts, sensed: Sensors, scale: float, at: int) -> list[Array]:
    """The columns of `PunchOut` for one set of corrections."""
    offset, volts = sensed.current_offset[at], sensed.voltage_scale[at]
    power = [
        float(np.nanmax(course.voltage[a : b + 1] * (course.current[a : b + 1] - offset)))
        if np.isfinite(course.voltage[a : b + 1]).any()
        else np.nan
        for a, b in zip(bursts.first.tolist(), bursts.last.tolist(), strict=True)
    ]
    return [
        bursts.start,
        bursts.length,
        scale * (bursts.peak_current - offset),
        scale * volts * np.array(power),
        volts * (bursts.voltage_before - bursts.lowest_voltage),
        volts * bursts.lowest_voltage,
    ]


def _punch_table(by_row: dict[int, list[Array]], rows: int) -> PunchOut:
    longest = max((len(each[0]) for each in by_row.values()), default=0)
    columns = np.full((6, rows, longest), np.nan)
    for row, told in by_row.items():
        for room, values in zip(columns, told, strict=True):
            room[row, : len(values)] = values
    return PunchOut(*columns)


def trace(log: Recordings, *, longest_gap: Array, begin: Array, end: Array, sensors: Sensors) -> Trace | None:
    """The first of N recordings made good, its sensors corrected, as it is drawn: times from its first sample, and the
    channels that it has; None where nothing of it can be used."""
    for _, _, made in groups(log[:1], longest_gap, begin, end):
        course = made.course
        current_scale, offset, voltage_scale = (float(each[0]) for each in sensors[:3])
        channels = {
            "voltage": voltage_scale * course.voltage,
            "current": (1.0 if np.isnan(current_scale) else current_scale) * (course.current - offset),
            "throttle": course.throttle,
        }
        told = {name: values for name, values in channels.items() if np.isfinite(values).any()}
        return Trace(course.time - course.time[0], told) if told and len(course.time) > 1 else None
    return None
