"""A flown time carried over: the aerodynamic law, rules of thumb, round trips, ranges, every conditional caution."""

import math
from typing import Any, Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gramwatt import calculate
from gramwatt.engine import registry

ACCURACY: Final = "Packs and flying time"
"""The section of ACCURACY.md that covers this calculator too."""

NAME: Final = "endurance-from-flight"
FLIGHT: Final[dict[str, Any]] = {
    "reference_duration": 6,
    "reference_cells": 4,
    "reference_capacity": 1300,
    "reference_mass": 600,
}
SAME: Final[dict[str, Any]] = {**FLIGHT, "cells": 4, "capacity": 1300, "mass": 600}


def results(**inputs: Any) -> dict[str, Any]:
    found: dict[str, Any] = calculate(NAME, **{**SAME, **inputs})["results"]
    return found


def codes(**inputs: Any) -> set[str]:
    return {caution["code"] for caution in calculate(NAME, **{**SAME, **inputs})["cautions"]}


@pytest.mark.parametrize(
    "inputs",
    [
        pytest.param({}, id="resistance-assumed"),
        pytest.param({"pack_resistance": 60}, id="measured-of-one"),
        pytest.param({"reference_cell_resistance": 30, "reference_lead_resistance": 5}, id="measured-of-the-other"),
        pytest.param({"chemistry": "lifepo4", "reserve": 5}, id="another-chemistry-nearly-empty"),
    ],
)
def test_the_same_flight_lasts_as_long(inputs: dict[str, Any]) -> None:
    """Limit: it comes back, with whatever resistance, that of the one pack being taken for the other."""
    found = results(**inputs)
    assert found["endurance"] == pytest.approx(6, rel=1e-10)
    assert (found["duration_ratio"], found["energy_ratio"], found["power_ratio"]) == pytest.approx((1, 1, 1), rel=1e-10)
    assert found["mean_power"] == found["reference_mean_power"]
    assert found["linear_endurance"] == pytest.approx(6, rel=1e-10)


@pytest.mark.parametrize("mass", [300, 702, 1200])
def test_aerodynamic_law(mass: float) -> None:
    """By hand: hover by momentum theory, P = W^1.5 / sqrt(2 rho A), of both masses with the same propellers."""
    ideal = {m: (m / 1e3 * 9.80665) ** 1.5 / math.sqrt(2 * 1.225 * 0.05067) for m in (600, mass)}
    found = results(
        mass=mass, mass_exponent=1.5, pack_resistance=1e-9
    )  # the lowest possible: with sag, energy depends on power
    assert found["power_ratio"] == pytest.approx(ideal[mass] / ideal[600], rel=1e-11)
    assert found["endurance"] == pytest.approx(6 * ideal[600] / ideal[mass], rel=1e-8)


def test_from_four_to_six_cells() -> None:
    """Rule of thumb, no source.

    6 cells instead of 4 of the same capacity, all-up mass up by 17 %, fly about a fifth longer. By hand without sag:
    1.5 / 1.17^1.5 = 1.18526; with it a little longer, as 6 cells share the power.
    """
    found = results(cells=6, mass=702, mass_exponent=1.5)
    assert found["duration_ratio"] == pytest.approx(1.2, abs=0.05)
    assert found["duration_ratio"] > 1.18526
    bare = results(cells=6, mass=702, mass_exponent=1.5, pack_resistance=1e-9)
    assert bare["duration_ratio"] == pytest.approx(1.18526, abs=0.5e-5, rel=0)


def test_a_small_craft_from_four_to_six_cells() -> None:
    """Rule of thumb, no source: 4 cells of 650 mAh, 213 g, 4.5 min; 6 cells, 249 g, 5.5 min. By labels it would be 5.34
    min at x = 1.5 and 5.51 at 1.3 (1.5 x 4.5 min x (213/249)^x).
    """
    flown: dict[str, Any] = {"reference_duration": 4.5, "reference_cells": 4, "reference_capacity": 650}
    craft: dict[str, Any] = {**flown, "reference_mass": 213, "cells": 6, "capacity": 650, "mass": 249}
    for exponent, label in ((1.5, 5.34), (1.3, 5.51)):
        found = calculate(NAME, **craft, mass_exponent=exponent)
        assert label < found["results"]["endurance"] < 1.02 * label
        assert found["uncertainty"]["endurance"]["low"] < 5.5 < found["uncertainty"]["endurance"]["high"]


@pytest.mark.parametrize(
    ("inputs", "ratio"),
    [
        # By hand; of two packs that are alike the resistance is in proportion, so sag is the same.
        pytest.param({"capacity": 2600, "mass_exponent": 0}, 2.0, id="twice-the-capacity-less-sag"),
        pytest.param({"chemistry": "li-ion"}, 1.0, id="chemistry-of-both"),
        pytest.param({"reserve": 50}, 1.0, id="reserve-of-both"),
        pytest.param({"cells": 6, "reference_cells": 3, "reference_reserve": 20}, 2.0, id="twice-the-cells-less-sag"),
    ],
)
def test_energy_ratio(inputs: dict[str, Any], ratio: float) -> None:
    found = results(**inputs)
    assert ratio * (1 - 1e-9) <= found["energy_ratio"] < ratio * 1.03
    assert found["endurance"] == pytest.approx(6 * found["energy_ratio"], rel=1e-10)


def test_powers_by_hand() -> None:
    """By hand, without sag: lipo rests at 3.8820 V on average over 20 to 100 % (trapezoids), so 4 x 3.882 V x 1.04 Ah
    in 0.1 h is 161.49 W; at twice the mass and x = 1.2, 2^1.2 as much.
    """
    found = results(mass=1200, mass_exponent=1.2, pack_resistance=1e-9)
    assert found["reference_mean_power"] == pytest.approx(161.49, abs=0.03)
    assert found["mean_power"] == pytest.approx(found["reference_mean_power"] * 2**1.2, rel=1e-10)


masses = st.floats(50.0, 5000.0)
exponents = st.floats(0.0, 3.0)


@settings(max_examples=20)
@given(st.integers(1, 24), st.floats(100.0, 30000.0), masses, exponents, st.sampled_from(["lihv", "li-ion"]))
def test_there_and_back(cells: int, capacity: float, mass: float, exponent: float, chemistry: str) -> None:
    """Round trip: the time found, carried back to the pack flown, is the time flown."""
    there = results(
        cells=cells,
        capacity=capacity,
        mass=mass,
        mass_exponent=exponent,
        chemistry=chemistry,
        reference_chemistry="lipo",
        reserve=10,
        reference_reserve=20,
    )
    if there["endurance"] is None or not 1e-3 < there["endurance"] <= 1000:
        return
    back = results(
        reference_duration=f"{there['endurance']} min",
        reference_cells=cells,
        reference_capacity=capacity,
        reference_mass=mass,
        mass_exponent=exponent,
        chemistry="lipo",
        reference_chemistry=chemistry,
        reserve=20,
        reference_reserve=10,
    )
    assert back["endurance"] == pytest.approx(6, rel=1e-6)
    assert back["reference_mean_power"] == pytest.approx(there["mean_power"], rel=1e-6)


@settings(max_examples=20)
@given(masses, exponents, st.floats(1.01, 3.0))
def test_scaling(mass: float, exponent: float, factor: float) -> None:
    """Without sag, time is proportional to the time flown and to capacity, and falls with mass as mass^-x."""
    bare = {"mass_exponent": exponent, "pack_resistance": 1e-9}
    one = results(mass=mass, **bare)
    longer = results(mass=mass, **bare, reference_duration=6 * factor)
    larger = results(mass=mass, **bare, capacity=1300 * factor)
    heavier = results(mass=mass * factor, **bare)
    assert longer["endurance"] == pytest.approx(one["endurance"] * factor, rel=1e-6)
    assert larger["endurance"] == pytest.approx(one["endurance"] * factor, rel=1e-6)
    assert heavier["endurance"] == pytest.approx(one["endurance"] * factor**-exponent, rel=1e-6)


@settings(max_examples=20)
@given(st.floats(150.0, 1500.0))
def test_between_the_two_exponents(mass: float) -> None:
    """linear_endurance is the result at x = 1, so the default of 1.2 gives a time between it and that at x = 1.5."""
    aerodynamic, linear = (results(mass=mass, mass_exponent=x) for x in (1.5, 1))
    assert aerodynamic["linear_endurance"] == pytest.approx(linear["endurance"], rel=1e-9)
    low, high = sorted((aerodynamic["endurance"], linear["endurance"]))
    assert low * (1 - 1e-9) <= results(mass=mass)["endurance"] <= high * (1 + 1e-9)


def test_range_by_hand() -> None:
    """By hand: 8 % between flights, from one flight with 3 degrees of freedom: t 3.182 at 97.5 % x 0.08 sqrt(2) = 0.360
    of ln P; without sag the time goes the other way. Beside it, u(ln t) = ln(m2/m1) u(x) hardly counts.
    """
    answer = calculate(NAME, **{**SAME, "mass_exponent": 1.5, "pack_resistance": 1e-9})["uncertainty"]
    for name, middle in (("endurance", 6.0), ("power_ratio", 1.0)):
        ends = (middle * math.exp(-0.360), middle * math.exp(0.360))
        assert (answer[name]["low"], answer[name]["high"]) == pytest.approx(ends, rel=0.02)
    assert answer["reference_mean_power"]["standard"] == 0


def test_a_reserve_that_both_share_cancels_out() -> None:
    """Its uncertainty moves the powers, not the time of the same flight.

    By hand: 5 % of 1.3 Ah in 0.1 h is 0.65 A, at 4 x 3.6956 V at the end less 2 x 10.4 A x 46 mohm, 13.8 V: 9.0 W.
    """
    same = {**SAME, "mass_exponent": 1.2, "pack_resistance": 46}
    uncertainty = calculate(NAME, **{**same, "reserve": "20 ± 5 %"})["uncertainty"]
    plain = calculate(NAME, **same)["uncertainty"]
    assert uncertainty["duration_ratio"]["low"] == pytest.approx(plain["duration_ratio"]["low"], rel=0.02)
    assert uncertainty["reference_mean_power"]["standard"] == pytest.approx(9.0, rel=0.02)


def test_best_pack_by_hand() -> None:
    """By hand: the rest weighs 600 - 200 = 400 g; 400 / 0.2 = 2000 g at 1.2, 400 / 0.25 = 1600 g at 1.25."""
    assert results(pack_mass=200)["best_pack_mass"] == pytest.approx(2000, rel=1e-11)
    assert results(pack_mass=200, mass_exponent=1.25)["best_pack_mass"] == pytest.approx(1600, rel=1e-11)


@settings(max_examples=20)
@given(st.floats(1.05, 3.0), st.floats(0.5, 2.0))
def test_no_pack_flies_longer_than_the_best(exponent: float, factor: float) -> None:
    """Computed again, without sag, for a pack of the best mass and for others of the same energy per mass."""
    best = results(pack_mass=200, mass_exponent=exponent)["best_pack_mass"]

    def flown(pack: float) -> float:
        larger = {"capacity": 1300 * pack / 200, "mass": 400 + pack, "pack_mass": pack}
        return float(results(**larger, mass_exponent=exponent, pack_resistance=1e-9)["endurance"])

    assert flown(best * factor) <= flown(best) * (1 + 1e-9)


def test_a_pack_that_cannot_give_the_power() -> None:
    """By hand: a cell of 3.7 to 4.2 V behind 1 ohm gives 4.4 W at most."""
    answer = calculate(NAME, **{**SAME, "cells": 1, "pack_resistance": 1000, "reference_pack_resistance": 40})
    missing = {name for c in answer["cautions"] if c["code"] == "power-beyond-pack" for name in c["results"]}
    assert missing == {"endurance", "duration_ratio", "energy_ratio", "energy_used", "linear_endurance"}
    assert answer["results"]["mean_power"] == pytest.approx(answer["results"]["reference_mean_power"], rel=1e-10)


@pytest.mark.parametrize(
    ("inputs", "code"),
    [
        pytest.param({}, "needs-input", id="no-pack-mass"),
        pytest.param({"pack_mass": 200, "mass_exponent": 1}, "no-best-pack", id="power-as-mass"),
        pytest.param({"pack_mass": 200, "mass_exponent": 0.9}, "no-best-pack", id="power-slower-than-mass"),
        pytest.param({"pack_mass": 600}, "pack-outweighs-craft", id="nothing-but-a-pack"),
        pytest.param({"pack_mass": 700, "mass_exponent": 1}, "pack-outweighs-craft", id="less-than-nothing"),
    ],
)
def test_no_best_pack_and_why(inputs: dict[str, Any], code: str) -> None:
    answer = calculate(NAME, **{**SAME, **inputs})
    assert answer["results"]["best_pack_mass"] is None
    assert [c["code"] for c in answer["cautions"] if c.get("results") == ["best_pack_mass"]] == [code]


CAUTIONS: Final[dict[str, tuple[dict[str, Any], dict[str, Any]]]] = {
    # code: inputs that bring it, inputs that do not
    "exponent-uncertain": ({"mass": 650, "mass_exponent": 1.5}, {"mass": 650}),
    "cell-count-differs": ({"cells": 6}, {"capacity": 2000}),
    "far-from-reference-mass": ({"mass": 790}, {"mass": 770}),
    "resistance-assumed": ({}, {"cell_resistance": 8}),
    "best-pack-out-of-reach": ({"pack_mass": 200}, {"pack_mass": 200, "mass_exponent": 2.5}),
    "heavier-than-best-pack": ({"pack_mass": 300, "mass_exponent": 2.5}, {"pack_mass": 200, "mass_exponent": 2.5}),
}


@pytest.mark.parametrize("code", CAUTIONS)
def test_caution_is_shown_when_it_holds_and_not_otherwise(code: str) -> None:
    shown, absent = CAUTIONS[code]
    assert code in codes(**shown)
    assert code not in codes(**absent)


def test_the_best_pack_and_one_as_heavy_as_the_craft_pass() -> None:
    """By hand, dry mass over x - 1: with x = 2 the best pack weighs as much as the rest."""
    bounds = {"best-pack-out-of-reach", "heavier-than-best-pack"}
    assert not bounds & codes(mass=400, pack_mass=200, mass_exponent=2)
    assert bounds & codes(mass=401, pack_mass=201, mass_exponent=2) == {"heavier-than-best-pack"}
    assert bounds & codes(mass=400, pack_mass=200, mass_exponent=1.999) == {"best-pack-out-of-reach"}


def test_every_conditional_caution_has_a_case() -> None:
    assert {c.code for c in registry.load()[NAME].cautions if not c.is_always_shown} == set(CAUTIONS)


def test_always_says_to_land_early() -> None:
    assert {"land-early", "lithium-fire"} <= codes()


def test_lists_what_it_assumed_about_the_recorded_flight() -> None:
    """By default both packs are alike, and the response lists that."""
    answer = calculate(NAME, **SAME, chemistry="lihv", reserve=25)
    assert (answer["inputs"]["reference_chemistry"], answer["inputs"]["reference_reserve"]) == ("lihv", 25)
    assert {"reference_chemistry", "reference_reserve"} <= set(answer["assumed"])
