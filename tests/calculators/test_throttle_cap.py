"""The throttle cap: hand sums, trade practice, which target sets it, and every conditional caution."""

import math
from typing import Any, Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calculators.throttle_cases import CRAFT, codes, results
from gramwatt import calculate
from gramwatt.engine import registry

MOTOR: Final[dict[str, Any]] = {"kv": 2400, "cells": 6}
SMALL: Final[dict[str, Any]] = {name: value for name, value in CRAFT.items() if name != "no_load_current"}
ASSUMED: Final[dict[str, Any]] = {name: value for name, value in CRAFT.items() if name != "motor_resistance"}


def test_a_motor_for_four_cells_on_six() -> None:
    """By hand: 4/6 = 2/3; (2/3)^1.1 = 0.640176; its power of 1.5 0.512212; 2400 x 6 x 3.7 = 53280 rpm, capped 35520."""
    found = results(**MOTOR, target_cells=4)
    assert (found.pop("no_load_tip_mach"), found.pop("cap_set_by")) == (None, "kv-and-cells")
    assert found == pytest.approx(
        {
            "throttle_cap": 200 / 3,
            "matching_throttle_cap": 200 / 3,
            "effective_kv": 1600,
            "no_load_speed": 35520,
            "uncapped_no_load_speed": 53280,
            "thrust_share": 100 * (2 / 3) ** 1.1,
            "power_share": 100 * (2 / 3) ** 1.65,
        },
        rel=1e-11,
    )


def test_trade_practice() -> None:
    """Common practice, no source: about 66 % for a motor for 4 cells on 6; "about" is taken as one point."""
    assert results(**MOTOR, target_cells=4)["throttle_cap"] == pytest.approx(66, abs=1, rel=0)


@pytest.mark.parametrize(
    ("inputs", "cap", "cap_set_by"),
    [
        # By hand: 1900 / 2400.
        pytest.param({"target_kv": 1900}, 1900 / 24, "kv-and-cells", id="another-kv"),
        # By hand: 26640 / 53280.
        pytest.param({"target_no_load_speed": 26640}, 50, "no-load-speed", id="a-speed"),
        # By hand: 0.7 x 340.29399 m/s / (pi x 0.127 m) x 60 = 35822.012 rpm of 53280.
        pytest.param({"target_no_load_tip_mach": 0.7, "diameter": 5}, 67.2335057, "no-load-tip-mach", id="a-tip-mach"),
        # By hand: 3.5 / 3.7: the same cells at a voltage under load.
        pytest.param({"target_cell_voltage": 3.5}, 350 / 3.7, "kv-and-cells", id="another-voltage"),
        # By hand: 26640 rpm is 50 %, 4 cells are 66.7 %, Mach 0.7 is 67.2 %.
        pytest.param(
            {"target_cells": 4, "target_no_load_speed": 26640, "target_no_load_tip_mach": 0.7, "diameter": 5},
            50,
            "no-load-speed",
            id="lowest-of-three-is-the-speed",
        ),
        pytest.param(
            {"target_cells": 4, "target_no_load_speed": 40000, "target_no_load_tip_mach": 0.7, "diameter": 5},
            200 / 3,
            "kv-and-cells",
            id="lowest-of-three-is-the-cells",
        ),
        pytest.param(
            {"target_cells": 5, "target_no_load_speed": 40000, "target_no_load_tip_mach": 0.7, "diameter": 5},
            67.2335057,
            "no-load-tip-mach",
            id="lowest-of-three-is-the-tip-mach",
        ),
        pytest.param({"target_cells": 8}, 100, "full-throttle", id="a-target-above-full-throttle-caps-nothing"),
        pytest.param({}, 100, "full-throttle", id="no-target"),
    ],
)
def test_lowest_target_sets_the_cap(inputs: dict[str, Any], cap: float, cap_set_by: str) -> None:
    found = results(**MOTOR, **inputs)
    assert found["throttle_cap"] == pytest.approx(cap, rel=1e-8)
    assert found["cap_set_by"] == cap_set_by


def test_cell_voltage_cancels_where_both_packs_have_the_same() -> None:
    """By hand: V appears above and below."""
    caps = {results(**MOTOR, target_cells=4, cell_voltage=v)["throttle_cap"] for v in (3.3, 3.7, 4.2)}
    assert len(caps) == 1


def test_nominal_voltage_by_chemistry_is_assumed() -> None:
    """Common practice, no source: li-ion 3.6 V: 2400 x 6 x 3.6 = 51840 rpm, by hand."""
    answer = calculate("throttle-cap", **MOTOR, chemistry="li-ion", target_cells=4)
    assert answer["results"]["uncapped_no_load_speed"] == pytest.approx(51840, rel=1e-11)
    assert {"cell_voltage", "target_cell_voltage", "target_kv"} <= set(answer["assumed"])
    assert answer["inputs"]["target_cell_voltage"] == 3.6


@given(st.integers(1, 24), st.integers(1, 24), st.floats(100.0, 1e4), st.floats(100.0, 1e4))
def test_a_capped_motor_turns_as_its_target(cells: int, target_cells: int, kv: float, target_kv: float) -> None:
    """Round trip: effective_kv on this pack is target_kv on the other, unless full throttle is not enough."""
    found = results(kv=kv, cells=cells, target_kv=target_kv, target_cells=target_cells)
    wanted = target_kv * target_cells
    assert found["effective_kv"] * cells == pytest.approx(min(wanted, kv * cells), rel=1e-10)
    assert 0 < found["throttle_cap"] <= 100


@given(st.floats(100.0, 5e4), st.floats(1.01, 3.0))
def test_a_lower_target_never_raises_the_cap(speed: float, factor: float) -> None:
    """Monotonic; thrust and power shares follow as powers of 1.1 and 1.65."""
    lower, higher = results(**MOTOR, target_no_load_speed=speed), results(**MOTOR, target_no_load_speed=speed * factor)
    assert lower["throttle_cap"] <= higher["throttle_cap"]
    share = lower["throttle_cap"] / 100
    assert lower["thrust_share"] == pytest.approx(100 * share**1.1, rel=1e-10)
    assert lower["power_share"] == pytest.approx(100 * share**1.65, rel=1e-10)


def test_tip_mach_is_that_of_the_capped_speed() -> None:
    """By hand: pi D n / a = pi x 0.127 x 592 / 340.29399 = 0.694098 at 35520 rpm = 592 rev/s, 15 degC."""
    found = results(**MOTOR, target_cells=4, diameter="127 mm")
    assert found["no_load_tip_mach"] == pytest.approx(math.pi * 0.127 * 592 / 340.29399, rel=1e-8)


def test_warm_air_allows_more_speed() -> None:
    """Scaling law: the speed at a tip Mach number goes with the root of absolute temperature, by hand
    sqrt(303.15 / 273.15).
    """
    cold = results(**MOTOR, target_no_load_tip_mach=0.6, diameter=5, air_temperature=0)["no_load_speed"]
    warm = results(**MOTOR, target_no_load_tip_mach=0.6, diameter=5, air_temperature=30)["no_load_speed"]
    assert warm / cold == pytest.approx(math.sqrt(303.15 / 273.15), rel=1e-10)


def test_no_tip_mach_without_a_diameter() -> None:
    answer = calculate("throttle-cap", **MOTOR, target_cells=4)
    assert answer["results"]["no_load_tip_mach"] is None
    assert [c["results"] for c in answer["cautions"] if c["code"] == "needs-input"] == [["no_load_tip_mach"]]


CAUTIONS: Final[dict[str, tuple[dict[str, Any], dict[str, Any]]]] = {
    # code: inputs that bring it, inputs that do not
    "no-target": (MOTOR, {**MOTOR, "target_cells": 5}),
    "matched-without-load": ({**MOTOR, "target_cells": 4}, {**CRAFT, "target_cells": 4}),
    "target-pack-assumed": ({**CRAFT, "target_cells": 4}, {**CRAFT, "target_cells": 4, "target_capacity": 1500}),
    "rating-not-used": ({**MOTOR, "discharge_rating": 60}, {**CRAFT, "discharge_rating": 60}),
    "cap-below-hover": ({**CRAFT, "target_thrust": 500}, {**CRAFT, "target_thrust": 700}),
    "motor-assumed": (ASSUMED, {**CRAFT, "target_cells": 4}),
    "resistance-assumed": (
        {name: value for name, value in CRAFT.items() if name != "cell_resistance"},
        CRAFT,
    ),
    "propeller-extrapolated": ({**CRAFT, "diameter": 12}, CRAFT),
    "micro-propeller": (
        {**CRAFT, "diameter": 2.5, "pitch": 2, "blades": 4},
        {**CRAFT, "diameter": 2.5, "pitch": 2},
    ),
    "stator-incomplete": ({**MOTOR, "stator_height": 7}, {**MOTOR, "stator_height": 7, "stator_diameter": 22}),
    "bench-point-incomplete": ({**MOTOR, "bench_voltage": 14.8}, MOTOR),
    "motor-extrapolated": ({**SMALL, "diameter": 3.5}, SMALL),
}


@pytest.mark.parametrize("code", CAUTIONS)
def test_caution_is_shown_when_it_holds_and_not_otherwise(code: str) -> None:
    shown, absent = CAUTIONS[code]
    assert code in codes(**shown)
    assert code not in codes(**absent)


def test_every_conditional_caution_has_a_case() -> None:
    conditional = {c.code for c in registry.load()["throttle-cap"].cautions if not c.is_always_shown}
    assert conditional == set(CAUTIONS)


def test_always_says_that_propellers_come_off_and_voltage_stays() -> None:
    assert {"propellers-off", "cap-is-not-voltage", "duty-is-not-stick"} <= codes(**MOTOR)
