"""Constants of motor and propeller as functions of the inputs: by bench readings, by size, by stator."""

from typing import Any

import numpy as np

from gramwatt.model import Array, BoolArray
from gramwatt.physics import hover, motor_constants, propeller


def real_kv(given: Any) -> Array:
    """Return the real speed constant (N,) of the motor [rad/(s V)]."""
    return np.asarray(given.kv * (1 - given.kv_deficit))


def is_bench_point(given: Any) -> BoolArray:
    """Return where (N,) volts and amps of a bench are given, from which the resistance must follow."""
    return np.asarray(~np.isnan(given.bench_voltage * given.bench_current))


def has_bench_torque(given: Any) -> BoolArray:
    """Return where (N,) volts, amps and speed of a bench are given, which determine the torque."""
    return np.asarray(is_bench_point(given) & ~np.isnan(given.bench_speed))


def speed_by_thrust(given: Any) -> Array:
    """Return the speed (N,) by thrust and thrust coefficient, if the motor can turn so fast.

    The coefficient may be a fifth off. Where that leaves a strong motor too little torque, the thrust is left out,
    unless its ideal power is above the electrical power anyway: then the point is impossible.
    """
    speed = propeller.speed_at_thrust(given.bench_thrust, given.thrust_coefficient, given.diameter, given.air_density)
    no_load_current = np.where(
        np.isnan(given.no_load_current),
        motor_constants.typical_no_load_current(
            given.kv,
            motor_constants.resistance_at_speed(given.bench_voltage, given.bench_current, speed, real_kv(given)),
            given.diameter,
        ),
        given.no_load_current,
    )
    shaft_power = motor_constants.shaft_power(given.bench_current, no_load_current, speed, real_kv(given))
    loading = given.bench_thrust / hover.disk_area(given.diameter)
    ideal_power = given.bench_thrust * hover.hover_velocity(loading, given.air_density)
    is_used = (shaft_power >= ideal_power) | (ideal_power >= given.bench_voltage * given.bench_current)
    return np.where(is_used & is_bench_point(given), speed, np.nan)


def resistance_by_speed(given: Any) -> Array:
    """Return the resistance (N,) by volts, amps and speed of a bench."""
    return motor_constants.resistance_at_speed(
        given.bench_voltage, given.bench_current, given.bench_speed, real_kv(given)
    )


def resistance_by_volts_and_amps(given: Any) -> Array:
    """Return the resistance (N,) by volts and amps of a bench, where the speed is not known."""
    needed = is_bench_point(given) & np.isnan(given.bench_speed)
    if not needed.any():  # the equation is solved in steps, which most requests can do without
        return np.full_like(given.kv, np.nan)
    resistance = motor_constants.resistance_from_bench(
        given.bench_voltage,
        given.bench_current,
        speed_constant=real_kv(given),
        no_load_current=given.no_load_current,
        torque_factor=propeller.torque_factor(given.power_coefficient, given.diameter, given.air_density),
        rated_speed_constant=given.kv,
        diameter=given.diameter,
    )
    return np.where(needed, resistance, np.nan)


def resistance_by_stator(given: Any) -> Array:
    """Return the resistance (N,) by stator, where no bench point must set it."""
    resistance = motor_constants.stator_resistance(given.kv, given.stator_diameter, given.stator_height)
    return np.where(is_bench_point(given), np.nan, resistance)


def resistance_by_size(given: Any) -> Array:
    """Return the resistance (N,) by the diameter of the propeller, where no bench point must set it."""
    resistance = motor_constants.typical_resistance(given.kv, given.diameter)
    return np.where(is_bench_point(given) | ~np.isfinite(resistance), np.nan, resistance)


def no_load_current_by_resistance(given: Any) -> Array:
    """Return the no-load current (N,) [A] that a motor of this resistance has."""
    current = motor_constants.typical_no_load_current(given.kv, given.motor_resistance, given.diameter)
    return np.where(np.isfinite(current), current, np.nan)


def has_shaft_power(given: Any) -> BoolArray:
    """Return where (N,) shaft power and speed of a bench are given."""
    return np.asarray(~np.isnan(given.bench_shaft_power * given.bench_speed))


def _possible_power_coefficient(given: Any, power: Array) -> Array:
    """Return the power coefficient (N,) of a shaft power [W]; nan where the thrust takes more without any loss."""
    measured = propeller.measured_power_coefficient(power, given.bench_speed, given.diameter, given.air_density)
    ideal = propeller.power_coefficient(given.thrust_coefficient, np.ones_like(measured))
    return np.where(measured >= ideal, measured, np.nan)


def power_coefficient_by_shaft_power(given: Any) -> Array:
    """Return the power coefficient (N,) by shaft power and speed of a bench."""
    return _possible_power_coefficient(given, given.bench_shaft_power)


def power_coefficient_by_torque(given: Any) -> Array:
    """Return the power coefficient (N,) by amps and speed of a bench, where no shaft power was measured."""
    power = motor_constants.shaft_power(given.bench_current, given.no_load_current, given.bench_speed, real_kv(given))
    return np.where(has_shaft_power(given), np.nan, _possible_power_coefficient(given, power))


def default_power_coefficient(given: Any) -> Array:
    """Return the power coefficient (N,) by figure of merit, where no bench point must set it."""
    expected = propeller.power_coefficient(given.thrust_coefficient, given.figure_of_merit)
    return np.where(has_bench_torque(given) | has_shaft_power(given), np.nan, expected)


def is_bench_impossible(given: Any) -> BoolArray:
    """Return where (N,) a bench point leaves the motor or its propeller without constants, though both are given."""
    is_known = ~np.isnan(given.kv * given.thrust_coefficient * given.diameter)
    is_used = is_bench_point(given) | has_shaft_power(given)
    return np.asarray(is_used & is_known & np.isnan(given.motor_resistance * given.power_coefficient))
