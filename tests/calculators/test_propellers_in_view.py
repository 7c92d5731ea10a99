"""Tests of propellers-in-view against closed forms and OpenCV's camera models."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from charts.overlaps import find_overlaps
from gramwatt import calculate
from gramwatt.charts import draw
from gramwatt.charts.calculator_charts import compute_chart
from gramwatt.charts.chart_data import Drawing
from gramwatt.charts.themes import SHAPES, ChartStyle
from gramwatt.engine import registry
from gramwatt.engine.calculate import InvalidInput, evaluate_request
from gramwatt.engine.response import build_response
from gramwatt.engine.sentences import build_sentence

NAME = "propellers-in-view"
AHEAD: dict[str, Any] = {
    "camera_x": 0, "camera_z": -40, "camera_tilt": 0, "field_of_view": 40, "field_of_view_direction": "vertical",
    "aspect_ratio": "4-3", "lens_projection": "rectilinear", "diameter": 5, "wheelbase": 200, "layout_rotation": 45,
}  # fmt: skip
"""One propeller straight ahead, 40 mm above the lens: its furthest point is 163.5 mm ahead."""
CORNERS: dict[str, Any] = {
    "camera_x": 60, "camera_z": -15, "camera_tilt": 20, "field_of_view": 140, "field_of_view_direction": "diagonal",
    "aspect_ratio": "4-3", "diameter": 5, "wheelbase": 225,
}  # fmt: skip
"""A wide camera between the front propellers."""


def find(**inputs: Any) -> Any:
    return calculate(NAME, **inputs)["results"]


def codes(**inputs: Any) -> list[str]:
    return [caution["code"] for caution in calculate(NAME, **inputs)["cautions"]]


def say(**inputs: Any) -> tuple[str, str]:
    """Return the headline in words, and its verdict."""
    outcome = evaluate_request(registry.load()[NAME], inputs)
    sentence = build_sentence(outcome, 0, build_response(outcome, 0))
    assert sentence is not None
    return sentence.text, sentence.verdict


@pytest.mark.parametrize("tilt", [-20, 0, 5, 30])
@pytest.mark.parametrize("lens", ["rectilinear", "equidistant"])
def test_a_propeller_straight_ahead_by_hand(tilt: float, lens: str) -> None:
    """At atan(40 / 163.5) from the horizon, less the tilt and the half field of 20; turned down by that, it clears."""
    results = find(**{**AHEAD, "camera_tilt": tilt, "lens_projection": lens})
    elevation = np.rad2deg(np.arctan2(40, 163.5))
    if tilt < elevation:
        assert results["view_margin"] == pytest.approx(elevation - tilt - 20, rel=1e-6)
    else:
        assert results["view_margin"] == pytest.approx(-20, rel=1e-6), "the middle of the picture, 40 / tan 30 mm ahead"
    expected = min(elevation - tilt - 20, 0)
    assert results["clearing_tilt_change"] == pytest.approx(expected, abs=180 / 45 / 4096)


def test_each_propeller_is_named_by_its_place() -> None:
    names = [row["name"] for row in find(**CORNERS)["by_propeller"]]
    assert names == ["front right", "rear right", "rear left", "front left"], "clockwise"
    names = [row["name"] for row in find(**AHEAD)["by_propeller"]]
    assert names == ["right", "rear", "left", "front"]
    names = [row["name"] for row in find(**{**CORNERS, "motors": 8, "wheelbase": 500})["by_propeller"]]
    assert names[:3] == ["front right 1", "front right 2", "rear right 3"]
    assert len(set(names)) == 8


def test_left_and_right_differ() -> None:
    """A lens to the right of the middle is nearer to the right propellers; mirrored, to the left ones."""
    right, left = (find(**CORNERS, camera_y=y)["by_propeller"] for y in (15, -15))
    assert right[0]["view_margin"] < right[3]["view_margin"]
    for one, other in ((0, 3), (1, 2)):
        assert right[one]["view_margin"] == pytest.approx(left[other]["view_margin"], rel=1e-4)
        assert right[one]["picture_covered_share"] == pytest.approx(left[other]["picture_covered_share"], abs=0.02)


def test_the_layout_turns_clockwise() -> None:
    """Four motors turned by 90 degrees are the same again; turned a little, the front left one comes ahead."""
    assert find(**CORNERS, layout_rotation=90)["view_margin"] == pytest.approx(find(**CORNERS)["view_margin"], rel=1e-5)
    turned = find(**CORNERS, layout_rotation=20)["by_propeller"]
    assert turned[3]["view_margin"] < turned[0]["view_margin"]


def test_spacings_are_those_of_the_wheelbase() -> None:
    """A square of 225 mm across its corners has sides of 159.099 mm."""
    side = 225 / np.sqrt(2)
    spacings = {name: value for name, value in CORNERS.items() if name != "wheelbase"}
    by_spacing = find(**spacings, front_rear_spacing=side, front_motor_spacing=side)
    assert by_spacing["view_margin"] == pytest.approx(find(**CORNERS)["view_margin"], rel=1e-6)
    wide = find(**{**CORNERS, "front_motor_spacing": 190, "rear_motor_spacing": 120})
    assert wide["view_margin"] > by_spacing["view_margin"], "further apart in front"


def test_results_scale_with_the_craft() -> None:
    """Twice all lengths: the same angles and shares, twice the moves."""
    one = find(**CORNERS)
    two = find(**{**CORNERS, "camera_x": 120, "camera_z": -30, "diameter": 10, "wheelbase": 450})
    for name in ("view_margin", "picture_covered_share", "clearing_tilt_change", "horizontal_field_of_view"):
        assert two[name] == pytest.approx(one[name], rel=1e-6)
    for name in ("clearing_x_change", "clearing_z_change"):
        assert two[name] == pytest.approx(2 * one[name], rel=1e-6)


@pytest.mark.parametrize("change", ["camera_tilt", "camera_x", "camera_z"])
@pytest.mark.parametrize("lens", ["rectilinear", "equidistant"])
def test_the_changes_clear_the_picture(change: str, lens: str) -> None:
    """As given, in 12 digits; 1 % less does not."""
    inputs = {**CORNERS, "lens_projection": lens, "field_of_view": 120}
    results = find(**inputs)
    found = {"camera_tilt": "clearing_tilt_change", "camera_x": "clearing_x_change", "camera_z": "clearing_z_change"}
    by = results[found[change]]
    assert results["propellers_in_view"] == 2
    after = find(**{**inputs, change: inputs[change] + by * (1 + 1e-9)})
    assert (after["propellers_in_view"], after["view_margin"]) == (0, pytest.approx(0, abs=0.01))
    assert find(**{**inputs, change: inputs[change] + 0.99 * by})["propellers_in_view"] > 0


def test_the_headline_counts_and_measures() -> None:
    assert say(**AHEAD) == ("One propeller in the picture, by 6.253°", "bad")
    assert say(**CORNERS)[0].startswith("2 propellers in the picture, by up to ")
    assert say(**{**AHEAD, "camera_tilt": -7}) == ("No propeller in the picture, but only 0.7473° to spare", "close")
    assert say(**{**AHEAD, "camera_tilt": -10}) == ("No propeller in the picture: 3.747° to spare", "good")


def test_visibility_is_close_below_two_degrees() -> None:
    """Rule of thumb, no source. By hand: 13.747 + 8.2 - 20 = 1.95 and 13.747 + 8.3 - 20 = 2.05 degrees."""
    for tilt, expected in ((0, "in-view"), (-8.2, "close-to-edge"), (-8.3, "clear")):
        assert find(**{**AHEAD, "camera_tilt": tilt})["by_propeller"][3]["visibility"] == expected


@pytest.mark.parametrize(
    ("changes", "code", "missing"),
    [
        ({"lens_projection": "rectilinear", "field_of_view": 171}, "no-such-lens", "horizontal_field_of_view"),
        (
            {"field_of_view": 180, "field_of_view_direction": "vertical", "aspect_ratio": "21-9"},
            "no-such-lens",
            "view_margin",
        ),
        ({"front_motor_spacing": 230}, "spacing-beyond-wheelbase", "view_margin"),
        ({"motors": 6, "wheelbase": None, "front_rear_spacing": 160}, "wheelbase-needed", "view_margin"),
    ],
)
def test_without_a_picture_or_places_a_rule_says_why(changes: dict[str, Any], code: str, missing: str) -> None:
    inputs = {name: value for name, value in {**CORNERS, **changes}.items() if value is not None}
    results = find(**inputs)
    assert results[missing] is None
    assert results["by_propeller"] == []
    assert code in codes(**inputs)


def test_where_no_change_clears_a_rule_says_so() -> None:
    """A lens that sees half of everything, above eight discs all around: up, level or down some are in its picture."""
    inputs = {**CORNERS, "camera_x": 0, "camera_z": 30, "field_of_view": 180, "field_of_view_direction": "vertical",
              "aspect_ratio": "1-1", "motors": 8, "wheelbase": 300}  # fmt: skip
    results = find(**inputs)
    assert results["clearing_tilt_change"] is None
    assert "no-tilt-clears" in codes(**inputs)


def test_a_lens_within_a_disc_is_a_caution() -> None:
    inside = {**CORNERS, "camera_x": 80, "camera_y": 80, "camera_z": 4.9}
    assert "lens-in-disc" in codes(**inside)
    assert "lens-in-disc" not in codes(**{**inside, "camera_z": -5.1})
    assert "lens-in-disc" not in codes(**{**inside, "camera_x": 0, "camera_y": 0})


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"camera_tilt": 91}, "/camera_tilt"),
        ({"field_of_view": 0}, "/field_of_view"),
        ({"aspect_ratio": "16:9"}, "/aspect_ratio"),
        ({"field_of_view": "120 ± 2 deg"}, "/field_of_view"),
        ({"wheelbase": 0}, "/wheelbase"),
    ],
)
def test_invalid_inputs_are_named(changes: dict[str, Any], pointer: str) -> None:
    with pytest.raises(InvalidInput) as raised:
        find(**{**CORNERS, **changes})
    assert [error.pointer for error in raised.value.errors] == [pointer]


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"camera_x": 20, "field_of_view": 170},
        {"lens_projection": "rectilinear", "field_of_view": 160, "motors": 8},
        {"camera_x": 0, "camera_z": 0, "aspect_ratio": "21-9", "field_of_view": 30},
        {"camera_tilt": -90, "camera_z": 60, "field_of_view": 180},
    ],
)
def test_the_chart_shows_the_discs_in_the_frame(shape: str, changes: dict[str, Any]) -> None:
    """The frame is the last shape; a disc is within the window where it is in the picture."""
    inputs = {**CORNERS, **changes}
    results = find(**inputs)
    chart = compute_chart(registry.load()[NAME], inputs, text=False, result_units={})
    assert isinstance(chart.body, Drawing)
    *shapes, frame = chart.body.shapes
    width, height = np.ptp(frame.x), np.ptp(frame.y)
    assert chart.body.size == pytest.approx((1.35 * width, 1.35 * height), rel=1e-9)
    rows = {row["name"]: row for row in results["by_propeller"]}
    assert {disc.label.partition(",")[0] for disc in shapes} >= {
        name for name, row in rows.items() if row["visibility"] == "in-view"
    }
    for disc in shapes:
        row = rows[disc.label.partition(",")[0]]
        assert disc.role == {"in-view": "bad", "close-to-edge": "close", "clear": "good"}[row["visibility"]]
        within = (np.abs(disc.x) < 0.51 * width) & (np.abs(disc.y) < 0.51 * height)
        if row["visibility"] == "in-view" and row["picture_covered_share"] < 60 and inputs["camera_z"]:
            assert within.any()
        if row["view_margin"] > 5:
            assert not within.any()
    assert find_overlaps(chart, ChartStyle(shape=shape)) == []
    assert draw.as_svg(chart, ChartStyle(shape=shape))
