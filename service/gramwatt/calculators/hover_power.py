"""Electrical power of a multirotor in hover, climb or slow forward flight."""

from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np

from gramwatt.calculators._shared import (
    drivetrain,
    fields,
    hover_fields,
    hover_steps,
    hovering,
    pack_fields,
    sentences,
    whole_craft,
)
from gramwatt.calculators._shared.cautions import MORE_THAN_FULL, RESISTANCE_ASSUMED, TYPICAL_RESISTANCE, rested_voltage
from gramwatt.model import (
    Array,
    Assumption,
    Calculator,
    Caution,
    CurveChart,
    Example,
    Quantity,
    Reference,
)
from gramwatt.physics import hover


@dataclass(frozen=True, slots=True)
class Inputs:
    """The craft, the air, its motion, and a measured hover that replaces the default efficiency."""

    mass: fields.Mass
    diameter: fields.PropellerDiameter
    motors: fields.Motors
    rotor_layout: hover_fields.RotorLayout
    rotor_spacing: hover_fields.RotorSpacing
    kv: fields.OptionalKv
    pitch: fields.OptionalPitch
    blades: fields.Blades
    figure_of_merit: fields.FigureOfMerit
    drive_efficiency: hover_fields.DriveEfficiency
    avionics_power: fields.AvionicsPower
    air_density: fields.AirDensity
    climb_speed: hover_fields.ClimbSpeed
    forward_speed: hover_fields.ForwardSpeed
    cells: pack_fields.OptionalCells
    chemistry: pack_fields.Chemistry
    loaded_cell_voltage: hover_fields.LoadedCellVoltage
    capacity: pack_fields.OptionalCapacity
    state_of_charge: pack_fields.FreshCharge
    open_circuit_voltage: pack_fields.OpenCircuitVoltage
    cell_resistance: pack_fields.CellResistance
    lead_resistance: pack_fields.LeadResistance
    pack_resistance: pack_fields.MeasuredPackResistance
    pack_temperature: pack_fields.PackTemperature
    activation_energy: pack_fields.ActivationEnergy
    hover_current: hover_fields.HoverCurrent
    hover_voltage: hover_fields.HoverVoltage
    kv_deficit: drivetrain.KvDeficit
    stator_diameter: drivetrain.StatorDiameter
    stator_height: drivetrain.StatorHeight
    motor_resistance: drivetrain.MotorResistance
    no_load_current: drivetrain.NoLoadCurrent
    thrust_coefficient: drivetrain.ThrustCoefficient
    power_coefficient: drivetrain.PowerCoefficient
    bench_speed: drivetrain.BenchSpeed
    bench_thrust: drivetrain.BenchThrust
    bench_shaft_power: drivetrain.BenchShaftPower
    bench_voltage: drivetrain.BenchVoltage
    bench_current: drivetrain.BenchCurrent
    thrust_coefficient_error: drivetrain.ThrustCoefficientError
    power_coefficient_error: drivetrain.PowerCoefficientError


@dataclass(frozen=True, slots=True)
class Results:
    """Power, and the quantities that it depends on."""

    hover_power: Annotated[
        Array,
        Quantity("W", "Electrical power in hover.", formula="hover_shaft_power / drive_efficiency + avionics_power"),
    ]
    hover_throttle: hover_steps.HoverThrottle
    pack_power: Annotated[
        Array,
        Quantity(
            "W",
            "Electrical power in this climb or forward flight.",
            formula="shaft_power / drive_efficiency + avionics_power",
        ),
    ]
    pack_current: Annotated[
        Array,
        Quantity(
            "A",
            "Current from the pack at that power.",
            label="Pack current",
            formula="pack_power / (cells * loaded_cell_voltage)",
            needs=("cells",),
        ),
    ]
    shaft_power: hover_steps.ShaftPower
    ideal_power: Annotated[
        Array,
        Quantity("W", "Power without losses and interference.", formula="weight * (climb_speed + induced_velocity)"),
    ]
    overall_efficiency: Annotated[
        Array, Quantity("%", "Ideal over electrical power.", at_most=100, formula="ideal_power / pack_power")
    ]
    power_loading: Annotated[Array, Quantity("g/W", "Mass per electrical power.", formula="mass / pack_power")]
    disk_loading: Annotated[
        Array,
        Quantity(
            "N/m2",
            "Weight over the area of all propellers, overlap not deducted.",
            formula="weight / (motors * pi * diameter**2 / 4)",
        ),
    ]
    induced_velocity: hover_steps.InducedVelocity
    interference_factor: hover_steps.InterferenceFactor


def hover_power(given: Inputs) -> Results:
    """Compute power by momentum theory: ideal power over figure of merit and drive efficiency, plus avionics.

    With kV and pitch the drive efficiency is that of motor and propeller in hover, as in full-throttle; without them it
    is typical of the thrust of a rotor. Valid for steady, slow flight in open air: no ground effect, gusts or descent.
    Climb and forward flight change only the induced part; body drag is left out, and the other losses of the propeller
    and the drive efficiency are those in hover.
    """
    disk_loading = hovering.disk_loading(given)
    hover_velocity = hover.hover_velocity(disk_loading, given.air_density)
    velocity = hover.induced_velocity(hover_velocity, given.climb_speed, given.forward_speed)
    ideal_power = hovering.weight(given) * (given.climb_speed + velocity)
    hover_power = hovering.shaft_power_in_hover(given) / given.drive_efficiency + given.avionics_power
    throttle = hovering.throttle_in_hover(given)
    grounded = np.isnan(throttle) & whole_craft.knows_craft(given) & hovering.is_modelled(given)
    power = np.where(grounded, np.nan, hovering.electrical_power(given))
    return Results(
        hover_power=np.where(grounded, np.nan, hover_power),
        hover_throttle=throttle,
        pack_power=power,
        pack_current=power / (given.cells * given.loaded_cell_voltage),
        shaft_power=hovering.shaft_power(given),
        ideal_power=ideal_power,
        overall_efficiency=np.where(ideal_power <= power, ideal_power / power, np.nan),
        power_loading=given.mass / power,
        disk_loading=disk_loading,
        induced_velocity=velocity,
        interference_factor=hovering.interference(given),
    )


CALCULATOR = Calculator(
    title="How much power to hover?",
    summary="Electrical power and current in hover, climb and slow forward flight.",
    inputs=Inputs,
    results=Results,
    formula=hover_power,
    steps=hover_steps.find_steps,
    category="before",
    sentences=sentences.HOVER,
    charts=(
        CurveChart(
            "mass",
            ("hover_power", "power_loading"),
            start=lambda given, found: 0.5 * given.mass,
            stop=lambda given, found: 1.5 * given.mass,
            title="Hover power against mass",
        ),
    ),
    assumptions=(
        Assumption("rotor_spacing", "the diameter: disks that do not overlap", lambda given: given.diameter),
        TYPICAL_RESISTANCE,
        *drivetrain.ASSUMPTIONS,
        *hovering.ASSUMPTIONS,
    ),
    rules=hovering.RULES,
    references=(
        Reference(
            "Momentum theory, figure of merit, climb, coaxial and overlapping rotors: derived, also in the tests"
        ),
        Reference(
            "Forward flight: momentum theory with Glauert's hypothesis, derived",
            about=("pack_power", "pack_current", "shaft_power", "ideal_power", "induced_velocity"),
        ),
        Reference("No forward flight above 10 m/s without drag data: rule of thumb, no source", about=("pack_power",)),
        Reference(
            "Typical drive efficiency: an estimate from an open set of bench runs with five-inch propellers "
            "(StrawsonDesign/motor_propeller_testing, MIT) and, at 4 kg, flights of Rodrigues et al., Sci. Data 8 "
            "(2021) 155",
            url="https://github.com/StrawsonDesign/motor_propeller_testing",
            about=("hover_power", "pack_power", "pack_current", "overall_efficiency", "power_loading"),
        ),
        drivetrain.MODEL,
        drivetrain.COEFFICIENTS,
        drivetrain.BENCH,
        rested_voltage("hover_throttle", "pack_current"),
    ),
    cautions=(
        Caution(
            "check-makers-data",
            "This is an estimate for choosing parts. Full throttle takes several times this power: check the makers' "
            "limits of motor, controller and pack. Hover low and away from people first, and remove the propellers "
            "before you work on the craft.",
        ),
        *hovering.CAUTIONS,
        replace(drivetrain.DUTY_IS_NOT_STICK, when=lambda given, found: found.hover_throttle <= 1),
        *drivetrain.CAUTIONS,
        RESISTANCE_ASSUMED,
        MORE_THAN_FULL,
        Caution(
            "no-drag",
            "Body drag is left out. With speed it soon exceeds what forward flight saves, so the real power is higher.",
            severity="low",
            when=lambda given, found: given.forward_speed > 0,
        ),
        Caution(
            "beyond-modelled-speed",
            "Above 10 m/s this estimate means little without drag data.",
            when=lambda given, found: np.hypot(given.climb_speed, given.forward_speed) > hover.MAX_CHECKED_SPEED,
        ),
        Caution(
            "deep-overlap",
            "Where disks overlap so much, three of them may share their air, which is not modelled.",
            when=lambda given, found: given.rotor_spacing < hover.MIN_SPACING * given.diameter,
        ),
    ),
    examples=(
        Example(
            "A 600 g craft with its motors and propellers",
            given={
                "mass": 600,
                "diameter": 5,
                "pitch": 4.3,
                "kv": 2400,
                "kv_deficit": 5,
                "stator_diameter": 22,
                "stator_height": 6,
                "cells": 4,
                "capacity": 1300,
                "cell_resistance": 12,
                "pack_temperature": 12,
            },
            expected={
                "hover_power": 123.207238293,
                "hover_throttle": 31.6668134986,
                "pack_current": 7.57030105508,
                "shaft_power": 67.5141709542,
            },
            rtol=1e-8,
            source="by hand: CT 0.145 x 0.86^0.55 x 1.5^0.5 = 0.163451; 5.88399 N turn four at 1055.885 rad/s; "
            "67.5142 W of shaft power are 15.98522 mN m each: 5.733986 A at 5.153799 V, four times, and 5 W; "
            "16.8 V behind 4 x 12 x 1.444577 mΩ give 7.570301 A at 16.27508 V",
        ),
        Example(
            "A 600 g craft on five-inch propellers",
            given={"mass": 600, "diameter": 5, "drive_efficiency": 70, "cells": 4},
            expected={
                "pack_power": 101.449,
                "pack_current": 6.85465,
                "shaft_power": 67.5142,
                "ideal_power": 40.5085,
                "disk_loading": 116.122,
                "induced_velocity": 6.88453,
                "interference_factor": 1,
            },
            rtol=5e-6,
            source="by hand: 5.88399 N / (4 x 0.01266769 m²) = 116.122 N/m²; sqrt(116.122 / 2.45) = 6.88453 m/s; "
            "x 5.88399 N = 40.5085 W; / 0.6 = 67.5142 W; / 0.7 + 5 = 101.449 W; / 14.8 V = 6.85465 A",
        ),
        Example(
            "Coaxial pairs that overlap, one measured hover, in a climb",
            given={
                "mass": "1.5 kg",
                "diameter": 10,
                "motors": 8,
                "rotor_layout": "coaxial",
                "rotor_spacing": "9 in",
                "climb_speed": 2,
                "cells": 6,
                "hover_current": 9,
                "hover_voltage": 22.2,
            },
            expected={
                "interference_factor": 1.320444,
                "induced_velocity": 2.976366,
                "pack_power": 221.4082,
                "pack_current": 9.973344,
            },
            rtol=5e-7,
            source="by hand: m'(0.9) = 0.03738607, (1 + 0.4142136 x 2 m') x 1.2807764 = 1.320444; vh = 3.848569 m/s; "
            "hover 14.709975 N x 3.848569 x (1.320444 + 0.6666667) = 112.4950 W of 199.8 - 5 W, 57.74898 %; "
            "v = -1 + sqrt(1 + vh^2) = 2.976366 m/s; climb 14.709975 x (2 + 1.320444 v + 0.6666667 vh) = 124.9736 W",
        ),
        Example(
            "Moving at 8 m/s in thin air, drive efficiency assumed",
            given={
                "mass": 250,
                "diameter": 3,
                "air_density": 1.0,
                "forward_speed": "8 m/s",
                "figure_of_merit": 0.55,
                "avionics_power": 3,
                "cells": 3,
                "chemistry": "li-ion",
            },
            expected={
                "induced_velocity": 6.513856,
                "shaft_power": 32.41334,
                "pack_power": 76.46789,
                "pack_current": 7.080360,
            },
            rtol=5e-7,
            source="by hand: vh = sqrt(134.4005 / 2) = 8.197576 m/s; v^2 = -32 + sqrt(1024 + vh^4), 6.513856 m/s; "
            "2.4516625 N x (v + 0.8181818 vh) = 32.41334 W; 62.5 gf: (0.26 + 0.07 ln(62.5/60)/ln(110/60)) / 0.6 = "
            "44.11906 %; 76.46789 W / 10.8 V",
        ),
        Example(
            "Motors with one bench point: speed, thrust, voltage and current at full throttle",
            given={
                "mass": "0.4 kg",
                "diameter": 5,
                "pitch": 4.3,
                "kv": 2400,
                "kv_deficit": 6,
                "bench_speed": 26600,
                "bench_thrust": 920,
                "bench_voltage": 14.8,
                "bench_current": 23,
            },
            expected={"hover_power": 78.8649104996, "shaft_power": 35.7135276171},
            rtol=1e-8,
            source="by hand: CT 0.144045, CP 0.0706494, 0.130836 Ω and 1.86939 A as in full-throttle's example of "
            "this bench point; 3.92266 N at 35.7135 W of shaft power, of which the motors make 48.3498 %; and 5 W",
        ),
    ),
)
