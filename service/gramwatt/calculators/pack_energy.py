"""What a pack holds: label energy, the part of it meant to be flown, and how it may travel."""

from dataclasses import dataclass
from typing import Annotated, Final

import numpy as np

from gramwatt.calculators._shared import fields
from gramwatt.calculators._shared.cautions import LITHIUM_FIRE
from gramwatt.model import (
    Array,
    BarChart,
    Calculator,
    Caution,
    Choice,
    Count,
    Example,
    IndexArray,
    Quantity,
    Reference,
    Unit,
)
from gramwatt.physics import cells

CARRY_ON_ENERGY: Final[Annotated[float, Unit("J")]] = 100 * 3600.0
APPROVAL_ENERGY: Final[Annotated[float, Unit("J")]] = 160 * 3600.0
BAGGAGE: Final = ("carry-on", "airline-approval", "not-in-baggage")


@dataclass(frozen=True, slots=True)
class Inputs:
    """The pack as its label tells it."""

    cells: fields.Cells
    capacity: fields.Capacity
    parallel: fields.Parallel
    chemistry: fields.Chemistry
    reserve: fields.Reserve
    pack_mass: fields.PackMass


NOMINAL = "cells times the chemistry's nominal cell voltage: lipo 3.7 V, lihv 3.8 V, li-ion 3.6 V, lifepo4 3.2 V"
FULL = "cells times the chemistry's full cell voltage: lipo 4.2 V, lihv 4.35 V, li-ion 4.2 V, lifepo4 3.6 V"
CUTOFF = "cells times the chemistry's cut-off cell voltage: lipo 3.3 V, lihv 3.3 V, li-ion 2.8 V, lifepo4 2.5 V"
TRAVEL = "carry-on up to 100 Wh; airline-approval above that, up to 160 Wh; not-in-baggage above"


@dataclass(frozen=True, slots=True)
class Results:
    """Energies by the label's convention: nominal voltage times rated capacity."""

    usable_energy: Annotated[Array, Quantity("Wh", "Energy flown.", formula="nominal_energy * (1 - reserve)")]
    nominal_energy: Annotated[Array, Quantity("Wh", "Energy on the label.", formula="nominal_voltage * capacity")]
    nominal_voltage: Annotated[Array, Quantity("V", "Voltage on the label.", method=NOMINAL)]
    full_voltage: Annotated[Array, Quantity("V", "Voltage when just charged.", method=FULL)]
    cutoff_voltage: Annotated[Array, Quantity("V", "Loaded voltage to have landed by.", method=CUTOFF)]
    usable_charge: Annotated[Array, Quantity("mAh", "Charge flown.", formula="capacity * (1 - reserve)")]
    cell_capacity: Annotated[Array, Quantity("mAh", "Capacity of one cell.", formula="capacity / parallel")]
    total_cells: Annotated[
        Array, Count("Cells in the whole pack.", at_least=1, at_most=2400, formula="cells * parallel")
    ]
    specific_energy: Annotated[
        Array,
        Quantity("Wh/kg", "Label energy per mass.", formula="nominal_energy / pack_mass", needs=("pack_mass",)),
    ]
    baggage: Annotated[IndexArray, Choice(BAGGAGE, "How it may travel by air, by label energy.", method=TRAVEL)]


def pack_energy(given: Inputs) -> Results:
    """Energy, charge and voltages of a lithium pack by its label.

    The label's convention flatters a pack under load: at high current it gives less, by the sag and by reaching its
    cut-off early. Ask pack-current for the sag and endurance for the time.
    """
    nominal_voltage = given.cells * cells.NOMINAL_VOLTAGE[given.chemistry]
    nominal_energy = nominal_voltage * given.capacity
    usable = 1 - given.reserve
    # 100 Wh on the label is still carry-on, whatever the last bit of the product says.
    allowance = 1 + 1e-12
    return Results(
        usable_energy=nominal_energy * usable,
        nominal_energy=nominal_energy,
        nominal_voltage=nominal_voltage,
        full_voltage=given.cells * cells.FULL_VOLTAGE[given.chemistry],
        cutoff_voltage=given.cells * cells.CUTOFF_VOLTAGE[given.chemistry],
        usable_charge=given.capacity * usable,
        cell_capacity=given.capacity / given.parallel,
        total_cells=given.cells * given.parallel,
        specific_energy=nominal_energy / given.pack_mass,
        baggage=(nominal_energy > CARRY_ON_ENERGY * allowance).astype(np.intp)
        + (nominal_energy > APPROVAL_ENERGY * allowance).astype(np.intp),
    )


CALCULATOR = Calculator(
    title="What does the pack hold?",
    summary="Energy, charge and voltages of a pack, and how it may travel by air.",
    inputs=Inputs,
    results=Results,
    formula=pack_energy,
    category="choose",
    chart=BarChart(("nominal_energy", "usable_energy")),
    references=(
        Reference(
            "Watt-hours on a label are nominal volts times rated ampere-hours: IATA Dangerous Goods Regulations, 3.9.2 "
            "(from memory)",
            about=(
                *("usable_energy", "nominal_energy", "usable_charge"),
                *("cell_capacity", "total_cells", "specific_energy"),
            ),
        ),
        Reference(
            "Cell voltages by chemistry: common practice, no source",
            about=("nominal_voltage", "full_voltage", "cutoff_voltage"),
        ),
        Reference(
            "49 CFR 175.10(a)(18); ICAO Technical Instructions, Part 8; IATA DGR 2.3: 100 Wh and 160 Wh (from memory)",
            about=("baggage",),
        ),
    ),
    cautions=(
        LITHIUM_FIRE,
        Caution(
            "ask-airline",
            "For air travel: spare packs go in the cabin with their terminals protected; from 100 Wh to 160 Wh the "
            "airline must agree, usually to two at most. Airlines set stricter rules: verify with yours.",
        ),
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
                "parallel": 2,
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
