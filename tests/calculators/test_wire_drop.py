"""A run of wire: published resistances, hand sums of loss and heat, the same run in other gauges, and each caution."""

import json
import math
from typing import Any, Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gramwatt import calculate
from gramwatt.engine.next import suggest_next
from gramwatt.web import create_app

RUN: Final[dict[str, Any]] = {"wire_gauge": 16, "wire_length": 150, "mean_current": 20}
COLD: Final[dict[str, Any]] = {"wire_temperature": 20, "stranding_allowance": 0}
FOOT: Final = 304.8
"""[mm]"""


def results(**inputs: Any) -> dict[str, Any]:
    found: dict[str, Any] = calculate("wire-drop", **inputs)["results"]
    return found


def codes(**inputs: Any) -> set[str]:
    return {caution["code"] for caution in calculate("wire-drop", **inputs)["cautions"]}


@pytest.mark.parametrize(
    ("gauge", "ohms", "pounds"), [(10, 0.9989, 31.43), (12, 1.588, 19.77), (20, 10.15, 3.092), (30, 103.2, 0.3042)]
)
def test_published_resistance_and_mass_of_solid_wire(gauge: int, ohms: float, pounds: float) -> None:
    """Published: NBS Handbook 100, annealed copper at 20 °C, ohms and pounds for 1000 ft, from memory."""
    found = results(wire_gauge=gauge, wire_length=1000 * FOOT, conductors=1, mean_current=0.1, **COLD)
    assert found["wire_resistance"] == pytest.approx(1000 * ohms, rel=1e-3)
    assert found["copper_mass"] == pytest.approx(453.59237 * pounds, rel=1e-3)


def test_current_and_voltage_by_hand() -> None:
    """By hand: 1 m of 2 mm² has 8.6205 mΩ; at 10 A 86.205 mV and 0.86205 W, of 12 V 0.718375 %; at 40 A 344.82 mV and
    13.7928 W; densities 5 and 20 A/mm²; 8.89 x 2 x 1 = 17.78 g of copper.
    """
    found = results(
        wire_area=2, wire_length=500, mean_current=10, peak_current=40, peak_duration=1, supply_voltage=12, **COLD
    )
    expected = {
        "wire_resistance": 8.6205,
        "voltage_drop": 0.086205,
        "voltage_drop_share": 0.718375,
        "power_loss": 0.86205,
        "peak_voltage_drop": 0.34482,
        "peak_voltage_drop_share": 2.8735,
        "peak_power_loss": 13.7928,
        "current_density": 5,
        "peak_current_density": 20,
        "copper_mass": 17.78,
        "wire_temperature": 20,
    }
    assert {name: found[name] for name in expected} == pytest.approx(expected, rel=1e-11)


def test_stranding_adds_length_to_resistance_and_mass_alike() -> None:
    """By hand: 5 % more of both. The peak heats a strand as it heats a solid wire."""
    solid, stranded = (
        results(**RUN, peak_current=60, wire_temperature=20, stranding_allowance=each) for each in (0, 5)
    )
    for name in ("wire_resistance", "copper_mass", "voltage_drop"):
        assert stranded[name] == pytest.approx(1.05 * solid[name], rel=1e-11)
    assert stranded["peak_wire_temperature"] == solid["peak_wire_temperature"]


def test_heat_in_still_air_balances_what_the_surface_gives_off() -> None:
    """By hand: heat over the surface, pi D times the length, and over the coefficient is the rise above the air."""
    found = results(**RUN, air_temperature=25, outer_diameter_ratio=2, heat_transfer_coefficient=25)
    diameter = 2 * math.sqrt(4 * found["wire_area"] / math.pi)
    surface = math.pi * diameter * 1e-3 * 0.3
    assert found["power_loss"] / surface / 25 == pytest.approx(found["wire_temperature"] - 25, rel=1e-10)


def test_the_current_limit_heats_the_wire_to_its_temperature_limit() -> None:
    """Round trip."""
    chosen = {"air_temperature": 30, "wire_temperature_limit": 130, "heat_transfer_coefficient": 15}
    limit = results(**RUN, **chosen)["wire_current_limit"]
    at_limit = results(**{**RUN, "mean_current": limit}, **chosen)
    assert at_limit["wire_temperature"] == pytest.approx(130, rel=1e-9)


def test_the_spellings_of_thick_gauges() -> None:
    """Published: ASTM B258, AWG 4/0 has 0.4600 in, so 107.2 mm² (from memory); 0000 and -3 are the same."""
    run = {"wire_length": 100, "mean_current": 5}
    areas = [results(wire_gauge=gauge, **run)["wire_area"] for gauge in ("4/0", "0000", -3)]
    assert areas == [areas[0]] * 3
    assert areas[0] == pytest.approx(107.2, rel=5e-4)
    assert results(wire_gauge="00", **run)["wire_area"] == results(wire_gauge="2/0", **run)["wire_area"]
    assert results(wire_gauge=0, **run)["wire_area"] == results(wire_gauge="1/0", **run)["wire_area"]
    assert "gauge-below-one" in codes(wire_gauge=0, **run)
    assert "gauge-below-one" not in codes(wire_gauge=1, **run)


def test_the_spellings_of_thick_gauges_in_a_table() -> None:
    """Where a column of numbers alone would be read as numbers."""
    table = "wire_gauge,wire_length,mean_current\n00,100,5\n0,100,5\n0000,100,5\n20,100,5\n"
    body = create_app().test_client().post("/v1/wire-drop/batch?format=ndjson", data=table, content_type="text/csv")
    areas = [json.loads(line)["wire_area"] for line in body.text.splitlines()]
    alone = [results(wire_gauge=gauge, wire_length=100, mean_current=5)["wire_area"] for gauge in ("2/0", 0, "4/0", 20)]
    assert areas == alone


def test_strands_take_the_place_of_the_gauge() -> None:
    """By hand: 252 x pi/4 x 0.08² = 1.26669 mm², 3 % less than AWG 16 has. Half of the two inputs is not enough."""
    found = results(**RUN, strands=252, strand_diameter=0.08)
    assert found["wire_area"] == pytest.approx(1.26669, rel=5e-6)
    assert "strands-incomplete" not in codes(**RUN, strands=252, strand_diameter=0.08)
    assert "strands-incomplete" in codes(**RUN, strands=252)
    assert results(**RUN, strands=252)["wire_area"] == results(**RUN)["wire_area"]
    alone = calculate("wire-drop", strands=252, wire_length=150, mean_current=20)
    assert alone["results"]["wire_area"] is None
    assert alone["results"]["by_gauge"] == []
    assert "no-strand-diameter" in {caution["code"] for caution in alone["cautions"]}


@pytest.mark.parametrize(
    ("gauge", "first"),
    [("4/0", "4/0"), (-1, "4/0"), (5, "2"), (16, "13"), (38, "34"), (40, "34")],
)
def test_other_gauges_are_what_they_are_alone(gauge: Any, first: str) -> None:
    """Each row is the same run in that gauge; there are seven, this one among them, also at the ends."""
    run = {"wire_length": 150, "mean_current": 0.2}
    here = results(wire_gauge=gauge, **run)
    rows = here["by_gauge"]
    assert len(rows) == 7
    assert rows[0]["name"] == f"AWG {first}"
    assert [row["copper_mass_change"] for row in rows].count(0) == 1
    for row in rows:
        number = row["name"].removeprefix("AWG ")
        alone = results(wire_gauge=number if "/" in number else int(number), **run)
        for name in ("wire_area", "copper_mass", "voltage_drop", "power_loss", "wire_temperature"):
            assert row[name] == pytest.approx(alone[name], rel=1e-11)
        assert row["copper_mass_change"] == pytest.approx(alone["copper_mass"] - here["copper_mass"], abs=1e-9, rel=0)


@given(st.integers(6, 36), st.floats(1, 1000), st.floats(0.01, 0.3))
def test_thicker_wire_weighs_more_and_loses_less(gauge: int, length: float, current: float) -> None:
    """Monotonic; and drop and mass are proportional to the length."""
    run = {"wire_length": length, "mean_current": current}
    thick, thin = (results(wire_gauge=each, **run) for each in (gauge, gauge + 1))
    assert thick["copper_mass"] > thin["copper_mass"]
    assert thick["voltage_drop"] < thin["voltage_drop"]
    assert thick["wire_temperature"] < thin["wire_temperature"]
    assert thick["wire_current_limit"] > thin["wire_current_limit"]
    double = results(wire_gauge=gauge, wire_length=2 * length, mean_current=current)
    for name in ("voltage_drop", "copper_mass", "power_loss"):
        assert double[name] == pytest.approx(2 * thick[name], rel=1e-10)


def test_a_current_that_melts_the_wire_has_no_steady_temperature() -> None:
    """By hand: 60 A in AWG 24 give 4300 K at the resistance of 20 °C, far beyond 1/0.00393 = 254 K."""
    response = calculate("wire-drop", wire_gauge=24, wire_length=100, mean_current=60)
    (reason,) = [caution for caution in response["cautions"] if caution["code"] == "wire-melts"]
    assert "60 A" in reason["text"]
    assert response["results"]["voltage_drop"] is None
    assert response["results"]["copper_mass"] is not None
    for_short = results(wire_gauge=24, wire_length=100, mean_current=60, wire_temperature=20)
    assert for_short["voltage_drop"] is not None


def test_a_peak_that_melts_the_wire_names_the_time() -> None:
    """By hand: 300 A in 0.2047 mm² are 1465 A/mm², which heats copper by 0.0050374 x 1465² = 10 800 K/s at 20 °C."""
    run: dict[str, Any] = {
        "wire_gauge": 24,
        "wire_length": 100,
        "mean_current": 1,
        "peak_current": 300,
        "peak_duration": 1,
    }
    response = calculate("wire-drop", **run)
    assert response["results"]["peak_wire_temperature"] is None
    assert 0.03 < response["results"]["fusing_time"] < 0.1
    assert {"peak-melts-wire", "peak-overheats-wire"} <= {caution["code"] for caution in response["cautions"]}
    shorter = results(**{**run, "peak_duration": 0.9 * response["results"]["fusing_time"]})
    assert shorter["peak_wire_temperature"] is not None


def test_supply_voltage_is_nominal_by_the_cells() -> None:
    """By hand: 4 x 3.7 = 14.8 V; without cells and without a voltage there is no share, and the reason names it."""
    found = calculate("wire-drop", **RUN, cells=4)
    share = found["results"]["voltage_drop"] / 14.8
    assert found["results"]["voltage_drop_share"] == pytest.approx(100 * share, rel=1e-10)
    assert "supply_voltage" in found["assumed"]
    without = calculate("wire-drop", **RUN)
    assert without["results"]["voltage_drop_share"] is None
    assert any("supply voltage" in caution["text"] for caution in without["cautions"])


def test_a_drop_above_the_supply_cannot_be() -> None:
    """AWG 14 has 8.285 mΩ/m at 20 °C: 20 A lose 14.8 V, all of 4 cells, in 44.7 m there and back, 40 A in half."""
    run = {"wire_gauge": 14, "mean_current": 20, "cells": 4, "wire_temperature": 20, "stranding_allowance": 0}
    assert "drop-above-supply" not in codes(**run, wire_length="44 m")
    assert "drop-above-supply" in codes(**run, wire_length="45 m")
    assert "drop-above-supply" in codes(**run, wire_length="23 m", peak_current=40)


def test_cautions_about_heat() -> None:
    assert "wire-overheated" not in codes(**RUN)
    assert "wire-overheated" in codes(**RUN, wire_temperature=101)
    assert "wire-overheated" not in codes(**RUN, wire_temperature=100)
    assert "peak-overheats-wire" in codes(**RUN, peak_current=150, peak_duration=5)
    assert "peak-overheats-wire" not in codes(**RUN, peak_current=30)
    assert "heating-estimated" in codes(**RUN)
    assert "heating-estimated" not in codes(**RUN, wire_temperature=60)
    assert "current-varies" in codes(**RUN, peak_current=21)
    assert "current-varies" not in codes(**RUN, peak_current=20)
    assert {"short-circuit", "copper-only"} <= codes(**RUN)


def test_a_craft_document_gives_cells_and_chemistry() -> None:
    craft = {"packs": [{"name": "a", "mass": 95, "cells": 4, "capacity": 850, "chemistry": "lihv"}]}
    found = calculate("wire-drop", craft=craft, **RUN)
    assert found["inputs"]["supply_voltage"] == pytest.approx(15.2, rel=1e-12)


def test_the_resistance_of_the_wire_goes_on_to_a_pack() -> None:
    """As the resistance of leads, both ways."""
    suggestions = suggest_next(calculate("wire-drop", **RUN, cells=4, wire_temperature=40))
    assert any(each.from_results.get("lead_resistance") == "wire_resistance" for each in suggestions)
