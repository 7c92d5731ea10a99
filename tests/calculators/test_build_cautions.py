"""Missing results of a build and their reasons, and every caution."""

from typing import Any, Final

import pytest

from calculators.build_cases import CRAFT, FOUR, SIX, compute, compute_rows, get_reasons
from gramwatt.engine import registry
from gramwatt.physics import weighing


def test_full_throttle_just_lifts_its_thrust() -> None:
    """By definition: a craft that weighs a thousandth less than the thrust hovers, one that weighs more does not."""
    (row,) = compute_rows(**{**CRAFT, "packs": [FOUR]})
    for share, hovers in ((0.999, True), (1.001, False), (1.1, False)):
        (changed_row,) = compute_rows(
            **{**CRAFT, "packs": [{**FOUR, "mass": share * row["thrust"] - CRAFT["dry_mass"]}]}
        )
        assert changed_row["thrust_to_weight"] == pytest.approx(1 / share, rel=1e-9)
        assert (changed_row["hover_throttle"] is not None) is hovers
        assert (changed_row["hover_power"] is not None) is hovers


def test_one_pack_that_cannot_lift() -> None:
    """A brick of 6 kg: its hover, flight and comparisons are missing, each with a reason.

    Its other figures and the other packs have results.
    """
    brick = {**FOUR, "name": "brick", "mass": 6000}
    response = compute(**{**CRAFT, "packs": [FOUR, brick, SIX]}, controller_rating=45)
    first, heavy, other = response["results"]["by_setup"]
    hovering, flying = {"hover_power", "hover_current", "hover_throttle"}, {"mean_power", "endurance", "ended_by"}
    changes = {"endurance_change", "endurance_change_share"}
    assert {name for name, value in heavy.items() if value is None} <= hovering | flying | changes | {
        "discharge_rating_share"
    }
    missing = get_reasons(response)
    assert {missing[f"/by_setup/1/{name}"] for name in hovering} == {"cannot-lift"}
    assert {missing[f"/by_setup/1/{name}"] for name in ("mean_power", "endurance")} == {"no-mean-power"}
    assert {missing[f"/by_setup/1/{name}"] for name in changes} == {"no-figures-to-compare"}
    assert any(
        caution["text"].startswith("brick: a thrust of ") and "6354 g" in caution["text"]
        for caution in response["cautions"]
    )
    assert heavy["thrust"] == first["thrust"]
    assert heavy["thrust_to_weight"] < 1
    assert [first, other] == compute_rows(**{**CRAFT, "packs": [FOUR, SIX]}, controller_rating=45)
    assert response["results"]["longest_setup"] == "six"
    assert not any(name.startswith(("/by_setup/0/hover", "/by_setup/2/hover")) for name in missing)


def test_a_first_pack_that_cannot_lift_leaves_no_comparison() -> None:
    response = compute(**{**CRAFT, "packs": [{**FOUR, "mass": 6000}, SIX]})
    assert get_reasons(response)["/by_setup/1/endurance_change"] == "no-figures-to-compare"
    assert response["results"]["by_setup"][1]["endurance"] > 0
    assert response["results"]["longest_setup"] == "six"


def test_without_an_average_power_there_is_no_endurance() -> None:
    """Not even 0 minutes for a pack that starts at its reserve, since the power is unknown."""
    response = compute(**{**CRAFT, "packs": [{**FOUR, "mass": 6000}]}, state_of_charge=15)
    assert response["results"]["by_setup"][0]["endurance"] is None
    assert get_reasons(response)["/by_setup/0/endurance"] == "no-mean-power"
    assert response["results"]["longest_setup"] is None
    assert get_reasons(response)["longest_setup"] == "none-flies"


def test_a_power_beyond_the_pack() -> None:
    """By hand: 16.8^2 / (4 x 32 mohm) = 2205 W."""
    response = compute(**CRAFT, mean_power=2300, mass_exponent=0)
    assert response["results"]["by_setup"][0]["endurance"] is None
    assert get_reasons(response)["/by_setup/0/endurance"] == "power-beyond-pack"
    assert response["results"]["by_setup"][0]["mean_power"] == 2300
    assert response["results"]["by_setup"][1]["endurance"] is not None


BENCH: Final[dict[str, Any]] = {
    "bench_speed": 26600,
    "bench_thrust": 920,
    "bench_voltage": 14.8,
    "bench_current": 23,
}


def test_an_impossible_bench_point() -> None:
    """26600 rpm at 2256 rpm/V are 11.8 V of back-EMF, more than 11 V: nothing but mass and label is left."""
    response = compute(**{**CRAFT, **BENCH, "bench_voltage": 11})
    for at, row in enumerate(response["results"]["by_setup"]):
        assert row["thrust"] is row["capped_pack_current"] is row["hover_power"] is None
        assert row["mass"] is not None
        assert get_reasons(response)[f"/by_setup/{at}/thrust"] == "bench-point-impossible"
        assert get_reasons(response)[f"/by_setup/{at}/hover_power"] == "bench-point-impossible"
    assert compute(**CRAFT, **BENCH)["results"]["by_setup"][0]["thrust"] is not None


def test_every_empty_figure_has_a_reason() -> None:
    """Check every missing figure of every pack."""
    for inputs in ({}, {"mean_power": 2300}, {"dry_mass": 9000}, {"throttle_cap": 1}, {"motor_resistance": 9e4}):
        response = compute(**{**CRAFT, **inputs})
        empty = {name for name, value in response["results"].items() if value is None}
        for at, row in enumerate(response["results"]["by_setup"]):
            empty |= {f"/by_setup/{at}/{name}" for name, value in row.items() if value is None}
        assert set(get_reasons(response)) == empty


# Cautions

WEAK: Final = {**FOUR, "cell_resistance": 60}
ONE: Final[dict[str, Any]] = {**CRAFT, "packs": [SIX, FOUR]}
FLIGHT: Final[dict[str, Any]] = {"mass": 500, "duration": 5, "cells": 4, "capacity": 1300}
SMALL: Final[dict[str, Any]] = {"diameter": 5, "pitch": 4.3}
TWO_PROPELLERS: Final[dict[str, Any]] = {
    **{name: value for name, value in ONE.items() if name not in SMALL},
    "propellers": [SMALL, {**SMALL, "name": "flat", "pitch": 3}],
}
NO_LIMIT: Final = {name: value for name, value in ONE.items() if name != "mass_limit"}
BOTH: Final = {**TWO_PROPELLERS, "setups": [{}, {"propeller": "flat"}]}
CAUTIONS: Final[dict[str, tuple[dict[str, Any], dict[str, Any]]]] = {
    # code: inputs that bring it, inputs that do not
    **{rule: ({**ONE, "rule": rule}, ONE) for rule in weighing.RULES if rule != "custom"},
    "no-class-label": ({**ONE, "rule": "eu-registration"}, {**ONE, "rule": "us-registration"}),
    "rule-sets-limit": ({**ONE, "rule": "eu-a1-privately-built"}, ONE),
    "outside-temperature": ({**ONE, "pack_temperature": -5}, ONE),
    "lihv-extrapolated": ({**ONE, "packs": [{**SIX, "chemistry": "lihv"}]}, ONE),
    "motor-assumed": (ONE, {**ONE, "motor_resistance": 200}),
    "propeller-extrapolated": ({**ONE, "pitch": 5.6}, {**ONE, "pitch": 5.6, "thrust_coefficient": 0.2}),
    "motor-extrapolated": ({**ONE, "diameter": 3.9}, {**ONE, "diameter": 4}),
    "stator-incomplete": ({**ONE, "stator_height": 7}, {**ONE, "stator_height": 7, "stator_diameter": 22}),
    "bench-point-incomplete": ({**ONE, "bench_thrust": 500}, {**ONE, **BENCH}),
    "micro-propeller": ({**ONE, "diameter": 3, "blades": 4}, {**ONE, "diameter": 3, "blades": 3}),
    "pack-resistance-assumed": (CRAFT, ONE),
    "reserve-assumed": ({**ONE, "flights": [FLIGHT]}, {**ONE, "flights": [{**FLIGHT, "reserve": 20}]}),
    "reserve-not-used": (
        {**ONE, "flights": [{**FLIGHT, "charge_used": 1000, "reserve": 20}]},
        {**ONE, "flights": [{**FLIGHT, "charge_used": 1000}]},
    ),
    "charge-above-rated-capacity": (
        {**ONE, "flights": [{**FLIGHT, "charge_used": 1301}]},
        {**ONE, "flights": [{**FLIGHT, "charge_used": 1300}]},
    ),
    "few-flights": ({**ONE, "flights": [FLIGHT] * 6}, {**ONE, "flights": [FLIGHT] * 7}),
    # By hand: two readings of 1 g, U = 2 sqrt(2/12) = 0.82 g.
    "too-close-to-call": ({**ONE, "mass_limit": 509}, {**ONE, "mass_limit": 510}),
    "over-discharge-rating": (
        {**ONE, "packs": [SIX, {**FOUR, "discharge_rating": 5}]},
        {**ONE, "packs": [SIX, {**FOUR, "discharge_rating": 100}]},
    ),
    "over-controller-rating": ({**ONE, "controller_rating": 8}, {**ONE, "controller_rating": 45}),
    "below-cutoff": ({**ONE, "packs": [SIX, WEAK]}, ONE),
    "discharge-rating-overstated": ({**ONE, "packs": [SIX, {**FOUR, "discharge_rating": 100}]}, ONE),
    "cold-charge": ({**ONE, "pack_temperature": 9.9}, {**ONE, "pack_temperature": 10}),
    "cap-below-hover": ({**ONE, "throttle_cap": 20}, ONE),
    "over-limit": ({**ONE, "mass_limit": 570}, ONE),
    "limit-assumed": (
        NO_LIMIT,
        {**NO_LIMIT, "rule": "eu-registration"},
    ),
    "propeller-mass-missing": (
        {**BOTH, "propellers": [{**SMALL, "mass": 4}, {**SMALL, "name": "flat"}]},
        {**BOTH, "propellers": [{**SMALL, "mass": 4}, {**SMALL, "name": "flat", "mass": 3}]},
    ),
    "cap-not-used": (
        {**ONE, "setups": [{}, {"match_quantity": "thrust", "throttle_cap": 50}]},
        {**ONE, "setups": [{}, {"throttle_cap": 50}]},
    ),
    "propellers-extrapolated": (
        {**TWO_PROPELLERS, "propellers": [SMALL, {**SMALL, "pitch": 5.6}]},
        {**TWO_PROPELLERS, "propellers": [SMALL, {**SMALL, "pitch": 5.6, "thrust_coefficient": 0.2}]},
    ),
    "first-propeller": ({**TWO_PROPELLERS, "flights": [FLIGHT]}, TWO_PROPELLERS),
    "propellers-not-compared": (TWO_PROPELLERS, {**TWO_PROPELLERS, "setups": [{}]}),
    "propellers-added": ({**TWO_PROPELLERS, "propellers": [{**SMALL, "mass": 4}]}, TWO_PROPELLERS),
}


def test_the_mass_of_a_propeller_without_a_setup_is_not_reported_as_added() -> None:
    second = [SMALL, {**SMALL, "name": "spare", "mass": 3}]
    for setups, is_added in (({}, False), ({"setups": [{"propeller": "spare"}]}, True)):
        codes = {
            caution["code"] for caution in compute(**{**TWO_PROPELLERS, "propellers": second, **setups})["cautions"]
        }
        assert ("propellers-added" in codes) == is_added


@pytest.mark.parametrize("code", CAUTIONS)
def test_caution_is_shown_when_it_holds_and_not_otherwise(code: str) -> None:
    shown, absent = ({caution["code"] for caution in compute(**inputs)["cautions"]} for inputs in CAUTIONS[code])
    assert code in shown
    assert code not in absent


def test_only_propellers_that_are_used_lack_a_mass() -> None:
    """Without any mass the propellers are in the parts; one that no setup has changes nothing."""
    without = {**BOTH, "propellers": [SMALL, {**SMALL, "name": "flat"}]}
    unused = {**BOTH, "setups": [{}], "propellers": [{**SMALL, "mass": 4}, {**SMALL, "name": "flat"}]}
    for inputs in (without, unused):
        assert "propeller-mass-missing" not in {caution["code"] for caution in compute(**inputs)["cautions"]}


def test_no_temperature_changes_a_measured_resistance() -> None:
    measured = {**FOUR, "name": "measured", "pack_resistance": 40}
    del measured["cell_resistance"]
    cautions = compute(**{**CRAFT, "packs": [measured, SIX]}, pack_temperature=-5)["cautions"]
    assert [c["text"][:5] for c in cautions if c["code"] == "outside-temperature"] == ["six: "]
    (frozen,) = compute(**{**CRAFT, "packs": [measured]}, pack_temperature=-5)["results"]["by_setup"]
    (warm,) = compute(**{**CRAFT, "packs": [measured]}, pack_temperature=25)["results"]["by_setup"]
    assert frozen["pack_current"] == warm["pack_current"]


def test_cautions_about_the_limit_read_well_for_several_setups() -> None:
    # By hand: 353.8 + 228 and 353.8 + 155 g.
    texts = {c["code"]: c["text"] for c in compute(**NO_LIMIT)["cautions"]}
    assert texts["over-limit"].startswith("six and four: 581.8 g and 508.8 g, over the mass limit (margin -331.8 g")
    assert texts["limit-assumed"] == "No limit was given: 250 g is assumed."


def test_cautions_about_throttle_read_well_for_several_setups() -> None:
    response = compute(**{**NO_LIMIT, "throttle_cap": 15})
    (text,) = (c["text"] for c in response["cautions"] if c["code"] == "cap-below-hover")
    hover = [f"{row['hover_throttle']:.3g} %" for row in response["results"]["by_setup"]]
    assert text == f"six and four: throttle cap 15 %, below the hover throttle of {hover[0]} and {hover[1]}."


def test_cautions_name_their_pack() -> None:
    cautions = compute(**{**ONE, "packs": [SIX, WEAK]})["cautions"]
    assert [c["text"][:6] for c in cautions if c["code"] == "below-cutoff"] == ["four: "]


def test_every_conditional_caution_has_a_case() -> None:
    assert {c.code for c in registry.load()["build"].cautions if not c.is_always_shown} == set(CAUTIONS)
