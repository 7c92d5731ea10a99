"""What one flight of a comparison used, as results."""

import dataclasses
from typing import Annotated, Final, TypeAlias

from gramwatt.calculators._shared import log_results
from gramwatt.model import (
    Array,
    Count,
    Quantity,
    StringArray,
    Text,
)

AS_LOG: Final = "as in flight-log"

DIFFERENCE: Final = "relative difference from the first flight"


def _as_log(of_log: Quantity, *, optional: bool = False) -> Quantity:
    """Return a result of flight-log as one of a row."""
    return dataclasses.replace(of_log, formula="", method=AS_LOG, needs=(), optional=optional)


Name: TypeAlias = Annotated[StringArray, Text("Name of the flight.")]
Duration: TypeAlias = Annotated[Array, _as_log(log_results.DURATION)]
Energy: TypeAlias = Annotated[Array, _as_log(log_results.ENERGY)]
Charge: TypeAlias = Annotated[Array, _as_log(log_results.CHARGE)]
MeanPower: TypeAlias = Annotated[Array, _as_log(log_results.MEAN_POWER)]
PowerP95: TypeAlias = Annotated[Array, _as_log(log_results.POWER_P95)]
PeakPower: TypeAlias = Annotated[Array, _as_log(log_results.PEAK_POWER)]
PeakCurrent: TypeAlias = Annotated[Array, _as_log(log_results.PEAK_CURRENT)]
LowestCellVoltage: TypeAlias = Annotated[Array, _as_log(log_results.LOWEST_CELL_VOLTAGE, optional=True)]
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
Used: TypeAlias = Annotated[Array, _as_log(log_results.USED, optional=True)]
LandingTime: TypeAlias = Annotated[Array, _as_log(log_results.LANDING_TIME, optional=True)]
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
