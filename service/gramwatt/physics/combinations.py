"""Combinations of options: those that no other one beats, among points and among sums of one option from each slot."""

from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gramwatt.arrays import Array, BoolArray, IndexArray

CHUNK: Final = 1024
"""Points that are compared with the front at once."""


def _never_stop() -> None:
    """Set no limit."""


def find_front(points: Array, check_limits: Callable[[], None] = _never_stop) -> IndexArray:
    """Return the rows that no other row beats: none is as low in every column and lower in one.

    Parameters
    ----------
    points : (N, D)
        Values that should be low; not nan.
    check_limits
        Called between chunks: raises where the work should not go on.

    Returns
    -------
    (F,)
        Ascending row numbers; of equal rows the first.

    Notes
    -----
    In lexicographic order a row can be beaten by earlier rows alone. In two columns these beat it if their least second
    value does. In more, each chunk of rows is compared with the front so far, then with itself.
    """
    varies = np.ptp(points, axis=0) > 0 if len(points) else np.zeros(points.shape[1], dtype=np.bool_)
    if not varies.any():
        return np.arange(min(len(points), 1))
    values = points[:, varies]
    order = np.lexsort(values.T[::-1])
    values = values[order]
    if values.shape[1] == 1:
        return order[:1]
    if values.shape[1] == 2:
        least = np.minimum.accumulate(values[:, 1])
        return np.sort(order[np.concatenate([[True], values[1:, 1] < least[:-1]])])
    front = np.empty((0, values.shape[1]))
    rows: list[IndexArray] = []
    for start in range(0, len(values), CHUNK):
        check_limits()
        chunk = values[start : start + CHUNK]
        alive = np.flatnonzero(~_is_covered(chunk, front, check_limits))
        chunk = chunk[alive]
        covers = (chunk[:, None, :] <= chunk[None, :, :]).all(axis=2)
        is_free = ~np.triu(covers, 1).any(axis=0)  # an earlier row that is nowhere higher beats it or equals it
        front = np.concatenate([front, chunk[is_free]])
        rows.append(order[start + alive[is_free]])
    return np.sort(np.concatenate(rows))


def _is_covered(chunk: Array, front: Array, check_limits: Callable[[], None]) -> BoolArray:
    """Return which rows (N,) of a chunk have a row of the front that is nowhere higher."""
    covered: BoolArray = np.zeros(len(chunk), dtype=np.bool_)
    for start in range(0, len(front), CHUNK):
        check_limits()
        part = front[start : start + CHUNK]
        left = np.flatnonzero(~covered)
        covered[left] = (part[:, None, :] <= chunk[None, left, :]).all(axis=2).any(axis=0)
    return covered


class Sums(NamedTuple):
    """Sums of one option from each slot."""

    costs: Array
    """(F, D)"""
    options: NDArray[np.int16]
    """The option (F, S) of each slot."""


def add_up(costs: Sequence[Array], columns: int) -> Sums:
    """Return the sums of all combinations, the last slot varying fastest.

    Parameters
    ----------
    costs : S arrays (n, D)
        Costs of the options of each slot.
    columns
        D.
    """
    sums = np.zeros((1, columns))
    for each in costs:
        sums = _add(sums, each)
    counts = [len(each) for each in costs]
    return Sums(sums, np.indices(counts, dtype=np.int16).reshape(len(counts), len(sums)).T)


def add_up_front(
    costs: Sequence[Array], columns: int, *, most: int, check_limits: Callable[[], None] = _never_stop
) -> Sums | None:
    """Return the sums that no other combination beats; None where more than ``most`` had to be compared at once.

    A sum that is beaten stays beaten, whatever is added to both. So each slot is added to the front of those before it,
    and what that leaves out cannot be part of any combination that is not beaten.
    """
    sums, options = np.zeros((1, columns)), np.zeros((1, len(costs)), dtype=np.int16)
    for each in sorted(range(len(costs)), key=lambda slot: len(costs[slot])):
        count = len(costs[each])
        if len(sums) * count > most:
            return None
        check_limits()
        sums = _add(sums, costs[each])
        front = find_front(sums, check_limits)
        sums, options = sums[front], options[front // count]
        options[:, each] = front % count
    return Sums(sums, options)


def _add(sums: Array, costs: Array) -> Array:
    """Return all sums (F, D) with the costs (n, D) of one more slot, which varies fastest."""
    return np.asarray((sums[:, None, :] + costs[None, :, :]).reshape(-1, costs.shape[1]))
