"""What one flight of a comparison used, as results."""

from typing import Annotated, Final, TypeAlias

from gramwatt.model import (
    Array,
    Count,
    Quantity,
    StringArray,
    Text,
)

AS_LOG: Final = "as in flight-log"

DIFFERENCE: Final = "relative difference from the first flight"

Name: TypeAlias = Annotated[StringArray, Text("Name of the flight.")]
Duration: TypeAlias = Annotated[
    Array, Quantity("min", "Recorded time without gaps.", label="Recorded time", method=AS_LOG)
]
Energy: TypeAlias = Annotated[Array, Quantity("Wh", "Energy drawn.", label="Energy used", signed=True, method=AS_LOG)]
Charge: TypeAlias = Annotated[Array, Quantity("mAh", "Charge drawn.", label="Charge used", signed=True, method=AS_LOG)]
MeanPower: TypeAlias = Annotated[Array, Quantity("W", "Average power.", signed=True, method=AS_LOG)]
PowerP95: TypeAlias = Annotated[
    Array,
    Quantity("W", "Power exceeded 5 % of the time.", label="Power, 95th percentile", signed=True, method=AS_LOG),
]
PeakPower: TypeAlias = Annotated[Array, Quantity("W", "Maximum power.", signed=True, method=AS_LOG)]
PeakCurrent: TypeAlias = Annotated[Array, Quantity("A", "Maximum current.", signed=True, method=AS_LOG)]
LowestCellVoltage: TypeAlias = Annotated[
    Array, Quantity("V", "Lowest loaded cell voltage.", method=AS_LOG, optional=True)
]
PunchSag: TypeAlias = Annotated[
    Array,
    Quantity(
        "V",
        "Largest sag per cell in a punch-out.",
        label="Sag per cell in a punch",
        signed=True,
        method="maximum sag over cells",
        optional=True,
    ),
]
CellResistance: TypeAlias = Annotated[
    Array,
    Quantity(
        "mohm",
        "Resistance of one series position with its share of the leads.",
        method="pack resistance as in flight-log, over cells",
        optional=True,
    ),
]
Used: TypeAlias = Annotated[
    Array,
    Quantity("%", "Share of the capacity used.", label="Capacity used", signed=True, method=AS_LOG, optional=True),
]
LandingTime: TypeAlias = Annotated[
    Array, Quantity("min", "Time to the reserve.", label="Time to reserve", method=AS_LOG, optional=True)
]
PowerPerMass: TypeAlias = Annotated[
    Array, Quantity("W/kg", "Average power per mass.", signed=True, method="mean power over mass", optional=True)
]
MeanPowerChange: TypeAlias = Annotated[
    Array, Quantity("%", "Change of the average power.", signed=True, method=DIFFERENCE)
]
PeakCurrentChange: TypeAlias = Annotated[
    Array, Quantity("%", "Change of the maximum current.", signed=True, method=DIFFERENCE)
]
PunchSagChange: TypeAlias = Annotated[
    Array,
    Quantity(
        "%", "Change of the sag in a punch-out.", label="Sag change", signed=True, method=DIFFERENCE, optional=True
    ),
]
LandingTimeChange: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Change of the time to the reserve.",
        label="Time to reserve, change",
        signed=True,
        method=DIFFERENCE,
        optional=True,
    ),
]
SamplesLeftOut: TypeAlias = Annotated[
    Array, Count("Samples left out; flight-log gives the reasons.", at_least=0, at_most=5_000_000, method="counted")
]
