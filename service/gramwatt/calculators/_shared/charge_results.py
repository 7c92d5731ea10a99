"""Results about a charge: what limits it, and the storage level."""

from typing import Annotated, Final, TypeAlias

from gramwatt.calculators._shared import charge_steps, pack_steps
from gramwatt.model import Array, Choice, IndexArray, Quantity

LOWEST: Final = (
    "the lowest current that the setting, the charger, its supply and `charge_cell_voltage` allow at the start"
)

StorageCellVoltage: TypeAlias = Annotated[
    Array,
    Quantity(
        "V",
        "Rested voltage of one cell at the storage level.",
        label="Storage voltage per cell",
        formula=pack_steps.interpolate_at("storage_state_of_charge"),
    ),
]
StorageVoltage: TypeAlias = Annotated[
    Array,
    Quantity(
        "V",
        "Rested voltage of the pack at the storage level.",
        label="Storage voltage of the pack",
        formula="cells * storage_cell_voltage",
    ),
]
EnergyToDischarge: TypeAlias = Annotated[
    Array,
    Quantity(
        "Wh",
        "Energy of all packs above the storage level; 0 below it.",
        label="Energy above storage level",
        method="integral of the rested voltage over the charge above `storage_state_of_charge`",
    ),
]
DischargeTime: TypeAlias = Annotated[
    Array,
    Quantity(
        "min",
        "Time in which the charger discharges to the storage level.",
        needs=("discharge_power",),
        method="integral of charge over current at `discharge_power`, down to `storage_state_of_charge`",
    ),
]
ChargeLimitedBy: TypeAlias = Annotated[
    IndexArray,
    Choice(
        charge_steps.LIMITED_BY,
        "What sets the current at the start.",
        label="Current limited by",
        option_labels=charge_steps.LIMITED_BY_NAMES,
        method=LOWEST,
    ),
]
