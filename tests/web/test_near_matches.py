"""What an error suggests for a word that is not known, and the forms that a value may have."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pytest
from flask.testing import FlaskClient

from gramwatt import InvalidInput, calculate
from gramwatt.engine import registry
from gramwatt.engine.unit_expressions import list_words
from gramwatt.model import Calculator, units
from gramwatt.model.messages import close_matches
from gramwatt.model.unit_table import WORDS

CALCULATORS = list(registry.load().values())
PACK: dict[str, Any] = {"cells": 6, "capacity": 1300}


def get_errors(name: str, **inputs: Any) -> dict[str, str]:
    """Return the details of the errors of a request by pointer."""
    with pytest.raises(InvalidInput) as raised:
        calculate(name, **inputs)
    return {error.pointer: error.detail for error in raised.value.errors}


@pytest.mark.parametrize("cells", ["4S", "4s"])
def test_cells_are_read_as_on_the_label(cells: str) -> None:
    assert calculate("pack-energy", cells=cells, capacity=1300) == calculate("pack-energy", cells=4, capacity=1300)


@pytest.mark.parametrize("cells", ["25S", "0S", "S", "4SS", "4 S", "04S", "4P", "4.0S", "-4S", "٤S"])
def test_other_texts_are_no_number_of_cells(cells: str) -> None:
    assert "/cells" in get_errors("pack-energy", cells=cells, capacity=1300)


def test_a_label_in_a_table_of_text_is_read(client: FlaskClient) -> None:
    table = "cells,capacity\n4S,1300\n4,1300\n6s,1300\n25S,1300\n"
    response = client.post("/v1/pack-energy/batch", data=table, content_type="text/csv")
    first, second, third, invalid = (line.split(",") for line in response.get_data(as_text=True).splitlines()[1:])
    assert first[2:] == second[2:]
    assert float(third[2]) == pytest.approx(1.5 * float(first[2]), rel=1e-9)
    assert "whole number" in ",".join(invalid)


@pytest.mark.parametrize(
    ("name", "word", "meant"),
    [
        ("full-throttle", "esc_rating", "controller_rating"),
        ("full-throttle", "ESC-rating", "controller_rating"),
        ("full-throttle", "motor_kv", "kv"),
        ("full-throttle", "c_rating", "discharge_rating"),
        ("hover-power", "auw", "mass"),
        ("pack-current", "internal_resistance", "cell_resistance"),
    ],
)
def test_an_input_is_found_by_another_name(name: str, word: str, meant: str) -> None:
    assert get_errors(name, **{word: 40})[f"/{word}"] == f'Unknown input "{word}"; did you mean {meant}?'


@pytest.mark.parametrize("calculator", CALCULATORS, ids=lambda calculator: calculator.name)
def test_another_name_means_one_input(calculator: Calculator[Any, Any]) -> None:
    fields = calculator.input_fields
    others = [synonym for kind in fields.values() for synonym in kind.synonyms]
    assert not [word for word, times in Counter(others).items() if times > 1]
    assert fields.keys().isdisjoint(others)


@pytest.mark.parametrize(
    ("unit", "meant"),
    [("grams", "g"), ("Kilogram", "kg"), ("ounces", "oz"), ("KG", "kg"), ("pounds", "lb"), ("gm", "g")],
)
def test_a_unit_is_found_by_its_word(unit: str, meant: str) -> None:
    detail = get_errors("pack-energy", **PACK, pack_mass=f"200 {unit}")["/pack_mass"]
    assert detail == f'Unknown unit "{unit}"; the units are g, kg, mg, oz, lb, lbs; did you mean {meant}?'


def test_a_unit_of_a_result_is_found_by_its_letters(client: FlaskClient) -> None:
    body = client.get("/v1/pack-energy?cells=4&capacity=1300&units=usable_energy:kj").get_json()
    assert body["errors"][0]["detail"].endswith("did you mean kJ?")


def test_words_for_units_are_written_to_the_table() -> None:
    assert list_words() == WORDS
    assert all(units.get_unit(spelling) for spelling in WORDS.values())


def test_a_misspelt_option_of_a_choice_is_suggested() -> None:
    with pytest.raises(InvalidInput) as raised:
        calculate("pack-energy", **PACK, chemistry="lippo")
    (error,) = raised.value.errors
    assert "did you mean lipo" in error.detail
    assert error.accepted == "lipo, lihv, li-ion or lifepo4"


@pytest.mark.parametrize(
    ("path", "meant"),
    [
        ("/v1/pack-energy/btch", "batch"),
        ("/v1/pack-energy/usable_enrgy", "usable_energy"),
        ("/opnapi.json", "/openapi.json"),
        ("/calculatrs/pack-energy", "/calculators/pack-energy"),
        ("/v1/pack-enrgy", "pack-energy"),
        ("/helth/live", "/health/live"),
    ],
)
def test_a_misspelt_path_is_suggested(client: FlaskClient, path: str, meant: str) -> None:
    response = client.get(path, headers={"Accept": "application/json"})
    assert response.status_code == 404
    assert meant in response.get_json()["detail"].partition("id you mean ")[2]


def test_an_unlike_path_has_no_suggestion(client: FlaskClient) -> None:
    detail = client.get("/wp-login.php", headers={"Accept": "application/json"}).get_json()["detail"]
    assert detail == "There is nothing at /wp-login.php."


def test_neither_the_path_itself_nor_one_for_another_method_is_suggested(client: FlaskClient) -> None:
    missing = client.get("/static/nothing.js", headers={"Accept": "application/json"})
    assert missing.get_json()["detail"] == "There is nothing at /static/nothing.js."
    wanted = {"path": "/calculators/pack-energy/downloads", "headers": {"Accept": "application/json"}}
    assert client.post(**wanted).get_json()["detail"].endswith("; did you mean /calculators/pack-energy/download?")
    assert client.get(**wanted).get_json()["detail"] == f"There is nothing at {wanted['path']}."


def test_an_option_in_the_query_of_a_post_is_suggested(client: FlaskClient) -> None:
    body = client.post("/v1/pack-energy?wrking=true", json=PACK).get_json()
    assert body["errors"][0]["detail"].endswith("did you mean working?")


@pytest.mark.parametrize(("option", "meant"), [("wrking=true", "working"), ("digts=3", "digits"), ("untis=x", "units")])
def test_an_option_of_a_query_is_suggested(client: FlaskClient, option: str, meant: str) -> None:
    body = client.get(f"/v1/pack-energy?cells=4&capacity=1300&{option}").get_json()
    assert body["errors"][0]["detail"].endswith(f"; did you mean the option {meant}?")


@pytest.mark.parametrize("path", ["/v1/pack-energy/usable_energy?format=csv", "/v1/pack-energy?errors=text"])
def test_an_option_of_other_requests_is_not_suggested(client: FlaskClient, path: str) -> None:
    detail = client.get(f"{path}&cells=4&capacity=1300").get_json()["errors"][0]["detail"]
    assert detail.endswith(" is an option, but not one of this request")


def test_a_synonym_leads_to_the_known_word() -> None:
    assert close_matches("Esc Rating", ["mass", "rating"], {"esc_rating": "controller"}) == ["controller"]
    assert close_matches("mas", ["mass", "rating"], {"masse": "mass"}) == ["mass"]
    assert close_matches("x" * 200, ["x"], {"x" * 200: "x"}) == []
