"""Steps of flights side by side, for the working."""

from dataclasses import dataclass
from typing import Annotated, Any

from gramwatt.model import Array, Quantity, Table

GIVEN = "as given with the flight"
FIRST = "that of the first flight"


@dataclass(frozen=True, slots=True)
class FlightSteps:
    """What is known of a flight beside its recording."""

    mass: Annotated[Array, Quantity("g", "All-up mass.", method=GIVEN)]
    capacity: Annotated[Array, Quantity("mAh", "Capacity of its pack.", method=GIVEN)]


@dataclass(frozen=True, slots=True)
class Steps:
    """What all flights are compared with."""

    by_flight: Annotated[FlightSteps, Table(FlightSteps, "The flights.", max_length=50)]
    first_mean_power: Annotated[Array, Quantity("W", "Average power.", signed=True, method=FIRST)]
    first_peak_current: Annotated[Array, Quantity("A", "Maximum current.", signed=True, method=FIRST)]
    first_cell_voltage_sag: Annotated[Array, Quantity("V", "Sag of a cell.", signed=True, method=FIRST)]
    first_landing_time: Annotated[Array, Quantity("min", "Time to the reserve.", method=FIRST)]


def find_steps(given: Any, found: Any) -> Steps:
    """Return the steps."""
    flights = found.by_flight
    return Steps(
        by_flight=FlightSteps(given.flights.mass, given.flights.capacity),
        first_mean_power=flights.mean_power[:, 0],
        first_peak_current=flights.peak_current[:, 0],
        first_cell_voltage_sag=flights.cell_voltage_sag[:, 0],
        first_landing_time=flights.landing_time[:, 0],
    )
