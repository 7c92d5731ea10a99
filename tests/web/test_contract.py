"""The contract: committed as it is served, valid, true in its examples, and never less than what was published."""

import ast
import copy
import csv
import io
import json
import re
from collections.abc import Callable, Iterator
from functools import reduce
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import orjson
import pytest
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV31SpecValidator

from fast_yaml import load_yaml
from gramwatt.engine import registry
from gramwatt.engine.query_strings import fits_query
from gramwatt.model import Table
from gramwatt.web.openapi import files
from gramwatt.web.openapi.document import build_document, to_yaml
from web.contract_diff import Side, breaking_changes

FOLDER = Path(__file__).resolve().parents[2] / "openapi"
STALE = "openapi/ is not what the service would serve; run `gramwatt contract --write openapi`"
CONTRACT = build_document()
SIDE = Side(CONTRACT)
VALIDATOR = Draft202012Validator(CONTRACT)
REQUESTS = [f"/v1/{name}" for name in registry.load()]
# What any HTTP answer carries, and headers that speak to a browser's safety rather than to a client.
UNTOLD = {
    "Accept-Ranges",
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
    assert (FOLDER / "gramwatt.openapi.yaml").read_bytes() == to_yaml(CONTRACT), STALE
    assert client.get("/openapi.json").get_json() == as_committed, STALE
    assert load_yaml(client.get("/openapi.yaml").data) == as_committed, STALE


@pytest.mark.parametrize("kind", ["json", "yaml"])
def test_the_contract_is_served_as_its_file_and_revalidated(client: FlaskClient, kind: str) -> None:
    """As JSON without the indents of the file."""
    served, file = client.get(f"/openapi.{kind}"), (FOLDER / f"gramwatt.openapi.{kind}").read_bytes()
    assert served.data == (orjson.dumps(json.loads(file)) if kind == "json" else file)
    again = client.get(f"/openapi.{kind}", headers={"If-None-Match": served.headers["ETag"]})
    assert (again.status_code, again.data) == (304, b"")


def test_the_tag_of_the_contract_follows_its_file(client: FlaskClient, monkeypatch: pytest.MonkeyPatch) -> None:
    """After `make contract` a browser must not go on with its copy, even if no code changed."""
    before = client.get("/openapi.json?fresh").headers["ETag"]
    monkeypatch.setattr(files, "read_contract", lambda name: b"{}")
    assert client.get("/openapi.json?fresher", headers={"If-None-Match": before}).data == b"{}"


def test_document_is_valid() -> None:
    """By the schema of OpenAPI 3.1 itself, and each of its own schemas by JSON Schema 2020-12."""
    OpenAPIV31SpecValidator(CONTRACT).validate()
    for schema in CONTRACT["components"]["schemas"].values():
        Draft202012Validator.check_schema(schema)


def test_every_example_fits_its_schema() -> None:
    """Of parameters, bodies and responses."""
    checked = 0
    for owner in [*CONTRACT["components"]["parameters"].values(), *media_types()]:
        values = [example["value"] for example in owner.get("examples", {}).values()]
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
def test_every_example_is_a_real_answer(client: FlaskClient, path: str) -> None:
    """Requested again, by POST and where it fits by GET, the examples come out, as JSON and as CSV."""
    item = CONTRACT["paths"][path]
    inputs_list = item["post"]["requestBody"]["content"]["application/json"]["examples"]
    answers = SIDE.resolved(item["post"]["responses"]["200"])["content"]
    assert inputs_list.keys() & answers["application/json"]["examples"].keys()
    for name, request_inputs in inputs_list.items():
        requests = client.post(path, json=request_inputs["value"])
        assert requests.status_code == 200
        if name in answers["application/json"]["examples"]:
            assert requests.get_json() == answers["application/json"]["examples"][name]["value"]
            as_csv = client.post(f"{path}?format=csv", json=request_inputs["value"]).text
            assert as_csv == answers["text/csv"]["examples"][name]["value"]
            assert len(list(csv.reader(io.StringIO(as_csv)))) >= 2
    if "get" not in item:
        return
    given = {name: p["example"] for (_, name), p in SIDE.parameters(item["get"]).items() if "example" in p}
    words = {name: ",".join(map(str, value)) if isinstance(value, list) else value for name, value in given.items()}
    assert client.get(path, query_string=words).status_code == 200


def test_bare_values_in_descriptions_are_real_answers(client: FlaskClient) -> None:
    """``?cells=6&capacity=1300`` gives what the description says."""
    checked = 0
    for path, _, operation in operations():
        output = re.search(r"`(\?[^`]+)` gives `([^`]+)`\.$", operation["description"])
        if output:
            assert client.get(path + output[1]).text == output[2]
            checked += 1
    assert checked > 40


def test_every_problem_is_described(client: FlaskClient) -> None:
    """The examples of problems are of the type that the service describes under that name."""
    for response in CONTRACT["components"]["responses"].values():
        described = response.get("content", {}).get("application/problem+json", {})
        for kind, example in described.get("examples", {}).items():
            output = client.get(f"/problems/{kind}").get_json()
            value = example["value"]
            assert (value["type"], value["status"], value["title"]) == (
                output["type"],
                output["status"],
                output["title"],
            )


def test_every_header_sent_is_documented(client: FlaskClient) -> None:
    """On answers, bare values, 304 and problems alike; the contract declares them."""
    example = CONTRACT["components"]["parameters"]["pack-energy.capacity"]["example"]
    query = f"cells=6&capacity={example}"
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
        ("get", "/v1/pack-energy/usable_energy", client.get(f"/v1/pack-energy/usable_energy?{query}")),
        ("get", "/v1", client.get("/v1")),
        ("get", "/docs", client.get("/docs")),
        ("get", "/health/ready", client.get("/health/ready")),
    ]
    assert {answer.status_code for _, _, answer in sent} == {200, 304, 406, 415, 422}
    for method, path, answer in sent:
        response = SIDE.resolved(CONTRACT["paths"][path][method]["responses"][str(answer.status_code)])
        assert set(answer.headers.keys()) - UNTOLD <= set(response["headers"]), path
        for name, value in answer.headers.items():
            if name in response["headers"]:
                assert not is_valid(SIDE.resolved(response["headers"][name])["schema"], value), name
        media = answer.content_type.partition(";")[0] if answer.data else None
        assert media in response.get("content", {None: None})


def test_parameters_are_the_inputs(client: FlaskClient) -> None:
    """No input is missing from the contract, and every quantity shows its unit in the request and in the response."""
    for name, calculator in registry.load().items():
        item = CONTRACT["paths"][f"/v1/{name}"]
        messages = item["post"]["requestBody"], item["post"]["responses"]["200"]
        body, answer = (SIDE.resolved(SIDE.content(each)["application/json"]["schema"]) for each in messages)
        request_inputs, with_craft = map(SIDE.resolved, body["anyOf"])
        assert {"craft", "pack", "propeller", "flight"} <= with_craft["properties"].keys()
        assert list(request_inputs["properties"]) == list(calculator.input_fields)
        assert list(answer["properties"]["results"]["properties"]) == list(calculator.result_fields)
        for fields, kinds in (
            (request_inputs["properties"], calculator.input_fields),
            (answer["properties"]["results"]["properties"], calculator.result_fields),
        ):
            for field, kind in kinds.items():
                assert fields[field].get("x-unit") == getattr(kind, "unit", fields[field].get("x-unit"))
        assert ("get" in item) == fits_query(calculator)
        for result, kind in calculator.result_fields.items():
            has_value = fits_query(calculator) and not isinstance(kind, Table)
            assert (f"/v1/{name}/{result}" in CONTRACT["paths"]) == has_value


def test_nothing_published_is_broken() -> None:
    """What clients were promised still holds. A release replaces published.json; a wilful break is /v2."""
    published = json.loads((FOLDER / "published.json").read_bytes())
    assert breaking_changes(published, CONTRACT) == []


# Each kind of change, done to a copy of today's contract, and its message.
Change = Callable[[dict[str, Any]], object]
VALUE = "/v1/pack-energy/usable_energy"


def at(*path: str | int) -> Callable[[dict[str, Any]], Any]:
    """Return what is at a path of the contract."""
    return lambda contract: reduce(lambda found, step: found[step], path, contract)  # type: ignore[index]


PARAMETERS = at("components", "parameters")
SCHEMAS = at("components", "schemas")
RESULTS = at("components", "schemas", "PackEnergyAnswer", "properties", "results", "properties")
INPUTS = at("components", "schemas", "PackEnergyQuestion")
NUMBER = at("components", "schemas", "mAh_at_least_1_at_most_1000000", "anyOf", 0)
OPEN = at("components", "schemas", "g_above_0_at_most_100000", "anyOf", 0)
CELLS = at("components", "parameters", "pack-energy.cells")
PARALLEL = at("components", "parameters", "pack-energy.parallel")
NEW = {"name": "new", "in": "query", "required": True, "schema": {"type": "boolean"}}
GET = at("paths", "/v1/pack-energy", "get")

BREAKING: dict[str, tuple[Change, str]] = {
    "path": (lambda c: c["paths"].pop(VALUE), rf"^{VALUE}: removed path$"),
    "method": (lambda c: c["paths"]["/v1/pack-energy"].pop("post"), "^POST /v1/pack-energy: removed method$"),
    "parameter": (lambda c: GET(c)["parameters"].pop(0), "^GET /v1/pack-energy: query cells: removed parameter$"),
    "needed": (lambda c: GET(c)["parameters"].append(NEW), "^GET /v1/pack-energy: query new: required now$"),
    "now needed": (
        lambda c: PARAMETERS(c)["pack-energy.reserve"].update(required=True),
        "query reserve: required now$",
    ),
    "body property": (lambda c: INPUTS(c)["properties"].pop("parallel"), r"body\.parallel: removed property$"),
    "needed in body": (lambda c: INPUTS(c)["required"].append("parallel"), r"body\.parallel: required now$"),
    "option": (
        lambda c: PARAMETERS(c)["pack-energy.chemistry"]["schema"]["enum"].remove("lihv"),
        "query chemistry: removed value lihv$",
    ),
    "unit of a value": (lambda c: PARAMETERS(c)["unit.Wh"]["schema"]["enum"].remove("kJ"), "unit: removed value kJ$"),
    "minimum": (lambda c: CELLS(c)["schema"].update(minimum=2), "cells: narrowed range, minimum from 1 to 2$"),
    "maximum": (lambda c: NUMBER(c).update(maximum=9), "capacity: narrowed range, maximum from 1000000.0 to 9$"),
    "open bound": (
        lambda c: CELLS(c)["schema"].update(exclusiveMinimum=1),
        "cells: narrowed range, minimum from 1 to 1$",
    ),
    "shorter list": (
        lambda c: PARAMETERS(c)["mass-margin.masses"]["schema"].update(maxItems=3),
        "masses: narrowed range, maxItems from 60 to 3$",
    ),
    "type": (lambda c: PARALLEL(c)["schema"].update(type="string"), "parallel: changed type from integer to string$"),
    "number to integer": (lambda c: NUMBER(c).update(type="integer"), "capacity: changed type from"),
    "unit": (
        lambda c: RESULTS(c)["usable_energy"].update({"x-unit": "kJ"}),
        "usable_energy: changed unit from Wh to kJ",
    ),
    "unit of an input": (
        lambda c: PARAMETERS(c)["pack-energy.capacity"]["schema"].update({"x-unit": "Ah"}),
        "query capacity: changed unit from mAh to Ah$",
    ),
    "result": (lambda c: RESULTS(c).pop("baggage"), r"answer 200\.results\.baggage: removed property$"),
    "result's type": (lambda c: RESULTS(c)["usable_energy"].update(type="string"), "usable_energy: changed type from"),
    "result not sure": (
        lambda c: SCHEMAS(c)["PackEnergyAnswer"]["required"].remove("units"),
        r"answer 200\.units: no longer always there$",
    ),
    "default": (
        lambda c: PARAMETERS(c)["pack-energy.reserve"]["schema"].update(default=10),
        "query reserve: changed default from 20 to 10$",
    ),
    "default of the unit": (
        lambda c: PARAMETERS(c)["unit.Wh"]["schema"].update(default="kJ"),
        "query unit: changed default from Wh to kJ$",
    ),
    "in a table": (
        lambda c: SCHEMAS(c)["MassMarginQuestion"]["properties"]["parts"]["items"]["properties"].pop("count"),
        r"body\.parts\[\]\.count: removed property$",
    ),
    "format": (
        lambda c: at("components", "responses", "PackEnergyAnswer", "content")(c).pop("text/csv"),
        "^POST /v1/pack-energy: answer 200: removed format text/csv$",
    ),
}
ADDITIVE: dict[str, Change] = {
    "path": lambda c: c["paths"].update({"/v1/new": c["paths"]["/v1/pack-energy"]}),
    "method": lambda c: c["paths"][VALUE].update(post=c["paths"]["/v1/pack-energy"]["post"]),
    "optional parameter": lambda c: GET(c)["parameters"].append({**NEW, "required": False}),
    "optional body property": lambda c: INPUTS(c)["properties"].update(new={"type": "boolean"}),
    "no longer needed": lambda c: CELLS(c).update(required=False),
    "option": lambda c: PARAMETERS(c)["pack-energy.chemistry"]["schema"]["enum"].append("zinc"),
    "result": lambda c: RESULTS(c).update(new={"type": ["number", "null"]}),
    "wider range": lambda c: NUMBER(c).update(maximum=1e9, minimum=0),
    "closed bound": lambda c: OPEN(c).update(minimum=OPEN(c).pop("exclusiveMinimum")),
    "longer list": lambda c: PARAMETERS(c)["mass-margin.masses"]["schema"].update(maxItems=90),
    "integer to number": lambda c: PARALLEL(c)["schema"].update(type="number"),
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


def test_code_samples_ask_what_the_examples_do(client: FlaskClient) -> None:
    """Those of the pages, by the same code: each address answers, each body is an example of the calculator."""
    seen = 0
    for path, item in build_document()["paths"].items():
        for method in ("get", "post"):
            for sample in item.get(method, {}).get("x-codeSamples", ()):
                seen += 1
                assert path.removeprefix("/v1/") in sample["source"]
                if sample["lang"] == "Python":
                    compile(sample["source"], path, "exec")
                    (inputs,) = re.findall(r"^inputs = (.*)$", sample["source"], re.MULTILINE)
                    assert client.post(path, json=ast.literal_eval(inputs)).status_code == 200
                elif method == "get":
                    url = urlsplit(re.findall(r"http://localhost:8000[^'\"]*", sample["source"])[0])
                    assert client.get(f"{url.path}?{url.query}").status_code == 200
    assert seen >= 2 * len(registry.load())
