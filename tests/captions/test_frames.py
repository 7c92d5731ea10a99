"""A recording on the frames of a video."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest

from captions.recordings import make_recording
from gramwatt.captions.frames import MAX_FRAMES, find_frame_span, sample_frames

NTSC = Fraction(30000, 1001)
RAMP = make_recording(np.arange(0, 101) / 10 + 1e6, current=np.arange(0, 101) / 10, voltage=16.0)


def span(rate: Fraction, offset: float = 0.0, begin: float = math.nan, end: float = math.nan) -> tuple[int, int]:
    """Of the ramp, 10 s long."""
    return find_frame_span(RAMP, rate=rate, offset=offset, begin=begin, end=end)


@pytest.mark.parametrize(
    ("span", "expected"),
    [
        pytest.param(span(Fraction(25)), (0, 251), id="a-frame-at-the-last-sample-is-one"),
        pytest.param(span(Fraction(25), 2.0), (50, 251), id="later-in-the-video"),
        pytest.param(span(Fraction(25), 2.01), (51, 250), id="the-first-frame-at-or-after"),
        pytest.param(span(Fraction(25), -4.0), (0, 151), id="recorded-before-the-video"),
        pytest.param(span(Fraction(25), -11.0), (0, 0), id="over-before-the-video"),
        pytest.param(span(Fraction(25), 0.0, 1.0, 2.0), (25, 25), id="the-end-is-not-included"),
        pytest.param(span(Fraction(10), 0.0, 0.1, 0.8), (1, 7), id="decimals-as-they-are-meant"),
        pytest.param(span(NTSC, 0.0, 2.002, 4.004), (60, 60), id="on-frames-of-29.97"),
        pytest.param(span(Fraction(25), 0.0, -5.0, 1.0), (0, 25), id="no-frame-before-the-first"),
        pytest.param(span(Fraction(25), 0.0, 3.0, 2.0), (75, 0), id="ends-before-it-begins"),
        pytest.param(span(Fraction(25), 0.0, 0.0, 60.0), (0, 1500), id="more-than-is-recorded"),
    ],
)
def test_the_span_of_frames(span: tuple[int, int], expected: tuple[int, int]) -> None:
    assert span == expected


def test_an_hour_does_not_drift() -> None:
    """A channel that is the time itself is, on frame n, n * 1001 / 30000 - offset: to an ulp of an hour."""
    clock = make_recording(np.arange(0, 36010) / 10, current=np.arange(0, 36010) / 10)
    frames = sample_frames(clock, rate=NTSC, offset=0.5, end=3600.0)
    assert len(frames.number) == 107893 - 15
    for at in (0, 1, 29, 53_977, len(frames.number) - 1):
        exact = Fraction(int(frames.number[at]) * 1001, 30000) - Fraction(1, 2)
        assert abs(Fraction(frames.instant[at]) - exact) < Fraction(1, 10**12)
        assert frames.current[at] == pytest.approx(float(exact), abs=1e-9)
        assert frames.flight_time[at] == frames.instant[at]


def test_the_recordings_clock_does_not_matter() -> None:
    other = RAMP._replace(time=RAMP.time - RAMP.time[0])
    for one, two in zip(sample_frames(RAMP, rate=NTSC), sample_frames(other, rate=NTSC), strict=True):
        np.testing.assert_allclose(one, two, rtol=1e-8)


def test_totals_are_exact_between_samples() -> None:
    """By hand: the integral of I = t is t^2/2, that of 16 V x I is 8 t^2; straight lines between samples are exact."""
    frames = sample_frames(RAMP, rate=Fraction(30), smoothing=1.0)
    # A clock of a million seconds shows 1e-10 s.
    np.testing.assert_allclose(frames.charge_used, frames.instant**2 / 2, rtol=1e-8, atol=1e-9)
    np.testing.assert_allclose(frames.energy_used, 8 * frames.instant**2, rtol=1e-8, atol=1e-8)


def test_totals_count_from_the_recordings_begin() -> None:
    frames = sample_frames(RAMP, rate=Fraction(10), begin=6.0, end=6.1)
    assert frames.charge_used[0] == pytest.approx(18, rel=1e-8)
    assert frames.peak_current[0] == pytest.approx(6.0, rel=1e-8)


def test_corrections_and_the_pack() -> None:
    """By hand at t = 4 s: I = 2 (4 - 1) = 6 A, U = 1.1 x 16 = 17.6 V, Q = 2 (8 - 4) = 8 A s of 80."""
    frames = sample_frames(
        RAMP,
        rate=Fraction(10),
        cells=4,
        capacity=80,
        start_state_of_charge=0.9,
        current_scale=2,
        current_offset=1,
        voltage_scale=1.1,
    )
    channels = (
        frames.current,
        frames.voltage,
        frames.power,
        frames.cell_voltage,
        frames.charge_used,
        frames.state_of_charge,
    )
    np.testing.assert_allclose([values[40] for values in channels], [6, 17.6, 105.6, 4.4, 8, 0.8], rtol=1e-8)


def test_the_recorded_cell_counts_and_is_not_corrected() -> None:
    recording = make_recording([0, 1], voltage=16.0, cell_voltage=3.9)
    frames = sample_frames(recording, rate=Fraction(10), cells=4, voltage_scale=1.1)
    assert (frames.cell_voltage == 3.9).all()


def test_what_was_not_recorded_is_nan() -> None:
    frames = sample_frames(make_recording([0, 1], current=5.0), rate=Fraction(10))
    assert np.isfinite([frames.current, frames.charge_used, frames.peak_current, frames.flight_time]).all()
    others = (frames.voltage, frames.power, frames.cell_voltage, frames.throttle, frames.energy_used, frames.peak_power)
    assert np.isnan([*others, frames.state_of_charge]).all()


def test_frames_in_a_gap_or_outside_have_no_values() -> None:
    recording = make_recording([0, 1, 5, 6], current=[2.0, 2, 4, 4], voltage=10.0, counts=[1, 0, 1])
    frames = sample_frames(recording, rate=Fraction(2), offset=1.0, begin=0.0, end=9.0)
    recorded_frames = np.isfinite(frames.current)
    assert frames.number[recorded_frames].tolist() == [2, 3, 4, 12, 13, 14]
    recorded = ("current", "voltage", "power", "charge_used", "energy_used", "peak_current", "peak_power")
    for name in recorded:
        assert (np.isfinite(getattr(frames, name)) == recorded_frames).all(), name
    np.testing.assert_allclose(frames.charge_used[recorded_frames], [0, 1, 2, 2, 4, 6], rtol=1e-12)
    assert np.isfinite(frames.instant).all()


def test_a_hole_in_one_channel_is_its_own() -> None:
    recording = make_recording([0, 1, 2, 3], current=[1.0, np.nan, 1, 1], voltage=10.0)
    frames = sample_frames(recording, rate=Fraction(1))
    np.testing.assert_array_equal(np.isfinite(frames.current), [True, False, True, True])
    np.testing.assert_array_equal(frames.voltage, 10)
    np.testing.assert_array_equal(frames.charge_used, [0, np.nan, 0, 1])


@pytest.mark.parametrize("smoothing", [0.0, 0.5])
@pytest.mark.parametrize("rate", [Fraction(1, 2), Fraction(5), NTSC, Fraction(240)])
def test_a_crest_between_frames_is_shown_on_the_frame_before(smoothing: float, rate: Fraction) -> None:
    """A crest of one sample among noise, with the sag of voltage beside it, at 100 samples a second."""
    noise = np.random.default_rng(11).normal(0, 0.2, (2, 3000))
    current, voltage = 12 + noise[0], 16 + noise[1] / 10
    current[1234], voltage[1234] = 50.0, 14.0
    recording = make_recording(np.arange(3000) / 100, current=current, voltage=voltage)
    frames = sample_frames(recording, rate=rate, smoothing=smoothing)
    frame = int(12.34 * rate)
    assert frames.current[frame] == 50.0
    assert frames.voltage[frame] == 14.0
    assert frames.power[frame] == 700.0
    assert (frames.peak_current[: int(12.33 * rate)] < 15).all()  # then lines rise to it, where frames are finer
    assert (frames.peak_current[frame:] == 50).all()
    assert (frames.peak_power[frame:] == 700).all()


@pytest.mark.parametrize("at", range(1, 99, 7))
def test_a_crest_on_a_frame_is_on_no_other(at: int) -> None:
    """(n / 10 - 0.1) s and the sample's (n - 1) / 10 s differ in doubles now and then."""
    current = np.full(100, 5.0)
    current[at] = 50.0
    frames = sample_frames(make_recording(np.arange(100) / 10, current=current), rate=Fraction(10), offset=0.1)
    assert frames.number[frames.current > 5.001].tolist() == [at + 1]
    assert frames.flight_time.min() == 0


def test_frames_coarser_than_samples_show_no_chance_crests() -> None:
    noise = np.random.default_rng(12).normal(0, 0.5, 60_000)
    frames = sample_frames(
        make_recording(np.arange(60_000) / 1000, current=20 + noise), rate=Fraction(25), smoothing=0.5
    )
    assert frames.current[25:-25].std() < 0.1


def test_a_peak_is_never_below_what_is_shown_and_never_falls() -> None:
    current = 20 + np.cumsum(np.random.default_rng(13).normal(0, 0.5, 3000))
    frames = sample_frames(make_recording(np.arange(3000) / 50, current=current), rate=NTSC, smoothing=1.0)
    assert (frames.peak_current >= frames.current).all()
    assert (np.diff(frames.peak_current) >= 0).all()
    assert frames.peak_current[-1] == pytest.approx(current.max(), rel=1e-12)


def test_too_many_frames_are_an_error() -> None:
    assert find_frame_span(RAMP, rate=Fraction(1000), offset=0, begin=0, end=1000)[1] > MAX_FRAMES
    with pytest.raises(ValueError, match=f"at most {MAX_FRAMES}"):
        sample_frames(RAMP, rate=Fraction(1000), begin=0, end=1000)
    with pytest.raises(ValueError, match="frames from number"):
        sample_frames(RAMP, rate=Fraction(1000), offset=1e7)


@pytest.mark.parametrize("samples", [0, 1])
def test_the_smallest_recordings(samples: int) -> None:
    recording = make_recording(np.arange(samples), current=np.full(samples, 3.0))
    frames = sample_frames(recording, rate=Fraction(2), begin=0.0, end=2.0, smoothing=1.0)
    assert len(frames.number) == 4
    assert np.count_nonzero(np.isfinite(frames.current)) == samples
    assert {len(values) for values in frames} == {4}


def test_no_frame_at_all() -> None:
    assert {len(values) for values in sample_frames(RAMP, rate=NTSC, begin=3, end=3)} == {0}
