"""Currents beside ratings: hand sums of each link, the weakest of them, what is needed, and each verdict."""

import itertools
from typing import Any, Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gramwatt import calculate

CHAIN: Final[dict[str, Any]] = {
    "mean_current": 14,
    "peak_current": 52,
    "capacity": 850,
    "discharge_rating": 100,
    "wire_rating": 50,
    "connector_rating": 40,
    "controller_rating": 35,
    "motor_rating": 26,
}


def results(**inputs: Any) -> dict[str, Any]:
    found: dict[str, Any] = calculate("current-ratings", **inputs)["results"]
    return found


def codes(**inputs: Any) -> set[str]:
    return {caution["code"] for caution in calculate("current-ratings", **inputs)["cautions"]}


def test_each_link_by_hand() -> None:
    """By hand: 100 C x 0.5 x 0.85 Ah = 42.5 A, of which 14 A are 32.94 % and 52 A 122.35 %; 28 and 104 % of 50 A; 35
    and 130 % of 40 A; a motor has 14 / (4 x 0.5) = 7 A and 52 / 4 = 13 A, 20 and 37.14 % of 35 A, 26.92 and 50 %
    of 26 A.
    """
    rows = results(**CHAIN)["by_link"]
    assert [row["name"] for row in rows] == ["pack", "wire", "connector", "each controller", "each motor"]
    assert [row["limit_origin"] for row in rows] == ["label", "maker", "maker", "maker", "maker"]
    expected = {
        "continuous_current_limit": [42.5, 50, 40, 35, 26],
        "mean_link_current": [14, 14, 14, 7, 7],
        "peak_link_current": [52, 52, 52, 13, 13],
        "mean_limit_share": [32.941176, 28, 35, 20, 26.923077],
        "peak_limit_share": [122.352941, 104, 130, 37.142857, 50],
    }
    for name, values in expected.items():
        assert [row[name] for row in rows] == pytest.approx(values, rel=1e-6)
    verdicts = [row["rating_verdict"] for row in rows]
    assert verdicts == ["short-peaks-only", "short-peaks-only", "short-peaks-only", "within", "within"]


def test_throttle_cap_and_average_throttle_raise_the_current_of_a_motor() -> None:
    """By hand, an ideal converter: 52 / (6 x 0.8) = 10.8333 A and 14 / (6 x 0.4) = 5.8333 A."""
    rows = results(**CHAIN, motors=6, throttle_cap=80, mean_throttle=40)["by_link"]
    assert rows[3]["peak_link_current"] == pytest.approx(52 / 4.8, rel=1e-11)
    assert rows[4]["mean_link_current"] == pytest.approx(14 / 2.4, rel=1e-11)
    assert rows[0]["peak_link_current"] == 52


def test_what_is_needed_of_the_pack() -> None:
    """By hand: 14 / 0.85 = 16.4706 C, 52 / 0.85 = 61.1765 C; derated to 40 % 2.5 times as much."""
    found = results(mean_current=14, peak_current=52, capacity=850, connector_rating=60, discharge_derating_factor=40)
    assert found["mean_discharge_rating_needed"] == pytest.approx(41.17647, rel=1e-6)
    assert found["peak_discharge_rating_needed"] == pytest.approx(152.94118, rel=1e-6)
    whole = results(mean_current=14, peak_current=52, capacity=850, connector_rating=60, discharge_derating_factor=100)
    assert whole["mean_discharge_rating_needed"] == pytest.approx(16.47059, rel=1e-6)
    enough = whole["peak_discharge_rating_needed"]
    chosen = {"capacity": 850, "discharge_derating_factor": 100, "discharge_rating": enough}
    exactly = results(mean_current=14, peak_current=52, **chosen)
    assert exactly["highest_limit_share"] == pytest.approx(100, rel=1e-10)


@pytest.mark.parametrize("current", [3, 14, 33, 60])
def test_the_gauge_that_is_needed_carries_the_current(current: float) -> None:
    """Round trip with the limit of the wire, and with the temperature by wire-drop: the next gauge is too hot."""
    gauge = results(mean_current=current, connector_rating=100)["mean_wire_gauge_needed"]
    limits = [results(mean_current=current, wire_gauge=each)["wire_current_limit"] for each in (gauge, gauge + 1)]
    assert limits[0] >= current > limits[1]
    drops = [
        calculate("wire-drop", mean_current=current, wire_gauge=each, wire_length=100)["results"]
        for each in (gauge, gauge + 1)
    ]
    assert drops[0]["wire_temperature"] <= 100 < drops[1]["wire_temperature"]
    assert [each["wire_current_limit"] for each in drops] == pytest.approx(limits, rel=1e-11)


def test_the_gauges_have_ends() -> None:
    """By hand, d ~ I^(2/3): 10 mA need less than AWG 40 has, and no gauge carries 2000 A."""
    small = results(mean_current=0.01, connector_rating=1)
    assert small["mean_wire_gauge_needed"] == 40
    large = calculate("current-ratings", mean_current=2000, connector_rating=5000)
    assert large["results"]["mean_wire_gauge_needed"] is None
    assert "beyond-thickest-gauge" in {caution["code"] for caution in large["cautions"]}
    assert "beyond-thickest-gauge" not in codes(mean_current=20, connector_rating=60)
    assert "beyond-thickest-gauge" in codes(mean_current=20, peak_current=2000, connector_rating=60)


@pytest.mark.parametrize(
    ("change", "verdict"),
    [
        pytest.param({}, "within", id="peak-below-the-limit"),
        pytest.param({"peak_current": 60}, "within", id="peak-at-the-limit"),
        pytest.param({"peak_current": 60.1}, "short-peaks-only", id="peak-above-it"),
        pytest.param({"peak_current": 90}, "short-peaks-only", id="one-and-a-half-times-the-limit"),
        pytest.param({"peak_current": 90.1}, "over", id="more-than-that"),
        pytest.param({"peak_current": 90.1, "burst_factor": 2}, "short-peaks-only", id="a-maker-s-burst-rating"),
        pytest.param({"peak_current": 61, "peak_duration": 10}, "short-peaks-only", id="ten-seconds-are-short"),
        pytest.param({"peak_current": 61, "peak_duration": 11}, "over", id="eleven-are-long"),
        pytest.param({"peak_current": 59, "peak_duration": 11}, "within", id="a-long-peak-below-the-limit"),
        pytest.param({"mean_current": 60.1, "peak_current": 60.1}, "over", id="average-above-the-limit"),
    ],
)
def test_verdicts(change: dict[str, Any], verdict: str) -> None:
    """By definition, of a connector for 60 A."""
    chosen: dict[str, Any] = {"mean_current": 20, "peak_current": 50, "connector_rating": 60} | change
    found = results(**chosen)
    assert found["rating_verdict"] == verdict
    assert found["by_link"][0]["rating_verdict"] == verdict
    expected = {"within": set(), "short-peaks-only": {"short-peaks-only"}}.get(
        verdict, {"over-on-average"} if chosen["mean_current"] > 60 else {"over-at-peak"}
    )
    assert codes(**chosen) & {"short-peaks-only", "over-on-average", "over-at-peak"} == expected


@given(st.permutations([30.0, 45.0, 60.0, 75.0]), st.floats(1, 200))
def test_the_weakest_link_is_the_one_with_the_largest_share(limits: list[float], current: float) -> None:
    """One motor at full throttle has the whole current, so the lowest limit decides. Shares scale with currents."""
    names = ("wire_rating", "connector_rating", "controller_rating", "motor_rating")
    ratings: dict[str, Any] = dict(zip(names, limits, strict=True))
    found = results(mean_current=current, motors=1, mean_throttle=100, **ratings)
    weakest = ("wire", "connector", "controllers", "motors")[limits.index(30)]
    assert found["weakest_link"] == weakest
    assert found["highest_limit_share"] == pytest.approx(100 * current / 30, rel=1e-10)
    double = results(mean_current=2 * current, motors=1, mean_throttle=100, **ratings)
    assert double["highest_limit_share"] == pytest.approx(2 * found["highest_limit_share"], rel=1e-10)


def test_links_without_a_rating_are_left_out() -> None:
    found = results(mean_current=20, controller_rating=30)
    assert [row["name"] for row in found["by_link"]] == ["each controller"]
    assert found["by_link"][0]["peak_limit_share"] is None
    assert "links-without-rating" in codes(mean_current=20, controller_rating=30)
    assert "links-without-rating" not in codes(**CHAIN)
    for lacking in ("capacity", "discharge_rating", "wire_rating", "connector_rating", "controller_rating"):
        assert "links-without-rating" in codes(**{name: each for name, each in CHAIN.items() if name != lacking})


def test_a_c_rating_without_a_capacity_is_no_limit() -> None:
    response = calculate("current-ratings", mean_current=20, discharge_rating=100)
    assert response["results"]["weakest_link"] is None
    assert response["results"]["by_link"] == []
    assert "no-rated-link" in {caution["code"] for caution in response["cautions"]}


def test_a_wire_is_rated_by_its_maker_or_by_its_heat() -> None:
    """The maker's rating takes precedence over the gauge, and the estimate is named one."""
    by_heat = results(mean_current=20, wire_gauge=14)["by_link"][0]
    assert by_heat["limit_origin"] == "heat-balance"
    assert by_heat["continuous_current_limit"] == results(mean_current=20, wire_gauge=14)["wire_current_limit"]
    rated = results(mean_current=20, wire_gauge=14, wire_rating=60)["by_link"][0]
    assert (rated["limit_origin"], rated["continuous_current_limit"]) == ("maker", 60)
    assert "wire-limit-estimated" in codes(mean_current=20, wire_gauge=14)
    assert "wire-limit-estimated" in codes(mean_current=20, wire_area=2)
    assert "wire-limit-estimated" not in codes(mean_current=20, wire_gauge=14, wire_rating=60)
    assert "no-wire" in codes(mean_current=20, wire_rating=60)


def test_the_derating_is_uncertain() -> None:
    """By hand: 50 ± 15 % of 100 C x 0.85 Ah is 42.5 ± 12.75 A, cut at 0 and 100 %."""
    response = calculate("current-ratings", mean_current=14, capacity=850, discharge_rating=100)
    uncertainty = response["uncertainty"]["pack_current_limit"]
    assert uncertainty["standard"] == pytest.approx(12.75, rel=0.01)
    assert "discharge-rating-derated" in {caution["code"] for caution in response["cautions"]}
    assert "discharge-rating-derated" not in codes(mean_current=14, connector_rating=60)
    stated = calculate(
        "current-ratings", mean_current=14, capacity=850, discharge_rating=100, discharge_derating_factor=50
    )
    assert stated["uncertainty"]["pack_current_limit"]["standard"] == 0


def test_an_assumed_throttle_is_named_where_it_matters() -> None:
    assert "mean-throttle-assumed" in codes(mean_current=14, controller_rating=35)
    assert "mean-throttle-assumed" in codes(mean_current=14, motor_rating=35)
    assert "mean-throttle-assumed" not in codes(mean_current=14, connector_rating=35)
    assert "mean-throttle-assumed" not in codes(mean_current=14, controller_rating=35, mean_throttle=45)


def test_a_craft_document_gives_pack_controllers_and_motors() -> None:
    packs = [
        {"name": "a", "mass": 95, "cells": 4, "capacity": 850, "discharge_rating": 100},
        {"name": "b", "mass": 150, "cells": 4, "capacity": 1300, "discharge_rating": 75},
    ]
    craft = {"packs": packs, "controller_rating": 35, "motors": 4, "throttle_cap": 70}
    limits = [
        calculate("current-ratings", craft=craft, pack=pack, mean_current=14, peak_current=52)["results"]["by_link"]
        for pack in ("a", "b")
    ]
    assert [rows[0]["continuous_current_limit"] for rows in limits] == pytest.approx([42.5, 48.75], rel=1e-11)
    assert limits[0][1]["peak_link_current"] == pytest.approx(52 / 2.8, rel=1e-11)


def test_more_current_is_never_easier() -> None:
    """Monotonic: in shares, in what is needed, and in verdicts."""
    ranks = ("within", "short-peaks-only", "over")
    found = [results(**{**CHAIN, "peak_current": peak}) for peak in (20, 30, 41, 50, 65, 90)]
    for less, more in itertools.pairwise(found):
        assert more["highest_limit_share"] > less["highest_limit_share"]
        assert more["peak_wire_gauge_needed"] <= less["peak_wire_gauge_needed"]
        assert more["peak_discharge_rating_needed"] > less["peak_discharge_rating_needed"]
        assert ranks.index(more["rating_verdict"]) >= ranks.index(less["rating_verdict"])
    assert {each["rating_verdict"] for each in found} == set(ranks)
