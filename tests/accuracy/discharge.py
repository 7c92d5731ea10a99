"""Rested voltages, constant-power discharge and resistance in the cold, against simulated cells."""

import csv
import json
from pathlib import Path
from typing import Any, Final

import numpy as np

from accuracy.errors import Errors
from gramwatt.model import Array
from gramwatt.physics import cells, pack

GOLDEN: Final[dict[str, Any]] = json.loads(
    (Path(__file__).parents[1] / "golden" / "pybamm.json").read_text(encoding="utf-8")
)
"""PyBaMM 26.10.1.1; see tests/golden/regenerate.py."""
SETS: Final = {"lipo": "Ai2020", "li-ion": "Chen2020", "lifepo4": "Prada2013"}
POWER_CELL: Final = "Ecker2015"


def curves(folder: Path) -> Array:
    """Rested voltage less that of the open tables (cells/ocv_tables.csv) at each of their charges, three chemistries
    [V].
    """
    with (folder / "cells" / "ocv_tables.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    charge = np.array([float(row["soc"]) for row in rows])
    found = []
    for chemistry, parameter_set in SETS.items():
        codes = np.full(charge.size, cells.CHEMISTRIES.index(chemistry))
        known = np.array([float(row[parameter_set]) for row in rows])
        found.append(cells.open_circuit_voltage(codes, charge) - known)
    return np.concatenate(found)


def _duration(case: dict[str, Any], resistance: float) -> float:
    with np.errstate(all="ignore"):
        flown = pack.constant_power_discharge(
            np.array([case["ocv_v"]]),
            power=np.array([case["power_w"]]),
            resistance=np.array([resistance]),
            capacity=np.array([case["capacity_ah"] * 3600]),
            start_state_of_charge=np.array([case["start_charge"]]),
            reserve=np.zeros(1),
            cutoff_voltage=np.array([case["cutoff_v"]]),
        )
    return float(flown.duration[0])


def same_circuit() -> Errors:
    """Of the discharge time, against a time-stepping equivalent circuit with the same curve and resistance."""
    cases = GOLDEN["thevenin"]
    return Errors.of([_duration(case, case["resistance_ohm"]) for case in cases], [case["seconds"] for case in cases])


def whole_cells(*, power_cell: bool) -> Errors:
    """Of the discharge time, against electrochemical cells with their own 30 s pulse resistance at 3 C, to practical
    cut-offs: the power cell at one and two hours' rates, or three energy cells at one.
    """
    cases = [
        case
        for case in GOLDEN["dfn"]
        if case["cutoff_kind"] == "practical" and (case["parameter_set"] == POWER_CELL) == power_cell
    ]
    return Errors.of(
        [_duration(case, case["resistance_3c_ohm"]) for case in cases], [case["seconds"] for case in cases]
    )


def activation_energies() -> list[float]:
    """Of four simulated cells [kJ/mol]."""
    return sorted(case["activation_kj_mol"] for case in GOLDEN["resistance_temperature"])


def resistance_by_temperature() -> Errors:
    """Of the resistance at 0 and 40 degC from that at 25, each cell with its own activation energy."""
    found, known = [], []
    for case in GOLDEN["resistance_temperature"]:
        kelvin, measured = np.array(case["temperature_c"]) + 273.15, np.array(case["resistance_ohm"])
        reference, energy = np.full_like(kelvin, measured[1]), np.full_like(kelvin, case["activation_kj_mol"] * 1e3)
        found += cells.resistance_at(kelvin, reference, energy)[[0, 2]].tolist()
        known += measured[[0, 2]].tolist()
    return Errors.of(found, known)
