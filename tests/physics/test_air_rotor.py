"""The speed of sound and the speeds of blade tips."""

import ambiance
import numpy as np
import pytest
from fluids.atmosphere import ATMOSPHERE_1976
from hypothesis import given
from hypothesis import strategies as st

from gramwatt.physics import air, rotor


def sound(temperature: float) -> float:
    return float(air.speed_of_sound(np.array([temperature]))[0])


@pytest.mark.parametrize(
    ("temperature", "expected"),
    [
        pytest.param(291.400, 342.2078, id="500-m-below-the-sea"),
        pytest.param(288.150, 340.2940, id="sea-level"),
        pytest.param(281.651, 336.4346, id="1000-m"),
        pytest.param(275.154, 332.5316, id="2000-m"),
        pytest.param(255.676, 320.5454, id="5000-m"),
    ],
)
def test_speed_of_sound_of_the_standard_atmosphere(temperature: float, expected: float) -> None:
    """Published: ISO 2533:1975, table of the standard atmosphere by geometric altitude, T and a.

    The printed temperature carries half a unit of 0.001 K, 1e-6 of the speed; 1e-5 is the bound held.
    """
    assert sound(temperature) == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize(
    "altitude",
    [
        pytest.param(-500.0, id="below-the-sea"),
        pytest.param(0.0, id="sea-level"),
        pytest.param(2000.0, id="mountains"),
        pytest.param(5000.0, id="as-high-as-anyone-flies"),
        pytest.param(11000.0, id="top-of-the-troposphere"),
    ],
)
def test_speed_of_sound_against_two_packages(altitude: float) -> None:
    """Fluids (US Standard Atmosphere 1976, whose gas constant differs in the 7th digit) and ambiance (ISO 2533)."""
    american = ATMOSPHERE_1976(altitude)
    assert sound(american.T) == pytest.approx(american.v_sonic, rel=1e-5)
    international = ambiance.Atmosphere(altitude)
    assert sound(float(international.temperature[0])) == pytest.approx(float(international.speed_of_sound[0]), rel=1e-9)


@given(st.floats(150.0, 400.0), st.floats(1.01, 4.0))
def test_speed_of_sound_goes_with_the_root_of_temperature(temperature: float, factor: float) -> None:
    """Scaling law, and so rising; it vanishes at absolute zero."""
    assert sound(temperature * factor) == pytest.approx(sound(temperature) * factor**0.5, rel=1e-12)
    assert sound(temperature * factor) > sound(temperature)
    assert sound(0.0) == 0.0


def test_tip_mach_by_hand() -> None:
    """By hand: 0.127 m at 600 rev/s: pi x 0.127 x 600 = 239.3894 m/s; over 340.294 m/s = 0.703478."""
    speed = np.array([2 * np.pi * 600.0])
    found = rotor.tip_mach(speed, np.array([0.127]), np.array([340.294]))
    assert found[0] == pytest.approx(0.703478, rel=1e-6)


def test_tip_mach_at_the_speed_of_sound() -> None:
    """Limit, by hand: a rim at radius 1 m, 340 rad/s in air where sound runs at 340 m/s, is at Mach 1."""
    assert rotor.tip_mach(np.array([340.0]), np.array([2.0]), np.array([340.0]))[0] == pytest.approx(1.0, rel=1e-12)


@given(st.floats(0.0, 1e4), st.floats(0.01, 1.0), st.floats(280.0, 360.0))
def test_tip_mach_round_trip(speed: float, diameter: float, speed_of_sound: float) -> None:
    """Inverse: the speed at the Mach number of a speed is that speed."""
    d, a = np.array([diameter]), np.array([speed_of_sound])
    mach = rotor.tip_mach(np.array([speed]), d, a)
    assert rotor.speed_at_tip_mach(mach, d, a)[0] == pytest.approx(speed, rel=1e-12, abs=1e-300)
    assert rotor.tip_mach(np.array([2 * speed]), d, a)[0] == pytest.approx(2 * mach[0], rel=1e-12, abs=1e-300)
