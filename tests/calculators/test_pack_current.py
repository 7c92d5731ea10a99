"""Current and sag at a power: hand sums, the reasons for missing results, and every conditional caution."""

import math
from typing import Any, Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gramwatt import calculate
from gramwatt.engine import registry

ACCURACY: Final = "Packs and flying time"
"""The section of ACCURACY.md that covers this calculator too."""

PACK: Final[dict[str, Any]] = {"cells": 6, "capacity": 1300, "cell_resistance": 8}


def results(**inputs: Any) -> dict[str, Any]:
    found: dict[str, Any] = calculate("pack-current", **inputs)["results"]
    return found


def codes(**inputs: Any) -> set[str]:
    return {caution["code"] for caution in calculate("pack-current", **inputs)["cautions"]}


@pytest.mark.parametrize(
    ("inputs", "expected"),
    [
        pytest.param(
            # By hand: R = 6 x 8 + 2 = 50 mohm; 1400 / (25 + sqrt 485) = 29.7728445445 A; x 50 mohm = 1.48864222723 V;
            # heat 29.7728^2 x 0.05 = 44.3211136 W; / 1.3 Ah = 22.9021881112 C, of 100 C; 625 / 0.2 = 3125 W.
            {**PACK, "pack_power": 700, "open_circuit_voltage": 25, "lead_resistance": 2, "discharge_rating": 100},
            {
                "pack_current": 29.7728445445,
                "loaded_voltage": 23.5113577728,
                "pack_heat_power": 44.3211136,
                "c_rate": 22.9021881112,
                "discharge_rating_share": 22.9021881112,
                "maximum_pack_power": 3125,
                "pack_resistance": 50,
                "open_circuit_voltage": 25,
                "loaded_cell_voltage": 3.9185596288,
            },
            id="measured-voltage",
        ),
        pytest.param(
            # By hand: 1 cell at 4 V behind 1 ohm gives 3 W at 1 A: 3 V loaded, 1 W of heat, at most 4 W.
            {"cells": 1, "capacity": "1 Ah", "pack_power": 3, "open_circuit_voltage": 4, "cell_resistance": "1 ohm"},
            {"pack_current": 1, "loaded_voltage": 3, "pack_heat_power": 1, "maximum_pack_power": 4, "c_rate": 1},
            id="whole-numbers",
        ),
        pytest.param(
            # By hand: 20 % lipo rests at 3.6956 V; no power, no current, no sag.
            {**PACK, "pack_power": 0, "state_of_charge": 20},
            {"pack_current": 0, "loaded_voltage": 6 * 3.6956, "pack_heat_power": 0, "c_rate": 0},
            id="no-load",
        ),
        pytest.param(
            # By hand: at 0 degC the factor is exp(20000/8.314462618 x 25/(273.15 x 298.15)) = 2.0926136 on the cells
            # only: 6 x 8 x 2.0926136 + 2 = 102.445451 mohm.
            {**PACK, "pack_power": 100, "lead_resistance": 2, "pack_temperature": 0},
            {"pack_resistance": 102.445451},
            id="cold-cells-warm-leads",
        ),
    ],
)
def test_by_hand(inputs: dict[str, Any], expected: dict[str, Any]) -> None:
    """Derived by hand; rtol is what the steps carry."""
    found = results(**inputs)
    assert {name: found[name] for name in expected} == pytest.approx(expected, rel=2e-9, abs=1e-12)


@given(st.integers(1, 12), st.floats(1.0, 100.0), st.floats(0.5, 30.0), st.floats(0.0, 100.0))
def test_power_balance(cells: int, power: float, resistance: float, charge: float) -> None:
    """Round trip: what the cells give is what leaves the terminals and what heats the pack, V I = P + I^2 R."""
    found = results(cells=cells, capacity=1000, pack_power=power, cell_resistance=resistance, state_of_charge=charge)
    if power > found["maximum_pack_power"]:
        assert found["pack_current"] is None
        return
    assert found["open_circuit_voltage"] * found["pack_current"] == pytest.approx(
        power + found["pack_heat_power"], rel=1e-9
    )
    assert found["loaded_voltage"] * found["pack_current"] == pytest.approx(power, rel=1e-6)


@given(st.floats(1.0, 500.0), st.floats(1.01, 1.5))
def test_more_power_more_current_less_voltage(power: float, factor: float) -> None:
    """Monotonic."""
    less, more = results(**PACK, pack_power=power), results(**PACK, pack_power=power * factor)
    assert more["pack_current"] > less["pack_current"]
    assert more["loaded_voltage"] < less["loaded_voltage"]
    assert more["maximum_pack_power"] == less["maximum_pack_power"]


def test_resistance_assumed_is_fifteen_milliohm_ampere_hours() -> None:
    """By hand: 15 / 1.3 Ah = 11.538 mohm a cell, six of them 69.2308 mohm; listed as assumed."""
    answer = calculate("pack-current", cells=6, capacity=1300, pack_power=100)
    assert answer["inputs"]["cell_resistance"] == pytest.approx(15 / 1.3, rel=1e-11)
    assert answer["results"]["pack_resistance"] == pytest.approx(90 / 1.3, rel=1e-11)
    assert "cell_resistance" in answer["assumed"]


def test_power_beyond_the_pack_names_the_greatest_power() -> None:
    """By hand: 25^2 / (4 x 48 mohm) = 3255 W. No answer under load, the reason says what could be had."""
    answer = calculate("pack-current", **PACK, pack_power=4000, open_circuit_voltage=25, discharge_rating=100)
    (reason,) = [caution for caution in answer["cautions"] if caution["code"] == "power-beyond-pack"]
    assert "is 3255 W:" in reason["text"]
    assert "4000 W" in reason["text"]
    empty = [name for name, value in answer["results"].items() if value is None]
    assert reason["results"] == empty
    assert "pack_current" in empty
    assert answer["results"]["maximum_pack_power"] == pytest.approx(25**2 / 0.192, rel=1e-11)
    assert "no-result" not in {caution["code"] for caution in answer["cautions"]}


def test_the_greatest_power_itself_can_be_had() -> None:
    """Limit, by hand: 4 V behind 1 ohm gives 4 W at 2 A, half the voltage."""
    found = results(cells=1, capacity=1000, pack_power=4, open_circuit_voltage=4, cell_resistance="1 ohm")
    assert found["pack_current"] == pytest.approx(2.0, rel=1e-12)
    assert found["loaded_voltage"] == pytest.approx(2.0, rel=1e-12)


def test_without_resistance_there_is_no_greatest_power() -> None:
    """Limit, by hand: 100 / 25 = 4 A; nothing bounds the power, and a caution says so instead of an infinite result."""
    answer = calculate(
        "pack-current", cells=6, capacity=1300, pack_power=100, open_circuit_voltage=25, cell_resistance=0
    )
    assert answer["results"]["pack_current"] == pytest.approx(4.0, rel=1e-12)
    assert answer["results"]["maximum_pack_power"] is None
    assert [c["results"] for c in answer["cautions"] if c["code"] == "no-resistance"] == [["maximum_pack_power"]]


def test_no_rating_no_share_of_it() -> None:
    answer = calculate("pack-current", **PACK, pack_power=100)
    assert answer["results"]["discharge_rating_share"] is None
    assert [c["results"] for c in answer["cautions"] if c["code"] == "needs-input"] == [["discharge_rating_share"]]


def test_a_measured_voltage_replaces_the_state_of_charge() -> None:
    """It is neither assumed nor used; a caution says so if it is given."""
    bare = calculate("pack-current", **PACK, pack_power=100, open_circuit_voltage=23)
    assert "state_of_charge" not in {*bare["inputs"], *bare["assumed"]}
    both = calculate("pack-current", **PACK, pack_power=100, open_circuit_voltage=23, state_of_charge=90)
    assert both["results"] == bare["results"]
    assert [c["text"] for c in both["cautions"] if c["code"] == "not-used"] == [
        "State of charge was not used: rested pack voltage was given instead."
    ]


def test_a_measured_resistance_of_the_pack_replaces_those_of_cells_and_leads() -> None:
    """By hand: 15.1704 V behind 60 mohm gives 400 W at 800 / (15.1704 + sqrt(15.1704^2 - 96)) = 29.9039 A, whatever the
    temperature, at which it was measured.
    """
    pack: dict[str, Any] = {"cells": 4, "capacity": 650, "pack_power": 400, "pack_resistance": 60}
    bare = calculate("pack-current", **pack, pack_temperature=5)
    assert bare["results"]["pack_current"] == pytest.approx(800 / (15.1704 + math.sqrt(15.1704**2 - 96)), rel=1e-11)
    assert bare["results"]["pack_resistance"] == 60
    assert {"cell_resistance", "lead_resistance"}.isdisjoint({*bare["inputs"], *bare["assumed"]})
    assert "resistance-assumed" not in {caution["code"] for caution in bare["cautions"]}
    both = calculate("pack-current", **pack, cell_resistance=3, lead_resistance=2)
    assert both["results"] == bare["results"]
    assert [c["text"] for c in both["cautions"] if c["code"] == "not-used"] == [
        "Cell resistance and lead resistance were not used: pack resistance was given instead."
    ]


CAUTIONS: Final[dict[str, tuple[dict[str, Any], dict[str, Any]]]] = {
    # code: inputs that bring it, inputs that do not
    "resistance-assumed": (
        {"cells": 6, "capacity": 1300, "pack_power": 100},
        {"cells": 6, "capacity": 1300, "pack_power": 100, "cell_resistance": 8},
    ),
    # By hand: six full lipo cells hold 6 x 4.2 V = 25.2 V, a meter's error allowed 25.7 V.
    "voltage-above-full": (
        {**PACK, "pack_power": 100, "open_circuit_voltage": 26},
        {**PACK, "pack_power": 100, "open_circuit_voltage": 25.3},
    ),
    # By hand: 5 % lipo rests at 3.5443 V; 400 W through 48 mohm takes some 1.0 V of 21.3 V, 3.37 V a cell is above 3.3;
    # at 2 % it rests lower than 3.3 V already.
    "below-cutoff": (
        {**PACK, "pack_power": 100, "state_of_charge": 2},
        {**PACK, "pack_power": 100, "state_of_charge": 50},
    ),
    # By hand: 700 W on some 22 V is about 32 A, 25 C.
    "discharge-rating-overstated": ({**PACK, "pack_power": 100, "discharge_rating": 100}, {**PACK, "pack_power": 100}),
    "over-discharge-rating": (
        {**PACK, "pack_power": 700, "discharge_rating": 20},
        {**PACK, "pack_power": 700, "discharge_rating": 30},
    ),
    # By hand: a fifth lost at P = 0.8 x 0.2 V^2/R = 0.16 x 625 / 0.048 = 2083 W.
    "deep-sag": (
        {**PACK, "pack_power": 2090, "open_circuit_voltage": 25},
        {**PACK, "pack_power": 2080, "open_circuit_voltage": 25},
    ),
    "outside-temperature": (
        {**PACK, "pack_power": 100, "pack_temperature": -0.1},
        {**PACK, "pack_power": 100, "pack_temperature": 0},
    ),
    "lihv-extrapolated": (
        {**PACK, "pack_power": 100, "chemistry": "lihv"},
        {**PACK, "pack_power": 100, "chemistry": "lipo"},
    ),
    "lifepo4-tail": (
        {**PACK, "pack_power": 100, "chemistry": "lifepo4", "state_of_charge": 19.9},
        {**PACK, "pack_power": 100, "chemistry": "lifepo4", "state_of_charge": 20},
    ),
}


@pytest.mark.parametrize("code", CAUTIONS)
def test_caution_is_shown_when_it_holds_and_not_otherwise(code: str) -> None:
    shown, absent = CAUTIONS[code]
    assert code in codes(**shown)
    assert code not in codes(**absent)


def test_every_conditional_caution_has_a_case() -> None:
    conditional = {c.code for c in registry.load()["pack-current"].cautions if not c.is_always_shown}
    assert conditional == set(CAUTIONS)


def test_hot_side_of_the_checked_temperatures() -> None:
    """By definition: 40 degC was still checked, more was not; the caution contains the temperature."""
    answer = calculate("pack-current", **PACK, pack_power=100, pack_temperature="104.1 degF")
    (text,) = [c["text"] for c in answer["cautions"] if c["code"] == "outside-temperature"]
    assert "40.056 °C" in text  # (104.1 - 32) / 1.8
    assert "outside-temperature" not in codes(**PACK, pack_power=100, pack_temperature=40)


def test_a_resistance_that_was_given_is_not_called_a_judgement() -> None:
    """A user who measured exactly 10 mohm on a pack of 1 Ah has not left the resistance to us."""
    answer = calculate("pack-current", cells=4, capacity=1000, pack_power=50, cell_resistance=10)
    assert "cell_resistance" not in answer["assumed"]
    assert "resistance-assumed" not in {caution["code"] for caution in answer["cautions"]}


def test_a_fifth_of_the_voltage_is_no_deep_sag() -> None:
    """By hand: 10 V behind 200 mohm give 80 W at 10 A and exactly 8 V."""
    pack: dict[str, Any] = {"cells": 3, "capacity": 1000, "open_circuit_voltage": 10, "cell_resistance": 0}
    pack["lead_resistance"] = 200
    assert results(**pack, pack_power=80)["loaded_voltage"] == 8
    assert "deep-sag" not in codes(**pack, pack_power=80)
    assert "deep-sag" in codes(**pack, pack_power=80.1)


def test_the_rating_itself_is_allowed() -> None:
    """By hand: 10 V behind 2 ohm give 8 W at 1 A, which is 1 C of 1 Ah."""
    pack: dict[str, Any] = {"cells": 3, "capacity": 1000, "open_circuit_voltage": 10, "cell_resistance": 0}
    pack |= {"lead_resistance": 2000, "discharge_rating": 1}
    assert results(**pack, pack_power=8)["discharge_rating_share"] == 100
    over = {power: "over-discharge-rating" in codes(**pack, pack_power=power) for power in (8, 8.01)}
    assert over == {8: False, 8.01: True}


def test_nothing_is_infinite_or_nan_in_an_answer() -> None:
    """Limit: every corner of the declared ranges gives finite numbers or null."""
    for power in (0, 1e-9, 1e5):
        for resistance in (0, 1e-9, 1e4):
            for value in results(cells=24, capacity=1, pack_power=power, cell_resistance=resistance).values():
                assert value is None or math.isfinite(value)
