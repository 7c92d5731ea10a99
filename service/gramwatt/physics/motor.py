"""Motors on an ideal converter, behind one pack, each turning a propeller.

The first-order motor has a speed constant Kv, a torque constant 1/Kv, a no-load current and an effective resistance,
which covers winding, controller, leads and commutation. Throttle is the duty d of an ideal converter: the motor sees d
times the pack's voltage, the pack gives d times the motor's current.
"""

from typing import Final, NamedTuple

import numpy as np

from gramwatt.arrays import Array

CONVERGED: Final = 1e-8
"""Relative fall of the voltage in a step of `equilibrium` below which the next step is lost in rounding: errors shrink
as their squares."""
MAX_STEPS: Final = 60
"""Three are typical; near the limit of the pack a step halves the error until 1e-8 remains."""


class OperatingPoint(NamedTuple):
    """A steady operating point; arrays of one shape, nan where the motor does not turn."""

    rotor_speed: Array
    """Angular speed [rad/s]."""
    motor_current: Array
    """Current of one motor [A]."""
    pack_current: Array
    """Current of the pack [A]."""
    pack_voltage: Array
    """Voltage of the loaded pack [V]."""


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
) -> OperatingPoint:
    """Find the operating point where motor, propeller and pack agree.

    Parameters
    ----------
    speed_constant
        Kv [rad/(s V)]. All parameters are arrays that broadcast.
    motor_resistance
        Effective resistance of one motor [ohm], above 0.
    no_load_current
        No-load current of one motor [A].
    torque_factor
        c in ``Q = c w^2`` of one propeller [N m s²].
    motors
        Number of motors.
    duty
        Duty of the controllers, 0 to 1.
    open_circuit_voltage, pack_resistance
        Rested voltage of the pack [V] and its resistance [ohm].
    avionics_power
        Power drawn beside the motors [W].

    Returns
    -------
    OperatingPoint
        Of the highest loaded voltage V where all agree, which a pack reaches from rest. With k = 1/Kv:
        ``d V = k w + R I``, ``I = I0 + c w^2 / k`` and ``V = V_0 - R_p (N d I + P_a / V)``.

    Notes
    -----
    Newton's method: near a voltage U the current of the avionics is replaced by its tangent ``P_a / U (2 - V / U)``.
    With h = R_p P_a / U^2 and R_t = (1 - h) R + N d^2 R_p this gives
    ``c R_t w^2 / k + (1 - h) k w = d (V_0 - 2 h U) - I0 R_t``; its larger root is computed in the form that stays exact
    as c approaches 0. The tangent lies below the current, which is convex in V, as is that of the motors. So each step
    from U = V_0 approaches from above, and if a step finds no voltage below U with turning motors, there is none.
    """
    k = 1 / speed_constant
    torque_current = torque_factor * speed_constant
    pack_per_motor = motors * duty
    added_resistance = pack_resistance * pack_per_motor * duty
    avionics_loss = pack_resistance * avionics_power

    def step(estimate: Array) -> tuple[Array, Array, Array]:
        share = avionics_loss / estimate**2
        total = (1 - share) * motor_resistance + added_resistance
        linear = (1 - share) * k
        surplus = duty * (open_circuit_voltage - 2 * share * estimate) - no_load_current * total
        speed = 2 * surplus / (linear + np.sqrt(linear**2 + 4 * torque_current * total * surplus))
        current = torque_current * speed**2 + no_load_current
        return speed, current, (k * speed + motor_resistance * current) / duty

    estimate = open_circuit_voltage
    speed, current, voltage = step(estimate)
    for _ in range(MAX_STEPS - 1):
        falls = (voltage < estimate * (1 - CONVERGED)) & (speed > 0)
        if not falls.any():
            break
        estimate = np.where(falls, voltage, estimate)  # converged rows stay, so that no row depends on another
        speed, current, voltage = step(estimate)
    turns = (speed > 0) & (voltage < estimate * (1 + 1e-6))
    speed, current = np.where(turns, speed, np.nan), np.where(turns, current, np.nan)
    pack_current = pack_per_motor * current + avionics_power / voltage
    return OperatingPoint(speed, current, pack_current, open_circuit_voltage - pack_resistance * pack_current)


class Demand(NamedTuple):
    """Duty and power that a rotor speed requires."""

    duty: Array
    """Nan where the pack cannot give the power; above 1 where full throttle does not reach the speed."""
    power: Array
    """Power from the pack, avionics included [W]."""


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
    """Compute the duty and the power at which the rotors turn at a speed [rad/s].

    The other parameters are those of `equilibrium`. A motor needs ``V_m = k w + I R``, so the pack gives
    ``P = N I V_m + P_a`` at any voltage, and ``d = V_m / V = 2 V_m / (V_0 + sqrt(V_0^2 - 4 R_p P))``.
    """
    current = torque_factor * rotor_speed**2 * speed_constant + no_load_current
    voltage = rotor_speed / speed_constant + current * motor_resistance
    power = motors * current * voltage + avionics_power
    discriminant = open_circuit_voltage**2 - 4 * pack_resistance * power
    root = np.sqrt(np.where(discriminant >= 0, discriminant, np.nan))
    return Demand(2 * voltage / (open_circuit_voltage + root), power)
