"""Standard and moist air against tables, two packages, and the metrologists' equation."""

import math
from typing import Final

import ambiance
import numpy as np
import psychrolib
import pytest
from fluids.atmosphere import ATMOSPHERE_1976
from hypothesis import given
from hypothesis import strategies as st

from gramwatt.physics import air

psychrolib.SetUnitSystem(psychrolib.SI)


def moist(celsius: float, pascals: float, humidity: float) -> float:
    temperature = np.array([celsius + 273.15])
    vapour = humidity * air.saturation_pressure(temperature)
    return float(air.density(temperature, np.array([pascals]), vapour)[0])


def cipm_2007(celsius: float, pascals: float, humidity: float) -> float:
    """Density of moist air, CIPM-2007.

    Picard et al., Metrologia 45 (2008) 149, equations A1.1 to A1.4 and (1), with 400 umol/mol of carbon dioxide.
    At 20 degC, 101325 Pa, 50 % it gives 1.199314 kg/m3. A slip in a constant would show beside psychrolib, below.
    """
    t, kelvin = celsius, celsius + 273.15
    saturation = math.exp(1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6.3431645e3 / kelvin)
    enhancement = 1.00062 + 3.14e-8 * pascals + 5.6e-7 * t**2
    x = humidity * enhancement * saturation / pascals
    linear = 1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t**2 + (5.707e-6 - 2.051e-8 * t) * x
    linear += (1.9898e-4 - 2.376e-6 * t) * x**2
    z = 1 - pascals / kelvin * linear + (pascals / kelvin) ** 2 * (1.83e-11 - 0.765e-8 * x**2)
    return 3.483740e-3 * pascals / (z * kelvin) * (1 - 0.3780 * x)


# Published: ISO 2533:1975, tables by geometric altitude: m, kg/m3, K, Pa, m/s.
STANDARD: Final = [
    (-500.0, 1.284895, 291.400, 107477.979, 342.2078),
    (0.0, 1.225000, 288.150, 101325.000, 340.2940),
    (1000.0, 1.111660, 281.651, 89876.278, 336.4346),
    (2000.0, 1.006554, 275.154, 79501.411, 332.5316),
    (5000.0, 0.736429, 255.676, 54048.262, 320.5454),
]


@pytest.mark.parametrize(("altitude", "density", "kelvin", "pascals", "sound"), STANDARD)
def test_standard_atmosphere(altitude: float, density: float, kelvin: float, pascals: float, sound: float) -> None:
    """1e-5 is the bound held; the temperatures are printed to 2e-6."""
    found = air.standard_atmosphere(np.array([altitude]))
    assert found.density[0] == pytest.approx(density, rel=1e-6)
    assert found.temperature[0] == pytest.approx(kelvin, rel=2e-6)
    assert found.pressure[0] == pytest.approx(pascals, rel=1e-5)
    assert air.speed_of_sound(found.temperature)[0] == pytest.approx(sound, rel=1e-5)


@pytest.mark.parametrize("altitude", [-500.0, 0.0, 300.0, 1500.0, 4000.0, 9000.0, 11000.0, 11100.0, 15000.0])
def test_standard_atmosphere_against_two_packages(altitude: float) -> None:
    """Ambiance 1.3.1 (ISO 2533) and fluids 1.3.1 (US Standard Atmosphere 1976, whose gas constant differs in the 6th
    digit), on both sides of the tropopause, where ambiance starts from a pressure rounded to 2e-6.
    """
    found = air.standard_atmosphere(np.array([altitude]))
    international, american = ambiance.Atmosphere(altitude), ATMOSPHERE_1976(altitude)
    assert found.density[0] == pytest.approx(float(international.density[0]), rel=2e-6)
    assert found.pressure[0] == pytest.approx(float(international.pressure[0]), rel=2e-6)
    assert found.temperature[0] == pytest.approx(float(international.temperature[0]), rel=1e-9)
    assert found.density[0] == pytest.approx(american.rho, rel=1e-5)
    assert found.pressure[0] == pytest.approx(american.P, rel=1e-5)


def test_dry_standard_air_at_sea_level() -> None:
    """Limit: the definition itself, 1.225 kg/m3; R is printed to 8 digits, so 1.225 comes out to 2e-8."""
    assert moist(15.0, 101325.0, 0.0) == pytest.approx(1.225, rel=2e-8)


@given(st.floats(-4000.0, 19000.0))
def test_standard_altitude_round_trip(altitude: float) -> None:
    density = air.standard_atmosphere(np.array([altitude])).density
    assert air.standard_altitude(density)[0] == pytest.approx(altitude, rel=1e-10, abs=1e-6)


@pytest.mark.parametrize(
    ("celsius", "hectopascals"),
    [
        # Published: WMO-No. 8 (CIMO guide), annex 4.B, vapour over water by its equation, and steam tables (from
        # memory): 0 degC 6.112, 10 12.27, 20 23.39, 30 42.47, 40 73.85, 50 123.5 hPa.
        (0.0, 6.112),
        (10.0, 12.28),
        (20.0, 23.39),
        (30.0, 42.47),
        (40.0, 73.85),
        (50.0, 123.5),
    ],
)
def test_saturation_pressure(celsius: float, hectopascals: float) -> None:
    found = air.saturation_pressure(np.array([celsius + 273.15]))[0]
    assert found == pytest.approx(100 * hectopascals, rel=1e-3)


@pytest.mark.parametrize(
    ("celsius", "pascals", "humidity", "expected"),
    [
        pytest.param(20.0, 101325.0, 0.5, 1.199314, id="room"),
        pytest.param(15.0, 101325.0, 0.0, 1.225521, id="standard-dry"),
        pytest.param(30.0, 101325.0, 0.8, 1.150012, id="sultry"),
    ],
)
def test_moist_air_against_printed_values(celsius: float, pascals: float, humidity: float, expected: float) -> None:
    """CIPM-2007, computed apart from this project; also holds the equation written above to them."""
    assert cipm_2007(celsius, pascals, humidity) == pytest.approx(expected, rel=2e-6)
    assert moist(celsius, pascals, humidity) == pytest.approx(expected, rel=5e-4)


@given(st.floats(0.0, 50.0), st.floats(60000.0, 110000.0), st.floats(0.0, 1.0))
def test_moist_air_against_the_metrologists(celsius: float, pascals: float, humidity: float) -> None:
    """A real gas is a little denser than an ideal one: 6.6e-4 at 0 degC and 1100 hPa, 5e-4 in ordinary weather."""
    metrologists = cipm_2007(celsius, pascals, humidity)
    assert moist(celsius, pascals, humidity) == pytest.approx(metrologists, rel=7e-4)
    if 10 <= celsius <= 45 and pascals <= 104000:
        assert moist(celsius, pascals, humidity) == pytest.approx(metrologists, rel=5e-4)


@given(st.floats(-40.0, 50.0), st.floats(50000.0, 110000.0), st.floats(0.0, 1.0))
def test_moist_air_against_psychrolib(celsius: float, pascals: float, humidity: float) -> None:
    """Psychrolib 2.5.0 (ASHRAE Handbook, Fundamentals, 2017, ch.

    1), which takes ice below freezing: 5e-4, above it 4e-5.
    """
    ratio = psychrolib.GetHumRatioFromRelHum(celsius, humidity, pascals)
    expected = psychrolib.GetMoistAirDensity(celsius, ratio, pascals)
    assert moist(celsius, pascals, humidity) == pytest.approx(expected, rel=5e-4)


@given(st.floats(-50.0, 50.0), st.floats(30000.0, 110000.0), st.floats(0.0, 0.9))
def test_hotter_wetter_and_lower_pressure_are_thinner(celsius: float, pascals: float, humidity: float) -> None:
    """Monotonic."""
    here = moist(celsius, pascals, humidity)
    assert moist(celsius + 1, pascals, humidity) < here
    assert moist(celsius, pascals, humidity + 0.05) < here
    assert moist(celsius, pascals * 0.99, humidity) < here


@given(st.floats(-50.0, 50.0), st.floats(30000.0, 110000.0), st.floats(1.01, 3.0))
def test_dry_air_goes_with_pressure(celsius: float, pascals: float, factor: float) -> None:
    """Scaling law."""
    assert moist(celsius, pascals * factor, 0.0) == pytest.approx(moist(celsius, pascals, 0.0) * factor, rel=1e-12)


@pytest.mark.parametrize("celsius", [0.0, 20.0, 30.0])
def test_sound_in_saturated_air(celsius: float) -> None:
    """By hand: a mixture has gamma = (7 + x)/(5 + x) with 5 degrees of freedom for air and 6 for water's rigid
    molecule, x its share. The virtual temperature alone comes out up to 0.13 % high.
    """
    temperature, pascals = np.array([celsius + 273.15]), np.array([101325.0])
    vapour = air.saturation_pressure(temperature)
    density = air.density(temperature, pascals, vapour)
    found = air.speed_of_sound(air.virtual_temperature(pascals, density))[0]
    x = float(vapour[0]) / 101325
    expected = math.sqrt((7 + x) / (5 + x) * 101325 / density[0])
    assert found == pytest.approx(expected, rel=1.3e-3)
    assert found > expected
