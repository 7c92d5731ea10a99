"""Current of a pack at a given power, with its sag."""

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from gramwatt.calculators._shared import fields, pack_fields, plausible, sentences
from gramwatt.calculators._shared.cautions import (
    BELOW_CUTOFF,
    LIFEPO4_TAIL,
    LIHV_EXTRAPOLATED,
    LITHIUM_FIRE,
    MORE_THAN_FULL,
    NO_RESISTANCE,
    OUTSIDE_TEMPERATURE,
    OVER_RATING,
    RATING_OVERSTATED,
    RESISTANCE_ASSUMED,
    TYPICAL_RESISTANCE,
    arrhenius,
    pack_resistance,
    pack_voltage,
    rested_voltage,
)
from gramwatt.calculators._shared.pack_steps import current_at, find_pack_steps
from gramwatt.model import Array, Calculator, Caution, CurveChart, Example, Group, Quantity, Reference, Rule
from gramwatt.physics import cells, pack


@dataclass(frozen=True, slots=True)
class Inputs:
    """The pack, its charge and temperature, and the power drawn from it."""

    cells: pack_fields.Cells
    capacity: pack_fields.Capacity
    pack_power: Annotated[
        Array,
        Quantity(
            "W",
            "Power drawn at the pack's terminals.",
            group=Group.FLIGHT,
            at_least=0,
            at_most=1e5,
            follows=("pack_power", "peak_power", "hover_power"),
            synonyms=("power", "watts"),
            plausible=plausible.POWER,
        ),
    ]
    chemistry: pack_fields.Chemistry
    state_of_charge: pack_fields.StateOfCharge
    open_circuit_voltage: pack_fields.OpenCircuitVoltage
    cell_resistance: pack_fields.CellResistance
    lead_resistance: pack_fields.LeadResistance
    pack_resistance: pack_fields.MeasuredPackResistance
    pack_temperature: pack_fields.PackTemperature
    activation_energy: pack_fields.ActivationEnergy
    discharge_rating: pack_fields.DischargeRating


QUADRATIC = current_at("pack_power", "open_circuit_voltage", "pack_resistance")
MAX_POWER = "open_circuit_voltage**2 / (4 * pack_resistance)"


@dataclass(frozen=True, slots=True)
class Results:
    """One steady operating point."""

    pack_current: Annotated[Array, Quantity("A", "Current from the pack.", label="Pack current", formula=QUADRATIC)]
    loaded_voltage: Annotated[
        Array,
        Quantity(
            "V",
            "Pack voltage under that load.",
            label="Loaded pack voltage",
            at_most=pack_fields.MAX_PACK_VOLTAGE,
            formula="open_circuit_voltage - pack_current * pack_resistance",
        ),
    ]
    loaded_cell_voltage: fields.LoadedCellVoltage
    open_circuit_voltage: Annotated[
        Array,
        Quantity(
            "V",
            "Voltage of the rested pack.",
            label="Rested pack voltage",
            at_most=pack_fields.MAX_PACK_VOLTAGE,
            formula=("cells * rested_cell_voltage",),
            method="as measured, where it is given",
        ),
    ]
    c_rate: Annotated[
        Array,
        Quantity(
            "C", "Current in multiples of the capacity per hour.", label="C-rate", formula="pack_current / capacity"
        ),
    ]
    pack_heat_power: Annotated[
        Array,
        Quantity("W", "Heat in pack and leads.", label="Heat in the pack", formula="pack_current**2 * pack_resistance"),
    ]
    maximum_pack_power: Annotated[
        Array,
        Quantity("W", "Maximum momentary power, far above a healthy load.", label="Maximum power", formula=MAX_POWER),
    ]
    discharge_rating_share: fields.DischargeRatingShare
    pack_resistance: fields.PackResistance


def pack_current(given: Inputs) -> Results:
    """Compute current, sag and heat of a pack at a steady power, as a rested voltage behind one resistance.

    Valid for loads of about ten seconds on a healthy pack. The first instant has less sag, energy cells above about 3 C
    have more (diffusion), and cells that differ are not modelled.
    """
    resistance = pack_resistance(given, given.pack_temperature, given.activation_energy)
    rested = pack_voltage(given)
    current = pack.current_at_power(given.pack_power, rested, resistance)
    loaded = rested - current * resistance
    c_rate = current / given.capacity
    return Results(
        pack_current=current,
        loaded_voltage=loaded,
        loaded_cell_voltage=loaded / given.cells,
        open_circuit_voltage=rested,
        c_rate=c_rate,
        pack_heat_power=current**2 * resistance,
        maximum_pack_power=pack.max_power(rested, resistance),
        discharge_rating_share=c_rate / given.discharge_rating,
        pack_resistance=resistance,
    )


UNDER_LOAD = (
    "pack_current",
    "loaded_voltage",
    "loaded_cell_voltage",
    "c_rate",
    "pack_heat_power",
    "discharge_rating_share",
)


def find_healthy_power(given: Inputs, found: Results) -> Array:
    """Return the power [W] up to which the pack works within its limits (N,): its rating and cut-off voltage."""
    rested, resistance = found.open_circuit_voltage, found.pack_resistance
    with np.errstate(divide="ignore", invalid="ignore"):
        at_cutoff = (rested - given.cells * cells.CUTOFF_VOLTAGE[given.chemistry]) / resistance
        current = np.fmin(at_cutoff, given.discharge_rating * given.capacity)
        power = current * (rested - current * resistance)
    return np.where(current > 0, power, found.maximum_pack_power)


CALCULATOR = Calculator(
    title="How many amps at this power?",
    summary="Current, sag and heat of a pack at a given power.",
    inputs=Inputs,
    results=Results,
    formula=pack_current,
    steps=find_pack_steps,
    category="before",
    sentences=sentences.PACK_CURRENT,
    charts=(
        CurveChart(
            "pack_power",
            ("pack_current", "loaded_voltage"),
            start=0,
            stop=lambda given, found: find_healthy_power(given, found),
            title="Current and voltage against power",
        ),
    ),
    assumptions=(TYPICAL_RESISTANCE,),
    rules=(
        Rule(
            "power-beyond-pack",
            "The pack cannot deliver {pack_power}. The most it can give at {open_circuit_voltage} through "
            "{pack_resistance} is {maximum_pack_power}: use more cells or a pack with lower resistance.",
            when=lambda given, found: given.pack_power > found.maximum_pack_power,
            results=UNDER_LOAD,
            partly="this pack cannot deliver {pack_power}",
        ),
        NO_RESISTANCE,
    ),
    references=(
        Reference(
            "Power at the terminals of a source with internal resistance, P = I (V - I R), solved for I: derived",
            about=(*UNDER_LOAD, "maximum_pack_power"),
        ),
        rested_voltage("open_circuit_voltage"),
        arrhenius("pack_resistance"),
    ),
    cautions=(
        LITHIUM_FIRE,
        RESISTANCE_ASSUMED,
        BELOW_CUTOFF,
        MORE_THAN_FULL,
        OVER_RATING,
        RATING_OVERSTATED,
        Caution(
            "deep-sag",
            "The pack loses more than a fifth of its voltage, where one constant resistance is only a rough model.",
            when=lambda given, found: found.loaded_voltage < 0.8 * found.open_circuit_voltage,
        ),
        OUTSIDE_TEMPERATURE,
        LIHV_EXTRAPOLATED,
        Caution(
            "lifepo4-tail",
            LIFEPO4_TAIL,
            severity="low",
            when=lambda given, found: (given.chemistry == cells.LIFEPO4) & (given.state_of_charge < 0.2),
        ),
    ),
    examples=(
        Example(
            "A punch of 700 W on a rested 25.0 V pack",
            given={
                "cells": 6,
                "capacity": 1300,
                "pack_power": 700,
                "open_circuit_voltage": "25.0 V",
                "cell_resistance": "8 mohm",
                "lead_resistance": "2 mohm",
                "discharge_rating": 100,
            },
            expected={
                "pack_current": 29.7728445445476,
                "loaded_voltage": 23.5113577727726,
                "discharge_rating_share": 22.9021881111905,
                "pack_resistance": 50.0,
                "maximum_pack_power": 3125.0,
            },
            rtol=1e-12,
            source="by hand: R = 6 x 8 + 2 = 50 mΩ; I = 2 x 700 / (25 + sqrt(625 - 140)) = 29.773 A; "
            "V = 25 - 29.773 x 0.05 = 23.511 V; 29.773 / 1.3 / 100 = 22.9 %",
        ),
        Example(
            "Half full, resistance assumed",
            given={"cells": 6, "capacity": "1.3 Ah", "pack_power": "400 W"},
            expected={"open_circuit_voltage": 22.7556, "pack_current": 18.6345387548},
            rtol=1e-11,
            source="by hand: 6 x 3.7926 V = 22.7556 V; R = 6 x 15/1.3 = 69.2308 mΩ; "
            "I = 800 / (22.7556 + sqrt(22.7556^2 - 1600 x 0.0692308)) = 18.6345 A",
        ),
        Example(
            "A small pack whose resistance with its leads was measured",
            given={"cells": 4, "capacity": 650, "pack_power": 400, "pack_resistance": 60},
            expected={"pack_current": 29.9039405418, "loaded_cell_voltage": 3.34404089188},
            rtol=1e-11,
            source="by hand: 4 x 3.7926 V = 15.1704 V; I = 800 / (15.1704 + sqrt(15.1704^2 - 96)) = 29.9039 A; "
            "(15.1704 - 29.9039 x 0.06) / 4 = 3.34404 V",
        ),
        Example(
            "A Li-ion pack at 0 °C",
            given={
                "cells": 4,
                "capacity": "3 Ah",
                "pack_power": "150 W",
                "chemistry": "li-ion",
                "state_of_charge": 80,
                "cell_resistance": "25 mohm",
                "pack_temperature": "0 degC",
            },
            expected={"pack_resistance": 209.261, "loaded_cell_voltage": 3.47816},
            rtol=5e-6,
            source="by hand: 4 x 25 mΩ x exp(20000/8.314463 x (1/273.15 - 1/298.15)) = 100 x 2.09261 = 209.261 mΩ; "
            "4 x 4.0422 = 16.169 V; I = 300 / (16.169 + sqrt(16.169^2 - 600 x 0.20926)) = 10.782 A; "
            "(16.1688 - 10.7816 x 0.20926) / 4 = 3.47816 V",
        ),
    ),
)
