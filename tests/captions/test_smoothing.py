"""Smoothing: noise goes, what stands out stays."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from captions.recordings import make_recording
from gramwatt.captions.smoothing import group_by_samples, moving_mean, prominence, running_integral, smooth
from gramwatt.model import Array


def noise(deviation: float, count: int) -> Array:
    """Return normal noise, the same each time."""
    return np.random.default_rng(20260101).normal(0, deviation, count)


def uneven(count: int) -> Array:
    """Return times with steps of 5 to 35 ms."""
    return np.cumsum(np.random.default_rng(7).uniform(0.005, 0.035, count))


@pytest.mark.parametrize("value", [0.0, 12.5, -0.1, 1e-9, 1e6 + 0.1])
def test_a_constant_stays_itself(value: float) -> None:
    flat = np.full(200, value)
    assert (smooth(make_recording(uneven(200)), flat, 0.5) == flat).all()


def test_a_ramp_stays_itself_to_the_ends() -> None:
    """A window is symmetrical, so a straight line's mean is its middle."""
    time = uneven(300)
    np.testing.assert_allclose(smooth(make_recording(time), 3 + 2 * time, 0.5), 3 + 2 * time, rtol=1e-12)


def test_nothing_is_smoothed_over_no_window() -> None:
    values = noise(1, 50)
    assert smooth(make_recording(uneven(50)), values, 0.0) is values


@pytest.mark.parametrize("window", [0.1, 0.5])
def test_channels_together_are_as_each_alone(window: float) -> None:
    """Bit for bit: one with crests, one without, one that is still most of the time, all lacking at some samples."""
    time = uneven(400)
    rows = np.array([20 + noise(1, 400), 16 + noise(0.1, 400), np.zeros(400)])
    rows[0, 100:110] += 50
    rows[2, 300:350] = noise(2, 50)
    rows[:, 40:44] = np.nan
    together = smooth(make_recording(time), rows, window)
    for row, channel in zip(together, rows, strict=True):
        np.testing.assert_array_equal(row, smooth(make_recording(time), channel, window))
    standing = prominence(rows - together, rows)
    for row, channel, smoothed in zip(standing, rows, together, strict=True):
        np.testing.assert_array_equal(row, prominence(channel - smoothed, channel))


def test_channels_are_grouped_by_where_they_are_recorded() -> None:
    whole, part, none = np.ones(3), np.array([1, np.nan, 2]), np.full(3, np.nan)
    assert group_by_samples(np.array([part, none, whole, part])) == [[0, 3], [2]]


def test_the_mean_is_weighted_by_time() -> None:
    """By hand: lines through (0, 0), (1, 4), (1.5, 0), (2, 0) have the areas 2 and 1 in the window 0 to 2, of 2 s."""
    mean = moving_mean(make_recording([0, 1, 1.5, 2]), np.array([0.0, 4, 0, 0]), 2.0)
    assert mean[1] == pytest.approx(3 / 2, rel=1e-12)


def test_a_window_that_cuts_a_step_takes_its_part_of_the_trapezoid() -> None:
    """By hand: around t = 1, half a second each way, lines 0..4 and 4..0 lie between 2 and 4: mean 3."""
    mean = moving_mean(make_recording([0, 1, 2]), np.array([0.0, 4, 0]), 1.0)
    np.testing.assert_allclose(mean, [0, 3, 0], rtol=1e-12)


@pytest.mark.parametrize("window", [0.1, 0.5, 2.0])
def test_noise_is_smoothed(window: float) -> None:
    """The deviation of a mean of n goes by 1/sqrt(n), and n is some window / 20 ms; half more is left for chance."""
    noisy = 20 + noise(1, 5000)
    smoothed = smooth(make_recording(uneven(5000)), noisy, window)[200:-200]
    assert smoothed.std() < 1.5 / np.sqrt(window / 0.02)
    assert smoothed.mean() == pytest.approx(20, abs=0.1)


@pytest.mark.parametrize("hertz", [10, 100, 1000])
def test_noise_alone_does_not_stand_out(hertz: int) -> None:
    """However many samples: with three standard deviations alone, 2.7 in a thousand would."""
    values = noise(0.6, 120 * hertz)
    on = make_recording(np.arange(len(values)) / hertz)
    out = prominence(values - moving_mean(on, values, 0.5), values) > 1
    assert np.count_nonzero(out[hertz:-hertz]) <= 2


@pytest.mark.parametrize("deviation", [0.0, 0.4])
@pytest.mark.parametrize("crest", [45.0, -3.0])
def test_a_crest_of_one_sample_survives_and_spreads_no_halo(deviation: float, crest: float) -> None:
    values = 12 + noise(deviation, 2000)
    values[1000] = crest
    smoothed = smooth(make_recording(uneven(2000)), values, 0.5)
    assert smoothed[1000] == crest
    beside = np.delete(smoothed, 1000)[970:1030]
    assert abs(beside - 12).max() <= 3 * deviation


def test_a_punch_keeps_its_onset() -> None:
    """A step of 30 A: the samples beside it are on their own side of it, half a second of smoothing or not."""
    values = np.where(np.arange(2000) >= 1000, 42.0, 12.0) + noise(0.4, 2000)
    smoothed = smooth(make_recording(uneven(2000)), values, 0.5)
    assert abs(smoothed[900:1000] - 12).max() < 2.5
    assert abs(smoothed[1000:1100] - 42).max() < 2.5


def test_a_quiet_craft_on_the_ground_says_nothing_of_noise() -> None:
    """Two thirds of the time at exactly 0.3 A: the noise of the rest is smoothed all the same."""
    values = np.full(6000, 0.3)
    values[4000:] = 15 + noise(0.5, 2000)
    smoothed = smooth(make_recording(uneven(6000)), values, 0.5)
    assert smoothed[4100:5900].std() < 0.2
    assert (smoothed[:3900] == 0.3).all()


def test_no_mean_goes_over_a_gap_or_a_hole() -> None:
    counts = np.ones(99)
    counts[49] = 0
    values = np.where(np.arange(100) < 50, 10.0, 20.0)
    on = make_recording(np.arange(100.0), counts=counts)
    np.testing.assert_array_equal(moving_mean(on, values, 11.0), values)
    holed = values.copy()
    holed[50] = np.nan
    np.testing.assert_array_equal(moving_mean(make_recording(np.arange(100.0)), holed, 11.0), holed)


def test_the_running_integral_passes_over_a_hole() -> None:
    integral = running_integral(make_recording([0, 1, 2, 3, 4]), np.array([2.0, 2, np.nan, 4, 4]))
    np.testing.assert_array_equal(integral, [0, 2, 2, 2, 6])


@given(st.floats(0.01, 100), st.floats(-50, 50))
def test_smoothing_knows_no_unit(scale: float, shift: float) -> None:
    time = uneven(100)
    values = np.random.default_rng(3).normal(0, 1, 100)
    values[40] = 30
    first = smooth(make_recording(time), values, 0.2)
    np.testing.assert_allclose(
        smooth(make_recording(time), scale * values + shift, 0.2), scale * first + shift, atol=1e-9 * scale + 1e-12
    )


def test_the_smallest_recordings() -> None:
    assert smooth(make_recording([5.0]), np.array([3.0]), 1.0).tolist() == [3.0]
    assert smooth(make_recording([5.0, 6.0]), np.array([3.0, 9.0]), 1.0).tolist() == [3.0, 9.0]
    assert np.isnan(smooth(make_recording([5.0, 6.0]), np.full(2, np.nan), 1.0)).all()
