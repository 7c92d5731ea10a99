"""Average power of a craft fitted to its flights, and flight time with another mass or pack."""

from dataclasses import dataclass
from typing import Annotated, Final

import numpy as np

from gramwatt.calculators._shared import fields
from gramwatt.calculators._shared.cautions import LAND_EARLY, LITHIUM_FIRE, NOMINAL_VOLTAGES, nominal_voltages
from gramwatt.calculators._shared.flights import (
    DURATION_OR_LOG,
    Flight,
    any_flight,
    average_powers,
    default_exponent,
    default_exponent_uncertainty,
    is_recorded,
)
from gramwatt.model import (
    Array,
    Assumption,
    Calculator,
    Caution,
    Count,
    CurveChart,
    Example,
    NumberList,
    Quantity,
    Reference,
    Rule,
    Table,
)
from gramwatt.physics import cells, constants, scaling


@dataclass(frozen=True, slots=True)
class Inputs:
    """The flights, and the craft and pack of the prediction."""

    flights: Annotated[
        Flight, Table(Flight, "Flights of one craft, flown in the same way.", max_length=200, any_of=DURATION_OR_LOG)
    ]
    mass: fields.OptionalMass
    cells: fields.OptionalCells
    capacity: fields.OptionalCapacity
    chemistry: fields.Chemistry
    reserve: fields.Reserve
    air_density: fields.AirDensity
    mass_exponent: fields.OptionalMassExponent


PACK: Final = ("cells", "capacity")
LAW = f"reference_power * (mass / reference_mass)**mass_exponent * sqrt({constants.STANDARD_AIR_DENSITY} / air_density)"
SHORT = "endurance * exp(-2 * power_u / power_at_mass)"
LONG = "endurance * exp(2 * power_u / power_at_mass)"
FLIGHT_POWER = (
    "energy over duration: charge used (else of the recording, else capacity less reserve) times mean voltage (else of "
    f"the recording, else cells times nominal cell voltage: {NOMINAL_VOLTAGES})"
)
REFERENCE_POWER = (
    "geometric mean of the powers of all flights, each times sqrt(air density / "
    f"{constants.STANDARD_AIR_DENSITY} kg/m³)"
)
SLOPE = (
    "as given; else least squares of ln power against ln mass where masses differ by more than 1 %; else 1.5 is assumed"
)
SCATTER = "sqrt(sum of squared residuals of ln power / (n - 2)) for n flights; n - 1 where the exponent was not fitted"
PREDICTION = (
    "power at this mass × scatter × sqrt(1 + 1/n + d^2 / S), d = ln(mass / reference mass), S the sum of d^2 over the "
    "flights; without the last term where the exponent was not fitted"
)


@dataclass(frozen=True, slots=True)
class Results:
    """The law through the flights, and its predictions."""

    power_at_mass: Annotated[Array, Quantity("W", "Average power at this mass, in this air.", formula=LAW)]
    power_u: Annotated[
        Array,
        Quantity("W", "Standard error for one more flight, by the scatter alone (no ±).", method=PREDICTION),
    ]
    endurance: Annotated[
        Array, Quantity("min", "Flight time with that pack.", formula="usable_energy / power_at_mass", needs=PACK)
    ]
    endurance_low: Annotated[
        Array, Quantity("min", "Flight time at two standard errors more power.", formula=SHORT, needs=PACK)
    ]
    endurance_high: Annotated[
        Array, Quantity("min", "Flight time at two standard errors less power.", formula=LONG, needs=PACK)
    ]
    usable_energy: Annotated[
        Array,
        Quantity(
            "Wh", "Label energy of that pack, less its reserve.", method="as for the pack of each flight", needs=PACK
        ),
    ]
    mass_exponent: Annotated[Array, Quantity("1", "x in power ~ mass^x.", signed=True, method=SLOPE)]
    exponent_u: Annotated[
        Array,
        Quantity("1", "Standard error of x.", method="scatter / sqrt(S), S the sum of ln(mass / reference mass)^2"),
    ]
    scatter: Annotated[
        Array, Quantity("%", "Relative standard deviation of the flights about the law.", method=SCATTER)
    ]
    reference_power: Annotated[
        Array, Quantity("W", "Average power at the reference mass in standard air.", method=REFERENCE_POWER)
    ]
    reference_mass: Annotated[
        Array, Quantity("g", "Geometric mean mass of the flights.", method="exp(mean of ln mass)")
    ]
    flights_used: Annotated[
        Array, Count("Number of flights of the fit.", at_least=1, at_most=200, method="all that were given")
    ]
    flight_powers: Annotated[
        Array,
        NumberList(
            Quantity("W", "Average power."),
            "Average power of each flight in its own air, in order.",
            method=FLIGHT_POWER,
        ),
    ]
    flight_deviations: Annotated[
        Array,
        NumberList(
            Quantity("%", "Deviation.", at_least=-100),
            "Deviation of each flight from the law, in order.",
            method="power over that of the law, less 1",
        ),
    ]


def power_fit(given: Inputs) -> Results:
    """Fit average power against mass, P = a m^x in standard air, by least squares to measured flights.

    Power is proportional to rho^-1/2, the law of hover. The flights must be similar: an average over hovering does not
    predict racing. Label energies overstate power and pack alike, so a flight time from them is more accurate than the
    power. The time includes no sag beyond that of the flights.
    """
    flights = given.flights
    powers = average_powers(flights)
    law = scaling.fit_power_law(flights.mass, powers / scaling.air_factor(flights.air_density), given.mass_exponent)
    power = law.power(given.mass) * scaling.air_factor(given.air_density)
    relative_u = law.prediction_u(given.mass)
    energy = given.cells * cells.NOMINAL_VOLTAGE[given.chemistry] * given.capacity * (1 - given.reserve)
    endurance = energy / power
    return Results(
        power_at_mass=power,
        power_u=power * relative_u,
        endurance=endurance,
        endurance_low=endurance * np.exp(-2 * relative_u),
        endurance_high=endurance * np.exp(2 * relative_u),
        usable_energy=energy,
        mass_exponent=law.exponent,
        exponent_u=law.exponent_u,
        scatter=law.scatter,
        reference_power=law.reference_power,
        reference_mass=law.reference_mass,
        flights_used=np.full(power.shape, float(law.flights)),
        flight_powers=powers,
        flight_deviations=law.deviations,
    )


CALCULATOR = Calculator(
    title="What does it draw on average?",
    summary="Average power of a craft from its flights, and flight time with another mass or pack.",
    inputs=Inputs,
    results=Results,
    formula=power_fit,
    category="after",
    chart=CurveChart(
        "mass",
        ("power_at_mass",),
        start=lambda given, found: 0.8 * given.flights.mass.min(axis=1),
        stop=lambda given, found: 1.2 * given.flights.mass.max(axis=1),
        points=lambda given, found: (given.flights.mass[0], found.flight_powers[0]),
    ),
    assumptions=(
        Assumption(
            "mass", "geometric mean mass of the flights", lambda given: scaling.geometric_mean(given.flights.mass)
        ),
        Assumption(
            "mass_exponent",
            "1.5, the aerodynamic law, where all flights have the same mass (within 1 %)",
            default_exponent,
            uncertainty=default_exponent_uncertainty,
        ),
    ),
    rules=(
        Rule(
            "exponent-not-fitted",
            "The mass exponent {mass_exponent} was given or assumed, not fitted, so it has no error from the flights.",
            when=lambda given, found: ~np.isnan(given.mass_exponent),
            results=("exponent_u",),
        ),
        Rule(
            "no-scatter",
            "The law fits so few flights exactly (flights used: {flights_used}): add another to see their scatter.",
            when=lambda given, found: np.isnan(found.scatter),
            results=("exponent_u", "scatter", "power_u", "endurance_low", "endurance_high"),
        ),
    ),
    references=(
        Reference(
            "Ordinary least squares of ln P against ln m, standard errors of slope and of a new observation: derived; "
            "tests compare with SciPy"
        ),
        Reference(
            "Power of hover ~ W^1.5 rho^-1/2: momentum theory, derived; standard air of "
            f"{constants.STANDARD_AIR_DENSITY} kg/m³: ISO 2533:1975",
            about=("power_at_mass", "reference_power", "mass_exponent", "endurance"),
        ),
        nominal_voltages("flight_powers", "usable_energy"),
    ),
    cautions=(
        LITHIUM_FIRE,
        LAND_EARLY,
        Caution("flown-alike", "The law is valid for the craft and the flying of these flights, in similar wind."),
        Caution(
            "reserve-assumed",
            "Flights without charge used and reserve are assumed to have left 20 % of the charge. Note the charge that "
            "the charger puts back: it is more accurate.",
            when=lambda given, found: any_flight(
                np.isnan(given.flights.charge_used) & np.isnan(given.flights.reserve) & ~is_recorded(given.flights)
            ),
        ),
        Caution(
            "reserve-not-used",
            "The reserve was not used for flights with a charge used.",
            when=lambda given, found: any_flight(
                ~np.isnan(given.flights.charge_used) & ~np.isnan(given.flights.reserve)
            ),
        ),
        Caution(
            "more-than-rated",
            "A flight used more charge than the rated capacity of its pack: check charge used and capacity.",
            when=lambda given, found: any_flight(given.flights.charge_used > given.flights.capacity),
        ),
        Caution(
            "mixed-voltages",
            "Energies by mean voltage and by label voltage are compared here; they differ by a few per cent.",
            when=lambda given, found: (
                any_flight(~np.isnan(given.flights.mean_voltage))
                & (any_flight(np.isnan(given.flights.mean_voltage)) | (found.endurance > 0))
            ),
        ),
        Caution(
            "doubtful-exponent",
            "The fitted mass exponent {mass_exponent} is doubtful: the masses differ by less than a tenth, or the "
            "flights differ by more than mass (expect 0.8 to 1.8). Fly with ballast, or give the mass exponent.",
            when=lambda given, found: (
                np.isnan(given.mass_exponent)
                & (
                    (given.flights.mass.max(axis=1) < 1.1 * given.flights.mass.min(axis=1))
                    | (found.mass_exponent < 0.8)
                    | (found.mass_exponent > 1.8)
                )
            ),
        ),
        Caution(
            "beyond-flown",
            "{mass} is outside the masses of the flights, so the result depends on the mass exponent {mass_exponent}. "
            "1.5 is the aerodynamic law; measured small craft have 1.0 to 1.3.",
            when=lambda given, found: (
                (given.mass > (1 + scaling.ROUNDING_TOLERANCE) * given.flights.mass.max(axis=1))
                | (given.mass < (1 - scaling.ROUNDING_TOLERANCE) * given.flights.mass.min(axis=1))
            ),
        ),
        Caution(
            "few-flights",
            "So few flights (flights used: {flights_used}) give the scatter to a third at best: two standard errors "
            "cover less than 95 %.",
            when=lambda given, found: ~np.isnan(found.scatter) & (found.flights_used < 7),
        ),
        Caution(
            "other-air",
            "Air density differs from that of the flights by more than a tenth. rho^-1/2 is valid for the propellers' "
            "share of the power in hover only.",
            when=lambda given, found: any_flight(
                np.abs(given.flights.air_density / given.air_density[:, None] - 1) > 0.1
            ),
        ),
    ),
    examples=(
        Example(
            "Three invented flights, with and without ballast, and a 6-cell pack at the highest mass",
            given={
                "flights": [
                    {"mass": 500, "duration": 7.4, "cells": 4, "capacity": 1300, "charge_used": 1000},
                    {"mass": 600, "duration": 6.0, "cells": 4, "capacity": 1300, "charge_used": 1000},
                    {"mass": 720, "duration": "277.5 s", "cells": 4, "capacity": "1.3 Ah", "charge_used": 1000},
                ],
                "mass": 720,
                "cells": 6,
                "capacity": 1300,
            },
            expected={
                "power_at_mass": 190.389,
                "power_u": 5.32127,
                "endurance": 7.27606,
                "endurance_low": 6.88049,
                "endurance_high": 7.69437,
                "mass_exponent": 1.28894,
                "exponent_u": 0.0800572,
                "scatter": 2.06421,
                "reference_power": 150.516,
                "reference_mass": 600,
                "flights_used": 3,
            },
            rtol=5e-6,
            source="by hand: 14.8 Wh each, so 120, 148, 192 W; masses in steps of L = ln 1.2: x = ln(192/120) / 2L = "
            "1.28894; mean (120 x 148 x 192)^(1/3) = 150.516 W; the middle flight is ln(148/150.516) = -0.0168542 off, "
            "the others half of that: s = 0.0168542 sqrt(1.5) = 0.0206421, over L sqrt(2) 0.0800572; at 720 g 150.516 "
            "x sqrt(1.6) = 190.389 W, error s sqrt(1 + 1/3 + 1/2) = 0.0279495 of it; 23.088 Wh / 190.389 W = 7.27606 "
            "min, over and times exp(0.055899)",
        ),
        Example(
            "One invented flight in thin air, and a heavier pack",
            given={
                "flights": [
                    {
                        "mass": "500 g",
                        "duration": 18,
                        "cells": 4,
                        "capacity": 3000,
                        "chemistry": "li-ion",
                        "reserve": 10,
                        "air_density": 1.0,
                    }
                ],
                "mass": 620,
                "cells": 4,
                "capacity": "4.2 Ah",
                "chemistry": "li-ion",
                "air_density": 1.1,
            },
            expected={
                "power_at_mass": 170.624,
                "endurance": 17.0142,
                "mass_exponent": 1.5,
                "reference_power": 117.095,
                "flight_powers": [129.6],
            },
            rtol=5e-6,
            source="by hand: 43.2 Wh x 0.9 / 0.3 h = 129.6 W, x sqrt(1 / 1.225) = 117.095 W; 117.095 x 1.24^1.5 x "
            "sqrt(1.225 / 1.1) = 170.624 W; 60.48 Wh x 0.8 / 170.624 W = 17.0142 min",
        ),
    ),
)
