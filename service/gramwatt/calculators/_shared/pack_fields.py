"""Inputs about a pack that several calculators share: the same name, unit, bounds and text everywhere."""

import dataclasses
from typing import Annotated, Any, Final, TypeAlias, TypeVar

from gramwatt.calculators._shared import plausible
from gramwatt.model import Array, Choice, Count, Group, IndexArray, Quantity
from gramwatt.physics import cells

OneKind = TypeVar("OneKind", Count, Quantity)

MAX_CELLS: Final = 24
MAX_CELL_VOLTAGE: Final = 4.5
"""Above any cell when full, with a margin for the error of a voltmeter and of a charger."""
MAX_PACK_VOLTAGE: Final = MAX_CELLS * MAX_CELL_VOLTAGE


def optional_quantity(unit: str, description: str, *, at_most: float, **more: Any) -> Quantity:
    """Declare a quantity above 0 that may be omitted; ``more`` is what `Quantity` takes beside bounds."""
    return Quantity(unit, description, above=0, at_most=at_most, optional=True, **more)


def make_optional(kind: OneKind) -> OneKind:
    """Return the declaration of a required input as one that may be omitted."""
    return dataclasses.replace(kind, optional=True)


CELLS: Final = Count(
    "Cells in series.",
    label="Cells in series",
    group=Group.PACK,
    at_least=1,
    at_most=MAX_CELLS,
    suffix="S",
    synonyms=("cell_count", "series_cells", "number_of_cells", "series"),
)
CAPACITY: Final = Quantity(
    "mAh",
    "Rated capacity of the whole pack.",
    group=Group.PACK,
    at_least=1,
    at_most=1e6,
    synonyms=("pack_capacity", "battery_capacity", "mah"),
    plausible=plausible.CAPACITY,
)
Cells: TypeAlias = Annotated[Array, CELLS]
OptionalCells: TypeAlias = Annotated[Array, make_optional(CELLS)]
ParallelCells: TypeAlias = Annotated[
    Array,
    Count(
        "Parallel cells in each series position.",
        label="Cells in parallel",
        group=Group.PACK,
        at_least=1,
        at_most=100,
        default=1,
        synonyms=("parallel",),
    ),
]
Capacity: TypeAlias = Annotated[Array, CAPACITY]
OptionalCapacity: TypeAlias = Annotated[Array, make_optional(CAPACITY)]
Chemistry: TypeAlias = Annotated[
    IndexArray,
    Choice(
        cells.CHEMISTRIES,
        "Chemistry of the cells.",
        option_labels=cells.CHEMISTRY_NAMES,
        group=Group.PACK,
        default="lipo",
        synonyms=("battery_type", "cell_type"),
    ),
]
STATE_OF_CHARGE: Final = Quantity(
    "%",
    "Charge in the pack. Half by default, the middle of a flight: at a given power, current rises as a pack empties.",
    group=Group.PACK,
    at_least=0,
    at_most=100,
    default=50,
    synonyms=("soc",),
)
StateOfCharge: TypeAlias = Annotated[Array, STATE_OF_CHARGE]
FreshCharge: TypeAlias = Annotated[
    Array,
    dataclasses.replace(
        STATE_OF_CHARGE,
        description="Charge in the pack. Full by default, which gives the highest current.",
        default=100,
    ),
]
StartStateOfCharge: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Charge at take-off.",
        label="Charge at take-off",
        group=Group.FLIGHT,
        above=0,
        at_most=100,
        default=100,
        synonyms=("start_soc", "start_charge", "initial_charge"),
    ),
]
Reserve: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Charge left at landing.",
        label="Reserve at landing",
        group=Group.FLIGHT,
        at_least=0,
        below=100,
        default=20,
    ),
]
OpenCircuitVoltage: TypeAlias = Annotated[
    Array,
    optional_quantity(
        "V",
        "Measured voltage of the rested pack, instead of the state of charge.",
        label="Rested pack voltage",
        group=Group.PACK,
        at_most=MAX_PACK_VOLTAGE,
        replaces=("state_of_charge",),
        synonyms=("ocv", "resting_voltage"),
    ),
]
CellResistance: TypeAlias = Annotated[
    Array,
    Quantity(
        "mohm",
        "Resistance of one series position at 25 °C (parallel cells count as one). Measure it: no other input matters "
        "as much.",
        group=Group.PACK,
        at_least=0,
        at_most=1e4,
        optional=True,
        synonyms=("ir", "internal_resistance"),
        plausible=plausible.CELL_RESISTANCE,
    ),
]
LeadResistance: TypeAlias = Annotated[
    Array,
    Quantity(
        "mohm",
        "Resistance of leads and connectors, both ways; beside an assumed cell resistance, which includes the pack's "
        "own leads, only that of extra ones.",
        group=Group.PACK,
        at_least=0,
        at_most=1e4,
        default=0,
        follows=("wire_resistance",),
        synonyms=("wire_resistance",),
    ),
]
PACK_RESISTANCE: Final = optional_quantity(
    "mohm",
    "Measured resistance of the whole pack with its leads, at the temperature of this flight, instead of cell and lead "
    "resistance. flight-log finds it in a recording.",
    group=Group.PACK,
    at_most=1e5,
    replaces=("cell_resistance", "lead_resistance"),
    follows=("pack_resistance",),
    synonyms=("pack_ir", "battery_resistance"),
    plausible=plausible.PACK_RESISTANCE,
)
MeasuredPackResistance: TypeAlias = Annotated[Array, PACK_RESISTANCE]
MeasuredRowResistance: TypeAlias = Annotated[Array, dataclasses.replace(PACK_RESISTANCE, replaces=(), follows=())]
"""The same in a row of a table, where no input replaces another."""
PackTemperature: TypeAlias = Annotated[
    Array,
    Quantity(
        "degC",
        "Temperature of the cells.",
        group=Group.PACK,
        at_least=-30,
        at_most=90,
        default=25,
        synonyms=("battery_temperature", "cell_temperature"),
    ),
]
ActivationEnergy: TypeAlias = Annotated[
    Array,
    Quantity(
        "kJ/mol",
        "How fast resistance rises in the cold; published cells have 4 to 34.",
        group=Group.FINE_TUNING,
        at_least=0,
        at_most=100,
        default=20,
    ),
]
PackMass: TypeAlias = Annotated[
    Array,
    optional_quantity(
        "g",
        "Mass of the pack with leads and connector.",
        group=Group.PACK,
        at_most=1e5,
        synonyms=("battery_weight", "battery_mass", "pack_weight"),
        plausible=plausible.PACK_MASS,
    ),
]
DischargeRating: TypeAlias = Annotated[
    Array,
    optional_quantity(
        "C",
        "Continuous discharge rating on the label, in multiples of the capacity per hour.",
        label="C rating",
        group=Group.PACK,
        at_most=500,
        synonyms=("c_rating", "pack_rating"),
    ),
]
CutoffCellVoltage: TypeAlias = Annotated[
    Array,
    optional_quantity(
        "V",
        "Loaded cell voltage that ends the flight.",
        label="Cut-off cell voltage",
        group=Group.PACK,
        at_most=MAX_CELL_VOLTAGE,
        synonyms=("cutoff_voltage", "low_voltage_cutoff"),
    ),
]
