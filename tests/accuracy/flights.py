"""Recorded flights: measured power integrated, and the resistance of invented packs found again."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Final

import numpy as np

from accuracy.errors import Errors
from gramwatt.model import Array
from gramwatt.physics.loaded_pack import fit_resistance
from gramwatt.physics.recording import CleanRecording, integrate
from simulated_flights import CAPACITY, flown

FLIGHTS: Final = (2, 5, 7)
HERTZ: Final = 5
PHASES: Final = {"takeOff": "takeoff", "cruise": "cruise", "landing": "landing"}


def mean_power(folder: Path) -> Errors:
    """Energy over time of each phase of three flights, against the mean that the dataset's own table shows."""
    with (folder / "flight" / "cmu_power_by_phase.csv").open(newline="") as file:
        table = {int(row["flight"]): row for row in csv.DictReader(file)}
    found, known = [], []
    for flight in FLIGHTS:
        with (folder / "flight" / f"cmu_flight_{flight}_power_series.csv").open(newline="") as file:
            rows = list(csv.DictReader(file))
        for phase, name in PHASES.items():
            power = np.array([float(row["P_measured_W"]) for row in rows if row["phase"] == phase])
            time, one = np.arange(len(power)) / HERTZ, np.ones(len(power))
            sums = integrate(CleanRecording(time, one, power, one, one, np.ones(len(power) - 1, dtype=np.bool_)))
            found.append(sums.power / sums.duration)
            known.append(float(table[flight][f"P_{name}_W"]))
    return Errors.of(found, known)


def resistance(relaxing: tuple[float, float] = (0.0, 1.0)) -> tuple[Errors, float]:
    """Of a hundred invented flights on a pack of 50 mohm: the errors, and how many lie within two standard errors."""
    one, found, inside = np.ones(1), [], 0
    for seed in range(100):
        fit = fit_resistance(
            flown(seed, relaxing=relaxing),
            scale=one,
            offset=0 * one,
            voltage_scale=one,
            cells=4 * one,
            chemistry=np.zeros(1, dtype=np.intp),
            capacity=CAPACITY * one,
            start_state_of_charge=one,
        )
        found.append(float(fit.resistance[0]))
        inside += abs(found[-1] - 0.05) <= 2 * float(fit.standard_error[0])
    errors: Array = np.array(found)
    return Errors.of(errors, np.full(100, 0.05)), inside / 100
