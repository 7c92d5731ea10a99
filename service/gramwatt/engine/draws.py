"""Fixed draws of independent random numbers, the same in every request, so that a response never changes by chance.

A design of n draws takes each of n equally likely strata of every input once (a Latin hypercube), in an order that is
random but not correlated with that of any other input. A name has the same draws in every calculator: the same craft
gets the same range everywhere.

References
----------
JCGM 101:2008, 6.4: sampling from distributions. McKay, Beckman & Conover 1979, Technometrics 21, 239: Latin hypercube.
Iman & Conover 1982, Communications in Statistics B 11, 311: control of its correlations.
"""

from __future__ import annotations

import functools
import zlib
from statistics import NormalDist
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from gramwatt.engine import registry
from gramwatt.model import AnyCalculator, Deviate, get_fields

DRAWS: Final = 1000
"""Draws of a single request."""
FEW_DRAWS: Final = 100
"""Draws of each row of a table of requests, and of a recording, where one evaluation costs much more."""

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
        design = _make_design(",".join(_get_positions()), len(_get_positions()), count)
    strata: Strata = design[position]
    return strata


def get_entry_strata(name: str, entries: int, count: int) -> Strata:
    """Return the strata (M, n) of a named column of a list or a table with M ``entries``, each independent.

    The first entry of a column has those of a plain input of its name.
    """
    column = name.rpartition("/")[2]
    return _make_design(name, entries, count, column if column != name and column in _get_positions() else "")


@functools.lru_cache(maxsize=64)
def _make_design(seed: str, inputs: int, count: int, first: str = "") -> Strata:
    """Return strata (L, n) for L inputs; the ``seed`` chooses the order, but of the ``first`` if that is named."""
    # The legacy generator, because NumPy promises that its numbers never change.
    random = np.random.RandomState(zlib.crc32(seed.encode()))
    strata = random.random_sample((inputs, count)).argsort(axis=1, kind="stable")
    if first and inputs:
        strata[0] = get_strata(first, count)
    _, normal = make_quantiles(count)
    for _ in range(2 if inputs < 0.9 * count else 0):  # the second time for what the ranks of the first have left
        scores = normal[strata]
        uncorrelated = np.linalg.solve(np.linalg.cholesky(scores @ scores.T / count), scores)
        strata = uncorrelated.argsort(axis=1, kind="stable").argsort(axis=1, kind="stable")
    strata.flags.writeable = False
    return strata


@functools.cache
def _get_positions() -> dict[str, int]:
    """Return the place in the design of each quantity among the inputs of all calculators."""
    names: set[str] = set()
    for calculator in registry.load().values():
        names |= _list_names(calculator)
    return {name: position for position, name in enumerate(sorted(names))}


def _list_names(calculator: AnyCalculator) -> set[str]:
    names = {assumption.shared_draw for assumption in calculator.assumptions if assumption.is_uncertain}
    for name, kind in get_fields(calculator.inputs).items():
        if kind.quantity is not None or isinstance(kind, Deviate):
            names.add(name)
        names |= {column for column, inner in kind.columns.items() if inner.quantity is not None}
    return names
