"""Earlier flights as inputs, and the average power of each, by the model of the pack that predicts flight times."""

from dataclasses import dataclass
from typing import Annotated, Any, Final, NamedTuple, TypeAlias

import numpy as np

from gramwatt.calculators._shared import fields, logs, pack_fields, plausible, resistances
from gramwatt.calculators._shared.prepared_recording import prepare_recording
from gramwatt.model import (
    Array,
    Assumption,
    BoolArray,
    Caution,
    Choice,
    ChosenBy,
    Deviate,
    Group,
    IndexArray,
    Quantity,
    Recording,
    Reference,
    Table,
)
from gramwatt.physics import cells, scaling
from gramwatt.physics.average_power import find_average_power

TYPICAL_RESERVE: Final = 0.20
MANY_FLIGHTS: Final = 7
"""From here on the scatter is mostly that of the flights themselves."""
VOLTAGE_TOLERANCE: Final = 0.07
"""Relative difference of measured and modelled mean voltage that points to an error: an estimate."""
RESERVE_UNCERTAINTY: Final = 0.05
"""Charge left at landing by pilots who did not note it: an estimate."""
SENSOR_ERRORS: Final = {"charge_used": 0.05, "mean_voltage": 0.01}
"""Relative standard uncertainty of what an uncalibrated sensor recorded: an estimate, as in `logs`."""


_OF_A_REFERENCE: Final = (
    *("duration", "mass", "cells", "capacity", "chemistry", "reserve"),
    *("cell_resistance", "lead_resistance", "pack_resistance"),
)
CHOSEN_BY: Final = ChosenBy(
    "flight",
    stands_for=tuple((column, f"reference_{column}") for column in _OF_A_REFERENCE),
    needs="log",
    names_rows_of=("packs", "propellers"),
)
"""A flight of a craft is the measured flight of other calculators; or its recording is what the request is about."""


MeanPower: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "W",
        "Average power in flight in the first setup.",
        label="Average power",
        group=Group.FLIGHT,
        at_most=1e5,
        follows=("mean_power",),
        synonyms=("average_power", "avg_power", "power"),
        plausible=plausible.POWER,
    ),
]


@dataclass(frozen=True, slots=True)
class Flight:
    """One flight, down to a reserve or with its charge measured."""

    mass: fields.Mass
    duration: Annotated[
        Array,
        pack_fields.optional_quantity(
            "min",
            "Time in the air; default: that of the recording.",
            label="Flight time",
            at_most=1000,
            synonyms=("flight_time",),
        ),
    ]
    cells: pack_fields.Cells
    capacity: pack_fields.Capacity
    chemistry: pack_fields.Chemistry
    charge_used: Annotated[
        Array,
        pack_fields.optional_quantity(
            "mAh", "Charge drawn, as put back by the charger.", at_most=1e6, synonyms=("used_charge", "mah_used")
        ),
    ]
    reserve: Annotated[
        Array,
        Quantity(
            "%",
            "Charge left at landing, if the charge used is not known.",
            label="Reserve at landing",
            at_least=0,
            below=100,
            optional=True,
        ),
    ]
    mean_voltage: Annotated[
        Array,
        pack_fields.optional_quantity(
            "V",
            "Mean pack voltage in flight, weighted by charge; default: that of the recording, else by the model of the "
            "pack.",
            at_most=200,
        ),
    ]
    air_density: fields.AirDensity
    cell_resistance: pack_fields.CellResistance
    lead_resistance: pack_fields.LeadResistance
    pack_resistance: pack_fields.MeasuredRowResistance
    log: logs.OptionalLog


DURATION_OR_LOG: Final = (("duration", "log"),)
Flights: TypeAlias = Annotated[
    Flight,
    Table(
        Flight,
        "Flights of this craft from full packs, as source of the average power; else given, or from hover.",
        label="Flights",
        group=Group.FLIGHT,
        max_length=200,
        optional=True,
        any_of=DURATION_OR_LOG,
        chosen_by=CHOSEN_BY,
        row_label="flight",
    ),
]

_RECORDED: Final = ("duration", "charge_used", "mean_voltage")


def _recorded_values(recording: Recording) -> tuple[float, float, float]:
    """Return duration [s], charge [A s] and mean voltage [V] of a recording, nan where it has none."""
    integrals = prepare_recording(recording, np.full(3, np.nan)).integrals
    duration = integrals.duration if integrals.duration > 0 else np.nan
    charge = integrals.current if integrals.current > 0 else np.nan
    return duration, charge, integrals.power / charge


def _read_recordings(flights: Flight, name: str) -> Array:
    """Return one of the recorded values of flights (N, M); nan without a recording."""
    found = np.full(flights.log.shape, np.nan)
    known: dict[int, float] = {}
    for at in np.ndindex(flights.log.shape):
        recording = flights.log[at]
        if isinstance(recording, Recording):
            if id(recording) not in known:
                known[id(recording)] = _recorded_values(recording)[_RECORDED.index(name)]
            found[at] = known[id(recording)]
    return found


def _recorded(name: str) -> Assumption[Any]:
    """Assume a value of the recording. One that is given is the charger's, or of a calibrated meter."""
    error = SENSOR_ERRORS.get(name)
    return Assumption(
        f"flights.{name}",
        "that of the recording" + (f", of a sensor that may be off by {100 * error:g} %: an estimate" if error else ""),
        lambda given: _read_recordings(given.flights, name),
        uncertainty=(lambda given: error * getattr(given.flights, name)) if error else None,
    )


ASSUMPTIONS: Final[tuple[Assumption[Any], ...]] = (
    *(_recorded(name) for name in _RECORDED),
    Assumption(
        "flights.reserve",
        f"{100 * TYPICAL_RESERVE:g} %, an estimate, where the charge used is not known",
        lambda given: np.where(np.isnan(given.flights.charge_used), TYPICAL_RESERVE, np.nan),
        uncertainty=lambda given: np.full(given.flights.reserve.shape, RESERVE_UNCERTAINTY),
    ),
)


def any_flight(flights: BoolArray) -> BoolArray:
    """Return whether (N,) a condition (N, M) is true of any flight."""
    return np.asarray(flights.any(axis=1))


class AveragePowers(NamedTuple):
    """Average power of flights, and how their measured voltages compare with the model of the pack."""

    powers: Array
    """Average power (N, M) [W]."""
    voltage_ratio: Array
    """Measured over modelled mean voltage (N,), the geometric mean over flights; 1 where none was measured."""


def average_powers(flights: Flight) -> AveragePowers:
    """Find the average power of each flight: the constant power at which its pack, by the model, lasts as long.

    The pack is discharged from full to what was left, as `pack.discharge_pack` does it, so that a prediction at this
    power returns the flight. Where mean voltages were measured, all powers are scaled by measured over modelled
    voltage: a prediction must divide by that ratio.
    """
    charge = np.where(np.isnan(flights.charge_used), flights.capacity * (1 - flights.reserve), flights.charge_used)
    capacity = np.maximum(flights.capacity, charge)  # more charge than rated shows that the pack holds more
    powers = find_average_power(
        flights.chemistry,
        flights.cells,
        duration=flights.duration,
        resistance=resistances.of_packs(resistances.packs_of(flights)),
        capacity=capacity,
        start_state_of_charge=np.ones_like(charge),
        end_state_of_charge=1 - charge / capacity,
        cutoff_voltage=cells.CUTOFF_VOLTAGE[flights.chemistry],
    )
    logarithms = np.log(charge * flights.mean_voltage / flights.duration / powers)
    is_measured = ~np.isnan(logarithms)
    ratio = np.exp(np.where(is_measured, logarithms, 0.0).sum(axis=1) / np.maximum(is_measured.sum(axis=1), 1))
    return AveragePowers(powers * ratio[:, None], ratio)


def default_exponent(given: Any) -> Array:
    """Return the typical exponent (N,) where it cannot be fitted to ``given.flights``; nan where it can."""
    masses = given.flights.mass
    exponent = np.full(len(masses), fields.TYPICAL_EXPONENT)
    return np.where(scaling.has_distinct_masses(masses), np.nan, exponent) if masses.shape[1] else exponent


def default_exponent_uncertainty(given: Any) -> Array:
    """Return the standard uncertainty (N,) of `default_exponent`."""
    return np.full(len(given.flights.mass), fields.EXPONENT_UNCERTAINTY)


EXPONENT: Final[Assumption[Any]] = Assumption(
    "mass_exponent",
    f"{fields.TYPICAL_EXPONENT}, as measured, unless flights differ in mass by more than 1 %",
    default_exponent,
    uncertainty=default_exponent_uncertainty,
    once=True,
)
FlightScatter: TypeAlias = Annotated[
    Array,
    Deviate("How far the next flight and the level of the law lie from the law through the flights."),
]
ExponentError: TypeAlias = Annotated[Array, Deviate("How far the mass exponent lies from the one that was fitted.")]
SCATTER: Final = Reference(
    "Student's t of one more flight about a line fitted by least squares: JCGM 100:2008, G.3; the scatter is pooled "
    f"with one of {100 * scaling.PRIOR_SCATTER:g} % of {scaling.PRIOR_DEGREES} degrees of freedom: rule of thumb, "
    "no source"
)


RESERVE_ASSUMED: Final[Caution[Any, Any]] = Caution(
    "reserve-assumed",
    f"Flights without charge used and reserve are assumed to have left {100 * TYPICAL_RESERVE:g} % of the charge. Note "
    "the charge that the charger puts back: it is more accurate.",
    severity="low",
    assumed="flights.reserve",
)
DOUBTFUL_CHARGE: Final[tuple[Caution[Any, Any], ...]] = (
    Caution(
        "reserve-not-used",
        "The reserve was not used for flights with a charge used.",
        severity="low",
        when=lambda given, found: any_flight(~np.isnan(given.flights.charge_used) & ~np.isnan(given.flights.reserve)),
    ),
    Caution(
        "charge-above-rated-capacity",
        "A flight used more charge than the rated capacity of its pack: check charge used and capacity.",
        severity="high",
        when=lambda given, found: any_flight(given.flights.charge_used > given.flights.capacity),
    ),
)
FEW_FLIGHTS: Final[Caution[Any, Any]] = Caution(
    "few-flights",
    f"Fewer than {MANY_FLIGHTS} flights show little of their scatter. The ranges rest on an assumed one of "
    f"{100 * scaling.PRIOR_SCATTER:g} % between flights, an estimate.",
    severity="low",
    when=lambda given, found: np.full(len(given.flights.mass), 0 < given.flights.mass.shape[1] < MANY_FLIGHTS),
)
DOUBTFUL_VOLTAGE: Final[Caution[Any, Any]] = Caution(
    "doubtful-voltage",
    "The mean voltages of the flights are {voltage_ratio} of those of the model: check cells, chemistry, readings and "
    "whether the packs were full.",
    when=lambda given, found: np.abs(np.log(found.voltage_ratio)) > VOLTAGE_TOLERANCE,
)


class FittedPower(NamedTuple):
    """The power law through flights, in standard air, and the ratio of measured to modelled voltage."""

    law: scaling.PowerLaw
    flown: AveragePowers

    def next_power(self, given: Any, mass: Array) -> Array:
        """Return the average power [W] of the next flight at a mass (..., N) in the air of ``given``."""
        power = self.law.next_power(mass, given.flight_scatter, given.exponent_error)
        return power * scaling.air_factor(given.air_density)


def fit_power(given: Any) -> FittedPower:
    """Fit the power law to ``given.flights``; nan exponents are fitted."""
    flown = average_powers(given.flights)
    air = scaling.air_factor(given.flights.air_density)
    return FittedPower(scaling.fit_power_law(given.flights.mass, flown.powers / air, given.mass_exponent), flown)


MEAN_POWER_SOURCES: Final = ("hover-power-ratio", "mean-power", "flights")
MeanPowerSource: TypeAlias = Annotated[
    IndexArray,
    Choice(
        MEAN_POWER_SOURCES,
        "Source of the average power.",
        label="Source of average power",
        method="flights where given, else average power, else average over hover power",
    ),
]


def get_average_power(
    given: Any, mass: Array, hover_power: Array, propeller_ratio: Array
) -> tuple[Array, Array, IndexArray]:
    """Return the average power (N, M) [W] of a craft in M setups, from what is known of its flights.

    What was measured is that of the first propeller; ``propeller_ratio`` (N, M) is hover power over that with it.
    Also the ratio (N, 1) of measured to modelled voltage, and the source (N,) as an index into `MEAN_POWER_SOURCES`.
    """
    if given.flights.mass.shape[1]:
        fitted = fit_power(given)
        mean_power_source = np.full(len(mass), MEAN_POWER_SOURCES.index("flights"))
        return (
            fitted.next_power(given, mass.T).T * propeller_ratio,
            fitted.flown.voltage_ratio[:, None],
            mean_power_source,
        )
    by_mass = given.mean_power[:, None] * (mass / mass[:, :1]) ** given.mass_exponent[:, None]
    by_mass = by_mass * (propeller_ratio / propeller_ratio[:, :1])
    unknown = np.isnan(given.mean_power)
    power = np.where(unknown[:, None], hover_power * given.hover_power_ratio[:, None], by_mass)
    return power, np.ones((len(mass), 1)), np.where(unknown, 0, 1)
