"""A flown time carried over: the aerodynamic law, common practice, round trips, and every conditional caution."""

import math
from typing import Any, Final

import pytest
from hypothesis import given
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


def test_the_same_flight_lasts_as_long() -> None:
    """Limit."""
    found = results()
    assert found["endurance"] == 6
    assert (found["duration_ratio"], found["energy_ratio"], found["power_ratio"]) == (1, 1, 1)
    assert found["implied_power"] == found["reference_power"]
    assert found["linear_endurance"] == 6


@pytest.mark.parametrize("mass", [300, 702, 1200])
def test_aerodynamic_law(mass: float) -> None:
    """By hand: hover by momentum theory, P = W^1.5 / sqrt(2 rho A), of both masses with the same propellers."""
    ideal = {m: (m / 1e3 * 9.80665) ** 1.5 / math.sqrt(2 * 1.225 * 0.05067) for m in (600, mass)}
    found = results(mass=mass)
    assert found["power_ratio"] == pytest.approx(ideal[mass] / ideal[600], rel=1e-11)
    assert found["endurance"] == pytest.approx(6 * ideal[600] / ideal[mass], rel=1e-11)


def test_from_four_to_six_cells() -> None:
    """Common practice, no source.

    6 cells instead of 4 of the same capacity, all-up mass up by 17 %, fly about a fifth longer. By hand: 1.5 / 1.17^1.5
    = 1.18526.
    """
    found = results(cells=6, mass=702)
    assert found["duration_ratio"] == pytest.approx(1.2, abs=0.05)
    assert found["duration_ratio"] == pytest.approx(1.18526, abs=0.5e-5, rel=0)


@pytest.mark.parametrize(
    ("inputs", "ratio"),
    [
        # By hand, label energies less reserve:
        pytest.param({"capacity": 2600}, 2.0, id="twice-the-capacity"),
        pytest.param({"chemistry": "li-ion", "reference_chemistry": "lipo"}, 3.6 / 3.7, id="another-chemistry"),
        pytest.param({"chemistry": "li-ion"}, 1.0, id="chemistry-of-both"),
        pytest.param({"reserve": 50}, 1.0, id="reserve-of-both"),
        pytest.param({"reserve": 10, "reference_reserve": 40}, 1.5, id="another-reserve"),
        pytest.param({"cells": 6, "reference_cells": 3}, 2.0, id="twice-the-cells"),
    ],
)
def test_energy_ratio(inputs: dict[str, Any], ratio: float) -> None:
    found = results(**inputs)
    assert found["energy_ratio"] == pytest.approx(ratio, rel=1e-11)
    assert found["endurance"] == pytest.approx(6 * ratio, rel=1e-11)


def test_powers_by_hand() -> None:
    """By hand: 14.8 V x 1.3 Ah x 0.8 = 15.392 Wh in 0.1 h is 153.92 W; at twice the mass and x = 1.2, 2^1.2 as much."""
    found = results(mass=1200, mass_exponent=1.2)
    assert found["reference_power"] == pytest.approx(153.92, rel=1e-11)
    assert found["implied_power"] == pytest.approx(153.92 * 2**1.2, rel=1e-11)


masses = st.floats(50.0, 5000.0)
exponents = st.floats(0.0, 3.0)


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
    back = results(
        reference_duration=f"{there['endurance']} min" if there["endurance"] <= 1000 else 1000,
        reference_cells=cells,
        reference_capacity=capacity,
        reference_mass=mass,
        mass_exponent=exponent,
        chemistry="lipo",
        reference_chemistry=chemistry,
        reserve=20,
        reference_reserve=10,
    )
    assert back["duration_ratio"] * there["duration_ratio"] == pytest.approx(1, rel=1e-10)
    if there["endurance"] <= 1000:
        assert back["endurance"] == pytest.approx(6, rel=1e-10)
        assert back["reference_power"] == pytest.approx(there["implied_power"], rel=1e-10)


@given(masses, exponents, st.floats(1.01, 3.0))
def test_scaling(mass: float, exponent: float, factor: float) -> None:
    """Time is proportional to the time flown and to capacity, and falls with mass as mass^-x."""
    one = results(mass=mass, mass_exponent=exponent)
    longer = results(mass=mass, mass_exponent=exponent, reference_duration=6 * factor)
    larger = results(mass=mass, mass_exponent=exponent, capacity=1300 * factor)
    heavier = results(mass=mass * factor, mass_exponent=exponent)
    assert longer["endurance"] == pytest.approx(one["endurance"] * factor, rel=1e-10)
    assert larger["endurance"] == pytest.approx(one["endurance"] * factor, rel=1e-10)
    assert heavier["endurance"] == pytest.approx(one["endurance"] * factor**-exponent, rel=1e-10)


@given(masses)
def test_between_the_two_exponents(mass: float) -> None:
    """linear_endurance is the result at x = 1, so any x from 1 to 1.5 gives a time between it and the default's."""
    aerodynamic, linear = results(mass=mass), results(mass=mass, mass_exponent=1)
    assert aerodynamic["linear_endurance"] == pytest.approx(linear["endurance"], rel=1e-11)
    low, high = sorted((aerodynamic["endurance"], linear["endurance"]))
    assert low * (1 - 1e-11) <= results(mass=mass, mass_exponent=1.2)["endurance"] <= high * (1 + 1e-11)


def test_uncertain_exponent_by_hand() -> None:
    """By hand: u(ln t) = ln(m2/m1) u(x) = 0.157004 x 0.2 = 0.031401 of 7.11154 min; finite steps, 1e-3."""
    answer = calculate(NAME, **{**SAME, "cells": 6, "mass": 702, "mass_exponent": "1.5 ± 0.2"})
    uncertainty = answer["uncertainty"]["endurance"]
    assert uncertainty["standard"] == pytest.approx(0.031401 * answer["results"]["endurance"], rel=1e-3)
    assert uncertainty["shares"]["mass_exponent"] == pytest.approx(1, rel=1e-9)


def test_a_reserve_that_both_share_cancels_out() -> None:
    """Its uncertainty moves the powers, not the time."""
    uncertainty = calculate(NAME, **{**SAME, "mass_exponent": 1.2, "reserve": "20 ± 5 %"})["uncertainty"]
    assert uncertainty["endurance"]["standard"] == pytest.approx(0, abs=1e-12)
    assert uncertainty["reference_power"]["standard"] == pytest.approx(153.92 * 0.05 / 0.8, rel=1e-9)


def test_best_pack_by_hand() -> None:
    """By hand: the rest weighs 600 - 200 = 400 g; 400 / 0.5 = 800 g at 1.5, 400 / 0.25 = 1600 g at 1.25."""
    assert results(pack_mass=200)["best_pack_mass"] == pytest.approx(800, rel=1e-11)
    assert results(pack_mass=200, mass_exponent=1.25)["best_pack_mass"] == pytest.approx(1600, rel=1e-11)


@given(st.floats(1.05, 3.0), st.floats(0.5, 2.0))
def test_no_pack_flies_longer_than_the_best(exponent: float, factor: float) -> None:
    """Computed again for a pack of the best mass and for others of the same energy per mass."""
    best = results(pack_mass=200, mass_exponent=exponent)["best_pack_mass"]

    def flown(pack: float) -> float:
        return float(
            results(capacity=1300 * pack / 200, mass=400 + pack, pack_mass=pack, mass_exponent=exponent)["endurance"]
        )

    assert flown(best * factor) <= flown(best) * (1 + 1e-10)


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
    "exponent-uncertain": ({"mass": 650}, {"mass": 650, "mass_exponent": 1.2}),
    "other-voltage": ({"cells": 6}, {"capacity": 2000}),
    "far-from-flown": ({"mass": 790}, {"mass": 770}),
    # By hand: at x = 1.5 a mass 1.32 times as great draws 1.5166 times the power of the same pack.
    "loaded-harder": ({"mass": 792}, {"mass": 780}),
    "best-pack-is-beyond": ({"pack_mass": 200}, {"pack_mass": 200, "mass_exponent": 2.5}),
    "beyond-best-pack": ({"pack_mass": 300, "mass_exponent": 2.5}, {"pack_mass": 200, "mass_exponent": 2.5}),
}


@pytest.mark.parametrize("code", CAUTIONS)
def test_caution_is_shown_when_it_holds_and_not_otherwise(code: str) -> None:
    shown, absent = CAUTIONS[code]
    assert code in codes(**shown)
    assert code not in codes(**absent)


def test_the_best_pack_and_one_as_heavy_as_the_craft_pass() -> None:
    """By hand, dry mass over x - 1: with x = 2 the best pack weighs as much as the rest."""
    bounds = {"best-pack-is-beyond", "beyond-best-pack"}
    assert not bounds & codes(mass=400, pack_mass=200, mass_exponent=2)
    assert bounds & codes(mass=401, pack_mass=201, mass_exponent=2) == {"beyond-best-pack"}
    assert bounds & codes(mass=400, pack_mass=200, mass_exponent=1.999) == {"best-pack-is-beyond"}


def test_every_conditional_caution_has_a_case() -> None:
    assert {c.code for c in registry.load()[NAME].cautions if c.when is not None} == set(CAUTIONS)


def test_always_says_to_land_early() -> None:
    assert {"land-early", "lithium-fire"} <= codes()


def test_lists_what_it_assumed_about_the_recorded_flight() -> None:
    """By default both packs are alike, and the response lists that."""
    answer = calculate(NAME, **SAME, chemistry="lihv", reserve=25)
    assert (answer["given"]["reference_chemistry"], answer["given"]["reference_reserve"]) == ("lihv", 25)
    assert {"reference_chemistry", "reference_reserve"} <= set(answer["assumed"])
