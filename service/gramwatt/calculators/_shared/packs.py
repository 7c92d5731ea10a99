"""The packs of a craft: a table, the resistances that are assumed, and what to know about them."""

from dataclasses import dataclass
from typing import Annotated, Any, Final, TypeAlias

import numpy as np

from gramwatt.calculators._shared import cautions, pack_fields, parts, plausible, resistances
from gramwatt.model import (
    Array,
    Assumption,
    Caution,
    ChosenBy,
    Group,
    Quantity,
    StandardUncertainty,
    StringArray,
    Table,
    Text,
)
from gramwatt.physics import cells

CHOSEN_BY: Final = ChosenBy("pack", stands_for=(("mass", "pack_mass"),))
MAX_PACKS: Final = 20
NAME: Final = Text("Name of the pack.", default="pack")


@dataclass(frozen=True, slots=True)
class Pack:
    """One pack to compare."""

    name: Annotated[StringArray, NAME]
    cells: pack_fields.Cells
    capacity: pack_fields.Capacity
    mass: Annotated[
        Array,
        Quantity(
            "g",
            "Mass of the pack with leads and connector.",
            above=0,
            at_most=1e5,
            display=parts.DISPLAY,
            synonyms=("weight",),
            plausible=plausible.PACK_MASS,
        ),
    ]
    mass_u: Annotated[Array, StandardUncertainty(of="mass")]
    chemistry: pack_fields.Chemistry
    cell_resistance: pack_fields.CellResistance
    lead_resistance: pack_fields.LeadResistance
    pack_resistance: pack_fields.MeasuredRowResistance
    discharge_rating: pack_fields.DischargeRating


Packs: TypeAlias = Annotated[
    Pack,
    Table(
        Pack,
        "Packs to choose from.",
        label="Packs",
        group=Group.PACK,
        max_length=MAX_PACKS,
        chosen_by=CHOSEN_BY,
        row_label="pack",
    ),
]


def column(values: Any) -> Any:
    """Return one value per craft (N,) as a column (N, 1), to combine with values (N, M) of its packs."""
    return values[:, None]


def _list_packs(given: Any) -> tuple[resistances.Packs, resistances.Packs]:
    return resistances.packs_of(given.flights), resistances.packs_of(given.packs)


RESISTANCES: Final[tuple[Assumption[Any], ...]] = (
    Assumption(
        "packs.cell_resistance",
        resistances.FOLLOWING,
        lambda given: resistances.assume_cell_resistance(*_list_packs(given)[::-1]),
        factor=lambda given: resistances.get_factor(*_list_packs(given)[::-1]),
    ),
    Assumption(
        "flights.cell_resistance",
        "in proportion to the resistance of the packs that are compared, by capacity",
        lambda given: resistances.assume_cell_resistance(*_list_packs(given)),
    ),
)
RESISTANCE_ASSUMED: Final[Caution[Any, Any]] = Caution(
    "pack-resistance-assumed",
    "{packs.name}: cell resistance, with the pack's own leads, is an estimate from the capacity that is known to a "
    f"factor of {cells.RESISTANCE_FACTOR:g} only. Measure it, or give the pack resistance that flight-log finds.",
    assumed="packs.cell_resistance",
)
RATING_OVERSTATED: Final[Caution[Any, Any]] = Caution(
    cautions.RATING_OVERSTATED.code,
    cautions.RATING_OVERSTATED.text,
    when=lambda given, found: (~np.isnan(given.packs.discharge_rating)).any(axis=1),
)
LIHV_EXTRAPOLATED: Final[Caution[Any, Any]] = Caution(
    "lihv-extrapolated",
    "{packs.name}: the rested voltage of LiHV cells is extrapolated from that of a LiPo cell, not measured.",
    severity="low",
    when=lambda given, found: given.packs.chemistry == cells.LIHV,
)
