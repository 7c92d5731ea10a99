"""Flight time of a pack at an average power."""

from dataclasses import dataclass
from typing import Annotated, Final

import numpy as np

from gramwatt.calculators._shared import endurance_steps, fields, pack_fields, plausible, sentences
from gramwatt.calculators._shared.cautions import (
    COLD,
    CUTOFF_VOLTAGES,
    LAND_EARLY,
    LIFEPO4_TAIL,
    LIHV_EXTRAPOLATED,
    LITHIUM_FIRE,
    NO_RESISTANCE,
    OUTSIDE_TEMPERATURE,
    RESISTANCE_ASSUMED,
    TYPICAL_RESISTANCE,
    arrhenius,
    pack_resistance,
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
    Group,
    IndexArray,
    Quantity,
    Reference,
    Rule,
    Unit,
)
from gramwatt.physics import cells, pack

DIFFUSION_LIMITED: Final[Annotated[float, Unit("1/s")]] = 3 / 3600
"""3 C: above it energy cells deliver far less than this model predicts."""


@dataclass(frozen=True, slots=True)
class Inputs:
    """The pack, its charge at take-off and landing, and the average power."""

    cells: pack_fields.Cells
    capacity: pack_fields.Capacity
    mean_power: Annotated[
        Array,
        Quantity(
            "W",
            "Average power drawn at the pack's terminals.",
            label="Average power",
            group=Group.FLIGHT,
            above=0,
            at_most=1e5,
            follows=("mean_power", "hover_power", "pack_power"),
            synonyms=("power", "average_power", "avg_power"),
            plausible=plausible.POWER,
        ),
    ]
    chemistry: pack_fields.Chemistry
    start_state_of_charge: pack_fields.StartStateOfCharge
    reserve: pack_fields.Reserve
    cutoff_cell_voltage: pack_fields.CutoffCellVoltage
    cell_resistance: pack_fields.CellResistance
    lead_resistance: pack_fields.LeadResistance
    pack_resistance: pack_fields.MeasuredPackResistance
    pack_temperature: pack_fields.PackTemperature
    activation_energy: pack_fields.ActivationEnergy


INTEGRAL = (
    "integral of charge over current from the charge at take-off down to that at the end, exact on each straight "
    "piece of the rested-voltage curve"
)
FIRST_LIMIT = "the reserve, the cut-off voltage, or a pack that cannot give the power any more: whichever comes first"


@dataclass(frozen=True, slots=True)
class Results:
    """The flight, from take-off to the reserve or the cut-off, whichever comes first."""

    endurance: Annotated[
        Array,
        Quantity(
            "min",
            "Time until the reserve or the cut-off.",
            label="Flight time",
            formula="sum(pieces.duration)",
            method=INTEGRAL,
        ),
    ]
    energy_used: Annotated[Array, Quantity("Wh", "Energy at the terminals.", formula="mean_power * endurance")]
    charge_used: Annotated[
        Array, Quantity("mAh", "Charge drawn.", formula="capacity * (start_state_of_charge - end_state_of_charge)")
    ]
    mean_current: Annotated[Array, Quantity("A", "Charge over time.", formula="charge_used / endurance")]
    mean_voltage: Annotated[Array, Quantity("V", "Energy over charge.", formula="energy_used / charge_used")]
    end_cell_voltage: Annotated[
        Array,
        Quantity(
            "V",
            "Loaded cell voltage at the end.",
            label="Final cell voltage",
            formula=("stop_loaded_voltage", endurance_steps.LOADED),
        ),
    ]
    end_state_of_charge: Annotated[
        Array,
        Quantity(
            "%",
            "Charge left at the end.",
            label="Charge left",
            at_most=100,
            formula=(endurance_steps.CHARGE_AT_STOP, "min(reserve, start_state_of_charge)"),
        ),
    ]
    ended_by: Annotated[
        IndexArray, Choice(pack.ENDED_BY, "What ends the flight.", label="Flight ends by", method=FIRST_LIMIT)
    ]
    maximum_pack_power: Annotated[
        Array,
        Quantity(
            "W",
            "Maximum momentary power at take-off.",
            label="Maximum power",
            formula="(cells * start_cell_voltage)**2 / (4 * pack_resistance)",
        ),
    ]
    pack_resistance: fields.PackResistance


def endurance(given: Inputs) -> Results:
    """Compute the flight time at a constant average power, with sag and cut-off.

    The time is too long for energy cells above about 3 C, for aged or cold packs whose resistance was not measured, and
    where power varies so much that its peaks reach the cut-off early. Self-heating and recovery are not modelled.
    """
    resistance = pack_resistance(given, given.pack_temperature, given.activation_energy)
    discharge = pack.discharge_pack(
        given.chemistry,
        given.cells,
        power=given.mean_power,
        resistance=resistance,
        capacity=given.capacity,
        start_state_of_charge=given.start_state_of_charge,
        reserve=given.reserve,
        cutoff_voltage=given.cutoff_cell_voltage,
    )
    duration, end_state_of_charge = discharge.duration, discharge.end_state_of_charge
    flies = duration > 0
    charge = np.where(np.isnan(duration), np.nan, given.capacity * (given.start_state_of_charge - end_state_of_charge))
    energy = given.mean_power * duration
    return Results(
        endurance=duration,
        energy_used=energy,
        charge_used=charge,
        mean_current=np.where(flies, charge / duration, np.nan),
        mean_voltage=np.where(flies, energy / charge, np.nan),
        end_cell_voltage=np.where(flies, discharge.end_voltage, np.nan),
        end_state_of_charge=end_state_of_charge,
        ended_by=discharge.ended_by,
        maximum_pack_power=pack.max_power(given.cells * discharge.start_voltage, resistance),
        pack_resistance=resistance,
    )


MEANS = ("mean_current", "mean_voltage", "end_cell_voltage")

CALCULATOR = Calculator(
    title="How long will it fly?",
    summary="Flight time of a pack at an average power, down to a reserve or a cut-off.",
    inputs=Inputs,
    results=Results,
    formula=endurance,
    steps=endurance_steps.find_steps,
    category="before",
    sentences=(sentences.FLIGHT,),
    charts=(
        CurveChart(
            "reserve",
            ("end_cell_voltage", "end_state_of_charge"),
            across="endurance",
            start=lambda given, found: given.start_state_of_charge,
            stop=lambda given, found: found.end_state_of_charge,
            title="Cell voltage and charge over the flight",
        ),
    ),
    assumptions=(
        TYPICAL_RESISTANCE,
        Assumption(
            "cutoff_cell_voltage",
            f"by chemistry: {CUTOFF_VOLTAGES}",
            lambda given: cells.CUTOFF_VOLTAGE[given.chemistry],
        ),
    ),
    rules=(
        Rule(
            "power-beyond-pack",
            "The pack cannot deliver {mean_power} even at take-off. The most it can give through {pack_resistance} is "
            "{maximum_pack_power}: use more cells or a pack with lower resistance.",
            when=lambda given, found: given.mean_power > found.maximum_pack_power,
            results=("endurance", "energy_used", "charge_used", *MEANS),
            partly="this pack cannot deliver {mean_power}",
        ),
        Rule(
            "nothing-to-discharge",
            "The flight ends before it starts: the pack is already at its reserve, or at the cut-off of "
            "{cutoff_cell_voltage} per cell, at take-off.",
            when=lambda given, found: found.endurance == 0,
            results=MEANS,
            partly="the flight ends before it starts",
        ),
        NO_RESISTANCE,
    ),
    references=(
        Reference(
            "Constant-power discharge of a rested voltage behind a resistance, integrated in closed form: derived, and "
            "checked against the Thevenin model of PyBaMM 26.10",
            url="https://doi.org/10.5334/jors.309",
        ),
        rested_voltage(
            "endurance", "pieces", "end_cell_voltage", "end_state_of_charge", "mean_voltage", "maximum_pack_power"
        ),
        arrhenius("pack_resistance"),
    ),
    cautions=(
        LITHIUM_FIRE,
        LAND_EARLY,
        RESISTANCE_ASSUMED,
        Caution(
            "diffusion-limited",
            "{mean_current} is above 3 C. There an energy cell delivers far less than this model predicts; a power "
            "cell is within a few per cent of it.",
            when=lambda given, found: found.mean_current > DIFFUSION_LIMITED * given.capacity,
        ),
        OUTSIDE_TEMPERATURE,
        COLD,
        LIHV_EXTRAPOLATED,
        Caution(
            "lifepo4-tail",
            LIFEPO4_TAIL,
            severity="low",
            when=lambda given, found: (given.chemistry == cells.LIFEPO4) & (found.end_state_of_charge < 0.2),
        ),
    ),
    examples=(
        Example(
            "A 6-cell pack at 200 W",
            given={"cells": 6, "capacity": 1300, "mean_power": 200},
            expected={"endurance": 7.08, "ended_by": "reserve", "charge_used": 1040},
            rtol=0.01,
            source="by hand, roughly: rested 3.882 V per cell on average over 20 to 100 %, less 0.100 V of sag, is "
            "22.69 V; 1.04 Ah x 22.69 V / 200 W = 7.08 min",
        ),
        Example(
            "A cold Li-ion pack flown down to its cut-off",
            given={
                "cells": 4,
                "capacity": "3 Ah",
                "mean_power": "90 W",
                "chemistry": "li-ion",
                "reserve": 0,
                "cell_resistance": "25 mohm",
                "pack_temperature": "5 degC",
            },
            expected={"ended_by": "cut-off", "end_cell_voltage": 2.8},
            rtol=1e-9,
            source="by definition: a flight ended by the cut-off ends at the cut-off voltage",
        ),
        Example(
            "A small 4-cell pack whose resistance was found in a recorded flight",
            given={"cells": 4, "capacity": 650, "mean_power": 102, "pack_resistance": 60},
            expected={"endurance": 4.625, "ended_by": "reserve", "pack_resistance": 60},
            rtol=0.005,
            source="by hand, roughly: 4 x 3.882 V rested on average over 20 to 100 %, less 6.7 A x 60 mΩ of sag, is "
            "15.12 V; 0.52 Ah x 15.12 V / 102 W = 4.625 min",
        ),
    ),
)
