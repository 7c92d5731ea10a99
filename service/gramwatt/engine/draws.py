"""Fixed draws of independent random numbers, the same in every request, so that a response never changes by chance.

A design of n draws takes each of n equally likely strata of every input once (a Latin hypercube), in an order that is
not correlated with that of any other input. The inputs that are often uncertain have an orthogonal array: every pair of
them fills its square evenly. A name has the same draws in every calculator, so that the same craft gets the same range
everywhere.

References
----------
JCGM 101:2008, 6.4: sampling from distributions. McKay, Beckman & Conover 1979, Technometrics 21, 239: Latin hypercube.
Tang 1993, JASA 88, 1392: from orthogonal arrays. Iman & Conover 1982, Communications in Statistics B 11, 311: control
of correlations.
"""

from __future__ import annotations

import functools
import math
import zlib
from statistics import NormalDist
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from gramwatt.engine import registry
from gramwatt.engine.draw_order import NAMES
from gramwatt.model import AnyCalculator, Deviate, get_fields

DRAWS: Final = 43**2
"""Draws of a single request; as for all, the square of a prime, for an orthogonal array."""
FEW_DRAWS: Final = 11**2
"""Draws of each row of a table of requests, and of a recording, where one evaluation costs much more."""
FEWEST_DRAWS: Final = 7**2
MANY_SAMPLES: Final = 20_000
"""Samples of the recordings of a request from which it is drawn so few times: each draw goes through all of them."""
MAX_DRAWN_ENTRIES: Final = 100_000
"""Entries of lists and tables, times draws, above which a request is drawn `FEW_DRAWS` times."""
MAX_UNCORRELATED: Final = 200
"""Inputs above which correlations are left to chance: of so many each counts little, and it would take seconds."""
_SEED: Final = 2
"""The seed of named inputs, chosen from the first six: its ranges come closest to those of simulations."""

Floats: TypeAlias = NDArray[np.float64]
Strata: TypeAlias = NDArray[np.intp]


@functools.cache
def make_quantiles(count: int) -> tuple[Floats, Floats]:
    """Return the middles of ``count`` equally likely strata (n,), and the normal deviates there, of variance 1."""
    strata = (np.arange(count) + 0.5) / count
    normal = np.array([NormalDist().inv_cdf(each) for each in strata.tolist()])
    normal /= np.sqrt((normal**2).mean())
    strata.flags.writeable = normal.flags.writeable = False
    return strata, normal


def get_strata(name: str, count: int) -> Strata:
    """Return the stratum of each of ``count`` draws (n,) of a named input."""
    position = _get_positions().get(name)
    if position is None:
        design, position = get_entry_strata(name, 1, count), 0
    else:
        design = _design_names(count)
    strata: Strata = design[position]
    return strata


@functools.lru_cache(maxsize=64)
def get_entry_strata(name: str, entries: int, count: int) -> Strata:
    """Return the strata (M, n) of a named column of a list or a table with M ``entries``, each independent.

    The first entry of a list or a column has those of the input or column of its name.
    """
    strata = _permute(np.zeros((entries, count)), zlib.crc32(name.encode()))
    column = name.rpartition("/")[2]
    if entries and column in _get_positions():
        strata[0] = get_strata(column, count)
    return _uncorrelate(strata)


@functools.cache
def _design_names(count: int) -> Strata:
    """Return the strata (L, n) of all named inputs, in the order of their positions.

    Those of an input depend on the inputs before it alone, so a new one, which comes last, changes no other range.
    """
    side = math.isqrt(count)
    row, column = np.divmod(np.arange(count), side)
    levels = np.zeros((len(_get_positions()), count))
    array = np.array([row, column, *((row + step * column) % side for step in range(1, side))])
    levels[: side + 1] = array[: len(levels)]
    strata = _permute(levels, _SEED)
    first = MAX_UNCORRELATED - 1 if 0.9 * count > MAX_UNCORRELATED else 0
    strata[:first] = _uncorrelate(strata[:first])
    strata.flags.writeable = False
    return strata


def _permute(levels: Floats, seed: int) -> Strata:
    """Return strata (L, n) in the order of levels (L, n) that are permuted at random, and at random within each."""
    # The legacy generator, because NumPy promises that its numbers never change.
    random = np.random.RandomState(seed)
    keys = [
        random.permutation(int(each.max()) + 1)[each.astype(np.intp)] + random.random_sample(len(each))
        for each in levels
    ]
    return np.array(keys).reshape(levels.shape).argsort(axis=1, kind="stable").argsort(axis=1, kind="stable")


def _uncorrelate(strata: Strata) -> Strata:
    """Return strata (L, n), of which the first stays, changed so that none is correlated with another."""
    inputs, count = strata.shape
    _, normal = make_quantiles(count)
    for _ in range(2 if inputs < min(0.9 * count, MAX_UNCORRELATED) else 0):  # twice, as ranks leave a little
        scores = normal[strata]
        uncorrelated = np.linalg.solve(np.linalg.cholesky(scores @ scores.T / count), scores)
        strata = uncorrelated.argsort(axis=1, kind="stable").argsort(axis=1, kind="stable")
    strata.flags.writeable = False
    return strata


def name_display(name: str) -> str:
    """Return the name of the draws of the display that an input is read from."""
    return f"{name} display"


@functools.cache
def _get_positions() -> dict[str, int]:
    """Return the place in the design of each quantity among the inputs of all calculators."""
    return {name: position for position, name in enumerate(order_names())}


def order_names() -> list[str]:
    """Return the names in their order: as they were, then new ones, first those uncertain by declaration."""
    uncertain: set[str] = set()
    others: set[str] = set()
    for calculator in registry.load().values():
        uncertain |= _list_uncertain_names(calculator)
        for name, kind in calculator.input_fields.items():
            fields = kind.columns or {name: kind}
            quantities = {column: inner.quantity for column, inner in fields.items() if inner.quantity is not None}
            others |= quantities.keys()
            others |= {name_display(column) for column, quantity in quantities.items() if quantity.display is not None}
    return list(dict.fromkeys([*NAMES, *sorted(uncertain), *sorted(others)]))


def _list_uncertain_names(calculator: AnyCalculator) -> set[str]:
    names = {assumption.shared_draw for assumption in calculator.assumptions if assumption.is_uncertain}
    for name, kind in get_fields(calculator.inputs).items():
        if isinstance(kind, Deviate) or (kind.quantity is not None and kind.quantity.has_uncertain_default):
            names.add(name)
    return names
