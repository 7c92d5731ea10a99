"""Inputs and results that several calculators share: the same name, unit, bounds and text everywhere."""

import dataclasses
from typing import Annotated, Final, TypeAlias

from gramwatt.calculators._shared import plausible
from gramwatt.calculators._shared.pack_fields import MAX_PACK_VOLTAGE, make_optional
from gramwatt.model import Array, Count, Group, Quantity, Term
from gramwatt.physics import constants

TYPICAL_EXPONENT: Final = 1.2
EXPONENT_UNCERTAINTY: Final = 0.2
"""Of electrical power against mass: measured medians are 1.04 to 1.32, rising with the load of the rotors, single runs
0.9 to 1.5 (StrawsonDesign/motor_propeller_testing). The 1.5 of momentum theory is that of the air alone."""


ALL_UP: Final = (
    Term("parts.mass", times="parts.count", is_base=True),
    Term("dry_mass", is_base=True),
    Term("propellers.mass", times="motors"),
    Term("packs.mass"),
)
"""What leaves the ground."""


KV: Final = Quantity(
    "rpm/V",
    "Speed constant of the motor.",
    label="Motor kV",
    group=Group.MOTOR,
    above=0,
    at_most=1e5,
    synonyms=("motor_kv", "speed_constant"),
)
DIAMETER: Final = Quantity(
    "in",
    "Propeller diameter.",
    label="Propeller diameter",
    group=Group.MOTOR,
    above=0,
    at_most=100,
    synonyms=("prop_diameter", "prop_size"),
)
PITCH: Final = Quantity(
    "in",
    "Propeller pitch.",
    label="Propeller pitch",
    group=Group.MOTOR,
    above=0,
    at_most=100,
    synonyms=("prop_pitch",),
)
MASS: Final = Quantity(
    "g",
    "All-up mass: everything that leaves the ground.",
    label="All-up mass",
    group=Group.WEIGHT,
    above=0,
    at_most=1e5,
    sum_of=ALL_UP,
    follows=("total_mass",),
    synonyms=("weight", "auw", "all_up_weight", "takeoff_weight"),
    plausible=plausible.ALL_UP_MASS,
)
Kv: TypeAlias = Annotated[Array, KV]
OptionalKv: TypeAlias = Annotated[Array, make_optional(KV)]
PropellerDiameter: TypeAlias = Annotated[Array, DIAMETER]
Diameter: TypeAlias = Annotated[Array, make_optional(DIAMETER)]
Pitch: TypeAlias = Annotated[Array, PITCH]
OptionalPitch: TypeAlias = Annotated[Array, make_optional(PITCH)]
Mass: TypeAlias = Annotated[Array, MASS]
OptionalMass: TypeAlias = Annotated[Array, make_optional(MASS)]
AirTemperature: TypeAlias = Annotated[
    Array,
    Quantity(
        "degC",
        "Temperature of the air.",
        group=Group.AIR,
        at_least=-60,
        at_most=60,
        default=15,
        synonyms=("temperature", "ambient_temperature"),
    ),
]
Motors: TypeAlias = Annotated[
    Array,
    Count(
        "Number of motors, each with one propeller.",
        group=Group.MOTOR,
        at_least=1,
        at_most=16,
        default=4,
        synonyms=("motor_count", "number_of_motors", "rotors"),
    ),
]
Blades: TypeAlias = Annotated[
    Array,
    Count(
        "Blades of each propeller.",
        group=Group.MOTOR,
        at_least=2,
        at_most=8,
        default=3,
        synonyms=("blade_count", "number_of_blades"),
    ),
]
ThrottleCap: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Maximum throttle allowed.",
        group=Group.MOTOR,
        above=0,
        at_most=100,
        default=100,
        follows=("throttle_cap",),
        synonyms=("throttle_limit", "max_throttle"),
    ),
]
FigureOfMerit: TypeAlias = Annotated[
    Array,
    Quantity(
        "1",
        "Ideal over real power of the propeller: 0.50 to 0.65 for most with three blades or more, less at high pitch.",
        group=Group.FINE_TUNING,
        above=0,
        below=1,
        default=0.60,
        default_u=0.06,
        synonyms=("fom",),
    ),
]
AirDensity: TypeAlias = Annotated[
    Array,
    Quantity(
        "kg/m3",
        "Density of the air.",
        group=Group.AIR,
        above=0,
        at_most=2,
        default=constants.STANDARD_AIR_DENSITY,
        follows=("air_density",),
        synonyms=("rho",),
    ),
]
AvionicsPower: TypeAlias = Annotated[
    Array,
    Quantity(
        "W",
        "Power of everything but the motors: flight controller, receiver, camera, transmitter.",
        group=Group.FINE_TUNING,
        at_least=0,
        at_most=1e4,
        default=5,
        default_u=2,
    ),
]
EXPONENTS_OF_CRAFT: Final = "Measured small craft have 1.0 to 1.3; 1.5 is the aerodynamic law."
MASS_EXPONENT: Final = Quantity(
    "1",
    f"x in power ~ mass^x: how average power rises with mass. {EXPONENTS_OF_CRAFT}",
    group=Group.FINE_TUNING,
    at_least=0,
    at_most=3,
    default=TYPICAL_EXPONENT,
    default_u=EXPONENT_UNCERTAINTY,
    follows=("mass_exponent",),
)
MassExponent: TypeAlias = Annotated[Array, MASS_EXPONENT]
OptionalMassExponent: TypeAlias = Annotated[
    Array,
    dataclasses.replace(
        MASS_EXPONENT,
        description="x in power ~ mass^x, if known; default: fitted where flights differ in mass, else "
        f"{TYPICAL_EXPONENT}. {EXPONENTS_OF_CRAFT}",
        default=None,
        default_u=None,
        optional=True,
    ),
]

SPEED_OF_SOUND: Final = "sqrt(DRY_AIR_HEAT_RATIO * DRY_AIR_GAS_CONSTANT * air_temperature)"
PackResistance: TypeAlias = Annotated[
    Array,
    Quantity(
        "mohm",
        "Resistance of pack and leads at this temperature.",
        formula=("cells * resistance_at_temperature + lead_resistance",),
        method="as measured, where it is given",
    ),
]
LoadedCellVoltage: TypeAlias = Annotated[
    Array, Quantity("V", "Loaded voltage per cell.", at_most=MAX_PACK_VOLTAGE, formula="loaded_voltage / cells")
]
DischargeRatingShare: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Share of the pack's continuous rating.",
        label="C rating used",
        formula="c_rate / discharge_rating",
        needs=("discharge_rating",),
    ),
]
SamplesRecorded: TypeAlias = Annotated[
    Array, Count("Samples recorded.", at_least=0, at_most=5_000_000, method="counted")
]
SamplesUsed: TypeAlias = Annotated[Array, Count("Samples used.", at_least=0, at_most=5_000_000, method="counted")]
