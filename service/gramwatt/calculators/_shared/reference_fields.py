"""The measured flight that another is computed from, as inputs."""

import dataclasses
from typing import Annotated, TypeAlias

from gramwatt.calculators._shared import pack_fields
from gramwatt.model import (
    Array,
    Choice,
    Group,
    IndexArray,
    Quantity,
)
from gramwatt.physics import cells as cell

ReferenceDuration: TypeAlias = Annotated[
    Array,
    Quantity(
        "min",
        "Measured flight time, from a full pack down to the reserve.",
        label="Reference flight time",
        group=Group.FLIGHT,
        above=0,
        at_most=1000,
        follows=("landing_time", "longest_landing_time"),
    ),
]
ReferenceCells: TypeAlias = Annotated[
    Array,
    dataclasses.replace(
        pack_fields.CELLS,
        description="Cells in series of the pack of the measured flight.",
        label="Reference cells in series",
        group=Group.FLIGHT,
        synonyms=(),
    ),
]
ReferenceCapacity: TypeAlias = Annotated[
    Array,
    Quantity(
        "mAh", "Rated capacity of the whole pack of the measured flight.", group=Group.FLIGHT, above=0, at_most=1e6
    ),
]
ReferenceMass: TypeAlias = Annotated[
    Array, Quantity("g", "All-up mass of the measured flight.", group=Group.FLIGHT, above=0, at_most=1e5)
]
ReferenceChemistry: TypeAlias = Annotated[
    IndexArray,
    Choice(
        cell.CHEMISTRIES,
        "Chemistry of the pack of the measured flight, if different.",
        option_labels=cell.CHEMISTRY_NAMES,
        group=Group.FLIGHT,
        optional=True,
    ),
]
ReferenceReserve: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Charge left at landing of the measured flight, if different.",
        group=Group.FLIGHT,
        at_least=0,
        below=100,
        optional=True,
    ),
]
