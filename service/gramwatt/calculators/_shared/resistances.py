"""Resistance of packs as inputs: measured, assumed from the capacity, or in proportion to that of another pack."""

from typing import Annotated, Any, Final, NamedTuple, TypeAlias

import numpy as np

from gramwatt.calculators._shared.cautions import RESISTANCE_TEXT
from gramwatt.calculators._shared.pack_fields import optional_quantity
from gramwatt.model import Array, BoolArray, Group, Quantity
from gramwatt.physics import cells

FOLLOWING: Final = f"{RESISTANCE_TEXT}; in proportion to a resistance that is given for another pack"
SAME_CAPACITY: Final = 0.05
"""Packs of as many cells whose capacities differ by less are taken as the same."""

ReferenceCellResistance: TypeAlias = Annotated[
    Array,
    Quantity(
        "mohm",
        "Resistance of one series position of the pack of the measured flight, at 25 °C.",
        group=Group.FINE_TUNING,
        at_least=0,
        at_most=1e4,
        optional=True,
    ),
]
ReferenceLeadResistance: TypeAlias = Annotated[
    Array,
    Quantity(
        "mohm",
        "Resistance of leads and connectors of the measured flight, both ways.",
        group=Group.FINE_TUNING,
        at_least=0,
        at_most=1e4,
        default=0,
    ),
]
ReferencePackResistance: TypeAlias = Annotated[
    Array,
    optional_quantity(
        "mohm",
        "Measured resistance of the whole pack of the measured flight, with its leads.",
        group=Group.FINE_TUNING,
        at_most=1e5,
        replaces=("reference_cell_resistance", "reference_lead_resistance"),
    ),
]


class Packs(NamedTuple):
    """M packs of each of N requests; arrays (N, M), nan where not given."""

    cells: Array
    capacity: Array
    cell_resistance: Array
    lead_resistance: Array
    pack_resistance: Array

    @property
    def per_cell(self) -> Array:
        """Resistance (N, M) [ohm] of one series position with its share of the leads; nan where none is given."""
        from_cells = self.cell_resistance + self.lead_resistance / self.cells
        return np.where(np.isnan(self.pack_resistance), from_cells, self.pack_resistance / self.cells)


def packs_of(given: Any, prefix: str = "") -> Packs:
    """Return the packs of a table, or one pack from inputs (N,) whose names may have a prefix."""
    columns = (getattr(given, f"{prefix}{name}") for name in Packs._fields)
    return Packs(*(values if values.ndim > 1 else values[:, None] for values in columns))


class _Nearest(NamedTuple):
    """For packs (N, M): resistance times capacity [ohm A s] of another pack; whether there is one, and is the same."""

    product: Array
    is_known: BoolArray
    is_same: BoolArray


def _find_nearest(packs: Packs, others: Packs) -> _Nearest:
    """Find for each pack the first of the other ones with a resistance, the same pack first."""
    products = (others.per_cell * others.capacity)[:, None, :]
    if not products.size:
        nothing = np.zeros(packs.cells.shape, dtype=np.bool_)
        return _Nearest(np.full(packs.cells.shape, np.nan), nothing, nothing)
    ratio = packs.capacity[:, :, None] / others.capacity[:, None, :]
    is_same = (packs.cells[:, :, None] == others.cells[:, None, :]) & (np.abs(ratio - 1) < SAME_CAPACITY)
    rank = ~np.isnan(products) * (1 + is_same)
    best = rank.argmax(axis=2)[:, :, None]
    product = np.take_along_axis(np.broadcast_to(products, rank.shape), best, axis=2)[:, :, 0]
    best_rank = rank.max(axis=2)
    return _Nearest(product, best_rank > 0, best_rank > 1)


def assume_cell_resistance(packs: Packs, others: Packs) -> Array:
    """Assume cell resistances (N, M) [ohm] in proportion to those of other packs, else the typical ones.

    Nan where the resistance of the whole pack is given.
    """
    nearest = _find_nearest(packs, others)
    product = np.where(nearest.is_known, nearest.product, cells.RESISTANCE_TIMES_CHARGE)
    return np.where(np.isnan(packs.pack_resistance), product / packs.capacity, np.nan)


def get_factor(packs: Packs, others: Packs) -> Array:
    """Return the factor (N, M) to which assumed cell resistances are known; 1 of the same pack as another one."""
    return np.where(_find_nearest(packs, others).is_same, 1.0, cells.RESISTANCE_FACTOR)


def get_factor_of_followers(packs: Packs, others: Packs) -> Array:
    """Return the same where the other packs carry what is uncertain: 1 where there is one."""
    return np.where(_find_nearest(packs, others).is_known, 1.0, cells.RESISTANCE_FACTOR)


def of_packs(packs: Packs) -> Array:
    """Return the resistance (N, M) [ohm] of packs with their leads at 25 °C."""
    return packs.cells * packs.per_cell
