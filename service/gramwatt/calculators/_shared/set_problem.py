"""A search among sets of options, before it begins: slots, what a set must meet, and which sets are compared."""

from dataclasses import dataclass
from enum import Enum
from typing import Any, Final, NamedTuple

import numpy as np

from gramwatt.blocks import check_limits
from gramwatt.calculators._shared import flights, option_slots, propellers, setup_figures, setups
from gramwatt.calculators._shared.option_slots import Slot
from gramwatt.model import Array, BoolArray, IndexArray
from gramwatt.physics import combinations, constants, craft, statistics, weighing

MAX_ENUMERATED: Final = 1_000_000
"""Combinations up to which every one is compared."""
MAX_COMPARED: Final = 4_000_000
"""Combinations that one request may compare, after those that others beat are left out."""
MAX_AT_ONCE: Final = 400_000
"""Sums of masses and prices that are compared at once."""
REQUIREMENTS: Final = (
    "flight",
    "mass-limit",
    "endurance",
    "thrust-to-weight",
    "pack-rating",
    "controller-rating",
    "price",
)
LIMIT: Final = REQUIREMENTS.index("mass-limit")
PREFERENCES: Final = ("endurance", "thrust-to-weight", "mass-margin", "price")
_MASS_STEP: Final = 12
"""Decimals of a kilogram and of a price beyond which sums differ by rounding."""
_STEP: Final = 1e-4
"""Relative change of mass at which slopes are taken."""


class Assessed(NamedTuple):
    """What sets are compared by; arrays of one shape."""

    mass: Array
    margin: Array
    endurance: Array
    thrust_to_weight: Array
    price: Array
    shortfalls: Array
    """By how much each of `REQUIREMENTS` is missed (R, ...), relative to it; 0 where it is met."""

    @property
    def is_feasible(self) -> BoolArray:
        """Whether all requirements are met."""
        return np.asarray(~self.shortfalls.any(axis=0))

    @property
    def preferences(self) -> Array:
        """Values that should be large, by `PREFERENCES` (4, ...)."""
        return np.stack([self.endurance, self.thrust_to_weight, self.margin, -self.price])


@dataclass(frozen=True, slots=True)
class Problem:
    """The sets of one request: each electrical set with each light one."""

    given: Any
    slots: list[Slot]
    electrical: list[int]
    """Slots whose options change more than the mass."""
    light: list[int]
    """Slots with a choice whose options change the mass alone; hundreds without one would only take memory."""
    sums: combinations.Sums
    """Light sets, by ascending mass: mass, price and variance beyond those of their first options."""
    is_least: BoolArray
    """Which light sets no other one beats."""

    @property
    def electrical_count(self) -> int:
        """Number of electrical sets."""
        return int(np.prod([len(self.slots[at].options) for at in self.electrical], dtype=float))

    def make_sets(self, electrical: IndexArray, light: IndexArray) -> IndexArray:
        """Return the options (M, S) of electrical sets (M,) with light sets (M,)."""
        sets = np.zeros((len(electrical), len(self.slots)), dtype=np.intp)
        counts = [len(self.slots[at].options) for at in self.electrical]
        for at, options in zip(self.electrical, np.unravel_index(electrical, counts), strict=True):
            sets[:, at] = options
        sets[:, self.light] = self.sums.options[light]
        return sets


def count_combinations(slots: list[Slot]) -> float:
    """Return the number of all combinations of options."""
    return float(np.prod([float(len(slot.options)) for slot in slots]))


class NotCompared(Enum):
    """Why the sets of a request cannot be compared."""

    TOO_MANY = "too many sets"
    NOT_RISING = "average power may fall with the mass"
    CONFLICT = "options of two slots change the same input"


def make_problem(given: Any, slots: list[Slot]) -> Problem | NotCompared:
    """Return the problem of a request, or why more sets would have to be compared than one request may.

    Up to `MAX_ENUMERATED` combinations all are compared. Of more, light sets are left out that another one beats: it
    is no heavier, no dearer and no less certain. The same electrical set with that one is at least as good in all that
    is compared, if it flies no shorter for being lighter, which `_is_monotone` proves.
    """
    electrical = [at for at, slot in enumerate(slots) if not slot.is_light]
    light = [at for at, slot in enumerate(slots) if slot.is_light and len(slot.options) > 1]
    costs = [_get_costs(slots[at]) for at in light]
    everything = count_combinations(slots) <= MAX_ENUMERATED
    sums = (
        combinations.add_up(costs, 3)
        if everything
        else combinations.add_up_front(costs, 3, most=MAX_AT_ONCE, check_limits=check_limits)
    )
    if sums is None:
        return NotCompared.TOO_MANY
    sums = combinations.Sums(np.round(sums.costs, _MASS_STEP), sums.options)
    order = np.argsort(sums.costs[:, 0], kind="stable")
    sums = combinations.Sums(sums.costs[order], sums.options[order])
    is_least = np.zeros(len(order), dtype=np.bool_)
    is_least[combinations.find_front(sums.costs, check_limits)] = True
    problem = Problem(given, slots, electrical, light, sums, is_least)
    if everything:
        return problem
    if problem.electrical_count * len(order) > MAX_COMPARED:
        return NotCompared.TOO_MANY
    return problem if _is_monotone(problem, costs) else NotCompared.NOT_RISING


def _get_costs(slot: Slot) -> Array:
    """Return mass, price and variance (K, 3) of the options beyond those of the first."""
    costs = np.stack([slot.mass[0], slot.price[0], slot.variance[0]], axis=1)
    return np.asarray(costs - costs[0])


def _is_monotone(problem: Problem, costs: list[Array]) -> bool:
    """Return whether each electrical set flies no longer for being heavier, over all masses that it can have.

    Average power goes with mass^x times the ratio of the hover power P of this set to that of the present motors and
    propellers on the same pack. P is a sum of powers of the mass, so the slope of ln P over ln m rises with m. If x
    plus the slope of this set at its lowest mass is not below the slope of the present ones at the largest mass,
    average power rises all the way.
    """
    given = problem.given
    if not given.flights.mass.shape[1] and np.isnan(given.mean_power).all():
        return True  # average power is a multiple of the hover power, which rises with the mass
    flown = bool(given.flights.mass.shape[1])
    exponent = flights.fit_power(given).law.exponent if flown else given.mass_exponent
    sets = problem.make_sets(np.arange(problem.electrical_count), np.zeros(problem.electrical_count, dtype=np.intp))
    chosen = option_slots.choose(given, problem.slots, sets)
    base = setups.weigh(given, chosen)[0] - problem.sums.costs[0, 0]
    lightest = base + sum(each[:, 0].min() for each in costs)
    heaviest = float((base + sum(each[:, 0].max() for each in costs)).max())
    source, present = setups.get_source(given, chosen), propellers.drive_of(given, np.zeros_like(chosen.propeller))
    own = _get_slope(chosen.drive, source, lightest * (1 - _STEP))
    other = _get_slope(present, source, np.array([[heaviest]]))
    return bool((exponent[:, None] + own >= other).all())


def _get_slope(drive: craft.Drive, source: dict[str, Array], mass: Array) -> Array:
    """Return the slope of ln P over ln m from a mass (N, M) to one a little above."""
    pair = [
        craft.demand_at_speed(drive, craft.hover_speed(drive, each), **source).power
        for each in (mass, mass * (1 + _STEP))
    ]
    return np.asarray(np.log(pair[1] / pair[0]) / np.log1p(_STEP))


class Compared(NamedTuple):
    """The figures that sets are assessed by; arrays of one shape."""

    mass: Array
    margin: Array
    variance: Array
    """Of the mass [kg²]."""
    endurance: Array
    """Nan where a set does not fly."""
    thrust: Array
    """At the throttle cap [N]."""
    discharge_rating_share: Array
    controller_rating_share: Array


def compare(figures: setup_figures.Figures, shape: tuple[int, ...]) -> Compared:
    """Return the figures of sets (1, M) in another shape, without the first set."""
    full, capped = figures.throttle.full, figures.throttle.capped
    flies = ~np.isnan(full.thrust * capped.thrust * figures.hover_power)
    values = (
        figures.mass,
        figures.compared.margin,
        (figures.compared.expanded_uncertainty / weighing.COVERAGE_FACTOR) ** 2,
        np.where(flies, figures.discharge.duration, np.nan),
        capped.thrust,
        figures.discharge_rating_share,
        figures.controller_rating_share,
    )
    size = figures.mass.shape
    return Compared(*(np.broadcast_to(each, size)[0, 1:].reshape(shape) for each in values))


def assess(given: Any, found: Compared, price: Array) -> Assessed:
    """Assess sets by their figures and their prices, arrays of one shape."""
    limit = weighing.limit_in_force(given.rule, given.mass_limit, given.limit_comparison)
    factor = np.where(
        np.isnan(given.minimum_probability),
        weighing.COVERAGE_FACTOR,
        statistics.normal_quantile(given.minimum_probability),
    )
    thrust_to_weight = found.thrust / (found.mass * constants.STANDARD_GRAVITY)
    needed = factor * np.sqrt(np.maximum(found.variance, 0.0)) - found.margin
    is_over = (needed > 1e-12 * limit[0]) | (~limit[1] & (found.margin <= 0))
    shortfalls = [
        np.where(np.isnan(found.endurance), np.inf, 0.0),
        np.where(is_over, np.maximum(needed, 1e-12) / limit[0], 0.0),
        _fall_short(found.endurance, given.minimum_endurance),
        _fall_short(thrust_to_weight, given.minimum_thrust_to_weight),
        np.fmax(found.discharge_rating_share - given.maximum_rating_share, 0.0),
        np.fmax(found.controller_rating_share - given.maximum_rating_share, 0.0),
        np.fmax(price / given.maximum_price - 1, 0.0),
    ]
    return Assessed(
        found.mass,
        found.margin,
        found.endurance,
        thrust_to_weight,
        price,
        np.stack(np.broadcast_arrays(*shortfalls)),
    )


def _fall_short(values: Array, minimum: Array) -> Array:
    """Return by how much values are below a minimum, relative to it; 0 without a minimum, 1 without a value."""
    return np.where(np.isnan(minimum), 0.0, np.fmax(1 - np.where(np.isnan(values), 0.0, values) / minimum, 0.0))
