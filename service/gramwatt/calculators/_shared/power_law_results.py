"""The law of average power through some flights, as results."""

from typing import Annotated, Final, TypeAlias

from gramwatt.calculators._shared import fields
from gramwatt.model import (
    Array,
    Count,
    NumberList,
    Quantity,
)
from gramwatt.physics import constants

PACK: Final = ("cells", "capacity")

LAW = "power_at_mean_mass * (mass / mean_mass)**mass_exponent * sqrt(STANDARD_AIR_DENSITY / air_density)"

FLIGHT_POWER = (
    "the constant power at which the pack, by the model of endurance, takes as long from full down to the charge used "
    "(else that of the recording, else down to the reserve), times the voltage ratio"
)

ENDURANCE = "as in endurance, from a full pack, at power at mass over voltage ratio"

VOLTAGE_RATIO = "geometric mean of the ratio over the flights with a mean voltage; 1 without any"

REFERENCE_POWER = (
    "geometric mean of the powers of all flights, each times sqrt(air density / "
    f"{constants.STANDARD_AIR_DENSITY} kg/m³)"
)

SLOPE = "max(0, sum(law.log_mass * law.log_power / squared_log_mass))"

GIVEN_SLOPE = f"as given; else {fields.TYPICAL_EXPONENT} is assumed, where masses differ by less than 1 %"

MeanPower: TypeAlias = Annotated[
    Array,
    Quantity("W", "Average power at this mass, in this air.", label="Average power", formula=LAW),
]
Endurance: TypeAlias = Annotated[
    Array,
    Quantity(
        "min",
        "Flight time of the next flight with that pack.",
        label="Flight time",
        formula="sum(pieces.duration)",
        method=ENDURANCE,
        needs=PACK,
    ),
]
EnergyUsed: TypeAlias = Annotated[
    Array, Quantity("Wh", "Energy drawn from that pack.", formula="mean_power * endurance", needs=PACK)
]
MassExponent: TypeAlias = Annotated[
    Array,
    Quantity(
        "1",
        "x in power ~ mass^x.",
        signed=True,
        formula=(SLOPE,),
        method=GIVEN_SLOPE,
    ),
]
PowerScatter: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Relative standard deviation of the flights about the law.",
        formula="sqrt(sum(law.residual**2) / degrees_of_freedom)",
    ),
]
PowerAtMeanMass: TypeAlias = Annotated[
    Array,
    Quantity(
        "W",
        "Average power at the mean mass, in standard air.",
        label="Average power at mean mass",
        method=REFERENCE_POWER,
    ),
]
MeanMass: TypeAlias = Annotated[
    Array, Quantity("g", "Geometric mean mass of the flights.", method="exp(mean of ln mass)")
]
VoltageRatio: TypeAlias = Annotated[
    Array,
    Quantity(
        "1",
        "Measured mean voltage of the flights over that of the model.",
        label="Measured over model voltage",
        method=VOLTAGE_RATIO,
    ),
]
FlightsUsed: TypeAlias = Annotated[
    Array, Count("Number of flights of the fit.", at_least=1, at_most=200, method="all that were given")
]
MeanPowerByFlight: TypeAlias = Annotated[
    Array,
    NumberList(
        Quantity("W", "Average power."),
        "Average power of each flight in its own air, in order.",
        label="Power of each flight",
        method=FLIGHT_POWER,
    ),
]
MeanPowerDeviationShareByFlight: TypeAlias = Annotated[
    Array,
    NumberList(
        Quantity("%", "Deviation.", at_least=-100),
        "Deviation of each flight from the law, in order.",
        label="Deviation of each flight",
        method="power over that of the law, less 1",
    ),
]
