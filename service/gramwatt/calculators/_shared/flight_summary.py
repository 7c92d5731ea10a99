"""What a recording says was flown, for N sets of sensor corrections at once: what flight-log, flight-comparison and
power-fit have in common."""

from typing import Annotated, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gramwatt.calculators._shared.log_statistics import Powers, Prepared, groups
from gramwatt.calculators._shared.logs import REASONS, LeftOut, PunchOut
from gramwatt.model import Array, BoolArray, IndexArray, RecordedChannels, Recording, RecordingArray, StringArray, Unit
from gramwatt.physics import recording as rec
from gramwatt.physics.loaded_pack import fit_resistance
from gramwatt.physics.punch_outs import PunchOuts

SLOW: Final[Annotated[float, Unit("s")]] = 0.5
"""Samples further apart miss a punch; a judgement."""
ODD: Final[Annotated[float, Unit("s")]] = 20.0
"""Samples further apart than anybody records: more likely milliseconds taken for seconds; a judgement."""


class Pack(NamedTuple):
    """The pack flown, each (N,): cells and capacity [A s] nan where not told, states of charge as shares."""

    cells: Array
    capacity: Array
    chemistry: IndexArray
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


class FlightSummary(NamedTuple):
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


def summarize_flight(made: Prepared, pack: Pack, sensors: Sensors, powers: Powers) -> FlightSummary:
    """What one course says under N corrections, with the powers of their offsets; see `FlightSummary`.

    Charge and energy are closed forms of four sums, since I' = s (I - o) and V' = v V: what costs time is done once.
    """
    sums, extremes = made.sums, made.extremes
    offset, voltage_scale = sensors.current_offset, sensors.voltage_scale
    alike = np.zeros_like(offset)
    duration = alike + (sums.duration if sums.duration > 0 else np.nan)
    raw_charge = rec.corrected_charge(sums, scale=alike + 1, offset=offset)
    scale = np.where(np.isnan(sensors.put_back), sensors.current_scale, sensors.put_back / raw_charge)
    charge = scale * raw_charge
    energy = rec.corrected_energy(sums, scale=scale, offset=offset, voltage_scale=voltage_scale)
    peak_current, median_current, current_p95 = scale * (made.currents[:, None] - offset)
    peak_power, median_power, power_p95 = scale * voltage_scale * powers.percentiles.T
    lowest = voltage_scale * extremes.lowest_voltage
    lowest_cell = alike + extremes.lowest_cell_voltage
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
    return FlightSummary(
        energy=energy,
        charge=charge,
        duration=duration,
        mean_power=energy / duration,
        mean_current=charge / duration,
        mean_voltage=np.where(charge != 0, energy / charge, np.nan),
        peak_power=peak_power,
        peak_current=peak_current,
        median_power=median_power,
        power_p95=power_p95,
        median_current=median_current,
        current_p95=current_p95,
        lowest_voltage=lowest,
        lowest_cell_voltage=np.where(np.isnan(lowest_cell), lowest / pack.cells, lowest_cell),
        lowest_at=alike + extremes.lowest_at,
        current_scale=scale,
        pack_resistance=fit.resistance,
        pack_resistance_u=fit.standard_error,
        used=used,
        remaining=pack.start - used,
        reserve_at=_reserve_at(made, (pack.start - pack.reserve) * pack.capacity, charge, duration, scale, offset),
        mean_throttle=alike + extremes.mean_throttle,
        peak_throttle=alike + extremes.peak_throttle,
    )


def _reserve_at(made: Prepared, level: Array, charge: Array, duration: Array, scale: Array, offset: Array) -> Array:
    """Time in flight (N,) [s] at which a charge is used up: when it was, else carried on at the mean current."""
    found = duration * level / charge
    reached: BoolArray = level <= charge
    for row in np.flatnonzero(reached).tolist():
        used, seconds = made.running
        running = scale[row] * (used - offset[row] * seconds)
        at = rec.when_reached(made.course, running, float(level[row]))
        found[row] = np.interp(at, made.course.time, seconds)
    return np.where(charge > 0, found, np.nan)


class LogSummary(NamedTuple):
    """What N questions say of their recordings; arrays (N,), tables (N, M)."""

    summary: FlightSummary
    samples: Array
    samples_used: Array
    usual_step: Array
    gap_time: Array
    unused_columns: StringArray
    punch_outs: PunchOut
    left_out: LeftOut


LONGEST_LIST: Final = 300
"""Letters of the names of columns that were not used."""


def of_recordings(
    log: RecordingArray, pack: Pack, sensors: Sensors, *, longest_gap: Array, begin: Array, end: Array
) -> LogSummary:
    """`LogSummary` of N recordings, each made good and gone through once whatever the number of rows that share it."""
    found = np.full((len(FlightSummary._fields), len(log)), np.nan)
    samples, used, step, gap_time = np.full((4, len(log)), np.nan)
    unused = np.full(len(log), "none", dtype=f"<U{LONGEST_LIST}")
    punches: list[tuple[NDArray[np.intp], Array]] = []
    left_out: list[tuple[NDArray[np.intp], list[tuple[str, int, int, str]]]] = []
    for rows, recording, made in groups(log, longest_gap, begin, end):
        cleaned, count = made.cleaned, len(made.course.time)
        corrections = Sensors(*(each[rows] for each in sensors))
        powers = made.powers(corrections.current_offset)
        under = summarize_flight(made, pack.of(rows), corrections, powers)
        for room, values in zip(found, under, strict=True):
            room[rows] = values
        samples[rows], used[rows], gap_time[rows] = cleaned.samples, count, cleaned.gap_time
        step[rows] = cleaned.usual_step if count > 1 else np.nan
        unused[rows] = _shortened(", ".join(recording.unused)) or "none"
        punches.append((rows, _punches(made.bursts, corrections, under.current_scale, powers)))
        left_out.append((rows, _left_out(recording, cleaned)))
    tables = _punch_table(punches, len(log)), _reason_table(left_out, len(log))
    return LogSummary(FlightSummary(*found), samples, used, step, gap_time, unused, *tables)


def _shortened(text: str) -> str:
    return text if len(text) <= LONGEST_LIST else text[: LONGEST_LIST - 4] + " ..."


def lacks(log: RecordingArray, channels: tuple[str, ...]) -> BoolArray:
    """Whether a recording has nothing at all in these channels (N,)."""
    return np.array(
        [
            isinstance(each, Recording)
            and not any(np.isfinite(getattr(each.samples, channel)).any() for channel in channels)
            for each in log
        ]
    )


def any_left_out(left_out: LeftOut, reason: str) -> BoolArray:
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


def _reason_table(by_rows: list[tuple[NDArray[np.intp], list[tuple[str, int, int, str]]]], count: int) -> LeftOut:
    longest = max((len(reasons) for _, reasons in by_rows), default=0)
    reason = np.full((count, longest), -1, dtype=np.intp)
    many, first = np.full((2, count, longest), np.nan)
    what = np.full((count, longest), "", dtype="<U80")
    for rows, reasons in by_rows:
        for at, (why, how_many, begins, stood) in enumerate(reasons):
            reason[rows, at], many[rows, at], what[rows, at] = REASONS.index(why), how_many, stood[:80]
            first[rows, at] = begins if begins > 0 else np.nan
    return LeftOut(reason, many, first, what)


def _punches(bursts: PunchOuts, sensors: Sensors, scale: Array, powers: Powers) -> Array:
    """The columns of `PunchOut` (6, N, P) under N corrections; ``scale`` (N,) is that of the current in force."""
    offset, volts, amps = (each[:, None] for each in (sensors.current_offset, sensors.voltage_scale, scale))
    columns = np.empty((6, len(scale), len(bursts.start)))
    columns[0], columns[1] = bursts.start, bursts.length
    columns[2] = amps * (bursts.peak_current - offset)
    columns[3] = amps * volts * powers.of_bursts
    columns[4] = volts * (bursts.voltage_before - bursts.lowest_voltage)
    columns[5] = volts * bursts.lowest_voltage
    return columns


def _punch_table(by_rows: list[tuple[NDArray[np.intp], Array]], count: int) -> PunchOut:
    longest = max((columns.shape[2] for _, columns in by_rows), default=0)
    table = np.full((6, count, longest), np.nan)
    for rows, columns in by_rows:
        table[:, rows, : columns.shape[2]] = columns
    return PunchOut(*table)


def trace(
    log: RecordingArray, *, longest_gap: Array, begin: Array, end: Array, sensors: Sensors
) -> RecordedChannels | None:
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
        return RecordedChannels(course.time - course.time[0], told) if told and len(course.time) > 1 else None
    return None
