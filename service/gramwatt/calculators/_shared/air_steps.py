"""Packs on a journey as they were given, for the working, and how their numbers are declared."""

from dataclasses import dataclass
from typing import Annotated, Any, Final

from gramwatt.calculators._shared import pack_fields
from gramwatt.calculators._shared import packs as shared_packs
from gramwatt.calculators._shared.cautions import NOMINAL_VOLTAGES
from gramwatt.model import Array, Count, Quantity, Table
from gramwatt.physics import cells

MAX_COUNT: Final = 1000
GIVEN: Final = "as given with the pack"


def count_of(description: str, label: str = "", **more: Any) -> Count:
    """Declare a number of packs among the results."""
    return Count(description, label=label, at_least=0, at_most=shared_packs.MAX_PACKS * MAX_COUNT, **more)


@dataclass(frozen=True, slots=True)
class PackSteps:
    """What is known of packs of one kind."""

    cells: Annotated[Array, Count("Cells in series.", at_least=1, at_most=pack_fields.MAX_CELLS, method=GIVEN)]
    capacity: Annotated[Array, Quantity("mAh", "Capacity of the pack.", method=GIVEN)]
    nominal_cell_voltage: Annotated[Array, Quantity("V", "Voltage on the label of a cell.", method=NOMINAL_VOLTAGES)]
    number: Annotated[Array, count_of("Packs of this kind.", method=GIVEN)]
    number_in_devices: Annotated[Array, count_of("How many are inside a device.", method=GIVEN)]


@dataclass(frozen=True, slots=True)
class Steps:
    """The packs as given."""

    by_pack: Annotated[PackSteps, Table(PackSteps, "The packs.", max_length=shared_packs.MAX_PACKS)]


def find_steps(given: Any, _: Any) -> Steps:
    """Return the packs as given, with the voltage of their cells."""
    packs = given.packs
    return Steps(
        by_pack=PackSteps(
            cells=packs.cells,
            capacity=packs.capacity,
            nominal_cell_voltage=cells.NOMINAL_VOLTAGE[packs.chemistry],
            number=packs.count,
            number_in_devices=packs.installed_count,
        )
    )
