"""The expected thrust coefficient against measured propellers.

uiuc of the reference data: UIUC Propeller Database, volumes 1 to 3 (Brandt & Selig, AIAA 2011-1255; Deters, Ananda &
Selig, AIAA 2014-2151), mean coefficients over the top 40 % of tested speeds; and the propellers of `accuracy.bench`.
"""

import csv
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from accuracy import bench
from accuracy.errors import Errors
from gramwatt.model import Array, BoolArray
from gramwatt.physics import propeller

MISLABELLED: Final = ("ancf 12.0x65.0", "ancf 13.0x65.0")
"""Named so in the data's README: 12x6.5 and 13x6.5 in, larger than what is compared here anyway."""


@dataclass(frozen=True, slots=True)
class Database:
    """Propellers as columns: diameter and pitch [m], blades, both coefficients."""

    diameter: Array
    pitch: Array
    blades: Array
    thrust_coefficient: Array
    power_coefficient: Array

    @property
    def fitted(self) -> BoolArray:
        """Which lie in the range that the expected coefficient is stated for."""
        return ~propeller.is_extrapolated(self.diameter, self.pitch, self.blades)

    @property
    def five_inch(self) -> BoolArray:
        """Which of those have five inches, to a quarter of one."""
        return self.fitted & (np.abs(self.diameter / bench.INCH - 5) <= 0.25)

    def errors(self, which: BoolArray) -> Errors:
        """Of the expected thrust coefficient."""
        expected = propeller.expected_thrust_coefficient(self.diameter, self.pitch, self.blades)
        return Errors.of(expected[which], self.thrust_coefficient[which])


def load(folder: Path) -> Database:
    """Every propeller of the summary but the mislabelled."""
    with (folder / "uiuc" / "static_summary.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if not row["prop"].startswith(MISLABELLED)]
    diameter, pitch, blades, thrust, power = (
        np.array([float(row[name]) for row in rows]) for name in ("D_in", "P_in", "B", "CT", "CP")
    )
    return Database(diameter * bench.INCH, pitch * bench.INCH, blades, thrust, power)


def log_deviation(errors: Errors) -> float:
    """Return standard deviation of the logarithm of calculated over measured."""
    return float(np.log1p(errors.values).std(ddof=1))


def of_the_bench(folder: Path) -> Errors:
    """Errors for the eight five-inch propellers of the bench, each by the median of its fast rows on all motors."""
    pitch, blades = np.array(bench.PITCH) * bench.INCH, np.array(bench.BLADES, dtype=np.float64)
    expected = propeller.expected_thrust_coefficient(np.full_like(pitch, bench.DIAMETER), pitch, blades)
    return Errors.of(expected, bench.thrust_coefficients(bench.load(folder)))
