"""Layout, motion and measured hover of a craft, as inputs."""

from typing import Annotated, TypeAlias

from gramwatt.calculators._shared import hovering, pack_fields
from gramwatt.model import (
    Array,
    Choice,
    Group,
    IndexArray,
    Quantity,
)


def _speed(description: str) -> Quantity:
    return Quantity("m/s", description, group=Group.FLIGHT, at_least=0, at_most=15, default=0)


RotorLayout: TypeAlias = Annotated[
    IndexArray,
    Choice(
        hovering.LAYOUTS,
        "Single propellers, or coaxial pairs; motors are all counted.",
        label="Propeller layout",
        synonyms=("layout", "propeller_layout"),
        group=Group.MOTOR,
        default="single",
    ),
]
RotorSpacing: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "in",
        "Distance of the axes of neighbouring propellers, for disks that overlap.",
        label="Propeller spacing",
        group=Group.MOTOR,
        at_most=1000,
    ),
]
DriveEfficiency: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "%",
        "Efficiency of motor and controller: shaft over electrical power.",
        group=Group.FINE_TUNING,
        at_most=100,
        synonyms=("efficiency",),
    ),
]
ClimbSpeed: TypeAlias = Annotated[Array, _speed("Steady climb speed.")]
ForwardSpeed: TypeAlias = Annotated[Array, _speed("Speed through the air across the rotor axes.")]
LoadedCellVoltage: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "V",
        "Cell voltage under this load.",
        label="Loaded cell voltage",
        synonyms=("cell_voltage",),
        group=Group.PACK,
        at_most=pack_fields.MAX_CELL_VOLTAGE,
    ),
]
HoverCurrent: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "A", "Measured: current from the pack in hover at this mass, in this air.", group=Group.FLIGHT, at_most=1e4
    ),
]
HoverVoltage: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity("V", "Measured: voltage of the pack in that hover.", group=Group.FLIGHT, at_most=200),
]
