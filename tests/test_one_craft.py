"""One craft gets one figure, and one range, from every calculator that computes it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping
from typing import Any, Final, NamedTuple

import pytest

from gramwatt.engine import registry
from gramwatt.engine.draws import FEW_DRAWS
from gramwatt.engine.evaluate import evaluate_columns
from gramwatt.model import AnyCalculator, Choice, Table

CALCULATORS: Final = registry.load()
RTOL: Final = 1e-9

Bag = dict[str, Any]
"""A craft: inputs by name. Each calculator takes those that it declares."""

BASE: Final[Bag] = {
    "mass": 600,
    "dry_mass": 445,
    "pack_mass": 155,
    "cells": 4,
    "capacity": 1300,
    "kv": 2400,
    "diameter": 5,
    "pitch": 4.3,
    "state_of_charge": 100,
    "start_state_of_charge": 100,
    "pack_power": 200,
    "mean_power": 200,
    "mass_limit": 620,
    "scale_resolution": 0,
}
CRAFTS: Final[dict[str, Bag]] = {
    "from catalogue data": BASE,
    "with resistances, in the cold": {
        **BASE,
        "cells": 6,
        "capacity": 1050,
        "cell_resistance": 11,
        "lead_resistance": 4,
        "chemistry": "lihv",
        "kv": 1900,
        "motor_resistance": 120,
        "no_load_current": 1.4,
        "kv_deficit": 4,
        "avionics_power": 7,
        "blades": 2,
        "motors": 6,
        "figure_of_merit": 0.57,
        "air_density": 1.1,
        "throttle_cap": 66,
        "pack_temperature": 12,
        "activation_energy": 25,
        "state_of_charge": 90,
        "start_state_of_charge": 90,
        "reserve": 15,
        "discharge_rating": 80,
        "controller_rating": 25,
        "limit_comparison": "at-most",
    },
    "with a stator and uncertain inputs": {
        **BASE,
        "cells": 6,
        "kv": "1950 ± 30 rpm/V",
        "diameter": 5.1,
        "pitch": 4.6,
        "throttle_cap": 70,
        "stator_diameter": 22,
        "stator_height": 7,
        "avionics_power": "8 ± 1 W",
        "pack_resistance": "60 ± 5 mohm",
    },
    "with a bench point": {
        **BASE,
        "bench_speed": 26600,
        "bench_thrust": 920,
        "bench_voltage": 14.8,
        "bench_current": 23,
        "discharge_rating": 60,
        "controller_rating": 45,
    },
    "small": {
        **BASE,
        "mass": 110,
        "dry_mass": 60,
        "pack_mass": 50,
        "cells": 3,
        "capacity": 550,
        "kv": 4600,
        "pack_power": 40,
        "mean_power": 40,
        "diameter": 3,
        "pitch": 2,
        "thrust_coefficient": 0.17,
        "power_coefficient": 0.1,
        "mass_limit": 120,
    },
    "too heavy to hover": {**BASE, "mass": 4000, "dry_mass": 3845},
}
every_craft = pytest.mark.parametrize("bag", CRAFTS.values(), ids=CRAFTS)

LOADERS: Final = {"full-throttle", "hover-power"}
"""Calculators whose result `pack_power` is the load in their other results."""
AT_THE_LOAD: Final = {"pack_power", "pack_current"}
"""Results that differ between those two, as one hovers and the other flies at full throttle."""
LOAD_INPUTS: Final = ("pack_power", "mean_power")
"""The input of a calculator of packs that is the load."""

BUILD_COLUMNS: Final[Mapping[str, tuple[tuple[str, str], ...]]] = {
    "mass": (("mass-margin", "total_mass"),),
    "mass_margin": (("mass-margin", "mass_margin"),),
    "verdict": (("mass-margin", "verdict"),),
    "probability_under_limit": (("mass-margin", "probability_under_limit"),),
    "nominal_energy": (("pack-energy", "nominal_energy"),),
    "hover_power": (("hover-power", "hover_power"), ("full-throttle", "hover_power")),
    "hover_current": (("hover-power", "pack_current"),),
    "hover_throttle": (("hover-power", "hover_throttle"), ("full-throttle", "hover_throttle")),
    "endurance": (("endurance", "endurance"),),
    "ended_by": (("endurance", "ended_by"),),
    "thrust": (("full-throttle without a cap", "thrust"),),
    "thrust_to_weight": (("full-throttle without a cap", "thrust_to_weight"),),
    "pack_current": (("full-throttle without a cap", "pack_current"),),
    "capped_thrust": (("full-throttle", "thrust"),),
    "capped_pack_current": (("full-throttle", "pack_current"),),
    "capped_cell_voltage": (("full-throttle", "loaded_cell_voltage"),),
    "c_rate": (("full-throttle", "c_rate"),),
    "discharge_rating_share": (("full-throttle", "discharge_rating_share"),),
    "controller_rating_share": (("full-throttle", "controller_rating_share"),),
}
"""Columns of a build with one setup, and the same results of other calculators."""
OWN_COLUMNS: Final = {"name", "mean_power", "throttle_cap"}
"""Columns that no other calculator has; those that end in `change` or `change_share` are differences of setups."""


class Figure(NamedTuple):
    """One result in SI units, with its range; without one, or without a result, both ends are the value."""

    value: Any
    low: Any
    high: Any


def select_inputs(calculator: AnyCalculator, bag: Bag) -> Bag | None:
    """Return the inputs that a calculator takes from a craft; None where a required one is missing."""
    inputs: Bag = {name: bag[name] for name in calculator.input_fields if name in bag}
    for name, table in calculator.input_tables.items():
        if name == "packs":
            row = {
                column: bag["pack_mass" if column == "mass" else column] for column in table.columns if column in bag
            }
            inputs[name] = [row]
        elif name == "parts" and "dry_mass" not in calculator.input_fields:
            inputs[name] = [{"mass": bag["dry_mass"]}, {"mass": bag["pack_mass"]}]
    enough = all(set(group) & set(inputs) for group in calculator.any_of)
    return inputs if enough and set(calculator.required_inputs) <= set(inputs) else None


def compute(calculator: AnyCalculator, bag: Bag) -> dict[str, Figure] | None:
    """Return the results of a calculator for a craft, by name; those of a table's first row as ``table.column``.

    With few draws, as a calculator has whose flights may be recordings.
    """
    inputs = select_inputs(calculator, bag)
    if inputs is None:
        return None
    cells = {name: [value] for name, value in inputs.items()}
    outcome = evaluate_columns(calculator, cells, 1, text=False, draws=FEW_DRAWS)
    assert outcome.errors == {}
    found = {}
    for name, owner, index in list_results(calculator):
        values = getattr(outcome.results, name) if not owner else getattr(getattr(outcome.results, owner), name)
        label = f"{owner}.{name}" if owner else name
        if len(index) > 1 and not values.shape[1]:
            continue  # a table without rows
        value = values[index]
        low, high = (value, value)
        if outcome.uncertainty is not None and label in outcome.uncertainty.low and not is_missing(value):
            low, high = outcome.uncertainty.low[label][index], outcome.uncertainty.high[label][index]
        found[label] = Figure(value, low, high)
    return found


def is_missing(value: Any) -> bool:
    return isinstance(value, float) and math.isnan(value)


def list_results(calculator: AnyCalculator) -> Iterator[tuple[str, str, tuple[int, ...]]]:
    """Yield name, table if any, and index of each result that is one number or choice, or a table's first row."""
    for name, kind in calculator.result_fields.items():
        if kind.is_numeric or isinstance(kind, Choice):
            yield name, "", (0,)
        if isinstance(kind, Table):
            yield from ((column, name, (0, 0)) for column in kind.columns)


def assert_same(mine: Figure, other: Figure, what: str, *, with_range: bool = True) -> None:
    for part, one, two in zip(Figure._fields, mine, other, strict=True):
        if part == "value" or with_range:
            assert one == pytest.approx(two, rel=RTOL, abs=1e-12, nan_ok=True), f"{part} of {what}"


def takes_load(calculator: str) -> bool:
    """Return whether the load is an input of the calculator."""
    return any(name in CALCULATORS[calculator].input_fields for name in LOAD_INPUTS)


@every_craft
def test_results_of_one_name_agree(bag: Bag) -> None:
    """Each pair of calculators, each result that both have; packs at the load that the other calculator computes."""
    computed = {name: found for name, each in CALCULATORS.items() if (found := compute(each, bag)) is not None}
    assert len(computed) >= 8
    compared = set()
    for one, two in itertools.permutations(computed, 2):
        chained = one in LOADERS and takes_load(two)
        mine, other = computed[one], computed[two]
        if chained:
            watts = float(mine["pack_power"].value)
            if not watts > 0:  # no hover, no load
                continue
            again = compute(CALCULATORS[two], {**bag, **dict.fromkeys(LOAD_INPUTS, f"{watts:.17g} W")})
            assert again is not None
            other = again
        elif two in LOADERS and takes_load(one):
            continue  # the other way round, above
        at_other_loads = AT_THE_LOAD if {one, two} <= LOADERS else set()
        for name in sorted(mine.keys() & other.keys() - at_other_loads):
            assert_same(mine[name], other[name], f"{name} in {one} and {two}", with_range=not chained)
            compared.add(name)
    expected = {"hover_power", "hover_throttle", "pack_resistance", "maximum_pack_power", "c_rate", "loaded_voltage"}
    assert expected | {"loaded_cell_voltage", "discharge_rating_share"} <= compared


@every_craft
def test_a_build_with_one_setup_has_the_figures_of_the_single_calculators(bag: Bag) -> None:
    """Its columns by an explicit map, ranges included; flight time at the average power that the build computes."""
    build = compute(CALCULATORS["build"], bag)
    assert build is not None
    average = float(build["by_setup.mean_power"].value)
    others = {name: compute(each, bag) for name, each in CALCULATORS.items()}
    others["full-throttle without a cap"] = compute(CALCULATORS["full-throttle"], {**bag, "throttle_cap": 100})
    others["endurance"] = compute(
        CALCULATORS["endurance"], {**bag, "mean_power": f"{average:.17g} W"} if average > 0 else bag
    )
    for column, sources in BUILD_COLUMNS.items():
        for calculator, result in sources:
            if calculator == "endurance" and not average > 0:
                continue
            other = others[calculator]
            assert other is not None
            what = f"{column}, {result} in {calculator}"
            assert_same(build[f"by_setup.{column}"], other[result], what, with_range=calculator != "endurance")


def test_the_cap_of_a_build_that_matches_is_the_matching_cap() -> None:
    """A setup that matches the rotor speed of another pack: in throttle-cap the other is the target; same range."""
    for name, bag in CRAFTS.items():
        if "pack_resistance" in bag:
            continue  # measured, of one pack
        target = {"cells": bag["cells"] - 1, "capacity": 1.2 * bag["capacity"]}
        single = {**bag, **{f"target_{each}": value for each, value in target.items()}}
        cap = compute(CALCULATORS["throttle-cap"], single)
        inputs = select_inputs(CALCULATORS["build"], bag)
        assert cap is not None
        assert inputs is not None
        (row,) = inputs["packs"]
        if "cell_resistance" in row:  # cells of the same kind
            target["cell_resistance"] = row["cell_resistance"] * row["capacity"] / target["capacity"]
        packs = [{**row, **target, "name": "target"}, {**row, "name": "own"}]
        setups = [{"pack": "target", "throttle_cap": 100}, {"pack": "own", "match_quantity": "rotor-speed"}]
        cells = {each: [value] for each, value in {**inputs, "packs": packs, "setups": setups}.items()}
        outcome = evaluate_columns(CALCULATORS["build"], cells, 1, text=False, draws=FEW_DRAWS)
        assert outcome.uncertainty is not None
        label = "by_setup.throttle_cap"
        low, high = (part[label][0, 1] for part in (outcome.uncertainty.low, outcome.uncertainty.high))
        mine = Figure(outcome.results.by_setup.throttle_cap[0, 1], low, high)
        assert mine.value < 1
        assert_same(mine, cap["matching_throttle_cap"], f"the cap of the craft {name}")


def test_every_column_of_a_build_is_compared() -> None:
    (table,) = CALCULATORS["build"].result_tables.values()
    single = {name for name in table.columns if not name.endswith(("_change", "_change_share"))}
    assert single == BUILD_COLUMNS.keys() | OWN_COLUMNS
