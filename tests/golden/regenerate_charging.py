"""Regenerate tests/golden/pybamm_charging.json: charges at constant current, then constant voltage, by PyBaMM.

The tests compare gramwatt's own charge with these figures, so that PyBaMM itself need not be installed to run them. To
make the file again (under a minute, in an environment of its own):

    pip install pybamm==26.10.1.1
    python tests/golden/regenerate_charging.py
"""

from __future__ import annotations

import platform
from pathlib import Path
from typing import Any

import numpy as np
import pybamm
from regenerate import (
    CHEMISTRIES,
    SOC_GRID,
    Chemistry,
    cell_parameters,
    make_solver,
    pulse_resistance,
    slow_discharge,
    to_json,
)

OUTPUT = Path(__file__).with_name("pybamm_charging.json")
COMMAND = "python tests/golden/regenerate_charging.py"
START_CHARGE = 0.2
PERIOD_S = 10

METHOD = {
    "thevenin": (
        "pybamm.equivalent_circuit.Thevenin, no RC element, constant series resistance, no entropic change, "
        "open-circuit voltage = linear interpolation of ocv_v (see pybamm.json), from start_charge. pybamm.Experiment "
        "of two steps, 'Charge at <c_rate>C until <set_v> V' and 'Hold at <set_v> V until C/<cutoff_hours>'; seconds "
        "of each are the interpolated event times, end_charge is the state of charge at the end."
    ),
    "dfn": (
        "pybamm.lithium_ion.DFN with its default mesh, isothermal 25 degC, from start_charge (initial_soc), by the "
        "same two steps; C is the nominal capacity. charge_ah is the charge put in. capacity_ah and ocv_v are those of "
        "the C/50 discharge in pybamm.json, pulse_resistance_ohm is its resistance_ohm (30 s at 1 C). resistance_ohm "
        "is taken from the same run: the average over the charge put in at "
        "constant current of (voltage - bulk open-circuit voltage) / current, sampled each 10 s."
    ),
}

THEVENIN_CASES = (  # chemistry, C-rate, set voltage, cut-off C/n
    ("lipo", 1.0, 4.2, 20),
    ("lipo", 3.0, 4.2, 10),
    ("li-ion", 0.5, 4.2, 20),
    ("lifepo4", 1.0, 3.6, 10),
)
DFN_CASES = (
    ("Ai2020", 1.0, 4.2, 20),
    ("Ai2020", 1.0, 4.2, 10),
    ("Chen2020", 0.5, 4.2, 20),
    ("Ecker2015", 1.0, 4.2, 20),
)


def make_experiment(c_rate: float, set_v: float, cutoff_hours: int) -> pybamm.Experiment:
    steps = (f"Charge at {c_rate:g}C until {set_v:g} V", f"Hold at {set_v:g} V until C/{cutoff_hours}")
    return pybamm.Experiment([steps], period=f"{PERIOD_S} seconds")


def step_seconds(solution: pybamm.Solution) -> list[float]:
    """Return the durations of both steps, the first of which starts at 0."""
    ends = [float(step.t[-1]) for step in solution.cycles[0].steps]
    return [ends[0], ends[1] - ends[0]]


def thevenin_case(chemistry: Chemistry, c_rate: float, set_v: float, cutoff_hours: int) -> dict[str, Any]:
    model = pybamm.equivalent_circuit.Thevenin(
        options={"number of rc elements": 0, "calculate discharge energy": "false"}
    )
    # A charge that ends full comes close to the limit "Maximum SoC", which is not its end.
    model.events = [event for event in model.events if event.name != "Maximum SoC"]
    values = model.default_parameter_values
    ocv_v = slow_discharge(cell_parameters(chemistry.parameter_set)).ocv_v
    table = np.array(ocv_v)
    values.update(
        {
            "Initial SoC": START_CHARGE,
            "Cell capacity [A.h]": chemistry.capacity_ah,
            "Nominal cell capacity [A.h]": chemistry.capacity_ah,
            "Upper voltage cut-off [V]": set_v + 1,
            "Lower voltage cut-off [V]": 1.0,
            "Open-circuit voltage [V]": lambda soc: pybamm.Interpolant(SOC_GRID, table, soc, interpolator="linear"),
            "R0 [Ohm]": chemistry.resistance_ohm,
            "Entropic change [V/K]": 0.0,
        }
    )
    experiment = make_experiment(c_rate, set_v, cutoff_hours)
    solution = pybamm.Simulation(model, parameter_values=values, experiment=experiment, solver=make_solver()).solve()
    current_s, voltage_s = step_seconds(solution)
    return {
        "id": f"{chemistry.name}-{c_rate:g}c-until-c/{cutoff_hours}",
        "chemistry": chemistry.name,
        "capacity_ah": chemistry.capacity_ah,
        "resistance_ohm": chemistry.resistance_ohm,
        "start_charge": START_CHARGE,
        "c_rate": c_rate,
        "set_v": set_v,
        "cutoff_hours": cutoff_hours,
        "current_seconds": round(current_s, 3),
        "voltage_seconds": round(voltage_s, 3),
        "end_charge": round(float(solution["SoC"].entries[-1]), 6),
        "ocv_v": ocv_v,
    }


def average_resistance(step: pybamm.Solution) -> float:
    """Return the mean over the charge put in of overpotential over current."""
    volts = step["Voltage [V]"].entries - step["Bulk open-circuit voltage [V]"].entries
    amperes = -step["Current [A]"].entries
    charge = -step["Discharge capacity [A.h]"].entries
    return float(np.trapezoid(volts / amperes, charge) / (charge[-1] - charge[0]))


def dfn_case(parameter_set: str, c_rate: float, set_v: float, cutoff_hours: int) -> dict[str, Any]:
    slow = slow_discharge(cell_parameters(parameter_set))
    experiment = make_experiment(c_rate, set_v, cutoff_hours)
    simulation = pybamm.Simulation(
        pybamm.lithium_ion.DFN(),
        parameter_values=cell_parameters(parameter_set),
        experiment=experiment,
        solver=make_solver(),
    )
    solution = simulation.solve(initial_soc=START_CHARGE)
    current_s, voltage_s = step_seconds(solution)
    return {
        "id": f"{parameter_set.lower()}-{c_rate:g}c-until-c/{cutoff_hours}",
        "parameter_set": parameter_set,
        "nominal_capacity_ah": slow.nominal_capacity_ah,
        "capacity_ah": round(slow.capacity_ah, 6),
        "resistance_ohm": round(average_resistance(solution.cycles[0].steps[0]), 6),
        "pulse_resistance_ohm": round(pulse_resistance(parameter_set, 30.0, 1.0), 6),
        "start_charge": START_CHARGE,
        "c_rate": c_rate,
        "set_v": set_v,
        "cutoff_hours": cutoff_hours,
        "current_seconds": round(current_s, 2),
        "voltage_seconds": round(voltage_s, 2),
        "charge_ah": round(float(-solution["Discharge capacity [A.h]"].entries[-1]), 5),
        "ocv_v": slow.ocv_v,
    }


def main() -> None:
    pybamm.set_logging_level("ERROR")
    by_name = {each.name: each for each in CHEMISTRIES}
    golden = {
        "made_with": {
            "package": "pybamm",
            "version": pybamm.__version__,
            "python": platform.python_version(),
            "command": COMMAND,
        },
        "method": METHOD,
        "thevenin": [thevenin_case(by_name[name], *rest) for name, *rest in THEVENIN_CASES],
        "dfn": [dfn_case(*case) for case in DFN_CASES],
    }
    OUTPUT.write_text(to_json(golden), encoding="utf-8")
    print(f"wrote {OUTPUT.name}: {len(golden['thevenin'])} thevenin and {len(golden['dfn'])} dfn cases")


if __name__ == "__main__":
    main()
