"""Throttle cap that makes a motor turn like another, or that keeps a thrust, a current or a rating."""

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from gramwatt.calculators._shared import (
    cap_results,
    cap_steps,
    drivetrain,
    fields,
    pack_fields,
    target_fields,
    throttle_targets,
    whole_craft,
)
from gramwatt.calculators._shared.cautions import (
    NOMINAL_CELL_VOLTAGE,
    PROPELLERS_OFF,
    RESISTANCE_ASSUMED,
    rested_voltage,
)
from gramwatt.model import (
    Array,
    Calculator,
    Caution,
    CurveChart,
    Deviate,
    Example,
    Group,
    Reference,
    Sentence,
)
from gramwatt.physics import air, rotor

CellVoltage = Annotated[
    Array,
    pack_fields.optional_quantity(
        "V", "Cell voltage for computing speeds.", group=Group.FINE_TUNING, at_most=pack_fields.MAX_CELL_VOLTAGE
    ),
]


@dataclass(frozen=True, slots=True)
class Inputs:
    """The motor and the pack, targets of which the lowest sets the cap, and the rest of the craft."""

    kv: fields.Kv
    cells: pack_fields.Cells
    chemistry: pack_fields.Chemistry
    cell_voltage: CellVoltage
    target_kv: target_fields.TargetKv
    target_cells: target_fields.TargetCells
    target_cell_voltage: CellVoltage
    target_chemistry: target_fields.TargetChemistry
    target_capacity: target_fields.TargetCapacity
    target_cell_resistance: target_fields.TargetCellResistance
    target_lead_resistance: target_fields.TargetLeadResistance
    target_pack_resistance: target_fields.TargetPackResistance
    target_no_load_speed: target_fields.TargetNoLoadSpeed
    target_no_load_tip_mach: target_fields.TargetNoLoadTipMach
    target_thrust: target_fields.TargetThrust
    target_thrust_to_weight: target_fields.TargetThrustToWeight
    target_pack_current: target_fields.TargetPackCurrent
    discharge_rating: pack_fields.DischargeRating
    controller_rating: drivetrain.ControllerRating
    diameter: fields.Diameter
    pitch: fields.OptionalPitch
    blades: fields.Blades
    motors: fields.Motors
    mass: fields.OptionalMass
    capacity: pack_fields.OptionalCapacity
    state_of_charge: pack_fields.FreshCharge
    open_circuit_voltage: pack_fields.OpenCircuitVoltage
    cell_resistance: pack_fields.CellResistance
    lead_resistance: pack_fields.LeadResistance
    pack_resistance: pack_fields.MeasuredPackResistance
    pack_temperature: pack_fields.PackTemperature
    activation_energy: pack_fields.ActivationEnergy
    kv_deficit: drivetrain.KvDeficit
    stator_diameter: drivetrain.StatorDiameter
    stator_height: drivetrain.StatorHeight
    motor_resistance: drivetrain.MotorResistance
    no_load_current: drivetrain.NoLoadCurrent
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
    sag_error: Annotated[Array, Deviate("Sag of the pack to match at full throttle.")]
    throttle_exponent_error: Annotated[Array, Deviate("How thrust depends on throttle.")]
    thrust_coefficient_error: drivetrain.ThrustCoefficientError
    power_coefficient_error: drivetrain.PowerCoefficientError


@dataclass(frozen=True, slots=True)
class Results:
    """The cap and its effects."""

    throttle_cap: cap_results.ThrottleCap
    cap_set_by: cap_results.CapSetBy
    matching_throttle_cap: cap_results.MatchingThrottleCap
    effective_kv: cap_results.EffectiveKv
    no_load_speed: cap_results.NoLoadSpeed
    uncapped_no_load_speed: cap_results.UncappedNoLoadSpeed
    thrust_share: cap_results.ThrustShare
    power_share: cap_results.PowerShare
    no_load_tip_mach: cap_results.NoLoadTipMach


def throttle_cap(given: Inputs) -> Results:
    """Compute the throttle cap that keeps every target, and which target sets it.

    With the propellers and the pack, thrust and currents are those of full-throttle at the cap, and the cap of a target
    motor or pack matches speeds under load. With kV and cells alone it matches speeds without load; under load the cap
    is mostly lower, as its range shows. Target speed and target tip Mach are without load: no propeller turns faster.
    """
    sound = air.speed_of_sound(given.air_temperature)
    uncapped = given.kv * given.cells * given.cell_voltage
    cap, cap_set_by, match = throttle_targets.find_lowest(given)
    thrust_share = throttle_targets.find_thrust_share(given, cap)
    return Results(
        throttle_cap=cap,
        cap_set_by=cap_set_by,
        matching_throttle_cap=match,
        effective_kv=given.kv * cap,
        no_load_speed=uncapped * cap,
        uncapped_no_load_speed=uncapped,
        thrust_share=thrust_share,
        power_share=thrust_share**1.5,
        no_load_tip_mach=rotor.tip_mach(uncapped * cap, given.diameter, sound),
    )


CALCULATOR = Calculator(
    title="Which throttle cap tames this motor?",
    summary="Throttle cap that matches another motor or pack, or keeps a thrust, a current or a rating.",
    inputs=Inputs,
    results=Results,
    formula=throttle_cap,
    steps=cap_steps.find_steps,
    category="choose",
    sentences=(
        Sentence(
            "No cap needed: no target is below full throttle",
            when=lambda given, found: (found.cap_set_by == 0) & throttle_targets.has_target(given),
        ),
        Sentence("No cap without a target", when=lambda given, found: found.cap_set_by == 0),
        Sentence(
            "{throttle_cap} would not lift it off",
            when=lambda given, found: throttle_targets.is_below_hover(given, found.throttle_cap),
            verdict="bad",
        ),
        Sentence(
            "Cap the throttle at {throttle_cap:range}",
            details=(
                "{no_load_speed} without load, instead of {uncapped_no_load_speed}.",
                "That leaves {thrust_share} of the thrust.",
            ),
        ),
    ),
    charts=(
        CurveChart(
            "cells",
            ("throttle_cap", "no_load_speed"),
            start=lambda given, found: np.maximum(given.cells - 3, 1),
            stop=lambda given, found: given.cells + 3,
            title="Throttle cap against cells",
        ),
    ),
    assumptions=(NOMINAL_CELL_VOLTAGE, *throttle_targets.ASSUMPTIONS, *drivetrain.ASSUMPTIONS),
    rules=throttle_targets.RULES,
    references=(
        Reference(
            "Speed without load is duty times kV times voltage: ideal motor and converter, derived",
            about=(
                "throttle_cap",
                "effective_kv",
                "no_load_speed",
                "uncapped_no_load_speed",
                "cap_set_by",
                "matching_throttle_cap",
            ),
        ),
        Reference(
            "Share of thrust without the propellers and the pack, and how far the cap under load may be from the one "
            "without load: an estimate from the model of full-throttle for craft with propellers of 2 to 13 in",
            about=("thrust_share", "power_share", "throttle_cap", "matching_throttle_cap"),
        ),
        drivetrain.MODEL,
        drivetrain.COEFFICIENTS,
        drivetrain.BENCH,
        rested_voltage("throttle_cap", "matching_throttle_cap", "thrust_share"),
        Reference("Speed of sound sqrt(1.4 R T): ISO 2533:1975", about=("no_load_tip_mach", "throttle_cap")),
        Reference(
            "A motor for 4 cells on 6 cells is capped at about 66 %: rule of thumb, no source",
            about=("throttle_cap", "matching_throttle_cap"),
        ),
    ),
    cautions=(
        PROPELLERS_OFF,
        Caution(
            "cap-is-not-voltage",
            "A cap reduces neither the voltage at the speed controller nor its current ripple. Choose a controller "
            "that is rated for the full pack.",
        ),
        drivetrain.DUTY_IS_NOT_STICK,
        Caution(
            "no-target",
            "There is no target, so there is no cap. Give target cells, target kV, or a maximum speed, "
            "thrust or current.",
            missing=True,
            when=lambda given, found: ~throttle_targets.has_target(given),
        ),
        Caution(
            "matched-without-load",
            "The cap matches speeds without load. Under load the same cap is mostly lower, by up to a fifth. Give the "
            "propellers (diameter, pitch) and the pack (capacity).",
            missing=True,
            when=lambda given, found: (found.matching_throttle_cap < 1) & ~whole_craft.knows_craft(given),
        ),
        Caution(
            "target-pack-assumed",
            "The pack to match was taken to have the capacity of this pack, and cells of the same resistance. If its "
            "own differ, give target capacity, and target cell resistance or target pack resistance.",
            assumed="target_capacity",
            when=lambda given, found: (given.target_cells != given.cells) & whole_craft.knows_craft(given),
        ),
        Caution(
            "rating-not-used",
            "The rating of pack or controller was not used: it requires the propellers (diameter, pitch) and the pack "
            "(capacity).",
            missing=True,
            when=lambda given, found: throttle_targets.has_unused_rating(given),
        ),
        Caution(
            "cap-below-hover",
            "The craft will not lift off at this cap: full-throttle shows the hover throttle.",
            severity="high",
            when=lambda given, found: throttle_targets.is_below_hover(given, found.throttle_cap),
        ),
        *throttle_targets.DRIVE_CAUTIONS,
        RESISTANCE_ASSUMED,
    ),
    examples=(
        Example(
            "A 4-cell motor on 6 cells",
            given={"kv": 2400, "cells": 6, "target_cells": 4},
            expected={
                "throttle_cap": 66.6666666666667,
                "effective_kv": 1600,
                "cap_set_by": "kv-and-cells",
                "thrust_share": 64.0176333861,
            },
            rtol=1e-10,
            source="by hand: 4/6 = 2/3; exp(1.1 ln(2/3)) = 0.640176333861; the rule of thumb is about 66 %",
        ),
        Example(
            "Tips limited to Mach 0.7",
            given={"kv": 2400, "cells": 6, "target_no_load_tip_mach": 0.7, "diameter": "127 mm"},
            expected={"no_load_speed": 35822.0131116467, "no_load_tip_mach": 0.7, "cap_set_by": "no-load-tip-mach"},
            rtol=1e-6,
            source="by hand: 0.7 x 340.294 m/s (ISO 2533 at 15 °C) / (pi x 0.127 m) x 60 = 35 822 rpm",
        ),
        Example(
            "The same motor under load, with a limit of thrust",
            given={
                "kv": 2400,
                "cells": 6,
                "capacity": 1050,
                "cell_resistance": 12,
                "lead_resistance": 3,
                "pack_temperature": 12,
                "target_cells": 4,
                "target_capacity": 1500,
                "diameter": 5,
                "pitch": 4.3,
                "mass": 600,
                "target_thrust_to_weight": 5,
                "kv_deficit": 5,
                "stator_diameter": 22,
                "stator_height": 6,
                "figure_of_merit": 0.6,
                "avionics_power": 4,
                "discharge_rating": 100,
                "controller_rating": 30,
            },
            expected={"throttle_cap": 64.2041518865, "cap_set_by": "kv-and-cells", "thrust_share": 80.0704118417},
            rtol=1e-9,
            source="by bisection of the motor's voltage balance, outside this service, with 0.127564 Ω and 1.91734 A "
            "(stator): 16.8 V behind 51.538 mΩ turn the propellers at the speed that 25.2 V behind 107.01 mΩ reach at "
            "64.2042 %; 5 times the weight takes 64.9989 %, and currents stay below 105 A and 30 A",
        ),
        Example(
            "One bench run, limits of thrust and current, a rested voltage",
            given={
                "kv": 2400,
                "cells": 4,
                "pack_resistance": 40,
                "open_circuit_voltage": 16.2,
                "target_pack_current": 60,
                "target_thrust": 2500,
                "diameter": 5,
                "pitch": 4.3,
                "kv_deficit": 6,
                "bench_speed": 26600,
                "bench_thrust": 920,
                "bench_voltage": 14.8,
                "bench_current": 23,
                "air_temperature": 25,
                "avionics_power": 5,
            },
            expected={"throttle_cap": 84.6493941786, "cap_set_by": "thrust"},
            rtol=1e-9,
            source="by bisection of the motor's voltage balance, outside this service, with CT 0.144045, CP 0.0706494, "
            "0.130836 Ω and 1.86939 A (by hand in full-throttle's example of this bench point), 40 mΩ and 5 W: 2500 "
            "gf at 84.6494 % and 55.29 A",
        ),
    ),
)
