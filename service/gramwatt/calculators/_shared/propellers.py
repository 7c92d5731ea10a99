"""Propellers to choose from: a table whose first row stands for the single inputs, with coefficients for each row."""

import dataclasses
from dataclasses import dataclass
from typing import Annotated, Any, Final, TypeAlias

import numpy as np

from gramwatt.calculators._shared import drivetrain, fields, parts
from gramwatt.model import (
    Array,
    Assumption,
    BoolArray,
    Caution,
    ChosenBy,
    Group,
    IndexArray,
    Quantity,
    StandardUncertainty,
    StringArray,
    Table,
    Text,
)
from gramwatt.physics import craft, propeller

MAX_PROPELLERS: Final = 20
CHOSEN_BY: Final = ChosenBy("propeller", stands_for=(("mass", "propeller_mass"),))
MASS: Final = Quantity(
    "g",
    "Mass of one propeller, as read. Every motor adds one to the all-up mass: leave them out of the parts.",
    label="Mass of one",
    at_least=0,
    at_most=1e5,
    optional=True,
    display=parts.DISPLAY,
    synonyms=("weight",),
)


@dataclass(frozen=True, slots=True)
class Propeller:
    """One kind of propeller."""

    name: Annotated[StringArray, Text("Name of the propeller.", label="Name", default="propeller")]
    diameter: fields.PropellerDiameter
    pitch: fields.Pitch
    blades: fields.Blades
    mass: Annotated[Array, MASS]
    mass_u: Annotated[Array, StandardUncertainty(of="mass")]
    thrust_coefficient: drivetrain.ThrustCoefficient
    power_coefficient: drivetrain.PowerCoefficient


Propellers: TypeAlias = Annotated[
    Propeller,
    Table(
        Propeller,
        "Propellers to choose from, instead of a single diameter, pitch and number of blades. A bench point and the "
        "measured flights belong to the first.",
        label="Propellers",
        group=Group.MOTOR,
        max_length=MAX_PROPELLERS,
        optional=True,
        replaces=("diameter", "pitch", "blades", "thrust_coefficient", "power_coefficient"),
        chosen_by=CHOSEN_BY,
        synonyms=("props",),
        row_label="propeller",
    ),
]


def _of_first(name: str) -> Assumption[Any]:
    def get_first(given: Any) -> Array:
        values: Array = getattr(given.propellers, name)
        return values[:, 0] if values.shape[1] else np.full(len(values), np.nan)

    return Assumption(name, "that of the first propeller", get_first)


FIRST: Final[tuple[Assumption[Any], ...]] = tuple(
    _of_first(name) for name in ("diameter", "pitch", "blades", "thrust_coefficient", "power_coefficient")
)
"""To be filled in before those of `drivetrain`, which then are about the first propeller."""


def _first_as_single(values: Array, single: Array) -> Array:
    """Return estimates (N, P) for the propellers; nan for the first where the ``single`` input (N,) is not estimated.

    The first propeller has the single input, which varies by its own distribution.
    """
    is_estimated = np.isclose(values[:, :1], single[:, None], rtol=1e-9, atol=0)
    return np.where((np.arange(values.shape[1]) > 0) | is_estimated, values, np.nan)


def _estimate_thrust_coefficient(given: Any) -> Array:
    row = given.propellers
    expected = propeller.expected_thrust_coefficient(row.diameter, row.pitch, row.blades)
    return _first_as_single(expected, given.thrust_coefficient)


def _estimate_power_coefficient(given: Any) -> Array:
    row = given.propellers
    expected = propeller.power_coefficient(row.thrust_coefficient, given.figure_of_merit[:, None])
    return _first_as_single(expected, given.power_coefficient)


def _get_factor(given: Any) -> Array:
    row = given.propellers
    spread = propeller.coefficient_spread(row.diameter, row.pitch, row.blades)
    return np.exp(np.where(np.arange(spread.shape[1]) > 0, spread, 0.0))


OTHERS: Final[tuple[Assumption[Any], ...]] = (
    Assumption(
        "propellers.thrust_coefficient",
        drivetrain.EXPECTED_THRUST_COEFFICIENT,
        _estimate_thrust_coefficient,
        factor=_get_factor,
        draw="other_propellers",
    ),
    Assumption(
        "propellers.power_coefficient",
        drivetrain.EXPECTED_POWER_COEFFICIENT,
        _estimate_power_coefficient,
    ),
)
"""To be filled in after those of `drivetrain`."""


def pick(values: Any, rows: IndexArray) -> Any:
    """Return the values (N, M) that rows (N, M) of a table (N, K) have; the values themselves if those are all rows."""
    if values.shape == rows.shape and (rows == np.arange(rows.shape[1])).all():
        return values
    return np.take_along_axis(values, rows, axis=1)


def drive_of(given: Any, rows: IndexArray) -> craft.Drive:
    """Return the motors with the propellers in rows (N, M) of the table: (N, M), or (N, 1) with the first alone."""
    first = drivetrain.drive_of(given)
    drive = craft.Drive(*(values[:, None] for values in first.values))
    if not rows.any():
        return drive
    others, speed_spread = given.propellers, propeller.SPEED_SPREAD
    by_speed = {
        "thrust_coefficient": np.exp(speed_spread * given.thrust_coefficient_error),
        "power_coefficient": np.exp(speed_spread * given.power_coefficient_error),
    }
    chosen = {
        name: np.where(rows == 0, getattr(drive, name), pick(getattr(others, name), rows) * factor[:, None])
        for name, factor in {"diameter": np.ones_like(given.kv), **by_speed}.items()
    }
    return dataclasses.replace(drive, **chosen)


def get_mass(given: Any, rows: IndexArray) -> tuple[Array, Array, Array]:
    """Return the mass (N, M) [kg] of all propellers, its stated uncertainty, and how many readings it multiplies."""
    motors = given.motors[:, None]
    if not given.propellers.mass.shape[1]:
        nothing = np.zeros((len(rows), 1))
        return nothing, nothing, nothing
    mass, stated = pick(given.propellers.mass, rows), pick(given.propellers.mass_u, rows)
    is_known = ~np.isnan(mass)
    return np.where(is_known, motors * mass, 0.0), motors * stated, np.where(is_known, motors, 0.0)


def is_doubtful(row: Any) -> BoolArray:
    """Return where propellers are unlike those from which thrust coefficients are estimated."""
    is_wide_and_small = propeller.is_micro(row.diameter) & (row.blades >= 4)
    return np.asarray(propeller.is_extrapolated(row.diameter, row.pitch, row.blades) | is_wide_and_small)


CAUTIONS: Final[tuple[Caution[Any, Any], ...]] = (
    Caution(
        "propellers-extrapolated",
        "{propellers.name}: outside the range of the propellers from which the thrust coefficient is estimated (2 to "
        "9 in, pitch/diameter 0.3 to 1.1, two or three blades; four blades above 3 in only). Give the thrust "
        "coefficient.",
        when=lambda given, found: is_doubtful(given.propellers),
        assumed="propellers.thrust_coefficient",
    ),
    Caution(
        "first-propeller",
        "Bench readings and the power of all flights count as those of the first propeller. Where a flight of a craft "
        "names another, only its mass is used. The others have coefficients of their own, measured or estimated; the "
        "motor is the same.",
        when=lambda given, found: (
            np.full(len(given.kv), given.propellers.mass.shape[1] > 1)
            & (~np.isnan(given.bench_current) | ~np.isnan(given.bench_thrust) | (given.flights.mass.shape[1] > 0))
        ),
        severity="low",
    ),
    Caution(
        "propellers-not-compared",
        "Only the first propeller was used. Name the others in setups to compare them.",
        when=lambda given, found: np.full(
            len(given.kv), given.propellers.mass.shape[1] > 1 and not given.setups.pack.shape[1]
        ),
        missing=True,
    ),
)
