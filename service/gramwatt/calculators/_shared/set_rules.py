"""What a search among sets of options says: sentences, charts, why results are missing, and what to know."""

from typing import Any, Final

import numpy as np

from gramwatt.calculators._shared import (
    cautions,
    drivetrain,
    option_slots,
    packs,
    parts,
    propellers,
    set_problem,
    set_search,
    setup_charts,
)
from gramwatt.calculators._shared import flights as shared_flights
from gramwatt.calculators._shared.set_problem import NotCompared
from gramwatt.model import AnyChart, BoolArray, Caution, Reference, Rule, ScatterChart, Sentence

OF_SET: Final = ("endurance", "best_set", "mass", "mass_margin", "capped_thrust_to_weight", "price")
OF_WAY: Final = ("recommended_swap", "swapped_mass_margin", "swapped_endurance")
OF_COMPARED: Final = (*OF_SET, *OF_WAY, "most_missed_requirement", "shortfall_share")


def _is_not_compared(reason: NotCompared) -> Any:
    def holds(given: Any, found: Any) -> BoolArray:
        return np.full(len(given.kv), given.search[0].not_compared is reason)

    return holds


def _is_under(given: Any) -> BoolArray:
    """Return whether (N,) the present set meets the limit, by the figures as given."""
    return np.full(len(given.kv), not given.search[0].present.shortfalls[set_problem.LIMIT, 0])


def _has_way(given: Any) -> BoolArray:
    return np.full(len(given.kv), len(given.search[0].ways) > 0)


RULES: Final[tuple[Rule[Any, Any], ...]] = (
    Rule(
        "too-many-combinations",
        "The options make {combination_count:rough} combinations, and packs, propellers and other options that change "
        "more than the mass leave more than 4,000,000 to compare. Leave out options, or search in two steps.",
        when=_is_not_compared(NotCompared.TOO_MANY),
        results=OF_COMPARED,
    ),
    Rule(
        "heavier-may-fly-longer",
        "The options make {combination_count:rough} combinations. To leave out those that others beat, average power "
        "must rise with the mass of each set, which this mass exponent does not ensure. Give a mass exponent of 1 or "
        "more, or leave out options.",
        when=_is_not_compared(NotCompared.NOT_RISING),
        results=OF_COMPARED,
    ),
    Rule(
        "options-conflict",
        "Options of two slots change the same input of the craft, such as kV. Give each input to the options of one "
        "slot only.",
        when=_is_not_compared(NotCompared.CONFLICT),
        results=OF_COMPARED,
    ),
    Rule(
        "no-set-flies",
        "No set of options flies: a pack cannot deliver the power, or full throttle does not lift the craft.",
        when=lambda given, found: np.isnan(found.shortfall_share) | np.isnan(found.endurance) | np.isnan(found.mass),
        results=("endurance", "mass", "mass_margin", "capped_thrust_to_weight", "shortfall_share"),
        partly="the best set does not fly",
    ),
    Rule(
        "present-set-does-not-fly",
        "The present set has no flight time: its pack cannot deliver the power, or full throttle does not lift it.",
        when=lambda given, found: np.isnan(found.present_endurance) | np.isnan(found.present_mass_margin),
        results=("present_endurance", "present_mass_margin"),
        partly="the present set has no flight time",
        severity="medium",
    ),
    Rule(
        "already-under-limit",
        "The present set is under the mass limit: no swap is needed for that.",
        when=lambda given, found: _is_under(given),
        results=OF_WAY,
        severity="low",
    ),
    Rule(
        "no-swap-under-limit",
        "No single swap and no pair of swaps brings the present set under the mass limit.",
        when=lambda given, found: ~_is_under(given) & ~_has_way(given),
        results=OF_WAY,
    ),
    Rule(
        "swap-not-comparable",
        "{swaps_under_limit.name}: the present set has no figures to compare.",
        when=lambda given, found: np.isnan(
            found.swaps_under_limit.endurance_change + found.swaps_under_limit.capped_thrust_change
        ),
        results=("swaps_under_limit.endurance_change", "swaps_under_limit.capped_thrust_change"),
        partly="{swaps_under_limit.name}, or the present set, has no figures to compare",
        severity="medium",
    ),
    Rule(
        "swap-loses-no-endurance",
        "{swaps_under_limit.name}: the swap costs no flight time.",
        when=lambda given, found: np.isnan(found.swaps_under_limit.mass_saved_per_endurance_lost),
        results=("swaps_under_limit.mass_saved_per_endurance_lost",),
        partly="{swaps_under_limit.name} costs no flight time",
        severity="low",
    ),
    Rule(
        "swap-loses-no-thrust",
        "{swaps_under_limit.name}: the swap costs no thrust.",
        when=lambda given, found: np.isnan(found.swaps_under_limit.mass_saved_per_thrust_lost),
        results=("swaps_under_limit.mass_saved_per_thrust_lost",),
        partly="{swaps_under_limit.name} costs no thrust",
        severity="low",
    ),
    Rule(
        "swap-costs-nothing",
        "{swaps_under_limit.name}: no price was given for the swap, or it costs nothing.",
        when=lambda given, found: np.isnan(found.swaps_under_limit.mass_saved_per_price),
        results=("swaps_under_limit.mass_saved_per_price",),
        severity="low",
    ),
)

_STANDING: Final[tuple[Caution[Any, Any], ...]] = (
    cautions.CHECK_AUTHORITY,
    cautions.PROPELLERS_OFF,
    cautions.LITHIUM_FIRE,
    cautions.LAND_EARLY,
    parts.ALL_ON_BOARD,
)
CAUTIONS: Final[tuple[Caution[Any, Any], ...]] = (
    *_STANDING,
    parts.RULE_SETS_LIMIT,
    parts.LIMIT_ASSUMED,
    *parts.RULE_CONDITIONS,
    *drivetrain.CAUTIONS,
    packs.RESISTANCE_ASSUMED,
    packs.RATING_OVERSTATED,
    packs.LIHV_EXTRAPOLATED,
    shared_flights.RESERVE_ASSUMED,
    *shared_flights.DOUBTFUL_CHARGE,
    shared_flights.FEW_FLIGHTS,
    propellers.CAUTIONS[0],
    Caution(
        "no-set-meets-requirements",
        "No set meets all requirements. The one that comes nearest misses most: {most_missed_requirement}, by "
        "{shortfall_share}.",
        when=lambda given, found: found.most_missed_requirement > 0,
        severity="high",
    ),
    Caution(
        "present-set-over-limit",
        "The present set is not certainly under the mass limit: its margin is {present_mass_margin}.",
        when=lambda given, found: ~_is_under(given),
        severity="high",
    ),
    Caution(
        "slot-without-part",
        "{part_options.slot}: no part has this name. Its first option counts as the present one, beside the parts.",
        when=lambda given, found: _lacks_part(given),
        severity="medium",
    ),
    Caution(
        "propellers-added",
        "The mass of one propeller for each motor was added to that of the parts: leave propellers out of the parts.",
        when=lambda given, found: np.asarray((given.propellers.mass > 0).any(axis=1)),
        severity="low",
    ),
    Caution(
        "propeller-mass-missing",
        "{propellers.name}: the mass of the propellers counts as 0 g, while that of others was added. Give the mass of "
        "each propeller, and leave propellers out of the parts.",
        when=lambda given, found: (
            np.isnan(given.propellers.mass) & ~np.isnan(given.propellers.mass).all(axis=1, keepdims=True)
        ),
        severity="high",
        missing=True,
    ),
    Caution(
        "not-all-compared",
        "Of {combination_count:rough} combinations {compared_count} were compared. Each of the others is beaten by one "
        "of these: the same but for parts that change only the mass, and no heavier, no dearer and no less certain. So "
        "the best set and the Pareto front are exact; the ranking leaves out sets that are beaten.",
        when=lambda given, found: (found.compared_count > 0) & (found.compared_count < found.combination_count),
        severity="low",
    ),
    Caution(
        "pareto-front-not-all-listed",
        "The Pareto front has {pareto_front_count} sets; the best 100 by what is preferred are listed.",
        when=lambda given, found: found.pareto_front_count > set_search.MAX_FRONT,
        severity="low",
    ),
    Caution(
        "other-motors-assumed",
        "{part_options.name}: motor resistance is an estimate from kV and stator. The maker's data replace it.",
        assumed="part_options.motor_resistance",
    ),
)


def _lacks_part(given: Any) -> BoolArray:
    """Return where (N, K) the first option of a slot is for no part."""
    names = given.part_options.slot[0].tolist()
    slots = [option_slots.fold(name) for name in names]
    lacks = [slot not in slots[:at] and not option_slots.find_parts(given, slot) for at, slot in enumerate(slots)]
    return np.tile(np.array(lacks, dtype=np.bool_), (len(given.kv), 1))


SENTENCES: Final[tuple[Sentence[Any, Any], ...]] = (
    Sentence(
        "Choose {recommended_swap}: then it is {swapped_mass_margin} under the limit",
        details=(
            "At present its margin is {present_mass_margin}.",
            "It then flies {swapped_endurance}, at present {present_endurance}.",
            "Best of all that meet the requirements: {best_set}. It flies {endurance}, {mass_margin} under the limit.",
        ),
        when=lambda given, found: ~_is_under(given) & _has_way(given) & (found.feasible_count > 0),
        verdict="good",
    ),
    Sentence(
        "No set meets all requirements: {most_missed_requirement} is missed by {shortfall_share}",
        details=("The nearest has {best_set}: it flies {endurance}, with a margin of {mass_margin}.",),
        when=lambda given, found: found.most_missed_requirement > 0,
        verdict="bad",
    ),
    Sentence(
        "Best as it is: flies {endurance:range}, {mass_margin} under the limit",
        details=("{feasible_count} of {compared_count} sets meet all requirements.",),
        when=lambda given, found: (found.best_set == "as it is") & (found.feasible_count > 0),
        verdict="good",
    ),
    Sentence(
        "Choose {best_set}: flies {endurance:range}, {mass_margin} under the limit",
        details=(
            "At present it flies {present_endurance}, with a margin of {present_mass_margin}.",
            "{feasible_count} of {compared_count} sets meet all requirements.",
        ),
        when=lambda given, found: found.feasible_count > 0,
        verdict="good",
    ),
)
CHARTS: Final[tuple[AnyChart, ...]] = (
    ScatterChart(
        "pareto_front",
        x="mass",
        y="endurance",
        limit=setup_charts.get_limit,
        may_skip_labels=True,
        title="Flight time against mass of the best sets",
    ),
    ScatterChart(
        "swaps_under_limit",
        x="mass_change",
        y="endurance_change",
        may_skip_labels=True,
        title="What a swap saves and costs",
    ),
)
REFERENCES: Final = (
    Reference("The figures of each set are those of build, with the limits of mass-margin, and have their sources"),
    Reference(
        "Pareto front: the sets that no other one equals in all objectives and beats in one (Ehrgott, Multicriteria "
        "Optimization, 2nd ed. 2005, definition 2.1: from memory)",
        about=("pareto_front", "pareto_front_count"),
    ),
)
