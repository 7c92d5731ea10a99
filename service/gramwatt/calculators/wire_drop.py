"""Voltage lost in a run of wire, its heat, and what its copper weighs beside other gauges."""

import dataclasses
from dataclasses import dataclass
from typing import Annotated, Final

import numpy as np

from gramwatt.calculators._shared import fields, pack_fields, wire_gauges, wire_notices, wire_results, wires
from gramwatt.calculators._shared.cautions import NOMINAL_VOLTAGES
from gramwatt.calculators._shared.pack_fields import optional_quantity
from gramwatt.model import (
    Array,
    Assumption,
    Calculator,
    Count,
    Example,
    Group,
    Quantity,
    Reference,
    ScatterChart,
)
from gramwatt.physics import cells, wire

VOLTAGE_SPREAD: Final = 0.06
"""Relative, of the voltage in flight about the nominal one: an estimate."""


@dataclass(frozen=True, slots=True)
class Inputs:
    """The wire, its run, the currents, and what it is cooled by."""

    wire_gauge: wires.WireGauge
    wire_area: Annotated[
        Array, dataclasses.replace(wires.WIRE_AREA, replaces=("wire_gauge", "strands", "strand_diameter"))
    ]
    strands: Annotated[
        Array,
        Count(
            "Strands of one conductor; with their diameter, instead of the gauge.",
            group=Group.FINE_TUNING,
            at_least=1,
            at_most=100_000,
            optional=True,
            synonyms=("strand_count",),
        ),
    ]
    strand_diameter: Annotated[
        Array, optional_quantity("mm", "Diameter of one strand.", group=Group.FINE_TUNING, at_most=10)
    ]
    wire_length: Annotated[
        Array,
        Quantity(
            "mm",
            "Length of the run, one way.",
            label="Length, one way",
            group=Group.WIRING,
            above=0,
            at_most=1e6,
            synonyms=("length", "run", "distance"),
        ),
    ]
    conductors: Annotated[
        Array,
        Count(
            "Conductors of that length that the current flows through: 2 for there and back.",
            label="Conductors in the loop",
            group=Group.WIRING,
            at_least=1,
            at_most=100,
            default=2,
        ),
    ]
    mean_current: wires.MeanCurrent
    peak_current: wires.PeakCurrent
    peak_duration: wires.PeakDuration
    cells: pack_fields.OptionalCells
    chemistry: pack_fields.Chemistry
    supply_voltage: Annotated[
        Array,
        optional_quantity(
            "V",
            "Voltage at the start of the run, such as that of the pack in flight.",
            group=Group.PACK,
            at_most=1000,
            follows=("mean_voltage", "loaded_voltage", "nominal_voltage"),
            synonyms=("pack_voltage", "voltage"),
        ),
    ]
    air_temperature: fields.AirTemperature
    wire_temperature: Annotated[
        Array,
        optional_quantity(
            "degC",
            "Temperature of the copper, if known; default: that in still air at the average current.",
            label="Wire temperature",
            group=Group.FINE_TUNING,
            at_most=1000,
        ),
    ]
    wire_temperature_limit: wires.WireTemperatureLimit
    stranding_allowance: wires.StrandingAllowance
    outer_diameter_ratio: wires.OuterDiameterRatio
    heat_transfer_coefficient: wires.HeatTransferCoefficient


@dataclass(frozen=True, slots=True)
class Results:
    """The run at the average current, at the peak, and in other gauges."""

    voltage_drop: wire_results.VoltageDrop
    voltage_drop_share: wire_results.VoltageDropShare
    power_loss: wire_results.PowerLoss
    copper_mass: wire_results.CopperMass
    wire_resistance: wire_results.WireResistance
    wire_area: wire_results.WireArea
    current_density: wire_results.CurrentDensity
    wire_temperature: wire_results.ConductorTemperature
    peak_voltage_drop: wire_results.PeakVoltageDrop
    peak_voltage_drop_share: wire_results.PeakVoltageDropShare
    peak_power_loss: wire_results.PeakPowerLoss
    peak_current_density: wire_results.PeakCurrentDensity
    peak_wire_temperature: wire_results.PeakConductorTemperature
    fusing_time: wire_results.FusingTime
    fusing_current: wire_results.FusingCurrent
    wire_current_limit: wires.WireCurrentLimit
    by_gauge: wire_gauges.ByGauge


def wire_drop(given: Inputs) -> Results:
    """Compute voltage drop, loss, mass and heating of a run of copper wire.

    Loss and temperature are those of a steady average current. A current that varies heats more than its average, as
    heat grows with its square. Plugs and solder joints are not included. The temperature in still air is an estimate;
    that after a short peak is an upper bound.
    """
    by_strands = given.strands * wire.circle_area(given.strand_diameter)
    area = np.where(np.isnan(by_strands), wires.copper_area(given), by_strands)
    run = given.conductors * given.wire_length * (1 + given.stranding_allowance)
    temperature = wire_gauges.find_temperature(given, area)
    resistance = wire.resistivity(temperature) * run / area
    drop, peak_drop = given.mean_current * resistance, given.peak_current * resistance
    mass = wire.COPPER_DENSITY * area * run
    peak_density = given.peak_current / area
    return Results(
        voltage_drop=drop,
        voltage_drop_share=drop / given.supply_voltage,
        power_loss=given.mean_current * drop,
        copper_mass=mass,
        wire_resistance=resistance,
        wire_area=area,
        current_density=given.mean_current / area,
        wire_temperature=temperature,
        peak_voltage_drop=peak_drop,
        peak_voltage_drop_share=peak_drop / given.supply_voltage,
        peak_power_loss=given.peak_current * peak_drop,
        peak_current_density=peak_density,
        peak_wire_temperature=wire.heated_temperature(peak_density, given.peak_duration, temperature),
        fusing_time=wire.time_to_melt(peak_density, temperature),
        fusing_current=wire.fusing_current(wire.circle_diameter(area)),
        wire_current_limit=wires.current_limit(given, area),
        by_gauge=wire_gauges.compare_gauges(given, area, run, mass),
    )


CALCULATOR = Calculator(
    title="What does this wire lose?",
    summary="Voltage drop, heat and mass of a run of copper wire, beside other gauges.",
    inputs=Inputs,
    results=Results,
    formula=wire_drop,
    steps=wire_results.find_steps,
    category="choose",
    sentences=wire_notices.SENTENCES,
    charts=(ScatterChart("by_gauge", x="copper_mass", y="power_loss", title="Power lost against mass of copper"),),
    any_of=(("wire_gauge", "wire_area", "strands"),),
    assumptions=(
        Assumption(
            "supply_voltage",
            f"nominal, by cells and chemistry: {NOMINAL_VOLTAGES}",
            lambda given: given.cells * cells.NOMINAL_VOLTAGE[given.chemistry],
            uncertainty=lambda given: VOLTAGE_SPREAD * given.cells * cells.NOMINAL_VOLTAGE[given.chemistry],
        ),
    ),
    rules=wire_notices.RULES,
    references=(
        wires.gauge("wire_area", "by_gauge"),
        wires.copper(*wire_results.AT_TEMPERATURE, *wire_results.AT_PEAK, "copper_mass", "by_gauge"),
        Reference(
            "Ohm's law and Joule's: V = I R, P = I V; area by area of the strands",
            about=(*wire_results.OF_WIRE, *wire_results.AT_PEAK),
        ),
        wires.heat_balance("wire_temperature", "wire_current_limit", "by_gauge"),
        Reference(
            "Heating without loss of heat, c ρ dT/dt = J² ρ(T), integrated: derived; heat capacity 0.385 J/(g K) (CRC "
            "Handbook of Chemistry and Physics, as remembered); melting point 1084.62 °C (ITS-90)",
            about=("peak_wire_temperature", "fusing_time"),
        ),
        Reference(
            "W. H. Preece, On the heating effects of electric currents, Proceedings of the Royal Society of London 36 "
            "(1884), 464: I = 80 A (d/mm)^1.5 for copper; as remembered",
            about=("fusing_current",),
        ),
    ),
    cautions=wire_notices.CAUTIONS,
    examples=(
        Example(
            "Leads of AWG 16, 150 mm long, cold and not twisted, at 20 A from 4 cells",
            given={
                "wire_gauge": 16,
                "wire_length": 150,
                "mean_current": 20,
                "cells": 4,
                "wire_temperature": 20,
                "stranding_allowance": 0,
            },
            expected={
                "voltage_drop": 0.0790451117140,
                "voltage_drop_share": 0.534088592662,
                "power_loss": 1.58090223428,
                "copper_mass": 3.49029150593,
                "wire_resistance": 3.95225558570,
                "wire_area": 1.30869572776,
            },
            rtol=1e-11,
            source="by hand: d = 0.127 mm x 92^(20/39) = 1.29085 mm, A = 1.30870 mm²; R = 0.017241 x 0.3 m / 1.30870 = "
            "3.95226 mΩ; 20 A x R = 79.045 mV, of 14.8 V 0.534 %; 8.89 x 1.30870 x 0.3 = 3.4903 g",
        ),
        Example(
            "Flexible leads with 252 strands of 0.08 mm, 120 mm long, at 25 A with peaks of 80 A",
            given={
                "strands": 252,
                "strand_diameter": 0.08,
                "wire_length": 120,
                "mean_current": 25,
                "peak_current": 80,
                "peak_duration": 4,
                "supply_voltage": 23,
                "air_temperature": 25,
                "wire_temperature_limit": 120,
                "stranding_allowance": 3,
                "outer_diameter_ratio": 2.3,
                "heat_transfer_coefficient": 18,
            },
            expected={
                "voltage_drop": 0.108359992312,
                "wire_temperature": 93.3372127389,
                "peak_voltage_drop_share": 1.50761728434,
                "peak_current_density": 63.1567234492,
                "peak_wire_temperature": 215.090042041,
                "fusing_time": 17.6321193223,
                "fusing_current": 114.492060943,
                "wire_current_limit": 28.3460037223,
            },
            rtol=1e-11,
            source="by hand: A = 252 x pi/4 x 0.08^2 = 1.26669 mm², D = 2.3 x 1.26996 = 2.92091 mm; 25^2 x 0.017241 x "
            "1.03 / (1.26669 x 18 x pi x 2.92091e-3) = 53.048 K, so 25 + 53.048 x 1.01965 / (1 - 0.00393 x 53.048) = "
            "93.337 °C and R = 4.3344 mΩ; 80 A: 0.00393 x 1.7241e-8 x 6.31567e7^2 x 4 / (385 x 8890) = 0.315858, so "
            "93.337 + 327.79 x (e^0.315858 - 1) = 215.09 °C; Preece 80 x 1.26996^1.5 = 114.49 A",
        ),
        Example(
            "Three conductors of 2.5 mm², 400 mm long, at 12 A from 3 Li-ion cells",
            given={
                "wire_area": 2.5,
                "wire_length": "0.4 m",
                "conductors": 3,
                "mean_current": 12,
                "cells": 3,
                "chemistry": "li-ion",
            },
            expected={
                "voltage_drop": 0.102442152049,
                "voltage_drop_share": 0.948538444895,
                "copper_mass": 27.60345,
                "wire_temperature": 19.1538525905,
            },
            rtol=1e-11,
            source="by hand: D = 2.2 x 1.78412 = 3.92507 mm; 144 x 0.017241 x 1.035 / (2.5 x 20 x pi x 3.92507e-3) = "
            "4.16771 K, so 15 + 4.16771 x 0.98035 / (1 - 0.016379) = 19.154 °C; R = 0.017241 x 0.996675 x 1.2 x 1.035 "
            "/ 2.5 = 8.5368 mΩ; 12 A x R of 3 x 3.6 V = 0.949 %; 8.89 x 2.5 x 1.2 x 1.035 = 27.603 g",
        ),
    ),
)
