"""Flights that were flown, as power-fit and build ask for them, and the average power of each."""

import dataclasses
from dataclasses import dataclass
from typing import Annotated, Final

import numpy as np

from gramwatt.calculators._shared import fields, logs
from gramwatt.calculators._shared.log_statistics import prepared
from gramwatt.model import Array, BoolArray, Quantity, Recording
from gramwatt.physics import cells

USUAL_RESERVE: Final = 0.20
AERODYNAMIC: Final = 1.5
AERODYNAMIC_U: Final = 0.2
"""Judgement: measured small craft run 1.0 to 1.3."""


@dataclass(frozen=True, slots=True)
class Flight:
    """One flight, down to a reserve or with its charge measured."""

    mass: fields.Mass
    duration: Annotated[
        Array, Quantity("min", "Time in the air; of a log, its own.", above=0, at_most=1000, optional=True)
    ]
    cells: fields.Cells
    capacity: fields.Capacity
    chemistry: fields.Chemistry
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
        Quantity(
            "V",
            "Mean pack voltage in flight; else that of its log, else the nominal one.",
            above=0,
            at_most=200,
            optional=True,
        ),
    ]
    air_density: fields.AirDensity
    log: logs.OptionalLog


DURATION_OR_LOG: Final = (("duration", "log"),)


def completed(flown: Flight) -> Flight:
    """The flights with what their recordings tell, where it was not told: duration, charge used, mean voltage.

    A charge that was told is the charger's, and better than an uncalibrated sensor's.
    """
    made = {name: np.array(getattr(flown, name)) for name in ("duration", "charge_used", "mean_voltage")}
    known: dict[int, tuple[float, float, float]] = {}
    for at in np.ndindex(flown.log.shape):
        recording = flown.log[at]
        if not isinstance(recording, Recording):
            continue
        if id(recording) not in known:
            known[id(recording)] = _recorded(recording)
        for room, value in zip(made.values(), known[id(recording)], strict=True):
            if np.isnan(room[at]):
                room[at] = value
    return dataclasses.replace(flown, **made)


def _recorded(recording: Recording) -> tuple[float, float, float]:
    """Duration [s], charge [A s] and mean voltage [V] of a recording, nan where it does not tell them."""
    sums = prepared(recording, np.full(3, np.nan)).sums
    duration = sums.duration if sums.duration > 0 else np.nan
    charge = sums.current if sums.current > 0 else np.nan
    return duration, charge, sums.power / charge


def is_recorded(flown: Flight) -> BoolArray:
    """Which flights have a recording with a current (N, M)."""
    tells = [isinstance(each, Recording) and "current" in each.columns for each in flown.log.ravel()]
    return np.array(tells, dtype=np.bool_).reshape(flown.log.shape)


def some(flights: BoolArray) -> BoolArray:
    """Whether any of the flights (N, M) is so."""
    return np.asarray(flights.any(axis=1))


def average_powers(flights: Flight) -> Array:
    """Average power [W] of each flight (N, M): charge used, or capacity less reserve, times mean or nominal voltage."""
    flown = completed(flights)
    reserve = np.where(np.isnan(flown.reserve), USUAL_RESERVE, flown.reserve)
    charge = np.where(np.isnan(flown.charge_used), flown.capacity * (1 - reserve), flown.charge_used)
    nominal = flown.cells * cells.NOMINAL_VOLTAGE[flown.chemistry]
    return charge * np.where(np.isnan(flown.mean_voltage), nominal, flown.mean_voltage) / flown.duration
