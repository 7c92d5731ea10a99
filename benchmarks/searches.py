"""A search among a million combinations of options, beside plain numpy that computes each by the same kernels."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any, Final

import numpy as np

from benchmarks.options import Options
from benchmarks.report import Report

LIMIT: Final = 2.0
"""Times the processor time of plain numpy."""
COUNT: Final = 10
SHAPE: Final = (10, 10, 10, 10, 10)
"""Options of the slots, beside ten packs."""


def run(report: Report, options: Options) -> None:
    """Measure a million combinations with masses to 0.1 g, where many add up to the same, and to 1 µg."""
    report.section = "Searches: CPU time of a response of fit-out, ranges included, over that of plain numpy"
    for digits, title in ((1, "a million combinations, masses to 0.1 g"), (6, "the same to 1 µg: none weigh the same")):
        inputs = _make_inputs(digits)
        ours, theirs = _prepare_service(inputs), _prepare_numpy(inputs)
        fastest, best = ours(), theirs()
        if not np.allclose(fastest, best / 60, rtol=1e-9):
            report.missing(title, f"the results differ: {fastest} and {best / 60} min")
            continue
        rounds = [(_measure(ours), _measure(theirs)) for _ in range(options.page_rounds)]
        report.ratio(title, [each[0] for each in rounds], [each[1] for each in rounds], LIMIT, below=True)
        report.figure(title, f"{min(each[0] for each in rounds):.2f} s, numpy {min(each[1] for each in rounds):.2f} s")


def _make_inputs(digits: int) -> dict[str, Any]:
    chance = np.random.default_rng(1)
    packs = [
        {
            "name": f"pack {each}",
            "cells": 4,
            "capacity": 500 + 40 * each,
            "mass": 60 + 4 * each,
            "cell_resistance": 20 - each,
            "price": 20 + each,
        }
        for each in range(10)
    ]
    slots = [
        {
            "slot": f"slot {slot}",
            "name": f"option {option}",
            "mass": round(float(chance.uniform(1, 9)), digits),
            "price": option,
        }
        for slot, size in enumerate(SHAPE)
        for option in range(size)
    ]
    return {
        "dry_mass": 95,
        "kv": 4300,
        "motor_resistance": 180,
        "no_load_current": 0.8,
        "diameter": 3,
        "pitch": 2.1,
        "thrust_coefficient": 0.15,
        "power_coefficient": 0.08,
        "hover_power_ratio": 1.4,
        "avionics_power": 5,
        "kv_deficit": 5,
        "mass_limit": 235,
        "scale_resolution": 0,
        "ranking_size": COUNT,
        "packs": packs,
        "part_options": slots,
    }


def _prepare_service(inputs: dict[str, Any]) -> Callable[[], Any]:
    from gramwatt import calculate

    return lambda: np.array([row["endurance"] for row in calculate("fit-out", **inputs)["results"]["ranking"]])


def _prepare_numpy(inputs: dict[str, Any]) -> Callable[[], Any]:
    from benchmarks.peers.combinations import rank
    from gramwatt.physics import cells, constants, craft

    packs = {
        name: np.array([pack[name] for pack in inputs["packs"]], float) for name in inputs["packs"][0] if name != "name"
    }
    chemistry = np.zeros(len(inputs["packs"]), dtype=np.intp)
    columns = {
        "mass": packs["mass"] / 1000,
        "price": packs["price"],
        "cells": packs["cells"],
        "capacity": packs["capacity"] * 3.6,
        "chemistry": chemistry,
        "voltage": packs["cells"] * cells.open_circuit_voltage(chemistry, np.ones(len(chemistry))),
        "resistance": packs["cells"] * packs["cell_resistance"] / 1000,
    }
    slots = [
        {
            name: np.array(
                [option[name] for option in inputs["part_options"] if option["slot"] == f"slot {slot}"], float
            )
            for name in ("mass", "price")
        }
        for slot in range(len(SHAPE))
    ]
    for slot in slots:
        slot["mass"] = slot["mass"] / 1000
    drive = craft.Drive(
        *(
            np.array([value])
            for value in (
                4.0,
                inputs["kv"] * (1 - inputs["kv_deficit"] / 100) * constants.RPM,
                inputs["motor_resistance"] / 1000,
                inputs["no_load_current"],
                inputs["diameter"] * constants.INCH,
                inputs["thrust_coefficient"],
                inputs["power_coefficient"],
                constants.STANDARD_AIR_DENSITY,
            )
        )
    )
    return lambda: rank(
        drive,
        columns,
        slots,
        dry_mass=inputs["dry_mass"] / 1000,
        limit=inputs["mass_limit"] / 1000,
        power_ratio=inputs["hover_power_ratio"],
        avionics_power=inputs["avionics_power"],
        reserve=0.2,
        count=COUNT,
    )[0]


def _measure(respond: Callable[[], Any]) -> float:
    """Return the processor time [s] of one response."""
    began = time.process_time()
    respond()
    return time.process_time() - began
