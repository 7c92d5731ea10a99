"""The search among sets of options: the best ones, the Pareto front, and the swaps that get under the mass limit."""

import functools
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any, Final, NamedTuple

import numpy as np

from gramwatt.blocks import check_limits, map_blocks
from gramwatt.calculators._shared import option_slots, set_problem, setup_figures
from gramwatt.calculators._shared.set_problem import LIMIT, REQUIREMENTS, Assessed, NotCompared, Problem
from gramwatt.model import Array, BoolArray, IndexArray, ObjectArray
from gramwatt.physics import combinations

BLOCK: Final = 32_768
"""Sets that are compared at once."""
MAX_FRONT: Final = 100
"""Sets of the front that are listed."""


class Sets(NamedTuple):
    """Some sets of a problem, with what they are ordered by."""

    keys: Array
    """Values that should be low (M, D)."""
    electrical: IndexArray
    light: IndexArray


class Block(NamedTuple):
    """What the search needs of the sets of one block."""

    best: Sets
    """The best feasible sets, in order."""
    front: Sets
    nearest: Sets
    """The one set whose largest shortfall is the smallest."""
    meeting: IndexArray
    """How many sets meet each requirement (R,), and all."""
    missing_one: IndexArray
    """How many sets meet all but this requirement (R,)."""


@dataclass(frozen=True, slots=True)
class Search:
    """What was found for one request; sets are rows of options (M, S)."""

    not_compared: NotCompared | None
    """Why nothing was compared."""
    slots: list[option_slots.Slot]
    combinations: float
    compared: float
    meeting: IndexArray
    missing_one: IndexArray
    best: IndexArray
    front: IndexArray
    front_size: int
    ways: IndexArray
    ways_are_feasible: BoolArray
    """Which of these (M,) meet all other requirements too."""
    nearest: IndexArray
    """(1, S): the best set, or the one whose largest shortfall is the smallest."""
    shortfalls: Array
    """Of that set (R,)."""
    present: Assessed
    """Of the present set, arrays (1,) and (R, 1)."""

    @property
    def feasible(self) -> int:
        """How many of the compared sets meet all requirements."""
        return int(self.meeting[-1])


def compare_block(problem: Problem, count: int, block: tuple[int, int, int, int]) -> Block:
    """Compare the electrical sets from a to b with the light sets from c to d; keep the ``count`` best."""
    start, stop, first, last = block
    costs = problem.sums.costs[first:last]
    masses, place = np.unique(costs[:, 0], return_inverse=True)
    sets = problem.make_sets(np.arange(start, stop), np.zeros(stop - start, dtype=np.intp))
    sets[:, problem.light] = 0
    given, shape = problem.given, (stop - start, len(masses))
    chosen = option_slots.choose(given, problem.slots, _with_present(np.repeat(sets, len(masses), axis=0)))
    added = np.concatenate([[0.0], np.tile(masses, stop - start)])
    figures = setup_figures.find_figures(given, chosen._replace(added_mass=chosen.added_mass + added))
    found = set_problem.compare(figures, shape)
    if len(masses) < len(place):
        found = set_problem.Compared(*(each[:, place] for each in found))
    found = found._replace(variance=found.variance + costs[:, 2])
    price = option_slots.add_columns(problem.slots, sets, "price")[0][:, None] + costs[:, 1]
    return _find_block(set_problem.assess(given, found, price), problem, count, (start, first))


def _with_present(sets: IndexArray) -> IndexArray:
    """Return sets after the present one, whose average power may be the one that was given."""
    return np.concatenate([np.zeros((1, sets.shape[1]), dtype=np.intp), sets])


def _find_block(found: Assessed, problem: Problem, count: int, start: tuple[int, int]) -> Block:
    missed = found.shortfalls > 0
    is_feasible: BoolArray = np.asarray(~missed.any(axis=0))
    worst = found.shortfalls.max(axis=0)
    ties = (-found.endurance, found.mass, found.price)
    preferred = -found.preferences[int(problem.given.preference[0])]
    is_candidate = is_feasible & problem.is_least[start[1] : start[1] + found.mass.shape[1]]
    keys = np.moveaxis(-found.preferences, 0, -1)
    return Block(
        _take(*_get_best(is_feasible, (preferred, *ties), count), start),
        _take(*_get_front(is_candidate, keys), start),
        _take(*_get_best(np.ones_like(is_feasible), (worst, preferred, *ties), 1), start),
        np.array([*(~missed).sum(axis=(1, 2)), is_feasible.sum()]),
        (missed & (missed.sum(axis=0) == 1)).sum(axis=(1, 2)),
    )


def _get_best(is_possible: BoolArray, keys: tuple[Array, ...], count: int) -> tuple[Array, tuple[IndexArray, ...]]:
    """Return the keys (M, D) of the ``count`` lowest possible sets by the keys (E, L), and their places."""
    at = np.flatnonzero(is_possible)
    first = np.nan_to_num(keys[0].ravel()[at], nan=np.inf)
    if len(at) > count:
        at = at[first <= np.partition(first, count - 1)[count - 1]]
    values = np.nan_to_num(np.stack([key.ravel()[at] for key in keys], axis=1), nan=np.inf)
    order = np.lexsort(values.T[::-1])[:count]
    return values[order], np.unravel_index(at[order], is_possible.shape)


def _get_front(is_candidate: BoolArray, keys: Array) -> tuple[Array, tuple[IndexArray, ...]]:
    places = np.nonzero(is_candidate)
    values = keys[places]
    front = combinations.find_front(values, check_limits)
    return values[front], tuple(each[front] for each in places)


def _take(keys: Array, places: tuple[IndexArray, ...], start: tuple[int, int]) -> Sets:
    return Sets(keys, places[0] + start[0], places[1] + start[1])


def _merge(count: int, one: Block, other: Block) -> Block:
    best, front, nearest = (_join(*pair) for pair in zip(one[:3], other[:3], strict=True))
    return Block(
        _pick(best, sort_sets(best)[:count]),
        _pick(front, combinations.find_front(front.keys, check_limits)),
        _pick(nearest, sort_sets(nearest)[:1]),
        one.meeting + other.meeting,
        one.missing_one + other.missing_one,
    )


def _join(one: Sets, other: Sets) -> Sets:
    return Sets(
        np.concatenate([one.keys, other.keys]),
        np.concatenate([one.electrical, other.electrical]),
        np.concatenate([one.light, other.light]),
    )


def sort_sets(sets: Sets) -> IndexArray:
    """Return the rows of sets in order: by their keys, then as the options come."""
    return np.lexsort((sets.light, sets.electrical, *sets.keys.T[::-1]))


def _pick(sets: Sets, rows: IndexArray) -> Sets:
    return Sets(sets.keys[rows], sets.electrical[rows], sets.light[rows])


def list_blocks(problem: Problem) -> Iterator[tuple[int, int, int, int]]:
    """Yield ranges of electrical and light sets, at most `BLOCK` sets each."""
    light = len(problem.sums.costs)
    height = max(1, BLOCK // light)
    for start in range(0, problem.electrical_count, height):
        for first in range(0, light, BLOCK):
            yield start, min(start + height, problem.electrical_count), first, min(first + BLOCK, light)


def find_sets(given: Any) -> Search:
    """Search the sets of options of one request; ``given`` are its complete inputs, N = 1."""
    slots = option_slots.list_slots(given)
    present = assess_sets(given, slots, np.zeros((1, len(slots)), dtype=np.intp))
    if option_slots.find_conflicts(slots):
        return _give_up(slots, present, NotCompared.CONFLICT)
    problem = set_problem.make_problem(given, slots)
    if isinstance(problem, NotCompared):
        return _give_up(slots, present, problem)
    count = int(given.ranking_size[0])
    found = functools.reduce(
        partial(_merge, count), map_blocks(partial(compare_block, problem, count), list_blocks(problem))
    )
    best = problem.make_sets(found.best.electrical, found.best.light)
    front = _pick(found.front, sort_sets(found.front._replace(keys=_order_keys(given, found.front.keys)))[:MAX_FRONT])
    nearest = best[:1] if len(best) else problem.make_sets(found.nearest.electrical, found.nearest.light)
    ways = _find_ways(given, slots, present, count)
    return Search(
        not_compared=None,
        slots=slots,
        combinations=set_problem.count_combinations(slots),
        compared=float(problem.electrical_count * len(problem.sums.costs)),
        meeting=found.meeting,
        missing_one=found.missing_one,
        best=best,
        front=problem.make_sets(front.electrical, front.light),
        front_size=len(found.front.light),
        ways=ways,
        ways_are_feasible=assess_sets(given, slots, ways).is_feasible,
        nearest=nearest,
        shortfalls=assess_sets(given, slots, nearest).shortfalls[:, 0],
        present=present,
    )


def _give_up(slots: list[option_slots.Slot], present: Assessed, reason: NotCompared) -> Search:
    """Return what is known where nothing was compared."""
    no_sets, nothing = np.zeros((0, len(slots)), dtype=np.intp), np.zeros(len(REQUIREMENTS) + 1, dtype=np.intp)
    return Search(
        not_compared=reason,
        slots=slots,
        combinations=set_problem.count_combinations(slots),
        compared=0.0,
        meeting=nothing,
        missing_one=nothing[1:],
        best=no_sets,
        front=no_sets,
        front_size=0,
        ways=no_sets,
        ways_are_feasible=np.zeros(0, dtype=np.bool_),
        nearest=no_sets,
        shortfalls=np.full(len(REQUIREMENTS), np.nan),
        present=present,
    )


def _order_keys(given: Any, keys: Array) -> Array:
    """Return keys (M, D) with that of what is preferred first."""
    preferred = int(given.preference[0])
    return keys[:, [preferred, *(at for at in range(keys.shape[1]) if at != preferred)]]


def assess_sets(given: Any, slots: list[option_slots.Slot], sets: IndexArray) -> Assessed:
    """Assess sets (M, S)."""
    figures = setup_figures.find_figures(given, option_slots.choose(given, slots, _with_present(sets)))
    price = option_slots.add_columns(slots, sets, "price")[0]
    return set_problem.assess(given, set_problem.compare(figures, (len(sets),)), price)


def _find_ways(given: Any, slots: list[option_slots.Slot], present: Assessed, count: int) -> IndexArray:
    """Return the sets (M, S) of one or two swaps that bring the present one under the limit.

    Pairs count only if neither swap alone is enough. First those that meet all requirements, by preference.
    """
    nothing = np.zeros((0, len(slots)), dtype=np.intp)
    if not present.shortfalls[LIMIT, 0]:
        return nothing
    singles = [(at, option) for at, slot in enumerate(slots) for option in range(1, len(slot.options))]
    if not singles:
        return nothing
    sets = np.zeros((len(singles), len(slots)), dtype=np.intp)
    sets[np.arange(len(singles)), [at for at, _ in singles]] = [option for _, option in singles]
    one, ways = _rank_ways(given, slots, sets)
    owner = np.array([at for at, _ in singles])
    left = np.flatnonzero(~one)
    first, second = (left[each] for each in np.triu_indices(len(left), 1))
    apart = owner[first] != owner[second]
    first, second = first[apart], second[apart]
    found = []
    for start in range(0, len(first) if len(ways) < count else 0, BLOCK // 4):
        check_limits()
        block = slice(start, start + BLOCK // 4)
        found.append(_rank_ways(given, slots, sets[first[block]] + sets[second[block]])[1][:count])
    if found:
        ways = np.concatenate([ways, _rank_ways(given, slots, np.concatenate(found))[1]])
    return ways[:count]


def _rank_ways(given: Any, slots: list[option_slots.Slot], sets: IndexArray) -> tuple[BoolArray, IndexArray]:
    """Return which of some sets are under the limit and fly, and these in order."""
    found = assess_sets(given, slots, sets)
    is_way: BoolArray = np.asarray(~found.shortfalls[: LIMIT + 1].any(axis=0))
    at = np.flatnonzero(is_way)
    preferred = -found.preferences[int(given.preference[0])][at]
    order = np.lexsort((found.price[at], found.mass[at], -found.endurance[at], preferred, ~found.is_feasible[at]))
    return is_way, sets[at[order]]


def search(given: Any) -> ObjectArray:
    """Return the `Search` of each request (N,), all of which have the same inputs."""
    found = np.empty(len(given.kv), dtype=np.object_)
    found[:] = [find_sets(given)] * len(found)
    return found
