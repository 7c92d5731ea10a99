"""A craft as a document and as single inputs: every calculator gives the same response.

The single inputs are put together here by hand, from the rules that DEVELOPERS.md states, without the code that reads
craft documents.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any, Final

import pytest

from gramwatt import calculate
from gramwatt.engine import registry
from gramwatt.model import AnyCalculator

CRAFT: Final[dict[str, Any]] = {
    **json.loads((Path(__file__).resolve().parents[1] / "examples/craft/craft.json").read_text("utf-8")),
    "air_density": "1.12 ± 0.01 kg/m3",
    "flights": [
        {"name": "noon", "pack": "4 cells", "propeller": "two blades", "duration": 6.2, "reserve": 25},
        {"name": "dusk", "pack": "6 cells", "duration": "400 s", "charge_used": 830, "mass": "523 ± 1 g"},
    ],
}
LOG: Final = {
    "time": [0, 20, 20.5, 22.5, 23, 60],
    "voltage": [16.6, 16.4, 15.8, 15.8, 16.3, 16.2],
    "current": [8, 8, 40, 40, 8, 8],
}
OWN: Final[dict[str, Any]] = {"pack_power": 210, "log": LOG, "elevation": 400, "mean_power": 210}
"""What a craft document does not say, where a calculator asks for it."""
CHOICES: Final = [
    pytest.param({}, id="first rows"),
    pytest.param({"pack": "4 cells", "propeller": "two blades", "flight": "dusk"}, id="chosen rows"),
]


def find_row(table: str, name: str | None) -> dict[str, Any]:
    rows: list[dict[str, Any]] = CRAFT[table]
    return next(row for row in rows if name in (None, row["name"]))


def weigh(pack: dict[str, Any], propeller: dict[str, Any]) -> str:
    """Return the mass [g]: each reading is off by up to half a step of the display, and counts as often as its part."""
    readings = [(part["mass"], part.get("count", 1)) for part in CRAFT["parts"]]
    readings += [(propeller["mass"], CRAFT["motors"]), (pack["mass"], 1)]
    total = sum(mass * count for mass, count in readings)
    uncertainty = math.sqrt(sum(count**2 for _, count in readings)) * CRAFT["scale_resolution"] / math.sqrt(12)
    return f"{total:.12g} ± {uncertainty:.6g}"


def complete_flight(flight: dict[str, Any]) -> dict[str, Any]:
    """Return a flight with what its pack says, and its mass."""
    pack = find_row("packs", flight["pack"])
    propeller = find_row("propellers", flight.get("propeller"))
    lacking = {name: value for name, value in pack.items() if name not in ("name", "mass")}
    return {"mass": weigh(pack, propeller), **lacking, **flight}


def make_single_inputs(calculator: AnyCalculator, choices: dict[str, str]) -> dict[str, Any]:
    pack, propeller = find_row("packs", choices.get("pack")), find_row("propellers", choices.get("propeller"))
    flight = complete_flight(find_row("flights", choices.get("flight")))
    single = {name: value for name, value in CRAFT.items() if not isinstance(value, list)}
    single |= {
        "propeller_mass" if name == "mass" else name: value for name, value in propeller.items() if name != "name"
    }
    single |= {"pack_mass" if name == "mass" else name: value for name, value in pack.items() if name != "name"}
    single |= {f"reference_{name}": value for name, value in flight.items()}
    single["mass"] = weigh(pack, propeller)
    if "log" in calculator.input_fields:  # then the flight is what the request is about
        single |= flight
    tables: dict[str, list[dict[str, Any]]] = {name: rows for name, rows in CRAFT.items() if isinstance(rows, list)}
    tables["flights"] = [complete_flight(each) for each in CRAFT["flights"]]
    for member, table in (("pack", "packs"), ("propeller", "propellers"), ("flight", "flights")):
        if member in choices:
            tables[table] = sorted(tables[table], key=lambda row: row["name"] != choices[member])
    if "parts" in calculator.input_tables and calculator.input_tables["parts"].sum_of:  # and what adds to the parts
        added: list[dict[str, Any]] = [{**propeller, "count": CRAFT["motors"]}, pack]
        tables["parts"] = [*tables["parts"], *added]
    for name, rows in tables.items():
        if name in calculator.input_tables:
            columns = calculator.input_tables[name].columns
            tables[name] = [{column: row[column] for column in columns if column in row} for row in rows]
    if "propellers" in calculator.input_fields:
        single = {name: value for name, value in single.items() if name not in propeller}
    inputs = {**single, **tables}
    return {name: inputs[name] for name in calculator.input_fields if name in inputs and name not in OWN}


def list_own(calculator: AnyCalculator, taken: dict[str, Any]) -> dict[str, Any]:
    """Return what the request says itself: as in `OWN`, else what the first example gives of what is still needed."""
    own = {name: value for name, value in OWN.items() if name in calculator.input_fields}
    known = {*taken, *own}
    groups = [group for group in calculator.any_of if known.isdisjoint(group)]
    needed = {*calculator.required_inputs, *(name for group in groups for name in group)} - known
    return own | {name: value for name, value in calculator.examples[0].given.items() if name in needed}


@pytest.mark.parametrize("choices", CHOICES)
@pytest.mark.parametrize("name", registry.list_names())
def test_a_craft_and_single_inputs_give_the_same_response(name: str, choices: dict[str, str]) -> None:
    """Results, uncertainty, cautions, and what was given."""
    calculator = registry.get(name)
    craft = CRAFT
    if "flights" in calculator.input_fields and not calculator.input_tables["flights"].any_of:  # recorded ones
        craft = {**CRAFT, "flights": [{**flight, "log": LOG} for flight in CRAFT["flights"]]}
    single = make_single_inputs(calculator, choices)
    if craft is not CRAFT:
        single["flights"] = [{**flight, "log": LOG} for flight in single["flights"]]
    own = list_own(calculator, single)
    from_craft = calculate(calculator.name, **{**own, "craft": craft, **choices})
    alone = calculate(calculator.name, **own, **single)
    assert from_craft.pop("from_craft") == list(single)
    assert choices.items() <= from_craft.pop("chosen_rows", {}).items()
    assert from_craft == alone
