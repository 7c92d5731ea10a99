"""Motors, propellers and pack in equilibrium at full throttle or at a cap."""

from dataclasses import dataclass

import numpy as np

from gramwatt.calculators._shared import (
    drivetrain,
    fields,
    pack_fields,
    sentences,
    throttle_results,
    throttle_steps,
    whole_craft,
)
from gramwatt.calculators._shared.cautions import (
    BELOW_CUTOFF,
    LIHV_EXTRAPOLATED,
    LITHIUM_FIRE,
    MORE_THAN_FULL,
    OUTSIDE_TEMPERATURE,
    OVER_RATING,
    PROPELLERS_OFF,
    RATING_OVERSTATED,
    RESISTANCE_ASSUMED,
    TYPICAL_RESISTANCE,
    rested_voltage,
)
from gramwatt.model import Calculator, Caution, CurveChart, Example, Rule
from gramwatt.physics import air, constants, craft, pack, rotor


@dataclass(frozen=True, slots=True)
class Inputs:
    """The pack, the motors, the propellers, the air, and bench points that replace defaults."""

    cells: pack_fields.Cells
    capacity: pack_fields.Capacity
    kv: fields.Kv
    diameter: fields.PropellerDiameter
    pitch: fields.Pitch
    blades: fields.Blades
    motors: fields.Motors
    mass: fields.OptionalMass
    throttle_cap: fields.ThrottleCap
    chemistry: pack_fields.Chemistry
    state_of_charge: pack_fields.FreshCharge
    open_circuit_voltage: pack_fields.OpenCircuitVoltage
    cell_resistance: pack_fields.CellResistance
    lead_resistance: pack_fields.LeadResistance
    pack_resistance: pack_fields.MeasuredPackResistance
    pack_temperature: pack_fields.PackTemperature
    activation_energy: pack_fields.ActivationEnergy
    discharge_rating: pack_fields.DischargeRating
    stator_diameter: drivetrain.StatorDiameter
    stator_height: drivetrain.StatorHeight
    kv_deficit: drivetrain.KvDeficit
    motor_resistance: drivetrain.MotorResistance
    no_load_current: drivetrain.NoLoadCurrent
    controller_rating: drivetrain.ControllerRating
    thrust_coefficient: drivetrain.ThrustCoefficient
    power_coefficient: drivetrain.PowerCoefficient
    figure_of_merit: fields.FigureOfMerit
    air_density: fields.AirDensity
    air_temperature: fields.AirTemperature
    avionics_power: fields.AvionicsPower
    bench_speed: drivetrain.BenchSpeed
    bench_thrust: drivetrain.BenchThrust
    bench_shaft_power: drivetrain.BenchShaftPower
    bench_voltage: drivetrain.BenchVoltage
    bench_current: drivetrain.BenchCurrent
    thrust_coefficient_error: drivetrain.ThrustCoefficientError
    power_coefficient_error: drivetrain.PowerCoefficientError


@dataclass(frozen=True, slots=True)
class Results:
    """The whole craft at rest, at the cap."""

    thrust: throttle_results.Thrust
    pack_current: throttle_results.PackCurrent
    pack_power: throttle_results.PackPower
    thrust_to_weight: throttle_results.ThrustToWeight
    hover_throttle: throttle_steps.HoverThrottle
    hover_power: throttle_steps.HoverPower
    hover_current: throttle_steps.HoverCurrent
    motor_current: throttle_results.MotorCurrent
    rotor_speed: throttle_results.RotorSpeed
    loaded_voltage: throttle_results.LoadedVoltage
    loaded_cell_voltage: fields.LoadedCellVoltage
    motor_efficiency: throttle_results.MotorEfficiency
    thrust_per_watt: throttle_results.ThrustPerWatt
    tip_speed: throttle_results.TipSpeed
    tip_mach: throttle_results.TipMach
    c_rate: throttle_results.CRate
    discharge_rating_share: fields.DischargeRatingShare
    controller_rating_share: throttle_results.ControllerRatingShare
    thrust_by_throttle: throttle_results.ThrustByThrottle
    pack_current_by_throttle: throttle_results.PackCurrentByThrottle
    thrust_per_watt_by_throttle: throttle_results.ThrustPerWattByThrottle


def full_throttle(given: Inputs) -> Results:
    """Compute thrust, current and speed where motors, propellers and pack agree, at rest at full throttle or a cap.

    Throttle is the duty of an ideal converter. From catalogue data alone, thrust and current have the uncertainty that
    is stated with them; bench points reduce it. The pack is one resistance: valid for bursts of a few seconds. In
    flight, moving air unloads the propellers and less current flows.
    """
    drive, source = drivetrain.drive_of(given), whole_craft.pack_of(given)
    steps = craft.operate(
        drive, throttle_results.THROTTLES[:, None] * given.throttle_cap, **source
    )  # one row for each throttle
    top = craft.Operation(*(values[-1] for values in steps))
    hover = craft.demand_at_speed(drive, craft.hover_speed(drive, given.mass), **source)
    hovers = hover.duty <= 1
    hover_power = np.where(hovers, hover.power, np.nan)
    tip_speed = top.rotor_speed * given.diameter / 2
    c_rate = top.pack_current / given.capacity
    return Results(
        thrust=top.thrust,
        pack_current=top.pack_current,
        pack_power=top.power,
        thrust_to_weight=top.thrust / (given.mass * constants.STANDARD_GRAVITY),
        hover_throttle=np.where(hovers, hover.duty, np.nan),
        hover_power=hover_power,
        hover_current=pack.current_at_power(hover_power, source["open_circuit_voltage"], source["pack_resistance"]),
        motor_current=top.motor_current,
        rotor_speed=top.rotor_speed,
        loaded_voltage=top.pack_voltage,
        loaded_cell_voltage=top.pack_voltage / given.cells,
        motor_efficiency=top.motor_efficiency,
        thrust_per_watt=top.thrust / top.power,
        tip_speed=tip_speed,
        tip_mach=rotor.tip_mach(top.rotor_speed, given.diameter, air.speed_of_sound(given.air_temperature)),
        c_rate=c_rate,
        discharge_rating_share=c_rate / given.discharge_rating,
        controller_rating_share=top.motor_current / given.controller_rating,
        thrust_by_throttle=steps.thrust.T,
        pack_current_by_throttle=steps.pack_current.T,
        thrust_per_watt_by_throttle=(steps.thrust / steps.power).T,
    )


EVERYTHING = (
    *("thrust", "pack_current", "pack_power", "thrust_to_weight", "motor_current", "rotor_speed", "loaded_voltage"),
    "loaded_cell_voltage",
    "motor_efficiency",
    "thrust_per_watt",
    "tip_speed",
    "tip_mach",
    "c_rate",
    "discharge_rating_share",
    "controller_rating_share",
)
HOVERING = ("hover_throttle", "hover_power", "hover_current")
BY_STEP = ("thrust_by_throttle", "pack_current_by_throttle", "thrust_per_watt_by_throttle")

CALCULATOR = Calculator(
    title="What does it do at full throttle?",
    summary="Thrust, current and speed of motors, propellers and pack together, at full throttle or a cap.",
    inputs=Inputs,
    results=Results,
    formula=full_throttle,
    steps=throttle_steps.find_steps,
    category="choose",
    sentences=sentences.FULL_THROTTLE,
    charts=(
        CurveChart(
            "throttle_cap", ("thrust", "pack_current"), start=20, stop=100, title="Thrust and current against throttle"
        ),
    ),
    assumptions=(TYPICAL_RESISTANCE, *drivetrain.ASSUMPTIONS),
    rules=(
        Rule(
            "bench-point-impossible",
            drivetrain.BENCH_IMPOSSIBLE,
            when=lambda given, found: drivetrain.is_bench_impossible(given),
            results=(*EVERYTHING, *HOVERING, *BY_STEP),
            partly=drivetrain.BENCH_PARTLY_IMPOSSIBLE,
        ),
        Rule(
            "does-not-turn",
            "At {throttle_cap} throttle the motors do not turn: the pack cannot drive more than their no-load current "
            "of {no_load_current} through {motor_resistance}.",
            when=lambda given, found: np.isnan(found.thrust),
            results=EVERYTHING,
            partly="the motors do not turn at {throttle_cap} throttle",
        ),
        Rule(
            "does-not-turn-low",
            "At a quarter of {throttle_cap} throttle the motors do not turn.",
            severity="low",
            when=lambda given, found: np.isnan(found.thrust_by_throttle[:, 0]),
            results=BY_STEP,
            partly="the motors do not turn at a quarter of {throttle_cap} throttle",
        ),
        Rule(
            "cannot-lift",
            "The craft cannot hover: full throttle does not lift {mass}.",
            when=lambda given, found: ~np.isnan(given.mass),
            results=HOVERING,
            partly="full throttle does not lift {mass}",
        ),
    ),
    references=(drivetrain.MODEL, drivetrain.COEFFICIENTS, drivetrain.BENCH, rested_voltage("loaded_voltage")),
    cautions=(
        PROPELLERS_OFF,
        LITHIUM_FIRE,
        drivetrain.STATIC,
        drivetrain.DUTY_IS_NOT_STICK,
        *drivetrain.CAUTIONS,
        RESISTANCE_ASSUMED,
        MORE_THAN_FULL,
        Caution(
            "cap-below-hover",
            "The throttle cap is below the hover throttle of {hover_throttle}: the craft will not lift off.",
            severity="high",
            when=lambda given, found: found.hover_throttle > given.throttle_cap,
        ),
        BELOW_CUTOFF,
        OVER_RATING,
        RATING_OVERSTATED,
        Caution(
            "over-controller-rating",
            "A motor draws {controller_rating_share} of its controller's continuous rating.",
            severity="high",
            when=lambda given, found: found.controller_rating_share > 1,
        ),
        Caution(
            "fast-tips",
            "At a tip Mach number of {tip_mach} thrust drops, noise rises, and the coefficients are no longer valid.",
            severity="high",
            when=lambda given, found: found.tip_mach > throttle_results.MAX_TIP_MACH,
        ),
        OUTSIDE_TEMPERATURE,
        LIHV_EXTRAPOLATED,
    ),
    examples=(
        Example(
            "A bench supply of 11.1 V, one motor, all constants measured",
            given={
                "cells": 3,
                "capacity": "100 Ah",
                "open_circuit_voltage": 11.1,
                "cell_resistance": 0,
                "motors": 1,
                "kv": 2300,
                "kv_deficit": 0,
                "motor_resistance": "300 mohm",
                "no_load_current": 0.9,
                "diameter": 5,
                "pitch": 4,
                "thrust_coefficient": 0.15,
                "power_coefficient": 0.075,
                "air_density": 1.2,
                "avionics_power": 0,
            },
            expected={"rotor_speed": 17905.1194094665, "motor_current": 11.0505515804833, "thrust": 425.224868906028},
            rtol=1e-11,
            source="by hand: k = 60/(2 pi 2300) = 4.15187e-3 V s; c = 0.075 x 1.2 x 0.127^5/(2 pi)^3 = 1.198730e-8; "
            "c w^2 + 5.74600e-5 w - 0.149882 = 0 gives w = 1875.02 rad/s = 17 905 rpm; I = c w^2/k + 0.9 = 11.0506 A; "
            "T = 0.15 x 1.2 x 298.42^2 x 0.127^4 = 4.1700 N = 425.22 gf",
        ),
        Example(
            "A light five-inch craft on a fresh 6-cell pack, capped to two thirds, from catalogue data",
            given={
                "cells": 6,
                "capacity": 1100,
                "kv": 1950,
                "diameter": 5,
                "pitch": 4,
                "blades": 3,
                "mass": 620,
                "throttle_cap": 66,
                "discharge_rating": 100,
                "controller_rating": 35,
                "lead_resistance": 4,
                "pack_temperature": 15,
            },
            expected={"thrust": 2408.51353872, "pack_current": 36.0867034848, "loaded_voltage": 21.1490877245},
            rtol=1e-8,
            source="by bisection of the motor's voltage balance, outside this service, with 25.2 V, 4 + 6 x 15/1.1 x "
            "1.3231 mΩ, 1833 rpm/V, 200 mΩ, 587 / (1950 x 0.2) = 1.5051 A, CT 0.15708, CP 0.082786, 5 W of avionics",
        ),
        Example(
            "A motor with its propeller on a bench: speed, thrust, voltage and current at full throttle",
            given={
                "cells": 4,
                "capacity": 1300,
                "kv": 2400,
                "diameter": 5,
                "pitch": 4.3,
                "pack_resistance": 40,
                "mass": "0.4 kg",
                "bench_speed": 26600,
                "bench_thrust": 920,
                "bench_voltage": 14.8,
                "bench_current": 23,
                "air_temperature": 25,
            },
            expected={"thrust": 3171.30641772, "pack_current": 80.6846891229, "rotor_speed": 24693.169101},
            rtol=1e-8,
            source="by hand: CT = 0.920 kgf / (1.225 x 443.33^2 x 0.127^4) = 0.14404; R = (14.8 - 26600/2256) / 23 = "
            "0.13084 Ω; I0 = 587 / (2400 x 0.13084) = 1.8694 A; Q = (23 - 1.8694) / 236.25 = 0.089442 N m, CP = "
            "249.15 W / (1.225 x 443.33^3 x 0.127^5) = 0.070649; then by bisection as above with 16.8 V and 40 mΩ",
        ),
        Example(
            "A motor with the size of its stator, its propeller measured apart: thrust and shaft power at a speed",
            given={
                "cells": 4,
                "capacity": 1300,
                "kv": 2400,
                "stator_diameter": 22,
                "stator_height": 6,
                "diameter": 5,
                "pitch": 4.3,
                "mass": "0.4 kg",
                "bench_speed": 20000,
                "bench_thrust": 520,
                "bench_shaft_power": 90,
            },
            expected={"thrust": 3296.79528551, "pack_current": 72.4044653615, "rotor_speed": 25179.3386205},
            rtol=1e-8,
            source="by hand: CT = 0.520 kgf / (1.225 x 333.33^2 x 0.127^4) = 0.14402, CP = 90 W / (1.225 x 333.33^3 x "
            "0.127^5) = 0.060042; R = 0.174 x (2000/2400)^2 x (3000/2904)^(5/3) = 0.12756 Ω, I0 = 587 / (2400 R) = "
            "1.9173 A; then by bisection as above with 16.8 V and 4 x 15/1.3 mΩ",
        ),
    ),
)
