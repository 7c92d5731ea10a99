"""The results of a search among sets of options: tables of sets, of swaps, of slots and of requirements."""

from dataclasses import dataclass
from typing import Annotated, Any, Final, NamedTuple

import numpy as np

from gramwatt.calculators._shared import option_slots, set_problem, setup_figures
from gramwatt.calculators._shared.set_search import Search
from gramwatt.model import Array, BoolArray, Choice, Count, Flag, IndexArray, Quantity, StringArray, Text
from gramwatt.physics import constants

AS_IN_BUILD: Final = "as in build"
CHANGE: Final = "that of the set less that of the present one"
REQUIREMENT_NAMES: Final = (
    "it flies",
    "mass limit",
    "flight time",
    "thrust-to-weight",
    "rating of the pack",
    "rating of the controllers",
    "price",
)


@dataclass(frozen=True, slots=True)
class ParetoResults:
    """The craft in one set of options, by what the sets are compared in."""

    name: Annotated[
        StringArray,
        Text("What it changes of the present set.", label="Changes", max_length=50_000, method="by name"),
    ]
    mass: Annotated[Array, Quantity("g", "All-up mass.", label="All-up mass", method=AS_IN_BUILD)]
    mass_margin: Annotated[
        Array,
        Quantity(
            "g", "Margin below the limit.", label="Margin below the limit", signed=True, at_most=1e6, method=AS_IN_BUILD
        ),
    ]
    endurance: Annotated[Array, Quantity("min", "Flight time.", label="Flight time", method=AS_IN_BUILD)]
    capped_thrust_to_weight: Annotated[
        Array,
        Quantity("1", "Thrust over weight at the throttle cap.", label="Thrust-to-weight", method=AS_IN_BUILD),
    ]
    price: Annotated[Array, Quantity("1", "Price of its options.", label="Price", method="sum of price times count")]


@dataclass(frozen=True, slots=True)
class SetResults(ParetoResults):
    """The craft in one set of options."""

    probability_under_limit: Annotated[
        Array,
        Quantity(
            "%",
            "Probability to meet the limit.",
            label="Probability under limit",
            at_most=100,
            exact=True,
            method=AS_IN_BUILD,
        ),
    ]
    capped_pack_current: Annotated[
        Array,
        Quantity("A", "Current from the pack at the throttle cap.", label="Capped pack current", method=AS_IN_BUILD),
    ]


@dataclass(frozen=True, slots=True)
class SwapResults:
    """One or two swaps that bring the craft under the limit."""

    name: Annotated[StringArray, Text("What to swap.", label="Swap", max_length=1000, method="by name")]
    mass_margin: Annotated[
        Array,
        Quantity(
            "g", "Margin below the limit.", label="Margin below the limit", signed=True, at_most=1e6, method=AS_IN_BUILD
        ),
    ]
    meets_requirements: Annotated[
        BoolArray,
        Flag("Whether it meets all other requirements too.", label="Other requirements met", method="all are met"),
    ]
    mass_change: Annotated[
        Array, Quantity("g", "Change of the mass.", label="Mass change", at_least=-1e6, at_most=1e6, method=CHANGE)
    ]
    endurance_change: Annotated[
        Array, Quantity("min", "Change of the flight time.", label="Flight time change", signed=True, method=CHANGE)
    ]
    capped_thrust_change: Annotated[
        Array,
        Quantity("gf", "Change of the thrust at the throttle cap.", label="Thrust change", signed=True, method=CHANGE),
    ]
    price_change: Annotated[
        Array, Quantity("1", "Change of the price.", label="Price change", signed=True, method=CHANGE)
    ]
    mass_saved_per_endurance_lost: Annotated[
        Array,
        Quantity(
            "g/min",
            "Mass saved for each minute lost.",
            label="Saved per minute lost",
            signed=True,
            formula="-mass_change / -endurance_change",
        ),
    ]
    mass_saved_per_thrust_lost: Annotated[
        Array,
        Quantity(
            "g/gf",
            "Mass saved for each gf of thrust lost.",
            label="Saved per gf lost",
            signed=True,
            formula="-mass_change / -capped_thrust_change",
        ),
    ]
    mass_saved_per_price: Annotated[
        Array,
        Quantity(
            "g",
            "Mass saved for each unit of price.",
            label="Saved per price",
            signed=True,
            formula="-mass_change / price_change",
        ),
    ]


@dataclass(frozen=True, slots=True)
class SlotResults:
    """What the named set has in one slot."""

    name: Annotated[StringArray, Text("The part, pack or propeller.", label="Slot", method="by name")]
    option_count: Annotated[
        Array,
        Count(
            "Options to choose from.",
            label="Options",
            at_least=1,
            at_most=option_slots.MAX_OPTIONS + 1,
            method="counted",
        ),
    ]
    present_option: Annotated[StringArray, Text("The present one.", label="Present", method="the first option")]
    chosen_option: Annotated[StringArray, Text("The one to choose.", label="Choose", method="that of the named set")]


def _count(description: str, label: str) -> Count:
    return Count(description, label=label, at_least=0, at_most=set_problem.MAX_COMPARED, method="counted")


@dataclass(frozen=True, slots=True)
class RequirementResults:
    """How many of the compared sets meet one requirement."""

    requirement: Annotated[
        IndexArray,
        Choice(
            set_problem.REQUIREMENTS,
            "What a set must meet.",
            label="Requirement",
            option_labels=REQUIREMENT_NAMES,
            method="those that are given, and those that always hold",
        ),
    ]
    meeting_count: Annotated[Array, _count("Sets that meet it.", "Sets that meet it")]
    sole_obstacle_count: Annotated[
        Array,
        _count("Sets that would meet all requirements without this one.", "Ruled out by it alone"),
    ]


class Listed(NamedTuple):
    """The sets of one search that its results list, (N, M) for N draws of its inputs; the present one first."""

    figures: setup_figures.Figures
    thrust: Array
    price: Array
    names: list[str]
    """What each changes, in short."""
    names_in_full: list[str]
    present: int
    nearest: int
    best: slice
    front: slice
    ways: slice


def list_figures(given: Any, search: Search) -> Listed:
    """Compute the figures of all sets that are listed, in one go."""
    nothing = np.zeros((1, len(search.slots)), dtype=np.intp)
    parts = [nothing, search.nearest, search.best, search.front, search.ways]
    sets = np.concatenate(parts)
    ends = np.cumsum([len(each) for each in parts]).tolist()
    slots = option_slots.list_slots(given)
    figures = setup_figures.find_figures(given, option_slots.choose(given, slots, sets))
    return Listed(
        figures,
        figures.throttle.capped.thrust,
        option_slots.add_columns(slots, sets, "price"),
        [option_slots.describe(search.slots, each) for each in sets],
        [option_slots.describe(search.slots, each, in_full=True) for each in sets],
        0,
        1 if len(search.nearest) else 0,
        slice(ends[1], ends[2]),
        slice(ends[2], ends[3]),
        slice(ends[3], ends[4]),
    )


def make_front(listed: Listed, rows: slice) -> ParetoResults:
    """Return rows of the table of the front."""
    return ParetoResults(**_get_objectives(listed, rows))


def make_ranking(listed: Listed, rows: slice) -> SetResults:
    """Return rows of the table of the best sets."""
    figures = listed.figures
    return SetResults(
        **_get_objectives(listed, rows),
        probability_under_limit=figures.compared.probability[:, rows],
        capped_pack_current=figures.throttle.capped.pack_current[:, rows],
    )


def _get_objectives(listed: Listed, rows: slice) -> dict[str, Any]:
    figures = listed.figures
    return {
        "name": _repeat(listed.names[rows], figures.mass),
        "mass": figures.mass[:, rows],
        "mass_margin": figures.compared.margin[:, rows],
        "endurance": figures.discharge.duration[:, rows],
        "capped_thrust_to_weight": get_thrust_to_weight(listed)[:, rows],
        "price": listed.price[:, rows],
    }


def get_thrust_to_weight(listed: Listed) -> Array:
    """Return thrust over weight (N, M)."""
    return listed.thrust / (listed.figures.mass * constants.STANDARD_GRAVITY)


def make_ways(given: Any, listed: Listed, search: Search) -> SwapResults:
    """Return the rows of the table of swaps that get under the limit."""
    figures, ways = listed.figures, listed.ways

    def change(values: Array) -> Array:
        return np.asarray(values[:, ways] - values[:, :1])

    mass, time = change(figures.mass), change(figures.discharge.duration)
    thrust, price = change(listed.thrust), change(listed.price)
    return SwapResults(
        name=_repeat(listed.names[ways], figures.mass),
        mass_margin=figures.compared.margin[:, ways],
        meets_requirements=np.broadcast_to(search.ways_are_feasible, mass.shape),
        mass_change=mass,
        endurance_change=time,
        capped_thrust_change=thrust,
        price_change=price,
        mass_saved_per_endurance_lost=np.where(time < 0, mass / time, np.nan),
        mass_saved_per_thrust_lost=np.where(thrust < 0, mass / thrust, np.nan),
        mass_saved_per_price=np.where(price > 0, -mass / price, np.nan),
    )


def make_slots(given: Any, search: Search) -> SlotResults:
    """Return the rows of the table of slots."""
    rows = len(given.kv)
    chosen = search.nearest[0] if len(search.nearest) else np.zeros(len(search.slots), dtype=np.intp)
    options = [slot.options for slot in search.slots]
    return SlotResults(
        name=_repeat([slot.name for slot in search.slots], given.kv),
        option_count=np.tile(np.array([float(len(each)) for each in options]), (rows, 1)),
        present_option=_repeat([each[0] for each in options], given.kv),
        chosen_option=_repeat([each[at] for each, at in zip(options, chosen.tolist(), strict=True)], given.kv),
    )


def make_requirements(given: Any, search: Search) -> RequirementResults:
    """Return the rows of the table of requirements: those that this request has."""
    shares = (given.packs.discharge_rating, given.controller_rating, given.part_options.controller_rating)
    has = [
        True,
        True,
        not np.isnan(given.minimum_endurance).all(),
        not np.isnan(given.minimum_thrust_to_weight).all(),
        not np.isnan(shares[0]).all(),
        not (np.isnan(shares[1]).all() and np.isnan(shares[2]).all()),
        not np.isnan(given.maximum_price).all(),
    ]
    shown = np.flatnonzero(has)
    shape = (len(given.kv), len(shown))
    return RequirementResults(
        requirement=np.broadcast_to(shown, shape),
        meeting_count=np.broadcast_to(search.meeting[shown].astype(np.float64), shape),
        sole_obstacle_count=np.broadcast_to(search.missing_one[shown].astype(np.float64), shape),
    )


def _repeat(names: list[str], like: Array) -> StringArray:
    return np.broadcast_to(np.array([names], dtype=np.str_).reshape(1, len(names)), (len(like), len(names)))
