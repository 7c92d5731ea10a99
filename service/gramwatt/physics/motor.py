"""Motors on an ideal converter, behind one pack, each turning a propeller.

The motor is the first-order one: speed constant Kv, torque constant 1/Kv, an effective resistance that stands for
winding, controller, leads and commutation, and a no-load current. Throttle is the duty d of an ideal converter: the
motor sees d times the pack's voltage, the pack gives d times the motor's current.
"""

from typing import Annotated, Final, NamedTuple

import numpy as np

from gramwatt.declare import Array, Unit

USUAL_RESISTANCE: Final[Annotated[float, Unit("ohm")]] = 0.250
RESISTANCE_SPREAD: Final[Annotated[float, Unit("ohm")]] = 0.070
"""Effective resistance of a motor for five-inch propellers: 0.11 to 0.40 ohm on nine motors of an open bench data set,
far above the winding's. With the two defaults below chosen on five of these motors, checked on the other four."""

AVIONICS_ROUNDS: Final = 6


class Point(NamedTuple):
    """A steady point; arrays of one shape: rotor speed [rad/s], current of one motor [A], of the pack [A], voltage of
    the pack [V]. nan where the motor does not turn."""

    rotor_speed: Array
    motor_current: Array
    pack_current: Array
    pack_voltage: Array


def equilibrium(
    *,
    speed_constant: Array,
    motor_resistance: Array,
    no_load_current: Array,
    torque_factor: Array,
    motors: Array,
    duty: Array,
    open_circuit_voltage: Array,
    pack_resistance: Array,
    avionics_power: Array,
) -> Point:
    """Where motor, propeller and pack agree.

    Parameters
    ----------
    speed_constant : (N,) Kv [rad/(s V)]
    motor_resistance : (N,) effective, of one motor [ohm], above 0
    no_load_current : (N,) of one motor [A]
    torque_factor : (N,) c in Q = c w^2 [N m s2]
    motors : (N,) how many
    duty : (N,) 0 to 1
    open_circuit_voltage, pack_resistance : (N,) of the pack [V], [ohm]
    avionics_power : (N,) drawn beside the motors [W]

    Returns
    -------
    `Point`. With k = 1/Kv and R_t = R + N d^2 R_p the speed solves ``c w^2 + (k^2/R_t) w - k (d V/R_t - I0) = 0``; the
    root in the form that survives c -> 0. Avionics lower V by R_p I_a; I_a = P_a / V_loaded is found by a few rounds of
    substitution, whose error shrinks by about R_p P_a / V^2 (under 1 %) each.
    """
    back_emf = 1 / speed_constant
    total_resistance = motor_resistance + motors * duty**2 * pack_resistance
    linear = back_emf**2 / total_resistance

    def solve(avionics_current: Array) -> Point:
        source = open_circuit_voltage - pack_resistance * avionics_current
        constant = back_emf * (duty * source / total_resistance - no_load_current)
        root = np.sqrt(np.where(constant > 0, linear**2 + 4 * torque_factor * constant, np.nan))
        speed = 2 * constant / (linear + root)
        current = torque_factor * speed**2 / back_emf + no_load_current
        pack_current = motors * duty * current + avionics_current
        return Point(speed, current, pack_current, open_circuit_voltage - pack_resistance * pack_current)

    point = solve(avionics_power / open_circuit_voltage)
    for _ in range(AVIONICS_ROUNDS):
        point = solve(avionics_power / point.pack_voltage)
    return point


def duty_at_speed(
    rotor_speed: Array,
    *,
    speed_constant: Array,
    motor_resistance: Array,
    no_load_current: Array,
    torque_factor: Array,
    motors: Array,
    open_circuit_voltage: Array,
    pack_resistance: Array,
    avionics_power: Array,
) -> Array:
    """The duty (N,) at which the rotors turn at a speed [rad/s]; other arguments as in `equilibrium`.

    The motor needs V_m = k w + I R; ``d = 2 V_m / (V + sqrt(V^2 - 4 R_p N I V_m))``. nan where the pack cannot give
    that; above 1 where full throttle does not reach it. Avionics lower V by R_p P_a / V.
    """
    motor_current = torque_factor * rotor_speed**2 * speed_constant + no_load_current
    motor_voltage = rotor_speed / speed_constant + motor_current * motor_resistance
    load = 4 * pack_resistance * motors * motor_current * motor_voltage

    def solve(avionics_current: Array) -> Array:
        source = open_circuit_voltage - pack_resistance * avionics_current
        root = np.sqrt(np.where(source**2 >= load, source**2 - load, np.nan))
        return np.asarray(2 * motor_voltage / (source + root))

    duty = solve(avionics_power / open_circuit_voltage)
    for _ in range(AVIONICS_ROUNDS):
        duty = solve(avionics_power / (motor_voltage / duty))
    return duty


def resistance_of(
    voltage: Array, current: Array, *, speed_constant: Array, no_load_current: Array, torque_factor: Array
) -> Array:
    """Effective resistance (N,) [ohm] of a motor from volts and amps measured at full throttle with its propeller.

    The current gives the torque, the torque the speed, the speed the back-emf: ``R = (V - w/Kv) / I``. nan where the
    point cannot be (current below the no-load current, or more back-emf than volts).
    """
    speed = np.sqrt(np.where(current > no_load_current, current - no_load_current, np.nan) / speed_constant)
    speed = speed / np.sqrt(torque_factor)
    resistance = (voltage - speed / speed_constant) / current
    return np.where(resistance > 0, resistance, np.nan)
