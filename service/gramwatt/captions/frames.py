"""Interpolate a recording at the frames of a video."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Final, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from gramwatt.arrays import Array, BoolArray
from gramwatt.captions.smoothing import (
    find_known_steps,
    find_recorded,
    group_by_samples,
    integrate_to,
    running_integral,
    smooth,
    surroundings,
)
from gramwatt.physics.recording import CleanRecording

FrameNumbers: TypeAlias = NDArray[np.int64]

MAX_FRAMES: Final = 250_000
"""Frames in one response."""
FRAME_NUMBER_LIMIT: Final = 2**31
"""All frame numbers are below it, so that number x denominator of the rate is exact in a double."""
_TOLERANCE: Final = Fraction(1, 1_000_000)  # s: instants closer than this are the same


class Frames(NamedTuple):
    """Values by frame, arrays (F,); nan where the recording has none."""

    number: FrameNumbers
    """Frame n is shown at n / rate of the video."""
    instant: Array
    """Since the recording's first sample [s]; below 0 before it."""
    flight_time: Array
    """The instant, where it is recorded [s]."""
    voltage: Array
    """[V]"""
    cell_voltage: Array
    """Voltage of the lowest cell as recorded, else pack voltage over cells [V]."""
    current: Array
    """[A]"""
    power: Array
    """[W]"""
    throttle: Array
    """Share of full throttle."""
    charge_used: Array
    """Used since the recording's first sample [A s]."""
    energy_used: Array
    """Used since the recording's first sample [J]."""
    state_of_charge: Array
    """Charge left, as a share of the pack's capacity."""
    peak_current: Array
    """Highest since the recording's first sample [A]."""
    peak_power: Array
    """Highest since the recording's first sample [W]."""


class _Positions(NamedTuple):
    """Positions of frames among samples, arrays (F,): the sample before, seconds after it, the share of the step."""

    step: NDArray[np.intp]
    seconds: Array
    share: Array
    inside: BoolArray


def find_frame_span(
    recording: CleanRecording, *, rate: Fraction, offset: float, begin: float, end: float
) -> tuple[int, int]:
    """Return the first frame and the number of frames from ``begin`` to before ``end`` [s] of the video.

    Nan means the start and the end of the recording, whose first sample is ``offset`` seconds into the video; a frame
    at its very last sample is included. There are no frames before the video's first. An instant within a microsecond
    of a frame counts as that frame.
    """
    length = float(recording.time[-1] - recording.time[0]) if len(recording.time) else 0.0
    start = Fraction(begin if math.isfinite(begin) else offset)
    first = max(0, math.ceil((start - _TOLERANCE) * rate))
    if math.isfinite(end):
        after = math.ceil((Fraction(end) - _TOLERANCE) * rate)
    else:
        after = math.floor((Fraction(offset) + Fraction(length) + _TOLERANCE) * rate) + 1
    return first, max(0, after - first)


def sample_frames(
    recording: CleanRecording,
    *,
    rate: Fraction,
    offset: float = 0.0,
    begin: float = math.nan,
    end: float = math.nan,
    smoothing: float = 0.0,
    cells: float = math.nan,
    capacity: float = math.nan,
    start_state_of_charge: float = 1.0,
    current_scale: float = 1.0,
    current_offset: float = 0.0,
    voltage_scale: float = 1.0,
) -> Frames:
    """Return the values of a recording at each frame's instant.

    Voltage, current, power, cell voltage and throttle are smoothed over ``smoothing`` [s] (see `smoothing.smooth`) and
    interpolated linearly. Where a sample that stands out lies between a frame and the next, the frame shows that
    sample, in all channels. Charge and energy are integrals of the unsmoothed lines, exact at the frame's instant,
    since the recording's first sample, wherever ``begin`` is. Peaks are the highest sample, or the highest value shown,
    so far.

    Parameters
    ----------
    recording : (K,) samples.
    rate : frames per second of video [1/s].
    offset : time of the first sample in the video; may be negative [s].
    begin, end : part of the video, without ``end``; for nan see `find_frame_span` [s].
    smoothing : window of the running mean; 0 leaves the samples as they are [s].
    cells : in series, for the cell voltage where that was not recorded.
    capacity, start_state_of_charge : of the pack [A s], and the share of it that was left at the first sample.
    current_scale, current_offset, voltage_scale : true current = scale x (recorded - offset [A]); the same for voltage.

    Raises
    ------
    ValueError
        There are more than `MAX_FRAMES`, or their numbers reach `FRAME_NUMBER_LIMIT`.
    """
    first, count = find_frame_span(recording, rate=rate, offset=offset, begin=begin, end=end)
    if count > MAX_FRAMES or first + count > FRAME_NUMBER_LIMIT:
        raise ValueError(f"{count} frames from number {first} on; at most {MAX_FRAMES}")
    number = np.arange(first, first + count, dtype=np.int64)
    instant = number * rate.denominator / rate.numerator - offset
    if len(recording.time) == 0:
        return Frames(number, instant, *(np.full(count, np.nan) for _ in Frames._fields[2:]))
    recording = recording._replace(time=recording.time - recording.time[0])
    positions = _locate(recording, instant)
    current = current_scale * (recording.current - current_offset)
    voltage = voltage_scale * recording.voltage
    power = voltage * current
    cell = recording.cell_voltage if np.isfinite(recording.cell_voltage).any() else voltage / cells
    period = float(1 / rate)
    shown = _smooth_at_frames(
        recording, np.array([voltage, cell, power, current, recording.throttle]), positions, instant, period, smoothing
    )
    flows = np.array([power, current])
    energy, charge = _integrate(recording, flows, positions)
    peak_power, peak_current = _running_maxima(recording, flows, shown[2:4], instant, period)
    return Frames(
        number=number,
        instant=instant,
        flight_time=np.where(positions.inside, np.minimum(np.maximum(instant, 0.0), recording.time[-1]), np.nan),
        voltage=shown[0],
        cell_voltage=shown[1],
        power=shown[2],
        current=shown[3],
        throttle=shown[4],
        charge_used=charge,
        energy_used=energy,
        state_of_charge=start_state_of_charge - charge / capacity,
        peak_current=peak_current,
        peak_power=peak_power,
    )


def _locate(recording: CleanRecording, instant: Array) -> _Positions:
    last = len(recording.time) - 1
    slack = float(_TOLERANCE)
    at = np.where((instant < 0) & (instant >= -slack), 0.0, instant)
    at = np.where((at > recording.time[-1]) & (at <= recording.time[-1] + slack), recording.time[-1], at)
    step = np.minimum(np.maximum(np.searchsorted(recording.time, at, "right") - 1, 0), last)
    seconds = at - recording.time[step]
    after = np.minimum(step + 1, last)
    length = recording.time[after] - recording.time[step]
    share = np.divide(seconds, length, out=np.zeros(len(at)), where=length > 0)
    counts = np.concatenate((recording.counts, [False]))[step]
    inside = (seconds == 0) | (counts & (seconds > 0))
    return _Positions(step, np.where(inside, seconds, 0.0), np.where(inside, share, 0.0), inside)


def _has_values(recording: CleanRecording, values: Array, positions: _Positions) -> BoolArray:
    """Return the frames (F,) at which channels (..., K) have a value: with values at both ends of the step."""
    links = np.concatenate((find_known_steps(recording, values), [False]))[positions.step]
    found: BoolArray = positions.inside & find_recorded(values)[positions.step] & (links | (positions.seconds == 0))
    return found


def _interpolate(values: Array, positions: _Positions) -> Array:
    after = np.minimum(positions.step + 1, values.shape[-1] - 1)
    start = values[..., positions.step]
    return np.where(positions.share > 0, start + positions.share * (values[..., after] - start), start)


def _smooth_at_frames(
    recording: CleanRecording, channels: Array, positions: _Positions, instant: Array, period: float, smoothing: float
) -> Array:
    """Return channels (C, K) at frames (C, F): smoothed, or the sample in the frame that stands out most in any."""
    shown = np.full((len(channels), len(instant)), np.nan)
    prominences = np.zeros(len(recording.time))
    window = max(smoothing, 2 * period)  # a sample between frames affects both of them
    for rows in group_by_samples(channels):
        values = channels[rows]
        around = surroundings(recording, values, window)
        smoothed = smooth(recording, values, smoothing, around if smoothing == window else None)
        shown[rows] = np.where(_has_values(recording, values, positions), _interpolate(smoothed, positions), np.nan)
        prominences = np.fmax(prominences, np.fmax.reduce(around.prominence, axis=0))
    peaks = np.flatnonzero(prominences > 1)
    peaks = peaks[np.argsort(prominences[peaks], kind="stable")]  # the highest comes last and overwrites the others
    frame = np.searchsorted(instant, recording.time[peaks] + float(_TOLERANCE), "right") - 1
    within = (frame >= 0) & (recording.time[peaks] < (instant[-1] if len(instant) else 0.0) + period)
    peaks, frame = peaks[within], frame[within]
    channel, peak = np.nonzero(np.isfinite(shown[:, frame]) & np.isfinite(channels[:, peaks]))
    shown[channel, frame[peak]] = channels[channel, peaks[peak]]
    return shown


def _integrate(recording: CleanRecording, flows: Array, positions: _Positions) -> Array:
    """Return the integrals (C, F) of flows (C, K) up to each frame."""
    found = np.full((len(flows), len(positions.step)), np.nan)
    for rows in group_by_samples(flows):
        values = flows[rows]
        level = np.where(find_recorded(values), values, 0.0)
        total = integrate_to(recording, level, running_integral(recording, values), positions.step, positions.seconds)
        found[rows] = np.where(_has_values(recording, values, positions), total, np.nan)
    return found


def _running_maxima(recording: CleanRecording, values: Array, shown: Array, instant: Array, period: float) -> Array:
    """Return the highest sample before a frame ends (C, F), or value shown until then; nan where none is shown."""
    before = np.searchsorted(recording.time, instant + period - float(_TOLERANCE), "left") - 1
    so_far = np.fmax.accumulate(values, axis=-1)[:, np.maximum(before, 0)]
    so_far = np.where(before >= 0, so_far, np.nan)
    greatest = np.fmax.accumulate(np.fmax(shown, -np.inf), axis=-1)
    return np.where(np.isfinite(shown), np.fmax(greatest, so_far), np.nan)
