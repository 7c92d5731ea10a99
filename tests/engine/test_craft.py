"""A craft document: which inputs a calculator takes from it, what adds up, and what is wrong with it."""

from __future__ import annotations

import json
import math
from typing import Any, Final

import pytest

from gramwatt import InvalidInput, calculate
from gramwatt.engine import craft_fields, registry
from gramwatt.engine.craft import take_inputs
from gramwatt.engine.craft_files import InvalidCraftFile
from gramwatt.model import Text

CRAFT: Final[dict[str, Any]] = {
    "parts": [{"name": "frame", "mass": 120.5}, {"name": "motor", "mass": "33 ± 0.2 g", "count": 4}],
    "packs": [
        {"name": "6 cells", "mass": 188, "cells": 6, "capacity": 1050, "cell_resistance": 9},
        {"name": "4 cells", "mass": "157 g", "cells": 4, "capacity": "1.3 Ah", "discharge_rating": 75},
    ],
    "kv": 1950,
    "diameter": 5,
    "pitch": 4.3,
    "motors": 4,
    "scale_resolution": 0.5,
    "mass_limit": 450,
}


def get_errors(name: str, **inputs: Any) -> dict[str, str]:
    """Return the errors of a request by pointer."""
    with pytest.raises(InvalidInput) as caught:
        calculate(name, **inputs)
    assert len({error.pointer for error in caught.value.errors}) == len(caught.value.errors)
    return {error.pointer: f"{error.detail}; {error.accepted}" for error in caught.value.errors}


def take(name: str, craft: Any = CRAFT, **choices: Any) -> dict[str, Any]:
    """Return what a calculator takes from a craft."""
    taken = take_inputs(registry.get(name), craft, choices, {})
    assert taken.errors == ()
    return dict(taken.inputs)


def test_without_a_choice_the_first_row_stands_for_the_inputs() -> None:
    response = calculate("pack-energy", craft=CRAFT)
    alone = calculate("pack-energy", cells=6, capacity=1050, pack_mass=188)
    assert response.pop("from_craft") == ["cells", "capacity", "pack_mass"]
    assert response.pop("chosen_rows") == {"pack": "6 cells"}
    assert response == alone


def test_a_row_is_chosen_by_its_name_and_own_inputs_take_precedence() -> None:
    response = calculate("pack-energy", craft=CRAFT, pack="4 cells", capacity=1500)
    alone = calculate("pack-energy", cells=4, capacity=1500, pack_mass=157)
    assert response.pop("from_craft") == ["cells", "pack_mass"]
    assert response.pop("chosen_rows") == {"pack": "4 cells"}
    assert response == alone


def test_mass_is_the_sum_of_parts_and_pack_with_its_uncertainty() -> None:
    """120.5 + 4 x 33 + 157 g; readings 1 + 4² + 1 times 0.5²/12, and the ± of the motors 4² x 0.2² (g²)."""
    value, _, uncertainty = take("full-throttle", pack="4 cells")["mass"].partition(" ± ")
    assert float(value) == 409.5
    assert float(uncertainty) == pytest.approx(math.sqrt(18 * 0.25 / 12 + 0.64), rel=1e-5)
    assert "mass" in calculate("full-throttle", craft=CRAFT, pack="4 cells")["from_craft"]


def test_the_sum_has_the_uncertainty_of_the_same_sum_in_mass_margin() -> None:
    """mass-margin takes the sum as a table; its expanded uncertainty is twice the standard one."""
    margin = calculate("mass-margin", craft=CRAFT, pack="4 cells")
    assert [row["name"] for row in margin["given"]["parts"]] == ["frame", "motor", "4 cells"]
    assert margin["results"]["total_mass"] == 409.5
    stated = float(take("hover-power", pack="4 cells")["mass"].partition(" ± ")[2])
    assert margin["results"]["expanded_mass_uncertainty"] == pytest.approx(2 * stated, rel=1e-5)


def test_a_response_says_which_rows_it_used() -> None:
    """Also where a row is but an addend of the mass; not where a table is taken as a whole, or nothing of it."""
    blades = {**CRAFT, "propellers": [{"name": "two", "mass": 3}, {"name": "three", "mass": 4}]}
    assert calculate("mass-margin", craft=blades, propeller="three")["chosen_rows"] == {
        "pack": "6 cells",
        "propeller": "three",
    }
    assert calculate("hover-power", craft=blades)["chosen_rows"] == {"pack": "6 cells", "propeller": "two"}
    assert calculate("pack-energy", craft=blades, cells=4, capacity=1300, pack_mass=150).get("chosen_rows") is None
    assert "chosen_rows" not in calculate("build", craft=CRAFT)
    flights = [{"name": "noon", "duration": 6, "pack": "4 cells"}]
    flown = calculate("endurance-from-flight", craft={**CRAFT, "flights": flights})
    assert flown["chosen_rows"] == {"pack": "6 cells", "flight": "noon"}


def test_an_explicit_mass_wins_over_the_sum() -> None:
    assert calculate("hover-power", craft={**CRAFT, "mass": 500})["given"]["mass"] == 500
    assert calculate("hover-power", craft={**CRAFT, "mass": 500}, mass=510)["given"]["mass"] == 510


def test_a_craft_may_be_json_text() -> None:
    text = json.dumps(CRAFT)
    assert calculate("pack-energy", craft=f"\n{text}") == calculate("pack-energy", craft=CRAFT)
    for wrong in ('{"packs": 1', '{"packs": "\ud800"}'):
        with pytest.raises(InvalidCraftFile, match=r"^the craft is not valid JSON: "):
            calculate("pack-energy", craft=wrong)


def test_packs_alone_are_no_craft_to_weigh() -> None:
    without = {name: value for name, value in CRAFT.items() if name != "parts"}
    assert "mass" not in calculate("full-throttle", craft=without)["given"]
    assert get_errors("hover-power", craft=without).keys() == {"/mass"}
    assert calculate("hover-power", craft={**without, "dry_mass": 250})["from_craft"][0] == "mass"


def test_an_own_input_voids_inputs_of_the_craft_that_would_replace_it() -> None:
    craft = {**CRAFT, "packs": [{**CRAFT["packs"][0], "pack_resistance": 70}]}
    del craft["packs"][0]["cell_resistance"]
    assert calculate("endurance", craft=craft, mean_power=200)["given"]["pack_resistance"] == 70
    own = calculate("endurance", craft=craft, mean_power=200, cell_resistance=8)
    assert own["given"]["cell_resistance"] == 8
    assert "pack_resistance" not in own["given"]
    measured = calculate("endurance", craft=CRAFT, mean_power=200, pack_resistance=60)
    assert "cell_resistance" not in measured["from_craft"]


def test_a_single_input_of_the_craft_holds_for_every_row_without_its_own() -> None:
    """So that a build and the single calculators see the same packs."""
    craft = {**CRAFT, "chemistry": "lihv", "packs": [{**CRAFT["packs"][0], "chemistry": "lipo"}, CRAFT["packs"][1]]}
    assert calculate("pack-energy", craft=craft)["given"]["chemistry"] == "lipo"
    assert calculate("pack-energy", craft=craft, pack="4 cells")["given"]["chemistry"] == "lihv"
    rows = calculate("build", craft=craft)["given"]["packs"]
    assert [row["chemistry"] for row in rows] == ["lipo", "lihv"]


def test_the_chosen_pack_comes_first_in_a_table() -> None:
    rows = calculate("build", craft=CRAFT, pack="4 cells")["given"]["packs"]
    assert [row["name"] for row in rows] == ["4 cells", "6 cells"]


def test_a_flight_takes_what_it_lacks_from_the_pack_it_names() -> None:
    """Mass 120.5 + 4 x 33 + 157 g; cells and capacity of the pack, the flight's own reserve."""
    flights = [
        {"name": "first", "pack": "4 cells", "duration": 6.5, "reserve": 25},
        {"name": "second", "pack": "6 cells", "duration": 6, "mass": 441},
    ]
    assert calculate("power-fit", craft={**CRAFT, "flights": flights}, pack="4 cells")["results"]
    first, second = take("power-fit", {**CRAFT, "flights": flights}, pack="4 cells")["flights"]
    assert (first["cells"], first["capacity"], first["reserve"]) == (4, "1.3 Ah", 25)
    assert first["mass"].startswith("409.5 ±")
    assert (second["cells"], second["mass"]) == (6, 441)
    flown = calculate("endurance-from-flight", craft={**CRAFT, "flights": flights}, flight="second", pack="4 cells")
    assert {name: flown["given"][name] for name in ("reference_duration", "reference_cells", "reference_mass")} == {
        "reference_duration": 6,
        "reference_cells": 6,
        "reference_mass": 441,
    }
    assert flown["given"]["cells"] == 4


LOG: Final = {"time": [0, 30, 60, 90], "voltage": [16.4, 15.2, 15.1, 15.0], "current": [1, 20, 21, 19]}


def test_a_recorded_flight_has_its_own_pack() -> None:
    """Not the first pack, which flew another time."""
    craft = {**CRAFT, "flights": [{"name": "noon", "log": LOG, "pack": "4 cells"}, {"name": "dusk", "log": LOG}]}
    noon = calculate("flight-log", craft=craft)
    assert (noon["given"]["cells"], noon["given"]["capacity"]) == (4, 1300)
    alone = calculate("flight-log", log=LOG, cells=4, capacity=1300)
    assert noon["results"] == alone["results"]
    six = {**CRAFT, "flights": [{"name": "dusk", "log": LOG, "cells": 4}]}
    assert "capacity" not in calculate("flight-log", craft=six)["given"]
    assert calculate("flight-log", craft=six, pack="4 cells")["given"]["capacity"] == 1300


def test_a_pack_that_the_request_names_leaves_out_flights_of_another() -> None:
    flights = [{"name": "noon", "log": LOG, "pack": "4 cells"}, {"name": "dusk", "log": LOG, "pack": "6 cells"}]
    craft = {**CRAFT, "flights": flights}
    assert calculate("flight-log", craft=craft)["given"]["cells"] == 4
    assert calculate("flight-log", craft=craft, pack="6 cells")["given"]["cells"] == 6
    only_four = {**CRAFT, "flights": flights[:1]}
    assert calculate("flight-log", craft=only_four, pack="6 cells", log=LOG)["given"]["cells"] == 6


def test_uncertain_values_serve_a_calculator_without_uncertainty() -> None:
    craft = {"capacity": "1300 ± 20 mAh", "cells": 4}
    shown = calculate("overlay-cues", craft=craft, log=LOG)
    assert shown["given"]["capacity"] == 1300


def test_errors_point_into_the_craft() -> None:
    craft: dict[str, Any] = {**CRAFT, "packs": [{**CRAFT["packs"][0], "capacity": -5, "cells": "six"}]}
    craft["parts"] = [{"mass": "heavy"}, {"mass": 3, "count": 0}]
    assert get_errors("pack-energy", craft=craft).keys() == {"/craft/packs/0/cells", "/craft/packs/0/capacity"}
    errors = get_errors("hover-power", craft=craft)
    assert {"/craft/parts/0/mass", "/craft/parts/1/count"} <= errors.keys()
    assert "/mass" not in errors, "it follows from what is wrong"
    assert {"/craft/parts/0/mass", "/craft/parts/1/count"} <= get_errors("mass-margin", craft=craft).keys()
    assert get_errors("build", craft=craft, pack="6 cells").keys() >= {"/craft/packs/0/cells", "/craft/parts/0/mass"}


def test_a_pack_without_a_mass_is_no_light_craft() -> None:
    craft = {**CRAFT, "packs": [{"name": "6 cells", "cells": 6, "capacity": 1050}]}
    assert get_errors("mass-margin", craft=craft).keys() == {"/craft/packs/0/mass"}
    assert "mass" not in calculate("full-throttle", craft=craft)["given"]


def test_unknown_names_have_near_matches() -> None:
    errors = get_errors("pack-energy", craft={**CRAFT, "pakcs": 1, "parts": [{"mas": 1}]}, pack="5 cells")
    assert "did you mean packs" in errors["/craft/pakcs"]
    assert "did you mean mass" in errors["/craft/parts/0/mas"]
    assert "did you mean 6 cells or 4 cells" in errors["/pack"]
    assert errors["/pack"].endswith("; 6 cells or 4 cells")


@pytest.mark.parametrize(
    ("craft", "choices", "pointer", "detail"),
    [
        ([], {}, "/craft", "Enter an object, not a list"),
        ({"packs": {}}, {}, "/craft/packs", "Enter a list, not an object"),
        ({"packs": ["6 cells"]}, {}, "/craft/packs/0", "Enter an object, not text"),
        ({}, {"pack": "6 cells"}, "/pack", "No packs are given, so none can be named"),
        ({"packs": [{"name": "a"}, {"name": "a"}]}, {"pack": "a"}, "/pack", '2 rows of packs have the name "a"'),
        ({"packs": [{"name": "a"}]}, {"pack": 1}, "/pack", "Enter a name, not a number"),
        ({"flights": [{"pack": "b"}], "packs": [{"name": "a"}]}, {}, "/craft/flights/0/pack", 'There is no row "b"'),
    ],
)
def test_what_is_no_craft_is_an_error(craft: object, choices: dict[str, object], pointer: str, detail: str) -> None:
    errors = get_errors("pack-energy", craft=craft, cells=6, capacity=1050, **choices)
    assert list(errors) == [pointer]
    assert errors[pointer].startswith(detail)


@pytest.mark.parametrize("name", ["x" * 81, "", "a\nb", 5])
def test_the_name_of_a_row_that_is_used_is_checked(name: object) -> None:
    """The response has it. A calculator that takes nothing from the row ignores it."""
    craft = {**CRAFT, "packs": [{**CRAFT["packs"][0], "name": name}]}
    alone = get_errors("build", packs=craft["packs"], kv=1900, diameter=5, pitch=4)["/packs/0/name"]
    for calculator in ("pack-energy", "full-throttle", "build"):
        assert get_errors(calculator, craft=craft) == {"/craft/packs/0/name": alone}
    assert calculate("air-density", craft=craft, air_temperature=20)["results"]


def test_a_choice_without_a_craft_is_an_unknown_input() -> None:
    assert list(get_errors("pack-energy", cells=6, capacity=1050, pack="6 cells")) == ["/pack"]


def test_no_input_has_the_name_of_a_choice_and_rows_are_declared_alike() -> None:
    """What chooses a row is the same in each calculator, and every row that is chosen has a name."""
    choices = craft_fields.get_choices()
    assert {"pack": "packs", "flight": "flights"}.items() <= choices.items()
    assert not choices.keys() & craft_fields.get_fields().keys()
    for calculator in registry.load().values():
        for name, table in calculator.input_tables.items():
            shared = craft_fields.get_tables()[name]
            assert table.chosen_by == shared.kind.chosen_by, (calculator.name, name)
            assert table.chosen_by is None or isinstance(shared.columns["name"], Text)


def test_declared_names_exist() -> None:
    """Of terms of a sum, of inputs that columns stand for, and of tables whose rows a row names."""
    fields, tables = craft_fields.get_fields(), craft_fields.get_tables()
    for table in tables.values():
        choice = table.kind.chosen_by
        if choice is not None:
            assert not choice.needs or choice.needs in fields
            assert {column for column, _ in choice.stands_for} <= table.columns.keys()
            assert {name for _, name in choice.stands_for if name} <= fields.keys()
    terms = {term for kind in fields.values() for term in kind.sum_of}
    assert {term.name for term in terms} >= {"parts.mass", "packs.mass", "dry_mass"}
    for term in terms:
        table_name, _, column = term.name.partition(".")
        assert column in tables[table_name].columns if column else table_name in fields


def test_the_average_power_of_a_craft_is_the_power_of_a_flight() -> None:
    """With its uncertainty."""
    craft = {**CRAFT, "mean_power": "0.21 ± 0.01 kW"}
    response = calculate("endurance", craft=craft, pack="4 cells")
    assert response["given"]["mean_power"] == "210 ± 10"
    assert response.pop("from_craft") == ["cells", "capacity", "mean_power"]
    assert response.pop("chosen_rows") == {"pack": "4 cells"}
    assert response == calculate("endurance", cells=4, capacity=1300, mean_power="210 ± 10 W")
    assert get_errors("endurance", craft={**CRAFT, "mean_power": "low"}).keys() == {"/craft/mean_power"}


def test_the_source_of_an_input_is_the_column_that_stands_for_it() -> None:
    sources = craft_fields.describe_craft(registry.get("pack-energy"))
    assert (sources["pack_mass"].table, sources["pack_mass"].column) == ("packs", "mass")
    assert sources["parallel_cells"].table == ""
    assert craft_fields.describe_craft(registry.get("build"))["packs"].table == ""
    assert craft_fields.describe_craft(registry.get("flight-log"))["cells"].table == "flights"


def test_a_table_takes_no_part_in_a_sum_of_the_rows_of_a_craft() -> None:
    """Own parts stand for the whole list; a step of a display and a factor change what is added."""
    assert craft_fields.list_added_inputs(registry.get("mass-margin")) == {"scale_resolution"}
    assert craft_fields.list_added_inputs(registry.get("hover-power")) == {"motors"}


def name_packs(*names: str | None) -> dict[str, Any]:
    """Return the craft with packs of these names, the first of 4 cells, each one with a cell more."""
    packs = [{"cells": 4 + at, "capacity": 1300, "mass": 150} for at in range(len(names))]
    named = [{**row, **({} if name is None else {"name": name})} for row, name in zip(packs, names, strict=True)]
    return {**CRAFT, "packs": named}


def test_packs_without_a_name_can_be_chosen_by_their_number() -> None:
    """Also in a build, where the chosen pack comes first and keeps its name."""
    craft = {**name_packs(None, "large", None), "setups": [{"pack": "pack 1"}, {"pack": "pack 3"}, {"pack": "large"}]}
    assert calculate("pack-energy", craft=craft, pack="pack 3")["given"]["cells"] == 6
    build = calculate("build", craft=craft, pack="pack 3")
    assert [(row["name"], row["cells"]) for row in build["given"]["packs"]] == [
        ("pack 3", 6),
        ("pack 1", 4),
        ("large", 5),
    ]
    assert [row["name"] for row in build["results"]["by_setup"]] == ["pack 1", "pack 3", "large"]
    packs = [{name: cell for name, cell in row.items() if name != "name"} for row in build["given"]["packs"]]
    alone = calculate("build", **{**build["given"], "packs": packs[:2], "setups": [{"pack": "pack 2"}]})
    assert alone["results"]["by_setup"][0]["name"] == "pack 2"


def test_a_name_of_two_packs_is_one_error_where_it_is_used() -> None:
    craft = name_packs("a", "a", "b")
    message = '2 rows of packs have the name "a": give each a name of its own; b'
    assert get_errors("full-throttle", craft=craft, pack="a") == {"/pack": message}
    assert get_errors("pack-energy", craft=craft, pack="a") == {"/pack": message}
    errors = get_errors("build", craft={**craft, "setups": [{"pack": "a"}]})
    assert errors == {"/craft/setups/0/pack": message}


def test_setups_without_a_name_differ() -> None:
    craft = {**name_packs("a", "b"), "setups": [{"pack": "a"}, {"pack": "b"}, {"pack": "b", "throttle_cap": 60}]}
    rows = calculate("build", craft=craft)["results"]["by_setup"]
    assert [row["name"] for row in rows] == ["a", "b 2", "b 3"]


PACK: Final = CRAFT["packs"][0]


@pytest.mark.parametrize(
    ("name", "change", "choice", "pointer", "words"),
    [
        (
            "build",
            {"packs": [PACK] * 200, "setups": [{"pack": "6 cells"}]},
            {},
            "/craft/packs",
            "has 200 entries; it may",
        ),
        ("full-throttle", {"packs": [PACK] * 200}, {"pack": "6 cells"}, "/craft/packs", "has 200 entries; it may"),
        ("mass-margin", {"parts": [{"mass": 1}] * 600}, {}, "/craft/parts", "has 600 entries; it may"),
        ("mass-margin", {"parts": {"mass": 1}}, {}, "/craft/parts", "Enter a list, not an object"),
        ("mass-margin", {"parts": [{"mass": 1}] * 500}, {}, "/craft/parts", "500 entries, and 1 more come from other"),
    ],
)
def test_a_table_that_is_no_list_of_that_length_is_one_error(
    name: str, change: dict[str, Any], choice: dict[str, Any], pointer: str, words: str
) -> None:
    errors = get_errors(name, craft={**CRAFT, **change}, **choice)
    assert errors.keys() == {pointer}
    assert words in errors[pointer]


@pytest.mark.parametrize(
    ("name", "input_name", "source"),
    [
        ("hover-power", "mass", "parts.mass or dry_mass"),
        ("pack-energy", "capacity", "packs.capacity"),
    ],
)
def test_a_missing_input_says_what_in_the_craft_gives_it(name: str, input_name: str, source: str) -> None:
    errors = get_errors(name, craft={"packs": [{"cells": 4}], "diameter": 5})
    assert errors[f"/{input_name}"].startswith(f"{input_name} is required: in the craft {source} gives it; ")
