"""Steps of motors, propellers and pack that turn together, for the working."""

from typing import Annotated, Any, Final, TypeAlias

from gramwatt.model import Array, Quantity
from gramwatt.physics import propeller

REVOLUTIONS: Final = "({speed} / (2 * pi))"
"""Revolutions per second of a speed."""
COEFFICIENT_POWER: Final = f"air_density * {REVOLUTIONS}**3 * diameter**5"
"""What a power coefficient is multiplied by, at a speed."""

HOVER_SPEED: Final = (
    "2 * pi * sqrt(mass * STANDARD_GRAVITY / (motors * thrust_coefficient * air_density * diameter**4))"
)

RealKv: TypeAlias = Annotated[
    Array,
    Quantity("rpm/V", "Speed constant of the motor.", label="Real motor kV", formula="kv * (1 - kv_deficit)"),
]
PackResistanceInUse: TypeAlias = Annotated[
    Array,
    Quantity(
        "mohm",
        "Resistance of pack and leads: at this temperature, or as measured.",
        label="Pack resistance in use",
        formula=("cells * resistance_at_temperature + lead_resistance", "pack_resistance"),
    ),
]

HoverSpeed: TypeAlias = Annotated[
    Array,
    Quantity(
        "rpm",
        "Speed of the propellers in hover.",
        formula=HOVER_SPEED,
    ),
]
HoverMotorVoltage: TypeAlias = Annotated[
    Array,
    Quantity(
        "V", "Voltage of one motor in hover.", formula="hover_speed / real_kv + motor_resistance * hover_motor_current"
    ),
]


def shaft_power_at(speed: str) -> str:
    """Return the formula of the shaft power of one propeller at the speed of this name."""
    return f"power_coefficient * {COEFFICIENT_POWER.format(speed=speed)}"


def shaft_power(given: Any, rotor_speed: Array) -> Array:
    """Return the shaft power (N,) [W] of one propeller at a speed [rad/s]."""
    return propeller.torque_factor(given.power_coefficient, given.diameter, given.air_density) * rotor_speed**3


def current_of(shaft_power: str, speed: str) -> str:
    """Return the formula of the current of a motor, from names of shaft power and speed."""
    return f"{shaft_power} / {speed} * real_kv + no_load_current"
