"""Earlier flights as inputs, and the average power of each."""

import dataclasses
from dataclasses import dataclass
from typing import Annotated, Any, Final

import numpy as np

from gramwatt.calculators._shared import fields, logs
from gramwatt.calculators._shared.prepared_recording import prepare_recording
from gramwatt.model import Array, BoolArray, Quantity, Recording
from gramwatt.physics import cells, scaling

TYPICAL_RESERVE: Final = 0.20


@dataclass(frozen=True, slots=True)
class Flight:
    """One flight, down to a reserve or with its charge measured."""

    mass: fields.Mass
    duration: Annotated[
        Array, fields.optional_quantity("min", "Time in the air; default: that of the recording.", at_most=1000)
    ]
    cells: fields.Cells
    capacity: fields.Capacity
    chemistry: fields.Chemistry
    charge_used: Annotated[
        Array, fields.optional_quantity("mAh", "Charge drawn, as put back by the charger.", at_most=1e6)
    ]
    reserve: Annotated[
        Array,
        Quantity(
            "%",
            "Charge left at landing, if the charge used is not known; default: 20 %.",
            at_least=0,
            below=100,
            optional=True,
        ),
    ]
    mean_voltage: Annotated[
        Array,
        fields.optional_quantity(
            "V", "Mean pack voltage in flight; default: that of the recording, else the nominal voltage.", at_most=200
        ),
    ]
    air_density: fields.AirDensity
    log: logs.OptionalLog


DURATION_OR_LOG: Final = (("duration", "log"),)


def complete(flights: Flight) -> Flight:
    """Fill missing durations, charges and mean voltages of flights from their recordings.

    A charge that was given is the charger's, and better than that of an uncalibrated sensor.
    """
    columns = {name: np.array(getattr(flights, name)) for name in ("duration", "charge_used", "mean_voltage")}
    known: dict[int, tuple[float, float, float]] = {}
    for at in np.ndindex(flights.log.shape):
        recording = flights.log[at]
        if not isinstance(recording, Recording):
            continue
        if id(recording) not in known:
            known[id(recording)] = _recorded_values(recording)
        for column, value in zip(columns.values(), known[id(recording)], strict=True):
            if np.isnan(column[at]):
                column[at] = value
    return dataclasses.replace(flights, **columns)


def _recorded_values(recording: Recording) -> tuple[float, float, float]:
    """Return duration [s], charge [A s] and mean voltage [V] of a recording, nan where it has none."""
    integrals = prepare_recording(recording, np.full(3, np.nan)).integrals
    duration = integrals.duration if integrals.duration > 0 else np.nan
    charge = integrals.current if integrals.current > 0 else np.nan
    return duration, charge, integrals.power / charge


def is_recorded(flights: Flight) -> BoolArray:
    """Return which flights (N, M) have a recording with a current."""
    recorded = [isinstance(each, Recording) and "current" in each.columns for each in flights.log.ravel()]
    return np.array(recorded, dtype=np.bool_).reshape(flights.log.shape)


def any_flight(flights: BoolArray) -> BoolArray:
    """Return whether (N,) a condition (N, M) is true of any flight."""
    return np.asarray(flights.any(axis=1))


def average_powers(flights: Flight) -> Array:
    """Compute the average power [W] of each flight (N, M): charge times mean voltage over duration.

    Defaults: the capacity less the reserve as charge, the nominal voltage as mean voltage.
    """
    completed = complete(flights)
    reserve = np.where(np.isnan(completed.reserve), TYPICAL_RESERVE, completed.reserve)
    charge = np.where(np.isnan(completed.charge_used), completed.capacity * (1 - reserve), completed.charge_used)
    nominal = completed.cells * cells.NOMINAL_VOLTAGE[completed.chemistry]
    return charge * np.where(np.isnan(completed.mean_voltage), nominal, completed.mean_voltage) / completed.duration


def default_exponent(given: Any) -> Array:
    """Return the aerodynamic exponent (N,) where it cannot be fitted to ``given.flights``; nan where it can."""
    masses = given.flights.mass
    exponent = np.full(len(masses), fields.AERODYNAMIC_EXPONENT)
    return np.where(scaling.has_distinct_masses(masses), np.nan, exponent) if masses.shape[1] else exponent


def default_exponent_uncertainty(given: Any) -> Array:
    """Return the standard uncertainty (N,) of `default_exponent`."""
    return np.full(len(given.flights.mass), fields.EXPONENT_UNCERTAINTY)


def power_by_flights(flights: Flight, mass: Array, exponent: Array, air_density: Array) -> Array:
    """Return the average power [W] at a mass (..., N), by the power law through flights; nan exponents are fitted."""
    air = scaling.air_factor(flights.air_density)
    law = scaling.fit_power_law(flights.mass, average_powers(flights) / air, exponent)
    return law.power(mass) * scaling.air_factor(air_density)
