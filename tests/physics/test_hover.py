"""Rotors by momentum theory: closed forms, printed values, limits, scaling laws."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from gramwatt.physics import hover


def one(value: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.array([value])


def induced(hovering: float, climb: float, forward: float) -> float:
    return float(hover.induced_velocity(one(hovering), one(climb), one(forward))[0])


def test_ideal_power_by_hand() -> None:
    """By hand (Leishman, Principles of Helicopter Aerodynamics, ch.

    2): P = T^1.5 / sqrt(2 rho A). T = 10 N, A = 1 m2, rho = 1.25: v = sqrt(10 / 2.5) = 2 m/s, P = 20 W = 10^1.5 / sqrt
    2.5.
    """
    velocity = hover.hover_velocity(one(10.0), one(1.25))[0]
    assert velocity == pytest.approx(2.0, rel=1e-15)
    assert 10 * velocity == pytest.approx(10**1.5 / math.sqrt(2.5), rel=1e-15)
    assert hover.disk_area(one(2.0))[0] == pytest.approx(math.pi, rel=1e-15)


@pytest.mark.parametrize(
    ("speed", "expected"),
    [
        # Derived: sqrt(-x^2/2 + sqrt(x^4/4 + 1)), four digits printed.
        (0.0, 1.0),
        (0.5, 0.9396),
        (1.0, 0.7862),
        (2.0, 0.4859),
        (3.0, 0.3313),
    ],
)
def test_forward_flight_by_glauert(speed: float, expected: float) -> None:
    assert induced(1.0, 0.0, speed) == pytest.approx(expected, abs=5e-5)
    assert induced(1.0, 0.0, speed) == pytest.approx(
        math.sqrt(-(speed**2) / 2 + math.sqrt(speed**4 / 4 + 1)), rel=1e-12
    )


@given(st.floats(0.5, 30.0), st.floats(0.0, 15.0))
def test_axial_climb_in_closed_form(hovering: float, climb: float) -> None:
    """By hand: v (Vc + v) = vh^2."""
    expected = 2 * hovering**2 / (climb + math.sqrt(climb**2 + 4 * hovering**2))
    assert induced(hovering, climb, 0.0) == pytest.approx(expected, rel=1e-13)


@given(st.floats(0.5, 30.0), st.floats(0.0, 15.0), st.floats(0.0, 15.0))
def test_climb_and_forward_flight_together(hovering: float, climb: float, forward: float) -> None:
    """Against a bracketing root finder (scipy's brentq) on the momentum equation, v sqrt(V^2 + (Vc + v)^2) = vh^2.

    And monotonic: either speed lowers it.
    """

    def momentum(velocity: float) -> float:
        return velocity * math.hypot(forward, climb + velocity) - hovering**2

    found = induced(hovering, climb, forward)
    assert found == pytest.approx(brentq(momentum, 0, 1.001 * hovering, xtol=1e-14), rel=1e-11)
    assert induced(hovering, climb + 1, forward) < found
    assert induced(hovering, climb, forward + 1) < found


def test_fast_limits() -> None:
    """Limits, by hand: far above vh, v -> vh^2 / V either way."""
    assert induced(1.0, 0.0, 1e3) == pytest.approx(1e-3, rel=1e-6)
    assert induced(1.0, 1e3, 0.0) == pytest.approx(1e-3, rel=2e-6)


def test_climb_of_a_helicopter() -> None:
    """By hand: 600 kW, 16 m rotor, 170 N/m2, 53 % of the power is T (Vc + v), 1.226 kg/m3.

    T = 170 x pi x 64 = 34181 N; Vc + v = 9.303 m/s; vh^2 = 170 / (2 x 1.226) = 69.33 m2/s2; v = vh^2 / (Vc + v) = 7.452
    m/s; so it climbs at 1.851 m/s = 111.1 m/min.
    """
    hovering = float(hover.hover_velocity(one(170.0), one(1.226))[0])
    total = 0.53 * 600e3 / (170 * float(hover.disk_area(one(16.0))[0]))
    climb = brentq(lambda speed: speed + induced(hovering, speed, 0.0) - total, 0, 9)
    assert climb * 60 == pytest.approx(111.1, rel=1e-3)


@pytest.mark.parametrize(
    ("spacing", "share", "factor"),
    [
        # Derived: area common to two circles; 1 + 0.4142 m'.
        pytest.param(0.0, 1.0, math.sqrt(2), id="coincident"),
        pytest.param(0.5, 0.3910, 1.1620, id="half"),
        pytest.param(0.75, 0.1443, 1.0598, id="three-quarters"),
        pytest.param(0.9, 0.0374, 1.0155, id="nine-tenths"),
        pytest.param(1.0, 0.0, 1.0, id="touching"),
        pytest.param(3.0, 0.0, 1.0, id="apart"),
    ],
)
def test_overlap_of_two(spacing: float, share: float, factor: float) -> None:
    covered = hover.overlap(one(spacing))
    assert covered[0] == pytest.approx(share, abs=5e-5)
    assert hover.interference(covered, one(1.0), np.array([False]))[0] == pytest.approx(factor, abs=1e-4)


def test_overlap_is_an_area() -> None:
    """By hand: points of a fine grid within both of two circles, 0.6 diameters apart, over those within one."""
    x, y = np.meshgrid(np.linspace(-0.5, 0.5, 1501), np.linspace(-0.5, 0.5, 1501))
    own, other = x**2 + y**2 < 0.25, (x - 0.6) ** 2 + y**2 < 0.25
    assert hover.overlap(one(0.6))[0] == pytest.approx((own & other).sum() / own.sum(), abs=5e-4)


def test_ring_of_four_has_two_neighbours() -> None:
    """Derived: of four equal disks of area A, four lenses m' A carry twice the thrust per area and so 2 sqrt 2 the
    power per area: [4 (1 - 2 m') + 4 x 2 sqrt 2 m'] / 4 = 1 + 2 (sqrt 2 - 1) m'.
    """
    m = float(hover.overlap(one(0.9))[0])
    summed = (4 * (1 - 2 * m) + 4 * 2 * math.sqrt(2) * m) / 4
    assert hover.interference(one(m), one(2.0), np.array([False]))[0] == pytest.approx(summed, rel=1e-14)


def test_coaxial_factor_derived() -> None:
    """Derived: the lower rotor sees 2 vu over half its disk, nothing over the other half.

    With T = 2 rho A vu^2 for both, w the speed far below: momentum T = rho A (vu + vl) w - 2 rho A vu^2; energy T (vu +
    vl) = rho A (vu + vl) w^2 / 2 - 2 rho A vu^3. So w = 2 vu + vl and vl = vu (sqrt 17 - 3)/2 = 0.5616 vu: the lower
    takes 1.5616, the pair (1 + 1.5616)/2 = 1.2808 of the same two rotors alone.
    """
    lower = (math.sqrt(17) - 3) / 2
    wake = 2 + lower
    assert (1 + lower) * wake - 2 == pytest.approx(2.0, rel=1e-12)
    assert (1 + lower) * wake**2 / 2 - 2 == pytest.approx(2 * (1 + lower), rel=1e-12)
    assert pytest.approx((1 + 1 + lower) / 2, rel=1e-12) == hover.COAXIAL_FACTOR
    assert pytest.approx(1.2808, abs=5e-5) == hover.COAXIAL_FACTOR
    found = hover.interference(one(0.0), one(0.0), np.array([True]))[0]
    assert 1 < found < math.sqrt(2)
    assert found == hover.COAXIAL_FACTOR


@pytest.mark.parametrize(
    ("grams", "overall"),
    [
        pytest.param(1, 0.20, id="flat-below"),
        pytest.param(7.5, 0.20, id="30-g-craft"),
        pytest.param(60, 0.26, id="40-to-80"),
        pytest.param(110, 0.33, id="80-to-140"),
        pytest.param(math.sqrt(110 * 180), 0.355, id="between-by-logarithm"),
        pytest.param(180, 0.38, id="140-to-220"),
        pytest.param(270, 0.41, id="220-to-320"),
        pytest.param(385, 0.43, id="320-to-450"),
        pytest.param(1000, 0.50, id="4-kg-craft"),
        pytest.param(9000, 0.50, id="flat-above"),
    ],
)
def test_usual_drive_efficiency(grams: float, overall: float) -> None:
    """Measured medians (see `hover.BENCH_EFFICIENCY`) over a figure of merit of 0.60."""
    assert hover.typical_drive_efficiency(one(grams * 9.80665e-3))[0] == pytest.approx(overall / 0.6, rel=1e-12)
