"""Motors and propellers of a craft together: the operating point at a duty, and the duty that hovers."""

from dataclasses import dataclass, fields
from functools import cached_property
from typing import Final, NamedTuple

import numpy as np

from gramwatt.arrays import Array
from gramwatt.physics import constants, motor, propeller

NEWTON_STEPS: Final = 6
"""Of `speed_at_motor_power`."""


@dataclass(frozen=True)
class Drive:
    """Identical motors with identical propellers; SI arrays that broadcast (see `motor.equilibrium`, `propeller`)."""

    motors: Array
    speed_constant: Array
    motor_resistance: Array
    no_load_current: Array
    diameter: Array
    thrust_coefficient: Array
    power_coefficient: Array
    air_density: Array

    @property
    def values(self) -> tuple[Array, ...]:
        """All fields, in order."""
        return tuple(getattr(self, field.name) for field in fields(self))

    @cached_property
    def torque_factor(self) -> Array:
        """``c`` in ``Q = c w^2`` of one propeller [N m s²]."""
        return propeller.torque_factor(self.power_coefficient, self.diameter, self.air_density)

    @cached_property
    def thrust_factor(self) -> Array:
        """``a`` in ``T = a w^2`` of all propellers [N s²]."""
        return self.motors * propeller.thrust_factor(self.thrust_coefficient, self.diameter, self.air_density)


class Operation(NamedTuple):
    """A steady operating point of the whole craft; nan where the motors do not turn."""

    rotor_speed: Array
    """Angular speed of the propellers [rad/s]."""
    motor_current: Array
    """Current of one motor [A]."""
    pack_current: Array
    """Current from the pack [A]."""
    pack_voltage: Array
    """Voltage of the loaded pack [V]."""
    thrust: Array
    """Thrust of all propellers [N]."""
    power: Array
    """Power from the pack, avionics included [W]."""
    motor_efficiency: Array
    """Shaft power over the electrical power of the motor."""


def operate(
    drive: Drive, duty: Array, *, open_circuit_voltage: Array, pack_resistance: Array, avionics_power: Array
) -> Operation:
    """Compute the operating point of the craft at a duty.

    Parameters
    ----------
    drive : Drive
        Motors and propellers.
    duty : any shape that broadcasts with the drive and all below
        Duty of the speed controllers, 0 to 1.
    open_circuit_voltage, pack_resistance
        Rested voltage of the pack [V] and its resistance [ohm].
    avionics_power
        Power drawn beside the motors [W].

    Returns
    -------
    Operation
        See `motor.equilibrium`; ``T = a w^2``.
    """
    point = motor.equilibrium(
        speed_constant=drive.speed_constant,
        motor_resistance=drive.motor_resistance,
        no_load_current=drive.no_load_current,
        torque_factor=drive.torque_factor,
        motors=drive.motors,
        duty=duty,
        open_circuit_voltage=open_circuit_voltage,
        pack_resistance=pack_resistance,
        avionics_power=avionics_power,
    )
    square = point.rotor_speed**2
    shaft = drive.torque_factor * square * point.rotor_speed
    return Operation(
        *point,
        thrust=drive.thrust_factor * square,
        power=point.pack_voltage * point.pack_current,
        motor_efficiency=shaft / (duty * point.pack_voltage * point.motor_current),
    )


def demand_at_speed(
    drive: Drive, rotor_speed: Array, *, open_circuit_voltage: Array, pack_resistance: Array, avionics_power: Array
) -> motor.Demand:
    """Compute duty and power at a rotor speed [rad/s]; see `motor.demand_at_speed`."""
    return motor.demand_at_speed(
        rotor_speed,
        speed_constant=drive.speed_constant,
        motor_resistance=drive.motor_resistance,
        no_load_current=drive.no_load_current,
        torque_factor=drive.torque_factor,
        motors=drive.motors,
        open_circuit_voltage=open_circuit_voltage,
        pack_resistance=pack_resistance,
        avionics_power=avionics_power,
    )


def speed_at_thrust(drive: Drive, thrust: Array) -> Array:
    """Compute the rotor speed [rad/s] at which all propellers together give a ``thrust`` [N]."""
    return np.asarray(np.sqrt(thrust / drive.thrust_factor))


def hover_speed(drive: Drive, mass: Array) -> Array:
    """Compute the rotor speed [rad/s] at which thrust equals the weight of a ``mass`` [kg]."""
    return speed_at_thrust(drive, mass * constants.STANDARD_GRAVITY)


def speed_at_motor_current(drive: Drive, current: Array) -> Array:
    """Compute the rotor speed [rad/s] at which each motor draws a current [A]: ``w = sqrt((I - I0) / (c Kv))``.

    Nan below the no-load current.
    """
    surplus = np.where(current >= drive.no_load_current, current - drive.no_load_current, np.nan)
    return np.asarray(np.sqrt(surplus / (drive.torque_factor * drive.speed_constant)))


def speed_at_motor_power(drive: Drive, power: Array) -> Array:
    """Compute the rotor speed at which each motor takes an electrical power.

    Parameters
    ----------
    drive : Drive
        Motors and propellers.
    power : any shape that broadcasts with the drive
        Electrical power of one motor [W].

    Returns
    -------
    Array
        The root w of ``(I0 + p w^2) (k w + R (I0 + p w^2)) = P`` with k = 1/Kv and p = c Kv [rad/s]. Nan where the
        power is below ``R I0^2``, which does not turn the motor.

    Notes
    -----
    Newton's method on ``k I0 w + 2 R p I0 w^2 + c w^3 + R p^2 w^4 = P - R I0^2``. Each term alone gives a speed above
    the root, and the lowest of the four is less than four times the root. The left side is convex, so each step
    approaches the root from above, and six steps reach the last bit.
    """
    resistance, no_load_current = drive.motor_resistance, drive.no_load_current
    torque_current = drive.torque_factor * drive.speed_constant
    first = no_load_current / drive.speed_constant
    second = 2 * resistance * torque_current * no_load_current
    third = drive.torque_factor
    fourth = resistance * torque_current**2
    surplus = power - resistance * no_load_current**2
    surplus = np.where(surplus >= 0, surplus, np.nan)
    speed = np.fmin(
        np.fmin(surplus / first, np.sqrt(surplus / second)),
        np.fmin(np.cbrt(surplus / third), np.sqrt(np.sqrt(surplus / fourth))),
    )
    for _ in range(NEWTON_STEPS):
        value = speed * (first + speed * (second + speed * (third + speed * fourth)))
        slope = first + speed * (2 * second + speed * (3 * third + speed * 4 * fourth))
        speed = np.where(speed > 0, speed - (value - surplus) / slope, speed)
    return speed


def duty_at_pack_current(
    drive: Drive, pack_current: Array, *, open_circuit_voltage: Array, pack_resistance: Array, avionics_power: Array
) -> Array:
    """Compute the duty at which the pack gives a current [A]: the inverse of `operate`.

    The current fixes the voltage V of the pack and so the power ``V I - P_a`` of the motors, which fixes their speed
    (`speed_at_motor_power`) and voltage ``V_m``: ``d = V_m / V``. Above 1 where full throttle draws less, infinite
    where no load draws it, nan where the motors do not turn on so little.
    """
    voltage = open_circuit_voltage - pack_resistance * pack_current
    speed = speed_at_motor_power(drive, (voltage * pack_current - avionics_power) / drive.motors)
    current = drive.torque_factor * drive.speed_constant * speed**2 + drive.no_load_current
    duty = (speed / drive.speed_constant + drive.motor_resistance * current) / voltage
    # Beyond half the rested voltage more current means less power, down to none.
    beyond = np.isnan(speed) & (2 * voltage < open_circuit_voltage)
    return np.asarray(np.where(beyond, np.inf, duty))


def matching_duty(ratio: Array, voltage_ratio: Array, sag: Array) -> Array:
    """Compute the duty at which motors turn as others do at full throttle, from ratios alone.

    Parameters
    ----------
    ratio : (N,)
        Speed without load of the other motor and pack over that of these, r.
    voltage_ratio : (N,)
        Rested voltage of the other pack over that of this one, v.
    sag : (N,)
        Share s of its voltage that the other pack loses at full throttle, below 1/2.

    Returns
    -------
    (N,)
        ``d = 2 r (1 - s) / (1 + sqrt(1 - 4 s v (1 - s)))``, at most 1. Without sag it is the ratio itself.

    Notes
    -----
    Derived for packs of one capacity and kind of cell, whose resistance goes with their voltage, and for motors that
    differ in their winding only: then ``k V_m`` and ``I / k`` are those of the other motor at the same rotor speed, so
    ``d (1 - d s v / r) = r (1 - s)``.
    """
    root = np.sqrt(np.maximum(1 - 4 * sag * voltage_ratio * (1 - sag), 0))
    return np.asarray(np.minimum(2 * ratio * (1 - sag) / (1 + root), 1))


def drive_efficiency(drive: Drive, thrust: Array, shaft_power: Array) -> Array:
    """Compute the efficiency of the motors where all propellers together give a thrust [N] for a shaft power [W].

    Shaft power over electrical power of the motors. The thrust fixes the speed w, the shaft power the torque Q:
    ``I = Kv Q + I0``, ``V_m = w / Kv + R I``, efficiency ``Q w / (V_m I)``.
    """
    speed = speed_at_thrust(drive, thrust)
    power = shaft_power / drive.motors
    current = drive.speed_constant * power / speed + drive.no_load_current
    return np.asarray(power / (current * (speed / drive.speed_constant + drive.motor_resistance * current)))
