"""The headline of a response in words."""

from typing import Any

import pytest

from gramwatt.engine import calculate, registry
from gramwatt.engine.response import build_response
from gramwatt.engine.sentences import FilledSentence, build_sentence
from gramwatt.model import Example, Sentence
from gramwatt.model.calculator import AnyCalculator
from gramwatt.model.sentences import VERDICTS

CALCULATORS = registry.load()
EXAMPLES = [
    pytest.param(calculator, example, id=f"{name}-{number}")
    for name, calculator in CALCULATORS.items()
    for number, example in enumerate(calculator.examples)
]


def sentence_of(name: str, inputs: dict[str, Any]) -> FilledSentence | None:
    outcome = calculate.evaluate_request(CALCULATORS[name], inputs, result_units={})
    return build_sentence(outcome, 0, build_response(outcome, 0))


@pytest.mark.parametrize(("calculator", "example"), EXAMPLES)
def test_every_example_has_a_sentence(calculator: AnyCalculator, example: Example) -> None:
    outcome = calculate.evaluate_request(calculator, example.given, result_units={})
    sentence = build_sentence(outcome, 0, build_response(outcome, 0))
    assert sentence is not None
    assert sentence.text[0].isupper() or sentence.text[0].isdigit()
    assert not {"{", "}", "_"} & set(sentence.text + sentence.details)
    assert sentence.verdict in ("", *VERDICTS)
    assert all(part.endswith(".") for part in (sentence.details,) if part)


@pytest.mark.parametrize(
    ("mass", "verdict", "start"),
    [
        (245.5, "good", "Under the limit: 4.50 g below it"),
        (255.25, "bad", "Over the limit: 5.25 g above it"),
        (249.99, "close", "Too close to call: 0.010 g from the limit"),
    ],
)
def test_a_verdict_has_words_and_a_colour(mass: float, verdict: str, start: str) -> None:
    # The display has steps of 0.1 g: standard uncertainty 0.1 / sqrt(12) = 0.03 g, so two places.
    sentence = sentence_of(
        "mass-margin", {"masses": [mass], "scale_resolution": 0.1, "rule": "custom", "mass_limit": 250}
    )
    assert sentence is not None
    assert (sentence.text, sentence.verdict) == (start, verdict)
    assert sentence.details.startswith(f"{mass:.2f} g in all")


@pytest.mark.parametrize(("rating", "verdict"), [(100, "good"), (27, "close"), (20, "bad"), (None, "")])
def test_a_load_is_compared_with_the_rating_only_where_that_is_given(rating: float | None, verdict: str) -> None:
    # About 31 A from 1.3 Ah is 24 C: a quarter of 100 C, nine tenths of 27 C, more than 20 C.
    inputs = {"cells": 6, "capacity": 1300, "pack_power": 700, **({"discharge_rating": rating} if rating else {})}
    sentence = sentence_of("pack-current", inputs)
    assert sentence is not None
    assert sentence.verdict == verdict


@pytest.mark.parametrize(
    ("given", "text", "is_named"),
    [
        ({"mass_limit": 400}, "Under the limit: 100.0 g below it", True),
        ({"rule": "eu-a1-privately-built"}, "Over the limit: 50.0 g above it", True),
        ({"rule": "eu-a1-privately-built", "mass_limit": 250}, "Over the limit: 50.0 g above it", True),
        ({"rule": "eu-a1-privately-built", "mass_limit": 400}, "Over the limit: 50.0 g above it", False),
    ],
)
def test_a_limit_that_a_rule_replaces_is_not_named(given: dict[str, Any], text: str, is_named: bool) -> None:
    sentence = sentence_of("mass-margin", {"masses": [300], **given})
    assert sentence is not None
    assert sentence.text == text
    assert sentence.details.startswith("300.0 g in all, give or take 0.58 g.")
    assert ("The limit is" in sentence.details) == is_named


DRIVE: dict[str, Any] = {"cells": 4, "capacity": 1300, "kv": 2400, "diameter": 5, "pitch": 4.3}
IMPOSSIBLE_BENCH = {"bench_speed": 26600, "bench_thrust": 920, "bench_voltage": 5, "bench_current": 23}


@pytest.mark.parametrize("name", ["full-throttle", "hover-power"])
def test_a_craft_that_full_throttle_does_not_lift_cannot_hover(name: str) -> None:
    heavy = {**DRIVE, "mass": 9000, **({"discharge_rating": 100} if name == "full-throttle" else {})}
    sentence = sentence_of(name, heavy)
    assert sentence is not None
    assert (sentence.text, sentence.verdict) == ("It cannot hover: full throttle does not lift it", "bad")
    light = sentence_of(name, {**heavy, "mass": 500})
    assert light is not None
    assert "hover:" not in light.text
    assert sentence_of(name, {**heavy, **IMPOSSIBLE_BENCH}) is None


def test_other_reasons_for_no_hover_throttle_are_not_a_craft_that_cannot_hover() -> None:
    odd_pairs = sentence_of("hover-power", {**DRIVE, "mass": 500, "rotor_layout": "coaxial", "motors": 5})
    assert odd_pairs is None
    unknown_drive = sentence_of("hover-power", {"mass": 9000, "diameter": 5})
    assert unknown_drive is not None
    assert unknown_drive.text.startswith("Hovers on")
    no_mass = sentence_of("full-throttle", {**DRIVE, "discharge_rating": 100})
    assert no_mass is not None
    assert no_mass.text.startswith("Draws")


@pytest.mark.parametrize(
    ("capacity", "verdict", "start"),
    [
        (1300, "good", "Landed with"),
        (300, "bad", "Flown into the reserve"),
        (100, "bad", "More charge was recorded than the pack held"),
    ],
)
def test_the_remaining_charge_sets_the_verdict_on_a_recording(capacity: float, verdict: str, start: str) -> None:
    # 17 A for a minute are 283 mAh: 22 % of 1300 mAh, 94 % of 300 mAh, more than 100 mAh.
    log = {"time": [0, 30, 60], "voltage": [16, 15.8, 15.6], "current": [17, 17, 17]}
    sentence = sentence_of("flight-log", {"log": log, "cells": 4, "capacity": capacity})
    assert sentence is not None
    assert sentence.verdict == verdict
    assert sentence.text.startswith(start)


PROPELLERS: dict[str, Any] = {"capacity": 1300, "diameter": 5, "pitch": 4.3}


@pytest.mark.parametrize(
    ("target", "start"),
    [
        ({}, "No cap without a target"),
        ({"target_no_load_speed": 90000}, "No cap needed"),
        ({"target_cells": 6}, "No cap needed"),
        ({"target_kv": 2500}, "No cap needed"),
        ({"target_cells": 3}, "Cap the throttle"),
        ({"controller_rating": 35}, "No cap without a target"),  # not used without the whole craft
        ({"capacity": 1300, "discharge_rating": 35}, "No cap without a target"),
        ({**PROPELLERS, "target_pack_resistance": 10}, "No cap needed"),
        ({**PROPELLERS, "pack_resistance": 40, "target_cell_resistance": 2}, "No cap needed"),
    ],
)
def test_a_missing_target_is_not_a_target_that_is_met(target: dict[str, Any], start: str) -> None:
    sentence = sentence_of("throttle-cap", {"kv": 2400, "cells": 4, **target})
    assert sentence is not None
    assert sentence.text.startswith(start)


BUILD: dict[str, Any] = {
    "dry_mass": 350,
    "kv": 2400,
    "diameter": 5,
    "pitch": 4.3,
    "mean_power": 250,
    "scale_resolution": 0.1,
    "packs": [
        {"name": "light", "cells": 1, "capacity": 300, "mass": 20},
        {"name": "heavy", "cells": 4, "capacity": 1300, "mass": 155},
    ],
}


@pytest.mark.parametrize(
    ("limit", "start"),
    [
        (300, "No setup is certainly under the mass limit; heavy flies longest"),
        (400, "No setup under the mass limit has a flight time; heavy flies longest"),
        (600, "Flies longest with heavy, under the mass limit"),
    ],
)
def test_a_setup_under_the_limit_is_seen_without_a_flight_time(limit: float, start: str) -> None:
    # One cell of 300 mAh cannot give 250 W.
    sentence = sentence_of("build", {**BUILD, "mass_limit": limit})
    assert sentence is not None
    assert sentence.text.startswith(start)


def test_a_sentence_about_a_missing_result_is_left_out() -> None:
    assert sentence_of("pack-current", {"cells": 2, "capacity": 300, "pack_power": 5000}) is None
    shown = sentence_of("hover-power", {"mass": 500, "motors": 4, "diameter": 5})
    assert shown is not None
    assert "from the pack" not in shown.details  # no cells were given, so there is no current


@pytest.mark.parametrize(
    ("value", "standard", "text"),
    [
        (4868, 300, "4870"),  # tables have two digits of an uncertainty; one would be 4900
        (4868.2, 0.3, "4868.2"),  # and at most four digits
        (4500, 300, "4500"),
        (4.5, 0.03, "4.50"),
        (4.513, 0.03, "4.513"),
        (4868, 9000, "4900"),
    ],
)
def test_a_result_is_not_rounded_away_from_the_tables(value: float, standard: float, text: str) -> None:
    """By hand."""
    given = {"kv": 2400, "cells": 6, "capacity": 1050, "diameter": 5, "pitch": 4.3}
    outcome = calculate.evaluate_request(CALCULATORS["full-throttle"], given, result_units={})
    response = build_response(outcome, 0)
    response["results"]["thrust"] = value
    response["uncertainty"]["thrust"] = {"standard": standard}
    sentence = build_sentence(outcome, 0, response)
    assert sentence is not None
    assert sentence.text.startswith(f"{text} gf of thrust")


def test_decimal_commas_are_used() -> None:
    outcome = calculate.evaluate_request(
        CALCULATORS["mass-margin"], {"masses": [245.5], "rule": "custom", "mass_limit": 250.5}, result_units={}
    )
    sentence = build_sentence(outcome, 0, build_response(outcome, 0), lambda number: number.replace(".", ","))
    assert sentence is not None
    assert "250,5 g" in sentence.details
    assert sentence.details.endswith(".")


def test_a_wrong_sentence_is_reported() -> None:
    wrong: Sentence[Any, Any] = Sentence("{a:loud}", verdict="great")
    assert list(wrong.find_problems()) == [
        "verdict 'great' is none of good, close, bad",
        "{a:loud} has an unknown format",
    ]
    assert list(wrong.list_names()) == ["a"]
