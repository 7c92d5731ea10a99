"""Flights that were flown, as power-fit and build ask for them, and the average power of each."""

from dataclasses import dataclass
from typing import Annotated, Final

import numpy as np

from gramwatt import vocabulary
from gramwatt.declare import Array, Quantity
from gramwatt.physics import cells

USUAL_RESERVE: Final = 0.20
AERODYNAMIC: Final = 1.5
AERODYNAMIC_U: Final = 0.2
"""Judgement: measured small craft run 1.0 to 1.3."""


@dataclass(frozen=True, slots=True)
class Flight:
    """One flight, down to a reserve or with its charge measured."""

    mass: vocabulary.Mass
    duration: Annotated[Array, Quantity("min", "Time in the air.", above=0, at_most=1000)]
    cells: vocabulary.Cells
    capacity: vocabulary.Capacity
    chemistry: vocabulary.Chemistry
    charge_used: Annotated[
        Array, Quantity("mAh", "Charge drawn, as the charger put back.", above=0, at_most=1e6, optional=True)
    ]
    reserve: Annotated[
        Array,
        Quantity(
            "%",
            "Charge left at landing, where charge_used is not known; 20 % if neither is given.",
            at_least=0,
            below=100,
            optional=True,
        ),
    ]
    mean_voltage: Annotated[
        Array,
        Quantity("V", "Mean pack voltage in flight; else the nominal one.", above=0, at_most=200, optional=True),
    ]
    air_density: vocabulary.AirDensity


def average_powers(flown: Flight) -> Array:
    """Average power [W] of each flight (N, M): charge used, or capacity less reserve, times mean or nominal voltage."""
    reserve = np.where(np.isnan(flown.reserve), USUAL_RESERVE, flown.reserve)
    charge = np.where(np.isnan(flown.charge_used), flown.capacity * (1 - reserve), flown.charge_used)
    nominal = flown.cells * cells.NOMINAL_VOLTAGE[flown.chemistry]
    return charge * np.where(np.isnan(flown.mean_voltage), nominal, flown.mean_voltage) / flown.duration
