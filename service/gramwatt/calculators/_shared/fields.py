"""The inputs that several calculators ask for, declared once: the same name, unit, bounds and words everywhere."""

from typing import Annotated, TypeAlias

from gramwatt.model import Array, Choice, Count, IndexArray, Quantity
from gramwatt.physics import cells

Cells: TypeAlias = Annotated[Array, Count("Cells in series.", at_least=1, at_most=24)]
Parallel: TypeAlias = Annotated[
    Array, Count("Cells side by side in each series position.", at_least=1, at_most=100, default=1)
]
Capacity: TypeAlias = Annotated[Array, Quantity("mAh", "Rated capacity of the whole pack.", at_least=1, at_most=1e6)]
Chemistry: TypeAlias = Annotated[IndexArray, Choice(cells.CHEMISTRIES, "Chemistry of the cells.", default="lipo")]
StateOfCharge: TypeAlias = Annotated[Array, Quantity("%", "Charge in the pack.", at_least=0, at_most=100, default=50)]
StartCharge: TypeAlias = Annotated[Array, Quantity("%", "Charge at take-off.", above=0, at_most=100, default=100)]
Reserve: TypeAlias = Annotated[
    Array, Quantity("%", "Charge left unused at landing.", at_least=0, below=100, default=20)
]
OpenCircuitVoltage: TypeAlias = Annotated[
    Array,
    Quantity(
        "V",
        "Measured voltage of the rested pack, instead of state_of_charge.",
        above=0,
        at_most=200,
        optional=True,
        replaces=("state_of_charge",),
    ),
]
CellResistance: TypeAlias = Annotated[
    Array,
    Quantity(
        "mohm",
        "Resistance of one series position at 25 degC (parallel cells counted as one). Measure it: it is the largest "
        "lever.",
        at_least=0,
        at_most=1e4,
        optional=True,
    ),
]
LeadResistance: TypeAlias = Annotated[
    Array, Quantity("mohm", "Leads and connectors, there and back.", at_least=0, at_most=1e4, default=0)
]
PackTemperature: TypeAlias = Annotated[
    Array, Quantity("degC", "Temperature of the cells.", at_least=-30, at_most=90, default=25)
]
ActivationEnergy: TypeAlias = Annotated[
    Array,
    Quantity(
        "kJ/mol",
        "How fast resistance rises in the cold; published cells run from 4 to 34.",
        at_least=0,
        at_most=100,
        default=20,
    ),
]
PackMass: TypeAlias = Annotated[
    Array, Quantity("g", "Mass of the pack with leads and connector.", above=0, at_most=1e5, optional=True)
]
DischargeRating: TypeAlias = Annotated[
    Array,
    Quantity(
        "C",
        "Continuous rating on the label, in multiples of the capacity per hour.",
        above=0,
        at_most=500,
        optional=True,
    ),
]
CutoffCellVoltage: TypeAlias = Annotated[
    Array, Quantity("V", "Loaded cell voltage that ends the flight.", above=0, at_most=4.5, optional=True)
]
Kv: TypeAlias = Annotated[Array, Quantity("rpm/V", "Speed constant of the motor.", above=0, at_most=1e5)]
Diameter: TypeAlias = Annotated[Array, Quantity("in", "Propeller diameter.", above=0, at_most=100, optional=True)]
AirTemperature: TypeAlias = Annotated[
    Array, Quantity("degC", "Temperature of the air.", at_least=-60, at_most=60, default=15)
]
Mass: TypeAlias = Annotated[
    Array, Quantity("g", "All-up mass: everything that leaves the ground.", above=0, at_most=1e5)
]
Motors: TypeAlias = Annotated[Array, Count("Motors, each with its propeller.", at_least=1, at_most=16, default=4)]
PropellerDiameter: TypeAlias = Annotated[Array, Quantity("in", "Propeller diameter.", above=0, at_most=100)]
Pitch: TypeAlias = Annotated[Array, Quantity("in", "Propeller pitch.", above=0, at_most=100)]
Blades: TypeAlias = Annotated[Array, Count("Blades of a propeller.", at_least=2, at_most=8, default=3)]
FigureOfMerit: TypeAlias = Annotated[
    Array,
    Quantity(
        "1",
        "Ideal over real power of the propeller in hover; about 0.6 for small three-bladed ones, less at high pitch.",
        above=0,
        below=1,
        default=0.60,
        default_u=0.05,
    ),
]
AirDensity: TypeAlias = Annotated[Array, Quantity("kg/m3", "Density of the air.", above=0, at_most=2, default=1.225)]
AvionicsPower: TypeAlias = Annotated[
    Array,
    Quantity(
        "W",
        "What everything but the motors draws: flight controller, receiver, camera, transmitter.",
        at_least=0,
        at_most=1e4,
        default=5,
        default_u=2,
    ),
]
MassExponent: TypeAlias = Annotated[
    Array,
    Quantity(
        "1",
        "How average power goes with mass, power ~ mass^x: 1.5 is the aerodynamic law; measured small craft run 1.0 to "
        "1.3.",
        at_least=0,
        at_most=3,
        default=1.5,
        default_u=0.2,
    ),
]
