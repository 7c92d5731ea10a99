"""From the uncertainty of inputs to that of results, against hand sums and the package `uncertainties`."""

from typing import Any, Final

import numpy as np
import pytest
import uncertainties
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from uncertainties import umath

from gramwatt import calculate
from gramwatt.engine.calculate import get_calculator
from gramwatt.engine.columns import uncertainty_kind
from gramwatt.model import Quantity


def uncertainty_of(calculator: str, **inputs: Any) -> dict[str, Any]:
    """Return the member `uncertainty` of a response."""
    uncertainty: dict[str, Any] = calculate(calculator, **inputs).get("uncertainty", {})
    return uncertainty


def test_products_and_quotients_by_hand() -> None:
    """By hand, relative parts in quadrature.

    1 % of capacity and 2 % of mass give sqrt(5) % of the quotient, shared 1 to 4; the energy has the 1 % alone; the
    voltage has nothing.
    """
    uncertainty = uncertainty_of("pack-energy", cells=6, capacity="1300 ± 13 mAh", pack_mass="200 ± 4 g")
    results = calculate("pack-energy", cells=6, capacity=1300, pack_mass=200)["results"]
    # Second order: a quotient by 1 ± u has a standard deviation that is larger by some u^2.
    assert uncertainty["specific_energy"]["standard"] == pytest.approx(
        results["specific_energy"] * 0.01 * 5**0.5, rel=3e-3
    )
    assert uncertainty["specific_energy"]["shares"] == pytest.approx({"capacity": 0.2, "pack_mass": 0.8}, rel=5e-3)
    assert uncertainty["nominal_energy"] == {
        "standard": pytest.approx(0.2886, rel=1e-9),
        "low": pytest.approx(28.86 - 1.96 * 0.2886, rel=1e-4),
        "high": pytest.approx(28.86 + 1.96 * 0.2886, rel=1e-4),
        "shares": pytest.approx({"capacity": 1.0}, rel=1e-9),
    }
    assert uncertainty["nominal_voltage"]["standard"] == 0


STATED: Final[dict[str, tuple[float, float, str]]] = {
    "capacity": (1300, 6, "mAh"),
    "pack_power": (700, 4, "W"),
    "open_circuit_voltage": (25.0, 0.05, "V"),
    "cell_resistance": (8, 0.05, "mohm"),
    "lead_resistance": (2, 0.03, "mohm"),
    "pack_temperature": (15, 0.2, "degC"),
    "activation_energy": (20, 0.2, "kJ/mol"),
    "discharge_rating": (100, 0.5, "C"),
}


def test_pack_current_against_another_package() -> None:
    """The formulas written again for `uncertainties` (analytic derivatives); small u, so both agree to 5e-3."""
    uncertainty = uncertainty_of(
        "pack-current", cells=6, **{name: f"{v} +/- {u} {unit}" for name, (v, u, unit) in STATED.items()}
    )
    x = {name: uncertainties.ufloat(value, spread) for name, (value, spread, _) in STATED.items()}
    kelvin = x["pack_temperature"] + 273.15
    factor = umath.exp(x["activation_energy"] * 1e3 / 8.314462618 * (1 / kelvin - 1 / 298.15))
    resistance = (6 * x["cell_resistance"] * factor + x["lead_resistance"]) / 1e3
    voltage, power = x["open_circuit_voltage"], x["pack_power"]
    current = 2 * power / (voltage + umath.sqrt(voltage**2 - 4 * power * resistance))
    expected = {
        "pack_current": current,
        "loaded_voltage": voltage - current * resistance,
        "c_rate": current / (x["capacity"] / 1e3),
        "pack_heat_power": current**2 * resistance,
        "maximum_pack_power": voltage**2 / (4 * resistance),
        "discharge_rating_share": 100 * current / (x["capacity"] / 1e3) / x["discharge_rating"],
        "pack_resistance": resistance * 1e3,
    }
    for name, number in expected.items():
        assert uncertainty[name]["standard"] == pytest.approx(number.std_dev, rel=5e-3), name
        shares = {
            source: (part / number.std_dev) ** 2
            for source, variable in x.items()
            for part in [number.error_components().get(variable, 0.0)]
        }
        found = dict.fromkeys(shares, 0.0) | uncertainty[name]["shares"]
        assert found == pytest.approx(shares, rel=0.02, abs=7e-3), name


def test_throttle_cap_against_another_package() -> None:
    """The cap by a target speed; u of 0.5 %, so both agree to 3e-3."""
    uncertainty = uncertainty_of(
        "throttle-cap",
        kv="2400 ± 12 rpm/V",
        cells=6,
        cell_voltage="3.7 ± 0.02 V",
        target_no_load_speed="30000 ± 100 rpm",
    )
    kv, volts, speed = (uncertainties.ufloat(*each) for each in ((2400, 12), (3.7, 0.02), (30000, 100)))
    cap = speed / (kv * 6 * volts)
    expected = {"throttle_cap": 100 * cap, "effective_kv": kv * cap}
    for name, number in expected.items():
        assert uncertainty[name]["standard"] == pytest.approx(number.std_dev, rel=3e-3), name
    assert uncertainty["uncapped_no_load_speed"]["standard"] == pytest.approx((kv * 6 * volts).std_dev, rel=3e-3)
    assert uncertainty["no_load_speed"]["standard"] == pytest.approx(100, rel=3e-3)


def test_an_assumption_follows_the_input_it_comes_from() -> None:
    """By hand: target_kv is kv and both voltages are one unless given, so the cap is 4/6 whatever they are.

    Taken as independent they would add to its uncertainty, which is that of the law alone.
    """
    uncertainty = uncertainty_of(
        "throttle-cap", kv="2400 ± 100 rpm/V", cells=6, target_cells=4, cell_voltage="3.7 ± 0.2 V"
    )
    assert uncertainty["throttle_cap"]["shares"] == {"sag_error": 1.0}
    share = uncertainty["effective_kv"]["shares"]["kv"]  # a little more than its part, as the law is not linear
    assert uncertainty["effective_kv"]["standard"] * share**0.5 == pytest.approx(100 * 4 / 6, rel=0.05)


def test_endurance_carries_uncertainty_through_the_integral() -> None:
    """By hand: without resistance time is energy over power, so 2 % of power is 2 % of time (to u^2), and charge used
    to a reserve has none.
    """
    uncertainty = uncertainty_of("endurance", cells=6, capacity=1300, mean_power="200 ± 4 W", cell_resistance=0)
    results = calculate("endurance", cells=6, capacity=1300, mean_power=200, cell_resistance=0)["results"]
    assert uncertainty["endurance"]["standard"] == pytest.approx(0.02 * results["endurance"], rel=3e-3)
    assert uncertainty["charge_used"]["standard"] == 0
    assert "ended_by" not in uncertainty


@given(st.floats(0.01, 0.2), st.floats(0.01, 0.2), st.floats(0.01, 0.2))
def test_shares_sum_to_one(a: float, b: float, c: float) -> None:
    """Round numbers of 12 digits: each sum within 1e-10."""
    uncertainty = uncertainty_of(
        "pack-current",
        cells=6,
        capacity=f"1300 ± {1300 * a:.6f} mAh",
        pack_power=f"200 ± {200 * b:.6f} W",
        cell_resistance=f"8 ± {8 * c:.6f} mohm",
    )
    uncertain = {name: each["shares"] for name, each in uncertainty.items() if each["standard"]}
    assert {"pack_current", "loaded_voltage", "pack_heat_power", "pack_resistance"} <= set(uncertain)
    for name, shares in uncertain.items():
        assert sum(shares.values()) == pytest.approx(1, rel=1e-10), name
    assert set(uncertainty["pack_resistance"]["shares"]) == {"cell_resistance"}


@given(st.floats(0.1, 5.0))
def test_twice_the_uncertainty_of_the_input_is_twice_that_of_a_linear_result(spread: float) -> None:
    """Scaling law."""
    once, twice = (uncertainty_of("pack-energy", cells=6, capacity=f"1300 ± {k * spread:.9f} mAh") for k in (1, 2))
    assert twice["usable_energy"]["standard"] == pytest.approx(2 * once["usable_energy"]["standard"], rel=1e-6)


@pytest.mark.parametrize(
    ("given", "bounds"),
    [
        pytest.param((0, 5), (0, 100), id="at-a-closed-lower-bound"),
        pytest.param((99, 3), (0, 100), id="near-an-open-upper-bound"),
        pytest.param((50, 60), (0, 100), id="between-two-bounds"),
    ],
)
def test_a_normal_distribution_is_cut_at_bounds(given: tuple[float, float], bounds: tuple[float, float]) -> None:
    """Against scipy.stats.truncnorm: usable energy is 28.86 Wh times 1 less the reserve. The value is within."""
    (mean, deviation), (low, high) = given, bounds
    uncertainty = uncertainty_of("pack-energy", cells=6, capacity=1300, reserve=f"{mean} ± {deviation} %")
    cut = stats.truncnorm((low - mean) / deviation, (high - mean) / deviation, mean, deviation)
    energy = uncertainty["usable_energy"]
    assert energy["standard"] == pytest.approx(0.2886 * cut.std(), rel=2e-3)
    assert energy["low"] == pytest.approx(28.86 - 0.2886 * cut.ppf(0.975), rel=1e-3)
    assert energy["high"] == pytest.approx(28.86 - 0.2886 * min(mean, cut.ppf(0.025)), rel=1e-3)


def test_a_draw_never_reaches_an_open_bound() -> None:
    """A mass of 1 ± 5 g is above 0 in every draw, so that the quotient stays finite; against scipy.stats.truncnorm."""
    uncertainty = uncertainty_of("pack-energy", cells=6, capacity=1300, pack_mass="1 ± 5 g")["specific_energy"]
    mass = stats.truncnorm(-0.2, np.inf, 1, 5)
    assert uncertainty["low"] == pytest.approx(28860 / mass.ppf(0.975), rel=2e-3)
    assert uncertainty["high"] == pytest.approx(28860 / mass.ppf(0.025), rel=2e-3)
    assert "no_result" not in uncertainty


def test_a_full_pack_is_never_fuller() -> None:
    """By hand: 100 ± 1 %, cut at 100 %, is half a normal distribution, of 0.6028 standard uncertainties.

    lipo from 100 to 95 % falls 4.2 - 4.1384 = 0.0616 V a cell, 6 x 0.01232 V for each per cent.
    """
    uncertainty = uncertainty_of("pack-current", cells=6, capacity=1300, pack_power=0, state_of_charge="100 ± 1 %")
    assert uncertainty["open_circuit_voltage"]["standard"] == pytest.approx(6 * 0.01232 * 0.60281, rel=2e-3)
    assert uncertainty["open_circuit_voltage"]["high"] <= 25.2


def test_entries_of_a_list() -> None:
    """By hand: 1 g and 2 g in quadrature are sqrt(5) g, shared 1 to 4; running totals gather them."""
    uncertainty = uncertainty_of("mass-margin", masses=["100 ± 1 g", "50 ± 2 g", 30], scale_resolution=0)
    assert uncertainty["total_mass"]["standard"] == pytest.approx(5**0.5, rel=5e-3)
    assert uncertainty["total_mass"]["shares"] == pytest.approx({"/masses/0": 0.2, "/masses/1": 0.8}, rel=5e-3)
    assert uncertainty["running_total_mass"]["standard"] == pytest.approx([1, 5**0.5, 5**0.5], rel=5e-3)


def test_entries_of_a_table() -> None:
    """By hand: 4 x 0.1 g and 0.3 g in quadrature are 0.5 g, shared 16 to 9."""
    uncertainty = uncertainty_of(
        "mass-margin",
        parts=[{"mass": "11 ± 0.1 g", "count": 4}, {"mass": 5}, {"mass": 50, "mass_u": "300 mg"}],
        scale_resolution=0,
    )
    assert uncertainty["total_mass"]["standard"] == pytest.approx(0.5, rel=5e-3)
    assert uncertainty["total_mass"]["shares"] == pytest.approx(
        {"/parts/0/mass": 0.64, "/parts/2/mass": 0.36}, rel=5e-3
    )
    assert uncertainty["mass_margin"]["standard"] == pytest.approx(0.5, rel=5e-3)


@pytest.mark.parametrize(
    ("inputs", "source"),
    [
        # By hand: 9 degF are 5 K; 5 degC are 5 K: a width has no offset.
        pytest.param({"pack_temperature": "77 ± 9 degF"}, "fahrenheit", id="fahrenheit"),
        pytest.param({"pack_temperature": "25 ± 5 °C"}, "celsius", id="celsius"),
    ],
)
def test_the_width_of_a_temperature_has_no_offset(inputs: dict[str, Any], source: str) -> None:
    """The same as 298.15 +- 5 K."""
    pack = {"cells": 6, "capacity": 1300, "pack_power": 200, "cell_resistance": 8}
    kelvin = uncertainty_of("pack-current", **pack, pack_temperature="298.15 ± 5 K")["pack_resistance"]["standard"]
    assert kelvin > 0, source
    uncertainty = uncertainty_of("pack-current", **pack, **inputs)["pack_resistance"]["standard"]
    assert uncertainty == pytest.approx(kelvin, rel=1e-9)


def test_an_uncertainty_is_in_the_unit_of_its_result() -> None:
    """By hand: 0.2886 Wh x 3.6 kJ/Wh."""
    response = calculate("pack-energy", cells=6, capacity="1300 ± 13 mAh", units={"nominal_energy": "kJ"})
    assert response["uncertainty"]["nominal_energy"]["standard"] == pytest.approx(1.03896, rel=1e-9)
    assert response["units"]["nominal_energy"] == "kJ"


@pytest.mark.parametrize(
    "inputs",
    [pytest.param({"capacity": 1300}, id="none-stated"), pytest.param({"capacity": "1.3 Ah"}, id="only-a-unit")],
)
def test_no_uncertainty_no_such_member(inputs: dict[str, Any]) -> None:
    assert "uncertainty" not in calculate("pack-energy", cells=6, **inputs)


def test_what_was_replaced_adds_no_uncertainty() -> None:
    """A charge that is not used cannot make the result less sure."""
    uncertainty = uncertainty_of(
        "pack-current",
        cells=6,
        capacity=1300,
        pack_power=200,
        open_circuit_voltage="23 ± 0.1 V",
        state_of_charge="50 ± 20 %",
        cell_resistance=8,
    )
    assert uncertainty["open_circuit_voltage"]["standard"] == pytest.approx(0.1, rel=1e-9)
    assert set(uncertainty["pack_current"]["shares"]) == {"open_circuit_voltage"}


def test_a_result_without_a_value_has_no_uncertainty() -> None:
    uncertainty = uncertainty_of(
        "pack-current", cells=6, capacity=1300, pack_power="9000 ± 10 W", cell_resistance="8 ± 1 mohm"
    )
    assert "pack_current" not in uncertainty
    assert uncertainty["pack_resistance"]["standard"] == pytest.approx(6, rel=1e-9)


def test_a_default_known_to_a_factor_is_log_normal() -> None:
    """By hand: the resistance is known to x/÷ f, so its range is from R f^-1.96 to R f^1.96, and f^1.96 apart."""
    response = calculate("pack-current", cells=4, capacity=650, pack_power=100)
    resistance, uncertainty = response["results"]["pack_resistance"], response["uncertainty"]["pack_resistance"]
    factor = uncertainty["high"] / resistance
    assert factor > 1.3
    assert uncertainty["low"] == pytest.approx(resistance / factor, rel=1e-3)
    deviation = np.log(factor) / stats.norm.ppf(0.975)
    assert uncertainty["standard"] == pytest.approx(stats.lognorm(deviation, scale=resistance).std(), rel=0.02)


def test_a_share_of_draws_has_no_result() -> None:
    """By hand: a log-normal resistance exceeds V^2 / 4P, beyond which the pack cannot give P, with this probability."""
    response = calculate("pack-current", cells=4, capacity=650, pack_power=600)
    resistance, voltage = response["results"]["pack_resistance"], response["results"]["open_circuit_voltage"]
    uncertainty = response["uncertainty"]
    deviation = np.log(uncertainty["pack_resistance"]["high"] / resistance) / stats.norm.ppf(0.975)
    beyond = stats.norm.sf(np.log(voltage**2 / (4 * 600) / (resistance / 1e3)) / deviation)
    assert 0.02 < beyond < 0.5
    assert uncertainty["pack_current"]["no_result"] == pytest.approx(beyond, abs=2e-3)
    assert uncertainty["pack_current"]["standard"] > 0
    caution = next(each for each in response["cautions"] if each["code"] == "possibly-power-beyond-pack")
    assert f"In {100 * uncertainty['pack_current']['no_result']:.2g} % of the likely cases " in caution["text"]


def test_the_kind_that_reads_a_standard_uncertainty_is_made_once() -> None:
    """A kind caches what it needs to parse, so one made for each request would never be freed."""
    kind = get_calculator("pack-current").input_fields["pack_power"]
    assert isinstance(kind, Quantity)
    assert uncertainty_kind("pack_power", kind) is uncertainty_kind("pack_power", kind)
