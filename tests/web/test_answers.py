"""One response, however it is requested: GET, POST, HEAD; with units, uncertainty and working."""

from __future__ import annotations

import json
from typing import Any, NoReturn
from urllib.parse import quote, urlencode

import pytest
from flask.testing import FlaskClient

from gramwatt.engine import registry
from gramwatt.model import Calculator, Example, Table, TimeSeries

PACK = "/v1/pack-energy?cells=6&capacity=1300"


def fits_query(calculator: Calculator[Any, Any], example: Example) -> bool:
    return not any(isinstance(calculator.input_fields[name], Table | TimeSeries) for name in example.given)


def query(example: Example) -> str:
    words = {n: ",".join(map(str, v)) if isinstance(v, list) else str(v) for n, v in example.given.items()}
    return urlencode(words, quote_via=quote)


EXAMPLES = [
    pytest.param(calculator, example, id=f"{calculator.name}: {example.title}")
    for calculator in registry.load().values()
    for example in calculator.examples
    if fits_query(calculator, example)
]


def finite_json(raw: bytes) -> Any:
    """Parse as a reader that is strict about RFC 8259."""

    def refuse(word: str) -> NoReturn:
        raise AssertionError(f"{word} in JSON")

    return json.loads(raw, parse_constant=refuse)


@pytest.mark.parametrize(("calculator", "example"), EXAMPLES)
def test_get_and_post_give_the_same_bytes(client: FlaskClient, calculator: Any, example: Example) -> None:
    path = f"/v1/{calculator.name}"
    by_get = client.get(f"{path}?{query(example)}")
    by_post = client.post(path, json=dict(example.given))
    assert (by_get.status_code, by_post.status_code) == (200, 200)
    assert by_get.data == by_post.data
    assert by_get.content_type == by_post.content_type == "application/json"
    assert by_post.headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize(("calculator", "example"), EXAMPLES)
def test_head_has_the_headers_of_get_and_no_body(client: FlaskClient, calculator: Any, example: Example) -> None:
    for path in (f"/v1/{calculator.name}", f"/v1/{calculator.name}/{calculator.headline}"):
        get, head = (client.open(f"{path}?{query(example)}", method=method) for method in ("GET", "HEAD"))
        assert head.data == b""
        assert head.status_code == get.status_code == 200
        assert {**head.headers, "X-Request-ID": ""} == {**get.headers, "X-Request-ID": ""}
        assert int(head.headers["Content-Length"]) == len(get.data)


@pytest.mark.parametrize("path", ["/v1/pack-energy", "/v1/pack-energy/usable_energy", "/v1", "/openapi.json"])
def test_preflight_allows_what_the_path_allows(client: FlaskClient, path: str) -> None:
    inputs = {"Origin": "https://club.example", "Access-Control-Request-Method": "POST"}
    answer = client.options(path, headers={**inputs, "Access-Control-Request-Headers": "content-type"})
    allowed = {word.strip() for word in answer.headers["Access-Control-Allow-Methods"].split(",")}
    assert answer.status_code == 200
    assert answer.data == b""
    assert allowed == {"GET", "HEAD", "OPTIONS"} | ({"POST"} if path == "/v1/pack-energy" else set())
    assert "content-type" in answer.headers["Access-Control-Allow-Headers"].lower()
    assert answer.headers["Access-Control-Allow-Origin"] == "*"


def test_defaults_are_reported_as_assumed_and_every_quantity_has_its_unit(client: FlaskClient) -> None:
    answer = client.get(PACK).get_json()
    assert answer["calculator"] == "pack-energy"
    assert answer["inputs"] == {"cells": 6, "capacity": 1300, "parallel_cells": 1, "chemistry": "lipo", "reserve": 20}
    assert answer["assumed"] == ["parallel_cells", "chemistry", "reserve"]
    assert answer["input_units"] == {"capacity": "mAh", "reserve": "%"}
    assert answer["units"]["usable_energy"] == "Wh"
    assert answer["results"]["usable_energy"] == 23.088
    assert {"cells", "chemistry", "baggage"}.isdisjoint(answer["units"])


def test_a_default_that_is_given_is_not_assumed(client: FlaskClient) -> None:
    answer = client.get(f"{PACK}&reserve=20").get_json()
    assert answer["assumed"] == ["parallel_cells", "chemistry"]


@pytest.mark.parametrize(
    "capacity",
    [
        pytest.param("1.3 Ah", id="greater-unit"),
        pytest.param("1.3Ah", id="no-space"),
        pytest.param("1300 mAh", id="own-unit"),
        pytest.param("4680 As", id="SI-unit"),
    ],
)
def test_a_unit_text_gives_the_bytes_of_the_bare_number(client: FlaskClient, capacity: str) -> None:
    bare = client.post("/v1/pack-energy", json={"cells": 6, "capacity": 1300}).data
    assert client.post("/v1/pack-energy", json={"cells": 6, "capacity": capacity}).data == bare
    assert client.get(f"/v1/pack-energy?cells=6&capacity={quote(capacity)}").data == bare


def test_results_are_converted_by_units(client: FlaskClient) -> None:
    answer = client.get(f"{PACK}&units=usable_energy:kJ,usable_charge:Ah").get_json()
    assert answer["results"]["usable_energy"] == 83.1168  # by hand: 23.088 Wh x 3.6 kJ/Wh
    assert answer["results"]["usable_charge"] == 1.04
    assert answer["units"]["usable_energy"] == "kJ"
    assert answer["units"]["usable_charge"] == "Ah"
    assert answer["units"]["nominal_energy"] == "Wh"


def test_working_adds_formula_numbers_and_sources(client: FlaskClient) -> None:
    answer = client.get(f"{PACK}&working=true").get_json()
    (step,) = [each for each in answer["working"]["steps"] if each["name"] == "usable_energy"]
    assert step["formula"] == "nominal_energy * (1 - reserve)"
    assert step["numbers"] == "(28.86 Wh) * (1 - (20 %))"
    assert step["value"] == 23.088
    assert step["unit"] == "Wh"
    assert [answer["working"]["references"][number - 1]["number"] for number in step["references"]] == step[
        "references"
    ]
    assert set(answer["results"]) <= {each["name"] for each in answer["working"]["steps"]}
    assert "working" not in client.get(PACK).get_json()


@pytest.mark.parametrize(
    "word",
    [
        pytest.param("1300%20%C2%B1%2013%20mAh", id="plus-minus-sign"),
        pytest.param("1300+%2B/-+13+mAh", id="ascii-escaped"),
        pytest.param("1300+++/-+13+mAh", id="ascii-whose-plus-became-a-space"),
    ],
)
def test_uncertainty_is_carried_to_every_numeric_result(client: FlaskClient, word: str) -> None:
    """By hand: 1 % of the capacity is 1 % of the energy; the voltage does not depend on it."""
    answer = client.get(f"/v1/pack-energy?cells=6&capacity={word}").get_json()
    assert answer["given"]["capacity"] == "1300 ± 13"
    output = answer["uncertainty"]
    assert output["usable_energy"] == {
        "standard": pytest.approx(0.23088, rel=1e-9),
        "low": pytest.approx(23.088 - 1.96 * 0.23088, rel=1e-4),
        "high": pytest.approx(23.088 + 1.96 * 0.23088, rel=1e-4),
        "shares": {"capacity": 1},
    }
    assert output["nominal_voltage"]["standard"] == 0
    assert "baggage" not in output
    assert "uncertainty" not in client.get(PACK).get_json()


def test_shares_of_several_uncertain_inputs_add_up_to_one(client: FlaskClient) -> None:
    """By hand: relative 1 % of capacity and 2 % of 1 - reserve give sqrt(5) % and shares of 1/5 and 4/5."""
    given = {"cells": 6, "capacity": "1300 ± 13 mAh", "reserve": "20 ± 1.6 %"}
    output = client.post("/v1/pack-energy", json=given).get_json()["uncertainty"]["usable_energy"]
    assert output["standard"] == pytest.approx(23.088 * 0.01 * 5**0.5, rel=1e-3)
    assert output["shares"] == pytest.approx({"capacity": 0.2, "reserve": 0.8}, rel=5e-3)


def test_uncertainty_follows_the_unit_of_its_result(client: FlaskClient) -> None:
    given = {"cells": 6, "capacity": "1300 ± 13 mAh"}
    output = client.post("/v1/pack-energy?units=usable_energy:kJ", json=given).get_json()["uncertainty"]
    assert output["usable_energy"]["standard"] == pytest.approx(0.831168, rel=1e-9)


def test_a_table_in_a_query_is_rejected_with_advice_to_post(client: FlaskClient) -> None:
    answer = client.get("/v1/mass-margin", query_string={"parts": '[{"mass": 5}]'})
    assert answer.status_code == 422
    (error,) = answer.get_json()["errors"]
    assert error["pointer"] == "/parts"
    assert "POST" in error["detail"]


def test_a_table_in_a_query_is_computed_with_the_body_to_post(client: FlaskClient) -> None:
    """Its problem shows a body that can be sent as it stands."""
    (error,) = client.get("/v1/mass-margin?parts=5").get_json()["errors"]
    shown = f"{error['detail']} {error['accepted']}"
    begin, end = shown.find("{"), shown.rfind("}")
    assert begin >= 0, "no JSON object in the error of the table"
    assert client.post("/v1/mass-margin", json=json.loads(shown[begin : end + 1])).status_code == 200


def test_inputs_in_the_query_of_a_post_are_rejected_by_name(client: FlaskClient) -> None:
    answer = client.post("/v1/pack-energy?cells=6&working=true", json={"cells": 6, "capacity": 1300})
    assert answer.status_code == 422
    (error,) = answer.get_json()["errors"]
    assert error["pointer"] == "/cells"
    assert error["given"] == "6"
    assert "body" in error["accepted"]


@pytest.mark.parametrize(
    ("calculator", "given"),
    [
        pytest.param("pack-energy", {"cells": 1, "capacity": 1, "pack_mass": 5e-324}, id="least-float"),
        pytest.param("pack-energy", {"cells": 6, "capacity": 1300, "pack_mass": 1e-305}, id="division-overflows"),
        pytest.param(
            "endurance",
            {"cells": 1, "capacity": 1, "mean_power": 5e-324, "start_state_of_charge": 5e-324},
            id="charge-that-rounds-to-none",
        ),
        pytest.param("endurance", {"cells": 6, "capacity": 1300, "mean_power": 5e-324}, id="endless-flight"),
        pytest.param(
            "pack-energy",
            {"cells": 6, "capacity": "1300 ± 1000000000 mAh", "pack_mass": 1e-305},
            id="spread-of-the-endless",
        ),
        pytest.param("mass-margin", {"masses": [0], "mass_limit": 250}, id="nothing-over-nothing"),
        pytest.param(
            "throttle-cap",
            {"kv": 1e-310, "cells": 1, "target_no_load_speed": 1e6, "diameter": 1e-300},
            id="speed-underflows",
        ),
    ],
)
def test_json_has_finite_numbers_only_and_says_why_one_is_missing(
    client: FlaskClient, calculator: str, given: dict[str, object]
) -> None:
    answer = client.post(f"/v1/{calculator}", json=given)
    made = finite_json(answer.data)
    assert answer.status_code == 200
    output = {name for caution in made["cautions"] for name in caution.get("results", ())}
    assert {name for name, value in made["results"].items() if value is None} == output
    assert not [caution["text"] for caution in made["cautions"] if " inf " in f" {caution['text']} "]
    assert None not in made["inputs"].values(), "what was given or assumed is a value"


def test_more_power_than_the_pack_has_is_an_answer_that_names_the_most(client: FlaskClient) -> None:
    given = {
        "cells": 6,
        "capacity": 1300,
        "pack_power": 4000,
        "open_circuit_voltage": 25,
        "cell_resistance": 8,
        "lead_resistance": 2,
    }
    answer = client.post("/v1/pack-current", json=given)
    made = answer.get_json()
    assert answer.status_code == 200
    assert made["results"]["pack_current"] is None
    assert made["results"]["loaded_voltage"] is None
    assert made["results"]["maximum_pack_power"] == 3125  # by hand: 25 V squared over 4 x 50 mohm
    reason = next(caution for caution in made["cautions"] if caution["code"] == "power-beyond-pack")
    assert "3125 W" in reason["text"]
    assert {"pack_current", "loaded_voltage"} <= set(reason["results"])
