"""A craft at rest at its throttle cap, as results."""

from typing import Annotated, Final, TypeAlias

import numpy as np

from gramwatt.calculators._shared import drive_steps, fields, pack_fields
from gramwatt.model import Array, NumberList, Quantity

MAX_TIP_MACH: Final = 0.7
"""Above it air at the blades begins to be faster than sound, which the coefficients leave out. Rule of thumb, no
source."""
THROTTLES: Final = np.array([0.25, 0.50, 0.75, 1.00])

SPEED = "(throttle_cap * loaded_voltage - motor_resistance * motor_current) * real_kv"

TOGETHER = (
    "solved by Newton's method together with motor current, pack current and loaded voltage, whose formulas hold with "
    "the same values"
)

THRUST = "motors * thrust_coefficient * air_density * (rotor_speed / (2 * pi))**2 * diameter**4"

CURRENT = "motors * throttle_cap * motor_current + avionics_power / loaded_voltage"

EFFICIENCY = "shaft_power_of_motor / (throttle_cap * loaded_voltage * motor_current)"

OVER_WEIGHT = "thrust / (mass * STANDARD_GRAVITY)"

MOTOR_CURRENT = drive_steps.current_of("shaft_power_of_motor", "rotor_speed")

BY_THROTTLE = "the same equations at 25, 50, 75 and 100 % of the throttle cap"


def _by_throttle(unit: str, what: str) -> NumberList:
    description = f"{what} at 25, 50, 75 and 100 % of the throttle cap."
    return NumberList(Quantity(unit, what), description, max_length=len(THROTTLES), method=BY_THROTTLE)


Thrust: TypeAlias = Annotated[Array, Quantity("gf", "Thrust of all propellers.", formula=THRUST)]
PackCurrent: TypeAlias = Annotated[Array, Quantity("A", "Current from the pack.", formula=CURRENT)]
PackPower: TypeAlias = Annotated[Array, Quantity("W", "Power from the pack.", formula="loaded_voltage * pack_current")]
ThrustToWeight: TypeAlias = Annotated[
    Array, Quantity("1", "Thrust over weight.", label="Thrust-to-weight", formula=OVER_WEIGHT, needs=("mass",))
]
MotorCurrent: TypeAlias = Annotated[Array, Quantity("A", "Current of one motor.", formula=MOTOR_CURRENT)]
RotorSpeed: TypeAlias = Annotated[
    Array, Quantity("rpm", "Speed of the propellers.", label="Propeller speed", formula=SPEED, method=TOGETHER)
]
LoadedVoltage: TypeAlias = Annotated[
    Array,
    Quantity(
        "V",
        "Loaded voltage of the pack.",
        label="Loaded pack voltage",
        at_most=pack_fields.MAX_PACK_VOLTAGE,
        formula="rested_pack_voltage - pack_current * pack_resistance_in_use",
    ),
]
MotorEfficiency: TypeAlias = Annotated[
    Array, Quantity("%", "Shaft power over the motor's electrical power.", at_most=100, formula=EFFICIENCY)
]
ThrustPerWatt: TypeAlias = Annotated[Array, Quantity("gf/W", "Thrust over power.", formula="thrust / pack_power")]
TipSpeed: TypeAlias = Annotated[
    Array, Quantity("m/s", "Speed of the blade tips.", formula="rotor_speed * diameter / 2")
]
TipMach: TypeAlias = Annotated[
    Array,
    Quantity(
        "1",
        "Mach number of the blade tips.",
        label="Tip Mach number",
        formula=f"tip_speed / {fields.SPEED_OF_SOUND}",
    ),
]
CRate: TypeAlias = Annotated[
    Array,
    Quantity("C", "Current in multiples of the capacity per hour.", label="C-rate", formula="pack_current / capacity"),
]
ControllerRatingShare: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Share of a controller's continuous rating.",
        label="Controller rating used",
        formula="motor_current / controller_rating",
        needs=("controller_rating",),
    ),
]
ThrustByThrottle: TypeAlias = Annotated[Array, _by_throttle("gf", "Thrust")]
PackCurrentByThrottle: TypeAlias = Annotated[Array, _by_throttle("A", "Pack current")]
ThrustPerWattByThrottle: TypeAlias = Annotated[Array, _by_throttle("gf/W", "Thrust over power")]
