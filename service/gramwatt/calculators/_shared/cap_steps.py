"""Steps to a throttle cap: one for each target, and the lowest of them, for the working."""

from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np

from gramwatt.calculators._shared import drive_steps, drivetrain, pack_steps, throttle_targets, whole_craft
from gramwatt.model import Array, Quantity, StringArray, Table, Text
from gramwatt.physics import craft

LOADED = pack_steps.loaded_voltage_at("power", "rested_pack_voltage", "pack_resistance_in_use")


@dataclass(frozen=True, slots=True)
class CapSteps:
    """The caps of all targets; without load by speed, under load by the motor at the speed that the target allows."""

    name: Annotated[StringArray, Text("Target.", label="Target")]
    no_load_speed: Annotated[
        Array,
        Quantity(
            "rpm",
            "Speed without load that is allowed.",
            method="as given, or where the tips reach the target Mach number",
        ),
    ]
    rotor_speed: Annotated[
        Array,
        Quantity(
            "rpm",
            "Speed under load that is allowed.",
            method="the speed of the target motor and pack at full throttle, or at which the thrust or the current is "
            "that of the target",
        ),
    ]
    motor_current: Annotated[
        Array,
        Quantity(
            "A",
            "Current of one motor at that speed.",
            formula="power_coefficient * air_density * diameter**5 / (2 * pi)**3 * rotor_speed**2 * real_kv"
            " + no_load_current",
        ),
    ]
    motor_voltage: Annotated[
        Array,
        Quantity(
            "V",
            "Voltage of one motor at that speed.",
            formula="rotor_speed / real_kv + motor_resistance * motor_current",
        ),
    ]
    power: Annotated[
        Array,
        Quantity("W", "Power from the pack.", formula="motors * motor_current * motor_voltage + avionics_power"),
    ]
    loaded_voltage: Annotated[Array, Quantity("V", "Loaded voltage of the pack.", formula=LOADED)]
    cap: Annotated[
        Array,
        Quantity(
            "%",
            "Throttle cap of the target.",
            formula=("motor_voltage / loaded_voltage", "no_load_speed / uncapped_no_load_speed"),
            method="as without load, or 100 %",
        ),
    ]


@dataclass(frozen=True, slots=True)
class Steps(pack_steps.PackSteps):
    """The pack and the motors, where known, and the caps."""

    rested_pack_voltage: pack_steps.RestedPackVoltage
    pack_resistance_in_use: drive_steps.PackResistanceInUse
    real_kv: drive_steps.RealKv
    ratio_without_load: Annotated[
        Array,
        Quantity(
            "1",
            "Speed without load of the target motor and pack over that of these.",
            formula="target_kv * target_cells * target_cell_voltage / (kv * cells * cell_voltage)",
        ),
    ]
    thrust_exponent: Annotated[
        Array,
        Quantity(
            "1",
            "x in thrust ~ throttle^x, where motors, propellers and pack are not all known.",
            method=f"{throttle_targets.THRUST_EXPONENT} ×/÷ {throttle_targets.THRUST_EXPONENT_FACTOR}, an estimate",
        ),
    ]
    caps: Annotated[CapSteps, Table(CapSteps, "The cap of each target.", label="Caps", max_length=9)]


def find_steps(given: Any, found: Any) -> Steps:
    """Return the steps; nan where they need motors, propellers and pack that are not all known."""
    drive, source = drivetrain.drive_of(given), whole_craft.pack_of(given)
    known = whole_craft.knows_craft(given)
    ratio = given.target_kv * given.target_cells * given.target_cell_voltage / found.uncapped_no_load_speed
    return Steps(
        **pack_steps.get_pack_steps(given),
        rested_pack_voltage=source["open_circuit_voltage"],
        pack_resistance_in_use=source["pack_resistance"],
        real_kv=drive.speed_constant,
        ratio_without_load=np.where(known, np.nan, ratio),
        thrust_exponent=np.where(known, np.nan, throttle_targets.THRUST_EXPONENT),
        caps=_find_caps(given, found.uncapped_no_load_speed, drive, source),
    )


def _find_caps(given: Any, uncapped: Array, drive: craft.Drive, source: dict[str, Array]) -> CapSteps:
    """Return the caps that are known in some of N requests (N, T), full throttle first."""
    caps = np.stack([np.ones_like(given.kv), *throttle_targets.find_caps(given)])
    point = craft.operate(drive, caps, **source)
    is_free = np.isin(throttle_targets.CAP_SET_BY, ("no-load-speed", "no-load-tip-mach"))[:, None]
    is_loaded = ~is_free & (caps < 1) & ~np.isnan(point.rotor_speed)
    columns = (
        np.where(is_free, caps * uncapped, np.nan),
        *(
            np.where(is_loaded, each, np.nan)
            for each in (
                point.rotor_speed,
                point.motor_current,
                caps * point.pack_voltage,
                point.power,
                point.pack_voltage,
            )
        ),
        np.where(np.isfinite(caps), caps, np.nan),
    )
    shown = np.isfinite(caps).any(axis=1)
    names = np.broadcast_to(np.array(throttle_targets.CAP_SET_BY)[shown], (len(given.kv), int(shown.sum())))
    return CapSteps(names, *(each[shown].T for each in columns))
