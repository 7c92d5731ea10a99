"""Inputs about a charge and its charger."""

import dataclasses
from typing import Annotated, Final, TypeAlias

from gramwatt.calculators._shared import pack_fields
from gramwatt.calculators._shared.pack_fields import MAX_CELL_VOLTAGE, optional_quantity
from gramwatt.model import Array, Choice, Count, Group, IndexArray, Quantity

TARGETS: Final = ("full", "storage")
STORAGE: Final = TARGETS.index("storage")

StateOfCharge: TypeAlias = Annotated[
    Array,
    dataclasses.replace(
        pack_fields.STATE_OF_CHARGE,
        description="Charge in the pack before charging. By default the usual reserve at landing.",
        default=20,
    ),
]
PacksInParallel: TypeAlias = Annotated[
    Array,
    Count(
        "Equal packs that are charged together, in parallel on one charger.",
        group=Group.CHARGER,
        at_least=1,
        at_most=20,
        default=1,
        synonyms=("parallel_packs", "number_of_packs"),
    ),
]
ChargeTarget: TypeAlias = Annotated[
    IndexArray,
    Choice(
        TARGETS,
        "Charge to full or to the storage level.",
        label="Charge to",
        option_labels=("full", "storage level"),
        group=Group.CHARGER,
        default="full",
        synonyms=("target",),
    ),
]
StorageStateOfCharge: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Charge at which packs are stored: about half full, as the pack maker advises.",
        label="Storage level",
        group=Group.CHARGER,
        above=0,
        at_most=100,
        default=50,
        synonyms=("storage_level", "storage_soc"),
    ),
]
ChargeRate: TypeAlias = Annotated[
    Array,
    Quantity(
        "C",
        "Charge current of each pack, in multiples of its capacity per hour.",
        group=Group.CHARGER,
        above=0,
        at_most=50,
        default=1,
        synonyms=("charge_c_rate", "charging_rate"),
    ),
]
ChargeCurrent: TypeAlias = Annotated[
    Array,
    optional_quantity(
        "A",
        "Current set on the charger for all packs together, instead of the charge rate.",
        group=Group.CHARGER,
        at_most=1e3,
        replaces=("charge_rate",),
        synonyms=("charging_current",),
    ),
]
ChargeRating: TypeAlias = Annotated[
    Array,
    optional_quantity(
        "C",
        "Maximum charge rate that the pack's maker allows.",
        label="Maximum charge rate",
        group=Group.PACK,
        at_most=50,
        synonyms=("max_charge_rate", "maximum_charge_rate"),
    ),
]
MaximumChargerCurrent: TypeAlias = Annotated[
    Array,
    optional_quantity(
        "A",
        "Maximum current of the charger.",
        label="Maximum charger current",
        group=Group.CHARGER,
        at_most=1e3,
        synonyms=("charger_current", "max_charger_current"),
    ),
]
MaximumChargerPower: TypeAlias = Annotated[
    Array,
    optional_quantity(
        "W",
        "Maximum power that the charger gives to the packs.",
        label="Maximum charger power",
        group=Group.CHARGER,
        at_most=1e4,
        synonyms=("charger_power", "max_charger_power"),
    ),
]
MaximumSupplyPower: TypeAlias = Annotated[
    Array,
    optional_quantity(
        "W",
        "Maximum power that the mains supply, or the battery in its place, gives to the charger.",
        label="Maximum supply power",
        group=Group.CHARGER,
        at_most=1e4,
        synonyms=("supply_power", "input_power"),
    ),
]
DischargePower: TypeAlias = Annotated[
    Array,
    optional_quantity(
        "W",
        "Power at which the charger discharges the packs together.",
        group=Group.CHARGER,
        at_most=1e4,
        synonyms=("charger_discharge_power",),
    ),
]
EnergyPrice: TypeAlias = Annotated[
    Array,
    Quantity(
        "per kWh",
        "Price of a kilowatt-hour from the wall, in your currency.",
        group=Group.CHARGER,
        at_least=0,
        at_most=1e6,
        optional=True,
        synonyms=("price", "electricity_price"),
    ),
]
ChargeCellVoltage: TypeAlias = Annotated[
    Array,
    optional_quantity(
        "V",
        "Voltage per cell that the charger holds at the end.",
        label="Charge voltage per cell",
        group=Group.FINE_TUNING,
        at_most=MAX_CELL_VOLTAGE,
        synonyms=("set_voltage", "charge_voltage", "termination_voltage"),
    ),
]
CutoffChargeRate: TypeAlias = Annotated[
    Array,
    Quantity(
        "C",
        "Current per pack at which the charge ends at constant voltage. Balance chargers mostly end at a tenth of the "
        "charge current, cells are tested to C/20.",
        label="Cut-off rate",
        group=Group.FINE_TUNING,
        above=0,
        at_most=10,
        default=0.1,
        synonyms=("cutoff_current", "termination_current"),
    ),
]
ChargeResistanceRatio: TypeAlias = Annotated[
    Array,
    Quantity(
        "1",
        "Resistance over a whole charge, during which diffusion adds to it, over that in a pulse of seconds: 1.6 to "
        "2.8 for three published cells.",
        group=Group.FINE_TUNING,
        at_least=1,
        at_most=10,
        default=2,
        default_factor=1.3,
    ),
]
ChargerEfficiency: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Power to the packs over power into the charger.",
        group=Group.FINE_TUNING,
        above=0,
        at_most=100,
        default=88,
        default_u=4,
    ),
]
SupplyEfficiency: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Power from the mains supply over power from the wall.",
        group=Group.FINE_TUNING,
        above=0,
        at_most=100,
        default=88,
        default_u=4,
    ),
]
