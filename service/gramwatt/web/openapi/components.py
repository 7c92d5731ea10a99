"""Add the parts of the contract that all paths share: headers, schemas, responses."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, get_args

from apispec import APISpec

from gramwatt.model import CATEGORIES, Kind
from gramwatt.web.openapi import json_schema
from gramwatt.web.openapi.response_schemas import RESPONSE_SCHEMAS
from gramwatt.web.problems import PROBLEM_TYPES

JsonObject = dict[str, Any]


def _text_header(description: str, pattern: str) -> JsonObject:
    return {"description": description, "schema": {"type": "string", "maxLength": 200, "pattern": pattern}}


HEADERS: Final[Mapping[str, JsonObject]] = {
    "Access-Control-Allow-Origin": {
        "description": "Always `*`: any page may read the response, and shared caches may store it.",
        "schema": {"type": "string", "const": "*"},
    },
    "Cache-Control": _text_header("How long the response may be cached.", "^[a-z0-9=, -]+$"),
    "ETag": _text_header("An entity tag; send it as If-None-Match.", '^(?:W/)?"[0-9a-f]+(?:-gzip)?"$'),
    "Link": _text_header("The contract and its viewer.", "^<.+>; rel=.+$"),
    "RateLimit": _text_header(
        "Requests left, if the operator has set a limit (draft-ietf-httpapi-ratelimit-headers).",
        '^"default";r=[0-9]+;t=[0-9]+$',
    ),
    "RateLimit-Policy": _text_header("The limit, if the operator has set one.", '^"default";q=[0-9]+;w=[0-9]+$'),
    "Retry-After": {
        "description": "Seconds to wait.",
        "schema": {"type": "integer", "format": "int32", "minimum": 0, "maximum": 3600},
    },
    "Standing-Cautions": _text_header(
        "Codes of the cautions that apply to all rows of a table; a single request returns their texts.",
        "^[a-z0-9, -]+$",
    ),
    "Vary": _text_header("Request headers that the response depends on.", "^[A-Za-z, -]+$"),
    "X-Request-ID": {
        "description": "Identifies the request in the service's log.",
        "schema": {"type": "string", "format": "uuid", "maxLength": 36},
    },
}
COMMON_HEADERS: Final = (
    "Access-Control-Allow-Origin",
    "Cache-Control",
    "RateLimit",
    "RateLimit-Policy",
    "Vary",
    "X-Request-ID",
)

_TEXT: Final = {"type": "string", "maxLength": 2000, "pattern": json_schema.PRINTABLE}
_LINK: Final = {"type": "string", "format": "uri-reference", "maxLength": 2048}


def _object(required: list[str], properties: JsonObject, **more: object) -> JsonObject:
    return {"type": "object", "additionalProperties": False, "required": required, "properties": properties, **more}


SCHEMAS: Final[Mapping[str, JsonObject]] = {
    "Fault": _object(
        ["pointer", "detail", "given", "accepted"],
        {
            "pointer": {
                "type": "string",
                "format": "json-pointer",
                "maxLength": 400,
                "description": "The invalid member, a JSON Pointer (RFC 6901); for a query /name.",
            },
            "detail": _TEXT,
            "given": {
                "description": "The given value, shortened; null if there is none.",
                "type": ["string", "number", "boolean", "null"],
                "maxLength": 200,
                "pattern": r"^[\s\S]*$",  # whatever it was
            },
            "accepted": _TEXT,
        },
    ),
    "Problem": _object(
        ["type", "title", "status", "detail", "instance"],
        {
            "type": {
                "type": "string",
                "format": "uri-reference",
                "maxLength": 100,
                "enum": [f"/problems/{kind}" for kind in PROBLEM_TYPES],
            },
            "title": _TEXT,
            "status": {"type": "integer", "format": "int32", "minimum": 400, "maximum": 599},
            "detail": _TEXT,
            "instance": {"type": "string", "format": "uri", "maxLength": 100},
            "errors": {
                "type": "array",
                "description": "All errors of the inputs, up to 100.",
                "maxItems": 100,
                "items": {"$ref": "#/components/schemas/Fault"},
            },
        },
        description="A problem (RFC 9457).",
    ),
    "Index": _object(
        ["service", "version", "contract", "reference", "units", "element", "calculators"],
        {
            "service": {"type": "string", "const": "gramwatt"},
            "version": {"type": "string", "maxLength": 20, "pattern": r"^[0-9]+\.[0-9]+\.[0-9]+$"},
            "contract": _LINK,
            "reference": _LINK,
            "units": _LINK,
            "element": _object(
                ["script", "integrity"],
                {
                    "script": _LINK,
                    "integrity": {"type": "string", "maxLength": 80, "pattern": "^sha384-[A-Za-z0-9+/]{64}$"},
                },
                description="The immutable script of the web component <gramwatt-calculator>, and its digest.",
            ),
            "calculators": {"type": "array", "maxItems": 200, "items": {"$ref": "#/components/schemas/IndexEntry"}},
        },
    ),
    "Description": _object(
        [
            "calculator",
            "title",
            "summary",
            "about",
            "job",
            "by_query",
            "inputs",
            "any_of",
            "choices",
            "results",
            "example",
        ],
        {
            "calculator": {"type": "string", "maxLength": 64, "pattern": "^[a-z0-9-]+$"},
            "title": _TEXT,
            "summary": _TEXT,
            "about": _TEXT,
            "job": {"type": "string", "enum": list(CATEGORIES), "description": "The category of the calculator."},
            "by_query": {"type": "boolean", "description": "Whether its inputs fit the query of a GET."},
            "inputs": {"type": "array", "maxItems": 100, "items": {"$ref": "#/components/schemas/Field"}},
            "any_of": {
                "type": "array",
                "description": "Groups of inputs of which at least one must be given.",
                "maxItems": 20,
                "items": {"type": "array", "maxItems": 100, "items": json_schema.NAME},
            },
            "choices": {
                "type": "object",
                "description": "Members of a request that choose a row of a craft document by its name.",
                "propertyNames": json_schema.NAME,
                "maxProperties": 20,
                "additionalProperties": _object(["table", "label"], {"table": json_schema.NAME, "label": _TEXT}),
            },
            "results": {"type": "array", "maxItems": 100, "items": {"$ref": "#/components/schemas/Field"}},
            "example": {"type": "object", "description": "Valid inputs."},
        },
        description="A calculator: what a form for it needs.",
    ),
    "Field": {
        "type": "object",
        "description": "An input or a result, with its kind, units, default, options, or the columns of a table.",
        "required": ["name", "label", "kind", "description"],
        "properties": {
            "name": json_schema.NAME,
            "label": _TEXT,
            "kind": {
                "type": "string",
                "enum": [kind.kind_name for kind in get_args(Kind) if kind.is_given],
            },
            "description": _TEXT,
            "unit": {"type": "string", "maxLength": 16, "pattern": json_schema.PRINTABLE},
        },
    },
    "IndexEntry": _object(
        ["name", "title", "summary", "headline", "results", "links"],
        {
            "name": {"type": "string", "maxLength": 64, "pattern": "^[a-z0-9-]+$"},
            "title": _TEXT,
            "summary": _TEXT,
            "headline": json_schema.NAME,
            "results": {"type": "array", "maxItems": 100, "items": json_schema.NAME},
            "links": {"type": "object", "additionalProperties": _LINK},
        },
    ),
    "UnitTable": _object(
        ["dimensions"],
        {
            "dimensions": {
                "type": "array",
                "maxItems": 100,
                "items": _object(
                    ["dimension", "units"],
                    {
                        "dimension": {"type": "string", "maxLength": 40, "pattern": "^[a-z ]+$"},
                        "units": {
                            "type": "array",
                            "description": "The usual unit first; a unit may have several spellings.",
                            "maxItems": 40,
                            "items": _object(
                                ["unit", "scale", "offset"],
                                {
                                    "unit": {"type": "string", "maxLength": 16, "pattern": json_schema.PRINTABLE},
                                    "scale": {"type": "number", "format": "double", "exclusiveMinimum": 0},
                                    "offset": {"type": "number", "format": "double"},
                                },
                            ),
                        },
                    },
                ),
            }
        },
        description="The closed table of units: a value in SI is value * scale + offset.",
    ),
    "KindOfProblem": _object(
        ["type", "title", "status", "advice"],
        {
            "type": _LINK,
            "title": _TEXT,
            "status": {"type": "integer", "format": "int32", "minimum": 400, "maximum": 599},
            "advice": _TEXT,
        },
    ),
}


COMMON_STATUSES: Final = (414, 429, 500, 503)
OTHER_STATUSES: Final = (400, 404, 406, 413, 415, 422, 501)
"""The statuses of problems. 405 is for methods that are not in the contract, 431 comes before any path is known."""

NUMBER: Final = r"-?[0-9]+(?:[.,][0-9]+)?(?:e[+-][0-9]+)?"
VALUE_PATTERNS: Final[Mapping[str, str]] = {
    "Number": NUMBER,
    "Numbers": f"{NUMBER}(?:[,;]{NUMBER})*",
    "Truth": "true|false",
}
"""Patterns of a bare value, by the name of its response."""


def add_components(spec: APISpec) -> None:
    """Add headers, schemas, and a response for every status of a problem."""
    for name, header in HEADERS.items():
        spec.components.header(name, header)
    for name, shared in {**RESPONSE_SCHEMAS, **SCHEMAS}.items():
        spec.components.schema(name, shared)
    not_modified = {"description": "The client's cached copy is up to date.", "headers": _headers("ETag")}
    spec.components.response("NotModified", not_modified)
    for status in COMMON_STATUSES + OTHER_STATUSES:
        _add_problem_response(spec, status)


def _headers(*more: str) -> JsonObject:
    return {name: {"$ref": f"#/components/headers/{name}"} for name in sorted({*COMMON_HEADERS, *more})}


def _add_problem_response(spec: APISpec, status: int) -> None:
    kinds = {kind: problem_type for kind, problem_type in PROBLEM_TYPES.items() if problem_type.status == status}
    more = ("Retry-After",) if status in (429, 503) else ()
    examples = {}
    for kind, problem_type in kinds.items():
        value = {
            "type": f"/problems/{kind}",
            "title": problem_type.title,
            "status": status,
            "detail": problem_type.advice,
            "instance": "urn:uuid:5d1f1f43-6a2a-4f4c-9d35-6d7c5ad0a2a1",
        }
        examples[kind] = {"summary": problem_type.title, "value": value}
    spec.components.response(
        f"Problem{status}",
        {
            "description": "; ".join(problem_type.title for problem_type in kinds.values()) + ".",
            "headers": _headers(*more),
            "content": {
                "application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}, "examples": examples}
            },
        },
    )


def make_problem_responses(*statuses: int) -> JsonObject:
    """Return the problem responses of a path, including those of every path."""
    all_statuses = sorted({*statuses, *COMMON_STATUSES})
    return {str(status): {"$ref": f"#/components/responses/Problem{status}"} for status in all_statuses}


def make_ok_response(description: str, content: JsonObject, *more: str) -> JsonObject:
    """Return a successful response with its headers."""
    return {"description": description, "headers": _headers(*more), "content": content}


def make_cacheable_responses(response: JsonObject) -> JsonObject:
    """Return the successful responses of a path that clients may cache: 200 and 304."""
    return {"200": response, "304": {"$ref": "#/components/responses/NotModified"}}


def make_value_response(pattern: str) -> JsonObject:
    """Return the response with one bare value."""
    schema = {"type": "string", "maxLength": 20_000, "pattern": f"^(?:{pattern}|#ERR .*)$"}
    description = "The value as plain text; with `errors=text`, errors as a text that begins with `#ERR`."
    return make_ok_response(description, {"text/plain": {"schema": schema}}, "ETag")
