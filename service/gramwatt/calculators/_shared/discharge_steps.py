"""Steps of a discharge at constant power, piece by piece of the rested-voltage curve, for the working."""

from dataclasses import dataclass
from typing import Annotated, Final, TypeAlias

import numpy as np

from gramwatt.model import Array, IndexArray, Quantity, Table
from gramwatt.physics import pack

_LOADED: Final = "{0} + sqrt(max({0}**2 - 4 * cell_power * resistance_for_each_cell, 0))"
_MEAN: Final = (
    "(from_voltage * from_loaded_voltage - to_voltage * to_loaded_voltage"
    " - 2 * cell_power * resistance_for_each_cell * log(from_loaded_voltage / to_loaded_voltage))"
    " / (2 * (from_voltage - to_voltage))"
)


@dataclass(frozen=True, slots=True)
class PieceSteps:
    """Straight pieces of the curve of the chemistry, from the start to the end of the discharge."""

    from_charge: Annotated[
        Array, Quantity("%", "Charge at its start.", at_most=100, method="a point of the curve, or the start")
    ]
    to_charge: Annotated[
        Array, Quantity("%", "Charge at its end.", at_most=100, method="a point of the curve, or the end")
    ]
    from_voltage: Annotated[
        Array, Quantity("V", "Rested voltage of one cell at its start.", method="on the curve, at `from_charge`")
    ]
    to_voltage: Annotated[
        Array, Quantity("V", "Rested voltage of one cell at its end.", method="on the curve, at `to_charge`")
    ]
    from_loaded_voltage: Annotated[
        Array,
        Quantity("V", "Loaded voltage of one cell at its start.", formula=f"({_LOADED.format('from_voltage')}) / 2"),
    ]
    to_loaded_voltage: Annotated[
        Array,
        Quantity("V", "Loaded voltage of one cell at its end.", formula=f"({_LOADED.format('to_voltage')}) / 2"),
    ]
    mean_loaded_voltage: Annotated[
        Array,
        Quantity(
            "V",
            "Mean loaded voltage of one cell.",
            formula=_MEAN,
            method="the average while the rested voltage falls evenly",
        ),
    ]
    duration: Annotated[
        Array,
        Quantity(
            "min",
            "Time that the piece lasts.",
            formula="capacity * (from_charge - to_charge) * mean_loaded_voltage / cell_power",
        ),
    ]


Pieces: TypeAlias = Annotated[
    PieceSteps, Table(PieceSteps, "The discharge, piece by piece.", label="Pieces of the discharge", max_length=20)
]
ResistanceForEachCell: TypeAlias = Annotated[
    Array, Quantity("mohm", "Resistance of the pack for each cell in series.", formula="pack_resistance / cells")
]


def cell_power(power: str) -> Quantity:
    """Return the kind of the power of one cell, of a pack with the power of this name."""
    return Quantity("W", "Power from one cell.", formula=f"{power} / cells")


def find_pieces(
    discharge: pack.Discharge,
    chemistry: IndexArray,
    *,
    power: Array,
    resistance: Array,
    capacity: Array,
    start_state_of_charge: Array,
) -> PieceSteps:
    """Return the pieces of discharges of one cell (N, K); those without time in all N are left out."""
    pieces = pack.list_pieces(
        discharge,
        chemistry,
        power=power,
        resistance=resistance,
        capacity=capacity,
        start_state_of_charge=start_state_of_charge,
    )
    lasts = np.isfinite(pieces.duration).any(axis=0)
    columns = pack.Pieces(*(each[:, lasts] for each in pieces))
    used = capacity[:, None] * (columns.from_charge - columns.to_charge)
    return PieceSteps(**columns._asdict(), mean_loaded_voltage=power[:, None] * columns.duration / used)
