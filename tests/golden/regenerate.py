"""Regenerate tests/golden/pybamm.json: discharge times and cell data computed by PyBaMM.

The tests compare gramwatt's own battery calculations with these figures, so that PyBaMM itself need not be
installed to run them. To make the file again (about half a minute, in an environment of its own):

    pip install pybamm==26.10.1.1
    python tests/golden/regenerate.py
"""

from __future__ import annotations

import json
import platform
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pybamm

OUTPUT = Path(__file__).with_name("pybamm.json")
COMMAND = "python tests/golden/regenerate.py"

SOC_GRID = np.linspace(0.0, 1.0, 21)
ROOM_K = 298.15
GAS_CONSTANT = 8.314462618  # J/(mol K)
TOLERANCE = 1e-8
LONG_ENOUGH_S = 100 * 3600.0
CUTOFF_EVENT = "event: Minimum voltage [V]"

METHOD = {
    "ocv": (
        "Every ocv_v is a table for state of charge 0, 0.05 .. 1: the bulk open-circuit voltage along an isothermal "
        "25 degC discharge at C/50 (nominal capacity / 50 h) of the single particle model (pybamm.lithium_ion.SPM), "
        "from the 100 % state of the set until the terminal voltage falls to the set's lower cut-off. "
        "State of charge = 1 - charge drawn / all the charge drawn; that charge is capacity_ah in part dfn."
    ),
    "thevenin": (
        "pybamm.equivalent_circuit.Thevenin, no RC element, constant series resistance, constant power, no entropic "
        "change, open-circuit voltage = linear interpolation of ocv_v, from start_charge to cutoff_v. "
        "ended_by is what stopped the run, end_charge the state of charge then. seconds is the interpolated event time."
    ),
    "dfn": (
        "pybamm.lithium_ion.DFN with its default mesh, isothermal 25 degC, constant power from 100 %. "
        "1 C-power in watts = energy_wh / 1 h, where energy_wh = integral of the bulk open-circuit voltage over the "
        "charge drawn in the C/50 discharge (not nominal volts x nominal Ah); power_w = c_power x that. "
        "Each power is run to two cut-offs: the set's own lower limit (cutoff_kind own) and a usual practical one "
        "(cutoff_kind practical). resistance_ohm = (open-circuit voltage at rest - voltage after 30 s) / I for a "
        "discharge pulse of the DFN at 50 % with I = nominal_capacity_ah / 1 h; resistance_3c_ohm is the same with "
        "three times that current (overpotential grows less than in proportion, so it is mostly lower)."
    ),
    "lihv_ocv": (
        "Ai2020 with its upper limit and its open-circuit voltage at 100 % raised from 4.2 to 4.35 V, initial "
        "stoichiometries computed anew by PyBaMM, table made as every ocv_v. The data of the positive electrode end at "
        "stoichiometry 0.4, where PyBaMM stops: its full state is reached_v, not upper_v. A table that ends at 4.35 V "
        "sets that last point by hand. An extrapolation: the cell was not measured above 4.2 V."
    ),
    "resistance_temperature": (
        "DFN, isothermal at the temperature named, discharge pulse of 10 s at 50 % with I = nominal capacity / 1 h: "
        "(open-circuit voltage at rest - voltage after 10 s) / I. activation_kj_mol is the least-squares slope of "
        "ln R against 1/T times the gas constant, over the three temperatures; the _3c figures use three times that "
        "current."
    ),
}


@dataclass(frozen=True)
class Chemistry:
    name: str
    parameter_set: str
    nominal_v: float
    capacity_ah: float
    resistance_ohm: float
    cutoff_v: float


@dataclass(frozen=True)
class SlowDischarge:
    """Results of a C/50 discharge of a cell."""

    nominal_capacity_ah: float
    capacity_ah: float
    energy_wh: float
    ocv_v: list[float]


CHEMISTRIES = (
    Chemistry("lipo", "Ai2020", 3.7, 1.3, 0.0076923, 3.3),
    Chemistry("li-ion", "Chen2020", 3.6, 3.0, 0.025, 2.8),
    Chemistry("lifepo4", "Prada2013", 3.2, 2.3, 0.012, 2.5),
)
THEVENIN_C_POWERS = (0.5, 1.0, 3.0)
DFN_CASES = (  # parameter set, C-power, practical cut-off
    ("Ecker2015", 1.0, 3.0),
    ("Ecker2015", 2.0, 3.0),
    ("Marquis2019", 1.0, 3.3),
    ("Ai2020", 1.0, 3.3),
    ("Chen2020", 1.0, 2.8),
)
TEMPERATURE_SETS = ("Ecker2015", "Marquis2019", "ORegan2022", "Ai2020")
TEMPERATURES_C = (0.0, 25.0, 40.0)


def make_solver() -> pybamm.BaseSolver:
    return pybamm.IDAKLUSolver(rtol=TOLERANCE, atol=TOLERANCE)


def cell_parameters(parameter_set: str, temperature_k: float = ROOM_K) -> pybamm.ParameterValues:
    values = pybamm.ParameterValues(parameter_set)
    values.update({"Ambient temperature [K]": temperature_k, "Initial temperature [K]": temperature_k})
    return values


def slow_discharge(values: pybamm.ParameterValues) -> SlowDischarge:
    """Discharge a cell at C/50 from full and tabulate its open-circuit voltage."""
    nominal_ah = float(values["Nominal cell capacity [A.h]"])
    values.update({"Current function [A]": nominal_ah / 50})
    simulation = pybamm.Simulation(pybamm.lithium_ion.SPM(), parameter_values=values, solver=make_solver())
    samples = np.linspace(0.0, LONG_ENOUGH_S, 20001)
    solution = simulation.solve([0.0, LONG_ENOUGH_S], t_interp=samples, initial_soc=1.0)
    require_cutoff(solution)
    charge = solution["Discharge capacity [A.h]"].entries
    volts = solution["Bulk open-circuit voltage [V]"].entries
    state_of_charge = 1 - charge / charge[-1]
    table = np.interp(SOC_GRID, state_of_charge[::-1], volts[::-1])
    return SlowDischarge(
        nominal_capacity_ah=nominal_ah,
        capacity_ah=float(charge[-1]),
        energy_wh=float(np.trapezoid(volts, charge)),
        ocv_v=[round(float(v), 4) for v in table],
    )


def require_cutoff(solution: pybamm.Solution) -> None:
    if solution.termination != CUTOFF_EVENT:
        raise RuntimeError(f"the run did not end at the cut-off voltage but by {solution.termination!r}")


def thevenin_case(chemistry: Chemistry, c_power: float, ocv_v: list[float]) -> dict[str, Any]:
    power_w = round(c_power * chemistry.nominal_v * chemistry.capacity_ah, 4)
    model = pybamm.equivalent_circuit.Thevenin(
        options={"number of rc elements": 0, "operating mode": "power", "calculate discharge energy": "false"}
    )
    # A run that starts full sits on the limit "Maximum SoC" and would stop there.
    model.events = [event for event in model.events if event.name != "Maximum SoC"]
    values = model.default_parameter_values
    table = np.array(ocv_v)
    values.update(
        {
            "Initial SoC": 1.0,
            "Cell capacity [A.h]": chemistry.capacity_ah,
            "Nominal cell capacity [A.h]": chemistry.capacity_ah,
            "Current function [A]": chemistry.capacity_ah * c_power,  # only a first guess in power mode
            "Upper voltage cut-off [V]": table.max() + 1,
            "Lower voltage cut-off [V]": chemistry.cutoff_v,
            "Open-circuit voltage [V]": lambda soc: pybamm.Interpolant(SOC_GRID, table, soc, interpolator="linear"),
            "R0 [Ohm]": chemistry.resistance_ohm,
            "Entropic change [V/K]": 0.0,
        }
    )
    values.update({"Power function [W]": power_w}, check_already_exists=False)
    simulation = pybamm.Simulation(model, parameter_values=values, solver=make_solver())
    solution = simulation.solve([0.0, 10 * 3600.0])
    require_cutoff(solution)
    return {
        "id": f"{chemistry.name}-{c_power:g}c",
        "chemistry": chemistry.name,
        "parameter_set": chemistry.parameter_set,
        "capacity_ah": chemistry.capacity_ah,
        "resistance_ohm": chemistry.resistance_ohm,
        "power_w": power_w,
        "start_charge": 1.0,
        "cutoff_v": chemistry.cutoff_v,
        "seconds": round(float(solution.t[-1]), 3),
        "ended_by": "cutoff",
        "end_charge": round(float(solution["SoC"].entries[-1]), 6),
        "ocv_v": ocv_v,
    }


def dfn_seconds(parameter_set: str, power_w: float, cutoff_v: float) -> float:
    """Return the time a full electrochemical cell holds a power, from full to a cut-off voltage."""
    values = cell_parameters(parameter_set)
    values.update({"Lower voltage cut-off [V]": cutoff_v})
    values.update({"Power function [W]": power_w}, check_already_exists=False)
    model = pybamm.lithium_ion.DFN({"operating mode": "power"})
    simulation = pybamm.Simulation(model, parameter_values=values, solver=make_solver())
    solution = simulation.solve([0.0, 3 * 3600.0], initial_soc=1.0)
    require_cutoff(solution)
    return float(solution.t[-1])


def pulse_resistance(parameter_set: str, seconds: float, c_rate: float, temperature_k: float = ROOM_K) -> float:
    """Return the apparent resistance, in ohms, at the end of a discharge pulse from rest at half charge."""
    values = cell_parameters(parameter_set, temperature_k)
    current = c_rate * float(values["Nominal cell capacity [A.h]"])
    values.update({"Current function [A]": current})
    simulation = pybamm.Simulation(pybamm.lithium_ion.DFN(), parameter_values=values, solver=make_solver())
    solution = simulation.solve([0.0, seconds], initial_soc=0.5)
    if solution.termination != "final time":
        raise RuntimeError(f"the pulse of {parameter_set} was cut short: {solution.termination}")
    rest = solution["Bulk open-circuit voltage [V]"].entries[0]
    return float((rest - solution["Voltage [V]"].entries[-1]) / current)


def dfn_cases() -> list[dict[str, Any]]:
    cases = []
    for parameter_set, c_power, practical_v in DFN_CASES:
        values = cell_parameters(parameter_set)
        cutoffs = {"own": float(values["Lower voltage cut-off [V]"]), "practical": practical_v}
        slow = slow_discharge(values)
        power_w = round(c_power * slow.energy_wh, 6)
        resistance = {c_rate: round(pulse_resistance(parameter_set, 30.0, c_rate), 6) for c_rate in (1.0, 3.0)}
        for kind, cutoff_v in cutoffs.items():
            cases.append(
                {
                    "id": f"{parameter_set.lower()}-{c_power:g}c-{kind}",
                    "parameter_set": parameter_set,
                    "capacity_ah": round(slow.capacity_ah, 6),
                    "nominal_capacity_ah": slow.nominal_capacity_ah,
                    "energy_wh": round(slow.energy_wh, 6),
                    "c_power": c_power,
                    "power_w": power_w,
                    "resistance_ohm": resistance[1.0],
                    "resistance_3c_ohm": resistance[3.0],
                    "start_charge": 1.0,
                    "cutoff_kind": kind,
                    "cutoff_v": cutoff_v,
                    "seconds": round(dfn_seconds(parameter_set, power_w, cutoff_v), 2),
                    "ocv_v": slow.ocv_v,
                }
            )
    return cases


def thevenin_cases() -> list[dict[str, Any]]:
    cases = []
    for chemistry in CHEMISTRIES:
        ocv_v = slow_discharge(cell_parameters(chemistry.parameter_set)).ocv_v
        cases += [thevenin_case(chemistry, c_power, ocv_v) for c_power in THEVENIN_C_POWERS]
    return cases


def lihv_ocv() -> dict[str, Any]:
    values = cell_parameters("Ai2020")
    values.update({"Upper voltage cut-off [V]": 4.35, "Open-circuit voltage at 100% SOC [V]": 4.35})
    slow = slow_discharge(values)
    return {
        "parameter_set": "Ai2020",
        "upper_v": 4.35,
        "reached_v": slow.ocv_v[-1],
        "lower_v": float(values["Lower voltage cut-off [V]"]),
        "capacity_ah": round(slow.capacity_ah, 6),
        "ocv_v": slow.ocv_v,
    }


def activation_energy(temperatures_c: tuple[float, ...], resistances: list[float]) -> float:
    """Fit ln R = a + Ea / (Rg T) and return Ea in kJ/mol."""
    inverse_k = 1 / (np.array(temperatures_c) + 273.15)
    slope = np.polyfit(inverse_k, np.log(resistances), 1)[0]
    return float(slope * GAS_CONSTANT / 1000)


def resistance_temperature() -> list[dict[str, Any]]:
    cases = []
    for parameter_set in TEMPERATURE_SETS:
        case: dict[str, Any] = {"parameter_set": parameter_set, "temperature_c": list(TEMPERATURES_C)}
        for c_rate, suffix in ((1.0, ""), (3.0, "_3c")):
            ohms = [pulse_resistance(parameter_set, 10.0, c_rate, t + 273.15) for t in TEMPERATURES_C]
            case[f"resistance{suffix}_ohm"] = [round(r, 6) for r in ohms]
            case[f"activation{suffix}_kj_mol"] = round(activation_energy(TEMPERATURES_C, ohms), 2)
        cases.append(case)
    return cases


def to_json(golden: dict[str, Any]) -> str:
    """Write one case a line, so that a difference between two versions can be read."""
    parts = []
    for key, value in golden.items():
        if isinstance(value, list):
            body = "[\n" + ",\n".join("    " + json.dumps(case) for case in value) + "\n  ]"
        else:
            body = json.dumps(value, indent=2).replace("\n", "\n  ") if key != "lihv_ocv" else json.dumps(value)
        parts.append(f"  {json.dumps(key)}: {body}")
    return "{\n" + ",\n".join(parts) + "\n}\n"


def main() -> None:
    pybamm.set_logging_level("ERROR")
    golden = {
        "made_with": {
            "package": "pybamm",
            "version": pybamm.__version__,
            "python": platform.python_version(),
            "command": COMMAND,
        },
        "method": METHOD,
        "thevenin": thevenin_cases(),
        "dfn": dfn_cases(),
        "lihv_ocv": lihv_ocv(),
        "resistance_temperature": resistance_temperature(),
    }
    OUTPUT.write_text(to_json(golden), encoding="utf-8")
    print(f"wrote {OUTPUT.name}: {len(golden['thevenin'])} thevenin and {len(golden['dfn'])} dfn cases")


if __name__ == "__main__":
    main()
