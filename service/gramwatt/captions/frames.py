"""A recording on the frames of a video: each figure at each frame's instant."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Final, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from gramwatt.arrays import Array, BoolArray
from gramwatt.captions.smoothing import alike, integral_at, linked, recorded, running, smooth, surroundings
from gramwatt.physics.recording import CleanRecording

Numbers: TypeAlias = NDArray[np.int64]

MAX_FRAMES: Final = 250_000
"""Frames in one answer."""
LAST_NUMBER: Final = 2**31
"""No frame's number reaches this: up to it, number x denominator of the rate is exact in a double."""
_SAME: Final = Fraction(1, 1_000_000)  # s: instants closer than this are one


class Frames(NamedTuple):
    """Figures by frame, arrays (F,); nan where the recording says nothing."""

    number: Numbers
    """Frame n is shown at n / rate of the video."""
    instant: Array
    """Since the recording's first sample [s]; below 0 before it."""
    time: Array
    """Flight time: the instant where it is recorded [s]."""
    voltage: Array
    """[V]"""
    cell_voltage: Array
    """Of the lowest cell as recorded, else the pack's over its cells [V]."""
    current: Array
    """[A]"""
    power: Array
    """[W]"""
    throttle: Array
    """As a share of full."""
    charge: Array
    """Used since the recording's first sample [A s]."""
    energy: Array
    """Used since the recording's first sample [J]."""
    remaining: Array
    """Charge left as a share of the pack's."""
    peak_current: Array
    """Greatest since the recording's first sample [A]."""
    peak_power: Array
    """Greatest since the recording's first sample [W]."""


class _Places(NamedTuple):
    """Where frames lie among samples, arrays (F,): the sample before, seconds after it, and the share of the step."""

    step: NDArray[np.intp]
    seconds: Array
    share: Array
    inside: BoolArray


def frame_span(course: CleanRecording, *, rate: Fraction, offset: float, begin: float, end: float) -> tuple[int, int]:
    """First frame and how many there are, for seconds ``begin`` to before ``end`` of the video.

    Nan stands for where the recording, whose first sample is ``offset`` seconds into the video, begins and ends (a
    frame at its very last sample is one of them). There are no frames before the video's first. An instant within a
    microsecond of a frame's is the frame's.
    """
    length = float(course.time[-1] - course.time[0]) if len(course.time) else 0.0
    start = Fraction(begin if math.isfinite(begin) else offset)
    first = max(0, math.ceil((start - _SAME) * rate))
    if math.isfinite(end):
        after = math.ceil((Fraction(end) - _SAME) * rate)
    else:
        after = math.floor((Fraction(offset) + Fraction(length) + _SAME) * rate) + 1
    return first, max(0, after - first)


def frames(
    course: CleanRecording,
    *,
    rate: Fraction,
    offset: float = 0.0,
    begin: float = math.nan,
    end: float = math.nan,
    smoothing: float = 0.0,
    cells: float = math.nan,
    capacity: float = math.nan,
    start_charge: float = 1.0,
    current_scale: float = 1.0,
    current_offset: float = 0.0,
    voltage_scale: float = 1.0,
) -> Frames:
    """The figures of a course at each frame's instant.

    Voltage, current, power, cell voltage and throttle are smoothed over ``smoothing`` [s] (see `smoothing.smooth`) and
    lie on straight lines between samples; where a sample that stands out lies between a frame and the next, the frame
    shows that sample, in all channels. Charge and energy are integrals of the unsmoothed lines, exact at the frame's
    instant, from the recording's first sample on, wherever ``begin`` is. Peaks are the greatest sample, or figure
    shown, so far.

    Parameters
    ----------
    course : (K,) samples.
    rate : frames by second of video [1/s].
    offset : seconds into the video at which the first sample stands; may be negative [s].
    begin, end : part of the video that is wanted, ``end`` not included; nan: see `frame_span` [s].
    smoothing : window of the running mean; 0 leaves the samples as they are [s].
    cells : in series; for the cell voltage where that was not recorded.
    capacity, start_charge : of the pack [A s], and what it held at the first sample as a share of that.
    current_scale, current_offset, voltage_scale : true current = scale x (recorded - offset [A]); likewise voltage.

    Raises ValueError where there are more than `MAX_FRAMES`, or their numbers reach `LAST_NUMBER`.
    """
    first, count = frame_span(course, rate=rate, offset=offset, begin=begin, end=end)
    if count > MAX_FRAMES or first + count > LAST_NUMBER:
        raise ValueError(f"{count} frames from number {first} on; at most {MAX_FRAMES}")
    number = np.arange(first, first + count, dtype=np.int64)
    instant = number * rate.denominator / rate.numerator - offset
    if len(course.time) == 0:
        return Frames(number, instant, *(np.full(count, np.nan) for _ in Frames._fields[2:]))
    course = course._replace(time=course.time - course.time[0])
    places = _places(course, instant)
    current = current_scale * (course.current - current_offset)
    voltage = voltage_scale * course.voltage
    power = voltage * current
    cell = course.cell_voltage if np.isfinite(course.cell_voltage).any() else voltage / cells
    period = float(1 / rate)
    shown = _shown(
        course, np.array([voltage, cell, power, current, course.throttle]), places, instant, period, smoothing
    )
    flows = np.array([power, current])
    energy, charge = _totals(course, flows, places)
    peak_power, peak_current = _peaks(course, flows, shown[2:4], instant, period)
    return Frames(
        number=number,
        instant=instant,
        time=np.where(places.inside, np.minimum(np.maximum(instant, 0.0), course.time[-1]), np.nan),
        voltage=shown[0],
        cell_voltage=shown[1],
        power=shown[2],
        current=shown[3],
        throttle=shown[4],
        charge=charge,
        energy=energy,
        remaining=start_charge - charge / capacity,
        peak_current=peak_current,
        peak_power=peak_power,
    )


def _places(course: CleanRecording, instant: Array) -> _Places:
    last = len(course.time) - 1
    slack = float(_SAME)
    at = np.where((instant < 0) & (instant >= -slack), 0.0, instant)
    at = np.where((at > course.time[-1]) & (at <= course.time[-1] + slack), course.time[-1], at)
    step = np.minimum(np.maximum(np.searchsorted(course.time, at, "right") - 1, 0), last)
    seconds = at - course.time[step]
    after = np.minimum(step + 1, last)
    length = course.time[after] - course.time[step]
    share = np.divide(seconds, length, out=np.zeros(len(at)), where=length > 0)
    counts = np.concatenate((course.counts, [False]))[step]
    inside = (seconds == 0) | (counts & (seconds > 0))
    return _Places(step, np.where(inside, seconds, 0.0), np.where(inside, share, 0.0), inside)


def _known(course: CleanRecording, values: Array, places: _Places) -> BoolArray:
    """Frames (F,) where channels (..., K) have a value: inside, and with one at both ends of the step."""
    links = np.concatenate((linked(course, values), [False]))[places.step]
    found: BoolArray = places.inside & recorded(values)[places.step] & (links | (places.seconds == 0))
    return found


def _between(values: Array, places: _Places) -> Array:
    after = np.minimum(places.step + 1, values.shape[-1] - 1)
    start = values[..., places.step]
    return np.where(places.share > 0, start + places.share * (values[..., after] - start), start)


def _shown(
    course: CleanRecording, channels: Array, places: _Places, instant: Array, period: float, smoothing: float
) -> Array:
    """Channels (C, K) on frames (C, F): smoothed, or the sample within the frame that stands out most in any."""
    found = np.full((len(channels), len(instant)), np.nan)
    most = np.zeros(len(course.time))
    window = max(smoothing, 2 * period)  # what a frame and its neighbours show of a sample between them
    for rows in alike(channels):
        values = channels[rows]
        around = surroundings(course, values, window)
        smoothed = smooth(course, values, smoothing, around if smoothing == window else None)
        found[rows] = np.where(_known(course, values, places), _between(smoothed, places), np.nan)
        most = np.fmax(most, np.fmax.reduce(around.prominence, axis=0))
    out = np.flatnonzero(most > 1)
    out = out[np.argsort(most[out], kind="stable")]  # the greatest comes last and stays
    frame = np.searchsorted(instant, course.time[out] + float(_SAME), "right") - 1
    within = (frame >= 0) & (course.time[out] < (instant[-1] if len(instant) else 0.0) + period)
    out, frame = out[within], frame[within]
    channel, crest = np.nonzero(np.isfinite(found[:, frame]) & np.isfinite(channels[:, out]))
    found[channel, frame[crest]] = channels[channel, out[crest]]
    return found


def _totals(course: CleanRecording, flows: Array, places: _Places) -> Array:
    """Integrals (C, F) of flows (C, K) up to each frame."""
    found = np.full((len(flows), len(places.step)), np.nan)
    for rows in alike(flows):
        values = flows[rows]
        level = np.where(recorded(values), values, 0.0)
        total = integral_at(course, level, running(course, values), places.step, places.seconds)
        found[rows] = np.where(_known(course, values, places), total, np.nan)
    return found


def _peaks(course: CleanRecording, values: Array, shown: Array, instant: Array, period: float) -> Array:
    """Greatest sample before a frame ends (C, F), or figure shown up to it; nan where none is shown."""
    before = np.searchsorted(course.time, instant + period - float(_SAME), "left") - 1
    so_far = np.fmax.accumulate(values, axis=-1)[:, np.maximum(before, 0)]
    so_far = np.where(before >= 0, so_far, np.nan)
    greatest = np.fmax.accumulate(np.fmax(shown, -np.inf), axis=-1)
    return np.where(np.isfinite(shown), np.fmax(greatest, so_far), np.nan)
