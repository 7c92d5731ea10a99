"""Tests of the contract's pages: every operation and schema is there, every example can be sent as it is."""

from __future__ import annotations

import json
import re
import shlex
from typing import Any
from urllib.parse import urlsplit

import pytest
from flask.testing import FlaskClient

from gramwatt.engine import registry
from gramwatt.engine.query_strings import fits_query
from gramwatt.model import Quantity
from gramwatt.model.messages import unit_sign
from gramwatt.web.contract_pages.contract import Contract, Operation, read_contract
from gramwatt.web.contract_pages.operations import describe_operation
from gramwatt.web.contract_pages.overview import link_topics, list_topics
from gramwatt.web.contract_pages.schema_words import (
    describe_requirements,
    describe_type,
    get_default,
    get_unit,
    list_members,
)
from web.pages.browser_page import BROWSER, Page, get

CONTRACT = read_contract()
SCHEMAS: dict[str, Any] = {
    "Mass": {
        "anyOf": [
            {"type": "number", "exclusiveMinimum": 0, "maximum": 20000},
            {"$ref": "#/components/schemas/MassText"},
        ],
        "x-unit": "g",
        "default": 5,
    },
    "MassText": {"type": "string", "maxLength": 64, "pattern": "^[0-9]+(?: (?:g|kg|mg|oz|lb|lbs))?(?: ± [0-9]+)?$"},
    "Count": {"type": "integer", "minimum": 1, "maximum": 24, "x-default": 4},
    "Part": {
        "type": "object",
        "properties": {
            "mass": {"$ref": "#/components/schemas/Mass"},
            "box": {"type": "object", "properties": {"wide": {"type": "boolean", "default": False}}},
        },
        "required": ["mass"],
    },
    "Parts": {"allOf": [{"$ref": "#/components/schemas/Part"}, {"properties": {"more": {"type": "null"}}}]},
    "Many": {"type": "string", "enum": list("abcdefgh")},
}
SMALL = Contract({"components": {"schemas": SCHEMAS}, "paths": {}}, {})


def test_the_index_has_every_operation(client: FlaskClient) -> None:
    page = get(client, "/docs")
    document = client.get("/openapi.json").get_json()
    methods = {"get", "post", "put", "delete", "patch", "options", "head", "trace"}
    wanted = {
        operation["operationId"]: (method.upper(), path)
        for path, item in document["paths"].items()
        for method, operation in item.items()
        if method in methods
    }
    links = {each["href"]: text for each, text in page.find("a")}
    found = {link.removeprefix("/docs/"): text for link, text in links.items() if link.startswith("/docs/")}
    assert {name: f"{method} {path}" for name, (method, path) in wanted.items()} == {
        name: text for name, text in found.items() if not name.startswith("schemas/")
    }
    assert {f"schemas/{name}" for name in document["components"]["schemas"]} == set(found) - set(wanted)
    ids = {attributes["id"] for _, attributes in page.elements if "id" in attributes}
    assert {each["href"][1:] for each, _ in page.find("a") if each["href"].startswith("#")} <= ids
    for name in registry.list_names():
        assert page.find("a", href=f"/reference/{name}")


def test_topics_that_operations_refer_to_are_on_the_index(client: FlaskClient) -> None:
    ids = {attributes["id"] for _, attributes in get(client, "/docs").elements if "id" in attributes}
    for operation in CONTRACT.operations.values():
        for target in re.findall(r'href="/docs#([^"]+)"', link_topics(operation.content.get("description", ""))):
            assert target in ids


def some_operations() -> list[str]:
    """Return the operations of one calculator by query, of one with a recording, and all of the service."""
    calculators = registry.load().values()
    names = {
        next(each.name for each in calculators if fits_query(each)),
        next(each.name for each in calculators if each.recording),
        "service",
    }
    return [name for name, operation in CONTRACT.operations.items() if operation.tag in names]


@pytest.mark.parametrize("name", some_operations())
def test_the_page_of_an_operation(client: FlaskClient, name: str) -> None:
    operation, page = CONTRACT.operations[name], get(client, f"/docs/{name}")
    assert page.one("h1")[1] == f"{operation.method.upper()} {operation.path}"
    codes = {text for _, text in page.find("code")}
    assert {each["name"] for each in CONTRACT.list_parameters(operation)} <= codes
    assert set(CONTRACT.resolve(operation.content.get("requestBody", {})).get("content", {})) <= codes
    text = page.one("main")[1]
    assert all(status in text for status in operation.content["responses"])
    for link in (each["href"] for each, _ in page.find("a")):
        if link.startswith("/docs/schemas/"):
            assert link.removeprefix("/docs/schemas/") in CONTRACT.schemas
        elif link.startswith("/docs/"):
            assert link.removeprefix("/docs/") in CONTRACT.operations


def test_every_operation_and_schema_can_be_described() -> None:
    for name, operation in CONTRACT.operations.items():
        view = describe_operation(CONTRACT, name)
        assert [each.name for each in view.parameters] == [each["name"] for each in CONTRACT.list_parameters(operation)]
        assert {view.response.status, *(each.status for each in view.others)} == set(operation.content["responses"])
        for text in (*(each.type for each in view.parameters), *(each.type for each in view.bodies)):
            assert text
    for schema in CONTRACT.schemas.values():
        assert describe_type(CONTRACT, schema)
        assert all(member.type for member in list_members(CONTRACT, schema))


def test_a_response_lists_every_result() -> None:
    for name, calculator in registry.load().items():
        (operation,) = (
            each for each in CONTRACT.operations.values() if (each.method, each.path) == ("post", f"/v1/{name}")
        )
        (content, *_) = describe_operation(CONTRACT, operation.id).response.contents
        units = {member.name: member.unit for member in content.members}
        for result, kind in calculator.result_fields.items():
            assert units[f"results.{result}"] == unit_sign(kind.unit if isinstance(kind, Quantity) else "1")


def test_a_schema_has_a_page(client: FlaskClient) -> None:
    name = next(name for name, schema in CONTRACT.schemas.items() if schema.get("properties"))
    page = get(client, f"/docs/schemas/{name}")
    assert page.one("h1")[1] == name
    assert set(CONTRACT.schemas[name]["properties"]) <= {text for _, text in page.find("code")}
    source = json.loads(page.find("code")[-1][1])
    assert source == CONTRACT.schemas[name]


def send(client: FlaskClient, command: str) -> Any:
    """Send what a command of curl sends."""
    words = shlex.split(command)
    assert words[0] == "curl"
    url = urlsplit(next(word for word in words if word.startswith("http")))
    path = f"{url.path}?{url.query}" if url.query else url.path
    if "--data-binary" not in words:
        return client.get(path)
    content_type = next(word for word in words if word.startswith("Content-Type: ")).removeprefix("Content-Type: ")
    return client.post(path, data=words[words.index("--data-binary") + 1].encode(), content_type=content_type)


def has_example(operation: Operation) -> bool:
    """Return whether its page has an example that draws no chart."""
    view = describe_operation(CONTRACT, operation.id)
    if operation.tag == "service" or operation.path.endswith("/chart"):
        return False
    return "?" in view.url or view.body is not None


def test_every_example_can_be_sent_as_it_is(client: FlaskClient) -> None:
    tried = [operation for operation in CONTRACT.operations.values() if has_example(operation)]
    by_query = [each for each in registry.load().values() if fits_query(each)]
    assert len(tried) > 4 * len(by_query), "GET, one value, POST and sweep of each, at least"
    for operation in tried:
        with send(client, describe_operation(CONTRACT, operation.id).make_command("http://localhost")) as answer:
            assert answer.status_code == 200, (operation.id, answer.text)


def test_an_unknown_operation_or_schema(client: FlaskClient) -> None:
    known = next(iter(CONTRACT.operations))
    answer = client.get(f"/docs/{known}x", headers=BROWSER)
    assert (answer.status_code, answer.mimetype) == (404, "text/html")
    assert known in Page(answer.text).one("main")[1]
    assert client.get("/docs/schemas/nothing").status_code == 404
    assert client.get("/docs/schemas/nothing").mimetype == "application/problem+json"


def test_a_page_is_sent_again_only_when_it_has_changed(client: FlaskClient) -> None:
    first = client.get("/docs", headers=BROWSER)
    again = client.get("/docs", headers={**BROWSER, "If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.data) == (304, b"")


MASS_TEXT = '<a href="/docs/schemas/MassText">MassText</a>'


@pytest.mark.parametrize(
    ("schema", "words"),
    [
        ({"$ref": "#/components/schemas/Mass"}, f"number above 0 to 20\u202f000 or {MASS_TEXT}"),
        ({"$ref": "#/components/schemas/Count"}, "integer 1 to 24"),
        ({"$ref": "#/components/schemas/Part"}, '<a href="/docs/schemas/Part">Part</a>'),
        ({"$ref": "#/components/schemas/Many"}, '<a href="/docs/schemas/Many">Many</a>'),
        ({"enum": ["a", "<b>"]}, "<code>a</code> or <code>&lt;b&gt;</code>"),
        ({"enum": list("abcdefgh")}, f"{' or '.join(f'<code>{each}</code>' for each in 'abcdef')} or 2 more"),
        ({"const": "pack"}, "<code>pack</code>"),
        ({"type": ["number", "null"], "minimum": -5}, "number from −5 or null"),
        ({"type": "number", "exclusiveMaximum": 1}, "number up to below 1"),
        ({"type": "array", "items": {"type": "number"}, "maxItems": 2}, "list of number (up to 2)"),
        (
            {"type": "array", "items": {"type": ["number", "null"]}, "maxItems": 2},
            "list (up to 2), each number or null",
        ),
        ({"type": "object", "additionalProperties": {"type": "string"}}, "object of text"),
        ({"type": "string", "format": "uri", "minLength": 1, "maxLength": 80}, "text, uri (1 to 80 characters)"),
        ({"oneOf": [{"type": "boolean"}, {"type": "boolean"}]}, "true or false"),
        ({}, "any value"),
    ],
)
def test_types_in_words(schema: dict[str, Any], words: str) -> None:
    assert str(describe_type(SMALL, schema)) == words


def test_members_in_words() -> None:
    members = {each.name: each for each in list_members(SMALL, SCHEMAS["Parts"])}
    assert list(members) == ["mass", "box", "box.wide", "more"]
    assert [members[name].required for name in members] == [True, False, False, False]
    assert (members["mass"].unit, members["mass"].default, members["box.wide"].default) == ("g", "5", "false")
    assert (get_unit(SMALL, SCHEMAS["Count"]), get_default(SMALL, SCHEMAS["Count"])) == ("", "4")


def test_requirements_in_words() -> None:
    choice = {"anyOf": [{"required": ["mass", "box"]}, {"required": ["more"]}]}
    assert (
        describe_requirements(SMALL, {"allOf": [{"$ref": "#/components/schemas/Part"}, choice]})
        == "mass and box, or more"
    )
    assert describe_requirements(SMALL, choice) == "mass and box, or more"
    assert describe_requirements(SMALL, SCHEMAS["Mass"]) == describe_requirements(SMALL, SCHEMAS["Part"]) == ""


def test_topics_of_a_description() -> None:
    topics = list_topics("All `a` <b>.\n\n**Craft documents.** One **object**.\nMore.\n")
    assert [(each.heading, each.id, str(each.text)) for each in topics[1:]] == [
        ("Craft documents", "about-craft-documents", "One <strong>object</strong>.\nMore.")
    ]
    assert (topics[0].heading, str(topics[0].text)) == ("", "All <code>a</code> &lt;b&gt;.")
    assert link_topics("See Craft documents, above.") == (
        'See <a href="/docs#about-craft-documents">Craft documents</a>.'
    )
