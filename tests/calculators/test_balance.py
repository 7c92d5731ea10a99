"""Balance: moments by hand, equilibrium solved as linear equations, and what moving the pack does."""

from typing import Any, Final

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gramwatt import InvalidInput, calculate
from gramwatt.engine import registry
from gramwatt.engine.calculate import evaluate_request
from gramwatt.engine.response import build_response
from gramwatt.engine.sentences import build_sentence
from gramwatt.model import Dimension, DrawingChart, Outline
from gramwatt.physics import balance, motor_layout

CRAFT: Final[dict[str, Any]] = {
    "parts": [
        {"name": "frame", "mass": 120, "x": 2, "y": 1, "z": -6},
        {"name": "motor", "mass": 32, "count": 4, "x": 0, "y": 0, "z": -12},
        {"name": "camera", "mass": 24, "x": 70, "y": -3, "z": 4},
    ],
    "pack_mass": 190,
    "pack_x": -12,
    "pack_y": 2,
    "pack_z": 20,
    "propeller_mass": 4.5,
    "front_rear_spacing": 150,
    "front_motor_spacing": 190,
    "rear_motor_spacing": 130,
}


def results(**inputs: Any) -> dict[str, Any]:
    found: dict[str, Any] = calculate("balance", **inputs)["results"]
    return found


def codes(**inputs: Any) -> set[str]:
    return {caution["code"] for caution in calculate("balance", **inputs)["cautions"]}


def test_moments_by_hand() -> None:
    """By hand: 120 + 128 + 24 + 190 + 18 = 480 g.

    Forward 240 + 0 + 1680 - 2280 = -360 g mm, right 120 - 72 + 380 = 428, up -720 - 1536 + 96 + 3800 = 1640.
    """
    found = results(**CRAFT)
    assert found["total_mass"] == pytest.approx(480, rel=1e-11)
    assert found["centre_of_mass_x"] == pytest.approx(-360 / 480, rel=1e-11)
    assert found["centre_of_mass_y"] == pytest.approx(428 / 480, rel=1e-11)
    assert found["centre_of_mass_z"] == pytest.approx(1640 / 480, rel=1e-11)
    assert found["centre_of_mass_offset"] == pytest.approx((360**2 + 428**2) ** 0.5 / 480, rel=1e-11)
    assert [row["x_shift"] for row in found["by_part"]] == pytest.approx([0.5, 0, 3.5, -4.75], rel=1e-11)
    assert [row["name"] for row in found["by_part"]] == ["frame", "motor", "camera", "pack"]


def test_the_law_of_moments() -> None:
    """Published (as remembered): the law of moments, Archimedes, On the Equilibrium of Planes, book I.

    400 g a quarter of the way from front to rear motors: the front ones carry three quarters, each of them 150 gf.
    """
    found = results(parts=[{"mass": 400, "x": 40}], front_rear_spacing=160)
    assert (found["front_load_share"], found["rear_load_share"]) == pytest.approx((75, 25), rel=1e-11)
    assert found["highest_motor_thrust"] == pytest.approx(150, rel=1e-11)
    assert found["thrust_excess_share"] == pytest.approx(50, rel=1e-11)
    # By hand: sqrt(1.5) - 1.
    assert found["throttle_excess_share"] == pytest.approx(22.4744871392, rel=1e-11)


@pytest.mark.parametrize(
    ("inputs", "spacings"),
    [
        # By hand: 220 / sqrt 2, the side of a square of that diagonal.
        pytest.param({"wheelbase": 220}, (155.563491861, 155.563491861, 155.563491861), id="square"),
        # By hand: 3-4-5 triangle: the diagonal 250 over 150 sideways leaves 200.
        pytest.param({"wheelbase": 250, "front_motor_spacing": 150}, (200, 150, 150), id="rectangle"),
        # By hand: (180 + 120) / 2 = 150 sideways between opposite motors.
        pytest.param(
            {"wheelbase": 250, "front_motor_spacing": 180, "rear_motor_spacing": 120}, (200, 180, 120), id="trapezoid"
        ),
        pytest.param({"front_rear_spacing": 160}, (160, 160, 160), id="length-alone-is-a-square"),
    ],
)
def test_spacings_that_follow(inputs: dict[str, Any], spacings: tuple[float, ...]) -> None:
    used = calculate("balance", parts=[{"mass": 1}], **inputs)["inputs"]
    names = ("front_rear_spacing", "front_motor_spacing", "rear_motor_spacing")
    assert [used[name] for name in names] == pytest.approx(spacings, rel=1e-11)


def solve(x: Any, y: Any, centre: tuple[float, float], spins: Any = None) -> Any:
    """Return the thrust of each motor over an even one: the equations of equilibrium, solved by numpy."""
    equations = [np.ones_like(x), x, y, *([] if spins is None else [spins])]
    sums = [1, *centre, *([] if spins is None else [0])]
    return np.linalg.lstsq(np.array(equations), np.array(sums, dtype=float), rcond=None)[0] * len(x)


@given(st.floats(60, 300), st.floats(60, 300), st.floats(60, 300), st.floats(-20, 20), st.floats(-20, 20))
def test_four_motors_against_linear_equations(length: float, front: float, rear: float, x: float, y: float) -> None:
    """Golden: numpy.linalg.lstsq with force, two moments and no torque left over, diagonal motors turning alike."""
    columns = [np.array([each]) for each in (4.0, np.nan, length, front, rear)]
    at_x, at_y = (each[0, :4] for each in motor_layout.motor_places(*columns))
    ratios = balance.load_ratios(
        columns[0], columns[1], columns[2], columns[3] + columns[4], np.array([x]), np.array([y])
    )[0, :4]
    assert ratios == pytest.approx(solve(at_x, at_y, (x, y), np.array([1, -1, 1, -1])), rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("motors", [3, 5, 6, 8, 12])
def test_more_motors_against_linear_equations(motors: int) -> None:
    """Golden: the solution of smallest norm by numpy.linalg.lstsq, without a torque left over where pairs allow it."""
    columns = [np.array([each]) for each in (float(motors), 550.0, np.nan, np.nan, np.nan)]
    at_x, at_y = (each[0, :motors] for each in motor_layout.motor_places(*columns))
    ratios = balance.load_ratios(columns[0], columns[1], columns[2], columns[3], np.array([11.0]), np.array([-7.0]))[0]
    assert ratios[:motors] == pytest.approx(solve(at_x, at_y, (11, -7)), rel=1e-9)
    assert np.isnan(ratios[motors:]).all()
    if motors % 2 == 0:
        assert ratios[:motors] @ np.resize([1, -1], motors) == pytest.approx(0, abs=1e-9)


def test_four_motors_on_a_circle_are_a_square() -> None:
    """A limit case: the formula of the circle holds for four motors too."""
    found = results(parts=[{"mass": 300, "x": 6, "y": -4}], wheelbase=250)
    # By hand: cos 45 deg = sqrt(1/2): 1 + 4 (6 + 4) sqrt(1/2) / 250.
    assert found["thrust_excess_share"] == pytest.approx(100 * 4 * 10 * 0.5**0.5 / 250, rel=1e-11)


def test_the_pack_at_its_balancing_place_balances() -> None:
    """A round trip: with the pack there, both centres are at zero and every motor carries the same."""
    found = results(**CRAFT)
    moved = results(**{**CRAFT, "pack_x": found["balancing_pack_x"], "pack_y": found["balancing_pack_y"]})
    assert moved["centre_of_mass_offset"] == pytest.approx(0, abs=1e-9)
    assert moved["front_load_share"] == pytest.approx(50, rel=1e-9)
    assert moved["thrust_excess_share"] == pytest.approx(0, abs=1e-7)


@given(st.floats(-60, 60))
def test_a_trial_move_is_another_place(move: float) -> None:
    """The results with the pack moved are those of a craft whose pack is there; the shift is in proportion."""
    found = results(**CRAFT, pack_move=move)
    there = results(**{**CRAFT, "pack_x": CRAFT["pack_x"] + move})
    assert found["moved_centre_of_mass_x"] == pytest.approx(there["centre_of_mass_x"], rel=1e-9, abs=1e-9)
    assert found["moved_front_load_share"] == pytest.approx(there["front_load_share"], rel=1e-9)
    shift = found["moved_centre_of_mass_x"] - found["centre_of_mass_x"]
    assert shift == pytest.approx(move * 190 / 480, rel=1e-6, abs=1e-9)


@given(st.floats(0.1, 10))
def test_scaling(factor: float) -> None:
    """All masses times a factor change no place; all places and spacings times a factor change no share."""
    heavy = {**CRAFT, "parts": [{**part, "mass": part["mass"] * factor} for part in CRAFT["parts"]]}
    heavy |= {name: CRAFT[name] * factor for name in ("pack_mass", "propeller_mass")}
    places = ("x", "y", "z")
    large = {**CRAFT, "parts": [{n: v * factor if n in places else v for n, v in p.items()} for p in CRAFT["parts"]]}
    large |= {n: v * factor for n, v in CRAFT.items() if n.endswith("spacing") or n in ("pack_x", "pack_y", "pack_z")}
    found = results(**CRAFT)
    assert results(**heavy)["centre_of_mass_offset"] == pytest.approx(found["centre_of_mass_offset"], rel=1e-9)
    assert results(**heavy)["highest_motor_thrust"] == pytest.approx(found["highest_motor_thrust"] * factor, rel=1e-9)
    for name in ("front_load_share", "right_load_share", "thrust_excess_share"):
        assert results(**large)[name] == pytest.approx(found[name], rel=1e-9)


def test_mirrored_craft() -> None:
    """A symmetry: with left and right exchanged, so are the loads."""
    mirrored = {**CRAFT, "parts": [{**part, "y": -part["y"]} for part in CRAFT["parts"]], "pack_y": -CRAFT["pack_y"]}
    found, other = results(**CRAFT), results(**mirrored)
    assert other["right_load_share"] == pytest.approx(found["left_load_share"], rel=1e-9)
    assert other["front_load_share"] == found["front_load_share"]


def test_more_weight_ahead_loads_the_front() -> None:
    shares = [results(**{**CRAFT, "pack_x": x})["front_load_share"] for x in (-20, -10, 0, 10, 20)]
    assert shares == sorted(shares)
    assert len(set(shares)) == 5


def test_propellers_sit_at_the_centre() -> None:
    """By hand: 4 x 25 g at the centre make 300 g of 200 g and the offset two thirds of it."""
    bare = {"parts": [{"mass": 200, "x": 9, "z": -6}], "wheelbase": 200}
    with_propellers = results(**bare, propeller_mass=25)
    assert with_propellers["centre_of_mass_x"] == pytest.approx(9 * 2 / 3, rel=1e-11)
    assert with_propellers["centre_of_mass_z"] == pytest.approx(-6 * 2 / 3, rel=1e-11)


def test_an_uncertain_place_of_the_pack() -> None:
    """By hand: 8 mm of standard uncertainty times 190 g / 480 g."""
    answer = calculate("balance", **{**CRAFT, "pack_x": "-12 ± 8 mm"})
    standard = answer["uncertainty"]["centre_of_mass_x"]["standard"]
    assert standard == pytest.approx(8 * 190 / 480, rel=0.01)


@pytest.mark.parametrize(
    ("inputs", "headline", "verdict"),
    [
        pytest.param({"x": 3.99}, "In balance", "good", id="just-below-five-per-cent"),
        pytest.param({"x": 4.01}, "Nose-heavy", "close", id="a-little-ahead"),
        pytest.param({"x": -12.01}, "Tail-heavy", "bad", id="far-behind"),
        pytest.param({"x": 1, "y": 5}, "Heavy on the right", "close", id="right"),
        pytest.param({"x": 1, "y": -13}, "Heavy on the left", "bad", id="left"),
        pytest.param({"x": 90}, "It cannot hover", "bad", id="outside"),
        pytest.param({}, "Everything counts as at the centre", "", id="no-places"),
    ],
)
def test_the_headline(inputs: dict[str, float], headline: str, verdict: str) -> None:
    """By hand: in a square of 160 mm the extra thrust is x / 80 mm + y / 80 mm: 5 % at 4 mm, 15 % at 12 mm."""
    request = {"parts": [{"mass": 100, **inputs}], "front_rear_spacing": 160}
    outcome = evaluate_request(registry.get("balance"), request)
    sentence = build_sentence(outcome, 0, build_response(outcome, 0))
    assert sentence is not None
    assert sentence.text.startswith(headline)
    assert sentence.verdict == verdict


def draw(**inputs: Any) -> tuple[Outline | Dimension, ...]:
    outcome = evaluate_request(registry.get("balance"), inputs)
    drawing = registry.get("balance").charts[0]
    assert isinstance(drawing, DrawingChart)
    return drawing.trace(outcome.inputs, outcome.results)


def test_the_plan_shows_what_is_where() -> None:
    """By hand: right is across, ahead is up; the motor with most thrust is named with 2 x 5/160 + 4 x 1/320 = 7.5 %."""
    parts = [{"name": "body", "mass": 300, "x": 10, "y": -2}, {"name": "motors", "mass": 0, "x": 9}]
    layout = {"front_rear_spacing": 160, "front_motor_spacing": 200, "rear_motor_spacing": 120}
    shapes = draw(parts=parts, pack_mass=100, pack_x=-10, pack_y=2, **layout)
    named = {shape.name: shape for shape in shapes if isinstance(shape, Outline) and shape.name}
    assert {"+7.5 %", "+5.0 %", "−5.0 %", "−7.5 %"} <= set(named)
    assert (named["+7.5 %"].role, named["−7.5 %"].role) == ("close", "good")
    places = {"centre of mass": (-1, 5), "body": (-2, 10), "pack": (2, -10), "pack in balance": (6, -30)}
    for name, place in places.items():
        dot = named[name]
        assert (1000 * dot.x[0], 1000 * dot.y[0]) == pytest.approx(place, rel=1e-9)
    assert "motors" not in named, "a part that shifts nothing is not drawn"
    size = shapes[-1]
    assert isinstance(size, Dimension)
    assert 1000 * (size.end[1] - size.start[1]) == pytest.approx(160, rel=1e-9)


def test_no_plan_without_a_layout() -> None:
    assert draw(parts=[{"mass": 100, "x": 3}], motors=6, front_rear_spacing=160) == ()
    assert "pack" not in {shape.name for shape in draw(parts=[{"mass": 100, "x": 3}], wheelbase=200)}


CAUTIONS: Final[dict[str, tuple[dict[str, Any], dict[str, Any]]]] = {
    # code: inputs that bring it, inputs that do not
    "uneven-load": (
        {"parts": [{"mass": 1, "x": 12.1}], "front_rear_spacing": 160},
        {"parts": [{"mass": 1, "x": 12}], "front_rear_spacing": 160},
    ),
    # By hand: 300 g at 30 mm against a pack of 100 g: at -90 mm, beyond 80 mm; of 120 g: at -75 mm.
    "pack-cannot-balance": (
        {"parts": [{"mass": 300, "x": 30}], "pack_mass": 100, "front_rear_spacing": 160},
        {"parts": [{"mass": 300, "x": 30}], "pack_mass": 120, "front_rear_spacing": 160},
    ),
    "place-assumed": (
        {"parts": [{"mass": 1}, {"mass": 1, "x": 1}], "wheelbase": 200},
        {"parts": [{"mass": 1, "x": 0}], "wheelbase": 200},
    ),
    "pack-place-assumed": (
        {"parts": [{"mass": 1}], "pack_mass": 1, "wheelbase": 200},
        {"parts": [{"mass": 1}], "wheelbase": 200},
    ),
    "pack-mass-needed": (
        {"parts": [{"mass": 1}], "pack_x": 5, "wheelbase": 200},
        {"parts": [{"mass": 1}], "pack_x": 5, "pack_mass": 1, "wheelbase": 200},
    ),
}


@pytest.mark.parametrize("code", CAUTIONS)
def test_caution_is_shown_when_it_holds_and_not_otherwise(code: str) -> None:
    shown, absent = CAUTIONS[code]
    assert code in codes(**shown)
    assert code not in codes(**absent)


@pytest.mark.parametrize(
    ("inputs", "code", "missing"),
    [
        pytest.param(
            {"parts": [{"mass": 0}], "wheelbase": 200}, "nothing-weighed", "centre_of_mass_offset", id="no-mass"
        ),
        pytest.param({"motors": 2, "wheelbase": 200}, "too-few-motors", "front_load_share", id="two-motors"),
        pytest.param(
            {"motors": 6, "front_rear_spacing": 200}, "wheelbase-needed", "thrust_excess_share", id="six-by-spacing"
        ),
        pytest.param(
            {"wheelbase": 200, "front_motor_spacing": 200}, "spacing-beyond-wheelbase", "left_load_share", id="too-wide"
        ),
        pytest.param(
            {"parts": [{"mass": 1, "x": 81}], "front_rear_spacing": 160},
            "outside-motors",
            "highest_motor_thrust",
            id="in-front-of-the-motors",
        ),
        pytest.param(
            {"pack_mass": 100, "pack_move": 200, "front_rear_spacing": 160},
            "moved-outside-motors",
            "moved_front_load_share",
            id="pack-moved-too-far",
        ),
    ],
)
def test_what_has_no_answer_says_why(inputs: dict[str, Any], code: str, missing: str) -> None:
    answer = calculate("balance", **{"parts": [{"mass": 100}], **inputs})
    assert answer["results"][missing] is None
    reasons = [caution["code"] for caution in answer["cautions"] if missing in caution.get("results", ())]
    assert reasons == [code]


@pytest.mark.parametrize(
    ("inputs", "pointer"),
    [
        pytest.param({"wheelbase": 200}, "/parts", id="no-parts"),
        pytest.param({"parts": [{"mass": 1}]}, "/wheelbase", id="no-spacing"),
        pytest.param({"parts": [{"mass": 1, "x": 3000}], "wheelbase": 200}, "/parts/0/x", id="far-out"),
        pytest.param({"parts": [{"mass": 1, "forward": 3}], "wheelbase": 200}, "/parts/0/forward", id="unknown-column"),
    ],
)
def test_bad_input_names_the_field(inputs: dict[str, Any], pointer: str) -> None:
    with pytest.raises(InvalidInput) as raised:
        calculate("balance", **inputs)
    assert pointer in [error.pointer for error in raised.value.errors]


def test_a_craft_document_with_places_serves_other_calculators() -> None:
    """Others ignore the places; this one takes pack and propellers of the chosen rows."""
    craft = {
        "parts": CRAFT["parts"],
        "packs": [{"name": "large", "mass": 190, "cells": 6, "capacity": 1100}],
        "propellers": [{"diameter": 5, "pitch": 4.3, "mass": 4.5}],
        "front_rear_spacing": 150,
        "front_motor_spacing": 190,
        "rear_motor_spacing": 130,
        "pack_x": -12,
        "pack_y": 2,
        "pack_z": 20,
    }
    assert results(craft=craft) == results(**CRAFT)
    assert calculate("mass-margin", craft=craft)["results"]["total_mass"] == pytest.approx(480, rel=1e-11)
