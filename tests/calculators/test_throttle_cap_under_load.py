"""Caps of a whole craft: targets against full-throttle at that cap, which is lowest, and what is missing."""

from typing import Any, Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calculators.throttle_cases import CRAFT, DRIVE, PACK, codes, full_throttle, results
from gramwatt import calculate

TARGETS: Final = [
    pytest.param({"target_thrust": 2000}, "thrust", "thrust", 2000, id="thrust"),
    pytest.param({"target_thrust_to_weight": 3.5}, "thrust-to-weight", "thrust_to_weight", 3.5, id="thrust-to-weight"),
    pytest.param({"target_pack_current": 55}, "pack-current", "pack_current", 55, id="current"),
    # By hand: 60 C of 1.05 Ah are 63 A.
    pytest.param({"discharge_rating": 60}, "discharge-rating", "pack_current", 63, id="discharge-rating"),
    pytest.param({"controller_rating": 18}, "controller-rating", "motor_current", 18, id="controller-rating"),
]


@pytest.mark.parametrize(("target", "cap_set_by", "result", "expected"), TARGETS)
def test_full_throttle_at_the_cap_reaches_the_target(
    target: dict[str, Any], cap_set_by: str, result: str, expected: float
) -> None:
    """Round trip through the forward model, which takes the cap as its input."""
    found = results(**CRAFT, **target)
    assert found["cap_set_by"] == cap_set_by
    assert 0 < found["throttle_cap"] < 100
    capped = full_throttle(**CRAFT, throttle_cap=found["throttle_cap"])
    assert capped[result] == pytest.approx(expected, rel=1e-9)
    full = full_throttle(**CRAFT)
    assert found["thrust_share"] == pytest.approx(100 * capped["thrust"] / full["thrust"], rel=1e-9)
    shaft = (capped["rotor_speed"] / full["rotor_speed"]) ** 3
    assert found["power_share"] == pytest.approx(100 * shaft, rel=1e-9)


@pytest.mark.parametrize(("target", "cap_set_by", "result", "expected"), TARGETS)
def test_the_lowest_of_all_targets_sets_the_cap(
    target: dict[str, Any], cap_set_by: str, result: str, expected: float
) -> None:
    """One target at its value, all others at twice theirs."""
    others: dict[str, Any] = {}
    for each in TARGETS:
        inputs = dict(each.values[0])  # type: ignore[call-overload]
        others |= {name: 2 * value for name, value in inputs.items()}
    found = results(**{**CRAFT, "target_no_load_speed": 1e5, "target_cells": 6, **others, **target})
    assert found["cap_set_by"] == cap_set_by
    assert found["throttle_cap"] == pytest.approx(results(**CRAFT, **target)["throttle_cap"], rel=1e-12)


@given(st.floats(0.3, 3.0), st.floats(0.4, 2.5), st.integers(2, 8))
def test_matching_turns_the_propellers_as_the_other_pack(capacity: float, resistance: float, cells: int) -> None:
    """Full-throttle with the other pack and with the cap have the same rotor speed, unless 100 % is not enough."""
    other: dict[str, Any] = {"cells": cells, "capacity": 1050 * capacity, "cell_resistance": 12 * resistance}
    cap = results(**CRAFT, **{f"target_{name}": value for name, value in other.items()})["matching_throttle_cap"]
    target = full_throttle(**{**CRAFT, **other})["rotor_speed"]
    reached = full_throttle(**CRAFT, throttle_cap=cap)["rotor_speed"]
    if cap < 100:
        assert reached == pytest.approx(target, rel=1e-8)
    else:
        assert reached <= target * (1 + 1e-9)


def test_another_motor_is_this_one_rewound() -> None:
    """By hand: 1900 rpm/V of the same copper has 180 x (2400/1900)^2 = 287.20 mohm and draws 1.1 x 1900/2400 A idle.

    Under the same load it takes (2400/1900) of the voltage: the cap is 1900/2400 exactly, as without load.
    """
    found = results(**CRAFT, target_kv=1900)
    assert found["matching_throttle_cap"] == pytest.approx(100 * 1900 / 2400, rel=1e-9)
    other = {**CRAFT, "kv": 1900, "motor_resistance": 180 * (2400 / 1900) ** 2, "no_load_current": 1.1 * 1900 / 2400}
    target = full_throttle(**other)
    capped = full_throttle(**CRAFT, throttle_cap=found["throttle_cap"])
    for name in ("rotor_speed", "thrust", "pack_current"):
        assert capped[name] == pytest.approx(target[name], rel=1e-9)


def test_the_pack_to_match_has_cells_of_the_same_kind() -> None:
    """By hand: 12 mohm at 1050 mAh are 8.4 mohm at 1500 mAh; 70 mohm of six cells are 32.67 of four at 1500 mAh."""
    answer = calculate("throttle-cap", **CRAFT, target_cells=4, target_capacity=1500)
    assert answer["inputs"]["target_cell_resistance"] == pytest.approx(8.4, rel=1e-12)
    assert answer["inputs"]["target_lead_resistance"] == 3
    measured = {name: value for name, value in CRAFT.items() if name not in ("cell_resistance", "lead_resistance")}
    answer = calculate("throttle-cap", **measured, pack_resistance=70, target_cells=4, target_capacity=1500)
    assert answer["inputs"]["target_pack_resistance"] == pytest.approx(70 * 4 / 6 * 1050 / 1500, rel=1e-11)
    stated = calculate("throttle-cap", **measured, pack_resistance=70, target_cells=4, target_cell_resistance=9)
    assert "target_pack_resistance" not in stated["inputs"]


def test_a_pack_of_another_chemistry_at_its_voltage() -> None:
    """Round trip with a LiHV pack, at 80 % charge and at a measured voltage of this pack."""
    other: dict[str, Any] = {"cells": 4, "chemistry": "lihv", "cell_resistance": 12, "capacity": 1050}
    targets = {f"target_{name}": value for name, value in other.items()}
    cap = results(**CRAFT, state_of_charge=80, **targets)["matching_throttle_cap"]
    target = full_throttle(**{**CRAFT, **other}, state_of_charge=80)["rotor_speed"]
    assert full_throttle(**CRAFT, state_of_charge=80, throttle_cap=cap)["rotor_speed"] == pytest.approx(
        target, rel=1e-9
    )
    # By hand: 24 V of six cells are 4 V a cell, 16 V of four.
    cap = results(**CRAFT, open_circuit_voltage=24, target_cells=4)["matching_throttle_cap"]
    target = full_throttle(**{**CRAFT, "cells": 4}, open_circuit_voltage=16)["rotor_speed"]
    reached = full_throttle(**CRAFT, open_circuit_voltage=24, throttle_cap=cap)["rotor_speed"]
    assert reached == pytest.approx(target, rel=1e-9)


ALONE: Final[dict[str, Any]] = {"kv": 2400, "cells": 6}
MISSING: Final = [
    pytest.param({**ALONE, "target_thrust": 2000}, "target-needs-craft", id="thrust-without-craft"),
    pytest.param({**ALONE, "target_pack_current": 50, "diameter": 5, "pitch": 4}, "target-needs-craft", id="no-pack"),
    pytest.param({**ALONE, **PACK, "target_pack_current": 50}, "target-needs-craft", id="no-propeller"),
    pytest.param({**DRIVE, **PACK, "target_thrust_to_weight": 3}, "thrust-to-weight-needs-mass", id="no-mass"),
    pytest.param({**ALONE, "target_no_load_tip_mach": 0.7}, "tip-mach-needs-diameter", id="no-diameter"),
    # By hand: 6 W of avionics at 25.2 V draw 0.24 A; 1 A of motor current is below the no-load current of 1.1 A.
    pytest.param({**CRAFT, "target_pack_current": 0.2}, "target-too-low", id="less-than-the-avionics"),
    pytest.param({**CRAFT, "controller_rating": 1}, "target-too-low", id="less-than-no-load-current"),
    pytest.param(
        {**CRAFT, "motor_resistance": None, "bench_voltage": 3, "bench_current": 19},
        "bench-point-impossible",
        id="bench",
    ),
]


@pytest.mark.parametrize(("inputs", "code"), MISSING)
def test_an_impossible_target_gives_no_cap(inputs: dict[str, Any], code: str) -> None:
    """No cap is safer than one that ignores a target."""
    answer = calculate("throttle-cap", **{name: value for name, value in inputs.items() if value is not None})
    (reason,) = [caution for caution in answer["cautions"] if caution["code"] == code]
    assert {"throttle_cap", "cap_set_by", "thrust_share"} <= set(reason["results"])
    assert answer["results"]["throttle_cap"] is None
    assert answer["results"]["uncapped_no_load_speed"] > 0


def test_ratings_alone_set_no_cap_but_a_caution() -> None:
    found = calculate("throttle-cap", **ALONE, target_cells=4, discharge_rating=50, controller_rating=30)
    assert found["results"]["cap_set_by"] == "kv-and-cells"
    assert "rating-not-used" in {caution["code"] for caution in found["cautions"]}


def test_targets_beyond_full_throttle_cap_nothing() -> None:
    """Limits far above what the craft reaches, and above what the pack can give at all."""
    full = full_throttle(**CRAFT)
    for factor in (1.0001, 3, 50):
        found = results(
            **CRAFT,
            target_thrust=factor * full["thrust"],
            target_pack_current=factor * full["pack_current"],
            controller_rating=factor * full["motor_current"],
        )
        assert (found["throttle_cap"], found["cap_set_by"]) == (100, "full-throttle")
        assert found["thrust_share"] == pytest.approx(100, rel=1e-12)


def test_cap_below_hover() -> None:
    """The cap-below-hover caution turns where full-throttle's hover throttle lies."""
    hover = full_throttle(**CRAFT)["hover_throttle"]
    weight_thrust = CRAFT["mass"]
    assert "cap-below-hover" in codes(**CRAFT, target_thrust=0.99 * weight_thrust)
    assert "cap-below-hover" not in codes(**CRAFT, target_thrust=1.01 * weight_thrust)
    assert results(**CRAFT, target_thrust=weight_thrust)["throttle_cap"] == pytest.approx(hover, rel=1e-9)


CRAFTS_ON_FOUR_CELLS: Final = [
    # diameter, pitch, blades, kV, capacity, stator: invented, of the sizes that are built
    (2, 1.5, 4, 9000, 450, 11, 3),
    (2.5, 2, 3, 5500, 450, 12, 4.5),
    (3.5, 2, 3, 4600, 650, 14, 5),
    (4, 2.5, 2, 2900, 850, 18, 4),
    (5, 4.3, 3, 2450, 1300, 22, 7),
    (5, 3, 2, 1900, 1300, 20, 4),
    (7, 4, 2, 1500, 3000, 28, 7),
    (10, 4.5, 2, 900, 5000, 31, 10),
]


@pytest.mark.parametrize(("diameter", "pitch", "blades", "kv", "capacity", "stator", "height"), CRAFTS_ON_FOUR_CELLS)
def test_the_range_without_load_contains_the_cap_under_load(
    diameter: float, pitch: float, blades: int, kv: float, capacity: float, stator: float, height: float
) -> None:
    """With fewer inputs the range is wider: a motor for 2 cells on 3, and for 4 on 6, of the same capacity.

    As is the share of thrust, at a cap that is the same with and without the craft.
    """
    craft: dict[str, Any] = {"diameter": diameter, "pitch": pitch, "blades": blades, "capacity": capacity}
    craft |= {"stator_diameter": stator, "stator_height": height}
    cells = 3 if diameter <= 2.5 else 6
    alone: dict[str, Any] = {"kv": kv, "cells": cells, "target_cells": 2 * cells // 3}
    wide = calculate("throttle-cap", **alone)["uncertainty"]["throttle_cap"]
    assert wide["low"] < results(**alone, **craft)["throttle_cap"] < wide["high"]
    capped: dict[str, Any] = {"kv": kv, "cells": cells, "target_no_load_speed": 0.6 * kv * cells * 3.7}
    wide = calculate("throttle-cap", **capped)["uncertainty"]["thrust_share"]
    assert wide["low"] < results(**capped, **craft)["thrust_share"] < wide["high"]
