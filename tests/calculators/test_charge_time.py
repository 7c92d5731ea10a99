"""charge-time: hand sums, what limits the current, several packs, storage, cautions and invalid inputs."""

import itertools
import math
from typing import Any, Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gramwatt import InvalidInput, calculate
from gramwatt.physics import cells

PACK: Final = {"cells": 6, "capacity": 1300, "cell_resistance": 10}


def answer(**inputs: Any) -> dict[str, Any]:
    return calculate("charge-time", **{**PACK, **inputs})


def results(**inputs: Any) -> dict[str, Any]:
    found: dict[str, Any] = answer(**inputs)["results"]
    return found


def codes(**inputs: Any) -> set[str]:
    return {caution["code"] for caution in answer(**inputs)["cautions"]}


def test_constant_current_to_storage_by_hand() -> None:
    """From 20 to 50 % at 2 C: 0.3 h / 2 = 9 min, 390 mAh; far from 4.2 V, so no other phase.

    The curve of the chemistry has 3.7926 V at 50 %: 6 x 3.7926 = 22.7556 V.
    """
    found = results(charge_target="storage", charge_rate=2)
    expected = {
        "charge_time": 9,
        "constant_current_time": 9,
        "constant_power_time": 0,
        "constant_voltage_time": 0,
        "peak_charge_current": 2.6,
        "mean_charge_current": 2.6,
        "peak_charge_rate": 2,
        "charge_put_back": 390,
        "state_of_charge_after": 50,
        "storage_cell_voltage": 3.7926,
        "storage_voltage": 22.7556,
        "charge_resistance": 120,
    }
    assert {name: found[name] for name in expected} == pytest.approx(expected, rel=1e-9, abs=1e-9)


def test_energy_and_cost_by_hand() -> None:
    """From 50 to 55 % at 1.3 A, no resistance: 3.80245 V on average x 6 x 65 mAh = 1.48296 Wh.

    Over 0.9 x 0.8 that is 2.05966 Wh from the wall; at 0.30 per kWh 0.000617897.
    """
    found = results(
        state_of_charge=50, storage_state_of_charge=55, charge_target="storage", cell_resistance=0,
        charger_efficiency=90, supply_efficiency=80, energy_price=0.3,
    )  # fmt: skip
    assert found["charger_energy"] == pytest.approx(1.4829555, rel=1e-9)
    assert found["wall_energy"] == pytest.approx(1.4829555 / 0.72, rel=1e-9)
    assert found["energy_cost"] == pytest.approx(1.4829555 / 0.72 * 0.3 / 1000, rel=1e-9)


@pytest.mark.parametrize(
    ("inputs", "limit", "amperes"),
    [
        # By hand, two packs of 1.3 Ah at 2 C: 5.2 A; 90 W at the rested 22.2 V and above are at most 4.06 A.
        pytest.param({}, "setting", 5.2, id="rate"),
        pytest.param({"charge_current": 3}, "setting", 3, id="current-that-is-set"),
        pytest.param({"maximum_charger_current": 4}, "charger-current", 4, id="charger-current"),
        pytest.param({"maximum_charger_current": 6}, "setting", 5.2, id="charger-has-more-current"),
        pytest.param({"maximum_charger_power": 500}, "setting", 5.2, id="charger-has-more-power"),
    ],
)
def test_what_limits_the_current(inputs: dict[str, Any], limit: str, amperes: float) -> None:
    found = results(packs_in_parallel=2, charge_rate=2, **inputs)
    assert found["charge_limited_by"] == limit
    assert found["peak_charge_current"] == pytest.approx(amperes, rel=1e-12)


@pytest.mark.parametrize(
    ("inputs", "limit"),
    [
        ({"maximum_charger_power": 90}, "charger-power"),
        ({"maximum_supply_power": 100, "charger_efficiency": 90}, "supply-power"),
        ({"maximum_charger_power": 90, "maximum_supply_power": 101, "charger_efficiency": 90}, "charger-power"),
        ({"maximum_charger_power": 91, "maximum_supply_power": 100, "charger_efficiency": 90}, "supply-power"),
    ],
)
def test_power_limits_the_current(inputs: dict[str, Any], limit: str) -> None:
    """90 W into two packs: I (22.1736 V + I x 60 mΩ) = 90 W, by the quadratic formula, I the sum of both.

    Rested, each has 6 x 3.6956 = 22.1736 V; over a charge, with 20 mΩ a cell, 120 mΩ, and both in parallel 60 mΩ.
    """
    found = results(packs_in_parallel=2, charge_rate=3, **inputs)
    amperes = (-22.1736 + math.sqrt(22.1736**2 + 4 * 90 * 0.06)) / (2 * 0.06)
    assert found["charge_limited_by"] == limit
    assert found["peak_charge_current"] == pytest.approx(amperes, rel=1e-9)
    assert found["constant_current_time"] == 0
    assert found["constant_power_time"] > 0


def test_a_nearly_full_pack_begins_at_constant_voltage() -> None:
    """At 97 % a cell rests at 4.16304 V: 36.96 mV over 20 mΩ are 1.848 A, less than 2 C."""
    found = results(state_of_charge=97, charge_rate=2)
    assert found["charge_limited_by"] == "cell-voltage"
    assert found["peak_charge_current"] == pytest.approx(1.848, rel=1e-9)
    assert found["constant_current_time"] == 0


@given(st.integers(2, 20), st.floats(0.2, 5), st.floats(20, 400))
@settings(max_examples=20)
def test_packs_in_parallel_share_the_charger(packs: int, rate: float, power: float) -> None:
    """Scaling law: n packs with n times the current and power take as long and n times the energy."""
    one = results(charge_rate=rate, maximum_charger_power=power)
    many = results(charge_rate=rate, maximum_charger_power=power * packs, packs_in_parallel=packs)
    assert many["charge_time"] == pytest.approx(one["charge_time"], rel=1e-9)
    assert many["charge_put_back"] == pytest.approx(one["charge_put_back"], rel=1e-9)
    assert many["peak_charge_current"] == pytest.approx(packs * one["peak_charge_current"], rel=1e-9)
    assert many["wall_energy"] == pytest.approx(packs * one["wall_energy"], rel=1e-9)


def test_monotonic() -> None:
    def is_falling(name: str, values: list[float]) -> bool:
        times = [results(**{name: value})["charge_time"] for value in values]
        return all(after < before for before, after in itertools.pairwise(times))

    assert is_falling("charge_rate", [0.5, 1, 2, 4])
    assert is_falling("state_of_charge", [0, 20, 60, 95])
    assert is_falling("maximum_charger_power", [5, 10, 20, 25])
    assert is_falling("cutoff_charge_rate", [0.02, 0.05, 0.1, 0.5])
    longer = [results(charge_current=1, packs_in_parallel=packs)["charge_time"] for packs in (1, 2, 3)]
    assert longer == sorted(longer)


def test_a_measured_voltage_stands_for_the_charge() -> None:
    """A round trip: at the storage level the pack rests at its storage voltage."""
    volts = results(storage_state_of_charge=37)["storage_voltage"]
    by_voltage = answer(open_circuit_voltage=volts)
    assert by_voltage["results"]["state_of_charge_before"] == pytest.approx(37, rel=1e-9)
    assert by_voltage["results"]["charge_time"] == pytest.approx(results(state_of_charge=37)["charge_time"], rel=1e-9)
    assert by_voltage["inputs"].get("state_of_charge") is None


def test_full_pack_for_storage_is_discharged() -> None:
    """Energy above 50 %: 0.05 x (half of the ends + the points between) = by hand 3.97893 V x 0.5 x 1.3 Ah x 6."""
    curve = cells.OPEN_CIRCUIT_VOLTAGE[0]
    mean = (curve[10] / 2 + curve[11:20].sum() + curve[20] / 2) / 10
    found = answer(state_of_charge=100, charge_target="storage", discharge_power=10, packs_in_parallel=2)
    assert found["results"]["energy_to_discharge"] == pytest.approx(mean * 0.65 * 12, rel=1e-9)
    assert found["results"]["charge_time"] == 0
    # Without resistance all of that energy arrives at the charger.
    lossless = results(state_of_charge=100, discharge_power=10, packs_in_parallel=2, cell_resistance=0)
    assert lossless["discharge_time"] == pytest.approx(mean * 0.65 * 12 / 10 * 60, rel=1e-9)
    assert found["results"]["discharge_time"] < lossless["discharge_time"]
    assert found["results"]["peak_charge_current"] is None
    assert "nothing-to-charge" in {caution["code"] for caution in found["cautions"]}


def test_below_storage_nothing_is_discharged() -> None:
    found = results(charge_target="storage", discharge_power=10)
    assert [found["energy_to_discharge"], found["discharge_time"]] == [0, 0]
    assert results()["discharge_time"] is None


def test_more_power_than_the_pack_gives() -> None:
    """At 4.2 V over 0.2 ohm a cell gives 22 W at most: 6 cells 132 W."""
    found = answer(state_of_charge=100, discharge_power=140, cell_resistance=100)
    assert found["results"]["discharge_time"] is None
    assert "discharge-beyond-pack" in {caution["code"] for caution in found["cautions"]}


@pytest.mark.parametrize(
    ("code", "shown", "hidden"),
    [
        ("over-charge-rating", {"charge_rate": 3, "charge_rating": 2}, {"charge_rate": 2, "charge_rating": 2}),
        ("no-charge-rating", {"charge_rate": 1.1}, {"charge_rate": 1}),
        ("no-charge-rating", {"charge_rate": 2}, {"charge_rate": 2, "charge_rating": 5}),
        ("above-charge-voltage", {"charge_cell_voltage": 4.25}, {"charge_cell_voltage": 4.2}),
        ("voltage-above-full", {"open_circuit_voltage": 26}, {"open_circuit_voltage": 25}),
        ("deeply-discharged", {"open_circuit_voltage": 18}, {"open_circuit_voltage": 18.2}),
        ("parallel-packs", {"packs_in_parallel": 2}, {}),
        ("below-freezing", {"pack_temperature": -1}, {"pack_temperature": 0}),
        ("flat-curve", {"chemistry": "lifepo4", "charge_target": "storage"}, {"chemistry": "lifepo4"}),
    ],
)
def test_cautions(code: str, shown: dict[str, Any], hidden: dict[str, Any]) -> None:
    assert code in codes(**shown)
    assert code not in codes(**hidden)


def test_what_always_holds() -> None:
    assert {"lithium-fire", "check-charger-settings", "store-half-full", "balancing-not-included"} <= codes()


@pytest.mark.parametrize(
    ("inputs", "pointer"),
    [
        ({"charge_rate": 0}, "/charge_rate"),
        ({"charge_rate": "2 A"}, "/charge_rate"),
        ({"packs_in_parallel": 0}, "/packs_in_parallel"),
        ({"packs_in_parallel": 1.5}, "/packs_in_parallel"),
        ({"charge_target": "half"}, "/charge_target"),
        ({"storage_state_of_charge": 101}, "/storage_state_of_charge"),
        ({"charge_cell_voltage": 12.6}, "/charge_cell_voltage"),
        ({"energy_price": "0.3 EUR"}, "/energy_price"),
        ({"supply_efficiency": 0}, "/supply_efficiency"),
    ],
)
def test_errors_name_the_input(inputs: dict[str, Any], pointer: str) -> None:
    with pytest.raises(InvalidInput) as raised:
        answer(**inputs)
    assert [error.pointer for error in raised.value.errors] == [pointer]
