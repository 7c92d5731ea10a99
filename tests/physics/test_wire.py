"""Copper wire against published tables, against its own derivatives, and against the laws that others published."""

import math
from typing import Final

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, optimize

from gramwatt.physics import wire

FOOT: Final = 0.3048
CIRCULAR_MIL: Final = math.pi / 4 * 25.4e-6**2
"""[m²]"""
POUND: Final = 0.45359237
COOLING: Final = {"lay": np.array([1.035]), "coefficient": np.array([20.0]), "air_temperature": np.array([293.15])}


def array(value: float) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    return np.array([value])


# Published: ASTM B258, table 1: diameter [in] of AWG 4/0, 1/0, 10, 16, 20, 24, 30, 36 and 40, from memory.
@pytest.mark.parametrize(
    ("gauge", "inches"),
    [
        (-3, 0.46),
        (0, 0.3249),
        (10, 0.1019),
        (16, 0.0508),
        (20, 0.032),
        (24, 0.0201),
        (30, 0.01),
        (36, 0.005),
        (40, 0.0031),
    ],
)
def test_diameters_of_gauges(gauge: int, inches: float) -> None:
    """To half a unit of the last of four digits after the point."""
    assert wire.gauge_diameter(array(gauge))[0] / 0.0254 == pytest.approx(inches, abs=5e-5, rel=0)


# Published: NBS Handbook 100 (1966), solid annealed copper at 20 °C, ohms per 1000 ft and pounds per 1000 ft, from
# memory.
@pytest.mark.parametrize(
    ("gauge", "ohms", "pounds"),
    [(10, 0.9989, 31.43), (12, 1.588, 19.77), (20, 10.15, 3.092), (30, 103.2, 0.3042)],
)
def test_resistance_and_mass_of_gauges(gauge: int, ohms: float, pounds: float) -> None:
    area = wire.circle_area(wire.gauge_diameter(array(gauge)))[0]
    assert wire.resistivity(array(293.15))[0] * 1000 * FOOT / area == pytest.approx(ohms, rel=1e-3)
    assert wire.COPPER_DENSITY * area * 1000 * FOOT / POUND == pytest.approx(pounds, rel=1e-3)


@given(st.integers(-3, 40))
def test_gauge_and_diameter_are_inverse(gauge: int) -> None:
    """Round trip, and by hand: six gauges halve the diameter nearly, as 92^(6/39) = 2.0050."""
    diameter = wire.gauge_diameter(array(gauge))
    assert wire.diameter_gauge(diameter)[0] == pytest.approx(gauge, abs=1e-9, rel=0)
    assert diameter[0] / wire.gauge_diameter(array(gauge + 6))[0] == pytest.approx(2.0050, rel=2.5e-5)
    assert wire.circle_diameter(wire.circle_area(diameter))[0] == pytest.approx(diameter[0], rel=1e-14)


def test_resistivity_is_that_of_the_standard() -> None:
    """Published: IEC 60028, 1/58 Ω mm²/m at 20 °C. By hand: at 100 °C 1 + 80 x 0.00393 = 1.3144 times as much."""
    assert wire.resistivity(array(293.15))[0] == pytest.approx(1e-6 / 58, rel=1e-4)
    assert wire.resistivity(array(373.15))[0] / wire.resistivity(array(293.15))[0] == pytest.approx(1.3144, rel=1e-12)


@given(st.floats(0.1, 30), st.floats(0.05, 20), st.floats(1.0, 4.0))
def test_steady_temperature_balances_heat(current: float, square_millimetres: float, ratio: float) -> None:
    """The root of the balance per metre of wire, found by SciPy; none where there is none below melting."""
    area = square_millimetres * 1e-6
    outer = ratio * math.sqrt(4 * area / math.pi)

    def surplus(temperature: float) -> float:
        heat = current**2 * 1.7241e-8 * (1 + 0.00393 * (temperature - 293.15)) * 1.035 / area
        return heat - 20 * math.pi * outer * (temperature - 293.15)

    found = wire.steady_temperature(array(current), array(area), array(outer), **COOLING)[0]
    if surplus(wire.COPPER_MELTING_POINT) > 0:
        assert math.isnan(found)
        return
    root = optimize.brentq(surplus, 293.15 - 1e-6, wire.COPPER_MELTING_POINT, xtol=1e-12, rtol=1e-14)
    assert found == pytest.approx(root, rel=1e-9)
    if found > 293.2:
        again = wire.steady_current(array(found), array(area), array(outer), **COOLING)[0]
        assert again == pytest.approx(current, rel=1e-9)


def test_steady_temperature_without_a_current_is_that_of_the_air() -> None:
    """Limit; and for a small current the rise grows with its square."""
    cold, one, two = (
        wire.steady_temperature(array(current), array(1e-6), array(2e-3), **COOLING)[0] for current in (0, 0.01, 0.02)
    )
    assert cold == 293.15
    assert (two - 293.15) / (one - 293.15) == pytest.approx(4, rel=1e-6)


@given(st.floats(0.5, 60), st.floats(1.2, 4.0), st.floats(320, 450))
def test_diameter_for_a_current_carries_it(current: float, ratio: float, limit: float) -> None:
    """Inverse of the limit of a wire; and by the scaling law d ~ I^(2/3)."""
    diameter = wire.diameter_for_current(array(current), array(ratio), array(limit), **COOLING)
    carried = wire.steady_current(array(limit), wire.circle_area(diameter), ratio * diameter, **COOLING)[0]
    assert carried == pytest.approx(current, rel=1e-12)
    double = wire.diameter_for_current(array(2 * current), array(ratio), array(limit), **COOLING)
    assert double[0] / diameter[0] == pytest.approx(4 ** (1 / 3), rel=1e-12)


@pytest.mark.parametrize(("density", "duration"), [(20e6, 5.0), (80e6, 3.0), (150e6, 2.0)])
def test_heated_temperature_against_an_integration(density: float, duration: float) -> None:
    """SciPy's integration of c rho dT/dt = J² rho(T), from 40 °C."""
    found = wire.heated_temperature(array(density), array(duration), array(313.15))[0]
    solved = integrate.solve_ivp(
        lambda _, at: density**2 * 1.7241e-8 * (1 + 0.00393 * (at - 293.15)) / (385 * 8890),
        (0, duration), [313.15], rtol=1e-10, atol=1e-10,
    )  # fmt: skip
    assert found == pytest.approx(solved.y[0, -1], rel=1e-8)


def test_a_short_current_heats_in_proportion_to_its_square_and_time() -> None:
    """Limit, by hand: (10 A/mm²)² x 1.7241e-8 / (385 x 8890) = 0.50374 K/s at 20 °C."""
    found = wire.heated_temperature(array(10e6), array(1e-3), array(293.15))[0] - 293.15
    assert found == pytest.approx(0.50374e-3, rel=1e-4)


@pytest.mark.parametrize("air", [20.0, 40.0])
@pytest.mark.parametrize(("gauge", "current"), [(20, 200.0), (30, 40.0), (12, 900.0)])
def test_time_to_melt_against_onderdonk(gauge: int, current: float, air: float) -> None:
    """Published: I. M. Onderdonk's equation (E. R. Stauffacher, General Electric Review 31, 1928), from memory: I = A
    sqrt(log10(1 + (Tm - Ta) / (234 + Ta)) / (33 t)), A in circular mils, Tm 1083 °C. Its constants are rounded, and
    its heat capacity is another: 2 %.
    """
    area = wire.circle_area(wire.gauge_diameter(array(gauge)))
    seconds = wire.time_to_melt(current / area, array(air + 273.15))[0]
    circular_mils = area[0] / CIRCULAR_MIL
    onderdonk = circular_mils**2 * math.log10(1 + (1083 - air) / (234 + air)) / (33 * current**2)
    assert seconds == pytest.approx(onderdonk, rel=0.02)


def test_time_to_melt_is_when_the_melting_point_is_reached() -> None:
    """Inverse of the heating, and nothing beyond it."""
    density, start = array(200e6), array(300.0)
    seconds = wire.time_to_melt(density, start)
    at_melting = wire.heated_temperature(density, seconds * (1 - 1e-12), start)[0]
    assert at_melting == pytest.approx(wire.COPPER_MELTING_POINT, rel=1e-9)
    assert np.isnan(wire.heated_temperature(density, seconds * 1.001, start)[0])
    assert np.isnan(wire.heated_temperature(array(1e12), array(3600.0), start)[0])


# Published: fusing currents of copper wires by W. H. Preece in tables of handbooks of electrical engineering, from
# memory: AWG 10 333 A, AWG 20 58.6 A, AWG 30 10.2 A.
@pytest.mark.parametrize(("gauge", "amperes"), [(10, 333.0), (20, 58.6), (30, 10.2)])
def test_fusing_current_against_tables(gauge: int, amperes: float) -> None:
    """To 1 %: the tables round the diameters."""
    assert wire.fusing_current(wire.gauge_diameter(array(gauge)))[0] == pytest.approx(amperes, rel=0.01)


def test_fusing_current_grows_with_diameter_to_the_power_of_three_halves() -> None:
    assert wire.fusing_current(array(4e-3))[0] / wire.fusing_current(array(1e-3))[0] == pytest.approx(8, rel=1e-12)
