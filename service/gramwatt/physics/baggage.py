"""Lithium-ion packs in the baggage of air passengers: limits of energy, and allowances of spares."""

from typing import Annotated, Final, NamedTuple

import numpy as np

from gramwatt.arrays import Array, IndexArray, Unit
from gramwatt.physics import constants

CARRY_ON_ENERGY: Final[Annotated[float, Unit("J")]] = 100 * constants.WATT_HOUR
"""49 CFR 175.10(a)(18): the most that a battery may hold."""

APPROVAL_ENERGY: Final[Annotated[float, Unit("J")]] = 160 * constants.WATT_HOUR
"""The same with the approval of the airline. From memory."""

CATEGORIES: Final = ("carry-on", "airline-approval", "not-in-baggage")
CARRY_ON, APPROVAL, NOT_IN_BAGGAGE = range(3)

SPARES: Final = 20
"""Spare batteries of a passenger that need no approval by their number: IATA Dangerous Goods Regulations, 2.3.5, from
memory."""

APPROVED_SPARES: Final = 2
"""Spare batteries of a passenger above `CARRY_ON_ENERGY`. From memory."""

VERDICTS: Final = ("carry-on", "airline-approval", "leave-some")


def classify(energy: Array) -> IndexArray:
    """Return how packs of a label energy (any shape) [J] may travel, as indices into `CATEGORIES`."""
    tolerance = 1 + 1e-12  # exactly 100 Wh is still carry-on, whatever the last bit of the product
    above = (energy > CARRY_ON_ENERGY * tolerance).astype(np.intp)
    return np.asarray(above + (energy > APPROVAL_ENERGY * tolerance))


class Allowance(NamedTuple):
    """Packs of N groups of passengers; arrays (N,)."""

    approval: Array
    """Packs that the airline must approve for their energy."""
    excluded: Array
    """Packs that no baggage may hold."""
    spares: Array
    """Spares that may travel, those over the allowance of the airline left out."""
    over: Array
    """Spares that need approval, over the allowance of these."""
    verdict: IndexArray
    """Index into `VERDICTS`."""


def count_packs(category: IndexArray, count: Array, installed: Array, *, spares: Array, approved: Array) -> Allowance:
    """Count the packs of a journey by what they need.

    Parameters
    ----------
    category : (N, M)
        Indices into `CATEGORIES`.
    count, installed : (N, M)
        Packs of a kind, and how many of these are in devices; more than there are count as all.
    spares, approved : (N,)
        Spares that need no approval by their number, and spares that may be approved, of all passengers together.
    """
    spare = count - np.minimum(installed, count)
    needs, is_out = category == APPROVAL, category == NOT_IN_BAGGAGE
    over = np.maximum((spare * needs).sum(axis=1) - approved, 0.0)
    excluded = (count * is_out).sum(axis=1)
    approval = (count * needs).sum(axis=1)
    travelling = (spare * ~is_out).sum(axis=1) - over
    asks = (approval > 0) | (travelling > spares)
    return Allowance(
        approval=approval,
        excluded=excluded,
        spares=travelling,
        over=over,
        verdict=np.where(excluded + over > 0, 2, asks.astype(np.intp)),
    )
