"""A recording made good, and sums over it: closed forms, SciPy, an open dataset, and what is left out."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import trapezoid

from gramwatt.model import Array
from gramwatt.physics.punch_outs import MAX_PUNCH_OUTS, find_punch_outs
from gramwatt.physics.recording import (
    CleaningReport,
    CleanRecording,
    clean,
    corrected_charge,
    corrected_energy,
    cumulative_integral,
    integrate,
    median_step,
    sample_weights,
    time_reached,
)
from gramwatt.physics.statistics import percentiles, thin


def course(
    time: Array, voltage: Array | float = 10.0, current: Array | float = 1.0, *, gap: float = np.inf
) -> CleanRecording:
    """Return samples that are all good; steps longer than a gap do not count."""
    lacking = np.full(len(time), np.nan)
    volts, amps = (np.broadcast_to(np.asarray(each, dtype=np.float64), time.shape) for each in (voltage, current))
    return CleanRecording(time, volts, amps, lacking, lacking, np.diff(time) <= gap)


def made(time: Any, voltage: Any = None, current: Any = None, **how: float) -> CleaningReport:
    """`clean` of lists, None for nothing."""
    times = np.array(time, dtype=np.float64)
    lacking = np.full(times.shape, np.nan)
    volts, amps = (lacking if each is None else np.array(each, dtype=np.float64) for each in (voltage, current))
    return clean(times, volts, amps, lacking, lacking, **how)


@pytest.mark.parametrize(
    ("current", "charge", "bound"),
    [
        pytest.param(lambda t: np.full_like(t, 7.0), 7.0 * 60, 1e-12, id="constant: exact"),
        pytest.param(lambda t: t / 6, 60**2 / 12, 1e-12, id="ramp: the rule is exact for straight lines"),
        pytest.param(lambda t: 5 + 3 * np.sin(t), 5 * 60 + 3 * (1 - np.cos(60.0)), 60 * 0.1**2 / 12 * 3,
                     id="sine: within T h^2 / 12 times the largest second derivative"),
    ],
)  # fmt: skip
def test_charge_and_energy_of_closed_forms(current: Callable[[Array], Array], charge: float, bound: float) -> None:
    time = np.linspace(0, 60, 601)
    flights_done = course(time, 12.0, current(time))
    sums = integrate(flights_done)
    one, nothing = np.ones(1), np.zeros(1)
    assert corrected_charge(sums, scale=one, offset=nothing)[0] == pytest.approx(charge, rel=1e-12, abs=bound)
    energy = corrected_energy(sums, scale=one, offset=nothing, voltage_scale=one)[0]
    assert energy == pytest.approx(12 * charge, rel=1e-12, abs=12 * bound)


uneven = st.integers(2, 60).flatmap(
    lambda n: st.tuples(
        st.lists(st.floats(0.01, 5), min_size=n, max_size=n), st.lists(st.floats(-50, 50), min_size=n, max_size=n)
    )
)


@given(uneven, st.floats(0.5, 2), st.floats(-2, 2), st.floats(0.5, 2))
def test_sums_are_scipys_whatever_the_sensors_correction(
    series: tuple[list[float], list[float]], scale: float, offset: float, voltage_scale: float
) -> None:
    """scipy.integrate.trapezoid of the corrected series; the closed forms are derived."""
    time, current = np.cumsum(series[0]), np.array(series[1])
    voltage = 15 + current / 100
    flights_done = course(time, voltage, current)
    sums = integrate(flights_done)
    corrected = scale * (current - offset)
    one = np.ones(1)
    charge = corrected_charge(sums, scale=scale * one, offset=offset * one)[0]
    energy = corrected_energy(sums, scale=scale * one, offset=offset * one, voltage_scale=voltage_scale * one)[0]
    assert charge == pytest.approx(trapezoid(corrected, time), rel=1e-9, abs=1e-9)
    assert energy == pytest.approx(trapezoid(corrected * voltage_scale * voltage, time), rel=1e-9, abs=1e-9)
    assert cumulative_integral(flights_done, current)[-1] == pytest.approx(sums.current, rel=1e-9, abs=1e-9)
    assert sample_weights(flights_done).sum() == pytest.approx(time[-1] - time[0], rel=1e-12)


def test_a_gap_counts_nowhere() -> None:
    """By hand: 2 A for 2 s and for 3 s, with 100 s between them that do not count."""
    flights_done = course(np.array([0.0, 1, 2, 102, 105]), 10.0, 2.0, gap=3)
    assert integrate(flights_done)[:3] == pytest.approx((5, 50, 10), rel=1e-12)
    assert cumulative_integral(flights_done, flights_done.current).tolist() == [0, 2, 4, 4, 10]


@pytest.mark.parametrize("flight", [2, 5, 7])
def test_measured_power_of_a_real_flight(reference_data: Path, flight: int) -> None:
    """Rodrigues et al.

    2021, Sci. Data 8:155 (CC BY 4.0): the power series against the paper's data's own table of means by phase, to its
    printed digits; and the time-weighted mean of a phase, which differs by its ends alone.
    """
    with (reference_data / "flight" / f"cmu_flight_{flight}_power_series.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    with (reference_data / "flight" / "cmu_power_by_phase.csv").open(newline="") as file:
        table = next(row for row in csv.DictReader(file) if int(row["flight"]) == flight)
    for phase, name in (("takeOff", "takeoff"), ("cruise", "cruise"), ("landing", "landing")):
        power = np.array([float(row["P_measured_W"]) for row in rows if row["phase"] == phase])
        assert len(power) == int(table[f"n_{name}"])
        assert power.mean() == pytest.approx(float(table[f"P_{name}_W"]), abs=0.006)
        flights_done = course(np.arange(len(power)) / 5, 1.0, power)
        sums = integrate(flights_done)
        by_ends = (np.abs(power - power.mean()).max()) / (len(power) - 1)
        assert sums.power / sums.duration == pytest.approx(float(table[f"P_{name}_W"]), abs=by_ends + 0.006)


@given(
    st.lists(st.tuples(st.floats(-100, 100), st.floats(0, 5)), min_size=1, max_size=60),
    st.lists(st.floats(0.01, 1), min_size=1, max_size=4),
)
def test_percentiles_are_those_of_a_weighted_sort(samples: list[tuple[float, float]], shares: list[float]) -> None:
    """By brute force: the smallest value that, with all below it, has the share of the weight."""
    values, w = (np.array(column) for column in zip(*samples, strict=True))
    found = percentiles(values, w, np.array(shares))
    if w.sum() <= 0:
        assert np.isnan(found).all()
        return
    for share, value in zip(shares, found, strict=True):
        reached = [v for v in sorted(values) if w[values <= v].sum() >= share * w.sum() * (1 - 1e-9)]
        below = [v for v in sorted(values) if w[values <= v].sum() >= share * w.sum() * (1 + 1e-9)]
        assert value in {reached[0], *below[:1]}


@pytest.mark.parametrize("samples", [1, 6, 500, 5000])
def test_percentiles_of_rows_are_those_of_each(samples: int) -> None:
    """Few samples are sorted all together, of many those of one class by row: bit for bit the same."""
    random = np.random.default_rng(samples)
    rows, w = random.normal(20, 5, (3, samples)), random.random(samples) + 0.1
    shares = np.array([0.05, 0.5, 0.995])
    found = percentiles(rows, w, shares)
    assert found.tolist() == [percentiles(row, w, shares).tolist() for row in rows]
    sorted_rows = [np.argsort(row) for row in rows]
    by_sort = [
        [row[order][(np.cumsum(w[order]) < share * w.sum() * (1 - 1e-12)).sum()] for share in shares]
        for row, order in zip(rows, sorted_rows, strict=True)
    ]
    assert found.tolist() == by_sort


def test_percentiles_of_even_weights_are_numpys() -> None:
    """numpy.quantile, method inverted_cdf."""
    values = np.random.default_rng(1).normal(0, 5, 20_000)
    shares = np.array([0.05, 0.5, 0.95, 0.995])
    expected = np.quantile(values, shares, method="inverted_cdf")
    assert percentiles(values, np.ones(len(values)), shares).tolist() == expected.tolist()


def test_many_samples_are_thinned_evenly() -> None:
    """What is looked at of a million samples shows the median within its own error, sd / sqrt(n) times 1.25."""
    values = np.random.default_rng(2).normal(0, 1, 1_000_000)
    few = thin(values)
    assert 50_000 < len(few) <= 100_000
    assert np.median(few) == pytest.approx(np.median(values), abs=4 * 1.25 / np.sqrt(len(few)))
    assert len(thin(values[:100_000])) == 100_000
    assert median_step(np.full(300_000, 0.01)) == 0.01


@pytest.mark.parametrize(
    ("time", "voltage", "current", "preserved", "causes"),
    [
        pytest.param([0, 1, 1, 2], [9, 8, 7, 6], None, [0, 1, 3], {"repeated": (1, 2)}, id="a time twice"),
        pytest.param([0, 2, 1, 3], [9, 8, 7, 6], None, [0, 1, 3], {"backward": (1, 2)}, id="a step back"),
        pytest.param([0, 1, 999, 2, 3], [9, 8, 7, 6, 5], None, [0, 1, 3, 4], {"backward": (1, 2)}, id="a leap ahead"),
        pytest.param([0, np.nan, 2], [9, 8, 7], None, [0, 2], {"untimed": (1, 1)}, id="no time"),
        pytest.param([0, 1, 2], [9, np.nan, 7], [1, 1, 1], [0, 2], {"dropped_out": (1, 1)}, id="no voltage there"),
        pytest.param([0, 1, 2], [9, 8, 7], [1, np.nan, 1], [0, 2], {"dropped_out": (1, 1)}, id="no current there"),
        pytest.param([0, 1, 2, 3, 4], [9, 0, 9, 1.7, 9], None, [0, 2, 4], {"dropped_out": (2, 1)}, id="failed volts"),
        pytest.param([0, 1, 2], [0, 0, 0], [1, 1, 1], [0, 1, 2], {}, id="all zeros are what they are"),
        pytest.param([0, 1, 2], None, [1, 1, 1], [0, 1, 2], {}, id="a channel never recorded is no dropout"),
        pytest.param([0, 1, 1, 2], [9, np.nan, 8, 7], None, [0, 2, 3], {"dropped_out": (1, 1)},
                     id="a failed reading keeps no time from the next"),
        pytest.param([5, 6, 100, 101], [9, 9, 9, 9], None, [0, 1, 2, 3], {"gaps": (1, 1)}, id="a gap"),
        pytest.param([*range(10), *range(20)], None, None, list(range(10)), {"backward": (20, 10)},
                     id="a second flight: none of it, also what is later than the first"),
        pytest.param([*range(10), *range(6, 14)], None, None, [*range(10), *range(14, 18)],
                     {"repeated": (1, 13), "backward": (3, 10)}, id="some repeated, then on"),
        pytest.param([*range(20), *range(12, 26)], None, None, [*range(20), *range(28, 34)],
                     {"repeated": (1, 27), "backward": (7, 20)}, id="less than half once more is no second flight"),
        pytest.param([], [], [], [], {}, id="nothing"),
        pytest.param([3], [9], [1], [0], {}, id="one sample"),
        pytest.param([np.nan, np.nan], [9, 9], [1, 1], [], {"untimed": (2, 0)}, id="no times at all"),
    ],
)  # fmt: skip
def test_what_is_left_out(
    time: list[float], voltage: object, current: object, preserved: list[int], causes: dict[str, tuple[int, int]]
) -> None:
    """By hand."""
    cleaned = made(time, voltage, current)
    assert cleaned.recording.time.tolist() == [time[at] - time[preserved[0]] for at in preserved]
    names = ("untimed", "repeated", "backward", "dropped_out", "outside", "gaps")
    output = {name: tuple(getattr(cleaned, name)) for name in names if getattr(cleaned, name).number}
    assert output == causes


def test_how_long_a_gap_is() -> None:
    """Two seconds, five usual steps where that is more, or the message."""
    for step, longest, counts in ((0.1, 1.9, True), (0.1, 2.1, False), (1.0, 4.9, True), (1.0, 5.1, False)):
        time = [*(step * at for at in range(10)), 9 * step + longest]
        assert made(time).recording.counts[-1] == counts
        assert made(time, longest_gap=10.0).recording.counts.all()
        assert made(time, longest_gap=10.0).gap_duration == 0


def test_part_of_a_recording() -> None:
    """From the first sample that is used, both ends belong to it."""
    cleaned = made([100, 101, 102, 103, 104], begin=1.0, end=3.0)
    assert cleaned.recording.time.tolist() == [1, 2, 3]
    assert tuple(cleaned.outside) == (2, 0)


@given(st.lists(st.floats(0, 100) | st.just(np.nan), max_size=40), st.lists(st.floats(0, 20), min_size=40, max_size=40))
def test_every_sample_is_used_or_counted_once(time: list[float], voltage: list[float]) -> None:
    cleaned = made(time, voltage[: len(time)])
    rising = cleaned.recording.time
    assert (np.diff(rising) > 0).all()
    causes = ("untimed", "repeated", "backward", "dropped_out", "outside")
    assert len(rising) + sum(getattr(cleaned, name).number for name in causes) == len(time)


def flying(*bursts: tuple[float, float], seconds: float = 120, hertz: float = 20, noise: float = 0.1) -> CleanRecording:
    """Return an invented course: 8 A with noise, and bursts (start, length) of 40 A that sag by 2 V."""
    time = np.arange(0, seconds, 1 / hertz)
    high = np.zeros(len(time), dtype=np.bool_)
    for start, length in bursts:
        high |= (time >= start) & (time < start + length)
    current = np.where(high, 40.0, 8.0) + np.random.default_rng(3).normal(0, noise, len(time))
    return course(time, np.where(high, 13.0, 15.0), current)


def test_bursts_are_found_where_they_are() -> None:
    """By construction; closer than 0.3 s they are one, shorter than 0.2 s none."""
    found = find_punch_outs(flying((10, 2), (30, 1), (31.2, 1), (50, 3), (70, 0.1)))
    assert found.start == pytest.approx([10, 30, 50])
    assert found.length == pytest.approx([2, 2.2, 3], abs=0.051)
    assert found.peak_current == pytest.approx([40] * 3, abs=0.5)
    assert (found.voltage_before - found.lowest_voltage).tolist() == [2, 2, 2]
    assert found.total == 3


def test_a_lone_spike_hides_no_burst() -> None:
    """A sensor's single wrong sample, ten times as high, is one of 2,400."""
    flights_done = flying((10, 2), (30, 1), (50, 3))
    current = flights_done.current.copy()
    current[1800] = 400
    found = find_punch_outs(flights_done._replace(current=current))
    assert found.start == pytest.approx([10, 30, 50])


def test_a_burst_by_hand() -> None:
    """Samples at 20, 20.5 and 21 s of 40 A among 5 A: from the first to the sample after the last."""
    time = np.arange(0.0, 60, 0.5)
    current = np.where((time >= 20) & (time <= 21), 40.0, 5.0)
    found = find_punch_outs(course(time, 15.0, current))
    assert (found.start.tolist(), found.length.tolist()) == ([20], [1.5])
    assert found.peak_current.tolist() == [40]


def test_the_voltage_before_a_burst_is_the_mean_of_a_second() -> None:
    """By hand: ten samples at 15 V, and from half a second before the burst down to 13 V."""
    time = np.arange(600) / 10
    voltage = np.interp(time, [19.45, 20.05], [15, 13])
    found = find_punch_outs(course(time, voltage, np.where((time >= 20) & (time <= 21), 40.0, 5.0)))
    assert found.voltage_before.tolist() == pytest.approx([voltage[190:200].mean()], rel=1e-12)
    assert found.lowest_voltage.tolist() == [13]


@pytest.mark.parametrize("seed", range(10))
def test_steady_flying_has_none(seed: int) -> None:
    chance = np.random.default_rng(seed)
    time = np.arange(0, 120, 0.05)
    for current in (
        8 + chance.normal(0, 0.5, len(time)),
        8 + 2 * np.sin(time) + chance.normal(0, 0.3, len(time)),
        8 + time / 20,
        np.full(len(time), 8.0),
    ):
        assert find_punch_outs(course(time, 15.0, current)).total == 0


@given(st.floats(0.01, 100), st.floats(-100, 100))
def test_scale_and_offset_of_the_sensor_move_no_burst(scale: float, offset: float) -> None:
    flights_done = flying((10, 2), (30, 1), (50, 3))
    moved = find_punch_outs(flights_done._replace(current=scale * flights_done.current + offset))
    assert moved.start.tolist() == find_punch_outs(flights_done).start.tolist()
    assert moved.length.tolist() == find_punch_outs(flights_done).length.tolist()


def test_of_very_many_the_greatest_are_reported() -> None:
    flights_done = flying(*((4.0 * at + 1, 0.5) for at in range(MAX_PUNCH_OUTS + 50)), seconds=1100)
    found = find_punch_outs(flights_done)
    assert found.total == MAX_PUNCH_OUTS + 50
    assert len(found.start) == MAX_PUNCH_OUTS
    assert (np.diff(found.start) > 0).all()
    peaks = [
        flights_done.current[(flights_done.time >= at) & (flights_done.time < at + 0.5)].max()
        for at in 4.0 * np.arange(250) + 1
    ]
    assert sorted(found.peak_current) == sorted(peaks)[-MAX_PUNCH_OUTS:]


@pytest.mark.parametrize(("level", "when"), [(0.0, 5.0), (3.0, 6.5), (12.0, 11.0), (12.5, np.nan)])
def test_when_a_charge_is_used_up(level: float, when: float) -> None:
    """By hand: 2 A from 5 s to 11 s."""
    flights_done = course(np.array([5.0, 7, 11]), 10.0, 2.0)
    assert time_reached(flights_done, cumulative_integral(flights_done, flights_done.current), level) == pytest.approx(
        when, nan_ok=True
    )
