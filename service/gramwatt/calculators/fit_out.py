"""Which options to choose: the best sets under a mass limit, and the cheapest ways under it."""

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from gramwatt.calculators._shared import (
    drivetrain,
    fields,
    flight_styles,
    option_slots,
    pack_fields,
    set_problem,
    set_results,
    set_rules,
    set_search,
    set_stream,
    setups,
)
from gramwatt.calculators._shared import flights as shared_flights
from gramwatt.calculators._shared import packs as shared_packs
from gramwatt.calculators._shared import parts as shared_parts
from gramwatt.calculators._shared import propellers as shared_propellers
from gramwatt.model import (
    Array,
    Calculator,
    Choice,
    Count,
    Decided,
    Example,
    Group,
    IndexArray,
    ObjectArray,
    Quantity,
    StandardUncertainty,
    StringArray,
    Table,
    Text,
)


@dataclass(frozen=True, slots=True)
class Inputs:
    """The craft, the options for its packs, propellers and parts, what must hold, and what to prefer."""

    packs: option_slots.Packs
    kv: fields.Kv
    propellers: option_slots.Propellers
    diameter: fields.Diameter
    pitch: fields.OptionalPitch
    parts: shared_parts.PartsWithoutPack
    dry_mass: shared_parts.DryMass
    dry_mass_u: Annotated[Array, StandardUncertainty(of="dry_mass")]
    part_options: option_slots.PartOptions
    preference: Annotated[
        IndexArray,
        Choice(
            set_problem.PREFERENCES,
            "What to have the most of; of price the least.",
            label="Prefer",
            group=Group.WEIGHT,
            option_labels=("flight time", "thrust-to-weight", "mass margin", "a low price"),
            default="endurance",
        ),
    ]
    minimum_endurance: Annotated[
        Array,
        pack_fields.optional_quantity(
            "min", "Flight time that is needed.", label="Minimum flight time", group=Group.FLIGHT, at_most=1e4
        ),
    ]
    minimum_thrust_to_weight: Annotated[
        Array,
        pack_fields.optional_quantity(
            "1",
            "Thrust over weight at full throttle that is needed.",
            label="Minimum thrust-to-weight",
            group=Group.FLIGHT,
            at_most=100,
        ),
    ]
    minimum_probability: Annotated[
        Array,
        Quantity(
            "%",
            "Probability to meet the mass limit that is needed; default: that the verdict is under.",
            label="Minimum probability",
            group=Group.WEIGHT,
            at_least=50,
            at_most=99.99,
            optional=True,
        ),
    ]
    maximum_rating_share: Annotated[
        Array,
        Quantity(
            "%",
            "Share of the continuous ratings of pack and controllers that the current at the throttle cap may take.",
            label="Maximum share of ratings",
            group=Group.FLIGHT,
            above=0,
            at_most=1000,
            default=100,
        ),
    ]
    maximum_price: Annotated[
        Array,
        pack_fields.optional_quantity(
            "1",
            "Price that all options together may have, in the currency of the prices.",
            label="Maximum price",
            group=Group.WEIGHT,
            at_most=1e9,
        ),
    ]
    ranking_length: Annotated[
        Array,
        Count(
            "Sets to list in the ranking, and swaps to list.",
            label="Sets to list",
            group=Group.WEIGHT,
            at_least=1,
            at_most=200,
            default=10,
        ),
    ]
    blades: fields.Blades
    motors: fields.Motors
    mean_power: shared_flights.MeanPower
    flight_style: flight_styles.FlightStyle
    hover_power_ratio: flight_styles.HoverPowerRatio
    flights: shared_flights.Flights
    mass_exponent: fields.OptionalMassExponent
    reserve: pack_fields.Reserve
    throttle_cap: fields.ThrottleCap
    state_of_charge: setups.StateOfCharge
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
    search: Annotated[ObjectArray, Decided("The sets that are listed.", value=set_search.search)]


OF_SET = "that of the best set that meets all requirements; without one, of the set that misses them by the least"
OF_PRESENT = "that of the first option of each slot"


@dataclass(frozen=True, slots=True)
class Results:
    """The best set of options, how it compares, and the ways under the limit."""

    endurance: Annotated[Array, Quantity("min", "Flight time with the best set.", label="Flight time", method=OF_SET)]
    changes: Annotated[
        StringArray,
        Text("What the best set changes of the present one.", label="Best set", max_length=50_000, method=OF_SET),
    ]
    mass: Annotated[Array, Quantity("g", "All-up mass with it.", label="All-up mass", method=OF_SET)]
    mass_margin: Annotated[
        Array,
        Quantity(
            "g",
            "Margin below the limit with it; negative when over.",
            label="Margin below the limit",
            signed=True,
            at_most=1e6,
            method=OF_SET,
        ),
    ]
    thrust_to_weight: Annotated[
        Array,
        Quantity("1", "Thrust over weight at full throttle with it.", label="Thrust-to-weight", method=OF_SET),
    ]
    price: Annotated[Array, Quantity("1", "Price of its options.", label="Price", method=OF_SET)]
    present_mass_margin: Annotated[
        Array,
        Quantity(
            "g",
            "Margin of the present set; negative when over.",
            label="Margin at present",
            signed=True,
            at_most=1e6,
            method=OF_PRESENT,
        ),
    ]
    present_endurance: Annotated[
        Array, Quantity("min", "Flight time of the present set.", label="Flight time at present", method=OF_PRESENT)
    ]
    way_under_limit: Annotated[
        StringArray,
        Text(
            "Swap that brings the present set under the limit and costs least.",
            label="Way under the limit",
            max_length=1000,
            method="the first of the ways under the limit",
        ),
    ]
    way_mass_margin: Annotated[
        Array,
        Quantity(
            "g",
            "Margin below the limit after that swap.",
            label="Margin after the swap",
            signed=True,
            at_most=1e6,
            method="the first of the ways under the limit",
        ),
    ]
    way_endurance: Annotated[
        Array,
        Quantity(
            "min",
            "Flight time after that swap.",
            label="Flight time after the swap",
            method="the first of the ways under the limit",
        ),
    ]
    combination_count: Annotated[
        Array,
        Quantity(
            "1",
            "Sets that the options make.",
            label="Combinations",
            at_least=1,
            exact=True,
            method="product of the numbers of options",
        ),
    ]
    compared_count: Annotated[
        Array,
        Count(
            "Sets that were compared. Each of the others is beaten by one of these.",
            label="Compared",
            at_least=0,
            at_most=set_problem.MAX_COMPARED,
            method="all up to 1,000,000 combinations; of more, those that no other set beats in mass and price",
        ),
    ]
    feasible_count: Annotated[
        Array,
        Count(
            "Compared sets that meet all requirements.",
            label="Meet all",
            at_least=0,
            at_most=set_problem.MAX_COMPARED,
            method="counted",
        ),
    ]
    front_count: Annotated[
        Array,
        Count(
            "Sets that no other beats in flight time, thrust-to-weight, margin and price together.",
            label="On the Pareto front",
            at_least=0,
            at_most=set_problem.MAX_COMPARED,
            method="counted",
        ),
    ]
    binding_requirement: Annotated[
        IndexArray,
        Choice(
            ("none", *set_problem.REQUIREMENTS),
            "What the set that comes nearest misses most.",
            label="Requirement that is missed",
            option_labels=("none", *set_results.REQUIREMENT_NAMES),
            method="the requirement with the greatest shortfall",
        ),
    ]
    shortfall: Annotated[
        Array,
        Quantity(
            "%",
            "By how much it is missed, relative to it.",
            label="Missed by",
            exact=True,
            method="shortfall over the requirement; over the limit of mass",
        ),
    ]
    ranking: Annotated[
        set_results.SetResults,
        Table(
            set_results.SetResults,
            "The best sets that meet all requirements, by what is preferred.",
            label="Best sets",
            max_length=200,
        ),
    ]
    pareto_front: Annotated[
        set_results.FrontResults,
        Table(
            set_results.FrontResults,
            "Those sets; at most 100, the best first.",
            label="Pareto front",
            max_length=set_search.MAX_FRONT,
        ),
    ]
    ways_under_limit: Annotated[
        set_results.WayResults,
        Table(
            set_results.WayResults,
            "Single swaps, then pairs of swaps, that bring the present set under the limit.",
            label="Ways under the limit",
            max_length=200,
        ),
    ]
    by_slot: Annotated[
        set_results.SlotResults, Table(set_results.SlotResults, "What to choose.", label="Slots", max_length=502)
    ]
    by_requirement: Annotated[
        set_results.RequirementResults,
        Table(set_results.RequirementResults, "What the sets must meet.", label="Requirements", max_length=7),
    ]


def fit_out(given: Inputs) -> Results:
    """Search the best set of options for a craft under a mass limit, and the cheapest ways under it.

    Each slot takes exactly one of its options: a pack, a propeller, a part. Figures are those of build, with its
    limits. The search uses the figures as given; the ranges of the sets that it lists come from all that is uncertain.
    Up to a million combinations, all are compared. Of more, those are left out that another one beats for certain.
    """
    search: set_search.Search = given.search[0]
    listed = set_results.list_figures(given, search)
    figures, nearest, ways = listed.figures, listed.nearest, listed.ways
    excused, rows = search.excuse != set_search.NO_EXCUSE, len(given.kv)
    has_way = ways.stop > ways.start
    worst = int(np.argmax(search.shortfalls))
    shortfall = float(search.shortfalls[worst])

    def of_set(values: Array) -> Array:
        return np.full(rows, np.nan) if excused else np.asarray(values[:, nearest])

    def of_way(values: Array) -> Array:
        return np.asarray(values[:, ways.start]) if has_way else np.full(rows, np.nan)

    def count(number: float) -> Array:
        return np.full(rows, float(number))

    return Results(
        endurance=of_set(figures.discharge.duration),
        changes=np.full(rows, "" if excused else listed.names_in_full[nearest]),
        mass=of_set(figures.mass),
        mass_margin=of_set(figures.compared.margin),
        thrust_to_weight=of_set(set_results.get_thrust_to_weight(listed)),
        price=of_set(listed.price),
        present_mass_margin=figures.compared.margin[:, listed.present],
        present_endurance=figures.discharge.duration[:, listed.present],
        way_under_limit=np.full(rows, listed.names_in_full[ways.start] if has_way else ""),
        way_mass_margin=of_way(figures.compared.margin),
        way_endurance=of_way(figures.discharge.duration),
        combination_count=count(search.combinations),
        compared_count=count(search.compared),
        feasible_count=count(search.feasible),
        front_count=count(search.front_size),
        binding_requirement=np.full(rows, 1 + worst if shortfall > 0 else 0),
        shortfall=count(shortfall if np.isfinite(shortfall) else np.nan),
        ranking=set_results.make_ranking(listed, listed.best),
        pareto_front=set_results.make_front(listed, listed.front),
        ways_under_limit=set_results.make_ways(given, listed, search),
        by_slot=set_results.make_slots(given, search),
        by_requirement=set_results.make_requirements(given, search),
    )


CALCULATOR = Calculator(
    title="Which parts to choose?",
    summary="The best set of packs, propellers and parts under a mass limit, and the cheapest ways under it.",
    inputs=Inputs,
    results=Results,
    formula=fit_out,
    category="weigh",
    sentences=set_rules.SENTENCES,
    charts=set_rules.CHARTS,
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
        *option_slots.ASSUMPTIONS,
    ),
    formats=set_stream.FORMATS,
    rules=set_rules.RULES,
    references=set_rules.REFERENCES,
    cautions=set_rules.CAUTIONS,
    examples=(
        Example(
            "An invented craft 3 g over its limit; a lighter camera, other screws or a lighter pack",
            given={
                "parts": [
                    {"name": "frame", "mass": 41.5},
                    {"name": "motor", "mass": 11.4, "count": 4},
                    {"name": "electronics", "mass": 24.6},
                    {"name": "camera", "mass": 31.2},
                    {"name": "screw", "mass": 0.52, "count": 16},
                    {"name": "strap", "mass": 4.1},
                ],
                "packs": [
                    {"name": "650", "cells": 4, "capacity": 650, "mass": 78.3, "discharge_rating": 90},
                    {"name": "550", "cells": 4, "capacity": 550, "mass": 66.9, "discharge_rating": 90, "price": 19},
                ],
                "kv": 4300,
                "propellers": [{"name": "three blades", "diameter": 3, "pitch": 2.1, "blades": 3, "mass": 1.85}],
                "part_options": [
                    {"slot": "camera", "name": "light camera", "mass": 24.8, "price": 60},
                    {"slot": "screw", "name": "titanium screw", "mass": 0.31, "price": 0.6},
                ],
                "scale_resolution": 0.1,
                "mass_limit": 238,
                "ranking_length": 3,
            },
            expected={
                "present_mass_margin": -3.02,
                "way_under_limit": "light camera instead of camera",
                "combination_count": 8,
            },
            rtol=1e-9,
            source="by hand: 41.5 + 4 x 11.4 + 24.6 + 31.2 + 16 x 0.52 + 4.1 + 78.3 + 4 x 1.85 = 241.02 g; "
            "31.2 - 24.8 = 6.4 g less with the light camera; 2 packs, 2 cameras and 2 kinds of screw are 8 sets",
        ),
        Example(
            "A craft weighed without its pack, with its average power, in the cold, at a limit that is itself allowed",
            given={
                "dry_mass": 353.8,
                "mean_power": 260,
                "mass_exponent": 1.2,
                "kv": 2400,
                "stator_diameter": 22,
                "stator_height": 6,
                "diameter": 5,
                "pitch": 4.3,
                "blades": 2,
                "pack_temperature": 10,
                "mass_limit": 508.8,
                "limit_comparison": "at-most",
                "scale_resolution": 0,
                "packs": [
                    {"name": "small", "cells": 4, "capacity": 1300, "mass": 155, "cell_resistance": 12, "price": 28},
                    {"name": "large", "cells": 4, "capacity": 1800, "mass": 203, "cell_resistance": 9, "price": 36},
                ],
                "part_options": [
                    {"slot": "camera", "name": "none", "mass": 0},
                    {"slot": "camera", "name": "small camera", "mass": 7.2, "avionics_power": 9, "price": 40},
                    {"slot": "governor", "name": "without", "mass": 0},
                    {"slot": "governor", "name": "capped", "mass": 0, "throttle_cap": 70},
                ],
                "preference": "mass-margin",
                "minimum_endurance": 3,
                "minimum_thrust_to_weight": 3,
                "minimum_probability": 90,
                "maximum_price": 50,
                "ranking_length": 5,
            },
            expected={"combination_count": 8, "changes": "as it is", "mass": 508.8, "mass_margin": 0},
            rtol=1e-9,
            source="by hand: 353.8 + 155 = 508.8 g is the lightest of 2 x 2 x 2 sets, and just at the limit",
        ),
        Example(
            "A craft measured on a bench, with a strap to choose",
            given={
                "dry_mass": 353.8,
                "kv": 2400,
                "diameter": 5,
                "pitch": 4.3,
                "bench_speed": 26600,
                "bench_thrust": 920,
                "bench_voltage": 14.8,
                "bench_current": 23,
                "mass_limit": 515,
                "packs": [{"name": "small", "cells": 4, "capacity": 1300, "mass": 155, "cell_resistance": 12}],
                "part_options": [
                    {"slot": "strap", "name": "wide", "mass": 7.5},
                    {"slot": "strap", "name": "thin", "mass": 3.1, "price": 4},
                ],
            },
            expected={"way_under_limit": "thin instead of wide", "present_mass_margin": -1.3, "way_mass_margin": 3.1},
            rtol=1e-9,
            source="by hand: 353.8 + 155 + 7.5 = 516.3 g; with 3.1 g in place of 7.5 g 511.9 g",
        ),
        Example(
            "A craft with two of its flights, other motors and controllers to choose, and a rule as limit",
            given={
                "dry_mass": 60,
                "parts": [{"name": "motor", "mass": 10.2, "count": 4}, {"name": "controller", "mass": 9.6}],
                "kv": 4300,
                "propellers": [
                    {"name": "flown", "diameter": 3, "pitch": 2.1, "mass": 1.85},
                    {"name": "steep", "diameter": 3, "pitch": 2.6, "mass": 1.9, "price": 2},
                ],
                "bench_speed": 20000,
                "bench_thrust": 150,
                "bench_shaft_power": 25,
                "rule": "us-registration",
                "controller_rating": 18,
                "throttle_cap": 90,
                "maximum_rating_share": 120,
                "flights": [
                    {"mass": 196, "duration": 6.2, "cells": 4, "capacity": 650, "charge_used": 520},
                    {"mass": 221, "duration": 5.4, "cells": 4, "capacity": 650, "charge_used": 520},
                ],
                "packs": [{"name": "flown", "cells": 4, "capacity": 650, "mass": 78, "pack_resistance": 60}],
                "part_options": [
                    {
                        "slot": "motor",
                        "name": "larger motor",
                        "mass": 12.4,
                        "kv": 3800,
                        "stator_diameter": 14,
                        "stator_height": 6,
                        "price": 18,
                    },
                    {
                        "slot": "controller",
                        "name": "strong controller",
                        "mass": 11.2,
                        "count": 1,
                        "controller_rating": 30,
                        "price": 45,
                    },
                ],
            },
            expected={"combination_count": 8, "present_mass_margin": 53.6757999},
            rtol=1e-6,
            source="by hand: 0.55 lb = 249.4758 g; 60 + 40.8 + 9.6 + 78 + 4 x 1.85 = 195.8 g; 2 x 2 x 2 sets",
        ),
    ),
)
