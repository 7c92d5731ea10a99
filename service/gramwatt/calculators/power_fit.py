"""What a craft draws on average, found from flights, and what that says of another mass or pack."""

from dataclasses import dataclass
from typing import Annotated, Final

import numpy as np

from gramwatt.calculators._shared import fields
from gramwatt.calculators._shared.cautions import LAND_EARLY, LITHIUM_FIRE
from gramwatt.calculators._shared.flights import (
    AERODYNAMIC,
    AERODYNAMIC_U,
    DURATION_OR_LOG,
    Flight,
    average_powers,
    is_recorded,
    some,
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
from gramwatt.physics import cells, scaling


@dataclass(frozen=True, slots=True)
class Inputs:
    """The flights, and the craft and pack to say something of."""

    flights: Annotated[
        Flight, Table(Flight, "Flights of one craft, flown alike.", max_length=200, any_of=DURATION_OR_LOG)
    ]
    mass: Annotated[Array, Quantity("g", "All-up mass to predict for.", above=0, at_most=1e5, optional=True)]
    cells: Annotated[Array, Count("Cells in series of the pack to predict for.", at_least=1, at_most=24, optional=True)]
    capacity: Annotated[
        Array, Quantity("mAh", "Rated capacity of the pack to predict for.", at_least=1, at_most=1e6, optional=True)
    ]
    chemistry: fields.Chemistry
    reserve: fields.Reserve
    air_density: fields.AirDensity
    mass_exponent: Annotated[
        Array,
        Quantity(
            "1",
            "x of power ~ mass^x where it is known and shall not be fitted: 1.5 is the aerodynamic law; measured small "
            "craft run 1.0 to 1.3.",
            at_least=0,
            at_most=3,
            optional=True,
        ),
    ]


PACK: Final = ("cells", "capacity")
LAW = "reference_power * (mass / reference_mass)**mass_exponent * sqrt(1.225 / air_density)"
SHORT = "endurance * exp(-2 * power_u / power_at_mass)"
LONG = "endurance * exp(2 * power_u / power_at_mass)"
OWN = (
    "energy over duration: charge_used, or that of its log, or capacity less reserve, times mean_voltage, or cells "
    "times nominal cell voltage (lipo 3.7 V, lihv 3.8 V, li-ion 3.6 V, lifepo4 3.2 V)"
)
LEVEL = "geometric mean of the flights' powers, each times sqrt(air_density / 1.225 kg/m3)"
SLOPE = (
    "as given; else least squares of ln power against ln mass where masses differ by more than 1 %; else 1.5 is assumed"
)
SCATTER = (
    "sqrt(sum of squared residuals of ln power over n - 2), or over n - 1 where the exponent was not fitted; n flights"
)
PREDICTION = (
    "power_at_mass times scatter times sqrt(1 + 1/n + d^2 / S), d = ln(mass / reference_mass), S the sum of d^2 over "
    "the flights; without the last term where the exponent was not fitted"
)


@dataclass(frozen=True, slots=True)
class Results:
    """The law through the flights and what it says of the craft asked for."""

    power_at_mass: Annotated[Array, Quantity("W", "Average power at mass, in this air.", formula=LAW)]
    power_u: Annotated[
        Array,
        Quantity("W", "Its standard error for one more flight, by the scatter alone (no +/-).", method=PREDICTION),
    ]
    endurance: Annotated[
        Array, Quantity("min", "Time with that pack.", formula="usable_energy / power_at_mass", needs=PACK)
    ]
    endurance_low: Annotated[Array, Quantity("min", "At two standard errors more power.", formula=SHORT, needs=PACK)]
    endurance_high: Annotated[Array, Quantity("min", "At two standard errors less.", formula=LONG, needs=PACK)]
    usable_energy: Annotated[
        Array,
        Quantity("Wh", "Label energy of that pack, less its reserve.", method="as of each flight's", needs=PACK),
    ]
    mass_exponent: Annotated[Array, Quantity("1", "x of power ~ mass^x.", method=SLOPE)]
    exponent_u: Annotated[
        Array,
        Quantity("1", "Its standard error.", method="scatter / sqrt(S), S the sum of ln(mass / reference_mass)^2"),
    ]
    scatter: Annotated[
        Array, Quantity("%", "Relative standard deviation of the flights about the law.", method=SCATTER)
    ]
    reference_power: Annotated[Array, Quantity("W", "Average power at reference_mass in standard air.", method=LEVEL)]
    reference_mass: Annotated[
        Array, Quantity("g", "Geometric mean mass of the flights.", method="exp(mean of ln mass)")
    ]
    flights_used: Annotated[
        Array, Count("Flights that the law rests on.", at_least=1, at_most=200, method="all that were given")
    ]
    flight_powers: Annotated[
        Array,
        NumberList(Quantity("W", "Average power."), "Average power of each flight as flown, in order.", method=OWN),
    ]
    flight_deviations: Annotated[
        Array,
        NumberList(
            Quantity("%", "Deviation."), "Of each flight from the law, in order.", method="over the law, less 1"
        ),
    ]


def power_fit(given: Inputs) -> Results:
    """Average power of a craft against its mass, P = a m^x in standard air, by least squares through flown flights.

    Power goes with air density as rho^-1/2, the law of hover. Flights must be alike: an average over hovering says
    nothing of racing. Energies by the label flatter power and pack alike, so a time that rests on them is better than
    the watts; the time knows no sag beyond that of the flights.
    """
    flown = given.flights
    powers = average_powers(flown)
    law = scaling.fit_power_law(flown.mass, powers / scaling.air_factor(flown.air_density), given.mass_exponent)
    power = law.power(given.mass) * scaling.air_factor(given.air_density)
    relative = law.prediction_u(given.mass)
    energy = given.cells * cells.NOMINAL_VOLTAGE[given.chemistry] * given.capacity * (1 - given.reserve)
    endurance = energy / power
    return Results(
        power_at_mass=power,
        power_u=power * relative,
        endurance=endurance,
        endurance_low=endurance * np.exp(-2 * relative),
        endurance_high=endurance * np.exp(2 * relative),
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
    summary="The power law of a craft from its flights, and the flying time it gives another mass or pack.",
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
            "mass", "the flights' geometric mean mass", lambda given: scaling.geometric_mean(given.flights.mass)
        ),
        Assumption(
            "mass_exponent",
            "1.5, the aerodynamic law, where all flights have one mass (to within 1 %)",
            lambda given: np.where(scaling.distinct(given.flights.mass), np.nan, AERODYNAMIC),
            uncertainty=lambda given: np.full(given.mass.shape, AERODYNAMIC_U),
        ),
    ),
    rules=(
        Rule(
            "exponent-not-fitted",
            "mass_exponent {mass_exponent} was given or assumed, not fitted, so the flights say nothing of its error.",
            when=lambda given, found: ~np.isnan(given.mass_exponent),
            results=("exponent_u",),
        ),
        Rule(
            "no-scatter",
            "A law goes through so few flights exactly (flights_used {flights_used}): one more shows how they scatter.",
            when=lambda given, found: np.isnan(found.scatter),
            results=("exponent_u", "scatter", "power_u", "endurance_low", "endurance_high"),
        ),
    ),
    references=(
        Reference(
            "Least squares of ln P against ln m, standard errors of slope and of a new observation: Draper & Smith, "
            "Applied Regression Analysis, 3rd ed. 1998, chapter 1 (from memory); tests compare with SciPy",
        ),
        Reference(
            "Power of hover ~ W^1.5 rho^-1/2, momentum theory: Leishman, Principles of Helicopter Aerodynamics, "
            "chapter 2 (from memory); standard air of 1.225 kg/m3: ISO 2533:1975",
            about=("power_at_mass", "reference_power", "mass_exponent", "endurance"),
        ),
        Reference(
            "Nominal cell voltages by chemistry: common practice, no source", about=("flight_powers", "usable_energy")
        ),
    ),
    cautions=(
        LITHIUM_FIRE,
        LAND_EARLY,
        Caution("flown-alike", "The law holds for the craft and the flying it was found from, in like wind."),
        Caution(
            "reserve-assumed",
            "Of flights without charge_used and reserve 20 % of the charge is taken to have been left. Note what the "
            "charger puts back: it is the better figure.",
            when=lambda given, found: some(
                np.isnan(given.flights.charge_used) & np.isnan(given.flights.reserve) & ~is_recorded(given.flights)
            ),
        ),
        Caution(
            "reserve-not-used",
            "Of flights with charge_used, reserve was not used.",
            when=lambda given, found: some(~np.isnan(given.flights.charge_used) & ~np.isnan(given.flights.reserve)),
        ),
        Caution(
            "more-than-rated",
            "A flight used more charge than its pack is rated for: see that charge_used and capacity are right.",
            when=lambda given, found: some(given.flights.charge_used > given.flights.capacity),
        ),
        Caution(
            "mixed-voltages",
            "Energies by mean_voltage and by the label's voltage are compared here; they differ by some per cent.",
            when=lambda given, found: (
                some(~np.isnan(given.flights.mean_voltage))
                & (some(np.isnan(given.flights.mean_voltage)) | (found.endurance > 0))
            ),
        ),
        Caution(
            "doubtful-exponent",
            "The fitted mass_exponent {mass_exponent} is doubtful: the masses are less than a tenth apart, or the "
            "flights differ by more than mass (0.8 to 1.8 is to be expected). Fly with ballast, or give mass_exponent.",
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
            "{mass} is outside the masses flown; mass_exponent {mass_exponent} carries the law there. 1.5 is "
            "aerodynamic, measured small craft run 1.0 to 1.3.",
            when=lambda given, found: (
                (given.mass > (1 + scaling.LAST_BITS) * given.flights.mass.max(axis=1))
                | (given.mass < (1 - scaling.LAST_BITS) * given.flights.mass.min(axis=1))
            ),
        ),
        Caution(
            "few-flights",
            "From so few flights (flights_used {flights_used}) the scatter itself is known to a third at best: two "
            "standard errors cover less than 95 %.",
            when=lambda given, found: ~np.isnan(found.scatter) & (found.flights_used < 7),
        ),
        Caution(
            "other-air",
            "Flights and question differ in air_density by more than a tenth; rho^-1/2 is right for the propellers' "
            "share of hover only.",
            when=lambda given, found: some(np.abs(given.flights.air_density / given.air_density[:, None] - 1) > 0.1),
        ),
    ),
    examples=(
        Example(
            "Three invented flights, with and without ballast, and a 6-cell pack at the greatest mass",
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
            "One invented flight in thin air, carried to a heavier pack",
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
