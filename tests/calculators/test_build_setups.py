"""Setups side by side: each column alone, caps that match another setup, propellers, names, reasons."""

import itertools
import json
import math
from collections.abc import Callable
from typing import Any, Final

import pytest
from scipy.optimize import brentq

from calculators.build_cases import CRAFT, FOUR, SIX, compute, compute_rows, get_reasons
from gramwatt import InvalidInput, calculate
from gramwatt.engine import registry
from gramwatt.engine.calculate import evaluate_request
from gramwatt.engine.response import build_response
from gramwatt.engine.sentences import FilledSentence, build_sentence
from gramwatt.web import create_app

UNCAPPED: Final[dict[str, Any]] = {**{n: v for n, v in CRAFT.items() if n != "throttle_cap"}, "packs": [FOUR, SIX]}
ALONE: Final[dict[str, Any]] = {name: CRAFT[name] for name in ("kv", "diameter", "pitch")}
CHANGES: Final = ("mass_change", "endurance_change", "capped_thrust_change", "capped_pack_current_change")
FIVE: Final[dict[str, Any]] = {"name": "five", "diameter": 5, "pitch": 4.3}
FLAT: Final[dict[str, Any]] = {"name": "flat", "diameter": 5.1, "pitch": 3, "blades": 2, "mass": 3.5}
WITH_PROPELLERS: Final[dict[str, Any]] = {
    **{name: value for name, value in UNCAPPED.items() if name not in ("diameter", "pitch")},
    "propellers": [FIVE, FLAT],
}


def get_figures(row: dict[str, Any]) -> dict[str, Any]:
    """Return the numbers of a setup itself, without the differences from the first."""
    return {
        name: value for name, value in row.items() if isinstance(value, float | int) and not name.startswith(CHANGES)
    }


def measure(pack: dict[str, Any], throttle_cap: float = 100, **more: Any) -> dict[str, Any]:
    """Return what full-throttle says of one pack."""
    inputs = {name: value for name, value in pack.items() if name not in ("name", "mass")}
    results: dict[str, Any] = calculate("full-throttle", **ALONE, **inputs, throttle_cap=throttle_cap, **more)[
        "results"
    ]
    return results


# What a setup is made of


def test_without_setups_each_pack_is_one() -> None:
    """By definition: a setup that only names a pack, and the table of setups left out, are the same."""
    named = compute(**CRAFT, setups=[{"pack": pack["name"]} for pack in CRAFT["packs"]])
    assert named["results"] == compute(**CRAFT)["results"]
    assert [row["name"] for row in named["results"]["by_setup"]] == ["four", "six", "large"]


def test_a_setup_without_anything_is_the_craft_with_its_first_pack() -> None:
    (row,) = compute_rows(**CRAFT, setups=[{}])
    assert row == compute_rows(**CRAFT)[0]


@pytest.mark.parametrize(
    ("setup", "single"),
    [
        pytest.param({"pack": "six"}, {"packs": [SIX]}, id="pack"),
        pytest.param({"throttle_cap": 50}, {"throttle_cap": 50}, id="throttle-cap"),
        pytest.param({"added_mass": -61.5}, {"dry_mass": CRAFT["dry_mass"] - 61.5}, id="less-mass"),
        pytest.param({"added_mass": "40 ± 2 g"}, {"dry_mass": "393.8 ± 2 g"}, id="more-mass-not-quite-known"),
        pytest.param({"pack_temperature": 5}, {"pack_temperature": 5}, id="pack-temperature"),
    ],
)
def test_each_column_alone_is_the_input_of_the_craft(setup: dict[str, Any], single: dict[str, Any]) -> None:
    """By definition: what one setup changes, a craft of its own with that input has as well, ranges included."""
    _, row = compute_rows(**UNCAPPED, setups=[{}, {"name": "changed", **setup}])
    answer = compute(**{**UNCAPPED, "packs": [FOUR], **single})
    expected = get_figures(answer["results"]["by_setup"][0])
    assert get_figures(row) == pytest.approx(expected, rel=1e-11)
    assert row["name"] == "changed"


def test_a_setup_has_the_range_of_a_craft_of_its_own() -> None:
    """The draws of the inputs are the same, so the range of the second setup is that of the craft alone."""
    both = compute(**UNCAPPED, setups=[{}, {"throttle_cap": 50, "pack_temperature": 5}])["uncertainty"]
    alone = compute(**{**UNCAPPED, "packs": [FOUR]}, throttle_cap=50, pack_temperature=5)["uncertainty"]
    for column in ("capped_thrust", "capped_pack_current", "endurance", "hover_power"):
        for part in ("standard", "low", "high"):
            mine, other = both[f"by_setup.{column}"][part][1], alone[f"by_setup.{column}"][part][0]
            assert mine == pytest.approx(other, rel=1e-9)


def test_six_cells_at_their_cap_with_four_uncapped() -> None:
    """Two packs to choose between, in one request. By hand: 66 % of six cells is 3.96 cells, so both lift alike."""
    four, six = compute_rows(
        **UNCAPPED, setups=[{"name": "four"}, {"name": "capped", "pack": "six", "throttle_cap": 66}]
    )
    assert (four["throttle_cap"], six["throttle_cap"]) == (100, 66)
    assert (four["capped_thrust"], four["capped_pack_current"]) == (four["thrust"], four["pack_current"])
    assert six["capped_thrust_change_share"] == pytest.approx(
        100 * (six["capped_thrust"] / four["thrust"] - 1), rel=1e-9
    )
    assert -5 < six["capped_thrust_change_share"] < 30
    assert six["capped_pack_current"] < four["pack_current"] < six["pack_current"]
    assert six["endurance"] > four["endurance"]


def test_order_of_setups_changes_only_comparisons() -> None:
    setups = [
        {"name": "plain"},
        {"name": "capped", "pack": "six", "throttle_cap": 66},
        {"name": "light", "added_mass": -50, "pack_temperature": 10},
        {"name": "matched", "pack": "six", "match_quantity": "thrust", "match_setup": "plain"},
    ]
    known = {row["name"]: get_figures(row) for row in compute_rows(**UNCAPPED, setups=setups)}
    for order in itertools.permutations(setups):
        rows = compute_rows(**UNCAPPED, setups=list(order))
        assert {row["name"]: get_figures(row) for row in rows} == known
        assert rows[0]["mass_change"] == rows[0]["capped_thrust_change_share"] == 0


# Caps that match another setup


def find_cap(quantity: Callable[[dict[str, Any]], float], wanted: float, **more: Any) -> float:
    """Return the cap of the six cells at which full-throttle gives a quantity, by bisection (SciPy)."""
    return float(brentq(lambda cap: quantity(measure(SIX, cap, **more)) - wanted, 5, 100, xtol=1e-10))


def test_rotor_speed_is_matched() -> None:
    """Independently by bisection of full-throttle, which knows no matching."""
    wanted = measure(FOUR)["rotor_speed"]
    _, six = compute_rows(**UNCAPPED, setups=[{}, {"pack": "six", "match_quantity": "rotor-speed"}])
    assert six["throttle_cap"] == pytest.approx(find_cap(lambda found: found["rotor_speed"], wanted), rel=1e-8)
    assert measure(SIX, six["throttle_cap"])["rotor_speed"] == pytest.approx(wanted, rel=1e-9)


def test_thrust_is_matched_at_the_cap_of_the_other() -> None:
    """The other setup is capped at 80 %; the same propellers at the same thrust turn as fast."""
    setups = [
        {"name": "four", "throttle_cap": 80},
        {"name": "by thrust", "pack": "six", "match_quantity": "thrust"},
        {"name": "by speed", "pack": "six", "match_setup": "four"},
    ]
    four, by_thrust, by_speed = compute_rows(**UNCAPPED, setups=setups)
    assert by_thrust["capped_thrust"] == pytest.approx(four["capped_thrust"], rel=1e-9)
    wanted = measure(FOUR, 80)["thrust"]
    assert by_thrust["throttle_cap"] == pytest.approx(find_cap(lambda found: found["thrust"], wanted), rel=1e-8)
    assert get_figures(by_speed) == pytest.approx(get_figures(by_thrust), rel=1e-9)


def test_thrust_to_weight_is_matched() -> None:
    """By definition thrust over mass is the same; independently by bisection at the mass of the heavier setup."""
    setups = [{}, {"pack": "six", "added_mass": 25, "match_quantity": "thrust-to-weight"}]
    four, six = compute_rows(**UNCAPPED, setups=setups)
    assert six["capped_thrust"] / six["mass"] == pytest.approx(four["thrust"] / four["mass"], rel=1e-9)
    wanted = measure(FOUR, mass=four["mass"])["thrust"] / four["mass"] * six["mass"]
    assert six["throttle_cap"] == pytest.approx(find_cap(lambda found: found["thrust"], wanted), rel=1e-8)


def test_cap_of_six_cells_in_place_of_four() -> None:
    """Common practice, no source: two thirds.

    By hand a stiff pack has exactly that; sag lowers it a little for a pack of six equal cells, as a lower throttle
    draws less from it.
    """
    setups = [{}, {"pack": "six", "match_quantity": "rotor-speed"}]
    stiff = [{**each, "cell_resistance": 0} for each in (FOUR, SIX)]
    assert compute_rows(**{**UNCAPPED, "packs": stiff}, setups=setups)[1]["throttle_cap"] == pytest.approx(
        200 / 3, rel=1e-9
    )
    assert 55 < compute_rows(**UNCAPPED, setups=setups)[1]["throttle_cap"] < 200 / 3


def test_the_same_setup_matches_at_full_throttle() -> None:
    first, second = compute_rows(**UNCAPPED, setups=[{}, {"match_quantity": "rotor-speed"}])
    assert second["throttle_cap"] == 100
    assert second["capped_thrust"] == pytest.approx(first["thrust"], rel=1e-9)


@pytest.mark.parametrize(
    ("setups", "at", "code"),
    [
        pytest.param(
            [{"pack": "six"}, {"match_quantity": "thrust"}], 1, "match-out-of-reach", id="the-other-is-stronger"
        ),
        pytest.param([{"match_quantity": "thrust"}], 0, "matches-itself", id="itself"),
        pytest.param(
            [
                {"name": "a"},
                {"name": "b", "match_quantity": "thrust"},
                {"match_quantity": "thrust", "match_setup": "b"},
            ],
            2,
            "matched-setup-has-no-cap",
            id="one-that-matches",
        ),
        pytest.param([{"added_mass": -900}], 0, "no-mass-left", id="more-taken-off-than-there-is"),
        pytest.param(
            [{"added_mass": -900}, {"match_quantity": "thrust-to-weight"}],
            1,
            "match-out-of-reach",
            id="a-setup-without-mass",
        ),
    ],
)
def test_what_is_missing_has_its_reason(setups: list[dict[str, Any]], at: int, code: str) -> None:
    """Each missing figure has one, the expected one among them."""
    response = compute(**UNCAPPED, setups=setups)
    rows = response["results"]["by_setup"]
    empty = {
        f"/by_setup/{row}/{name}" for row, found in enumerate(rows) for name, value in found.items() if value is None
    }
    empty |= {name for name, value in response["results"].items() if value is None}
    reasons = get_reasons(response)
    assert set(reasons) == empty
    assert code in {reason for name, reason in reasons.items() if name.startswith(f"/by_setup/{at}/")}


def test_the_text_of_a_reason_names_its_setup() -> None:
    response = compute(
        **UNCAPPED, setups=[{"name": "big", "pack": "six"}, {"name": "little", "match_quantity": "rotor-speed"}]
    )
    (text,) = (each["text"] for each in response["cautions"] if each["code"] == "match-out-of-reach")
    assert text.startswith("little: no throttle matches the other setup")


def test_a_cap_that_only_some_draws_have_says_so() -> None:
    """Packs known to a factor of 1.8 only: where the other is the stronger one no throttle matches it."""
    packs = [{**FOUR, "cell_resistance": "8 ± 3 mohm"}, {**FOUR, "name": "twin", "cell_resistance": "7.9 ± 3 mohm"}]
    response = compute(**{**UNCAPPED, "packs": packs}, setups=[{}, {"pack": "twin", "match_quantity": "thrust"}])
    assert response["results"]["by_setup"][1]["throttle_cap"] < 100
    (text,) = (each["text"] for each in response["cautions"] if each["code"] == "possibly-match-out-of-reach")
    assert "twin" in text
    assert 0.2 < response["uncertainty"]["by_setup.throttle_cap"]["no_result"][1] < 0.8


def test_no_caution_speaks_of_a_cap_that_was_not_set() -> None:
    """Weak cells below their cut-off, over rating and controller: at 100 % throttle nothing is capped."""
    weak = {**FOUR, "cell_resistance": 60, "discharge_rating": 5}
    response = compute(**{**UNCAPPED, "packs": [weak]}, controller_rating=5)
    texts = {each["code"]: each["text"] for each in response["cautions"] if each["kind"] != "standing"}
    assert {"below-cutoff", "over-discharge-rating", "over-controller-rating"} <= set(texts)
    assert not [text for text in texts.values() if " cap" in text.lower()]
    capped = compute(**{**UNCAPPED, "packs": [weak]}, throttle_cap=60)["cautions"]
    assert any("at 60 % throttle" in each["text"] for each in capped)


# Propellers


def test_one_propeller_in_the_table_is_as_single_inputs() -> None:
    """By definition, ranges included."""
    table = compute(**{**WITH_PROPELLERS, "propellers": [FIVE]})
    single = compute(**UNCAPPED)
    assert table["results"] == single["results"]
    assert table["uncertainty"] == single["uncertainty"]


def test_single_inputs_are_not_used_beside_the_table() -> None:
    answer = compute(**WITH_PROPELLERS, diameter=9, pitch=4.5, blades=2)
    assert answer["results"] == compute(**WITH_PROPELLERS)["results"]
    assert any(each["code"] == "not-used" for each in answer["cautions"])


def test_what_the_table_gives_is_not_assumed() -> None:
    """Diameter, pitch and blades are those of the table; coefficients are assumed where a row gives none."""
    answer = compute(**WITH_PROPELLERS)
    assert {"diameter", "pitch", "blades", "thrust_coefficient", "power_coefficient"}.isdisjoint(answer["assumed"])
    assert "propellers.thrust_coefficient" in answer["assumed"]
    measured = [{**each, "thrust_coefficient": 0.2, "power_coefficient": 0.1} for each in (FIVE, FLAT)]
    answer = compute(**{**WITH_PROPELLERS, "propellers": measured})
    assert not [name for name in answer["assumed"] if name.endswith("_coefficient")]
    bench = {"bench_speed": 26600, "bench_thrust": 920, "bench_shaft_power": 200}
    answer = compute(**{**WITH_PROPELLERS, "propellers": [FIVE]}, **bench)
    assert "propellers.thrust_coefficient" not in answer["assumed"]
    assert "thrust_coefficient" in answer["computed"]


def test_a_setup_with_another_propeller_has_its_thrust_and_mass() -> None:
    """As full-throttle with that propeller alone. By hand: four of 3.5 g are 14 g more than none of known mass."""
    first, second = compute_rows(**WITH_PROPELLERS, setups=[{}, {"name": "flat", "propeller": "flat"}])
    assert second["mass"] == pytest.approx(first["mass"] + 14, rel=1e-12)
    pack = {name: value for name, value in FOUR.items() if name not in ("name", "mass")}
    alone = calculate(
        "full-throttle", kv=2400, diameter=5.1, pitch=3, blades=2, **pack, mass=second["mass"],
        motor_resistance=200, no_load_current=587 / (2400 * 0.2),
    )["results"]  # fmt: skip
    for column, result in {
        "thrust": "thrust",
        "pack_current": "pack_current",
        "hover_power": "hover_power",
        "hover_throttle": "hover_throttle",
    }.items():
        assert second[column] == pytest.approx(alone[result], rel=1e-9)


def test_the_bench_point_sets_the_motor_of_every_propeller() -> None:
    """The resistance that it gives with the first propeller, by full-throttle, is that of the motor with any other."""
    bench: dict[str, Any] = {"bench_speed": 26600, "bench_thrust": 920, "bench_voltage": 14.8, "bench_current": 23}
    motor = calculate("full-throttle", **ALONE, cells=4, capacity=1300, **bench)
    solved: dict[str, Any] = {name: motor["inputs"][name] for name in ("motor_resistance", "no_load_current")}
    setups = [{}, {"propeller": "flat"}]
    measured = compute_rows(**WITH_PROPELLERS, **bench, setups=setups)
    given = compute_rows(**WITH_PROPELLERS, **solved, setups=setups)
    assert get_figures(measured[1]) == pytest.approx(get_figures(given[1]), rel=1e-9)
    assert measured[0]["thrust"] != pytest.approx(given[0]["thrust"], rel=0.01)  # its own coefficients are measured


def test_coefficients_of_the_table_are_used() -> None:
    """By hand: at one rotor speed thrust is in proportion to the coefficient; matched, it is 1.2 times as much."""
    same = {"thrust_coefficient": 0.2, "power_coefficient": 0.12}
    strong = {**FIVE, "name": "strong", **same, "thrust_coefficient": 0.24}
    craft = {**WITH_PROPELLERS, "propellers": [{**FIVE, **same}, strong]}
    first, second = compute_rows(**craft, setups=[{}, {"propeller": "strong"}])
    assert second["thrust"] == pytest.approx(1.2 * first["thrust"], rel=1e-9)
    assert second["pack_current"] == pytest.approx(first["pack_current"], rel=1e-9)
    assert compute_rows(**craft)[0]["thrust"] == first["thrust"]


@pytest.mark.parametrize(
    "known",
    [{"mean_power": 200}, {"flights": [{"mass": 508.8, "duration": 5, "cells": 4, "capacity": 1300}]}],
    ids=["average-power", "flights"],
)
def test_a_measured_power_is_carried_to_another_propeller_by_hover_power(known: dict[str, Any]) -> None:
    """By definition: measured with the first propeller, times the ratio of hover powers at the same mass."""
    flat = {name: value for name, value in FLAT.items() if name != "mass"}
    first, second = compute_rows(
        **{**WITH_PROPELLERS, "propellers": [FIVE, flat]}, **known, setups=[{}, {"propeller": "flat"}]
    )
    assert second["hover_power"] != pytest.approx(first["hover_power"], rel=0.005)
    ratio = second["mean_power"] / first["mean_power"]
    assert ratio == pytest.approx(second["hover_power"] / first["hover_power"], rel=1e-9)


def test_the_mass_of_propellers_counts_with_its_precision() -> None:
    """By hand: four times one reading of 1 g, 4^2 / 12, four times the stated 0.5 g, 2^2, and two more readings."""
    craft = {**WITH_PROPELLERS, "propellers": [{**FIVE, "mass": "4 ± 0.5 g"}], "packs": [FOUR]}
    answer = compute(**{**craft, "mass_limit": 530})
    (row,) = answer["results"]["by_setup"]
    assert row["mass"] == pytest.approx(508.8 + 16, rel=1e-12)
    deviation = math.sqrt(2 / 12 + 16 / 12 + 4)
    expected = 100 * 0.5 * math.erfc(-(530 - 524.8) / deviation / math.sqrt(2))
    assert row["probability_under_limit"] == pytest.approx(expected, rel=1e-9)
    assert answer["uncertainty"]["by_setup.mass"]["standard"][0] == pytest.approx(deviation, rel=0.05)


def test_the_precision_of_a_pack_counts_in_every_setup_that_has_it() -> None:
    """By hand: 155 +- 2 g and two readings of 1 g, u^2 = 4 + 2/12; the other pack has the readings alone."""
    packs = [{**FOUR, "mass": "155 ± 2 g"}, SIX]
    setups = [{"pack": "six"}, {"pack": "four"}, {"pack": "four", "throttle_cap": 60}]
    answer = compute(**{**UNCAPPED, "packs": packs}, setups=setups)
    standard = answer["uncertainty"]["by_setup.mass"]["standard"]
    assert standard == pytest.approx([math.sqrt(2 / 12), math.sqrt(4 + 2 / 12), math.sqrt(4 + 2 / 12)], rel=0.05)
    close = compute_rows(**{**UNCAPPED, "packs": packs, "mass_limit": 510}, setups=setups)
    assert [row["verdict"] for row in close] == ["over", "too-close-to-call", "too-close-to-call"]


# Names


def test_names_are_checked() -> None:
    with pytest.raises(InvalidInput) as raised:
        compute(**UNCAPPED, setups=[{"pack": "sixx"}, {"propeller": "five"}, {"match_setup": "frist", "name": "first"}])
    errors = {error.pointer: error.detail for error in raised.value.errors}
    assert "did you mean six?" in errors["/setups/0/pack"]
    assert "No propellers are given" in errors["/setups/1/propeller"]
    assert "did you mean first?" in errors["/setups/2/match_setup"]


def test_the_longest_flight_names_its_setup() -> None:
    setups = [{"name": "heavy", "added_mass": 200}, {"name": "light", "added_mass": -100}]
    results = compute(**UNCAPPED, setups=setups)["results"]
    assert results["longest_setup"] == "light"
    assert results["longest_endurance"] == results["by_setup"][1]["endurance"]


@pytest.mark.parametrize(
    ("limit", "longest", "sentence", "verdict"),
    [
        pytest.param(600, "six", "Flies longest with six, under the mass limit: ", "good", id="all-under"),
        pytest.param(550, "four", "Under the mass limit four flies longest: ", "good", id="the-longest-is-over"),
        pytest.param(400, None, "No setup is certainly under the mass limit; six flies longest: ", "bad", id="none"),
    ],
)
def test_the_headline_is_about_setups_under_the_limit(
    limit: float, longest: str | None, sentence: str, verdict: str
) -> None:
    """By hand: 508.8 and 581.8 g; six cells fly longest."""
    outcome = evaluate_request(registry.load()["build"], {**UNCAPPED, "mass_limit": limit})
    response = build_response(outcome, 0)
    results = response["results"]
    assert (results["longest_setup"], results["longest_setup_under_limit"]) == ("six", longest)
    times = [row["endurance"] for row in results["by_setup"] if row["verdict"] == "under"]
    assert results["longest_endurance_under_limit"] == max(times, default=None)
    headline = build_sentence(outcome, 0, response)
    assert headline is not None
    assert headline.text.startswith(sentence)
    assert headline.verdict == verdict


def get_headline(**inputs: Any) -> FilledSentence:
    outcome = evaluate_request(registry.load()["build"], inputs)
    headline = build_sentence(outcome, 0, build_response(outcome, 0))
    assert headline is not None
    return headline


@pytest.mark.parametrize("rated", [{"packs": [{**SIX, "discharge_rating": 40}]}, {"controller_rating": 25}])
def test_of_setups_that_fly_equally_long_one_within_the_ratings_is_named(rated: dict[str, Any]) -> None:
    """By definition: a throttle cap changes the load at full throttle, not the flight at the average power."""
    setups = [{"name": "uncapped"}, {"name": "capped", "throttle_cap": 50}, {"name": "low cap", "throttle_cap": 45}]
    inputs = {**UNCAPPED, "packs": [SIX], "setups": setups, "mass_limit": 600, **rated}
    results = compute(**inputs)["results"]
    share = "discharge_rating_share" if "packs" in rated else "controller_rating_share"
    first, second, third = results["by_setup"]
    assert first["endurance"] == second["endurance"] == third["endurance"]
    assert first[share] > 100 > second[share] > third[share]
    assert (results["longest_setup"], results["longest_setup_under_limit"]) == ("capped", "capped")
    assert get_headline(**inputs).text.startswith("Flies longest with capped, under the mass limit")
    alone = compute(**{**inputs, "setups": setups[:1]})["results"]
    assert alone["longest_setup"] == "uncapped"


@pytest.mark.parametrize(
    ("limit", "end"), [(550, "but is over the limit."), (581.8, "but is too close to the limit to call.")]
)
def test_the_headline_says_why_the_longest_flight_does_not_count(limit: float, end: str) -> None:
    """By hand: six cells weigh 581.8 g; they are 31.8 g over, or just at the limit."""
    inputs = {**UNCAPPED, "dry_mass": "353.8 ± 0.5 g", "mass_limit": limit}
    assert get_headline(**inputs).details.endswith(end)


def test_setups_in_a_table_of_requests() -> None:
    """A sweep that shares packs and setups is as one request after the other; a wrong name is reported once."""
    body = {"given": {**UNCAPPED, "setups": [{}, {"pack": "six"}]}, "vary": {"kv": {"values": [2200, 2400]}}}
    client = create_app().test_client()
    rows = client.post("/v1/build/sweep", json=body).get_json()
    assert [row["longest_setup"] for row in rows] == ["six", "six"]
    assert rows[1]["longest_endurance"] == compute(**UNCAPPED)["results"]["longest_endurance"]
    wrong = {"given": {**UNCAPPED, "setups": [{"pack": "sixx"}]}, "vary": {"kv": {"values": [2200, 2400]}}}
    (error,) = client.post("/v1/build/sweep", json=wrong).get_json()["errors"]
    assert error["pointer"] == "/given/setups/0/pack"
    lines = "".join(json.dumps({**UNCAPPED, "setups": [{"pack": name}]}) + "\n" for name in ("six", "sixx"))
    answer = client.post("/v1/build/batch", data=lines, content_type="application/x-ndjson").text.splitlines()
    good, bad = (json.loads(line) for line in answer)
    assert good["longest_setup"] == "six"
    assert "did you mean six?" in json.dumps(bad["error"])
