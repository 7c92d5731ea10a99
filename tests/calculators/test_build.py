"""Packs side by side: comparisons and laws by hand, reasons, uncertainty, tables, every caution."""

import csv
import io
import itertools
import math
from typing import Any, Final

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from gramwatt import InvalidInput, calculate
from gramwatt.engine import registry
from gramwatt.engine.serializers import format_csv

ACCURACY: Final = "Packs and flying time; Full throttle"
"""The sections of ACCURACY.md that cover this calculator too."""

FOUR: Final[dict[str, Any]] = {"name": "four", "cells": 4, "capacity": 1300, "mass": 155, "cell_resistance": 8}
SIX: Final[dict[str, Any]] = {"name": "six", "cells": 6, "capacity": 1300, "mass": 228, "cell_resistance": 8}
LARGE: Final[dict[str, Any]] = {"name": "large", "cells": 4, "capacity": 1800, "mass": 205, "lead_resistance": 3}
CRAFT: Final[dict[str, Any]] = {
    "dry_mass": 353.8,
    "kv": 2400,
    "diameter": 5,
    "pitch": 4.3,
    "throttle_cap": 66,
    "limit": 600,
    "packs": [FOUR, SIX, LARGE],
}


def ask(**inputs: Any) -> dict[str, Any]:
    answer: dict[str, Any] = calculate("build", **inputs)
    return answer


def rows(**inputs: Any) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = ask(**inputs)["results"]["by_pack"]
    return found


def reasons(answer: dict[str, Any]) -> dict[str, str]:
    """Return the code of each result that is missing."""
    return {name: caution["code"] for caution in answer["cautions"] for name in caution.get("results", ())}


def test_order_of_packs_changes_only_comparisons() -> None:
    """Each pack's own figures are the same wherever it stands; the first is what the others are compared with."""
    changes = ("mass_change", "endurance_change", "thrust_change", "current_change", "suggested_cap")
    known = {row["name"]: row for row in rows(**CRAFT)}
    for order in itertools.permutations(CRAFT["packs"]):
        found = rows(**{**CRAFT, "packs": list(order)})
        assert [row["name"] for row in found] == [each["name"] for each in order]
        for row in found:
            own = {name: value for name, value in row.items() if not name.startswith(changes)}
            assert own == {name: known[row["name"]][name] for name in own}
        assert found[0]["mass_change"] == found[0]["endurance_change"] == found[0]["thrust_change_share"] == 0


def test_comparisons_by_hand() -> None:
    """By definition, from the columns compared."""
    first, *others = rows(**CRAFT)
    for row in others:
        assert row["mass_change"] == pytest.approx(row["mass"] - first["mass"], rel=1e-10)
        assert row["endurance_change"] == pytest.approx(row["endurance"] - first["endurance"], rel=1e-9)
        for share, column in (
            ("mass_change_share", "mass"),
            ("endurance_change_share", "endurance"),
            ("thrust_change_share", "capped_thrust"),
            ("current_change_share", "capped_current"),
        ):
            assert row[share] == pytest.approx(100 * (row[column] / first[column] - 1), rel=1e-9)
    # By hand: 353.8 + 155 = 508.8 g and 353.8 + 228 = 581.8 g; + 73 g, 14.3475 %.
    assert (first["mass"], others[0]["mass"], others[0]["mass_change"]) == (508.8, 581.8, 73)
    assert others[0]["mass_change_share"] == pytest.approx(14.347484, rel=1e-7)


def test_the_longest_is_named() -> None:
    found = ask(**CRAFT)["results"]
    times = [row["endurance"] for row in found["by_pack"]]
    assert found["longest_endurance"] == max(times)
    assert found["longest_pack"] == times.index(max(times)) + 1


@pytest.mark.parametrize("match", [1, 2, 3])
def test_suggested_cap_turns_the_propellers_as_the_matched_pack(match: int) -> None:
    """With that cap full-throttle computes the rotor speed of the matched pack; a weaker pack gives all it has."""
    motor = {name: CRAFT[name] for name in ("kv", "diameter", "pitch")}
    single = [motor | {n: v for n, v in each.items() if n not in ("name", "mass")} for each in CRAFT["packs"]]
    target = calculate("full-throttle", **single[match - 1])["results"]["rotor_speed"]
    reached = 0
    for inputs, row in zip(single, rows(**CRAFT, match_pack=match), strict=True):
        assert row["suggested_cap"] is not None
        capped = calculate("full-throttle", **inputs, throttle_cap=row["suggested_cap"])["results"]["rotor_speed"]
        if row["suggested_cap"] < 100:
            assert capped == pytest.approx(target, rel=1e-9)
            reached += 1
        else:
            assert capped <= target * (1 + 1e-9)
    assert reached == {1: 2, 2: 0, 3: 1}[match]


def test_cap_of_six_cells_in_place_of_four() -> None:
    """Common practice, no source: two thirds.

    By hand a stiff pack has exactly that; sag asks for a little less of a pack of six equal cells, as a lower throttle
    draws less from it.
    """
    stiff = [{**each, "cell_resistance": 0} for each in (FOUR, SIX)]
    assert rows(**{**CRAFT, "packs": stiff})[1]["suggested_cap"] == pytest.approx(200 / 3, rel=1e-9)
    assert 55 < rows(**{**CRAFT, "packs": [FOUR, SIX]})[1]["suggested_cap"] < 200 / 3


def test_average_power_by_hover() -> None:
    """By definition: hover power times the ratio, 1.2 by default."""
    for row in rows(**CRAFT):
        assert row["average_power"] == pytest.approx(1.2 * row["hover_power"], rel=1e-11)
    for row in rows(**CRAFT, hover_ratio=2.5):
        assert row["average_power"] == pytest.approx(2.5 * row["hover_power"], rel=1e-11)
    assert ask(**CRAFT)["results"]["power_from"] == "hover-ratio"


@given(st.floats(30.0, 400.0), st.floats(0.0, 3.0))
def test_average_power_by_flight(power: float, exponent: float) -> None:
    """Law: as measured with the first pack, (mass ratio)^x of it with another; hover has no part in it."""
    answer = ask(**CRAFT, average_power=power, mass_exponent=exponent)
    first, *others = answer["results"]["by_pack"]
    assert first["average_power"] == pytest.approx(power, rel=1e-11)
    for row in others:
        assert row["average_power"] == pytest.approx(power * (row["mass"] / first["mass"]) ** exponent, rel=1e-10)
    assert answer["results"]["power_from"] == "average-power"


@pytest.mark.parametrize(
    ("flown", "share"),
    [
        # By hand without sag: 1.5 of the energy over 1.17^x of the power: 1.5 / 1.17^1.2 = 1.242, ^1.5 = 1.185.
        pytest.param({"average_power": 260, "mass_exponent": 1.2}, (20, 27), id="260-W-measured-exponent"),
        pytest.param({"average_power": 260}, (18, 22), id="260-W-aerodynamic-exponent"),
        pytest.param({}, (20, 27), id="by-hover-of-the-whole-model"),
    ],
)
def test_trade_of_six_cells_for_four(flown: dict[str, Any], share: tuple[float, float]) -> None:
    """Common practice, no source.

    Six cells of the capacity of four, all-up mass up by about 17 %, lengthen the flight by about a fifth to a quarter.
    It comes out so with hover from the whole model, whose power grows less than the mass^1.5 of the air, and with an
    exponent as measured; mass^1.5 gives a little under a fifth.
    """
    packs = [{"cells": 4, "capacity": 1300, "mass": 155}, {"cells": 6, "capacity": 1300, "mass": 240}]
    craft = {**CRAFT, "dry_mass": 345, "packs": packs, **flown}
    longer = rows(**craft)[1]
    assert longer["mass_change_share"] == pytest.approx(17, rel=1e-9)
    assert share[0] < longer["endurance_change_share"] < share[1]


# No answer


def test_full_throttle_just_lifts_its_thrust() -> None:
    """By definition: a craft that weighs a thousandth less than the thrust hovers, one that weighs more does not."""
    (row,) = rows(**{**CRAFT, "packs": [FOUR]})
    for share, hovers in ((0.999, True), (1.001, False), (1.1, False)):
        (found,) = rows(**{**CRAFT, "packs": [{**FOUR, "mass": share * row["thrust"] - CRAFT["dry_mass"]}]})
        assert found["thrust_to_weight"] == pytest.approx(1 / share, rel=1e-9)
        assert (found["hover_throttle"] is not None) is hovers
        assert (found["hover_power"] is not None) is hovers


def test_one_pack_that_cannot_lift() -> None:
    """A brick of 6 kg: its hover, flight and comparisons have no answer and say why.

    The rest of it, and all else, have results.
    """
    brick = {**FOUR, "name": "brick", "mass": 6000}
    answer = ask(**{**CRAFT, "packs": [FOUR, brick, SIX]}, controller_rating=45)
    first, heavy, other = answer["results"]["by_pack"]
    hovering, flown = {"hover_power", "hover_throttle"}, {"average_power", "endurance", "ended_by"}
    changes = {"endurance_change", "endurance_change_share"}
    assert {name for name, value in heavy.items() if value is None} <= hovering | flown | changes | {"rating_used"}
    missing = reasons(answer)
    assert {missing[f"by_pack.1.{name}"] for name in hovering} == {"cannot-lift"}
    assert {missing[f"by_pack.1.{name}"] for name in ("average_power", "endurance")} == {"nothing-to-fly-on"}
    assert {missing[f"by_pack.1.{name}"] for name in changes} == {"no-comparison"}
    assert any(
        caution["text"].startswith("brick: full throttle gives") and "6353.8 g" in caution["text"]
        for caution in answer["cautions"]
    )
    assert heavy["thrust"] == first["thrust"]
    assert heavy["thrust_to_weight"] < 1
    assert [first, other] == rows(**{**CRAFT, "packs": [FOUR, SIX]}, controller_rating=45)
    assert answer["results"]["longest_pack"] == 3
    assert not any(name.startswith(("by_pack.0.hover", "by_pack.2.hover")) for name in missing)


def test_a_first_pack_that_cannot_lift_leaves_no_comparison() -> None:
    answer = ask(**{**CRAFT, "packs": [{**FOUR, "mass": 6000}, SIX]})
    assert reasons(answer)["by_pack.1.endurance_change"] == "no-comparison"
    assert answer["results"]["by_pack"][1]["endurance"] > 0
    assert answer["results"]["longest_pack"] == 2


def test_without_an_average_power_there_is_no_endurance() -> None:
    """Not even 0 minutes of a pack that is at its reserve before it starts: nobody knows the power."""
    answer = ask(**{**CRAFT, "packs": [{**FOUR, "mass": 6000}]}, state_of_charge=15)
    assert answer["results"]["by_pack"][0]["endurance"] is None
    assert reasons(answer)["by_pack.0.endurance"] == "nothing-to-fly-on"
    assert answer["results"]["longest_pack"] is None
    assert reasons(answer)["longest_pack"] == "none-flies"


def test_a_power_beyond_the_pack() -> None:
    """By hand: 16.8^2 / (4 x 32 mohm) = 2205 W."""
    answer = ask(**CRAFT, average_power=2300, mass_exponent=0)
    assert answer["results"]["by_pack"][0]["endurance"] is None
    assert reasons(answer)["by_pack.0.endurance"] == "power-beyond-pack"
    assert answer["results"]["by_pack"][0]["average_power"] == 2300
    assert answer["results"]["by_pack"][1]["endurance"] is not None


def test_every_empty_figure_has_a_reason() -> None:
    """Whatever is missing, whichever pack."""
    for inputs in ({}, {"average_power": 2300}, {"dry_mass": 9000}, {"throttle_cap": 1}, {"motor_resistance": 9e4}):
        answer = ask(**{**CRAFT, **inputs})
        empty = {name for name, value in answer["results"].items() if value is None}
        for at, row in enumerate(answer["results"]["by_pack"]):
            empty |= {f"by_pack.{at}.{name}" for name, value in row.items() if value is None}
        assert set(reasons(answer)) == empty


# Uncertainty, many packs, CSV


def test_uncertainty_is_a_list_by_pack() -> None:
    """By hand: 155 +/- 3 g of pack is 3 g of the whole, and of the difference to another pack."""
    answer = ask(**{**CRAFT, "packs": [{**FOUR, "mass": "155 ± 3 g"}, SIX, {**LARGE, "mass": 9000}]})
    uncertainty = answer["uncertainty"]
    assert uncertainty["by_pack.mass"]["standard"] == pytest.approx([3, 0, 0], rel=1e-9)
    assert uncertainty["by_pack.mass_change"]["standard"] == pytest.approx([0, 3, 3], rel=1e-9)
    assert uncertainty["by_pack.mass"]["low"][0] == pytest.approx(508.8 - 6, rel=1e-9)
    assert uncertainty["by_pack.mass"]["high"][0] == pytest.approx(508.8 + 6, rel=1e-9)
    for name, column in uncertainty.items():
        if name.startswith("by_pack."):
            assert len(column["standard"]) == len(column["low"]) == len(column["high"]) == 3
    assert uncertainty["by_pack.endurance"]["low"][2] is None
    assert uncertainty["by_pack.endurance"]["high"][0] > answer["results"]["by_pack"][0]["endurance"]


def test_differences_are_surer_than_figures() -> None:
    """As the docstring says: what is common to both packs falls out of a share."""
    answer = ask(**CRAFT)
    _, second, _ = answer["results"]["by_pack"]
    alone = answer["uncertainty"]["by_pack.endurance"]["standard"][1] / second["endurance"]
    change = answer["uncertainty"]["by_pack.endurance_change_share"]["standard"][1] / 100
    assert change < alone / 3


@pytest.mark.parametrize(
    ("craft", "mass", "variance"),
    [
        # By hand: variance of a reading with steps of 6 g is 6^2 / 12 = 3 g2 (JCGM 100, F.2.2.1).
        pytest.param({"parts": [{"mass": 400}]}, 155, 2 * 3, id="a-part-and-the-pack-read-once-each"),
        pytest.param({"dry_mass": 400}, 155, 2 * 3, id="the-rest-and-the-pack"),
        pytest.param({"parts": [{"mass": 100}], "dry_mass": 300}, 155, 3 * 3, id="a-part-the-rest-and-the-pack"),
        pytest.param({"parts": [{"mass": 100, "count": 4}]}, 155, (4**2 + 1) * 3, id="four-parts-by-one-reading"),
        pytest.param({"dry_mass": 400}, "155 ± 4 g", 2 * 3 + 4**2, id="a-stated-uncertainty-of-the-pack"),
        pytest.param({"dry_mass": "400 ± 5 g"}, 155, 2 * 3 + 5**2, id="a-stated-uncertainty-of-the-rest"),
        pytest.param(
            {"parts": [{"mass": "100 ± 1 g", "count": 4}]}, 155, 17 * 3 + 4**2, id="a-stated-uncertainty-of-a-part"
        ),
    ],
)
def test_every_reading_of_the_scale_counts(craft: dict[str, Any], mass: object, variance: float) -> None:
    """SciPy's normal distribution of the margin of 5 g, with the variance by hand."""
    inputs = {"kv": 2400, "diameter": 5, "pitch": 4.3, "limit": 560, "resolution": 6}
    (row,) = rows(**inputs, **craft, packs=[{**FOUR, "mass": mass}])
    assert row["margin"] == 5
    assert row["probability_under"] == pytest.approx(100 * norm.cdf(5 / math.sqrt(variance)), rel=1e-10)


def test_twenty_packs_and_no_more() -> None:
    """Each capacity as computed alone with the first; heavier and larger in order."""
    many = [{"name": f"p{at}", "cells": 4, "capacity": 800 + 100 * at, "mass": 100 + 12 * at} for at in range(20)]
    found = rows(**{**CRAFT, "packs": many})
    assert [row["name"] for row in found] == [each["name"] for each in many]
    for at in (1, 10, 19):
        assert found[at] == rows(**{**CRAFT, "packs": [many[0], many[at]]})[1]
    with pytest.raises(InvalidInput, match="20"):
        ask(**{**CRAFT, "packs": [*many, FOUR]})


def test_csv_has_a_row_for_each_pack() -> None:
    """Shared columns are repeated; columns of a pack have its unit, and `_u` next to those that are uncertain."""
    calculator, answer = registry.load()["build"], ask(**CRAFT)
    table = list(csv.DictReader(io.StringIO(format_csv(calculator, answer))))
    assert [row["by_pack.name"] for row in table] == ["four", "six", "large"]
    for row, pack_row in zip(table, answer["results"]["by_pack"], strict=True):
        assert float(row["by_pack.endurance [min]"]) == pack_row["endurance"]
        assert float(row["by_pack.endurance_u [min]"]) > 0
        assert row["by_pack.verdict"] == pack_row["verdict"]
        assert float(row["longest_endurance [min]"]) == answer["results"]["longest_endurance"]
        assert row["by_pack.rating_used [%]"] == ""
        assert "packs" not in row


# Cautions

WEAK: Final = {**FOUR, "cell_resistance": 60}
BENCH: Final[dict[str, Any]] = {
    "bench_speed": 20000,
    "bench_thrust": 520,
    "bench_shaft_power": 90,
    "bench_voltage": 14.8,
    "bench_current": 19,
}
ONE: Final[dict[str, Any]] = {**CRAFT, "packs": [SIX, FOUR]}
CAUTIONS: Final[dict[str, tuple[dict[str, Any], dict[str, Any]]]] = {
    # code: inputs that bring it, inputs that do not
    "rule-sets-limit": ({**ONE, "rule": "eu-c0"}, ONE),
    "outside-temperature": ({**ONE, "pack_temperature": -5}, ONE),
    "lihv-extrapolated": ({**ONE, "packs": [{**SIX, "chemistry": "lihv"}]}, ONE),
    "motor-assumed": (ONE, {**ONE, "motor_resistance": 200}),
    "propeller-extrapolated": ({**ONE, "pitch": 5.6}, {**ONE, "pitch": 5.6, "thrust_coefficient": 0.2}),
    "bench-point-impossible": ({**ONE, **BENCH, "bench_voltage": 11, "bench_current": 25}, {**ONE, **BENCH}),
    "pack-resistance-assumed": (CRAFT, ONE),
    # By hand: two readings of 1 g, U = 2 sqrt(2/12) = 0.82 g.
    "too-close": ({**ONE, "limit": 509}, {**ONE, "limit": 510}),
    "over-rating": (
        {**ONE, "packs": [SIX, {**FOUR, "discharge_rating": 5}]},
        {**ONE, "packs": [SIX, {**FOUR, "discharge_rating": 100}]},
    ),
    "over-controller": ({**ONE, "controller_rating": 8}, {**ONE, "controller_rating": 45}),
    "below-cutoff": ({**ONE, "packs": [SIX, WEAK]}, ONE),
    "cap-below-hover": ({**ONE, "throttle_cap": 20}, ONE),
    "no-such-pack": ({**ONE, "match_pack": 3}, {**ONE, "match_pack": 2}),
}


@pytest.mark.parametrize("code", CAUTIONS)
def test_caution_is_shown_when_it_holds_and_not_otherwise(code: str) -> None:
    shown, absent = ({caution["code"] for caution in ask(**inputs)["cautions"]} for inputs in CAUTIONS[code])
    assert code in shown
    assert code not in absent


def test_cautions_name_their_pack() -> None:
    cautions = ask(**{**ONE, "packs": [SIX, WEAK]})["cautions"]
    assert [c["text"][:6] for c in cautions if c["code"] == "below-cutoff"] == ["four: "]


def test_every_conditional_caution_has_a_case() -> None:
    assert {c.code for c in registry.load()["build"].cautions if not c.is_always_shown} == set(CAUTIONS)
