"""A flight from a full pack at a power that follows from other flights: results and steps."""

from dataclasses import dataclass
from typing import Annotated, Any, Final, TypeAlias

import numpy as np

from gramwatt.calculators._shared import discharge_steps, resistances
from gramwatt.model import Array, Quantity
from gramwatt.physics import cells, pack

FROM_FULL: Final = "as in endurance, from a full pack down to the reserve, at that power"

LinearEndurance: TypeAlias = Annotated[
    Array,
    Quantity(
        "min",
        "Flight time if power were proportional to mass (x = 1), the lowest of the measured medians.",
        label="Flight time with exponent 1",
        method=f"{FROM_FULL}: `reference_mean_power * mass / reference_mass`",
    ),
]
BestPackMass: TypeAlias = Annotated[
    Array,
    Quantity(
        "g",
        "Pack mass of the longest flight, at the energy per mass of the new pack.",
        formula="(mass - pack_mass) / (mass_exponent - 1)",
        needs=("pack_mass",),
    ),
]
PackResistanceInUse: TypeAlias = Annotated[
    Array,
    Quantity(
        "mohm",
        "Resistance of pack and leads at 25 °C, or as measured.",
        label="Pack resistance in use",
        formula=("cells * cell_resistance + lead_resistance", "pack_resistance"),
    ),
]
ResistanceForEachCell: TypeAlias = Annotated[
    Array, Quantity("mohm", "Resistance of the pack for each cell in series.", formula="pack_resistance_in_use / cells")
]


@dataclass(frozen=True, slots=True)
class DischargeSteps:
    """The discharge of one cell at the average power of the flight."""

    pack_resistance_in_use: PackResistanceInUse
    cell_power: Annotated[Array, discharge_steps.cell_power("mean_power")]
    resistance_for_each_cell: ResistanceForEachCell
    pieces: discharge_steps.Pieces


def find_discharge(given: Any, found: Any) -> DischargeSteps:
    """Return the discharge (N,) of a full pack down to the reserve or the cut-off."""
    return DischargeSteps(**get_discharge(given, found.mean_power))


def get_discharge(given: Any, power: Array) -> dict[str, Any]:
    """Return the steps of a discharge at a power (N,) [W], by name."""
    resistance = resistances.of_packs(resistances.packs_of(given))[:, 0]
    start, cell_power, for_each_cell = np.ones_like(power), power / given.cells, resistance / given.cells
    discharge = pack.discharge_pack(
        given.chemistry,
        given.cells,
        power=power,
        resistance=resistance,
        capacity=given.capacity,
        start_state_of_charge=start,
        reserve=given.reserve,
        cutoff_voltage=cells.CUTOFF_VOLTAGE[given.chemistry],
    )
    pieces = discharge_steps.find_pieces(
        discharge,
        given.chemistry,
        power=cell_power,
        resistance=for_each_cell,
        capacity=given.capacity,
        start_state_of_charge=start,
    )
    return {
        "pack_resistance_in_use": resistance,
        "cell_power": cell_power,
        "resistance_for_each_cell": for_each_cell,
        "pieces": pieces,
    }
