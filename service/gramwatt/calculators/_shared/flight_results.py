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


def _as_log(of_log: Quantity, *, formula: bool = False, optional: bool = False) -> Quantity:
    """Return a result of flight-log as one of a row, with its formula if the row has all that it names."""
    expression, method = (of_log.formula, "") if formula else ("", AS_LOG)
    return dataclasses.replace(of_log, formula=expression, method=method, needs=(), optional=optional)


Name: TypeAlias = Annotated[StringArray, Text("Name of the flight.")]
Duration: TypeAlias = Annotated[Array, _as_log(log_results.DURATION)]
EnergyUsed: TypeAlias = Annotated[Array, _as_log(log_results.ENERGY)]
ChargeUsed: TypeAlias = Annotated[Array, _as_log(log_results.CHARGE)]
MeanPower: TypeAlias = Annotated[Array, _as_log(log_results.MEAN_POWER, formula=True)]
P95Power: TypeAlias = Annotated[Array, _as_log(log_results.POWER_P95)]
PeakPower: TypeAlias = Annotated[Array, _as_log(log_results.PEAK_POWER)]
PeakCurrent: TypeAlias = Annotated[Array, _as_log(log_results.PEAK_CURRENT)]
LowestCellVoltage: TypeAlias = Annotated[Array, _as_log(log_results.LOWEST_CELL_VOLTAGE, optional=True)]
CellVoltageSag: TypeAlias = Annotated[
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
PackResistancePerCell: TypeAlias = Annotated[
    Array,
    Quantity(
        "mohm",
        "Pack resistance with its leads over the cells in series: at the temperature of that flight, not at 25 °C.",
        method="pack resistance as in flight-log, over cells",
        optional=True,
    ),
]
ChargeUsedShare: TypeAlias = Annotated[Array, _as_log(log_results.USED, formula=True, optional=True)]
LandingTime: TypeAlias = Annotated[Array, _as_log(log_results.LANDING_TIME, optional=True)]
PowerPerMass: TypeAlias = Annotated[
    Array, Quantity("W/kg", "Average power per mass.", signed=True, formula="mean_power / mass", optional=True)
]
MeanPowerChangeShare: TypeAlias = Annotated[
    Array, Quantity("%", "Change of the average power.", signed=True, formula="mean_power / first_mean_power - 1")
]
PeakCurrentChangeShare: TypeAlias = Annotated[
    Array, Quantity("%", "Change of the maximum current.", signed=True, formula="peak_current / first_peak_current - 1")
]
CellVoltageSagChangeShare: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Change of the sag in a punch-out.",
        label="Sag change",
        signed=True,
        formula="cell_voltage_sag / first_cell_voltage_sag - 1",
        optional=True,
    ),
]
LandingTimeChangeShare: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Change of the time to the reserve.",
        label="Time to reserve, change",
        signed=True,
        formula="landing_time / first_landing_time - 1",
        optional=True,
    ),
]
SamplesLeftOut: TypeAlias = Annotated[
    Array, Count("Samples left out; flight-log gives the reasons.", at_least=0, at_most=5_000_000, method="counted")
]
