"""Average power of a craft fitted to its flights, and flight time with another mass or pack."""

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from gramwatt.calculators._shared import fields, law_steps, pack_fields, power_law_results, resistances, sentences
from gramwatt.calculators._shared import flights as shared_flights
from gramwatt.calculators._shared.cautions import LAND_EARLY, LITHIUM_FIRE, RESISTANCE_ASSUMED, rested_voltage
from gramwatt.model import (
    Assumption,
    Calculator,
    Caution,
    CurveChart,
    Example,
    Group,
    Reference,
    Rule,
    Table,
)
from gramwatt.physics import cells, constants, pack, scaling


@dataclass(frozen=True, slots=True)
class Inputs:
    """The flights, and the craft and pack of the prediction."""

    flights: Annotated[
        shared_flights.Flight,
        Table(
            shared_flights.Flight,
            "Flights of one craft, flown in the same way, each from a full pack.",
            group=Group.FLIGHT,
            max_length=200,
            any_of=shared_flights.DURATION_OR_LOG,
            chosen_by=shared_flights.CHOSEN_BY,
            row_label="flight",
        ),
    ]
    mass: fields.OptionalMass
    cells: pack_fields.OptionalCells
    capacity: pack_fields.OptionalCapacity
    chemistry: pack_fields.Chemistry
    reserve: pack_fields.Reserve
    cell_resistance: pack_fields.CellResistance
    lead_resistance: pack_fields.LeadResistance
    pack_resistance: pack_fields.MeasuredPackResistance
    air_density: fields.AirDensity
    mass_exponent: fields.OptionalMassExponent
    flight_scatter: shared_flights.FlightScatter
    exponent_error: shared_flights.ExponentError


@dataclass(frozen=True, slots=True)
class Results:
    """The law through the flights, and its predictions."""

    mean_power: power_law_results.MeanPower
    endurance: power_law_results.Endurance
    energy_used: power_law_results.EnergyUsed
    mass_exponent: power_law_results.MassExponent
    power_scatter: power_law_results.PowerScatter
    power_at_mean_mass: power_law_results.PowerAtMeanMass
    mean_mass: power_law_results.MeanMass
    voltage_ratio: power_law_results.VoltageRatio
    flights_used: power_law_results.FlightsUsed
    mean_power_by_flight: power_law_results.MeanPowerByFlight
    mean_power_deviation_share_by_flight: power_law_results.MeanPowerDeviationShareByFlight


def power_fit(given: Inputs) -> Results:
    """Fit average power against mass, P = a m^x in standard air, by least squares to measured flights.

    The power of a flight is the constant one at which the model of its pack lasts as long, so that a flight comes back
    for its own mass and pack. Power is proportional to rho^-1/2, the law of hover. The flights must be alike: averages
    of hovering do not predict racing. Ranges are those of one more flight, by the scatter of the flights.
    """
    fitted = shared_flights.fit_power(given)
    law, flown = fitted
    power = fitted.next_power(given, given.mass)
    duration = pack.discharge_pack(
        given.chemistry,
        given.cells,
        power=power / flown.voltage_ratio,
        resistance=resistances.of_packs(resistances.packs_of(given))[:, 0],
        capacity=given.capacity,
        start_state_of_charge=np.ones_like(power),
        reserve=given.reserve,
        cutoff_voltage=cells.CUTOFF_VOLTAGE[given.chemistry],
    ).duration
    return Results(
        mean_power=power,
        endurance=duration,
        energy_used=power * duration,
        mass_exponent=law.likely_exponent(given.exponent_error),
        power_scatter=law.scatter,
        power_at_mean_mass=law.next_power(law.reference_mass, given.flight_scatter, given.exponent_error),
        mean_mass=law.reference_mass,
        voltage_ratio=flown.voltage_ratio,
        flights_used=np.full(power.shape, float(law.flights)),
        mean_power_by_flight=flown.powers,
        mean_power_deviation_share_by_flight=law.deviations,
    )


def _list_packs(given: Inputs) -> tuple[resistances.Packs, resistances.Packs]:
    return resistances.packs_of(given.flights), resistances.packs_of(given)


CALCULATOR = Calculator(
    title="What does it draw on average?",
    summary="Average power of a craft from its flights, and flight time with another mass or pack.",
    inputs=Inputs,
    results=Results,
    formula=power_fit,
    steps=law_steps.find_steps,
    category="after",
    sentences=sentences.POWER_FIT,
    charts=(
        CurveChart(
            "mass",
            ("mean_power",),
            start=lambda given, found: 0.8 * given.flights.mass.min(axis=1),
            stop=lambda given, found: 1.2 * given.flights.mass.max(axis=1),
            points=lambda given, found: (given.flights.mass[0], found.mean_power_by_flight[0]),
            points_are="flown",
            title="Average power against mass",
        ),
    ),
    assumptions=(
        Assumption(
            "mass", "geometric mean mass of the flights", lambda given: scaling.geometric_mean(given.flights.mass)
        ),
        shared_flights.EXPONENT,
        *shared_flights.ASSUMPTIONS,
        Assumption(
            "cell_resistance",
            resistances.FOLLOWING,
            lambda given: resistances.assume_cell_resistance(*_list_packs(given)[::-1])[:, 0],
            factor=lambda given: resistances.get_factor(*_list_packs(given)[::-1])[:, 0],
        ),
        Assumption(
            "flights.cell_resistance",
            resistances.FOLLOWING,
            lambda given: resistances.assume_cell_resistance(*_list_packs(given)),
            factor=lambda given: resistances.get_factor_of_followers(*_list_packs(given)),
        ),
    ),
    rules=(
        Rule(
            "no-scatter",
            "The law fits so few flights exactly (flights used: {flights_used}): add another to see their scatter.",
            severity="low",
            missing=True,
            when=lambda given, found: np.isnan(found.power_scatter),
            results=("power_scatter",),
        ),
        Rule(
            "power-beyond-pack",
            "That pack cannot deliver {mean_power}: use more cells or a pack with lower resistance.",
            when=lambda given, found: np.isnan(found.endurance) & ~np.isnan(given.capacity * given.cells),
            results=("endurance", "energy_used"),
            partly="that pack cannot deliver the power",
        ),
    ),
    references=(
        Reference(
            "Ordinary least squares of ln P against ln m: derived; tests compare with SciPy",
            about=(
                "mean_power",
                "mass_exponent",
                "power_scatter",
                "power_at_mean_mass",
                "mean_power_deviation_share_by_flight",
            ),
        ),
        shared_flights.SCATTER,
        Reference(
            "Power of hover ~ W^1.5 rho^-1/2: momentum theory, derived; standard air of "
            f"{constants.STANDARD_AIR_DENSITY} kg/m³: ISO 2533:1975",
            about=("mean_power", "power_at_mean_mass", "mass_exponent", "endurance"),
        ),
        rested_voltage("mean_power_by_flight", "endurance", "voltage_ratio"),
    ),
    cautions=(
        LITHIUM_FIRE,
        LAND_EARLY,
        Caution(
            "same-flying-assumed",
            "The law is valid for the craft and the flying of these flights, in similar wind.",
            severity="low",
        ),
        shared_flights.RESERVE_ASSUMED,
        RESISTANCE_ASSUMED,
        *shared_flights.DOUBTFUL_CHARGE,
        shared_flights.DOUBTFUL_VOLTAGE,
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
            "outside-flown-masses",
            "{mass} is outside the masses of the flights, so the result depends on the mass exponent {mass_exponent}. "
            + fields.EXPONENTS_OF_CRAFT,
            when=lambda given, found: (
                (given.mass > (1 + scaling.ROUNDING_TOLERANCE) * given.flights.mass.max(axis=1))
                | (given.mass < (1 - scaling.ROUNDING_TOLERANCE) * given.flights.mass.min(axis=1))
            ),
        ),
        shared_flights.FEW_FLIGHTS,
        Caution(
            "air-density-differs",
            "Air density differs from that of the flights by more than a tenth. rho^-1/2 is valid for the propellers' "
            "share of the power in hover only.",
            when=lambda given, found: shared_flights.any_flight(
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
                "mean_power": 192.534,
                "endurance": 7.35894,
                "energy_used": 23.6141,
                "mass_exponent": 1.24802,
                "power_scatter": 1.92664,
                "power_at_mean_mass": 153.352,
                "mean_mass": 600,
                "flights_used": 3,
                "mean_power_by_flight": [123.107639872, 150.958190975, 194.0545856],
            },
            rtol=5e-6,
            source="by numerical integration and Brent's method (SciPy), outside this service, with 46.15 mΩ: "
            "123.108, 150.958 and 194.055 W; then by hand, masses in steps of L = ln 1.2: x = ln(194.055/123.108) / 2L "
            "= 1.24802; geometric mean 153.352 W; the middle flight is -1.573 % off, the others half of that: s = "
            "0.01573 sqrt(1.5) = 1.927 %; at 720 g 153.352 x sqrt(194.055/123.108) = 192.534 W",
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
                "mean_power": 166.716,
                "endurance": 18.4093,
                "mass_exponent": 1.2,
                "power_at_mean_mass": 122.039,
                "voltage_ratio": 1,
            },
            rtol=5e-6,
            source="by numerical integration and Brent's method (SciPy), outside this service, with 20 and 14.29 mΩ: "
            "135.0724 W, x sqrt(1 / 1.225) = 122.039 W; x 1.24^1.2 x sqrt(1.225 / 1.1) = 166.716 W, and 18.4093 min",
        ),
        Example(
            "One invented flight of a small craft with its charge, mean voltage and resistance measured",
            given={
                "flights": [
                    {
                        "mass": 213,
                        "duration": 4.5,
                        "cells": 4,
                        "capacity": 650,
                        "charge_used": 520,
                        "mean_voltage": 14.9,
                        "pack_resistance": 60,
                    }
                ],
                "cells": 4,
                "capacity": 650,
                "pack_resistance": 60,
            },
            expected={"mean_power": 103.306666667, "endurance": 4.5, "voltage_ratio": 0.985932977987},
            rtol=1e-9,
            source="by hand: 0.52 Ah x 14.9 V / 0.075 h = 103.307 W; by numerical integration (SciPy) 104.781 W last "
            "as long in the model; the flight itself",
        ),
    ),
)
