"""Steps of a hovering or slowly moving craft, for the working."""

from dataclasses import dataclass
from typing import Annotated, Any, Final, TypeAlias

import numpy as np

from gramwatt.calculators._shared import drive_steps, drivetrain, hovering, pack_steps, whole_craft
from gramwatt.model import Array, Quantity
from gramwatt.physics import craft, hover

_MOTOR_POWER: Final = "motors * hover_motor_current * hover_motor_voltage + avionics_power"

HoverThrottle: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Throttle in hover.",
        at_most=100,
        formula="2 * hover_motor_voltage / (rested_pack_voltage"
        f" + sqrt(rested_pack_voltage**2 - 4 * pack_resistance_in_use * ({_MOTOR_POWER})))",
        needs=("mass",),
    ),
]
ShaftPower: TypeAlias = Annotated[
    Array,
    Quantity(
        "W",
        "Shaft power of all propellers.",
        formula="weight * (climb_speed + interference_factor * induced_velocity"
        " + max(other_losses, 0) * hover_velocity + min(other_losses, 0) * induced_velocity)",
    ),
]
InducedVelocity: TypeAlias = Annotated[
    Array,
    Quantity(
        "m/s",
        "Velocity of the air through the disks, by thrust.",
        formula="hover_velocity * hover_velocity / sqrt(forward_speed**2 + (climb_speed + induced_velocity)**2)",
        method="the positive root of this equation, by Newton's method",
    ),
]
InterferenceFactor: TypeAlias = Annotated[
    Array,
    Quantity(
        "1",
        "Induced power over that of the same propellers far apart.",
        label="Interference factor",
        at_least=1,
        formula="coaxial_factor * (1 + (sqrt(2) - 1) * neighbours * overlap)",
    ),
]


@dataclass(frozen=True, slots=True)
class Steps(pack_steps.PackSteps):
    """The pack, the load on the rotors, their losses, and the motors in hover."""

    rested_pack_voltage: pack_steps.RestedPackVoltage
    pack_resistance_in_use: drive_steps.PackResistanceInUse
    weight: Annotated[Array, Quantity("N", "Weight of the craft.", formula="mass * STANDARD_GRAVITY")]
    hover_velocity: Annotated[
        Array, Quantity("m/s", "Induced velocity in hover.", formula="sqrt(disk_loading / (2 * air_density))")
    ]
    spacing_ratio: Annotated[
        Array,
        Quantity("1", "Spacing of the axes over the diameter, at most 1.", formula="min(rotor_spacing / diameter, 1)"),
    ]
    overlap: Annotated[
        Array,
        Quantity(
            "1",
            "Share of a disk that a neighbour covers.",
            formula="2 / pi * (acos(spacing_ratio) - spacing_ratio * sqrt(1 - spacing_ratio**2))",
        ),
    ]
    neighbours: Annotated[
        Array,
        Quantity("1", "Neighbours of a rotor.", method="0 for one place with a rotor, 1 for two, 2 in a ring of more"),
    ]
    coaxial_factor: Annotated[
        Array,
        Quantity(
            "1",
            "Power of a coaxial pair over that of both alone.",
            method="`(1 + sqrt(17)) / 4`, or 1 of single rotors",
        ),
    ]
    figure_of_merit_in_use: Annotated[
        Array,
        Quantity(
            "1",
            "Figure of merit by the coefficients, where both are known.",
            formula=("sqrt(2 / pi) * thrust_coefficient**1.5 / power_coefficient", "figure_of_merit"),
        ),
    ]
    other_losses: Annotated[
        Array,
        Quantity(
            "1", "Losses of a propeller over its ideal power.", signed=True, formula="1 / figure_of_merit_in_use - 1"
        ),
    ]
    hover_shaft_power: Annotated[
        Array,
        Quantity(
            "W",
            "Shaft power of all propellers in hover.",
            formula="weight * (interference_factor + other_losses) * hover_velocity",
        ),
    ]
    real_kv: drive_steps.RealKv
    hover_speed: drive_steps.HoverSpeed
    hover_motor_current: Annotated[
        Array,
        Quantity(
            "A",
            "Current of one motor in hover.",
            formula=drive_steps.current_of("hover_shaft_power / motors", "hover_speed"),
        ),
    ]
    hover_motor_voltage: drive_steps.HoverMotorVoltage


def find_steps(given: Any, found: Any) -> Steps:
    """Return the steps; nan where motors, propellers or pack are not known."""
    drive, source = drivetrain.drive_of(given), whole_craft.pack_of(given)
    coaxial = given.rotor_layout == hovering.LAYOUTS.index("coaxial")
    places = np.where(coaxial, given.motors / 2, given.motors)
    spacing = np.minimum(given.rotor_spacing / given.diameter, 1)
    merit = hovering.figure_of_merit(given)
    hover_power, speed = hovering.shaft_power_in_hover(given), craft.hover_speed(drive, given.mass)
    current = hover_power / drive.motors / speed * drive.speed_constant + given.no_load_current
    return Steps(
        **pack_steps.get_pack_steps(given),
        rested_pack_voltage=source["open_circuit_voltage"],
        pack_resistance_in_use=source["pack_resistance"],
        weight=hovering.weight(given),
        hover_velocity=hover.hover_velocity(found.disk_loading, given.air_density),
        spacing_ratio=spacing,
        overlap=hover.overlap(spacing),
        neighbours=np.minimum(places - 1, 2),
        coaxial_factor=np.where(coaxial, hover.COAXIAL_FACTOR, 1.0),
        figure_of_merit_in_use=merit,
        other_losses=1 / merit - 1,
        hover_shaft_power=hover_power,
        real_kv=drive.speed_constant,
        hover_speed=speed,
        hover_motor_current=current,
        hover_motor_voltage=speed / drive.speed_constant + given.motor_resistance * current,
    )
