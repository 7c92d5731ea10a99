"""Steps to the results of a craft in each setup, for the working."""

from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np

from gramwatt.calculators._shared import drive_steps, flights, propellers, setups
from gramwatt.calculators._shared.packs import column
from gramwatt.model import Array, Quantity, StringArray, Table, Text
from gramwatt.physics import cells, craft, pack, weighing

OF_PACK = "that of the pack of the setup"
OF_PROPELLER = "that of the propeller of the setup"
TOGETHER = "the operating point where motors, propellers and pack agree, as in full-throttle"
FIRST = "that of the first setup"


def _of_pack(unit: str, description: str) -> Quantity:
    return Quantity(unit, description, method=OF_PACK)


def _rotor_speed(at: str, duty: str) -> Quantity:
    formula = f"({duty}{at}_loaded_voltage - motor_resistance * {at}_motor_current) * real_kv"
    return Quantity("rpm", "Speed of the propellers.", formula=formula, method=TOGETHER)


def _motor_current(at: str) -> Quantity:
    factor = "power_coefficient * air_density * diameter**5 / (2 * pi)**3"
    formula = f"{factor} * {at}_rotor_speed**2 * real_kv + no_load_current"
    return Quantity("A", "Current of one motor.", formula=formula)


def _loaded_voltage(current: str) -> Quantity:
    return Quantity("V", "Loaded voltage of the pack.", formula=f"rested_pack_voltage - {current} * pack_resistance")


@dataclass(frozen=True, slots=True)
class SetupSteps:
    """What a setup is made of, and its operating points."""

    name: Annotated[StringArray, Text("Name of the setup.", label="Setup")]
    pack_mass: Annotated[Array, _of_pack("g", "Mass of the pack.")]
    propellers_mass: Annotated[
        Array, Quantity("g", "Mass of all propellers, if they are not among the parts.", method=OF_PROPELLER)
    ]
    added_mass: Annotated[
        Array, Quantity("g", "Mass added in this setup.", signed=True, method="as given with the setup")
    ]
    cells: Annotated[Array, _of_pack("1", "Cells in series.")]
    nominal_cell_voltage: Annotated[Array, _of_pack("V", "Voltage on the label of a cell.")]
    capacity: Annotated[Array, _of_pack("mAh", "Capacity of the pack.")]
    discharge_rating: Annotated[Array, _of_pack("C", "Rating of the pack.")]
    rested_pack_voltage: Annotated[
        Array, Quantity("V", "Rested voltage of the pack.", method="cells times the curve, at `state_of_charge`")
    ]
    pack_resistance: Annotated[
        Array, Quantity("mohm", "Resistance of the pack with its leads.", method="as in pack-current")
    ]
    diameter: Annotated[Array, Quantity("in", "Diameter of the propellers.", method=OF_PROPELLER)]
    thrust_coefficient: Annotated[Array, Quantity("1", "Thrust coefficient.", method=OF_PROPELLER)]
    power_coefficient: Annotated[Array, Quantity("1", "Power coefficient.", method=OF_PROPELLER)]
    full_rotor_speed: Annotated[Array, _rotor_speed("full", "")]
    full_motor_current: Annotated[Array, _motor_current("full")]
    full_loaded_voltage: Annotated[Array, _loaded_voltage("pack_current")]
    capped_rotor_speed: Annotated[Array, _rotor_speed("capped", "throttle_cap * ")]
    capped_motor_current: Annotated[Array, _motor_current("capped")]
    capped_loaded_voltage: Annotated[Array, _loaded_voltage("capped_pack_current")]
    hover_rotor_speed: Annotated[
        Array,
        Quantity(
            "rpm",
            "Speed of the propellers in hover.",
            formula=drive_steps.HOVER_SPEED,
        ),
    ]
    hover_motor_current: Annotated[Array, _motor_current("hover")]
    hover_motor_voltage: Annotated[
        Array,
        Quantity(
            "V",
            "Voltage of one motor in hover.",
            formula="hover_rotor_speed / real_kv + motor_resistance * hover_motor_current",
        ),
    ]
    power_at_mass: Annotated[
        Array,
        Quantity(
            "W",
            "Average power at this mass with the first propeller.",
            formula=("given_mean_power * (mass / first_mass)**mass_exponent",),
            method="by the law through the flights, as in power-fit",
        ),
    ]
    propeller_ratio: Annotated[
        Array,
        Quantity("1", "Hover power with its propeller over that with the first.", method="1 for the first propeller"),
    ]
    voltage_ratio: Annotated[
        Array, Quantity("1", "Measured over modelled voltage of the flights.", method="1 where none was measured")
    ]
    end_state_of_charge: Annotated[
        Array, Quantity("%", "Charge left at the end.", at_most=100, method="the reserve, or the charge at the cut-off")
    ]
    mean_loaded_voltage: Annotated[
        Array, Quantity("V", "Mean loaded voltage of one cell.", method="over the discharge, as in endurance")
    ]


@dataclass(frozen=True, slots=True)
class Steps:
    """What all setups share, and the steps of each."""

    craft_mass: Annotated[
        Array,
        Quantity(
            "g",
            "Mass of the craft without pack.",
            formula=("sum(parts.mass * parts.count) + dry_mass", "sum(parts.mass * parts.count)", "dry_mass"),
        ),
    ]
    limit_in_force: Annotated[Array, Quantity("g", "Limit.", method="of the rule if one is chosen, else as given")]
    real_kv: drive_steps.RealKv
    given_mean_power: Annotated[
        Array, Quantity("W", "Average power that was given, of the first setup.", method="as given")
    ]
    first_mass: Annotated[Array, Quantity("g", "All-up mass.", method=FIRST)]
    first_endurance: Annotated[Array, Quantity("min", "Flight time.", method=FIRST)]
    first_capped_thrust: Annotated[Array, Quantity("gf", "Capped thrust.", method=FIRST)]
    first_capped_current: Annotated[Array, Quantity("A", "Capped pack current.", method=FIRST)]
    by_setup: Annotated[SetupSteps, Table(SetupSteps, "The steps of each setup.", max_length=setups.MAX_SETUPS)]


def find_steps(given: Any, found: Any) -> Steps:
    """Return the steps of all setups (N, M)."""
    results = found.by_setup
    dry_mass = np.where(np.isnan(given.dry_mass), 0.0, given.dry_mass)
    return Steps(
        craft_mass=dry_mass + (given.parts.mass * given.parts.count).sum(axis=1),
        limit_in_force=weighing.limit_in_force(given.rule, given.mass_limit, given.limit_comparison)[0],
        real_kv=given.kv * (1 - given.kv_deficit),
        given_mean_power=np.where(_has_flights(given), np.nan, given.mean_power),
        first_mass=results.mass[:, 0],
        first_endurance=results.endurance[:, 0],
        first_capped_thrust=results.capped_thrust[:, 0],
        first_capped_current=results.capped_pack_current[:, 0],
        by_setup=_find_setup_steps(given, found),
    )


def _has_flights(given: Any) -> bool:
    return bool(given.flights.mass.shape[1])


def _find_setup_steps(given: Any, found: Any) -> SetupSteps:
    results = found.by_setup
    chosen = setups.choose(given)
    packs, drive, mass = chosen.pack, chosen.drive, results.mass
    source = setups.get_source(given, chosen)
    throttle = setups.find_throttle(given, chosen, mass, source)
    hovers = ~np.isnan(results.hover_power)
    hover_speed = np.where(hovers, craft.hover_speed(drive, mass), np.nan)
    hover_current = drive.torque_factor * hover_speed**2 * drive.speed_constant + drive.no_load_current
    demand = craft.demand_at_speed(drive, craft.hover_speed(drive, mass), **source)
    ratio = setups.compare_drives(given, chosen, mass, demand.power, source)
    ratio = ratio if _has_flights(given) else ratio / ratio[:, :1]
    by_ratio = column(found.mean_power_source == flights.MEAN_POWER_SOURCES.index("hover-power-ratio"))
    voltage_ratio = column(flights.fit_power(given).flown.voltage_ratio) if _has_flights(given) else np.ones((1, 1))
    discharge = pack.discharge_pack(
        packs.chemistry,
        packs.cells,
        power=results.mean_power / voltage_ratio,
        resistance=source["pack_resistance"],
        capacity=packs.capacity,
        start_state_of_charge=column(given.state_of_charge),
        reserve=column(given.reserve),
        cutoff_voltage=cells.CUTOFF_VOLTAGE[packs.chemistry],
    )
    used = packs.capacity * (column(given.state_of_charge) - discharge.end_state_of_charge) * packs.cells
    values = {
        "pack_mass": packs.mass,
        "propellers_mass": propellers.get_mass(given, chosen.propeller)[0],
        "added_mass": chosen.added_mass,
        "cells": packs.cells,
        "nominal_cell_voltage": cells.NOMINAL_VOLTAGE[packs.chemistry],
        "capacity": packs.capacity,
        "discharge_rating": packs.discharge_rating,
        "rested_pack_voltage": source["open_circuit_voltage"],
        "pack_resistance": source["pack_resistance"],
        "diameter": drive.diameter,
        "thrust_coefficient": drive.thrust_coefficient,
        "power_coefficient": drive.power_coefficient,
        "full_rotor_speed": throttle.full.rotor_speed,
        "full_motor_current": throttle.full.motor_current,
        "full_loaded_voltage": throttle.full.pack_voltage,
        "capped_rotor_speed": throttle.capped.rotor_speed,
        "capped_motor_current": throttle.capped.motor_current,
        "capped_loaded_voltage": throttle.capped.pack_voltage,
        "hover_rotor_speed": hover_speed,
        "hover_motor_current": hover_current,
        "hover_motor_voltage": hover_speed / drive.speed_constant + drive.motor_resistance * hover_current,
        "power_at_mass": np.where(by_ratio, np.nan, results.mean_power / ratio),
        "propeller_ratio": np.where(by_ratio, np.nan, ratio),
        "voltage_ratio": voltage_ratio,
        "end_state_of_charge": discharge.end_state_of_charge,
        "mean_loaded_voltage": results.mean_power / voltage_ratio * results.endurance / used,
    }
    shape = mass.shape
    return SetupSteps(chosen.names, **{name: np.broadcast_to(each, shape) for name, each in values.items()})
