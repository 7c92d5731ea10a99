"""Hovering craft: load on the rotors, the typical efficiency of the drive, and a measured hover that replaces it."""

import dataclasses
from typing import Any, Final

import numpy as np

from gramwatt.calculators._shared import drivetrain, whole_craft
from gramwatt.calculators._shared.cautions import NOMINAL_VOLTAGES
from gramwatt.model import Array, Assumption, BoolArray, Caution, Rule
from gramwatt.physics import cells, constants, craft, hover, pack, propeller

LAYOUTS: Final = ("single", "coaxial")


def weight(given: Any) -> Array:
    """Return the weight (N,) [N]."""
    return np.asarray(given.mass * constants.STANDARD_GRAVITY)


def disk_loading(given: Any) -> Array:
    """Return the weight over the area of all propellers (N,) [N/m²]."""
    return np.asarray(weight(given) / (given.motors * hover.disk_area(given.diameter)))


def interference(given: Any) -> Array:
    """Return the interference factor (N,) of the rotors; nan for an odd number of coaxial ones."""
    coaxial = given.rotor_layout == LAYOUTS.index("coaxial")
    places = np.where(coaxial, given.motors / 2, given.motors)
    factor = hover.interference(hover.overlap(given.rotor_spacing / given.diameter), np.minimum(places - 1, 2), coaxial)
    return np.where(places % 1 == 0, factor, np.nan)


def figure_of_merit(given: Any) -> Array:
    """Return the figure of merit (N,): that of the thrust and power coefficients where both are known."""
    drive = drivetrain.drive_of(given)
    known = propeller.figure_of_merit(drive.thrust_coefficient, drive.power_coefficient)
    return np.asarray(np.where(np.isnan(known), given.figure_of_merit, known))


def specific_power(given: Any, factor: Array, induced_velocity: Array, hover_velocity: Array) -> Array:
    """Return shaft power without climb over weight (N,) [m/s].

    The losses of a hovering propeller, which determine its figure of merit, do not change as it moves.
    """
    losses = 1 / figure_of_merit(given) - 1
    # Coefficients with a figure of merit above 1 are impossible; without this they could give power back in motion.
    return np.asarray(factor * induced_velocity + losses * np.where(losses > 0, hover_velocity, induced_velocity))


def shaft_power_in_hover(given: Any) -> Array:
    """Return the shaft power (N,) [W] of all propellers in hover."""
    velocity = hover.hover_velocity(disk_loading(given), given.air_density)
    return np.asarray(weight(given) * specific_power(given, interference(given), velocity, velocity))


def electrical_power(given: Any) -> Array:
    """Return the electrical power (N,) [W] in the climb or forward flight of the inputs."""
    return np.asarray(shaft_power(given) / given.drive_efficiency + given.avionics_power)


def shaft_power(given: Any) -> Array:
    """Return the shaft power (N,) [W] of all propellers in the climb or forward flight of the inputs."""
    hover_velocity = hover.hover_velocity(disk_loading(given), given.air_density)
    velocity = hover.induced_velocity(hover_velocity, given.climb_speed, given.forward_speed)
    specific = given.climb_speed + specific_power(given, interference(given), velocity, hover_velocity)
    return np.asarray(weight(given) * specific)


def throttle_in_hover(given: Any) -> Array:
    """Return the throttle (N,) in hover; nan where motors, propellers and pack are not all known, or do not lift."""
    drive = drivetrain.drive_of(given)
    speed = craft.hover_speed(drive, given.mass)
    # Where rotors share their air, each takes more power at the speed that gives its thrust.
    torque = shaft_power_in_hover(given) / (drive.motors * speed**3) / drive.torque_factor
    drive = dataclasses.replace(drive, power_coefficient=drive.power_coefficient * torque)
    duty = craft.demand_at_speed(drive, speed, **whole_craft.pack_of(given)).duty
    return np.where(duty <= 1, duty, np.nan)


def is_modelled(given: Any) -> BoolArray:
    """Return where (N,) the drive efficiency is that of motor and propeller."""
    return _is_equal(given.drive_efficiency, _modelled_efficiency(given))


def _loaded_cell_voltage(given: Any) -> Array:
    source = whole_craft.pack_of(given)
    rested, resistance = source["open_circuit_voltage"], source["pack_resistance"]
    return np.asarray(
        (rested - resistance * pack.current_at_power(electrical_power(given), rested, resistance)) / given.cells
    )


def _nominal_cell_voltage(given: Any) -> Array:
    return np.where(whole_craft.knows_pack(given), np.nan, cells.NOMINAL_VOLTAGE[given.chemistry])


def _measured_efficiency(given: Any) -> Array:
    """Return the efficiency (N,) of motor and controller from a measured hover; nan where none up to 100 % fits."""
    motor_power = given.hover_current * given.hover_voltage - given.avionics_power
    efficiency = shaft_power_in_hover(given) / motor_power
    return np.where((efficiency > 0) & (efficiency <= 1), efficiency, np.nan)


def _modelled_efficiency(given: Any) -> Array:
    """Return the efficiency (N,) of the motors in hover as in `craft.operate`; nan where they are not known."""
    return craft.drive_efficiency(drivetrain.drive_of(given), weight(given), shaft_power_in_hover(given))


def _typical_efficiency(given: Any) -> Array:
    """Return the typical efficiency (N,) for the thrust of a rotor; nan where an impossible bench point is given."""
    efficiency = hover.typical_drive_efficiency(weight(given) / given.motors)
    return np.where(drivetrain.is_bench_impossible(given), np.nan, efficiency)


def _is_equal(values: Array, expected: Array) -> BoolArray:
    return np.asarray(np.abs(values - expected) <= 1e-9 * expected)


def _is_typical(given: Any) -> BoolArray:
    return _is_equal(given.drive_efficiency, _typical_efficiency(given))


def _has_measured_hover(given: Any) -> BoolArray:
    return np.asarray(~np.isnan(given.hover_current * given.hover_voltage))


ASSUMPTIONS: Final[tuple[Assumption[Any], ...]] = (
    Assumption(
        "drive_efficiency",
        "computed from hover current and hover voltage",
        _measured_efficiency,
        solved_from=("hover_current", "hover_voltage"),
        formula="hover_shaft_power / (hover_current * hover_voltage - avionics_power)",
    ),
    Assumption(
        "drive_efficiency",
        "that of motor and propeller in hover, as in full-throttle",
        _modelled_efficiency,
        formula="hover_shaft_power / (motors * hover_motor_current * hover_motor_voltage)",
    ),
    Assumption(
        "drive_efficiency",
        "by thrust per rotor: 20 % overall at 7.5 gf, 26 at 60, 33 at 110, 38 at 180, 41 at 270, 43 at 385, 50 at "
        "1000 gf, over a figure of merit of 0.60: an estimate from open bench data, known to a factor of 1.16 for "
        "propellers of 4 to 6 in, of 1.35 for others",
        _typical_efficiency,
        factor=lambda given: np.exp(hover.drive_efficiency_spread(given.diameter)),
    ),
    Assumption(
        "loaded_cell_voltage",
        "hover voltage over cells",
        lambda given: given.hover_voltage / given.cells,
        formula="hover_voltage / cells",
        solved_from=("hover_voltage", "cells"),
    ),
    Assumption(
        "loaded_cell_voltage",
        "loaded voltage of the pack at this power, over cells",
        _loaded_cell_voltage,
        formula="(rested_pack_voltage + sqrt(rested_pack_voltage**2 - 4 * pack_power * pack_resistance_in_use))"
        " / (2 * cells)",
    ),
    Assumption("loaded_cell_voltage", f"nominal, by chemistry: {NOMINAL_VOLTAGES}", _nominal_cell_voltage),
)

CAUTIONS: Final[tuple[Caution[Any, Any], ...]] = (
    Caution(
        "drive-efficiency-assumed",
        "Drive efficiency is an estimate: measured values differ by up to 30 %, at low thrust by more. Give "
        "kV and pitch, or better one measured hover (hover current and hover voltage).",
        missing=True,
        when=lambda given, found: _is_typical(given),
    ),
    Caution(
        "lightly-loaded",
        "{disk_loading} is low for these propellers: below 30 N/m², five-inch propellers on benches needed 1 to 3 "
        "times this power. Give the drive efficiency or a measured hover.",
        when=lambda given, found: _is_typical(given) & (found.disk_loading < hover.MIN_CHECKED_DISK_LOADING),
    ),
    Caution(
        "outside-bench-data",
        "The thrust of each rotor is outside 7.5 to 1000 gf, for which the typical drive efficiency is known.",
        when=lambda given, found: (
            _is_typical(given)
            & (
                (weight(given) / given.motors < hover.BENCH_THRUST[0])
                | (weight(given) / given.motors > hover.BENCH_THRUST[-1])
            )
        ),
    ),
    Caution(
        "hover-point-impossible",
        "No drive efficiency up to 100 % explains the measured hover, so the typical one was used. Check mass, "
        "diameter, avionics power and the readings.",
        when=lambda given, found: (
            _has_measured_hover(given) & _is_typical(given) & np.isnan(_measured_efficiency(given))
        ),
    ),
    Caution(
        "hover-point-not-used",
        "The measured hover was not used, because the drive efficiency was given.",
        severity="low",
        when=lambda given, found: (
            _has_measured_hover(given)
            & ~_is_typical(given)
            & ~_is_equal(given.drive_efficiency, _measured_efficiency(given))
        ),
    ),
    Caution(
        "hover-point-incomplete",
        "A measured hover requires both hover current and hover voltage; the voltage alone only sets the cell voltage.",
        missing=True,
        when=lambda given, found: np.isnan(given.hover_current) != np.isnan(given.hover_voltage),
    ),
)

POWERS: Final = ("hover_power", "pack_power", "pack_current", "overall_efficiency", "power_loading")
RULES: Final[tuple[Rule[Any, Any], ...]] = (
    Rule(
        "bench-point-impossible",
        drivetrain.BENCH_IMPOSSIBLE,
        when=lambda given, found: drivetrain.is_bench_impossible(given),
        results=POWERS,
        partly=drivetrain.BENCH_PARTLY_IMPOSSIBLE,
    ),
    Rule(
        "odd-coaxial",
        "Coaxial propellers come in pairs, but the number of motors is {motors}: enter an even number.",
        when=lambda given, found: np.isnan(found.interference_factor),
        results=(*POWERS, "shaft_power", "interference_factor", "hover_throttle"),
    ),
    Rule(
        "cannot-lift",
        "The craft cannot hover: full throttle does not lift {mass}.",
        when=lambda given, found: np.isnan(found.hover_throttle) & whole_craft.knows_craft(given),
        results=("hover_throttle", *POWERS),
        partly="full throttle does not lift {mass}",
    ),
    Rule(
        "hover-throttle-needs-craft",
        "The throttle in hover requires motors, propellers and pack: kV, pitch (or the thrust coefficient), cells and "
        "capacity (or the resistance of the pack).",
        severity="low",
        missing=True,
        when=lambda given, found: ~whole_craft.knows_craft(given),
        results=("hover_throttle",),
    ),
    Rule(
        "power-beyond-pack",
        "The pack cannot deliver {pack_power}.",
        when=lambda given, found: whole_craft.knows_pack(given) & np.isnan(given.loaded_cell_voltage),
        results=("pack_current",),
        partly="the pack cannot deliver this power",
    ),
    Rule(
        "impossible-efficiency",
        "Thrust and power coefficient give a figure of merit above 1, which no propeller has: check them.",
        when=lambda given, found: found.ideal_power > found.pack_power,
        results=("overall_efficiency",),
        partly="thrust and power coefficient give a figure of merit above 1",
    ),
)
