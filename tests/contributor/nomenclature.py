"""NOMENCLATURE.md: symbols, names, units and use of quantities and constants, from declarations and kernels.

``make contract`` writes it, ``test_texts.py`` compares.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Final

import numpy as np

from gramwatt.charts.formatting import unit_sign
from gramwatt.engine import registry
from gramwatt.model import Count, Kind, NumberList, Quantity, Table, TimeSeries, get_fields
from gramwatt.model.constants import list_constants

PATH: Final = Path(__file__).resolve().parents[2] / "NOMENCLATURE.md"
SYMBOLS: Final = {
    "air_density": "rho",
    "air_temperature": "T",
    "activation_energy": "Ea",
    "avionics_power": "Pa",
    "blades": "B",
    "capacity": "C",
    "climb_speed": "Vc",
    "pack_current": "I",
    "diameter": "D",
    "disk_loading": "T/A",
    "drive_efficiency": "eta",
    "duration": "t",
    "energy_used": "E",
    "figure_of_merit": "FM",
    "forward_speed": "V",
    "maximum_pack_power": "V²/4R",
    "induced_velocity": "v",
    "interference_factor": "kappa",
    "kv": "Kv",
    "mass": "m",
    "mass_exponent": "x",
    "motor_current": "Im",
    "motor_resistance": "R",
    "motors": "N",
    "no_load_current": "I0",
    "open_circuit_voltage": "V0",
    "pack_resistance": "Rp",
    "pitch": "P",
    "pack_power": "P",
    "power_coefficient": "CP",
    "rotor_speed": "omega",
    "speed_of_sound": "a",
    "throttle_cap": "d",
    "thrust": "T",
    "thrust_coefficient": "CT",
    "vapour_pressure": "e",
    "DRY_AIR_GAS_CONSTANT": "R",
    "DRY_AIR_HEAT_RATIO": "gamma",
    "LAPSE_RATE": "L",
    "MOLAR_GAS_CONSTANT": "Rg",
    "SEA_LEVEL_PRESSURE": "p0",
    "SEA_LEVEL_TEMPERATURE": "T0",
    "STANDARD_AIR_DENSITY": "rho0",
    "STANDARD_GRAVITY": "g",
    "WATER_VAPOUR_GAS_CONSTANT": "Rv",
}
"""Symbols in formulas, by the name of a field or a constant."""


def _fields(fields: Mapping[str, Kind]) -> Iterator[tuple[str, str]]:
    """Yield name and unit of all quantities and counts, also in tables and recordings."""
    for name, kind in fields.items():
        if isinstance(kind, Table | TimeSeries):
            yield from _fields(get_fields(kind.row))
        elif isinstance(kind, Count):
            yield name, "1"
        else:
            quantity = kind.item if isinstance(kind, NumberList) else kind
            if isinstance(quantity, Quantity):
                yield name, quantity.unit


def quantities() -> dict[str, tuple[list[str], list[str]]]:
    """Return the units of each quantity, and the calculators that use it, by name."""
    found: dict[str, tuple[list[str], list[str]]] = {}
    for name, calculator in registry.load().items():
        for fields in (get_fields(calculator.inputs), get_fields(calculator.results)):
            for field, unit in _fields(fields):
                units, users = found.setdefault(field, ([], []))
                units += [unit] * (unit not in units)
                users += [name] * (name not in users)
    return dict(sorted(found.items()))


def nomenclature() -> str:
    """Return the page."""
    lines = [
        "# Nomenclature",
        "",
        "Written by `make contract` from the declarations of the calculators and the constants of the kernels in",
        "`physics/`. Names are those of inputs and results; symbols are those in formulas. Formulas use SI units.",
        "",
        "## Quantities",
        "",
        "| Symbol | Name | Unit | Used by |",
        "| --- | --- | --- | --- |",
    ]
    for name, (units, users) in quantities().items():
        shown = ", ".join(unit_sign(unit) or "1" for unit in units)
        used = ", ".join(f"`{user}`" for user in users)
        lines.append(f"| {SYMBOLS.get(name, '')} | `{name}` | {shown} | {used} |")
    lines += ["", "## Constants", "", "| Symbol | Name | Value | Unit | Module |", "| --- | --- | --- | --- | --- |"]
    for each in list_constants():
        shown = f"{each.value:.10g}" if np.ndim(each.value) == 0 else f"table of {np.size(each.value)}"
        symbol = SYMBOLS.get(each.name, "")
        lines.append(f"| {symbol} | `{each.name}` | {shown} | {each.unit} | `physics/{each.module}.py` |")
    return "\n".join(lines) + "\n"
