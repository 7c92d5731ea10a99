"""A whole craft in several setups, side by side: mass, thrust, current, hover, flight time, with what changes."""

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from gramwatt.calculators._shared import (
    cautions,
    drivetrain,
    fields,
    flight_styles,
    pack_fields,
    setup_cautions,
    setup_charts,
    setup_figures,
    setup_rules,
    setup_steps,
)
from gramwatt.calculators._shared import flights as shared_flights
from gramwatt.calculators._shared import packs as shared_packs
from gramwatt.calculators._shared import parts as shared_parts
from gramwatt.calculators._shared import propellers as shared_propellers
from gramwatt.calculators._shared import setups as shared_setups
from gramwatt.calculators._shared.setup_results import LIMITED, SetupResults, relative_change
from gramwatt.model import (
    Array,
    Calculator,
    Example,
    Quantity,
    StandardUncertainty,
    StringArray,
    Table,
    Text,
)
from gramwatt.physics import cells, constants, pack, weighing


@dataclass(frozen=True, slots=True)
class Inputs:
    """The craft without its pack, the packs, the setups to compare, how it is flown, and the mass limit."""

    packs: shared_packs.Packs
    kv: fields.Kv
    propellers: shared_propellers.Propellers
    diameter: fields.Diameter
    pitch: fields.OptionalPitch
    parts: shared_parts.PartsWithoutPack
    dry_mass: shared_parts.DryMass
    dry_mass_u: Annotated[Array, StandardUncertainty(of="dry_mass")]
    setups: shared_setups.Setups
    blades: fields.Blades
    motors: fields.Motors
    mean_power: shared_flights.MeanPower
    flight_style: flight_styles.FlightStyle
    hover_power_ratio: flight_styles.HoverPowerRatio
    flights: shared_flights.Flights
    mass_exponent: fields.OptionalMassExponent
    reserve: pack_fields.Reserve
    throttle_cap: fields.ThrottleCap
    state_of_charge: shared_setups.StateOfCharge
    pack_temperature: pack_fields.PackTemperature
    activation_energy: pack_fields.ActivationEnergy
    rule: shared_parts.Rule
    mass_limit: shared_parts.MassLimit
    limit_comparison: shared_parts.LimitComparison
    scale_resolution: shared_parts.ScaleResolution
    stator_diameter: drivetrain.StatorDiameter
    stator_height: drivetrain.StatorHeight
    kv_deficit: drivetrain.KvDeficit
    motor_resistance: drivetrain.MotorResistance
    no_load_current: drivetrain.NoLoadCurrent
    controller_rating: drivetrain.ControllerRating
    thrust_coefficient: drivetrain.ThrustCoefficient
    power_coefficient: drivetrain.PowerCoefficient
    figure_of_merit: fields.FigureOfMerit
    air_density: fields.AirDensity
    avionics_power: fields.AvionicsPower
    bench_speed: drivetrain.BenchSpeed
    bench_thrust: drivetrain.BenchThrust
    bench_shaft_power: drivetrain.BenchShaftPower
    bench_voltage: drivetrain.BenchVoltage
    bench_current: drivetrain.BenchCurrent
    thrust_coefficient_error: drivetrain.ThrustCoefficientError
    power_coefficient_error: drivetrain.PowerCoefficientError
    flight_scatter: shared_flights.FlightScatter
    exponent_error: shared_flights.ExponentError


@dataclass(frozen=True, slots=True)
class Results:
    """The setups side by side, and the one that flies longest."""

    longest_endurance: Annotated[
        Array,
        Quantity(
            "min",
            "Flight time of the setup that flies longest.",
            label="Longest flight time",
            formula="max(by_setup.endurance)",
        ),
    ]
    longest_setup: Annotated[
        StringArray,
        Text("Name of that setup.", label="Longest-flying setup", method="setup of the longest flight time"),
    ]
    longest_endurance_under_limit: Annotated[
        Array,
        Quantity(
            "min",
            "Longest flight time of the setups under the limit.",
            label="Longest flight under limit",
            method="maximum over the setups whose verdict is under",
        ),
    ]
    longest_setup_under_limit: Annotated[
        StringArray,
        Text("Name of that setup.", label="Longest under limit with", method="setup of that time"),
    ]
    mean_power_source: shared_flights.MeanPowerSource
    by_setup: Annotated[
        SetupResults,
        Table(SetupResults, "The craft in each setup.", label="Setups compared", max_length=shared_setups.MAX_SETUPS),
    ]


def build(given: Inputs) -> Results:
    """Compare setups of a craft: mass and margin, hover, full throttle and throttle cap, flight time, and the changes.

    Combines the models of mass-margin, full-throttle and endurance, with their limits: figures at rest, one resistance
    for the pack, one average power for the flight. Differences between setups are more certain than the figures.
    """
    chosen = shared_setups.choose(given)
    packs, figures = chosen.pack, setup_figures.find_figures(given, chosen)
    mass, duration = figures.mass, figures.discharge.duration
    full, capped = figures.throttle.full, figures.throttle.capped
    voltage, resistance = figures.source["open_circuit_voltage"], figures.source["pack_resistance"]
    is_overloaded = (figures.discharge_rating_share > 1) | (figures.controller_rating_share > 1)
    duration_under = np.where(figures.compared.verdict == weighing.UNDER, duration, np.nan)
    longest = shared_setups.find_longest(chosen.names, duration, is_overloaded)
    under = shared_setups.find_longest(chosen.names, duration_under, is_overloaded)
    return Results(
        longest_endurance=longest[0],
        longest_setup=longest[1],
        longest_endurance_under_limit=under[0],
        longest_setup_under_limit=under[1],
        mean_power_source=figures.mean_power_source,
        by_setup=SetupResults(
            name=chosen.names,
            mass=mass,
            mass_margin=figures.compared.margin,
            verdict=figures.compared.verdict,
            probability_under_limit=figures.compared.probability,
            nominal_energy=packs.cells * cells.NOMINAL_VOLTAGE[packs.chemistry] * packs.capacity,
            hover_power=figures.hover_power,
            hover_current=pack.current_at_power(figures.hover_power, voltage, resistance),
            hover_throttle=figures.hover_throttle,
            mean_power=figures.mean_power,
            endurance=duration,
            ended_by=figures.discharge.ended_by,
            thrust=full.thrust,
            thrust_to_weight=full.thrust / (mass * constants.STANDARD_GRAVITY),
            pack_current=full.pack_current,
            throttle_cap=np.where(np.isnan(full.thrust), np.nan, figures.throttle.cap),
            capped_thrust=capped.thrust,
            capped_pack_current=capped.pack_current,
            capped_cell_voltage=capped.pack_voltage / packs.cells,
            c_rate=figures.c_rate,
            discharge_rating_share=figures.discharge_rating_share,
            controller_rating_share=figures.controller_rating_share,
            mass_change=mass - mass[:, :1],
            mass_change_share=relative_change(mass),
            endurance_change=duration - duration[:, :1],
            endurance_change_share=relative_change(duration),
            capped_thrust_change_share=relative_change(capped.thrust),
            capped_pack_current_change_share=relative_change(capped.pack_current),
        ),
    )


CALCULATOR = Calculator(
    title="Which setup suits this craft?",
    summary="A whole craft in several setups side by side: packs, propellers, throttle caps; mass, hover, flight time.",
    inputs=Inputs,
    results=Results,
    formula=build,
    steps=setup_steps.find_steps,
    category="choose",
    sentences=setup_rules.SENTENCES,
    charts=setup_charts.CHARTS,
    any_of=(("parts", "dry_mass"), ("propellers", "diameter"), ("propellers", "pitch")),
    assumptions=(
        shared_flights.EXPONENT,
        flight_styles.RATIO_BY_STYLE,
        *shared_flights.ASSUMPTIONS,
        *shared_packs.RESISTANCES,
        *shared_parts.LIMITS,
        *shared_propellers.FIRST,
        *drivetrain.ASSUMPTIONS,
        *shared_propellers.OTHERS,
    ),
    rules=setup_rules.RULES,
    references=(
        *shared_parts.laws("longest_endurance_under_limit", "longest_setup_under_limit", *LIMITED),
        drivetrain.MODEL,
        drivetrain.COEFFICIENTS,
        drivetrain.BENCH,
        cautions.rested_voltage("by_setup", "longest_endurance"),
        flight_styles.STYLES,
        shared_flights.SCATTER,
    ),
    cautions=(
        cautions.CHECK_AUTHORITY,
        cautions.PROPELLERS_OFF,
        cautions.LITHIUM_FIRE,
        cautions.LAND_EARLY,
        shared_parts.ALL_ON_BOARD,
        shared_parts.RULE_SETS_LIMIT,
        shared_parts.LIMIT_ASSUMED,
        *shared_parts.RULE_CONDITIONS,
        drivetrain.STATIC,
        drivetrain.DUTY_IS_NOT_STICK,
        *drivetrain.CAUTIONS,
        *shared_propellers.CAUTIONS,
        shared_packs.RESISTANCE_ASSUMED,
        shared_flights.RESERVE_ASSUMED,
        *shared_flights.DOUBTFUL_CHARGE,
        shared_flights.FEW_FLIGHTS,
        *setup_rules.LIMITS_EXCEEDED,
        *setup_cautions.CAUTIONS,
        shared_packs.RATING_OVERSTATED,
        setup_rules.COLD,
        setup_rules.OUTSIDE_TEMPERATURE,
        shared_packs.LIHV_EXTRAPOLATED,
    ),
    examples=(
        Example(
            "An invented five-inch craft with a 4-cell pack, and with a capped 6-cell pack of the same capacity",
            given={
                "parts": [
                    {"name": "frame", "mass": 98},
                    {"name": "motor", "mass": 31.5, "count": 4},
                    {"name": "propeller", "mass": 4.2, "count": 4},
                    {"name": "electronics", "mass": 52},
                    {"name": "camera and transmitter", "mass": 61},
                ],
                "packs": [
                    {"name": "4 cells", "cells": 4, "capacity": 1300, "mass": 155, "discharge_rating": 100},
                    {"name": "6 cells", "cells": 6, "capacity": 1300, "mass": 228, "discharge_rating": 100},
                ],
                "kv": 2400,
                "stator_diameter": 22,
                "stator_height": 6,
                "diameter": 5,
                "pitch": 4.3,
                "setups": [
                    {"name": "4 cells", "pack": "4 cells"},
                    {"name": "6 cells, capped", "pack": "6 cells", "throttle_cap": 66},
                ],
                "controller_rating": 45,
                "rule": "custom",
                "mass_limit": 600,
                "scale_resolution": 0.1,
            },
            expected={"longest_setup": "6 cells, capped", "mean_power_source": "hover-power-ratio"},
            rtol=1e-9,
            source="rule of thumb, no source: the same capacity on more cells flies longer at moderate extra mass",
        ),
        Example(
            "The same craft weighed without its pack, with its average power in flight and one bench run",
            given={
                "dry_mass": 353.8,
                "mean_power": 260,
                "mass_exponent": 1.2,
                "kv": 2400,
                "diameter": 5,
                "pitch": 4.3,
                "bench_speed": 26600,
                "bench_thrust": 920,
                "bench_voltage": 14.8,
                "bench_current": 23,
                "pack_temperature": 10,
                "mass_limit": 508.8,
                "scale_resolution": 0,
                "packs": [
                    {"name": "small", "cells": 4, "capacity": 1300, "mass": 155, "cell_resistance": 12},
                    {"name": "large", "cells": 4, "capacity": 1800, "mass": 205, "cell_resistance": 9},
                ],
            },
            expected={"longest_setup": "large", "mean_power_source": "mean-power"},
            rtol=1e-9,
            source="by hand: 1.8/1.3 = 1.385 of the energy at (558.8/508.8)^1.2 = 1.119 of the power lasts longer",
        ),
        Example(
            "The same craft, with two of its flights; with a camera and other propellers as strong for its weight",
            given={
                "dry_mass": 337,
                "kv": 2400,
                "propellers": [
                    {"name": "flown", "diameter": 5, "pitch": 4.3, "mass": 4.2},
                    {"name": "steep", "diameter": 5, "pitch": 4.9, "mass": 4.4},
                ],
                "bench_speed": 20000,
                "bench_thrust": 520,
                "bench_shaft_power": 90,
                "mass_limit": "0.55 lb",
                "flights": [
                    {"mass": 508.8, "duration": 5.2, "cells": 4, "capacity": 1300, "charge_used": 1070},
                    {"mass": 558.8, "duration": 4.7, "cells": 4, "capacity": 1300, "charge_used": 1070},
                ],
                "packs": [{"name": "flown", "cells": 4, "capacity": 1300, "mass": 155, "pack_resistance": 50}],
                "setups": [
                    {"name": "as flown", "throttle_cap": 80},
                    {
                        "name": "with a camera",
                        "propeller": "steep",
                        "added_mass": 60,
                        "match_quantity": "thrust-to-weight",
                    },
                ],
            },
            expected={"mean_power_source": "flights", "longest_setup": "as flown", "longest_endurance": 5.2},
            rtol=0.05,
            source="by hand: the flight itself, 5.2 min for 1070 of the 1040 mAh above the reserve, by label volts",
        ),
    ),
)
