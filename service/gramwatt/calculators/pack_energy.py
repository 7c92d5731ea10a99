"""Energy of a pack: label energy, usable energy, and how the pack may travel by air."""

from dataclasses import dataclass
from typing import Annotated

from gramwatt.calculators._shared import air_baggage, pack_fields
from gramwatt.calculators._shared.cautions import (
    CHARGE_AND_STORE,
    CUTOFF_VOLTAGES,
    LITHIUM_FIRE,
    NOMINAL_VOLTAGES,
    by_chemistry,
)
from gramwatt.model import (
    Array,
    BarChart,
    Calculator,
    Count,
    Example,
    Quantity,
    Reference,
    Sentence,
)
from gramwatt.physics import baggage, cells


@dataclass(frozen=True, slots=True)
class Inputs:
    """The pack by its label."""

    cells: pack_fields.Cells
    capacity: pack_fields.Capacity
    parallel_cells: pack_fields.ParallelCells
    chemistry: pack_fields.Chemistry
    reserve: pack_fields.Reserve
    pack_mass: pack_fields.PackMass


@dataclass(frozen=True, slots=True)
class Results:
    """Energies by the label's convention: nominal voltage times rated capacity."""

    usable_energy: Annotated[Array, Quantity("Wh", "Energy used in flight.", formula="nominal_energy * (1 - reserve)")]
    nominal_energy: Annotated[
        Array, Quantity("Wh", "Energy on the label.", label="Label energy", formula="nominal_voltage * capacity")
    ]
    nominal_voltage: Annotated[Array, Quantity("V", "Voltage on the label.", formula="cells * nominal_cell_voltage")]
    full_voltage: Annotated[Array, Quantity("V", "Voltage after a full charge.", formula="cells * full_cell_voltage")]
    cutoff_voltage: Annotated[
        Array,
        Quantity(
            "V",
            "Loaded voltage at which to have landed.",
            label="Cut-off voltage",
            formula="cells * cutoff_cell_voltage",
        ),
    ]
    usable_charge: Annotated[Array, Quantity("mAh", "Charge used in flight.", formula="capacity * (1 - reserve)")]
    cell_capacity: Annotated[
        Array,
        Quantity("mAh", "Capacity of one cell.", label="Capacity of one cell", formula="capacity / parallel_cells"),
    ]
    total_cells: Annotated[
        Array,
        Count(
            "Cells in the whole pack.", label="Cells in all", at_least=1, at_most=2400, formula="cells * parallel_cells"
        ),
    ]
    specific_energy: Annotated[
        Array, Quantity("Wh/kg", "Label energy per mass.", formula="nominal_energy / pack_mass", needs=("pack_mass",))
    ]
    baggage: air_baggage.Baggage


@dataclass(frozen=True, slots=True)
class Steps:
    """What the chemistry says of one cell."""

    nominal_cell_voltage: Annotated[Array, Quantity("V", "Voltage on the label of a cell.", method=NOMINAL_VOLTAGES)]
    full_cell_voltage: Annotated[
        Array, Quantity("V", "Voltage of a full cell.", method=by_chemistry(cells.FULL_VOLTAGE))
    ]
    cutoff_cell_voltage: Annotated[
        Array,
        Quantity("V", "Cut-off voltage of a loaded cell.", label="Cut-off cell voltage", method=CUTOFF_VOLTAGES),
    ]


def find_steps(given: Inputs, _: Results) -> Steps:
    """Return the voltages of one cell."""
    return Steps(
        nominal_cell_voltage=cells.NOMINAL_VOLTAGE[given.chemistry],
        full_cell_voltage=cells.FULL_VOLTAGE[given.chemistry],
        cutoff_cell_voltage=cells.CUTOFF_VOLTAGE[given.chemistry],
    )


def pack_energy(given: Inputs) -> Results:
    """Compute energy, charge and voltages of a lithium pack from its label.

    The label overstates a pack under load: at high current it delivers less, because its voltage sags and reaches the
    cut-off early. See pack-current for the sag and endurance for the flight time.
    """
    nominal_voltage = given.cells * cells.NOMINAL_VOLTAGE[given.chemistry]
    nominal_energy = nominal_voltage * given.capacity
    usable = 1 - given.reserve
    return Results(
        usable_energy=nominal_energy * usable,
        nominal_energy=nominal_energy,
        nominal_voltage=nominal_voltage,
        full_voltage=given.cells * cells.FULL_VOLTAGE[given.chemistry],
        cutoff_voltage=given.cells * cells.CUTOFF_VOLTAGE[given.chemistry],
        usable_charge=given.capacity * usable,
        cell_capacity=given.capacity / given.parallel_cells,
        total_cells=given.cells * given.parallel_cells,
        specific_energy=nominal_energy / given.pack_mass,
        baggage=baggage.classify(nominal_energy),
    )


CALCULATOR = Calculator(
    title="What does the pack hold?",
    summary="Energy, charge and voltages of a pack, and how it may travel by air.",
    inputs=Inputs,
    results=Results,
    formula=pack_energy,
    steps=find_steps,
    category="choose",
    sentences=(
        Sentence(
            "Holds {usable_energy} down to the reserve",
            details=(
                "{nominal_energy} on the label at {nominal_voltage}.",
                "{full_voltage} when full; land above {cutoff_voltage} under load.",
            ),
        ),
    ),
    charts=(BarChart(("nominal_energy", "usable_energy"), title="Energy in the pack"),),
    references=(
        Reference(
            "Watt-hours on a label are nominal voltage times rated capacity: rule of thumb, no source",
            about=(
                *("usable_energy", "nominal_energy", "usable_charge"),
                *("cell_capacity", "total_cells", "specific_energy"),
            ),
        ),
        Reference(
            "Cell voltages by chemistry: rule of thumb, no source",
            about=("nominal_voltage", "full_voltage", "cutoff_voltage"),
        ),
        air_baggage.limits("baggage"),
    ),
    cautions=(
        LITHIUM_FIRE,
        CHARGE_AND_STORE,
        air_baggage.ASK_AIRLINE,
    ),
    examples=(
        Example(
            "A 6-cell pack of 1300 mAh",
            given={"cells": 6, "capacity": 1300},
            expected={"usable_energy": 23.088, "nominal_energy": 28.86, "nominal_voltage": 22.2, "baggage": "carry-on"},
            rtol=1e-12,
            source="by hand: 6 x 3.7 V x 1.3 Ah = 28.86 Wh; less 20 % = 23.088 Wh",
        ),
        Example(
            "A long-range li-ion pack, weighed",
            given={
                "cells": 6,
                "parallel_cells": 2,
                "capacity": "8.4 Ah",
                "chemistry": "li-ion",
                "pack_mass": "870 g",
                "reserve": 10,
            },
            expected={"nominal_energy": 181.44, "specific_energy": 208.551724137931, "total_cells": 12},
            rtol=1e-12,
            source="by hand: 6 x 3.6 V x 8.4 Ah = 181.44 Wh; over 0.87 kg = 208.55 Wh/kg; 6 x 2 = 12 cells",
        ),
    ),
)
