"""Motors and propellers of a craft together: the operating point at a duty, and the duty that hovers."""

from dataclasses import dataclass, fields
from functools import cached_property
from typing import NamedTuple

import numpy as np

from gramwatt.arrays import Array
from gramwatt.physics import constants, motor, propeller


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


def hover_speed(drive: Drive, mass: Array) -> Array:
    """Compute the rotor speed [rad/s] at which thrust equals the weight of a ``mass`` [kg]."""
    return np.asarray(np.sqrt(mass * constants.STANDARD_GRAVITY / drive.thrust_factor))
