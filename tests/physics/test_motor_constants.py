"""Typical constants of motors: by hand, scaling laws, limits of their classes, open data on motors."""

import csv
import math
from pathlib import Path
from typing import Final

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gramwatt.physics import motor_constants

RPM: Final = 2 * math.pi / 60
INCH: Final = 0.0254


def typical(kv: float, inches: float) -> float:
    return float(motor_constants.typical_resistance(np.array([kv * RPM]), np.array([inches * INCH]))[0])


def spread(kv: float, inches: float) -> float:
    return float(motor_constants.typical_resistance_spread(np.array([kv * RPM]), np.array([inches * INCH]))[0])


def by_stator(kv: float, diameter: float, height: float) -> float:
    """Return the resistance for a stator in mm."""
    return float(
        motor_constants.stator_resistance(np.array([kv * RPM]), np.array([diameter * 1e-3]), np.array([height * 1e-3]))[
            0
        ]
    )


def no_load(kv: float, ohms: float, inches: float) -> float:
    found = motor_constants.typical_no_load_current(np.array([kv * RPM]), np.array([ohms]), np.array([inches * INCH]))
    return float(found[0])


@pytest.mark.parametrize(
    ("kv", "diameter", "height", "ohms"),
    [
        # By hand: 0.174 ohm itself at 2000 rpm/V and 3000 mm3.
        pytest.param(2000, 20, 7.5, 0.174, id="reference"),
        # By hand: 22^2 x 7 = 3388 mm3; 0.174 x (2000/2400)^2 x (3000/3388)^(5/3) = 0.174 x 0.694444 x 0.816513.
        pytest.param(2400, 22, 7, 0.098662, id="2207"),
        # By hand: 14^2 x 4 = 784 mm3; 0.174 x (2000/4600)^2 x 3.826531^(5/3) = 0.174 x 0.189036 x 9.36131.
        pytest.param(4600, 14, 4, 0.30792, id="1404"),
    ],
)
def test_resistance_by_stator_by_hand(kv: float, diameter: float, height: float, ohms: float) -> None:
    assert by_stator(kv, diameter, height) == pytest.approx(ohms, rel=1e-5)


@given(st.floats(200.0, 12000.0), st.floats(8.0, 50.0), st.floats(2.0, 20.0), st.floats(1.01, 3.0))
def test_resistance_by_stator_scales(kv: float, diameter: float, height: float, factor: float) -> None:
    """Scaling, derived: twice the turns have half the Kv and four times the resistance; all lengths times f at the
    same Kv give f^-5.
    """
    here = by_stator(kv, diameter, height)
    assert by_stator(kv / factor, diameter, height) == pytest.approx(here * factor**2, rel=1e-12)
    assert by_stator(kv, diameter * factor, height * factor) == pytest.approx(here * factor**-5, rel=1e-12)


@pytest.mark.parametrize(
    ("kv", "inches", "ohms"),
    [
        pytest.param(1950, 5.1, 0.2, id="five-inch-6-cells"),
        pytest.param(2700, 5, 0.2, id="five-inch-4-cells"),
        pytest.param(4600, 3.5, 0.2, id="small-that-suits"),
        # By hand: 2300 x 25 = 57500 rpm/V in^2, 1.5 times over or under it nothing changes; 10000 x 1.6^2 = 25600 is
        # 1.49740 times less than 38333.3.
        pytest.param(10000, 1.6, 0.2 * 1.497396**2, id="few-turns-for-its-propeller"),
        # By hand: 1200 x 100 = 120000 is 1.391304 times 86250.
        pytest.param(1200, 10, 0.2 / 1.391304**2, id="many-turns-for-its-propeller"),
    ],
)
def test_typical_resistance_by_hand(kv: float, inches: float, ohms: float) -> None:
    assert typical(kv, inches) == pytest.approx(ohms, rel=2e-6)


@given(st.floats(100.0, 20000.0), st.floats(1.0, 20.0))
def test_typical_resistance_is_continuous_and_falls_with_kv_and_size(kv: float, inches: float) -> None:
    """No step anywhere: a thousandth more changes it by at most four thousandths, and never upwards."""
    here = typical(kv, inches)
    for there in (typical(kv * 1.001, inches), typical(kv, inches * 1.001)):
        assert here * (1 - 4.1e-3) < there <= here * (1 + 1e-12)


def test_spread_of_typical_resistance_by_hand() -> None:
    """0.45 within 4 to 6 in, where the motor suits the propeller.

    By hand, at 2 and at 12 in (0.45^2 + (1.1 ln 2)^2)^0.5 = 0.88535; at 5 in and 5750 rpm/V, 2.5 / 1.5 off,
    (0.45^2 + (ln 1.6667)^2)^0.5 = 0.68077.
    """
    assert spread(3000, 4) == spread(2300, 5) == spread(1700, 6) == pytest.approx(0.45, rel=1e-9)
    assert spread(14375, 2) == pytest.approx(0.88535, rel=1e-5)
    assert spread(400, 12) == pytest.approx(0.88535, rel=1e-4)
    assert spread(5750, 5) == pytest.approx(0.68077, rel=1e-5)


def test_no_load_current_by_hand() -> None:
    """By hand: 587 / (2400 x 0.2) = 1.22292 A at 4, 5 and 6 in; at 12 in 587 / (600 x 0.2) x 2^-1.5 = 1.72947 A."""
    assert no_load(2400, 0.2, 5) == pytest.approx(1.22292, rel=4e-6)
    assert no_load(2400, 0.2, 4) == no_load(2400, 0.2, 6) == no_load(2400, 0.2, 5)
    assert no_load(600, 0.2, 12) == pytest.approx(1.72947, rel=4e-6)


def test_spread_of_the_no_load_current_by_hand() -> None:
    """0.10 for 4 to 6 in; by hand, at 2 in (0.1^2 + (1.1 ln 2)^2)^0.5 = 0.7690."""
    found = motor_constants.no_load_spread(np.array([2.0, 4.0, 5.0, 6.0, 12.0]) * INCH)
    assert found == pytest.approx([0.7690, 0.1, 0.1, 0.1, 0.7690], rel=1e-4)


@pytest.mark.parametrize(("inches", "inside"), [(3.99, False), (4, True), (6, True), (6.01, False)])
def test_the_class(inches: float, inside: bool) -> None:
    """As declared, in inches as they come from the edge: bounds are still inside."""
    assert bool(motor_constants.is_five_inch_class(np.array([inches * INCH]))[0]) == inside


def catalogue(folder: Path) -> tuple[np.ndarray, ...]:
    """Return Kv [rpm/V], no-load current [A], resistance of the winding [ohm] and mass [g]."""
    with (folder / "motors" / "catalogue.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    names = ("kv_rpm_per_volt", "no_load_current_A", "winding_resistance_ohm", "mass_g")
    return tuple(np.array([float(row[name]) for row in rows]) for name in names)


def test_trends_over_a_catalogue(reference_data: Path) -> None:
    """Measured (SizingLab/droneapp-legacy, Apache-2.0, 204 motors of 65 to 25 800 rpm/V).

    Resistance of the winding hardly changes with Kv alone, as motors suit their propellers, but at one mass it falls
    nearly as Kv^-2. It spreads by 1.1 in its logarithm: as much as the default does at 2.2 and 11 in.
    """
    kv, amps, ohms, mass = catalogue(reference_data)
    assert kv.size == 204
    ones = np.ones_like(kv)
    alone = np.linalg.lstsq(np.stack([ones, np.log(kv)], 1), np.log(ohms), rcond=None)[0]
    at_one_mass = np.linalg.lstsq(np.stack([ones, np.log(kv), np.log(mass)], 1), np.log(ohms), rcond=None)[0]
    assert alone[1] == pytest.approx(-0.34, abs=0.01)
    assert at_one_mass[1] == pytest.approx(-1.58, abs=0.01)
    assert np.log(ohms).std(ddof=1) == pytest.approx(1.10, abs=0.01)
    product = np.log(amps * ohms * kv)
    large, small = (kv >= 200) & (kv < 400), (kv >= 1500) & (kv < 2500)
    assert np.exp(product[large].mean()) == pytest.approx(17, abs=1)
    assert np.exp(product[small].mean()) == pytest.approx(66, abs=1)


def test_no_load_current_of_the_benches(reference_data: Path) -> None:
    """Measured (StrawsonDesign/motor_propeller_testing; constants fitted to its runs, in its summary).

    I0 R Kv, rated Kv: mean and spread over the five motors that the law was chosen on and over the four that check it.
    587 rpm lies between.
    """
    with (reference_data / "bench_five_inch" / "motors.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    product = {
        row["motor"]: math.log(float(row["kv_rated"]) * float(row["R_eff_fit_ohm"]) * float(row["I0_fit_A"]))
        for row in rows
    }
    for motors, rpm, deviation in (("acegi", 594, 0.115), ("bdfh", 571, 0.077)):
        logarithms = np.array([product[name] for name in motors])
        assert math.exp(logarithms.mean()) == pytest.approx(rpm, abs=1)
        assert logarithms.std(ddof=1) == pytest.approx(deviation, abs=0.005)
