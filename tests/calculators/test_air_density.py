"""The air at a place: standard by elevation, measured where given, and every conditional caution."""

import math
from typing import Any, Final

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from gramwatt import calculate
from gramwatt.engine import registry


def results(**inputs: Any) -> dict[str, Any]:
    found: dict[str, Any] = calculate("air-density", **inputs)["results"]
    return found


def codes(**inputs: Any) -> set[str]:
    return {caution["code"] for caution in calculate("air-density", **inputs)["cautions"]}


@pytest.mark.parametrize(
    ("elevation", "density", "hectopascals", "celsius", "sound"),
    [
        pytest.param(-500, 1.284895, 1074.77979, 18.250, 342.2078, id="below-the-sea"),
        pytest.param(0, 1.225000, 1013.25, 15.0, 340.2940, id="sea-level"),
        pytest.param(2000, 1.006554, 795.01411, 2.004, 332.5316, id="2000-m"),
        pytest.param(5000, 0.736429, 540.48262, -17.474, 320.5454, id="5000-m"),
    ],
)
def test_elevation_alone_is_the_standard_atmosphere(
    elevation: float, density: float, hectopascals: float, celsius: float, sound: float
) -> None:
    """Published: ISO 2533:1975, table by geometric altitude; 1e-5 (temperature to 0.001 K)."""
    answer = calculate("air-density", elevation=elevation)
    found = answer["results"]
    assert found["air_density"] == pytest.approx(density, rel=1e-5)
    assert found["air_pressure"] == pytest.approx(hectopascals, rel=1e-5)
    assert found["air_temperature"] == pytest.approx(celsius, abs=1e-3)
    assert found["speed_of_sound"] == pytest.approx(sound, rel=1e-5)
    assert found["density_altitude"] == pytest.approx(elevation, rel=1e-9, abs=1e-6)
    assert found["density_ratio"] == pytest.approx(density / 1.225, rel=1e-5)
    assert {"air_temperature", "air_pressure", "relative_humidity"} <= set(answer["assumed"])


def test_nothing_given_is_sea_level() -> None:
    """The definition of standard air, 1.225 kg/m3, to the digits of its gas constant."""
    assert results()["air_density"] == pytest.approx(1.225, rel=2e-8)


def test_what_is_measured_takes_the_place_of_elevation() -> None:
    """With temperature and pressure both measured elevation has no part; with one, it stands for the other."""
    measured: dict[str, Any] = {"air_temperature": 20, "air_pressure": 850, "relative_humidity": 40}
    assert results(**measured, elevation=0) == results(**measured, elevation=2500)
    assert results(air_temperature=20, elevation=2500)["air_pressure"] == results(elevation=2500)["air_pressure"]
    assert results(air_pressure=850, elevation=2500)["air_temperature"] == results(elevation=2500)["air_temperature"]


def test_density_altitude_of_a_hot_field() -> None:
    """Derived: at a given pressure d ln(rho) = -dT/T; along the standard atmosphere it is -(g/R - L) dh/T.

    So density altitude grows by 1/(g/R - L) = 1/(0.034163 - 0.0065) = 36.15 m for a kelvin over standard. At 1000 m and
    20 K over it that is 1000 m + 723 m, to first order: good to about 5 % of the difference.
    """
    found = results(elevation=1000, air_temperature=28.5)["density_altitude"]
    assert found - 1000 == pytest.approx(20 * 36.15, rel=0.06)


@given(st.floats(-500.0, 8900.0), st.floats(-60.0, 59.0), st.floats(0.0, 95.0))
def test_higher_hotter_wetter_is_thinner(elevation: float, celsius: float, humidity: float) -> None:
    """Monotonic, in density and in density altitude."""
    here = results(elevation=elevation, air_temperature=celsius, relative_humidity=humidity)
    for change in (
        {"elevation": elevation + 100},
        {"air_temperature": celsius + 1},
        {"relative_humidity": humidity + 5},
    ):
        there = results(**{"elevation": elevation, "air_temperature": celsius, "relative_humidity": humidity, **change})
        assert there["air_density"] < here["air_density"]
        assert there["density_altitude"] > here["density_altitude"]


@given(st.floats(-60.0, 60.0), st.floats(250.0, 1100.0), st.floats(0.0, 100.0))
def test_density_altitude_round_trip(celsius: float, hectopascals: float, humidity: float) -> None:
    """Standard air at the density altitude is as thin; wherever the inputs may lead within the troposphere."""
    found = results(air_temperature=celsius, air_pressure=hectopascals, relative_humidity=humidity)
    assert all(math.isfinite(value) for value in found.values())
    assume(-500 <= found["density_altitude"] <= 9000)
    again = results(elevation=found["density_altitude"])
    assert again["air_density"] == pytest.approx(found["air_density"], rel=1e-9)


def test_an_uncertain_thermometer() -> None:
    """By hand: density goes as 1/T in dry air: 1 K in 293.15 K is 0.341 %."""
    answer = calculate("air-density", air_temperature="20 +/- 1 degC")
    found = answer["uncertainty"]["air_density"]
    assert found["standard"] == pytest.approx(answer["results"]["air_density"] / 293.15, rel=1e-4)
    assert found["shares"] == {"air_temperature": 1}


CAUTIONS: Final[dict[str, tuple[dict[str, Any], dict[str, Any]]]] = {
    # code: inputs that bring it, inputs that do not. Standard at 1600 m is 835.3 hPa, 5 % more 877.0.
    "reduced-pressure": ({"elevation": 1600, "air_pressure": 1013}, {"elevation": 1600, "air_pressure": 876}),
    "outside-temperature": ({"air_temperature": 50.1}, {"air_temperature": 50}),
}


@pytest.mark.parametrize("code", CAUTIONS)
def test_caution_is_shown_when_it_holds_and_not_otherwise(code: str) -> None:
    shown, absent = CAUTIONS[code]
    assert code in codes(**shown)
    assert code not in codes(**absent)


def test_cold_and_its_bound() -> None:
    assert "outside-temperature" in codes(air_temperature=-40.1)
    assert "outside-temperature" not in codes(air_temperature=-40)


def test_every_conditional_caution_has_a_case() -> None:
    conditional = {c.code for c in registry.load()["air-density"].cautions if c.when is not None}
    assert conditional == set(CAUTIONS)


def test_always_says_what_thin_air_does() -> None:
    assert "thin-air" in codes()
