"""A craft's motors and propellers together: a point at a duty, and the duty that hovers."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from gramwatt.declare import Array
from gramwatt.physics import constants, motor, propeller


@dataclass(frozen=True, slots=True)
class Drive:
    """Motors and propellers, all alike; arrays of one shape, SI (see `motor.equilibrium`, `propeller`)."""

    motors: Array
    speed_constant: Array
    motor_resistance: Array
    no_load_current: Array
    diameter: Array
    thrust_coefficient: Array
    power_coefficient: Array
    air_density: Array

    @property
    def torque_factor(self) -> Array:
        """``c`` in Q = c w^2."""
        return propeller.torque_factor(self.power_coefficient, self.diameter, self.air_density)


class Operation(NamedTuple):
    """A steady point of the whole craft; nan where the motors do not turn."""

    rotor_speed: Array
    motor_current: Array
    pack_current: Array
    pack_voltage: Array
    thrust: Array
    """Of all propellers [N]."""
    power: Array
    """From the pack, avionics among it [W]."""
    motor_efficiency: Array
    """Shaft power over the motor's electrical power."""


def operate(
    drive: Drive, duty: Array, *, open_circuit_voltage: Array, pack_resistance: Array, avionics_power: Array
) -> Operation:
    """The craft at a duty (0 to 1), arrays of one shape."""
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
    one = propeller.thrust(drive.thrust_coefficient, point.rotor_speed, drive.diameter, drive.air_density)
    shaft = drive.torque_factor * point.rotor_speed**3
    return Operation(
        *point,
        thrust=drive.motors * one,
        power=point.pack_voltage * point.pack_current,
        motor_efficiency=shaft / (duty * point.pack_voltage * point.motor_current),
    )


def hover_duty(
    drive: Drive, mass: Array, *, open_circuit_voltage: Array, pack_resistance: Array, avionics_power: Array
) -> Array:
    """The duty at which thrust equals weight; above 1 or nan where the craft cannot lift it."""
    lift = drive.motors * drive.thrust_coefficient * drive.air_density * drive.diameter**4
    speed = 2 * np.pi * np.sqrt(mass * constants.STANDARD_GRAVITY / lift)
    return motor.duty_at_speed(
        speed,
        speed_constant=drive.speed_constant,
        motor_resistance=drive.motor_resistance,
        no_load_current=drive.no_load_current,
        torque_factor=drive.torque_factor,
        motors=drive.motors,
        open_circuit_voltage=open_circuit_voltage,
        pack_resistance=pack_resistance,
        avionics_power=avionics_power,
    )
