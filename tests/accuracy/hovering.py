"""hover-power against flights of a 4 kg craft, a 27 g craft, and bench runs."""

import csv
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from accuracy import bench
from accuracy.errors import Errors
from gramwatt import calculate
from gramwatt.engine import registry
from gramwatt.engine.evaluate import evaluate_columns
from gramwatt.model import Array
from gramwatt.physics import constants

LIGHT_CRAFT: Final = {"mass": "27 g", "diameter": "46.3 mm"}
LIGHT_POWER: Final = 7.38
"""An open 27 g brushed quadrotor's firmware documentation, docs/functional-areas/pwm-to-thrust.md: 2.00 A x 3.685 V
hold 27 g (interpolated)."""
LARGE_MASSES: Final = (3700, 4200)
LARGE_DIAMETER: Final = 13.5
LIGHTEST: Final = 0.040
"""Thrust of the bench rows that count [kgf]: below it hover-power warns that it is too hopeful."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """Power [W] and its stated range."""

    power: float
    low: float
    high: float


def estimate(**inputs: Any) -> Estimate:
    """Return what hover-power says of a craft."""
    answer = calculate("hover-power", **inputs)
    uncertainty = answer["uncertainty"]["pack_power"]
    return Estimate(answer["results"]["pack_power"], uncertainty["low"], uncertainty["high"])


def cruise_powers(folder: Path) -> Array:
    """Mean electrical power in cruise of 68 flights at 3.7 to 4.2 kg [W] (Rodrigues et al., Sci. Data 8 (2021) 155)."""
    with (folder / "flight" / "cmu_power_by_phase.csv").open(encoding="utf-8", newline="") as file:
        return np.array([float(row["P_cruise_W"]) for row in csv.DictReader(file)])


def large_craft(folder: Path) -> tuple[Errors, ...]:
    """Of the power estimated for hover at the two ends of the masses flown, against the mean of all cruises."""
    mean = cruise_powers(folder).mean()
    return tuple(Errors.of([estimate(mass=each, diameter=LARGE_DIAMETER).power], [mean]) for each in LARGE_MASSES)


def large_craft_covered(folder: Path) -> float:
    """Share of the flights within the range stated at both masses."""
    powers = cruise_powers(folder)
    ranges = [estimate(mass=mass, diameter=LARGE_DIAMETER) for mass in LARGE_MASSES]
    return float(np.mean([np.mean((each.low < powers) & (powers < each.high)) for each in ranges]))


def light_craft() -> Errors:
    """Of the power estimated for the 27 g craft."""
    return Errors.of([estimate(**LIGHT_CRAFT).power], [LIGHT_POWER])


def benches(folder: Path) -> tuple[Errors, float]:
    """Errors of the power estimated for the thrust of each bench row from 40 gf up, and the share in its range."""
    rows = bench.load(folder)
    grams = rows.thrust / constants.STANDARD_GRAVITY * 1e3
    rows, grams = rows.where(grams >= LIGHTEST * 1e3), grams[grams >= LIGHTEST * 1e3]
    count = grams.size
    columns: dict[str, list[Any]] = {"mass": grams.tolist(), "diameter": [5.0] * count, "motors": [1] * count}
    columns |= {"avionics_power": ["0 W"] * count, "air_density": [bench.AIR_DENSITY] * count}
    outcome = evaluate_columns(registry.load()["hover-power"], columns, count, text=False)
    if outcome.errors or outcome.uncertainty is None:
        raise ValueError(f"{outcome.errors}")
    measured, width = rows.voltage * rows.current, 2 * outcome.uncertainty.standard["pack_power"]
    covered = float((np.abs(outcome.results.pack_power - measured) <= width).mean())
    return Errors.of(outcome.results.pack_power, measured), covered
