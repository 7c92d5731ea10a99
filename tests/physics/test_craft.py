"""Inverses of the operating point: speed, duty and efficiency against the forward model, limits by hand."""

import dataclasses
from typing import Any, Final

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from gramwatt.physics import constants, craft, hover, propeller

RPM: Final = 2 * np.pi / 60
CASES: Final = 2000


def log_uniform(chance: np.random.Generator, low: float, high: float) -> Any:
    return np.exp(chance.uniform(np.log(low), np.log(high), CASES))


def many_drives(seed: int) -> tuple[craft.Drive, dict[str, Any]]:
    """Return drives from toy motors to large ones, some without no-load current, each with a pack."""
    chance = np.random.default_rng(seed)
    diameter = log_uniform(chance, 0.03, 0.6)
    drive = craft.Drive(
        motors=chance.integers(1, 9, CASES).astype(float),
        speed_constant=log_uniform(chance, 100, 20000) * RPM * (0.127 / diameter) ** 0.5,
        motor_resistance=log_uniform(chance, 0.02, 1),
        no_load_current=np.where(chance.random(CASES) < 0.1, 0, log_uniform(chance, 0.05, 3)),
        diameter=diameter,
        thrust_coefficient=chance.uniform(0.08, 0.25, CASES),
        power_coefficient=chance.uniform(0.04, 0.15, CASES),
        air_density=chance.uniform(0.8, 1.3, CASES),
    )
    source = {
        "open_circuit_voltage": chance.uniform(3.7, 50, CASES),
        "pack_resistance": np.where(chance.random(CASES) < 0.1, 0, log_uniform(chance, 0.005, 0.5)),
        "avionics_power": np.where(chance.random(CASES) < 0.1, 0, chance.uniform(0, 10, CASES)),
    }
    return drive, source


def one(**changes: float) -> craft.Drive:
    values = {
        "motors": 4.0,
        "speed_constant": 2400 * RPM,
        "motor_resistance": 0.2,
        "no_load_current": 1.0,
        "diameter": 0.127,
        "thrust_coefficient": 0.15,
        "power_coefficient": 0.075,
        "air_density": 1.225,
        **changes,
    }
    return craft.Drive(**{name: np.array([value]) for name, value in values.items()})


PACK: Final = {
    "open_circuit_voltage": np.array([16.0]),
    "pack_resistance": np.array([0.03]),
    "avionics_power": np.array([5.0]),
}


def operate(drive: craft.Drive, duty: Any, source: dict[str, Any]) -> craft.Operation:
    with np.errstate(all="ignore"):
        return craft.operate(drive, duty, **source)


@pytest.mark.parametrize("seed", [1, 2])
def test_inverses_return_the_duty_of_the_operating_point(seed: int) -> None:
    """Round trip through `operate`, which finds the point by another method."""
    drive, source = many_drives(seed)
    duty = np.random.default_rng(seed + 100).uniform(0.05, 1, CASES)
    point = operate(drive, duty, source)
    turns = ~np.isnan(point.rotor_speed)
    assert turns.sum() > 0.8 * CASES
    motor_power = (point.power - source["avionics_power"]) / drive.motors
    with np.errstate(all="ignore"):
        found = craft.duty_at_pack_current(drive, point.pack_current, **source)
        by_power = craft.speed_at_motor_power(drive, motor_power)
        by_current = craft.speed_at_motor_current(drive, point.motor_current)
    by_thrust = craft.speed_at_thrust(drive, point.thrust)
    # A motor that barely turns takes little more than its no-load power: the difference has fewer digits.
    exact = turns & (point.motor_current > 1.01 * drive.no_load_current) & (motor_power * drive.motors > 1)
    assert exact.sum() > 0.7 * CASES
    np.testing.assert_allclose(found[exact], duty[exact], rtol=1e-6)
    np.testing.assert_allclose(by_power[exact], point.rotor_speed[exact], rtol=1e-6)
    np.testing.assert_allclose(by_current[exact], point.rotor_speed[exact], rtol=1e-9)
    np.testing.assert_allclose(by_thrust[turns], point.rotor_speed[turns], rtol=1e-14)


@given(st.floats(0.01, 5000.0), st.floats(0.0, 2.0), st.floats(0.0, 1.0))
def test_speed_at_a_power_against_a_root_finder(power: float, no_load: float, resistance: float) -> None:
    """SciPy's brentq on the motor's power, ``I V_m``; nan exactly where ``R I0^2`` is more."""
    drive = one(no_load_current=no_load, motor_resistance=resistance)
    with np.errstate(all="ignore"):
        found = craft.speed_at_motor_power(drive, np.array([power]))[0]
    torque_current = (drive.torque_factor * drive.speed_constant)[0]

    def surplus(speed: float) -> float:
        current = torque_current * speed**2 + no_load
        return float(current * (speed / drive.speed_constant[0] + resistance * current) - power)

    if surplus(0) > 0:
        assert np.isnan(found)
    else:
        assert found == pytest.approx(brentq(surplus, 0, 1e5, xtol=1e-12, rtol=1e-14), rel=1e-9, abs=1e-9)


def test_speed_at_a_power_by_hand() -> None:
    """By hand: without resistance and no-load current all power is shaft power: w = (P / c)^(1/3).

    c = 0.075 x 1.225 x 0.127^5 / (2 pi)^3 = 1.223704e-8 N m s2; 100 W: 2014.22 rad/s.
    """
    drive = one(no_load_current=0, motor_resistance=0)
    with np.errstate(all="ignore"):
        assert craft.speed_at_motor_power(drive, np.array([100.0]))[0] == pytest.approx(2014.22, rel=5e-6)
        assert craft.speed_at_motor_power(drive, np.array([0.0]))[0] == 0


def test_currents_that_no_throttle_draws() -> None:
    """By hand: 16 V behind 0.03 ohm give at most 533 A. The avionics alone draw 5 W / 16 V = 0.31 A."""
    drive = one()
    with np.errstate(all="ignore"):
        found = craft.duty_at_pack_current(drive, np.array([600.0, 533.3, 532.0, 0.2, 0.32]), **PACK)
    np.testing.assert_array_equal(found[[0, 1, 3, 4]], [np.inf, np.inf, np.nan, np.nan])
    assert found[2] > 1


def test_a_higher_current_needs_a_higher_duty() -> None:
    """Monotonic, on to the current of full throttle, where the duty is 1."""
    drive = one()
    full = operate(drive, np.array([1.0]), PACK).pack_current[0]
    with np.errstate(all="ignore"):
        duty = craft.duty_at_pack_current(drive, np.linspace(1, full, 50), **PACK)
    assert (np.diff(duty) > 0).all()
    assert duty[-1] == pytest.approx(1, rel=1e-9)


def test_drive_efficiency_is_that_of_the_operating_point() -> None:
    """At the thrust and shaft power of an operating point; the shaft power by the propeller's coefficients."""
    drive, source = many_drives(3)
    point = operate(drive, np.full(CASES, 0.6), source)
    turns = ~np.isnan(point.rotor_speed)
    shaft = drive.motors * drive.torque_factor * point.rotor_speed**3
    found = craft.drive_efficiency(drive, point.thrust, shaft)
    np.testing.assert_allclose(found[turns], point.motor_efficiency[turns], rtol=1e-9)


def test_momentum_theory_and_coefficients_give_the_same_shaft_power() -> None:
    """Derived: with ``CP = sqrt(2/pi) CT^1.5 / FM`` the power ``N c w^3`` in hover is ``W vh / FM``."""
    merit, mass = np.array([0.57]), np.array([0.8])
    drive = one()
    drive = dataclasses.replace(drive, power_coefficient=propeller.power_coefficient(drive.thrust_coefficient, merit))
    speed = craft.hover_speed(drive, mass)
    weight = mass * constants.STANDARD_GRAVITY
    velocity = hover.hover_velocity(weight / (4 * hover.disk_area(drive.diameter)), drive.air_density)
    assert 4 * drive.torque_factor * speed**3 == pytest.approx(weight * velocity / merit, rel=1e-13)
    known = propeller.figure_of_merit(drive.thrust_coefficient, drive.power_coefficient)
    assert known == pytest.approx(merit, rel=1e-14)
