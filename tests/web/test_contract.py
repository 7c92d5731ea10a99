"""The contract: committed as it is served, valid, true in its examples, and never less than what was published."""

import copy
import json
import re
from collections.abc import Callable, Iterator
from functools import reduce
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV31SpecValidator

from fast_yaml import load_yaml
from gramwatt.engine import registry
from gramwatt.engine.query_strings import fits_query
from gramwatt.model import Table
from gramwatt.web.openapi import files
from gramwatt.web.openapi.document import build_document
from web.contract_diff import Side, breaking_changes

FOLDER = Path(__file__).resolve().parents[2] / "openapi"
STALE = "openapi/ is not what the service would serve; run `gramwatt contract --write openapi`"
CONTRACT = build_document()
SIDE = Side(CONTRACT)
VALIDATOR = Draft202012Validator(CONTRACT)
# 450,000 for the fourteen calculators of 0.1, and as much again for each new one as one of them may have added.
MAX_BYTES = 72_000 + 27_000 * len(registry.load())
REQUESTS = [f"/v1/{name}" for name in registry.load()]
# What any HTTP answer carries, and headers that speak to a browser's safety rather than to a client.
UNTOLD = {
    "Accept-Ranges",
    "Cache-Control",
    "Vary",
    "RateLimit-Policy",
    "Deprecation",
    "Sunset",
    "Content-Type",
    "Content-Length",
    "Access-Control-Expose-Headers",
    "Content-Security-Policy",
    "Cross-Origin-Resource-Policy",
    "Referrer-Policy",
    "X-Content-Type-Options",
}


def operations() -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Path, method and operation of all there are."""
    for path, item in CONTRACT["paths"].items():
        yield from ((path, method, item[method]) for method in ("get", "post") if method in item)


def is_valid(schema: dict[str, Any], value: object) -> list[str]:
    """Return what is wrong with a value under one of the contract's schemas."""
    return [error.message for error in VALIDATOR.evolve(schema={**CONTRACT, **schema}).iter_errors(value)]


def test_committed_files_are_todays(client: FlaskClient) -> None:
    """A reader of the repository sees what a user of the service gets."""
    as_committed = json.loads((FOLDER / "gramwatt.openapi.json").read_bytes())
    assert as_committed == CONTRACT, STALE
    assert (FOLDER / "gramwatt.openapi.json").read_bytes() == files.to_pretty_json(CONTRACT), STALE
    assert client.get("/openapi.json").get_json() == as_committed, STALE
    assert load_yaml(client.get("/openapi.yaml").data) == as_committed, STALE


@pytest.mark.parametrize("kind", ["json", "yaml"])
def test_the_contract_is_revalidated(client: FlaskClient, kind: str) -> None:
    served = client.get(f"/openapi.{kind}")
    again = client.get(f"/openapi.{kind}", headers={"If-None-Match": served.headers["ETag"]})
    assert (again.status_code, again.data) == (304, b"")


def test_the_contract_is_small(client: FlaskClient) -> None:
    """It has no spaces, and every schema, parameter and response once: what a client fetches and a generator reads."""
    served = client.get("/openapi.json").data
    assert served == files.to_compact_json(CONTRACT)
    assert len(served) < MAX_BYTES


def test_every_component_is_used() -> None:
    """Nothing is described that no operation refers to."""
    text = json.dumps(CONTRACT)
    for section, components in CONTRACT["components"].items():
        for name in components:
            assert f'"#/components/{section}/{name}"' in text, name


def test_names_suit_generated_code() -> None:
    """Names of schemas are class names; a word that is no identifier has one for code."""
    for name in CONTRACT["components"]["schemas"]:
        assert re.fullmatch("[A-Z][A-Za-z0-9]*", name), name
    for section in ("parameters", "responses", "examples"):
        assert all(re.fullmatch("[A-Za-z][A-Za-z0-9_]*", name) for name in CONTRACT["components"][section])
    identifiers = [operation["operationId"] for _, _, operation in operations()]
    assert all(re.fullmatch("[a-z]+(_[a-z0-9]+)+", name) for name in identifiers)
    assert {"calculate_endurance", "calculate_endurance_from_json", "get_endurance_result", "batch_endurance"} <= {
        *identifiers
    }
    for schema in all_schemas(CONTRACT):
        names = schema.get("x-enum-varnames", schema.get("enum", []))
        assert len(names) == len(set(names)) == len(schema.get("enum", []))
        assert all(re.fullmatch("[A-Za-z_][A-Za-z0-9_-]*", name) for name in names if name is not None), names


def test_descriptions_name_units() -> None:
    """Generated code shows descriptions, but no `x-unit`."""
    schemas = all_schemas(CONTRACT["components"]["schemas"])
    units = [(each["x-unit"], each["description"]) for each in schemas if {"x-unit", "description"} <= each.keys()]
    assert {unit for unit, _ in units} > {"1", "mAh", "%", "degC", "kg/m3"}
    assert [text for unit, text in units if (f" [{unit}]." in text) == (unit == "1")] == []
    lists = CONTRACT["components"]["schemas"]["FullThrottleResults"]["properties"]
    assert " [A]." in lists["pack_current_by_throttle"]["description"]


def all_schemas(value: object) -> Iterator[dict[str, Any]]:
    """Yield every object of the contract that may be a schema."""
    if isinstance(value, dict):
        if "enum" not in value or isinstance(value["enum"], list):
            yield value
        for inner in value.values():
            yield from all_schemas(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from all_schemas(inner)


def test_the_tag_of_the_contract_follows_its_file(client: FlaskClient, monkeypatch: pytest.MonkeyPatch) -> None:
    """After `make contract` a browser must not go on with its copy, even if no code changed."""
    before = client.get("/openapi.json?fresh").headers["ETag"]
    monkeypatch.setattr(files, "read_json", lambda: b"{}")
    assert client.get("/openapi.json?fresher", headers={"If-None-Match": before}).data == b"{}"


def test_document_is_valid() -> None:
    """By the schema of OpenAPI 3.1 itself, and each of its own schemas by JSON Schema 2020-12."""
    OpenAPIV31SpecValidator(CONTRACT).validate()
    for schema in CONTRACT["components"]["schemas"].values():
        Draft202012Validator.check_schema(schema)


def test_every_example_fits_its_schema() -> None:
    """Of parameters and bodies."""
    checked = 0
    for owner in [*CONTRACT["components"]["parameters"].values(), *media_types()]:
        values = [SIDE.resolved(example)["value"] for example in owner.get("examples", {}).values()]
        values += [owner["example"]] if "example" in owner else []
        for value in values:
            assert not is_valid(owner["schema"], value), value
            checked += 1
    assert checked > 50


def media_types() -> Iterator[dict[str, Any]]:
    """Every body that the contract describes."""
    for _, _, operation in operations():
        for message in (operation.get("requestBody", {}), *operation["responses"].values()):
            yield from SIDE.resolved(message).get("content", {}).values()


@pytest.mark.parametrize("path", REQUESTS)
def test_the_response_to_every_example_fits_its_schema(client: FlaskClient, path: str) -> None:
    """Of all examples of a calculator, with working, by POST and where it fits by GET, and as a row of a batch."""
    item = CONTRACT["paths"][path]
    calculator = registry.get(path.removeprefix("/v1/"))
    schema, rows = (
        SIDE.resolved(CONTRACT["paths"][each]["post"]["responses"]["200"])["content"]["application/json"]["schema"]
        for each in (path, f"{path}/batch")
    )
    body = item["post"]["requestBody"]["content"]["application/json"]
    for example in calculator.examples:
        given = dict(example.given)
        assert not is_valid(body["schema"], given)
        response = client.post(f"{path}?working=true", json=given)
        assert not is_valid(schema, response.get_json())
        if not calculator.takes_recordings:
            table = client.post(f"{path}/batch?uncertainty=true", json=[given, {}])
            assert not is_valid(rows, table.get_json())
    (example,) = body["examples"].values()
    assert SIDE.resolved(example)["value"] == calculator.examples[0].given


def test_every_header_sent_is_documented(client: FlaskClient) -> None:
    """On answers, bare values, 304 and problems alike; the contract declares them."""
    query = "cells=6&capacity=1300"
    fresh = client.get(f"/v1/pack-energy?{query}")
    sent = [
        ("get", "/v1/pack-energy", fresh),
        ("get", "/v1/pack-energy", client.get("/v1/pack-energy?cells=-6")),
        ("get", "/v1/pack-energy", client.get("/v1/pack-energy", headers={"Accept": "image/png"})),
        (
            "get",
            "/v1/pack-energy",
            client.get(f"/v1/pack-energy?{query}", headers={"If-None-Match": fresh.headers["ETag"]}),
        ),
        ("post", "/v1/pack-energy", client.post("/v1/pack-energy", json={"cells": 6, "capacity": 1300})),
        ("post", "/v1/pack-energy", client.post("/v1/pack-energy", data=b"?")),
        ("get", "/v1/pack-energy/{result}", client.get(f"/v1/pack-energy/usable_energy?{query}")),
        ("get", "/v1", client.get("/v1")),
        ("get", "/docs", client.get("/docs")),
        ("get", "/health/ready", client.get("/health/ready")),
    ]
    assert {answer.status_code for _, _, answer in sent} == {200, 304, 406, 415, 422}
    for method, path, answer in sent:
        responses = CONTRACT["paths"][path][method]["responses"]
        response = SIDE.resolved(responses.get(str(answer.status_code), responses["default"]))
        assert set(answer.headers.keys()) - UNTOLD <= set(response["headers"]), path
        for name, value in answer.headers.items():
            if name in response["headers"]:
                assert not is_valid(SIDE.resolved(response["headers"][name])["schema"], value), name
        media = answer.content_type.partition(";")[0] if answer.data else None
        assert media in response.get("content", {None: None})


def test_parameters_are_the_inputs() -> None:
    """No input is missing from the contract, and every quantity shows its unit in the request and in the response."""
    schemas = CONTRACT["components"]["schemas"]
    for name, calculator in registry.load().items():
        item = CONTRACT["paths"][f"/v1/{name}"]
        class_name = "".join(word.capitalize() for word in name.split("-"))
        inputs = schemas[f"{class_name}Inputs"]["properties"]
        results = schemas[f"{class_name}Results"]["properties"]
        assert list(inputs) == [*calculator.input_fields, "craft", "pack", "propeller", "flight"]
        assert list(results) == list(calculator.result_fields)
        for fields, kinds in ((inputs, calculator.input_fields), (results, calculator.result_fields)):
            for field, kind in kinds.items():
                unit = getattr(kind, "unit", "1")
                assert unit == "1" or SIDE.resolved(fields[field])["x-unit"] == unit
        assert ("get" in item) == fits_query(calculator) == (f"/v1/{name}/{{result}}" in CONTRACT["paths"])
        if "get" in item:
            fitting = [each for each, kind in calculator.input_fields.items() if kind.fits_query]
            named = [parameter for _, parameter in SIDE.parameters(item["get"])]
            assert named == [*fitting, "craft", "pack", "propeller", "flight"]
            path = CONTRACT["paths"][f"/v1/{name}/{{result}}"]["get"]
            values = SIDE.resolved(SIDE.parameters(path)["path", "result"]["schema"])["enum"]
            assert values == [each for each, kind in calculator.result_fields.items() if not isinstance(kind, Table)]


def test_nothing_published_is_broken() -> None:
    """What clients were promised still holds. A release replaces published.json; a wilful break is /v2."""
    published = json.loads((FOLDER / "published.json").read_bytes())
    assert breaking_changes(published, CONTRACT) == []


# Each kind of change, done to a copy of today's contract, and its message.
Change = Callable[[dict[str, Any]], object]
VALUE = "/v1/pack-energy/{result}"


def at(*path: str | int) -> Callable[[dict[str, Any]], Any]:
    """Return what is at a path of the contract."""
    return lambda contract: reduce(lambda found, step: found[step], path, contract)  # type: ignore[index]


PARAMETERS = at("components", "parameters")
SCHEMAS = at("components", "schemas")
RESULTS = at("components", "schemas", "PackEnergyResults", "properties")
INPUTS = at("components", "schemas", "PackEnergyInputs")
NUMBER = at("components", "schemas", "Capacity", "anyOf", 0)
OPEN = at("components", "schemas", "Mass", "anyOf", 0)
CELLS = at("components", "schemas", "Cells", "anyOf", 0)
PARALLEL = at("components", "schemas", "ParallelCells")
NEW = {"name": "new", "in": "query", "required": True, "schema": {"type": "boolean"}}
GET = at("paths", "/v1/pack-energy", "get")
NEEDED = at("components", "schemas", "PackEnergyRequest", "allOf", 1, "anyOf", 0)
RESPONSE = at("components", "schemas", "PackEnergyResponse")

BREAKING: dict[str, tuple[Change, str]] = {
    "path": (lambda c: c["paths"].pop(VALUE), rf"^{re.escape(VALUE)}: removed path$"),
    "method": (lambda c: c["paths"]["/v1/pack-energy"].pop("post"), "^POST /v1/pack-energy: removed method$"),
    "operation": (lambda c: GET(c).update(operationId="other"), "^GET /v1/pack-energy: renamed operation, calculate_"),
    "response": (lambda c: GET(c)["responses"].pop("304"), "^GET /v1/pack-energy: removed response 304$"),
    "schema": (
        lambda c: c.update(json.loads(re.sub('(?<=[/"])Craft(?=")', "CraftDocument", json.dumps(c)))),
        "^Craft: removed schema$",
    ),
    "reference": (
        lambda c: INPUTS(c)["properties"]["cells"].update({"$ref": "#/components/schemas/Blades"}),
        "cells: renamed schema, #/components/schemas/Cells to #/components/schemas/Blades$",
    ),
    "parameter": (lambda c: GET(c)["parameters"].pop(0), "^GET /v1/pack-energy: query cells: removed parameter$"),
    "parameter of a path": (
        lambda c: c["paths"]["/v1/pack-energy"]["parameters"].pop(0),
        "^POST /v1/pack-energy: query units: removed parameter$",
    ),
    "needed": (lambda c: GET(c)["parameters"].append(NEW), "^GET /v1/pack-energy: query new: required now$"),
    "now needed": (lambda c: PARAMETERS(c)["reserve"].update(required=True), "query reserve: required now$"),
    "body property": (lambda c: INPUTS(c)["properties"].pop("parallel_cells"), r"\.parallel_cells: removed property$"),
    "needed in body": (
        lambda c: NEEDED(c)["required"].append("parallel_cells"),
        r"body: required now beside \['capacity', 'cells'\]: parallel_cells$",
    ),
    "needed in a row": (
        lambda c: SCHEMAS(c)["Part"].update(required=["count"]),
        r"required now beside \['mass'\]: count$",
    ),
    "option": (lambda c: SCHEMAS(c)["Chemistry"]["enum"].remove("lihv"), "chemistry: removed value lihv$"),
    "result in a path": (
        lambda c: SCHEMAS(c)["PackEnergyResult"]["enum"].remove("baggage"),
        "path result: removed value baggage$",
    ),
    "unit of a value": (lambda c: SCHEMAS(c)["Unit"]["enum"].remove("kJ"), "unit: removed value kJ$"),
    "unit of a text": (lambda c: SCHEMAS(c)["ChargeText"]["x-units"].remove("Ah"), "capacity: removed unit Ah$"),
    "text": (lambda c: SCHEMAS(c)["Capacity"]["anyOf"].pop(), "capacity: removed alternative .*ChargeText$"),
    "minimum": (lambda c: CELLS(c).update(minimum=2), "cells: narrowed range, minimum from 1 to 2$"),
    "maximum": (lambda c: NUMBER(c).update(maximum=9), "capacity: narrowed range, maximum from 1000000 to 9$"),
    "open bound": (lambda c: CELLS(c).update(exclusiveMinimum=1), "cells: narrowed range, minimum from 1 to 1$"),
    "shorter list": (
        lambda c: PARAMETERS(c)["masses"]["schema"].update(maxItems=3),
        "masses: narrowed range, maxItems from 60 to 3$",
    ),
    "type": (lambda c: PARALLEL(c).update(type="string"), "parallel_cells: changed type from integer to string$"),
    "number to integer": (lambda c: NUMBER(c).update(type="integer"), "capacity: removed alternative number$"),
    "unit": (
        lambda c: RESULTS(c)["usable_energy"].update({"x-unit": "kJ"}),
        "usable_energy: changed unit from Wh to kJ",
    ),
    "unit of an input": (
        lambda c: SCHEMAS(c)["Capacity"].update({"x-unit": "Ah"}),
        "capacity: changed unit from mAh to Ah$",
    ),
    "result": (lambda c: RESULTS(c).pop("baggage"), r"answer 200\.results\.baggage: removed property$"),
    "result's type": (lambda c: RESULTS(c)["usable_energy"].update(type="string"), "usable_energy: changed type from"),
    "result without a value": (
        lambda c: RESULTS(c)["usable_energy"].update(type=["number", "null"]),
        "usable_energy: changed type from",
    ),
    "result not sure": (
        lambda c: RESPONSE(c)["required"].remove("units"),
        r"answer 200\.units: no longer always there$",
    ),
    "caution": (
        lambda c: RESPONSE(c)["properties"]["cautions"]["x-codes"].remove("lithium-fire"),
        r"answer 200\.cautions: removed code lithium-fire$",
    ),
    "problem": (
        lambda c: SCHEMAS(c)["Problem"]["properties"]["type"]["x-codes"].remove("invalid-input"),
        r"type: removed code invalid-input$",
    ),
    "default": (
        lambda c: SCHEMAS(c)["Reserve"].update({"x-default": 10}),
        "reserve: changed default from 20 to 10$",
    ),
    "default of an option": (
        lambda c: PARAMETERS(c)["digits"]["schema"].update(default=6),
        "query digits: changed default from 12 to 6$",
    ),
    "in a table": (
        lambda c: SCHEMAS(c)["Part"]["properties"].pop("count"),
        r"parts\[\]\.count: removed property$",
    ),
    "format": (
        lambda c: at("components", "responses", "PackEnergyResponse", "content")(c).pop("text/csv"),
        "^(GET|POST) /v1/pack-energy: answer 200: removed format text/csv$",
    ),
}
ADDITIVE: dict[str, Change] = {
    "path": lambda c: c["paths"].update({"/v1/new": c["paths"]["/v1/pack-energy"]}),
    "method": lambda c: c["paths"][VALUE].update(post=c["paths"]["/v1/pack-energy"]["post"]),
    "optional parameter": lambda c: GET(c)["parameters"].append({**NEW, "required": False}),
    "optional body property": lambda c: INPUTS(c)["properties"].update(new={"type": "boolean"}),
    "no longer needed": lambda c: NEEDED(c)["required"].remove("capacity"),
    "option": lambda c: SCHEMAS(c)["Chemistry"]["enum"].append("zinc"),
    "result": lambda c: RESULTS(c).update(new={"type": ["number", "null"]}),
    "result always there": lambda c: SCHEMAS(c)["FullThrottleResults"]["properties"]["thrust"].update(type="number"),
    "code": lambda c: RESPONSE(c)["properties"]["cautions"]["x-codes"].append("new"),
    "wider range": lambda c: NUMBER(c).update(maximum=1e9, minimum=0),
    "closed bound": lambda c: OPEN(c).update(minimum=OPEN(c).pop("exclusiveMinimum")),
    "longer list": lambda c: PARAMETERS(c)["masses"]["schema"].update(maxItems=90),
    "integer to number": lambda c: PARALLEL(c).update(type="number", format="int32"),
    "unit": lambda c: SCHEMAS(c)["ChargeText"]["x-units"].append("kAh"),
    "words": lambda c: GET(c).update(summary="Other words", description="for the same"),
}


@pytest.mark.parametrize("kind", BREAKING)
def test_a_breaking_change_is_named(kind: str) -> None:
    """Each where it is, and as what."""
    change, text = BREAKING[kind]
    changed = copy.deepcopy(CONTRACT)
    change(changed)
    found = breaking_changes(CONTRACT, changed)
    assert any(re.search(text, each) for each in found), found


@pytest.mark.parametrize("kind", ADDITIVE)
def test_an_additive_change_breaks_nobody(kind: str) -> None:
    """Clients that do not know it continue as before."""
    changed = copy.deepcopy(CONTRACT)
    ADDITIVE[kind](changed)
    assert changed != CONTRACT
    assert breaking_changes(CONTRACT, changed) == []
