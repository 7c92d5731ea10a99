"""Charge times against simulated cells."""

import json
from pathlib import Path
from typing import Any, Final

import numpy as np

from accuracy.errors import Errors
from accuracy.page import Row, Section
from gramwatt.physics import charging

GOLDEN: Final[dict[str, Any]] = json.loads(
    (Path(__file__).parents[1] / "golden" / "pybamm_charging.json").read_text(encoding="utf-8")
)
"""PyBaMM 26.10.1.1; see tests/golden/regenerate_charging.py."""
RATIO: Final = 2.0
"""The default of slow over fast resistance."""


def _duration(case: dict[str, Any], nominal_ah: float, resistance: float) -> float:
    def one(value: float) -> Any:
        return np.array([value])

    with np.errstate(all="ignore"):
        charged = charging.charge_cell(
            np.array([case["ocv_v"]]),
            charging.Limits(
                current=one(case["c_rate"] * nominal_ah),
                power=one(np.inf),
                set_voltage=one(case["set_v"]),
                cutoff_current=one(nominal_ah / case["cutoff_hours"]),
            ),
            resistance=one(resistance),
            capacity=one(case["capacity_ah"] * 3600),
            start_state_of_charge=one(case["start_charge"]),
            target_state_of_charge=one(1.0),
        )
    return float(charged.duration[0])


def _compare(cases: list[dict[str, Any]], durations: list[float]) -> Errors:
    return Errors.of(durations, [case["current_seconds"] + case["voltage_seconds"] for case in cases])


def accuracy(_: Path) -> Section:
    """Return the section of this calculator."""
    circuits, whole = GOLDEN["thevenin"], GOLDEN["dfn"]
    return Section(
        "Charging",
        (
            Row(
                "Time from 20 % to the cut-off",
                "PyBaMM 26.10.1.1, equivalent circuit with the same curve and resistance",
                _compare(circuits, [_duration(each, each["capacity_ah"], each["resistance_ohm"]) for each in circuits]),
                "the sums are right",
            ),
            Row(
                "Time from 20 % to the cut-off, whole cells",
                "PyBaMM, full electrochemical cells (Ai2020, Chen2020, Ecker2015), at C/2 and 1 C",
                _compare(
                    whole,
                    [
                        _duration(each, each["nominal_capacity_ah"], RATIO * each["pulse_resistance_ohm"])
                        for each in whole
                    ],
                ),
                "pulse resistance known, ratio of 2",
            ),
            Row(
                "The same",
                "the same",
                _compare(
                    whole, [_duration(each, each["nominal_capacity_ah"], each["resistance_ohm"]) for each in whole]
                ),
                "average resistance of the same charge at constant current",
            ),
        ),
        (
            "The ratio of slow over fast resistance, 2 by default, was chosen on these three cells: it is no test of "
            "it. A single resistance for a whole charge leaves the tail at constant voltage too short, as diffusion "
            "slows it.",
            "**Weak: no charge was compared with a real charger.** Balancing is not included, and the default "
            "resistance is known to a factor of 1.8.",
        ),
    )
