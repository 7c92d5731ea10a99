"""Packs side by side: comparisons and laws by hand, uncertainty, tables."""

import csv
import io
import itertools
import math
from typing import Any, Final

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from calculators.build_cases import CRAFT, FOUR, LARGE, SIX, compute, compute_rows
from gramwatt import InvalidInput, calculate
from gramwatt.calculators._shared.flight_styles import FLIGHT_STYLES, STYLE_FACTORS
from gramwatt.engine import registry
from gramwatt.engine.formats import OutputOptions, compute_output

ACCURACY: Final = "Packs and flying time; Full throttle"
"""The sections of ACCURACY.md that cover this calculator too."""


def test_order_of_packs_changes_only_comparisons() -> None:
    """Each pack's own figures are the same wherever it stands; the first is what the others are compared with."""
    changes = ("mass_change", "endurance_change", "capped_thrust_change", "capped_pack_current_change")
    known = {row["name"]: row for row in compute_rows(**CRAFT)}
    for order in itertools.permutations(CRAFT["packs"]):
        rows = compute_rows(**{**CRAFT, "packs": list(order)})
        assert [row["name"] for row in rows] == [each["name"] for each in order]
        for row in rows:
            own = {name: value for name, value in row.items() if not name.startswith(changes)}
            assert own == {name: known[row["name"]][name] for name in own}
        assert rows[0]["mass_change"] == rows[0]["endurance_change"] == rows[0]["capped_thrust_change_share"] == 0


def test_comparisons_by_hand() -> None:
    """By definition, from the columns compared."""
    first, *others = compute_rows(**CRAFT)
    for row in others:
        assert row["mass_change"] == pytest.approx(row["mass"] - first["mass"], rel=1e-10)
        assert row["endurance_change"] == pytest.approx(row["endurance"] - first["endurance"], rel=1e-9)
        for share, column in (
            ("mass_change_share", "mass"),
            ("endurance_change_share", "endurance"),
            ("capped_thrust_change_share", "capped_thrust"),
            ("capped_pack_current_change_share", "capped_pack_current"),
        ):
            assert row[share] == pytest.approx(100 * (row[column] / first[column] - 1), rel=1e-9)
    # By hand: 353.8 + 155 = 508.8 g and 353.8 + 228 = 581.8 g; + 73 g, 14.3475 %.
    assert (first["mass"], others[0]["mass"], others[0]["mass_change"]) == (508.8, 581.8, 73)
    assert others[0]["mass_change_share"] == pytest.approx(14.347484, rel=1e-7)


def test_the_pack_with_the_longest_endurance_is_named() -> None:
    results = compute(**CRAFT)["results"]
    times = [row["endurance"] for row in results["by_setup"]]
    assert results["longest_endurance"] == max(times)
    assert results["longest_setup"] == CRAFT["packs"][times.index(max(times))]["name"]


@pytest.mark.parametrize(
    ("style", "ratio", "low", "high"),
    [
        # Rule of thumb, no source: cruise 1.2 to 1.5, mild freestyle of one measured craft 1.9 to 2.3.
        pytest.param({"flight_style": "hover"}, 1.0, 0.9, 1.1, id="hovering"),
        pytest.param({}, 1.35, 1.15, 1.6, id="cruise-by-default"),
        pytest.param({"flight_style": "freestyle"}, 2.0, 1.5, 2.7, id="freestyle"),
        pytest.param({"flight_style": "racing"}, 3.0, 1.8, 5.0, id="racing"),
    ],
)
def test_average_power_by_flight_style(style: dict[str, Any], ratio: float, low: float, high: float) -> None:
    """By definition hover power times the ratio, which is known to a factor that widens with the style."""
    answer = compute(**CRAFT, **style)
    for row in answer["results"]["by_setup"]:
        assert row["mean_power"] == pytest.approx(ratio * row["hover_power"], rel=1e-11)
    assert answer["inputs"]["hover_power_ratio"] == ratio
    assert "hover_power_ratio" in answer["assumed"]
    measured = compute(**CRAFT, hover_power_ratio=ratio)
    assert measured["results"] == answer["results"]
    assert {"flight_style", "hover_power_ratio"}.isdisjoint(measured["assumed"])
    factor = STYLE_FACTORS[FLIGHT_STYLES.index(style.get("flight_style", "cruise"))]
    assert (ratio / factor**1.96, ratio * factor**1.96) == pytest.approx((low, high), rel=0.05)


def test_a_style_that_varies_more_counts_more() -> None:
    """The ratio of racing is hardly known: its spread is most of that of the flight time."""
    shares = [
        compute(**CRAFT, flight_style=style)["uncertainty"]["longest_endurance"]["shares"].get("hover_power_ratio", 0)
        for style in ("hover", "freestyle", "racing")
    ]
    assert shares[0] < shares[1] < shares[2]
    assert shares[2] > 0.5


def test_average_power_by_hover() -> None:
    """By definition: hover power times the ratio."""
    for row in compute_rows(**CRAFT, hover_power_ratio=2.5):
        assert row["mean_power"] == pytest.approx(2.5 * row["hover_power"], rel=1e-11)
    assert compute(**CRAFT)["results"]["mean_power_source"] == "hover-power-ratio"


@given(st.floats(30.0, 400.0), st.floats(0.0, 3.0))
def test_average_power_by_flight(power: float, exponent: float) -> None:
    """Law: as measured with the first pack, (mass ratio)^x of it with another; hover does not matter."""
    response = compute(**CRAFT, mean_power=power, mass_exponent=exponent)
    first, *others = response["results"]["by_setup"]
    assert first["mean_power"] == pytest.approx(power, rel=1e-11)
    for row in others:
        assert row["mean_power"] == pytest.approx(power * (row["mass"] / first["mass"]) ** exponent, rel=1e-10)
    assert response["results"]["mean_power_source"] == "mean-power"


@pytest.mark.parametrize(
    ("flight", "share"),
    [
        # By hand without sag: 1.5 of the energy over 1.17^x of the power: 1.5 / 1.17^1.2 = 1.242, ^1.5 = 1.185.
        pytest.param({"mean_power": 260}, (20, 27), id="260-W-measured-exponent"),
        pytest.param({"mean_power": 260, "mass_exponent": 1.5}, (18, 22), id="260-W-aerodynamic-exponent"),
        pytest.param({}, (20, 27), id="by-hover-of-the-whole-model"),
    ],
)
def test_trade_of_six_cells_for_four(flight: dict[str, Any], share: tuple[float, float]) -> None:
    """Common practice, no source.

    Six cells of the capacity of four, all-up mass up by about 17 %, lengthen the flight by about a fifth to a quarter.
    It comes out so with hover from the whole model, whose power grows less than the mass^1.5 of the air, and with an
    exponent as measured; mass^1.5 gives a little under a fifth.
    """
    packs = [{"cells": 4, "capacity": 1300, "mass": 155}, {"cells": 6, "capacity": 1300, "mass": 240}]
    craft = {**CRAFT, "dry_mass": 345, "packs": packs, **flight}
    longer = compute_rows(**craft)[1]
    assert longer["mass_change_share"] == pytest.approx(17, rel=1e-9)
    assert share[0] < longer["endurance_change_share"] < share[1]


FLIGHT: Final[dict[str, Any]] = {"mass": 508.8, "duration": 5.2, "cells": 4, "capacity": 1300, "charge_used": 1040}


def test_flights_of_several_masses_come_back() -> None:
    """Two flights fix a law: each comes back with its own pack, to 1e-9; the range is that of one more flight."""
    flights = [FLIGHT, {**FLIGHT, "mass": 558.8, "duration": 4.7, "capacity": 1500, "charge_used": 1200}]
    packs = [{"cells": 4, "capacity": 1300, "mass": 155}, {"cells": 4, "capacity": 1500, "mass": 205}]
    answer = compute(**{**CRAFT, "packs": packs, "flights": flights})
    rows = answer["results"]["by_setup"]
    assert [row["endurance"] for row in rows] == pytest.approx([5.2, 4.7], rel=1e-9)
    uncertainty = answer["uncertainty"]["by_setup.endurance"]
    assert uncertainty["low"][0] < 0.8 * 5.2 < 1.2 * 5.2 < uncertainty["high"][0]


def test_a_difference_is_surer_than_its_parts() -> None:
    """The scatter of the next flight is the same for both packs, so it hardly changes which of them lasts longer."""
    packs = [{"cells": 4, "capacity": 1300, "mass": 155}, {"cells": 4, "capacity": 1800, "mass": 205}]
    uncertainty = compute(**{**CRAFT, "packs": packs, "flights": [FLIGHT]})["uncertainty"]
    longer = uncertainty["by_setup.endurance_change"]["standard"][1]
    assert longer < 0.5 * uncertainty["by_setup.endurance"]["standard"][1]


def test_measured_voltages_do_not_change_the_time() -> None:
    """By hand: 1.04 Ah x 14.6 V / 5.2 min = 175.2 W is the power; the time is that of the flight with any voltage."""
    pack = {"cells": 4, "capacity": 1300, "mass": 155}
    (row,) = compute_rows(**{**CRAFT, "packs": [pack], "flights": [{**FLIGHT, "mean_voltage": 14.6}]})
    assert row["mean_power"] == pytest.approx(1.04 * 14.6 / 5.2 * 60, rel=1e-9)
    assert row["endurance"] == pytest.approx(5.2, rel=1e-9)


# Uncertainty, many packs, CSV


def test_the_display_counts_in_every_mass() -> None:
    """By hand: craft and pack are read once each, d = 2 g: u = sqrt(2 x 4/12) g, for a difference of packs too.

    Within 5 %, as the two displays are not quite uncorrelated in so few draws.
    """
    uncertainty = compute(**{**CRAFT, "packs": [FOUR, SIX], "scale_resolution": 2})["uncertainty"]
    u = math.sqrt(2 * 4 / 12)
    assert uncertainty["by_setup.mass"]["standard"] == pytest.approx([u, u], rel=0.05)
    assert uncertainty["by_setup.mass_margin"]["standard"] == pytest.approx([u, u], rel=0.05)
    assert uncertainty["by_setup.mass_change"]["standard"] == pytest.approx([0, u], rel=0.05)


def test_the_resistance_that_is_assumed_counts() -> None:
    """As in full-throttle with the same pack: the same current, and nearly the same range of it."""
    pack: dict[str, Any] = {"cells": 4, "capacity": 1300}
    answer = compute(**{**CRAFT, "packs": [{**pack, "mass": 155}]})
    assert "packs.cell_resistance" in answer["assumed"]
    motor = {name: CRAFT[name] for name in ("kv", "diameter", "pitch")}
    alone = calculate("full-throttle", **pack, **motor)["uncertainty"]["pack_current"]
    known = compute(**{**CRAFT, "packs": [{**pack, "mass": 155, "cell_resistance": 15 / 1.3}]})["uncertainty"]
    current = answer["uncertainty"]["by_setup.pack_current"]
    assert current["standard"][0] == pytest.approx(alone["standard"], rel=0.05)
    assert (current["low"][0], current["high"][0]) == pytest.approx((alone["low"], alone["high"]), rel=0.05)
    assert current["standard"][0] > 1.1 * known["by_setup.pack_current"]["standard"][0]


def test_uncertainty_is_a_list_by_setup() -> None:
    """By hand: 155 +/- 3 g of pack is 3 g of the whole, and of the difference to another pack; 95 % are 1.96 x 3 g."""
    packs = [{**FOUR, "mass": "155 ± 3 g"}, SIX, {**LARGE, "mass": 9000}]
    response = compute(**{**CRAFT, "packs": packs, "scale_resolution": 0})
    uncertainty = response["uncertainty"]
    assert uncertainty["by_setup.mass"]["standard"] == pytest.approx([3, 0, 0], rel=1e-9)
    assert uncertainty["by_setup.mass_change"]["standard"] == pytest.approx([0, 3, 3], rel=1e-9)
    assert uncertainty["by_setup.mass"]["low"][0] == pytest.approx(508.8 - 1.96 * 3, abs=0.1, rel=0)
    assert uncertainty["by_setup.mass"]["high"][0] == pytest.approx(508.8 + 1.96 * 3, abs=0.1, rel=0)
    for name, column in uncertainty.items():
        if name.startswith("by_setup."):
            assert len(column["standard"]) == len(column["low"]) == len(column["high"]) == 3
    assert uncertainty["by_setup.endurance"]["low"][2] is None
    assert uncertainty["by_setup.endurance"]["high"][0] > response["results"]["by_setup"][0]["endurance"]


def test_differences_have_less_uncertainty_than_figures() -> None:
    """An uncertainty that both packs have in common cancels in a share."""
    response = compute(**CRAFT)
    _, second, _ = response["results"]["by_setup"]
    alone = response["uncertainty"]["by_setup.endurance"]["standard"][1] / second["endurance"]
    change = response["uncertainty"]["by_setup.endurance_change_share"]["standard"][1] / 100
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
    inputs = {"kv": 2400, "diameter": 5, "pitch": 4.3, "mass_limit": 560, "scale_resolution": 6}
    (row,) = compute_rows(**inputs, **craft, packs=[{**FOUR, "mass": mass}])
    assert row["mass_margin"] == 5
    assert row["probability_under_limit"] == pytest.approx(100 * norm.cdf(5 / math.sqrt(variance)), rel=1e-10)


def test_twenty_packs_and_no_more() -> None:
    """Each capacity as computed alone with the first; heavier and larger in order."""
    many = [{"name": f"p{at}", "cells": 4, "capacity": 800 + 100 * at, "mass": 100 + 12 * at} for at in range(20)]
    rows = compute_rows(**{**CRAFT, "packs": many})
    assert [row["name"] for row in rows] == [each["name"] for each in many]
    for at in (1, 10, 19):
        assert rows[at] == compute_rows(**{**CRAFT, "packs": [many[0], many[at]]})[1]
    with pytest.raises(InvalidInput, match="20"):
        compute(**{**CRAFT, "packs": [*many, FOUR]})


def test_csv_has_a_row_for_each_pack() -> None:
    """Shared columns are repeated; columns of a pack have its unit, and `_u` next to those that are uncertain."""
    calculator, response = registry.load()["build"], compute(**CRAFT)
    text = b"".join(compute_output(calculator, CRAFT, OutputOptions("csv"))).decode()
    table = list(csv.DictReader(io.StringIO(text)))
    assert [row["by_setup.name"] for row in table] == ["four", "six", "large"]
    for row, pack_row in zip(table, response["results"]["by_setup"], strict=True):
        assert float(row["by_setup.endurance [min]"]) == pack_row["endurance"]
        assert float(row["by_setup.endurance_u [min]"]) > 0
        assert row["by_setup.verdict"] == pack_row["verdict"]
        assert float(row["longest_endurance [min]"]) == response["results"]["longest_endurance"]
        assert row["by_setup.discharge_rating_share [%]"] == ""
        assert "packs" not in row
