"""Motors on an ideal converter, behind one pack, each turning a propeller.

The motor is the first-order one: speed constant Kv, torque constant 1/Kv, an effective resistance that stands for
winding, controller, leads and commutation, and a no-load current. Throttle is the duty d of an ideal converter: the
motor sees d times the pack's voltage, the pack gives d times the motor's current.
"""

from typing import Annotated, Final, NamedTuple

import numpy as np

from gramwatt.arrays import Array, Unit

USUAL_RESISTANCE: Final[Annotated[float, Unit("ohm")]] = 0.250
RESISTANCE_SPREAD: Final[Annotated[float, Unit("ohm")]] = 0.070
"""Effective resistance of a motor for five-inch propellers: 0.11 to 0.40 ohm on nine motors of an open bench data set,
far above the winding's. With the two defaults below chosen on five of these motors, checked on the other four."""

SETTLED: Final = 1e-8
"""Relative fall of the voltage in a step of `equilibrium` after which the next one would be lost in rounding: errors
shrink as their squares."""
MOST_STEPS: Final = 60
"""Three are usual; near the limit of the pack a step halves the error until 1e-8 is left."""


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
    """Find where motor, propeller and pack agree.

    Parameters
    ----------
    speed_constant : Kv [rad/(s V)]; all arguments are arrays that broadcast
    motor_resistance : effective, of one motor [ohm], above 0
    no_load_current : of one motor [A]
    torque_factor : c in Q = c w^2 [N m s2]
    motors : how many
    duty : 0 to 1
    open_circuit_voltage, pack_resistance : of the pack [V], [ohm]
    avionics_power : drawn beside the motors [W]

    Returns
    -------
    `Point`, of the largest loaded voltage V where all agree: the one that a pack reaches from rest. With k = 1/Kv,
    ``d V = k w + R I``, ``I = I0 + c w^2 / k`` and ``V = V_0 - R_p (N d I + P_a / V)``.

    Notes
    -----
    About a voltage U the avionics' current is replaced by its tangent ``P_a / U (2 - V / U)``. With h = R_p P_a / U^2
    and R_t = (1 - h) R + N d^2 R_p that leaves
    ``c R_t w^2 / k + (1 - h) k w = d (V_0 - 2 h U) - I0 R_t``, of which the larger root is taken in the form that
    survives c -> 0. The tangent lies below the current, which is convex in V, as is the motors': so each step, from
    U = V_0 on, comes nearer from above (Newton's method), and where one finds no voltage below U with the motors
    turning, there is none.
    """
    k = 1 / speed_constant
    torque_current = torque_factor * speed_constant
    pack_per_motor = motors * duty
    added_resistance = pack_resistance * pack_per_motor * duty
    avionics_loss = pack_resistance * avionics_power

    def step(near: Array) -> tuple[Array, Array, Array]:
        share = avionics_loss / near**2
        total = (1 - share) * motor_resistance + added_resistance
        linear = (1 - share) * k
        surplus = duty * (open_circuit_voltage - 2 * share * near) - no_load_current * total
        speed = 2 * surplus / (linear + np.sqrt(linear**2 + 4 * torque_current * total * surplus))
        current = torque_current * speed**2 + no_load_current
        return speed, current, (k * speed + motor_resistance * current) / duty

    near = open_circuit_voltage
    speed, current, voltage = step(near)
    for _ in range(MOST_STEPS - 1):
        falls = (voltage < near * (1 - SETTLED)) & (speed > 0)
        if not falls.any():
            break
        near = np.where(falls, voltage, near)  # settled rows stay: what they give depends on no other row
        speed, current, voltage = step(near)
    turns = (speed > 0) & (voltage < near * (1 + 1e-6))
    speed, current = np.where(turns, speed, np.nan), np.where(turns, current, np.nan)
    pack_current = pack_per_motor * current + avionics_power / voltage
    return Point(speed, current, pack_current, open_circuit_voltage - pack_resistance * pack_current)


class Demand(NamedTuple):
    """What a rotor speed takes: the duty, nan where the pack cannot give it, and the power of the whole pack [W]."""

    duty: Array
    power: Array


def demand_at_speed(
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
) -> Demand:
    """Find the duty and the power at which the rotors turn at a speed [rad/s]; other arguments as in `equilibrium`.

    A motor needs ``V_m = k w + I R``, so the pack gives ``P = N I V_m + P_a`` whatever its voltage, and
    ``d = V_m / V = 2 V_m / (V_0 + sqrt(V_0^2 - 4 R_p P))``. The duty is nan where the pack cannot give that power, and
    above 1 where full throttle does not reach the speed.
    """
    current = torque_factor * rotor_speed**2 * speed_constant + no_load_current
    voltage = rotor_speed / speed_constant + current * motor_resistance
    power = motors * current * voltage + avionics_power
    discriminant = open_circuit_voltage**2 - 4 * pack_resistance * power
    root = np.sqrt(np.where(discriminant >= 0, discriminant, np.nan))
    return Demand(2 * voltage / (open_circuit_voltage + root), power)


def duty_at_speed(rotor_speed: Array, **drive_and_pack: Array) -> Array:
    """Find the duty alone, see `demand_at_speed`."""
    return demand_at_speed(rotor_speed, **drive_and_pack).duty


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
