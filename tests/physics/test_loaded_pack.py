"""A pack's resistance from its own series. The packs are invented: a rested curve behind a resistance, with noise."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from gramwatt.physics.loaded_pack import MAX_GROUPS, MIN_SAMPLES, ResistanceFit, fit_resistance, group_samples
from gramwatt.physics.recording import CleanRecording
from simulated_flights import CAPACITY, flown


def some(course: CleanRecording, which: slice) -> CleanRecording:
    """Return some of the samples."""
    time = course.time[which]
    counts = np.ones(len(time) - 1, dtype=np.bool_)
    lacking = course.throttle[which]
    return CleanRecording(time, course.voltage[which], course.current[which], lacking, lacking, counts)


def fit(course: CleanRecording, **how: Any) -> ResistanceFit:
    """With the sensors right and the pack known, by default."""
    output = {
        "scale": 1.0, "offset": 0.0, "voltage_scale": 1.0, "cells": 4.0, "capacity": CAPACITY,
        "start_state_of_charge": 1.0,
        **how,
    }  # fmt: skip
    arrays = {name: np.array([value]) for name, value in output.items()}
    return fit_resistance(course, chemistry=np.zeros(1, dtype=np.intp), **arrays)


@pytest.mark.parametrize(("both", "enough"), [(MIN_SAMPLES - 1, False), (MIN_SAMPLES, True)])
def test_only_samples_with_voltage_and_current_count(both: int, enough: bool) -> None:
    time = np.arange(3.0 * MIN_SAMPLES)
    lacking = np.full(len(time), np.nan)
    voltage, current = np.full((2, len(time)), 15.0)
    voltage[both:] = np.nan
    counts = np.ones(len(time) - 1, dtype=np.bool_)
    assert (group_samples(CleanRecording(time, voltage, current, lacking, lacking, counts)) is not None) is enough


def test_when_a_recording_began_does_not_matter() -> None:
    """A clock's start, in whole seconds, which no sum of times rounds."""
    course = flown(5, relaxing=(0.02, 3.0))
    shifted = fit(course._replace(time=course.time + 4096))
    for one, other in zip(fit(course), shifted, strict=True):
        np.testing.assert_allclose(other, one, rtol=1e-6)


def test_charge_is_that_at_each_sample() -> None:
    """By hand: a steady 3 A is 3 A s a second; samples 2 s apart."""
    time = np.arange(0.0, 60, 2)
    lacking = np.full(len(time), np.nan)
    steady = CleanRecording(
        time,
        np.full(len(time), 15.0),
        np.full(len(time), 3.0),
        lacking,
        lacking,
        np.ones(len(time) - 1, dtype=np.bool_),
    )
    made = group_samples(steady)
    assert made is not None
    assert made.charge[1:-1].tolist() == (3 * time[1:-1]).tolist()
    assert made.counted[1:-1].tolist() == time[1:-1].tolist()


@pytest.mark.parametrize(
    "how",
    [
        pytest.param({}, id="plain"),
        pytest.param({"resistance": 0.02}, id="a strong pack"),
        pytest.param({"resistance": 0.12}, id="a tired one"),
        pytest.param({"start": 0.93}, id="started less full than given"),
        pytest.param({"hertz": 5, "volts": 0.03, "amps": 0.3}, id="few and noisy samples"),
        pytest.param({"hertz": 50}, id="many samples"),
        pytest.param({"size": 0.35}, id="gentle flying"),
        pytest.param({"chemistry": 2}, id="another curve than the one assumed"),
    ],
)
def test_the_resistance_lies_within_its_stated_uncertainty(how: dict[str, Any]) -> None:
    """In at least 95 of 100 seeds within two standard errors, which are few per cent; no bias to speak of."""
    true = how.get("resistance", 0.05)
    found = [fit(flown(seed, **how)) for seed in range(100)]
    resistance, error = (
        np.array([getattr(each, name)[0] for each in found]) for name in ("resistance", "standard_error")
    )
    assert (np.abs(resistance - true) <= 2 * error).sum() >= 95
    assert np.median(error) < 0.06 * true
    assert resistance.mean() == pytest.approx(true, rel=0.02)


def test_the_standard_error_is_that_of_newey_and_west() -> None:
    """By the definition: autocovariances of the scores, lag by lag, with Bartlett's weights.

    Numpy.polyfit takes the drift off. The capacity is not reported, so that no rested voltage counts.
    """
    course = flown(5, amps=0.0)
    groups = group_samples(course)
    assert groups is not None
    found = fit(course, capacity=np.nan)
    time = groups.time - groups.time.mean()
    current, sag = (
        values - np.polyval(np.polyfit(time, values, 1), time) for values in (groups.current, groups.voltage)
    )
    resistance = -(current @ sag) / (current @ current)
    score = current * (sag + resistance * current)
    many, lags = len(score), groups.lags
    assert lags > 10
    variance = score @ score + sum(
        2 * (1 - lag / (lags + 1)) * (score[lag:] @ score[:-lag]) for lag in range(1, lags + 1)
    )
    scatter = max(variance, score @ score) * many / (many - 3) / (current @ current) ** 2
    noise = groups.noise / (current @ current / many)
    assert found.resistance[0] == pytest.approx(resistance, rel=1e-9)
    assert found.standard_error[0] == pytest.approx(np.sqrt(scatter + resistance**2 * (0.02**2 + noise**2)), rel=1e-7)


@pytest.mark.parametrize("constant", [0.3, 3.0])
def test_of_what_relaxes_slowly_a_part_is_found(constant: float) -> None:
    """By construction: at least the ohmic part, at most all; most of the quicker part, less than half of the slower."""
    found = [fit(flown(seed, relaxing=(0.02, constant))).resistance[0] for seed in range(10)]
    assert all(0.05 < each < 0.07 for each in found)
    share = (np.mean(found) - 0.05) / 0.02
    assert share > 0.6 if constant < 1 else share < 0.5


def test_without_a_pack_the_drift_stands_for_the_rested_voltage() -> None:
    course = flown(1, seconds=60)
    found = fit(course, cells=np.nan, capacity=np.nan)
    assert found.resistance[0] == pytest.approx(0.05, rel=0.1)
    assert found.standard_error[0] > fit(course).standard_error[0]


def test_sensors_corrections() -> None:
    """Derived: without the rested curve R' = v R / s, whatever the offset."""
    course = flown(2)
    alone = fit(course, cells=np.nan)
    moved = fit(course, cells=np.nan, scale=1.25, offset=0.7, voltage_scale=0.9)
    assert moved.resistance[0] == pytest.approx(alone.resistance[0] * 0.9 / 1.25, rel=1e-9)
    assert moved.current_spread[0] == pytest.approx(alone.current_spread[0] * 1.25, rel=1e-9)


def test_many_samples_are_averaged_in_groups() -> None:
    """A flight at 100 Hz, and every tenth sample of it, agree within their errors."""
    many = flown(3, hertz=100)
    assert len(many.time) > 2 * MAX_GROUPS
    few = some(many, slice(None, None, 10))
    one, other = fit(many), fit(few)
    assert one.resistance[0] == pytest.approx(other.resistance[0], abs=2 * other.standard_error[0])
    assert one.resistance[0] == pytest.approx(0.05, abs=2 * one.standard_error[0])


def test_noise_is_reported_from_its_least_scatter() -> None:
    """By simulation: of white noise of variance 1 the smallest scatter, times the factor, is 1 on average."""
    found = []
    for seed in range(200):
        noise = np.random.default_rng(seed).normal(0, 1, 2000)
        lacking = np.full(2000, np.nan)
        course = CleanRecording(
            np.arange(2000.0), np.full(2000, 15.0), noise, lacking, lacking, np.ones(1999, dtype=np.bool_)
        )
        groups = group_samples(course)
        assert groups is not None
        found.append(groups.noise)
    assert np.mean(found) == pytest.approx(1, rel=0.03)


@pytest.mark.parametrize(
    "spoil",
    [
        pytest.param(lambda c: c._replace(current=np.full(len(c.time), 8.0)), id="a current that stands still"),
        pytest.param(lambda c: c._replace(current=8 + c.current / 100), id="one that hardly varies"),
        pytest.param(lambda c: c._replace(voltage=np.full(len(c.time), np.nan)), id="no voltage"),
        pytest.param(lambda c: c._replace(current=-c.current), id="a current of the wrong sign"),
        pytest.param(
            lambda c: c._replace(voltage=np.random.default_rng(0).normal(15, 3, len(c.time))), id="volts of chance"
        ),
        pytest.param(lambda c: some(c, slice(MIN_SAMPLES - 1)), id="too few samples"),
    ],
)
def test_what_tells_no_resistance(spoil: Any) -> None:
    found = fit(spoil(flown(4)))
    assert np.isnan(found.resistance[0])
    assert np.isnan(found.standard_error[0])
