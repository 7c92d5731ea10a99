"""Add the parts of the contract that all paths share: headers, schemas of responses, problems."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, get_args

from apispec import APISpec

from gramwatt.engine.cautions import NO_RESULT, POSSIBLY
from gramwatt.engine.unusual_inputs import UNUSUAL
from gramwatt.model import CATEGORIES, Kind
from gramwatt.web.openapi.inputs import NAME, PRINTABLE, ROW_NAME
from gramwatt.web.openapi.naming import JsonObject, make_object, refer
from gramwatt.web.problems import PROBLEM_TYPES


def _text(max_length: int = 2000, **more: object) -> JsonObject:
    return {"type": "string", "maxLength": max_length, "pattern": PRINTABLE, **more}


def _integer(minimum: int, maximum: int, **more: object) -> JsonObject:
    form = "int32" if maximum < 2**31 else "int64"
    return {"type": "integer", "format": form, "minimum": minimum, "maximum": maximum, **more}


def _array(items: JsonObject, max_items: int, **more: object) -> JsonObject:
    return {"type": "array", "maxItems": max_items, "items": items, **more}


def _map(values: JsonObject, description: str, **more: object) -> JsonObject:
    return {"type": "object", "description": description, "additionalProperties": values, **more}


def _object(properties: JsonObject, *optional: str, **more: object) -> JsonObject:
    """Return the schema of an object with all members but the ``optional`` ones."""
    return make_object(properties, [name for name in properties if name not in optional], **more)


def _header(description: str, pattern: str) -> JsonObject:
    return {"description": description, "schema": {"type": "string", "maxLength": 200, "pattern": pattern}}


HEADERS: Final[Mapping[str, JsonObject]] = {
    "Access-Control-Allow-Origin": {
        "description": "Always `*`: any page may read the response, and shared caches may store it.",
        "schema": {"type": "string", "const": "*"},
    },
    "ETag": _header("An entity tag; send it as If-None-Match.", '^(?:W/)?"[0-9a-f]+(?:-gzip)?"$'),
    "Link": _header("The contract and its viewer.", "^<.+>; rel=.+$"),
    "RateLimit": _header(
        "Requests left, if the operator has set a limit, which RateLimit-Policy has "
        "(draft-ietf-httpapi-ratelimit-headers).",
        '^"default";r=[0-9]+;t=[0-9]+$',
    ),
    "Retry-After": {"description": "Seconds to wait.", "schema": _integer(0, 3600)},
    "Standing-Cautions": _header(
        "Codes of the cautions that apply to all rows of a table; a single request returns their texts.",
        "^[a-z0-9, -]+$",
    ),
    "X-Request-ID": {
        "description": "Identifies the request in the service's log.",
        "schema": {"type": "string", "format": "uuid", "maxLength": 36},
    },
}
COMMON_HEADERS: Final = ("Access-Control-Allow-Origin", "RateLimit", "X-Request-ID")

_LINK: Final = {"type": "string", "format": "uri-reference", "maxLength": 2048}
_CALCULATOR: Final = {"type": "string", "maxLength": 64, "pattern": "^[a-z0-9-]+$"}
_STATUS: Final = _integer(400, 599)
_FIGURE: Final[JsonObject] = {"type": "number", "format": "double"}
_FIGURES: Final[JsonObject] = _array({"type": ["number", "null"], "format": "double"}, 2000)
_SHARE: Final[JsonObject] = {"type": "number", "format": "double", "minimum": 0, "maximum": 1}
_NAMES: Final = _array({"type": "string", "maxLength": 128, "pattern": "^[a-z][a-z0-9_.]*$"}, 200)

SCHEMAS: Final[Mapping[str, JsonObject]] = {
    "Units": _map(
        _text(16), "The unit of each quantity in `inputs` and `results`; of `given` always that of this contract."
    ),
    "Cautions": _array(
        refer("Caution"),
        1000,
        description="What these figures show, most severe first; then what more inputs would settle; then what is "
        "always true. Each code once.",
    ),
    "Caution": _object(
        {
            "code": {
                "type": "string",
                "description": f"With `{POSSIBLY}` before it, it holds in some of the likely cases only.",
                "maxLength": 80,
                "pattern": "^[a-z0-9-]+$",
                "x-codes": [UNUSUAL, POSSIBLY + NO_RESULT],
            },
            "kind": {"type": "string", "enum": ["finding", "missing", "standing"]},
            "severity": {"type": "string", "enum": ["high", "medium", "low"]},
            "text": _text(),
            "results": _array(_text(128), 10000, description="The results that are null for this reason."),
        },
        "results",
    ),
    "Uncertainty": _map(
        refer("ResultUncertainty"),
        "The uncertainty of each numeric result, if an input has one, given or by default.",
    ),
    "ResultUncertainty": {"anyOf": [refer("UncertaintyOfNumber"), refer("UncertaintyOfList")]},
    "UncertaintyOfNumber": _object(
        {
            "standard": {**_FIGURE, "description": "Standard deviation of the result's distribution (JCGM 101)."},
            "low": {**_FIGURE, "description": "2.5 per cent of the likely cases lie below this."},
            "high": {**_FIGURE, "description": "2.5 per cent of the likely cases lie above this."},
            "no_result": {
                **_SHARE,
                "description": "Share of the likely cases in which there is no result; left out where it is 0.",
            },
            "shares": _map(_SHARE, "Share of each uncertain input in the variance; the shares add up to 1."),
        },
        "no_result",
    ),
    "UncertaintyOfList": _object(
        {
            **dict.fromkeys(("standard", "low", "high"), _FIGURES),
            "no_result": _array({**_SHARE, "type": ["number", "null"]}, 2000),
        },
        "no_result",
        description="The same of a list, or of a column of a table.",
    ),
    "Working": _map(refer("Steps"), "With working=true: how each result was computed."),
    "Steps": _object(
        {
            "formula": _text(),
            "numbers": _text(4000, description="The formula with numbers inserted."),
            "method": _text(description="How the result is computed, if no single formula gives it."),
            "references": _array(refer("Reference"), 20),
        },
        "formula",
        "numbers",
        "method",
    ),
    "AssumedInputs": {**_NAMES, "description": "The inputs, or columns of tables, that took their default."},
    "CraftInputs": {**_NAMES, "description": "The inputs that came from the craft document, if there was one."},
    "SolvedInputs": {**_NAMES, "description": "The inputs that were computed from measured ones."},
    "ChosenRows": _map(
        _text(int(ROW_NAME["maxLength"])),
        "The rows of the craft's tables that inputs came from, by the member of the request that names one; the first "
        "row where the request names none.",
    ),
    "Reference": _object({"text": _text(1000), "url": {"type": "string", "format": "uri", "maxLength": 500}}, "url"),
    "RecordingSummary": _object(
        {"samples": _integer(0, 5_000_000), "columns": _array(NAME, 100)},
        description="The number of samples of a recording, and its channels.",
    ),
    "RowCautions": _object(
        {"cautions": _array({"type": "string", "maxLength": 64, "pattern": "^[a-z0-9-]+$"}, 60)},
        description="Codes of the cautions of a row; Standing-Cautions has those of all rows. Before the results are "
        "columns that were copied, and the inputs if `given` is set. With `uncertainty` each result is followed by "
        "`<result>_u`, `<result>_low` and `<result>_high`.",
    ),
    "InvalidRow": _object({"error": refer("RowError")}, description="A row without results, with the copied columns."),
    "RowError": _object(
        {
            "row": _integer(0, 2**53, description="Number of the row in the table, from 1."),
            "type": {
                "type": "string",
                "format": "uri-reference",
                "maxLength": 100,
                "description": "Only in a last row: why the table could not be read to its end.",
            },
            "detail": _text(4000),
            "errors": _array(
                refer("Fault"), 5, description="Errors of this row; none after the first thousand invalid rows."
            ),
        },
        "type",
        "errors",
    ),
    "Fault": _object(
        {
            "pointer": {
                "type": "string",
                "format": "json-pointer",
                "maxLength": 400,
                "description": "The invalid member, a JSON Pointer (RFC 6901); for a query /name.",
            },
            "detail": _text(),
            "given": {"maxLength": 200, "description": "The given value, shortened; null if there is none."},
            "accepted": _text(),
        }
    ),
    "Problem": _object(
        {
            "type": {
                "type": "string",
                "format": "uri-reference",
                "maxLength": 100,
                "x-codes": list(PROBLEM_TYPES),
            },
            "title": _text(),
            "status": _STATUS,
            "detail": _text(),
            "instance": {"type": "string", "format": "uri", "maxLength": 100},
            "errors": _array(refer("Fault"), 100, description="All errors of the inputs, up to 100."),
        },
        "errors",
        description="A problem (RFC 9457).",
    ),
    "ServiceIndex": _object(
        {
            "service": {"type": "string", "const": "gramwatt"},
            "version": {"type": "string", "maxLength": 20, "pattern": r"^[0-9]+\.[0-9]+\.[0-9]+$"},
            "contract": _LINK,
            "reference": _LINK,
            "units": _LINK,
            "element": _object(
                {
                    "script": _LINK,
                    "integrity": {"type": "string", "maxLength": 80, "pattern": "^sha384-[A-Za-z0-9+/]{64}$"},
                },
                description="The immutable script of the web component <gramwatt-calculator>, and its digest.",
            ),
            "calculators": _array(refer("CalculatorEntry"), 200),
        }
    ),
    "CalculatorEntry": _object(
        {
            "name": _CALCULATOR,
            "title": _text(),
            "summary": _text(),
            "headline": NAME,
            "results": _array(NAME, 100),
            "links": {"type": "object", "additionalProperties": _LINK},
        }
    ),
    "Description": _object(
        {
            "calculator": _CALCULATOR,
            "title": _text(),
            "summary": _text(),
            "about": _text(),
            "job": {"type": "string", "enum": list(CATEGORIES), "description": "The category of the calculator."},
            "by_query": {"type": "boolean", "description": "Whether its inputs fit the query of a GET."},
            "inputs": _array(refer("Field"), 100),
            "any_of": _array(
                _array(NAME, 100), 20, description="Groups of inputs of which at least one must be given."
            ),
            "choices": _map(
                _object({"table": NAME, "label": _text()}),
                "Members of a request that choose a row of a craft document by its name.",
                maxProperties=20,
            ),
            "results": _array(refer("Field"), 100),
            "example": {"type": "object", "description": "Valid inputs."},
        },
        description="A calculator: what a form for it needs.",
    ),
    "Field": _object(
        {
            "name": NAME,
            "label": _text(),
            "kind": {"type": "string", "enum": [kind.kind_name for kind in get_args(Kind) if kind.is_given]},
            "description": _text(),
            "unit": _text(16),
        },
        "unit",
        description="An input or a result, with its kind, units, default, options, or the columns of a table.",
    ),
    "UnitTable": _object(
        {"dimensions": _array(refer("Dimension"), 100)},
        description="The closed table of units: a value in SI is value * scale + offset.",
    ),
    "Dimension": _object(
        {
            "dimension": {"type": "string", "maxLength": 40, "pattern": "^[a-z ]+$"},
            "units": _array(
                refer("UnitFactors"), 40, description="The usual unit first; a unit may have several spellings."
            ),
        }
    ),
    "UnitFactors": _object(
        {
            "unit": _text(16),
            "scale": {"type": "number", "format": "double", "exclusiveMinimum": 0},
            "offset": {"type": "number", "format": "double"},
        }
    ),
    "ProblemType": _object({"type": _LINK, "title": _text(), "status": _STATUS, "advice": _text()}),
}

PROBLEMS: Final[Mapping[str, JsonObject]] = {
    status: {"$ref": f"#/components/responses/{name}"}
    for status, name in (
        ("422", "Problem"),
        ("429", "TooManyRequests"),
        ("500", "Problem"),
        ("default", "Problem"),
    )
}
"""The responses to errors: `default` has all, and linters want three of them by their status too."""


def add_shared(spec: APISpec) -> None:
    """Add headers, schemas, and the responses of errors."""
    for name, header in HEADERS.items():
        spec.components.header(name, header)
    for name, schema in SCHEMAS.items():
        spec.components.schema(name, schema)
    not_modified = {"description": "The client's cached copy is up to date.", "headers": _make_headers("ETag")}
    spec.components.response("NotModified", not_modified)
    problem = {"application/problem+json": {"schema": refer("Problem")}}
    titles = "; ".join(f"{each.status} {each.title.lower()}" for each in PROBLEM_TYPES.values())
    for name, description in (
        ("Problem", f"A problem: {titles}. With 503 wait for the seconds in Retry-After."),
        ("TooManyRequests", "Too many requests: wait for the seconds in Retry-After."),
    ):
        headers = _make_headers("Retry-After")
        spec.components.response(name, {"description": description, "headers": headers, "content": problem})


def _make_headers(*more: str) -> JsonObject:
    return {name: refer(name, "headers") for name in sorted({*COMMON_HEADERS, *more})}


def make_ok_response(description: str, content: JsonObject, *more: str) -> JsonObject:
    """Return a successful response with its headers."""
    return {"description": description, "headers": _make_headers(*more), "content": content}


def make_responses(ok_response: JsonObject, *, cacheable: bool = False) -> JsonObject:
    """Return the responses of an operation; of one that clients may cache, 304 is among them."""
    not_modified = {"304": refer("NotModified", "responses")} if cacheable else {}
    return {"200": ok_response, **not_modified, **PROBLEMS}


def make_content(media_type: str, schema: JsonObject, **more: Any) -> JsonObject:
    """Return a body of one media type."""
    return {media_type: {"schema": schema, **more}}
