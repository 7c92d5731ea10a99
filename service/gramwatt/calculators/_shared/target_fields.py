"""The targets of a throttle cap, as inputs."""

import dataclasses
from typing import Annotated, TypeAlias

from gramwatt.calculators._shared import fields, pack_fields
from gramwatt.model import (
    Array,
    Choice,
    Group,
    IndexArray,
    Quantity,
)
from gramwatt.physics import cells

TARGET_CHEMISTRY = Choice(
    cells.CHEMISTRIES,
    "Target: chemistry of the pack to match, if different.",
    option_labels=cells.CHEMISTRY_NAMES,
    group=Group.TARGET,
    optional=True,
)


def _resistance(description: str) -> Quantity:
    return Quantity("mohm", f"Target: {description}", group=Group.FINE_TUNING, at_least=0, at_most=1e4, optional=True)


TargetKv: TypeAlias = Annotated[
    Array,
    dataclasses.replace(
        fields.KV,
        description="Target: speed constant of the motor to match.",
        label="Target kV",
        group=Group.TARGET,
        optional=True,
        synonyms=(),
    ),
]
TargetCells: TypeAlias = Annotated[
    Array,
    dataclasses.replace(
        pack_fields.CELLS,
        description="Target: cells of the pack to match.",
        label="Target cells in series",
        group=Group.TARGET,
        optional=True,
        synonyms=(),
    ),
]
TargetChemistry: TypeAlias = Annotated[IndexArray, TARGET_CHEMISTRY]
TargetCapacity: TypeAlias = Annotated[
    Array,
    dataclasses.replace(
        pack_fields.CAPACITY,
        description="Target: rated capacity of the pack to match.",
        group=Group.TARGET,
        optional=True,
        synonyms=(),
        plausible=None,
    ),
]
TargetCellResistance: TypeAlias = Annotated[
    Array, _resistance("resistance of one series position of the pack to match.")
]
TargetLeadResistance: TypeAlias = Annotated[
    Array, _resistance("resistance of leads and connectors of the pack to match.")
]
TargetPackResistance: TypeAlias = Annotated[
    Array, _resistance("resistance of the whole pack to match, with its leads.")
]
TargetNoLoadSpeed: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "rpm",
        "Target: maximum speed without load.",
        label="Target no-load speed",
        synonyms=("target_speed",),
        group=Group.TARGET,
        at_most=1e6,
    ),
]
TargetNoLoadTipMach: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "1",
        "Target: maximum tip Mach number without load; requires the diameter.",
        label="Target no-load tip Mach",
        synonyms=("target_tip_mach",),
        group=Group.TARGET,
        at_most=2,
    ),
]
TargetThrust: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity("gf", "Target: maximum thrust of all propellers.", group=Group.TARGET, at_most=1e6),
]
TargetThrustToWeight: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "1",
        "Target: maximum thrust over weight; requires the mass.",
        label="Target thrust-to-weight",
        group=Group.TARGET,
        at_most=100,
    ),
]
TargetPackCurrent: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "A", "Target: maximum current from the pack.", synonyms=("target_current",), group=Group.TARGET, at_most=1e4
    ),
]
