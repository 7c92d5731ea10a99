"""flight-log: energies by hand and by SciPy, calibration, resistance, landing, and what uncertainty says."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.integrate import trapezoid

from gramwatt import calculate
from gramwatt.engine import registry
from gramwatt.engine.calculate import InvalidInput
from gramwatt.model import Array
from gramwatt.physics import cells as cell
from gramwatt.physics.loaded_pack import group_samples
from gramwatt.physics.recording import CleanRecording


def flight(seed: int, *, resistance: float = 0.06, seconds: float = 180, start: float = 1.0) -> dict[str, Any]:
    """Invent a recording, about ten samples a second: a rested 4-cell curve behind a resistance, with noise."""
    chance = np.random.default_rng(seed)
    time = np.cumsum(chance.uniform(0.05, 0.15, int(seconds * 10)))
    throttle = 0.3 + 0.05 * np.sin(0.7 * time)
    for begins in np.arange(12, seconds - 10, 25.0):
        throttle[(time > begins) & (time < begins + 2)] = 1.0
    current = 45 * throttle**1.8
    used = np.concatenate(([0], np.cumsum(np.diff(time) * (current[1:] + current[:-1]) / 2)))
    rested = 4 * cell.open_circuit_voltage(np.zeros(len(time), dtype=np.intp), start - used / (1.3 * 3600))
    voltage = rested - resistance * current + chance.normal(0, 0.015, len(time))
    return {
        "time": time,
        "voltage": voltage,
        "current": current + chance.normal(0, 0.1, len(time)),
        "throttle": throttle,
    }


def results(log: dict[str, Any], **more: Any) -> dict[str, Any]:
    found: dict[str, Any] = calculate("flight-log", log=log, **more)["results"]
    return found


def test_energy_and_charge_are_scipys_on_uneven_samples() -> None:
    """scipy.integrate.trapezoid of the same samples."""
    log = flight(1)
    found = results(log)
    assert found["charge_used"] == pytest.approx(trapezoid(log["current"], log["time"]) / 3.6, rel=1e-11)
    power = log["voltage"] * log["current"]
    assert found["energy_used"] == pytest.approx(trapezoid(power, log["time"]) / 3600, rel=1e-11)
    assert found["duration"] == pytest.approx((log["time"][-1] - log["time"][0]) / 60, rel=1e-11)
    assert found["mean_power"] == pytest.approx(trapezoid(power, log["time"]) / np.ptp(log["time"]), rel=1e-11)
    assert found["peak_power"] == pytest.approx(power.max(), rel=1e-11)
    assert found["lowest_voltage_time"] == pytest.approx(
        log["time"][log["voltage"].argmin()] - log["time"][0], rel=1e-11
    )


def test_a_ramp_by_hand() -> None:
    """10 V and a current that rises from 0 to 10 A in an hour: 5 Ah, 50 Wh, half of the time above 5 A."""
    time = np.linspace(0, 3600, 3601)
    found = results({"time": time, "voltage": np.full(3601, 10.0), "current": time / 360})
    assert found["charge_used"] == pytest.approx(5000, rel=1e-12)
    assert found["energy_used"] == pytest.approx(50, rel=1e-12)
    assert found["median_current"] == pytest.approx(5, abs=2e-3)
    assert found["p95_current"] == pytest.approx(9.5, abs=3e-3)


def test_the_charger_calibrates_the_sensor() -> None:
    """By definition: what the charger put back is the charge; energy and currents follow in the same ratio."""
    log = flight(2)
    plain, calibrated = results(log), results(log, charge_put_back=1000)
    ratio = 1000 / plain["charge_used"]
    assert calibrated["charge_used"] == pytest.approx(1000, rel=1e-12)
    assert calibrated["current_scale_used"] == pytest.approx(ratio, rel=1e-11)
    for name in ("energy_used", "peak_current", "mean_power", "median_power", "p95_power", "p95_current"):
        assert calibrated[name] == pytest.approx(plain[name] * ratio, rel=1e-11), name
    assert calibrated["pack_resistance"] == pytest.approx(plain["pack_resistance"] / ratio, rel=0.02)


def test_offset_and_scale_of_the_sensors() -> None:
    """Derived: I' = s (I - o), V' = v V."""
    log = flight(3)
    found = results(log, current_scale=1.1, current_offset=0.5, voltage_scale=0.98)
    current, voltage = 1.1 * (log["current"] - 0.5), 0.98 * log["voltage"]
    assert found["charge_used"] == pytest.approx(trapezoid(current, log["time"]) / 3.6, rel=1e-11)
    assert found["energy_used"] == pytest.approx(trapezoid(current * voltage, log["time"]) / 3600, rel=1e-11)
    assert found["peak_power"] == pytest.approx((current * voltage).max(), rel=1e-11)
    assert found["lowest_voltage"] == pytest.approx(voltage.min(), rel=1e-11)


def test_the_uncertainty_is_that_of_the_sensors() -> None:
    """Derived, JCGM 100, 5.1.2: charge c = s (Q - o T), so u^2 = (c u_s / s)^2 + (s T u_o)^2; energy with u_v too.

    Of 121 draws the standard deviation is within 3 %.
    """
    log = flight(4)
    answer = calculate(
        "flight-log", log=log, current_scale="1 ± 0.03", current_offset="0 ± 0.2 A", voltage_scale="1 ± 0.01"
    )
    charge = answer["results"]["charge_used"]
    seconds = float(np.ptp(log["time"]))
    assert answer["uncertainty"]["charge_used"]["standard"] == pytest.approx(
        np.hypot(charge * 0.03, 0.2 * seconds / 3.6), rel=0.03
    )
    energy = answer["results"]["energy_used"]
    by_offset = 0.2 * trapezoid(log["voltage"], log["time"]) / 3600
    assert answer["uncertainty"]["energy_used"]["standard"] == pytest.approx(
        np.sqrt((energy * 0.03) ** 2 + by_offset**2 + (energy * 0.01) ** 2), rel=0.03
    )


def fit(log: dict[str, Any], **inputs: Any) -> tuple[float, float]:
    """Return the resistance of a pack and its standard uncertainty [mohm], by exact sensors."""
    answer = calculate("flight-log", log=log, current_scale=1, current_offset=0, voltage_scale=1, **inputs)
    return answer["results"]["pack_resistance"], answer["uncertainty"]["pack_resistance"]["standard"]


@pytest.mark.parametrize("resistance", [0.02, 0.06, 0.12])
def test_the_resistance_of_an_invented_pack_comes_back(resistance: float) -> None:
    """By construction; within two standard errors, which are a few per cent."""
    inside = 0
    for seed in range(20):
        found, error = fit(flight(seed, resistance=resistance), cells=4, capacity=1300)
        assert error < 0.06 * 1000 * resistance
        inside += abs(found - 1000 * resistance) <= 2 * error
    assert inside >= 19


@pytest.mark.parametrize("noise", [2.0, 3.0])
def test_the_error_of_the_resistance_covers_what_noise_of_the_current_takes_off(noise: float) -> None:
    """Attenuation of a slope by noise in its abscissa (Fuller, Measurement Error Models, 1987, 1.1).

    The true slope times s^2 / (s^2 + noise^2). With voltages exact that is nearly all of the error, and far beyond the
    scatter.
    """
    chance = np.random.default_rng(11)
    time = np.arange(0, 180, 0.1)
    current = 15 + 8 * np.sin(0.9 * time) + 4 * np.sin(0.23 * time)
    log = {"time": time, "voltage": 16 - 0.1 * current, "current": current + chance.normal(0, noise, len(time))}
    found, error = fit(log)
    share = noise**2 / (current.var() + noise**2)
    assert found == pytest.approx(100 * (1 - share), rel=0.03)
    assert 100 - found < 2 * error
    assert error == pytest.approx(share * found, rel=0.3)


def test_a_steady_current_tells_no_resistance_and_says_why() -> None:
    time = np.arange(100.0)
    answer = calculate("flight-log", log={"time": time, "voltage": 16 - time / 200, "current": np.full(100, 8.0)})
    assert answer["results"]["pack_resistance"] is None
    (reason,) = (each for each in answer["cautions"] if "pack_resistance" in each.get("results", ()))
    assert reason["code"] == "steady-current"


def test_landing_carried_on_and_looked_up() -> None:
    """By hand at 10 A: of 1000 mAh 80 % last 288 s; a flight of 100 s is carried on, one of 400 s looked up."""
    for seconds in (100, 400):
        time = np.linspace(0, seconds, 401)
        found = results(
            {"time": time, "voltage": np.full(401, 15.0), "current": np.full(401, 10.0)},
            capacity=1000,
            longest_gap=5,
        )
        assert found["landing_time"] == pytest.approx(288 / 60, rel=1e-12)
        assert found["charge_used_share"] == pytest.approx(seconds / 3.6, rel=1e-11)


def test_expected_endurance_is_what_endurance_says() -> None:
    """The calculator endurance with this flight's power and the resistance found."""
    found = results(flight(5), cells=4, capacity=1300)
    inputs = calculate(
        "endurance",
        cells=4,
        capacity=1300,
        mean_power=found["mean_power"],
        cell_resistance=found["pack_resistance"] / 4,
    )
    assert found["expected_endurance"] == pytest.approx(inputs["results"]["endurance"], rel=1e-9)


def test_a_recording_without_current_expects_no_endurance() -> None:
    """Limit: no power is no flight, rather than one that lasts until the pack is empty."""
    log = {"time": [0, 1, 2, 3], "voltage": [16, 16, 16, 16], "current": [0, 0, 0, 0]}
    found = results(log, cells=4, capacity=1300)
    assert found["mean_power"] == 0
    assert found["expected_endurance"] is None


def test_currents_of_both_signs_have_no_mean_voltage() -> None:
    """By hand: 16 V at -1 A and 15 V at 1.2 A for equal times: 2 W over 0.2 A would be 10 V, which no sample has."""
    log = {"time": [0, 1, 1.001, 2.001], "voltage": [16, 16, 15, 15], "current": [-1, -1, 1.2, 1.2]}
    answer = calculate("flight-log", log=log)
    assert answer["results"]["mean_voltage"] is None
    assert [each["code"] for each in answer["cautions"] if "mean_voltage" in each.get("results", ())] == [
        "current-both-ways"
    ]
    assert results({**log, "current": [1, 1, 1.2, 1.2]})["mean_voltage"] == pytest.approx((16 + 18) / 2.2, rel=1e-3)


def test_deviations_from_what_was_expected() -> None:
    found = results(
        flight(6), capacity=1300, predicted_mean_power=100, predicted_endurance=5, predicted_peak_current=50
    )
    assert found["mean_power_deviation_share"] == pytest.approx(found["mean_power"] - 100, rel=1e-9)
    assert found["endurance_deviation_share"] == pytest.approx(100 * (found["landing_time"] / 5 - 1), rel=1e-9)
    assert found["peak_current_deviation_share"] == pytest.approx(100 * (found["peak_current"] / 50 - 1), rel=1e-9)


def test_punch_outs_are_where_they_were_made() -> None:
    """By construction: two seconds of full throttle every 25 s from 12 s on."""
    log = flight(7, seconds=100)
    punches = results(log)["punch_outs"]
    starts = np.arange(12, 90, 25.0) - log["time"][0]
    assert [each["punch_start_time"] for each in punches] == pytest.approx(starts, abs=0.2)
    assert all(each["punch_duration"] == pytest.approx(2, abs=0.3) for each in punches)
    assert all(each["peak_current"] == pytest.approx(45, abs=0.6) for each in punches)
    assert all(each["voltage_sag"] == pytest.approx(0.06 * (45 - 45 * 0.3**1.8), abs=0.35) for each in punches)


def test_part_of_a_recording() -> None:
    """Begin and end cut samples, which are counted."""
    log = flight(8)
    inside: Array = (log["time"] - log["time"][0] >= 30) & (log["time"] - log["time"][0] <= 90)
    found = results(log, start_time=30, end_time=90)
    assert found["samples_used"] == inside.sum()
    assert found["charge_used"] == pytest.approx(
        trapezoid(log["current"][inside], log["time"][inside]) / 3.6, rel=1e-11
    )
    (left_out,) = found["samples_left_out_by_reason"]
    assert (left_out["reason"], left_out["sample_count"]) == ("before-or-after", len(inside) - inside.sum())


def test_the_lowest_cell_as_recorded_comes_before_the_mean() -> None:
    log = {"time": [0, 1, 2], "voltage": [16, 15.2, 16], "current": [5, 9, 5]}
    assert results(log, cells=4)["lowest_cell_voltage"] == pytest.approx(3.8, rel=1e-12)
    assert results({**log, "cell_voltage": [4.0, 3.7, 3.9]}, cells=4)["lowest_cell_voltage"] == 3.7
    assert results(log)["lowest_cell_voltage"] is None


def test_milliseconds_taken_for_seconds_are_noticed() -> None:
    answer = calculate("flight-log", log={"time": np.arange(50) * 100.0, "voltage": [16.0] * 50, "current": [5.0] * 50})
    assert "unlikely-sample-interval" in {each["code"] for each in answer["cautions"]}


def test_a_recording_is_no_word_of_a_query() -> None:
    with pytest.raises(InvalidInput, match="log: Enter an object"):
        calculate("flight-log", log="flight.csv")


def test_the_working_names_the_limits_of_the_kernels() -> None:
    """A recording of 20,000 samples is averaged in 5,000 groups, and the method says so."""
    time = np.arange(20_000) / 10
    current = 10 + 5 * np.sign(np.sin(time))
    lacking = np.full(20_000, np.nan)
    groups = group_samples(
        CleanRecording(time, 16 - 0.05 * current, current, lacking, lacking, np.ones(19_999, dtype=np.bool_))
    )
    assert groups is not None
    assert len(groups.current) == 5_000
    method = registry.get("flight-log").result_fields["pack_resistance"].method
    assert "more than 5,000 samples are averaged in as many groups" in method
