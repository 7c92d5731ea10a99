"""Coefficients of a propeller at rest: conventions, momentum theory, scaling laws, the database they were fitted to."""

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from accuracy import propellers
from gramwatt.physics import hover, propeller


def one(value: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.array([value])


def expected(diameter: float, pitch: float, blades: int) -> float:
    return float(propeller.expected_thrust_coefficient(one(diameter), one(pitch), one(blades))[0])


def test_convention_by_hand() -> None:
    """By hand, the UIUC convention, n in revolutions per second: 0.1 x 1.25 x 100^2 x 0.2^4 = 2 N.

    0.05 x 1.25 x 100^3 x 0.2^5 = 20 W; so torque 20 / (200 pi) N m.
    """
    spin = one(100 * 2 * math.pi)
    assert propeller.thrust(one(0.1), spin, one(0.2), one(1.25))[0] == pytest.approx(2.0, rel=1e-14)
    assert propeller.measured_thrust_coefficient(one(2.0), spin, one(0.2), one(1.25))[0] == pytest.approx(
        0.1, rel=1e-14
    )
    assert propeller.measured_power_coefficient(one(20.0), spin, one(0.2), one(1.25))[0] == pytest.approx(
        0.05, rel=1e-14
    )
    torque = propeller.torque_factor(one(0.05), one(0.2), one(1.25)) * spin**2
    assert torque[0] == pytest.approx(20 / (200 * math.pi), rel=1e-14)


def test_figure_of_merit_of_a_measured_propeller(reference_data: Path) -> None:
    """Published: UIUC Propeller Database, da4022 5x3.75 in with three blades, CT 0.2068, CP 0.1315.

    Derived: FM = 0.79788 x 0.2068^1.5 / 0.1315 = 0.571; the measured power comes back from it to half a unit of its
    last digit.
    """
    found = propeller.power_coefficient(one(0.2068), one(0.57065))[0]
    assert found == pytest.approx(0.1315, abs=5e-5)
    assert math.sqrt(2 / math.pi) * 0.2068**1.5 / 0.1315 == pytest.approx(0.571, abs=5e-4)
    database = propellers.load(reference_data)
    assert np.any(np.isclose(database.thrust_coefficient, 0.2068, atol=5e-5) & (database.blades == 3))


@given(st.floats(0.01, 0.4), st.floats(0.1, 0.95), st.floats(0.05, 0.5), st.floats(0.5, 1.5), st.floats(10.0, 500.0))
def test_power_coefficient_is_momentum_theory(
    coefficient: float, merit: float, diameter: float, density: float, revolutions: float
) -> None:
    """Derived: CP by figure of merit is T v / FM of `hover`, whatever size, density and speed."""
    spin = one(revolutions * 2 * math.pi)
    lift = propeller.thrust(one(coefficient), spin, one(diameter), one(density))
    velocity = hover.hover_velocity(lift / hover.disk_area(one(diameter)), one(density))
    power = propeller.measured_power_coefficient(lift * velocity / merit, spin, one(diameter), one(density))
    assert propeller.power_coefficient(one(coefficient), one(merit))[0] == pytest.approx(power[0], rel=1e-12)


@given(st.floats(1.01, 4.0))
def test_scaling_laws(factor: float) -> None:
    """Thrust goes as density, speed squared, diameter to the fourth; torque as density and diameter to the fifth."""
    base = [one(0.15), one(2000.0), one(0.127), one(1.2)]
    here, turning = propeller.thrust(*base)[0], propeller.torque_factor(one(0.08), one(0.127), one(1.2))[0]
    for place, exponent in ((0, 1), (1, 2), (2, 4), (3, 1)):
        there = [value * factor if at == place else value for at, value in enumerate(base)]
        assert propeller.thrust(*there)[0] == pytest.approx(here * factor**exponent, rel=1e-12)
    assert propeller.torque_factor(one(0.08), one(0.127 * factor), one(1.2))[0] == pytest.approx(
        turning * factor**5, rel=1e-12
    )
    assert propeller.torque_factor(one(0.08), one(0.127), one(1.2 * factor))[0] == pytest.approx(
        turning * factor, rel=1e-12
    )


@given(st.floats(1e-3, 1.0), st.floats(1e-3, 1.0), st.floats(100.0, 5000.0))
def test_a_measured_point_gives_itself_back(lift: float, diameter: float, spin: float) -> None:
    """Round trip of thrust and of power."""
    coefficient = propeller.measured_thrust_coefficient(one(lift), one(spin), one(diameter), one(1.1))
    assert propeller.thrust(coefficient, one(spin), one(diameter), one(1.1))[0] == pytest.approx(lift, rel=1e-12)
    assert propeller.speed_at_thrust(one(lift), coefficient, one(diameter), one(1.1))[0] == pytest.approx(
        spin, rel=1e-12
    )
    coefficient = propeller.measured_power_coefficient(one(lift), one(spin), one(diameter), one(1.1))
    power = propeller.torque_factor(coefficient, one(diameter), one(1.1))[0] * spin**3
    assert power == pytest.approx(lift, rel=1e-12)


def test_expected_coefficient_by_hand() -> None:
    """By hand: square pitch, two blades, is the constant itself.

    0.145 x 0.8^0.55 x 1.5^0.5 = 0.145 x 0.884503 x 1.224745 = 0.157077 for 5x4 with three; eight blades have twice the
    two.
    """
    assert expected(0.1, 0.1, 2) == pytest.approx(0.145, rel=1e-15)
    assert expected(0.127, 0.1016, 3) == pytest.approx(0.157077, rel=4e-6)
    assert expected(0.1, 0.1, 8) == pytest.approx(0.290, rel=1e-12)


@given(st.floats(0.05, 0.3), st.floats(0.3, 1.1), st.integers(2, 7), st.floats(0.5, 2.0))
def test_more_pitch_and_more_blades_lift_more(diameter: float, ratio: float, blades: int, scale: float) -> None:
    """Monotonic; and without dimension: size alone changes nothing."""
    here = expected(diameter, ratio * diameter, blades)
    assert expected(diameter, ratio * diameter * 1.01, blades) > here
    assert expected(diameter, ratio * diameter, blades + 1) > here
    assert expected(diameter * scale, ratio * diameter * scale, blades) == pytest.approx(here, rel=1e-12)


@pytest.mark.parametrize(
    ("diameter", "pitch", "blades", "outside"),
    [
        pytest.param(2, 1, 2, False, id="smallest"),
        pytest.param(9, 4.5, 4, False, id="largest-most-blades"),
        pytest.param(5, 1.5, 2, False, id="flattest"),
        pytest.param(5, 5.5, 3, False, id="steepest"),
        pytest.param(1.99, 1, 2, True, id="too-small"),
        pytest.param(9.01, 4.5, 2, True, id="too-large"),
        pytest.param(5, 1.49, 2, True, id="too-flat"),
        pytest.param(5, 5.51, 2, True, id="too-steep"),
        pytest.param(5, 4, 5, True, id="too-many-blades"),
    ],
)
def test_range_of_the_fit(diameter: float, pitch: float, blades: int, outside: bool) -> None:
    """As declared, in inches as they come from the edge: bounds are still inside."""
    found = propeller.is_extrapolated(one(diameter * 0.0254), one(pitch * 0.0254), one(blades))
    assert bool(found[0]) == outside


def test_against_the_propeller_database(reference_data: Path) -> None:
    """Measured (UIUC Propeller Database, static, mean of the top 40 % of speeds), two to four blades, pitch/diameter
    0.3 to 1.1, 2 to 9 in: standard deviation of the logarithm 0.20 at most, mean 5 %, none off by more than half.
    """
    database = propellers.load(reference_data)
    errors = database.errors(database.fitted)
    assert errors.count == 120
    assert propellers.log_deviation(errors) == pytest.approx(propeller.COEFFICIENT_SPREAD, abs=0.005)
    assert abs(errors.bias) < 0.05
    assert errors.within(0.5) == errors.count


def test_against_racing_propellers(reference_data: Path) -> None:
    """Measured (open bench runs, medians from 8000 rpm up): eight five-inch propellers, each within 20 %, mean 5 %.

    They spread less than the database, whose spread is stated.
    """
    errors = propellers.of_the_bench(reference_data)
    assert errors.count == errors.within(0.20) == 8
    assert abs(errors.bias) < 0.05
    assert propellers.log_deviation(errors) < propeller.COEFFICIENT_SPREAD


def test_five_inch_propellers_of_the_database(reference_data: Path) -> None:
    """Measured (UIUC): these scatter as all do, 0.19 and 41 % at worst, so the bound of 20 % each does not hold for
    them, only for the mean. Most are research blades, the rest not racing propellers.
    """
    database = propellers.load(reference_data)
    errors = database.errors(database.five_inch)
    assert errors.count == 22
    assert abs(errors.bias) < 0.05
    assert errors.within(0.20) == 16
    assert 0.15 < propellers.log_deviation(errors) < 0.20


def test_micro_propellers_of_the_database(reference_data: Path) -> None:
    """Measured (UIUC): five propellers of up to 3 in; their spread is stated for micro propellers and out of range."""
    database = propellers.load(reference_data)
    micro = database.fitted & propeller.is_micro(database.diameter)
    errors = database.errors(micro)
    assert errors.count == 5
    assert propellers.log_deviation(errors) == pytest.approx(propeller.MICRO_SPREAD, abs=0.005)


@pytest.mark.parametrize(
    ("diameter", "pitch", "blades", "spread"),
    [(5, 4, 3, 0.19), (3, 2, 3, 0.32), (3.01, 2, 3, 0.19), (10, 5, 2, 0.32), (5, 4, 6, 0.32)],
)
def test_spread_of_the_expected_coefficient(diameter: float, pitch: float, blades: int, spread: float) -> None:
    found = propeller.coefficient_spread(one(diameter * 0.0254), one(pitch * 0.0254), one(blades))
    assert float(found[0]) == spread
