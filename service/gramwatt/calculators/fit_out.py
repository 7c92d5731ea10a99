"""Which options to choose: the best sets under a mass limit, and the cheapest swaps to get under it."""

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from gramwatt.calculators._shared import (
    drivetrain,
    fields,
    flight_styles,
    option_slots,
    pack_fields,
    requirements,
    set_examples,
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
    preference: requirements.Preference
    minimum_endurance: requirements.MinimumEndurance
    minimum_thrust_to_weight: requirements.MinimumThrustToWeight
    minimum_probability: requirements.MinimumProbability
    maximum_rating_share: requirements.MaximumRatingShare
    maximum_price: requirements.MaximumPrice
    ranking_size: requirements.RankingLength
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


OF_SET = "that of the best set that meets all requirements; without one, of the set that comes nearest to them"
OF_PRESENT = "that of the first option of each slot"


@dataclass(frozen=True, slots=True)
class Results:
    """The best set of options, how it compares, and the swaps that get under the limit."""

    endurance: Annotated[Array, Quantity("min", "Flight time with the best set.", label="Flight time", method=OF_SET)]
    best_set: Annotated[
        StringArray,
        Text("What the best set changes in the present one.", label="Best set", max_length=50_000, method=OF_SET),
    ]
    mass: Annotated[Array, Quantity("g", "All-up mass with the best set.", label="All-up mass", method=OF_SET)]
    mass_margin: Annotated[
        Array,
        Quantity(
            "g",
            "Margin of the best set below the limit; negative when over.",
            label="Margin below the limit",
            signed=True,
            at_most=1e6,
            method=OF_SET,
        ),
    ]
    capped_thrust_to_weight: Annotated[
        Array,
        Quantity("1", "Thrust over weight at the throttle cap.", label="Thrust-to-weight", method=OF_SET),
    ]
    price: Annotated[Array, Quantity("1", "Price of the options of the best set.", label="Price", method=OF_SET)]
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
    recommended_swap: Annotated[
        StringArray,
        Text(
            "Swap that brings the present set under the limit and costs least.",
            label="Swap to get under the limit",
            max_length=1000,
            method="the first of `swaps_under_limit`",
        ),
    ]
    swapped_mass_margin: Annotated[
        Array,
        Quantity(
            "g",
            "Margin below the limit after that swap.",
            label="Margin after the swap",
            signed=True,
            at_most=1e6,
            method="the first of `swaps_under_limit`",
        ),
    ]
    swapped_endurance: Annotated[
        Array,
        Quantity(
            "min",
            "Flight time after that swap.",
            label="Flight time after the swap",
            method="the first of `swaps_under_limit`",
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
            label="Sets compared",
            at_least=0,
            at_most=set_problem.MAX_COMPARED,
            method="all up to 1,000,000 combinations; of more, those that no other set beats in mass and price",
        ),
    ]
    feasible_count: Annotated[
        Array,
        Count(
            "Compared sets that meet all requirements.",
            label="Feasible sets",
            at_least=0,
            at_most=set_problem.MAX_COMPARED,
            method="counted",
        ),
    ]
    pareto_front_count: Annotated[
        Array,
        Count(
            "Sets that no other beats in flight time, thrust-to-weight, margin and price together.",
            label="On the Pareto front",
            at_least=0,
            at_most=set_problem.MAX_COMPARED,
            method="counted",
        ),
    ]
    most_missed_requirement: Annotated[
        IndexArray,
        Choice(
            ("none", *set_problem.REQUIREMENTS),
            "Requirement that the nearest set misses most.",
            label="Most missed requirement",
            option_labels=("none", *set_results.REQUIREMENT_NAMES),
            method="the requirement with the largest shortfall",
        ),
    ]
    shortfall_share: Annotated[
        Array,
        Quantity(
            "%",
            "By how much that requirement is missed, relative to its value.",
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
        set_results.ParetoResults,
        Table(
            set_results.ParetoResults,
            "Sets on the Pareto front; at most 100, the best first.",
            label="Pareto front",
            max_length=set_search.MAX_FRONT,
        ),
    ]
    swaps_under_limit: Annotated[
        set_results.SwapResults,
        Table(
            set_results.SwapResults,
            "Single swaps, then pairs of swaps, that bring the present set under the limit.",
            label="Swaps to get under the limit",
            max_length=200,
        ),
    ]
    by_slot: Annotated[
        set_results.SlotResults,
        Table(set_results.SlotResults, "The present and the best option of each slot.", label="Slots", max_length=502),
    ]
    by_requirement: Annotated[
        set_results.RequirementResults,
        Table(set_results.RequirementResults, "What the sets must meet.", label="Requirements", max_length=7),
    ]


def fit_out(given: Inputs) -> Results:
    """Search the best set of options for a craft under a mass limit, and the cheapest swaps to get under it.

    Each slot takes exactly one of its options: a pack, a propeller, a part. Figures are those of build, with its
    limits. The search uses the figures as given; the ranges of the sets that it lists come from all that is uncertain.
    Up to a million combinations, all are compared. Of more, those are left out that another one beats for certain.
    """
    search: set_search.Search = given.search[0]
    listed = set_results.list_figures(given, search)
    figures, nearest, ways = listed.figures, listed.nearest, listed.ways
    rows = len(given.kv)
    has_way = ways.stop > ways.start
    worst = int(np.argmax(search.shortfalls))
    shortfall = float(search.shortfalls[worst])

    def of_set(values: Array) -> Array:
        return np.full(rows, np.nan) if search.not_compared else np.asarray(values[:, nearest])

    def of_way(values: Array) -> Array:
        return np.asarray(values[:, ways.start]) if has_way else np.full(rows, np.nan)

    def count(number: float) -> Array:
        return np.full(rows, float(number))

    return Results(
        endurance=of_set(figures.discharge.duration),
        best_set=np.full(rows, "" if search.not_compared else listed.names_in_full[nearest]),
        mass=of_set(figures.mass),
        mass_margin=of_set(figures.compared.margin),
        capped_thrust_to_weight=of_set(set_results.get_thrust_to_weight(listed)),
        price=of_set(listed.price),
        present_mass_margin=figures.compared.margin[:, listed.present],
        present_endurance=figures.discharge.duration[:, listed.present],
        recommended_swap=np.full(rows, listed.names_in_full[ways.start] if has_way else ""),
        swapped_mass_margin=of_way(figures.compared.margin),
        swapped_endurance=of_way(figures.discharge.duration),
        combination_count=count(search.combinations),
        compared_count=count(search.compared),
        feasible_count=count(search.feasible),
        pareto_front_count=count(search.front_size),
        most_missed_requirement=np.full(rows, -1 if search.not_compared else 1 + worst if shortfall > 0 else 0),
        shortfall_share=count(shortfall if np.isfinite(shortfall) else np.nan),
        ranking=set_results.make_ranking(listed, listed.best),
        pareto_front=set_results.make_front(listed, listed.front),
        swaps_under_limit=set_results.make_ways(given, listed, search),
        by_slot=set_results.make_slots(given, search),
        by_requirement=set_results.make_requirements(given, search),
    )


CALCULATOR = Calculator(
    title="Which parts suit this craft?",
    summary="The best set of packs, propellers and parts under a mass limit, and the cheapest swaps to get under it.",
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
    examples=set_examples.EXAMPLES,
)
