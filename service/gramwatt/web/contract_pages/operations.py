"""What the page of an operation shows: parameters, body and responses, with an example that can be sent."""

from __future__ import annotations

import functools
import json
import shlex
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final
from urllib.parse import quote, urlencode

from markupsafe import Markup

from gramwatt.engine.query_strings import format_query_value
from gramwatt.web.contract_pages.contract import Contract, JsonObject, Operation
from gramwatt.web.contract_pages.schema_words import (
    Member,
    describe_requirements,
    describe_type,
    get_default,
    get_unit,
    list_members,
)

_JSON: Final = "application/json"


@dataclass(frozen=True, slots=True)
class Parameter:
    """A parameter of an operation."""

    name: str
    place: str
    """``query``, ``path`` or ``header``."""
    type: Markup
    required: bool
    unit: str
    default: str
    description: str


@dataclass(frozen=True, slots=True)
class Content:
    """A form of a body."""

    media_type: str
    type: Markup
    members: tuple[Member, ...]
    description: str = ""
    requirements: str = ""
    """Members of which some are needed, in words."""
    example: str = ""


@dataclass(frozen=True, slots=True)
class ResponseView:
    """A response by its status."""

    status: str
    description: str
    contents: tuple[Content, ...]
    headers: tuple[tuple[str, str], ...]
    """Name and description."""


@dataclass(frozen=True, slots=True)
class OperationView:
    """All that the page of an operation shows."""

    operation: Operation
    summary: str
    description: str
    parameters: tuple[Parameter, ...]
    body_description: str
    bodies: tuple[Content, ...]
    response: ResponseView
    """The one of success."""
    others: tuple[ResponseView, ...]
    url: str
    """The path with the query of an example."""
    body: Content | None
    """The body of an example."""

    def make_command(self, base_url: str) -> str:
        """Return the example as a command of curl."""
        words = ["curl", shlex.quote(base_url + self.url)]
        if self.operation.method != "get" and self.body is None:
            words.insert(1, f"-X {self.operation.method.upper()}")
        if self.body is not None:
            words += ["\\\n  -H", shlex.quote(f"Content-Type: {self.body.media_type}")]
            text = self.body.example
            if self.body.media_type == _JSON:
                text = json.dumps(json.loads(text), ensure_ascii=False)
            words += ["\\\n  --data-binary", shlex.quote(text)]
        return " ".join(words)


@functools.lru_cache(maxsize=256)
def describe_operation(contract: Contract, operation_id: str) -> OperationView:
    """Return the page of an operation. Raises KeyError if there is none."""
    operation = contract.operations[operation_id]
    content = operation.content
    request = contract.resolve(content.get("requestBody", {}))
    bodies = tuple(_list_contents(contract, request))
    responses = [_describe_response(contract, status, each) for status, each in content["responses"].items()]
    success = next((each for each in responses if each.status.startswith("2")), responses[0])
    return OperationView(
        operation,
        str(content.get("summary", "")),
        str(content.get("description", "")),
        tuple(_list_parameters(contract, operation)),
        str(request.get("description", "")),
        bodies,
        success,
        tuple(each for each in responses if each is not success),
        _make_example_url(contract, operation),
        next((each for each in bodies if each.example), None),
    )


def _list_parameters(contract: Contract, operation: Operation) -> Iterator[Parameter]:
    for each in contract.list_parameters(operation):
        schema = each.get("schema", {})
        yield Parameter(
            each["name"],
            each["in"],
            describe_type(contract, schema),
            bool(each.get("required")),
            get_unit(contract, schema),
            get_default(contract, schema),
            str(each.get("description") or contract.resolve(schema).get("description", "")),
        )


def _list_contents(contract: Contract, owner: JsonObject) -> Iterator[Content]:
    for media_type, media in owner.get("content", {}).items():
        schema = media.get("schema", {})
        yield Content(
            media_type,
            describe_type(contract, schema),
            tuple(list_members(contract, schema)),
            str(contract.resolve(schema).get("description", "")),
            describe_requirements(contract, schema),
            _format_example(_find_example(contract, media)),
        )


def _find_example(contract: Contract, media: JsonObject) -> Any:
    if "example" in media:
        return media["example"]
    examples = media.get("examples", {})
    return next((contract.resolve(each).get("value") for each in examples.values()), None)


def _format_example(value: Any) -> str:
    if value is None or isinstance(value, str):
        return value or ""
    return json.dumps(value, indent=2, ensure_ascii=False)


def _describe_response(contract: Contract, status: str, response: JsonObject) -> ResponseView:
    response = contract.resolve(response)
    return ResponseView(
        status,
        str(response.get("description", "")),
        tuple(_list_contents(contract, response)),
        tuple(
            (name, str(contract.resolve(each).get("description", "")))
            for name, each in response.get("headers", {}).items()
        ),
    )


def _make_example_url(contract: Contract, operation: Operation) -> str:
    """Return the path of an operation with the query of an example, if it has one."""
    path = operation.path
    for parameter in contract.list_parameters(operation):
        if parameter["in"] == "path":
            value = parameter.get("example", f"{{{parameter['name']}}}")
            path = path.replace(f"{{{parameter['name']}}}", quote(str(value), safe="{}"))
    query = _make_example_query(contract, operation) if operation.method == "get" else ""
    return f"{path}?{query}" if query else path


def _make_example_query(contract: Contract, operation: Operation) -> str:
    """Return the example of a POST to the same path as a query, else that of the path above it."""
    paths: Mapping[str, JsonObject] = contract.document["paths"]
    path = operation.path if "post" in paths[operation.path] else operation.path.rpartition("/")[0]
    body = contract.resolve(paths.get(path, {}).get("post", {}).get("requestBody", {}))
    value = _find_example(contract, body.get("content", {}).get(_JSON, {}))
    return urlencode(_flatten(value), safe=",:", quote_via=quote) if isinstance(value, dict) else ""


def _flatten(value: JsonObject) -> list[tuple[str, str]]:
    """Return an example as the parts of a query. In a sweep the inputs come first, then each one that varies."""
    given = value.get("given", value if "vary" not in value else {})
    parts = [(name, each) for name, each in given.items()]
    for name, points in value.get("vary", {}).items():
        members = points if isinstance(points, dict) else {"values": points}
        parts += [("vary", name), *members.items()]
    cells = [cell for _, each in parts for cell in (each if isinstance(each, list) else [each])]
    if any(isinstance(cell, dict) for cell in cells):
        return []
    return [(name, format_query_value(each)) for name, each in parts]
