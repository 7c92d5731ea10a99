"""Steps of the power law through some flights, and of the flight that it predicts, for the working."""

from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np

from gramwatt.calculators._shared import discharge_steps, flight_steps, flights
from gramwatt.model import Array, Quantity, Table
from gramwatt.physics import scaling


@dataclass(frozen=True, slots=True)
class LawSteps:
    """The flights, as logarithms of mass and power."""

    mass: Annotated[Array, Quantity("g", "Mass of the flight.", method="as given")]
    power: Annotated[
        Array,
        Quantity(
            "W",
            "Average power of the flight, in standard air.",
            method="times sqrt(density / standard density)",
        ),
    ]
    log_mass: Annotated[
        Array, Quantity("1", "Logarithm of mass over mean mass.", signed=True, formula="log(mass / mean_mass)")
    ]
    log_power: Annotated[
        Array,
        Quantity(
            "1",
            "Logarithm of power over that at the mean mass.",
            signed=True,
            formula="log(power / power_at_mean_mass)",
        ),
    ]
    residual: Annotated[Array, Quantity("1", "Residual.", signed=True, formula="log_power - mass_exponent * log_mass")]


@dataclass(frozen=True, slots=True)
class Steps:
    """The fit, and the discharge of one cell."""

    law: Annotated[LawSteps, Table(LawSteps, "The flights of the fit.", label="Flights of the fit", max_length=200)]
    squared_log_mass: Annotated[
        Array, Quantity("1", "Sum of squares, where the exponent was fitted.", formula="sum(law.log_mass**2)")
    ]
    degrees_of_freedom: Annotated[
        Array,
        Quantity(
            "1",
            "Degrees of freedom of the scatter.",
            method="flights less 2, or less 1 where the exponent was not fitted",
        ),
    ]
    pack_resistance_in_use: flight_steps.PackResistanceInUse
    cell_power: Annotated[Array, discharge_steps.cell_power("mean_power / voltage_ratio")]
    resistance_for_each_cell: flight_steps.ResistanceForEachCell
    pieces: discharge_steps.Pieces


def find_steps(given: Any, found: Any) -> Steps:
    """Return the steps of the fit and of the flight."""
    law = flights.fit_power(given).law
    powers = found.mean_power_by_flight / scaling.air_factor(given.flights.air_density)
    log_mass = np.log(given.flights.mass / found.mean_mass[:, None])
    log_power = np.log(powers / found.power_at_mean_mass[:, None])
    residual = log_power - found.mass_exponent[:, None] * log_mass
    degrees = law.flights - np.where(law.fitted, 2.0, 1.0)
    return Steps(
        law=LawSteps(given.flights.mass, powers, log_mass, log_power, residual),
        squared_log_mass=np.where(law.fitted, (log_mass**2).sum(axis=1), np.nan),
        degrees_of_freedom=np.where(degrees > 0, degrees, np.nan),
        **flight_steps.get_discharge(given, found.mean_power / found.voltage_ratio),
    )
