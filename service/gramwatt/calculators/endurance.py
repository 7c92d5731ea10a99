"""How long a pack flies at an average power."""

from dataclasses import dataclass
from typing import Annotated, Final

import numpy as np

from gramwatt.calculators._shared import fields
from gramwatt.calculators._shared.cautions import (
    LAND_EARLY,
    LIHV_EXTRAPOLATED,
    LITHIUM_FIRE,
    NO_RESISTANCE,
    OUTSIDE_TEMPERATURE,
    RESISTANCE_ASSUMED,
    RESISTANCE_FORMULA,
    USUAL_RESISTANCE,
    arrhenius,
    rested_voltage,
)
from gramwatt.model import (
    Array,
    Assumption,
    Calculator,
    Caution,
    Choice,
    CurveChart,
    Example,
    IndexArray,
    Quantity,
    Reference,
    Rule,
    Unit,
)
from gramwatt.physics import cells, pack

DIFFUSION_LIMITED: Final[Annotated[float, Unit("1/s")]] = 3 / 3600
"""3 C: above it energy cells give far less than a resistance alone would have them."""


@dataclass(frozen=True, slots=True)
class Inputs:
    """The pack, how full it starts and ends, and the power it is flown at."""

    cells: fields.Cells
    capacity: fields.Capacity
    power: Annotated[Array, Quantity("W", "Average power drawn at the pack's terminals.", above=0, at_most=1e5)]
    chemistry: fields.Chemistry
    start_charge: fields.StartCharge
    reserve: fields.Reserve
    cutoff_cell_voltage: fields.CutoffCellVoltage
    cell_resistance: fields.CellResistance
    lead_resistance: fields.LeadResistance
    pack_temperature: fields.PackTemperature
    activation_energy: fields.ActivationEnergy


INTEGRAL = (
    "integral of dq / I(q), I the current at this power and charge q, from start_charge down to the reserve or to the "
    "charge at which the loaded cell meets cutoff_cell_voltage; exact on each straight piece of the open-circuit curve"
)
WHAT_ENDED = "the reserve, the cut-off voltage, or a pack that can no longer give the power: whichever comes first"


@dataclass(frozen=True, slots=True)
class Results:
    """The flight, from take-off to the reserve or the cut-off, whichever comes first."""

    endurance: Annotated[Array, Quantity("min", "Time until the reserve or the cut-off.", method=INTEGRAL)]
    energy_delivered: Annotated[Array, Quantity("Wh", "Energy at the terminals.", formula="power * endurance")]
    charge_used: Annotated[Array, Quantity("mAh", "Charge drawn.", formula="capacity * (start_charge - end_charge)")]
    mean_current: Annotated[Array, Quantity("A", "Charge drawn over the time.", formula="charge_used / endurance")]
    mean_voltage: Annotated[Array, Quantity("V", "Energy over charge.", formula="energy_delivered / charge_used")]
    end_cell_voltage: Annotated[
        Array, Quantity("V", "Loaded cell voltage at the end.", method="as in pack-current, at end_charge")
    ]
    end_charge: Annotated[
        Array, Quantity("%", "Charge left at the end.", method="the reserve, or where the cut-off is met")
    ]
    ended_by: Annotated[IndexArray, Choice(pack.ENDED_BY, "What ended it.", method=WHAT_ENDED)]
    greatest_power: Annotated[
        Array, Quantity("W", "The most it could give for a moment at take-off.", method="V^2 / 4R at start_charge")
    ]
    pack_resistance: Annotated[
        Array, Quantity("mohm", "Pack and leads at this temperature.", formula=RESISTANCE_FORMULA)
    ]


def endurance(given: Inputs) -> Results:
    """Flying time at a constant average power, sag and cut-off included.

    Too hopeful for energy cells above about 3 C, for aged or cold packs whose resistance was not measured, and for
    flying whose power varies so much that its peaks meet the cut-off early. It knows no self-heating and no recovery.
    """
    resistance = pack.resistance(
        given.cells, given.cell_resistance, given.lead_resistance, given.pack_temperature, given.activation_energy
    )
    flown = pack.constant_power_discharge(
        cells.OPEN_CIRCUIT_VOLTAGE[given.chemistry],
        power=given.power / given.cells,
        resistance=resistance / given.cells,
        charge=given.capacity,
        start=given.start_charge,
        reserve=given.reserve,
        cutoff=given.cutoff_cell_voltage,
    )
    flies = flown.duration > 0
    used = np.where(np.isnan(flown.duration), np.nan, given.capacity * (given.start_charge - flown.end_charge))
    energy = given.power * flown.duration
    return Results(
        endurance=flown.duration,
        energy_delivered=energy,
        charge_used=used,
        mean_current=np.where(flies, used / flown.duration, np.nan),
        mean_voltage=np.where(flies, energy / used, np.nan),
        end_cell_voltage=np.where(flies, flown.end_voltage, np.nan),
        end_charge=flown.end_charge,
        ended_by=flown.ended_by,
        greatest_power=pack.greatest_power(given.cells * flown.start_voltage, resistance),
        pack_resistance=resistance,
    )


MEANS = ("mean_current", "mean_voltage", "end_cell_voltage")

CALCULATOR = Calculator(
    title="How long will it fly?",
    summary="Flying time of a pack at an average power, to a reserve or a cut-off.",
    inputs=Inputs,
    results=Results,
    formula=endurance,
    category="before",
    chart=CurveChart(
        "reserve",
        ("end_cell_voltage", "end_charge"),
        across="endurance",
        start=lambda given, found: given.start_charge,
        stop=lambda given, found: found.end_charge,
    ),
    assumptions=(
        USUAL_RESISTANCE,
        Assumption(
            "cutoff_cell_voltage",
            "by chemistry: lipo 3.3 V, lihv 3.3 V, li-ion 2.8 V, lifepo4 2.5 V",
            lambda given: cells.CUTOFF_VOLTAGE[given.chemistry],
        ),
    ),
    rules=(
        Rule(
            "power-beyond-pack",
            "The pack cannot give {power} even at take-off: behind {pack_resistance} the most is {greatest_power}. Ask "
            "for less, or give a pack with more cells or less resistance.",
            when=lambda given, found: given.power > found.greatest_power,
            results=("endurance", "energy_delivered", "charge_used", *MEANS),
        ),
        Rule(
            "nothing-to-fly",
            "The flight ends before it starts: at take-off the reserve, or the cut-off of {cutoff_cell_voltage} a "
            "cell, is already met.",
            when=lambda given, found: found.endurance == 0,
            results=MEANS,
        ),
        NO_RESISTANCE,
    ),
    references=(
        Reference(
            "Constant-power discharge of a rested voltage behind a resistance, integrated in closed form: derived; "
            "checked against PyBaMM 26.10, equivalent_circuit.Thevenin",
            url="https://doi.org/10.5334/jors.309",
        ),
        rested_voltage("endurance", "end_cell_voltage", "end_charge", "mean_voltage", "greatest_power"),
        arrhenius("pack_resistance"),
    ),
    cautions=(
        LITHIUM_FIRE,
        LAND_EARLY,
        RESISTANCE_ASSUMED,
        Caution(
            "diffusion-limited",
            "{mean_current} is above 3 C: there an energy cell gives far less than this model says; for a power cell "
            "it holds within some per cent.",
            when=lambda given, found: found.mean_current > DIFFUSION_LIMITED * given.capacity,
        ),
        OUTSIDE_TEMPERATURE,
        LIHV_EXTRAPOLATED,
        Caution(
            "lifepo4-tail",
            "Below 20 % the lifepo4 curve reads up to 0.2 V a cell low.",
            when=lambda given, found: (given.chemistry == cells.LIFEPO4) & (found.end_charge < 0.2),
        ),
    ),
    examples=(
        Example(
            "A 6-cell pack at 200 W",
            given={"cells": 6, "capacity": 1300, "power": 200},
            expected={"endurance": 7.15, "ended_by": "reserve", "charge_used": 1040},
            rtol=0.01,
            source="by hand, roughly: rested 3.882 V a cell on average over 20 to 100 %, less 0.067 V of sag, is "
            "22.9 V; 1.04 Ah x 22.9 V / 200 W = 7.14 min",
        ),
        Example(
            "A cold li-ion pack flown to its cut-off",
            given={
                "cells": 4,
                "capacity": "3 Ah",
                "power": "90 W",
                "chemistry": "li-ion",
                "reserve": 0,
                "cell_resistance": "25 mohm",
                "pack_temperature": "5 degC",
            },
            expected={"ended_by": "cut-off", "end_cell_voltage": 2.8},
            rtol=1e-9,
            source="by definition: a flight ended by the cut-off ends at the cut-off voltage",
        ),
    ),
)
