"""A craft at its throttle cap and in hover, step by step."""

from dataclasses import dataclass
from typing import Annotated, Any, TypeAlias

import numpy as np

from gramwatt.calculators._shared import drive_steps, drivetrain, pack_steps, whole_craft
from gramwatt.model import Array, Quantity
from gramwatt.physics import craft

HoverThrottle: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Throttle in hover.",
        at_most=100,
        formula="hover_motor_voltage / (rested_pack_voltage - hover_current * pack_resistance_in_use)",
        needs=("mass",),
    ),
]
HoverPower: TypeAlias = Annotated[
    Array,
    Quantity(
        "W",
        "Electrical power in hover.",
        formula="motors * hover_motor_current * hover_motor_voltage + avionics_power",
        needs=("mass",),
    ),
]
HoverCurrent: TypeAlias = Annotated[
    Array,
    Quantity(
        "A",
        "Current from the pack in hover.",
        formula=pack_steps.current_at("hover_power", "rested_pack_voltage", "pack_resistance_in_use"),
        needs=("mass",),
    ),
]


@dataclass(frozen=True, slots=True)
class Steps(pack_steps.PackSteps):
    """The pack, the motors at the cap, and the same in hover."""

    rested_pack_voltage: pack_steps.RestedPackVoltage
    pack_resistance_in_use: drive_steps.PackResistanceInUse
    real_kv: drive_steps.RealKv
    shaft_power_of_motor: Annotated[
        Array, Quantity("W", "Shaft power of one motor.", formula=drive_steps.shaft_power_at("rotor_speed"))
    ]
    hover_speed: drive_steps.HoverSpeed
    hover_shaft_power: Annotated[
        Array, Quantity("W", "Shaft power of one motor in hover.", formula=drive_steps.shaft_power_at("hover_speed"))
    ]
    hover_motor_current: Annotated[
        Array,
        Quantity(
            "A", "Current of one motor in hover.", formula=drive_steps.current_of("hover_shaft_power", "hover_speed")
        ),
    ]
    hover_motor_voltage: drive_steps.HoverMotorVoltage


def find_steps(given: Any, found: Any) -> Steps:
    """Return the steps at the cap, and those of hover, nan where it does not hover."""
    drive, source = drivetrain.drive_of(given), whole_craft.pack_of(given)
    hover_speed = np.where(np.isnan(found.hover_power), np.nan, craft.hover_speed(drive, given.mass))
    hover_power = drive_steps.shaft_power(given, hover_speed)
    hover_current = hover_power / hover_speed * drive.speed_constant + given.no_load_current
    return Steps(
        **pack_steps.get_pack_steps(given),
        rested_pack_voltage=source["open_circuit_voltage"],
        pack_resistance_in_use=source["pack_resistance"],
        real_kv=drive.speed_constant,
        shaft_power_of_motor=drive_steps.shaft_power(given, found.rotor_speed),
        hover_speed=hover_speed,
        hover_shaft_power=hover_power,
        hover_motor_current=hover_current,
        hover_motor_voltage=hover_speed / drive.speed_constant + given.motor_resistance * hover_current,
    )
