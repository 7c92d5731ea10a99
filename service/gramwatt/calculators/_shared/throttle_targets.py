"""Throttle caps by target: the duty that keeps a speed, thrust, current or rating, without load or of a whole craft."""

import dataclasses
from typing import Any, Final, NamedTuple

import numpy as np

from gramwatt.calculators._shared import drivetrain, whole_craft
from gramwatt.calculators._shared.cautions import TYPICAL_RESISTANCE
from gramwatt.model import Array, Assumption, BoolArray, IndexArray, Rule
from gramwatt.physics import air, cells, constants, craft, motor_constants, pack, rotor

CAP_SET_BY: Final = (
    *("full-throttle", "kv-and-cells", "no-load-speed", "no-load-tip-mach"),
    *("thrust", "thrust-to-weight", "pack-current", "discharge-rating", "controller-rating"),
)

SAG_SPREAD: Final = 0.16
"""Standard deviation of the share of its voltage that a matched pack loses at full throttle, about 0: where only kV and
cells are known. An estimate from the model of full-throttle: 5 to 31 % for craft with propellers of 2 to 13 in."""
THRUST_EXPONENT: Final = 1.1
THRUST_EXPONENT_FACTOR: Final = 1.4
"""x in thrust ~ throttle^x, and the factor that it is known to: 0.55 to 1.85 for the same craft in the same model.
Without sag and motor resistance it is 2."""


def _is_given(given: Any) -> BoolArray:
    """Return which targets (8, N) of `CAP_SET_BY`, full throttle aside, are given; one to match always is."""
    rated_current = given.discharge_rating * given.capacity
    targets = [
        given.kv,
        given.target_no_load_speed,
        given.target_no_load_tip_mach,
        given.target_thrust,
        given.target_thrust_to_weight,
    ]
    stacked = np.stack([*targets, given.target_pack_current, rated_current, given.controller_rating])
    return np.asarray(~np.isnan(stacked))


def has_target(given: Any) -> BoolArray:
    """Return where (N,) a target is used: a limit, or a motor or pack to match that differs from this one."""
    limits = _is_given(given)[1:]
    limits[5:] &= whole_craft.knows_craft(given)  # ratings, which are not used without the whole craft
    pairs = ("kv", "cells", "cell_voltage", "capacity", "cell_resistance", "lead_resistance", "pack_resistance")
    own, target = (np.nan_to_num([getattr(given, prefix + name) for name in pairs]) for prefix in ("", "target_"))
    return np.asarray(limits.any(axis=0) | (own != target).any(axis=0))


def _is_impossible(given: Any, caps: Array) -> BoolArray:
    """Return where (N,) no throttle keeps a current: the motors draw more as soon as they turn."""
    return np.asarray((_is_given(given) & whole_craft.knows_craft(given) & np.isnan(caps))[5:].any(axis=0))


def lacks_input(given: Any) -> BoolArray:
    """Return where (N,) a target, or a bench point, cannot be used for want of another input or a possible one."""
    lacks = lacks_craft(given) | lacks_mass(given) | lacks_diameter(given)
    return np.asarray(lacks | drivetrain.is_bench_impossible(given))


def lacks_craft(given: Any) -> BoolArray:
    """Return where (N,) a target thrust or current needs motors, propellers and pack, which are not all known."""
    return np.asarray(_is_given(given)[3:6].any(axis=0) & ~whole_craft.knows_craft(given))


def lacks_mass(given: Any) -> BoolArray:
    """Return where (N,) a target thrust-to-weight is given without a mass."""
    return np.asarray(~np.isnan(given.target_thrust_to_weight) & np.isnan(given.mass))


def lacks_diameter(given: Any) -> BoolArray:
    """Return where (N,) a target tip Mach number is given without a diameter."""
    return np.asarray(~np.isnan(given.target_no_load_tip_mach) & np.isnan(given.diameter))


def is_other_size(given: Any) -> BoolArray:
    """Return where (N,) the craft is known and its motors are of a size for which defaults are rough."""
    return np.asarray(whole_craft.knows_craft(given) & ~motor_constants.is_five_inch_class(given.diameter))


def has_unused_rating(given: Any) -> BoolArray:
    """Return where (N,) the rating of pack or controller is given, but not the craft."""
    ratings = ~np.isnan(given.discharge_rating) | ~np.isnan(given.controller_rating)
    return np.asarray(ratings & ~whole_craft.knows_craft(given))


def find_match(given: Any) -> Array:
    """Return the cap (N,) that makes the rotors turn as those of the target motor and pack at full throttle.

    With motors, propellers and pack known, both under load. The target motor is this one with another winding: its
    resistance goes with 1 / kV^2, its no-load current with kV. Else by speeds without load, see `craft.matching_duty`.
    """
    voltage, target_voltage = given.cells * given.cell_voltage, given.target_cells * given.target_cell_voltage
    voltage_ratio = target_voltage / voltage
    without_load = craft.matching_duty(
        given.target_kv / given.kv * voltage_ratio,
        voltage_ratio,
        np.clip(SAG_SPREAD * given.sag_error, -0.45, 0.45),
    )
    drive, source = drivetrain.drive_of(given), whole_craft.pack_of(given)
    winding = given.target_kv / given.kv
    target_drive = craft.Drive(
        motors=drive.motors,
        speed_constant=drive.speed_constant * winding,
        motor_resistance=drive.motor_resistance / winding**2,
        no_load_current=drive.no_load_current * winding,
        diameter=drive.diameter,
        thrust_coefficient=drive.thrust_coefficient,
        power_coefficient=drive.power_coefficient,
        air_density=drive.air_density,
    )
    target_source = {**source, **_target_pack(given)}
    speed = craft.operate(target_drive, np.ones_like(given.kv), **target_source).rotor_speed
    duty = craft.demand_at_speed(drive, speed, **source).duty
    # A pack that cannot give the power of the other one runs at full throttle, as does the same pack.
    loaded = np.where(np.isnan(speed), np.nan, np.where(duty < 1 - 1e-9, duty, 1.0))
    match = np.where(np.isnan(loaded), without_load, loaded)
    same_pack = (target_source["open_circuit_voltage"] == source["open_circuit_voltage"]) & (
        target_source["pack_resistance"] == source["pack_resistance"]
    )
    same = (winding == 1) & (voltage_ratio == 1) & (same_pack | ~whole_craft.knows_craft(given))
    match = np.where(same, 1.0, match)  # also of a pack that turns the propellers faster below full throttle
    return np.where(drivetrain.is_bench_impossible(given), np.nan, match)


def _target_pack(given: Any) -> dict[str, Array]:
    by_charge = cells.open_circuit_voltage(given.target_chemistry, given.state_of_charge)
    rested = np.where(np.isnan(given.open_circuit_voltage), by_charge, given.open_circuit_voltage / given.cells)
    from_cells = pack.resistance(
        given.target_cells,
        given.target_cell_resistance,
        given.target_lead_resistance,
        given.pack_temperature,
        given.activation_energy,
    )
    resistance = np.where(np.isnan(given.target_pack_resistance), from_cells, given.target_pack_resistance)
    changed = given.target_cell_voltage / usual_target_voltage(given)
    return {"open_circuit_voltage": given.target_cells * rested * changed, "pack_resistance": resistance}


def usual_target_voltage(given: Any) -> Array:
    """Return the cell voltage (N,) [V] of the target pack: as of this one, but for its chemistry."""
    nominal = cells.NOMINAL_VOLTAGE
    return np.asarray(given.cell_voltage * (nominal[given.target_chemistry] / nominal[given.chemistry]))


def scaled_cell_resistance(given: Any) -> Array:
    """Return the cell resistance (N,) [ohm] of the target pack: cells of the same kind, by their capacity."""
    return np.asarray(given.cell_resistance * _capacity_ratio(given))


def scaled_pack_resistance(given: Any) -> Array:
    """Return the resistance (N,) [ohm] of the target pack, from that of this pack; nan where its cells' is known."""
    scaled = given.pack_resistance * (given.target_cells / given.cells) * _capacity_ratio(given)
    return np.where(np.isnan(given.target_cell_resistance), scaled, np.nan)


def _capacity_ratio(given: Any) -> Array:
    same = np.isnan(given.capacity) & np.isnan(given.target_capacity)
    return np.where(same, 1.0, given.capacity / given.target_capacity)


def find_caps(given: Any) -> Array:
    """Return the caps (8, N) by target in the order of `CAP_SET_BY`, full throttle aside.

    Above 1 where full throttle does not reach the target, nan where it is not given, not known or impossible.
    """
    uncapped = given.kv * given.cells * given.cell_voltage
    sound = air.speed_of_sound(given.air_temperature)
    by_tip = rotor.speed_at_tip_mach(given.target_no_load_tip_mach, given.diameter, sound)
    drive, source = drivetrain.drive_of(given), whole_craft.pack_of(given)
    weight = given.mass * constants.STANDARD_GRAVITY
    speeds = np.stack(
        [
            craft.speed_at_thrust(drive, given.target_thrust),
            craft.speed_at_thrust(drive, given.target_thrust_to_weight * weight),
            craft.speed_at_motor_current(drive, given.controller_rating),
        ]
    )
    duties = craft.demand_at_speed(drive, speeds, **source).duty
    # A speed beyond what the pack can give is no limit.
    beyond = np.isnan(duties) & ~np.isnan(speeds) & whole_craft.knows_craft(given)
    thrust, thrust_to_weight, controller = np.where(beyond, np.inf, duties)
    currents = np.stack([given.target_pack_current, given.discharge_rating * given.capacity])
    current, rating = craft.duty_at_pack_current(drive, currents, **source)
    return np.stack(
        [
            find_match(given),
            given.target_no_load_speed / uncapped,
            by_tip / uncapped,
            *(thrust, thrust_to_weight, current, rating, controller),
        ]
    )


class Lowest(NamedTuple):
    """The cap that keeps every target."""

    cap: Array
    """Nan where a target cannot be used."""
    cap_set_by: IndexArray
    """Its place in `CAP_SET_BY`, -1 without a cap."""
    match: Array
    """Of the target motor and pack alone."""


def find_lowest(given: Any) -> Lowest:
    """Return the lowest cap (N,) of all targets."""
    by_target = find_caps(given)
    caps = np.stack([np.ones_like(given.kv), *by_target])
    unusable = lacks_input(given) | _is_impossible(given, by_target)
    cap = np.where(unusable, np.nan, np.nanmin(caps, axis=0))
    return Lowest(cap, np.where(unusable, -1, np.nanargmin(caps, axis=0)), by_target[0])


def find_thrust_share(given: Any, cap: Array) -> Array:
    """Return thrust at the cap over that at full throttle (N,): under load where the craft is known, else by a law."""
    drive, source = drivetrain.drive_of(given), whole_craft.pack_of(given)
    full, capped = craft.operate(drive, np.stack([np.ones_like(cap), cap]), **source).thrust
    by_law = cap ** (THRUST_EXPONENT * THRUST_EXPONENT_FACTOR**given.throttle_exponent_error)
    return np.asarray(np.where(whole_craft.knows_craft(given), capped / full, by_law))


def is_below_hover(given: Any, cap: Array) -> BoolArray:
    """Return where (N,) the craft, if known, does not lift off at the cap."""
    drive = drivetrain.drive_of(given)
    hover = craft.demand_at_speed(drive, craft.hover_speed(drive, given.mass), **whole_craft.pack_of(given)).duty
    known = ~np.isnan(given.mass) & ~np.isnan(cap) & whole_craft.knows_craft(given)
    return np.asarray(known & ~(hover <= cap))


ASSUMPTIONS: Final[tuple[Assumption[Any], ...]] = (
    Assumption("target_kv", "the same as kV", lambda given: given.kv),
    Assumption("target_cells", "the same as cells", lambda given: given.cells),
    Assumption("target_chemistry", "the same as chemistry", lambda given: given.chemistry),
    Assumption("target_cell_voltage", "as of this pack, by chemistry", usual_target_voltage),
    Assumption("target_capacity", "the same as capacity", lambda given: given.capacity),
    TYPICAL_RESISTANCE,
    Assumption(
        "target_cell_resistance",
        "cell resistance × capacity / target capacity: cells of the same kind",
        scaled_cell_resistance,
    ),
    Assumption(
        "target_lead_resistance",
        "the same as lead resistance",
        lambda given: np.where(np.isnan(given.lead_resistance), 0.0, given.lead_resistance),
    ),
    Assumption(
        "target_pack_resistance",
        "pack resistance × target cells / cells × capacity / target capacity: cells of the same kind",
        scaled_pack_resistance,
    ),
)

DRIVE_CAUTIONS: Final = (
    dataclasses.replace(drivetrain.CATALOGUE_DATA, when=lambda given, found: whole_craft.knows_craft(given)),
    dataclasses.replace(drivetrain.OTHER_SIZE, when=lambda given, found: is_other_size(given)),
    *(each for each in drivetrain.CAUTIONS if each not in (drivetrain.CATALOGUE_DATA, drivetrain.OTHER_SIZE)),
)

CAPPED: Final = (
    "throttle_cap",
    "cap_set_by",
    "effective_kv",
    "no_load_speed",
    "thrust_share",
    "power_share",
    "no_load_tip_mach",
)
RULES: Final[tuple[Rule[Any, Any], ...]] = (
    Rule(
        "bench-point-impossible",
        drivetrain.BENCH_IMPOSSIBLE,
        when=lambda given, found: drivetrain.is_bench_impossible(given),
        results=("matching_throttle_cap", *CAPPED),
        partly=drivetrain.BENCH_PARTLY_IMPOSSIBLE,
    ),
    Rule(
        "tip-mach-needs-diameter",
        "A target tip Mach requires the diameter of the propellers.",
        missing=True,
        when=lambda given, found: lacks_diameter(given),
        results=CAPPED,
    ),
    Rule(
        "thrust-to-weight-needs-mass",
        "A target thrust-to-weight requires the all-up mass.",
        missing=True,
        when=lambda given, found: lacks_mass(given),
        results=CAPPED,
    ),
    Rule(
        "target-needs-craft",
        "A target thrust, thrust-to-weight or current requires the propellers and the pack: diameter and pitch (or "
        "the thrust coefficient), and capacity (or cell resistance).",
        missing=True,
        when=lambda given, found: lacks_craft(given),
        results=CAPPED,
    ),
    Rule(
        "target-too-low",
        "No throttle keeps this current: the motors draw more as soon as they turn.",
        when=lambda given, found: np.isnan(found.throttle_cap) & ~lacks_input(given),
        results=CAPPED,
        partly="no throttle keeps this current",
    ),
)
