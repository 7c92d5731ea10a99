"""Results of recorded flights for N sets of sensor corrections at once."""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gramwatt.calculators._shared.logs import REASONS, LeftOutSamples, PunchOut
from gramwatt.calculators._shared.prepared_recording import (
    Extremes,
    PreparedRecording,
    RecordedPowers,
    group_by_recording,
)
from gramwatt.model import Array, BoolArray, IndexArray, RecordedChannels, Recording, RecordingArray, StringArray
from gramwatt.physics import cells, pack
from gramwatt.physics import recording as rec
from gramwatt.physics.loaded_pack import fit_resistance
from gramwatt.physics.punch_outs import PunchOuts


class FlightPack(NamedTuple):
    """The pack of each flight; arrays (N,)."""

    cells: Array
    """Cells in series, nan where unknown."""
    capacity: Array
    """Capacity [A s], nan where unknown."""
    chemistry: IndexArray
    start_state_of_charge: Array
    """State of charge at take-off, 0 to 1."""
    reserve: Array
    """State of charge to land at, 0 to 1."""

    def select(self, rows: NDArray[np.intp]) -> "FlightPack":
        """Return the packs of some of the N rows."""
        return FlightPack(*(values[rows] for values in self))  # type: ignore[arg-type]


class SensorCorrections(NamedTuple):
    """Corrections of the sensors; arrays (N,)."""

    current_scale: Array
    """True over recorded current."""
    current_offset: Array
    """Recorded current at zero current [A]."""
    voltage_scale: Array
    """True over recorded voltage."""
    charge_put_back: Array
    """Charge [A s] from which the scale of the current is computed, nan where unknown."""
    resistance_error: Array
    """Standard normal deviate of the error of the fitted resistance."""


class FlightSummary(NamedTuple):
    """Results of one recording for N sets of corrections; arrays (N,), nan where there is no result."""

    energy: Array
    charge: Array
    duration: Array
    mean_power: Array
    mean_current: Array
    mean_voltage: Array
    peak_power: Array
    peak_current: Array
    median_power: Array
    p95_power: Array
    median_current: Array
    p95_current: Array
    lowest_voltage: Array
    lowest_cell_voltage: Array
    lowest_voltage_time: Array
    current_scale: Array
    pack_resistance: Array
    used: Array
    remaining: Array
    reserve_at: Array
    mean_throttle: Array
    peak_throttle: Array


def summarize_flight(
    prepared: PreparedRecording, flight_pack: FlightPack, corrections: SensorCorrections, powers: RecordedPowers
) -> FlightSummary:
    """Compute the results of one recording for N sets of corrections.

    Charge and energy are closed forms of four integrals, since I' = s (I - o) and V' = v V: all that takes time is
    computed once.
    """
    integrals, extremes = prepared.integrals, prepared.extremes
    offset, voltage_scale = corrections.current_offset, corrections.voltage_scale
    zeros = np.zeros_like(offset)
    duration = zeros + (integrals.duration if integrals.duration > 0 else np.nan)
    unscaled_charge = rec.corrected_charge(integrals, scale=zeros + 1, offset=offset)
    put_back = corrections.charge_put_back
    scale = np.where(np.isnan(put_back), corrections.current_scale, put_back / unscaled_charge)
    scale[scale < 0] = np.nan
    charge = scale * unscaled_charge
    energy = rec.corrected_energy(integrals, scale=scale, offset=offset, voltage_scale=voltage_scale)
    peak_current, median_current, p95_current = scale * (prepared.currents[:, None] - offset)
    peak_power, median_power, p95_power = scale * voltage_scale * powers.percentiles.T
    lowest_voltage = voltage_scale * extremes.lowest_voltage
    lowest_cell_voltage = zeros + extremes.lowest_cell_voltage
    fit = fit_resistance(
        prepared.groups,
        scale=scale,
        offset=offset,
        voltage_scale=voltage_scale,
        cells=flight_pack.cells,
        chemistry=flight_pack.chemistry,
        capacity=flight_pack.capacity,
        start_state_of_charge=flight_pack.start_state_of_charge,
    )
    used = charge / flight_pack.capacity
    above_reserve = (flight_pack.start_state_of_charge - flight_pack.reserve) * flight_pack.capacity
    return FlightSummary(
        energy=energy,
        charge=charge,
        duration=duration,
        mean_power=energy / duration,
        mean_current=charge / duration,
        mean_voltage=_mean_voltage(energy / charge, voltage_scale, extremes),
        peak_power=peak_power,
        peak_current=peak_current,
        median_power=median_power,
        p95_power=p95_power,
        median_current=median_current,
        p95_current=p95_current,
        lowest_voltage=lowest_voltage,
        lowest_cell_voltage=np.where(
            np.isnan(lowest_cell_voltage), lowest_voltage / flight_pack.cells, lowest_cell_voltage
        ),
        lowest_voltage_time=zeros + extremes.lowest_voltage_time,
        current_scale=scale,
        pack_resistance=fit.resistance * np.exp(corrections.resistance_error * fit.standard_error / fit.resistance),
        used=used,
        remaining=flight_pack.start_state_of_charge - used,
        reserve_at=_time_at_charge(prepared, above_reserve, charge, duration, scale, offset),
        mean_throttle=zeros + extremes.mean_throttle,
        peak_throttle=zeros + extremes.peak_throttle,
    )


def _mean_voltage(voltage: Array, scale: Array, extremes: Extremes) -> Array:
    """Return energy over charge (N,) [V], nan where currents of both signs make it no voltage of this flight."""
    margin = 1e-9 * extremes.highest_voltage  # for rounding
    low, high = scale * (extremes.lowest_voltage - margin), scale * (extremes.highest_voltage + margin)
    return np.where((voltage >= low) & (voltage <= high), voltage, np.nan)


def _time_at_charge(
    prepared: PreparedRecording, level: Array, charge: Array, duration: Array, scale: Array, offset: Array
) -> Array:
    """Return the flight time (N,) [s] at which a charge is used, extrapolated at the mean current after the end."""
    time = duration * level / charge
    reached: BoolArray = level <= charge
    for row in np.flatnonzero(reached).tolist():
        recorded_charge, seconds = prepared.running
        running = scale[row] * (recorded_charge - offset[row] * seconds)
        at = rec.time_reached(prepared.recording, running, float(level[row]))
        time[row] = np.interp(at, prepared.recording.time, seconds)
    return np.where(charge > 0, time, np.nan)


def model_endurance(flight: FlightSummary, flight_pack: FlightPack) -> Array:
    """Return the time to the reserve (N,) [s] at the mean power, by the model of a constant-power discharge."""
    typical = flight_pack.cells * cells.typical_resistance(flight_pack.capacity)
    discharge = pack.discharge_pack(
        flight_pack.chemistry,
        flight_pack.cells,
        power=flight.mean_power,
        resistance=np.where(np.isnan(flight.pack_resistance), typical, flight.pack_resistance),
        capacity=flight_pack.capacity,
        start_state_of_charge=flight_pack.start_state_of_charge,
        reserve=flight_pack.reserve,
        cutoff_voltage=cells.CUTOFF_VOLTAGE[flight_pack.chemistry],
    )
    known = np.isfinite(flight_pack.cells) & np.isfinite(flight_pack.capacity) & (flight.mean_power > 0)
    return np.where(known, discharge.duration, np.nan)


class LogSummary(NamedTuple):
    """Results of N recordings; arrays (N,), tables (N, M)."""

    summary: FlightSummary
    samples: Array
    samples_used: Array
    sample_interval: Array
    gap_duration: Array
    unused_columns: StringArray
    punch_outs: PunchOut
    left_out: LeftOutSamples


MAX_COLUMN_TEXT: Final = 300
"""Characters of the list of columns that were not used."""


def summarize_recordings(
    log: RecordingArray,
    flight_pack: FlightPack,
    corrections: SensorCorrections,
    *,
    longest_gap: Array,
    begin: Array,
    end: Array,
) -> LogSummary:
    """Summarize N recordings; a recording that many rows share is cleaned and integrated once."""
    summary = np.full((len(FlightSummary._fields), len(log)), np.nan)
    samples, used, step, gap_duration = np.full((4, len(log)), np.nan)
    unused = np.full(len(log), "none", dtype=f"<U{MAX_COLUMN_TEXT}")
    punch_outs: list[tuple[NDArray[np.intp], Array]] = []
    exclusions: list[tuple[NDArray[np.intp], list[_Excluded]]] = []
    for rows, recording, prepared in group_by_recording(log, longest_gap, begin, end):
        report, count = prepared.report, len(prepared.recording.time)
        selected = SensorCorrections(*(values[rows] for values in corrections))
        powers = prepared.powers(selected.current_offset)
        flight = summarize_flight(prepared, flight_pack.select(rows), selected, powers)
        summary[:, rows] = flight
        samples[rows], used[rows], gap_duration[rows] = report.samples, count, report.gap_duration
        step[rows] = report.median_step if count > 1 else np.nan
        unused[rows] = _shorten(", ".join(recording.unused)) or "none"
        punch_outs.append((rows, _punch_out_columns(prepared.punch_outs, selected, flight.current_scale, powers)))
        exclusions.append((rows, _excluded(recording, report)))
    tables = _punch_out_table(punch_outs, len(log)), _left_out_table(exclusions, len(log))
    return LogSummary(FlightSummary(*summary), samples, used, step, gap_duration, unused, *tables)


def _shorten(text: str) -> str:
    return text if len(text) <= MAX_COLUMN_TEXT else text[: MAX_COLUMN_TEXT - 4] + " ..."


def lacks_channels(log: RecordingArray, channels: tuple[str, ...]) -> BoolArray:
    """Return whether (N,) a recording has no value at all in any of these channels."""
    return np.array(
        [
            isinstance(recording, Recording)
            and not any(np.isfinite(getattr(recording.samples, channel)).any() for channel in channels)
            for recording in log
        ]
    )


def has_left_out(left_out: LeftOutSamples, reason: str) -> BoolArray:
    """Return whether (N,) anything was left out for a reason."""
    return np.asarray((left_out.reason == REASONS.index(reason)).any(axis=1))


class _Excluded(NamedTuple):
    reason: str
    number: int
    first_row: int
    """Row of the first from 1; 0 where there is none."""
    text: str = ""
    """Column and content of the first."""


def _excluded(recording: Recording, report: rec.CleaningReport) -> list[_Excluded]:
    excluded = [
        _Excluded(cell.reason, cell.count, cell.first_row, f"{cell.column}: {cell.first_text}")
        for cell in recording.unread
    ]
    for reason, samples in (
        ("untimed", report.untimed),
        ("repeated-time", report.repeated),
        ("backward-time", report.backward),
        ("dropped-out", report.dropped_out),
        ("before-or-after", report.outside),
        ("in-a-gap", report.gaps),
    ):
        excluded.append(_Excluded(reason, samples.number, samples.first + 1))
    excluded.append(_Excluded("before-the-header", recording.skipped_lines, 0))
    return [each for each in excluded if each.number > 0]


def _left_out_table(by_rows: list[tuple[NDArray[np.intp], list[_Excluded]]], count: int) -> LeftOutSamples:
    width = max((len(exclusions) for _, exclusions in by_rows), default=0)
    reason = np.full((count, width), -1, dtype=np.intp)
    number, first_row = np.full((2, count, width), np.nan)
    text = np.full((count, width), "", dtype="<U80")
    for rows, exclusions in by_rows:
        for at, each in enumerate(exclusions):
            reason[rows, at], number[rows, at], text[rows, at] = REASONS.index(each.reason), each.number, each.text[:80]
            first_row[rows, at] = each.first_row if each.first_row > 0 else np.nan
    return LeftOutSamples(reason, number, first_row, text)


def _punch_out_columns(
    punch_outs: PunchOuts, corrections: SensorCorrections, current_scale: Array, powers: RecordedPowers
) -> Array:
    """Return the columns of `PunchOut` (6, N, P) for N corrections."""
    offset, voltage_scale = corrections.current_offset[:, None], corrections.voltage_scale[:, None]
    scale = current_scale[:, None]
    columns = np.empty((6, len(scale), len(punch_outs.start)))
    columns[0], columns[1] = punch_outs.start, punch_outs.length
    columns[2] = scale * (punch_outs.peak_current - offset)
    columns[3] = scale * voltage_scale * powers.of_punch_outs
    columns[4] = voltage_scale * (punch_outs.voltage_before - punch_outs.lowest_voltage)
    columns[5] = voltage_scale * punch_outs.lowest_voltage
    return columns


def _punch_out_table(by_rows: list[tuple[NDArray[np.intp], Array]], count: int) -> PunchOut:
    width = max((columns.shape[2] for _, columns in by_rows), default=0)
    table = np.full((6, count, width), np.nan)
    for rows, columns in by_rows:
        table[:, rows, : columns.shape[2]] = columns
    return PunchOut(*table)


def corrected_channels(
    log: RecordingArray, *, longest_gap: Array, begin: Array, end: Array, corrections: SensorCorrections
) -> RecordedChannels | None:
    """Return the first of N recordings for a chart, cleaned and corrected, with times from its first sample.

    None where nothing of it can be used.
    """
    for _, _, prepared in group_by_recording(log[:1], longest_gap, begin, end):
        recording = prepared.recording
        current_scale, offset, voltage_scale = (float(values[0]) for values in corrections[:3])
        channels = {
            "voltage": voltage_scale * recording.voltage,
            "current": (1.0 if np.isnan(current_scale) else current_scale) * (recording.current - offset),
            "throttle": recording.throttle,
        }
        recorded = {name: values for name, values in channels.items() if np.isfinite(values).any()}
        if recorded and len(recording.time) > 1:
            return RecordedChannels(recording.time, recorded)
    return None
