"""Add the parts of the contract that all paths share: headers, schemas of responses, problems."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, get_args

from apispec import APISpec

from gramwatt.engine.cautions import DEPRECATED, NEEDS_INPUT, NO_RESULT, NOT_USED, POSSIBLY
from gramwatt.engine.unusual_inputs import UNUSUAL
from gramwatt.model import CATEGORIES, Kind
from gramwatt.web.openapi.building import make_array, make_integer, make_map, make_result_object, make_text
from gramwatt.web.openapi.inputs import NAME, ROW_NAME
from gramwatt.web.openapi.naming import JsonObject, refer
from gramwatt.web.openapi.working import WORKING_SCHEMAS
from gramwatt.web.problems import PROBLEM_TYPES


def _header(description: str, pattern: str) -> JsonObject:
    return {"description": description, "schema": {"type": "string", "maxLength": 200, "pattern": pattern}}


HEADERS: Final[Mapping[str, JsonObject]] = {
    "Access-Control-Allow-Origin": {
        "description": "Always `*`: any page may read the response, and shared caches may store it.",
        "schema": {"type": "string", "const": "*"},
    },
    "ETag": _header("An entity tag; send it as If-None-Match.", '^(?:W/)?"[0-9a-f]+(?:-gzip)?"$'),
    "Link": _header("What describes the response.", "^<.+>; rel=.+$"),
    "RateLimit": _header(
        "Requests left, if the operator has set a limit, which RateLimit-Policy has "
        "(draft-ietf-httpapi-ratelimit-headers).",
        '^"default";r=[0-9]+;t=[0-9]+$',
    ),
    "Retry-After": {"description": "Seconds to wait.", "schema": make_integer(0, 3600)},
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
_STATUS: Final = make_integer(400, 599)
_FIGURE: Final[JsonObject] = {"type": "number", "format": "double"}
_FIGURES: Final[JsonObject] = make_array({"type": ["number", "null"], "format": "double"}, 2000)
_SHARE: Final[JsonObject] = {"type": "number", "format": "double", "minimum": 0, "maximum": 1}
_NAMES: Final = make_array({"type": "string", "maxLength": 128, "pattern": "^[a-z][a-z0-9_.]*$"}, 200)

SCHEMAS: Final[Mapping[str, JsonObject]] = {
    "Units": make_map(
        make_text(16),
        "The unit of each quantity in `results`, by name or `table.column`; `units` in a request changes it.",
    ),
    "InputUnits": make_map(
        make_text(16), "The unit of each quantity in `given` and `inputs`, always that of the contract."
    ),
    "Cautions": make_array(
        refer("Caution"),
        1000,
        description="What these figures show, most severe first; then what more inputs would settle; then what is "
        "always true. Each code once.",
    ),
    "Caution": make_result_object(
        {
            "code": {
                "type": "string",
                "description": f"With `{POSSIBLY}` before it, it holds in some of the likely cases only.",
                "maxLength": 80,
                "pattern": "^[a-z0-9-]+$",
                "x-codes": [UNUSUAL, DEPRECATED, NEEDS_INPUT, NOT_USED, NO_RESULT, POSSIBLY + NO_RESULT],
            },
            "kind": {"type": "string", "enum": ["finding", "missing", "standing"]},
            "severity": {"type": "string", "enum": ["high", "medium", "low"]},
            "text": make_text(),
            "results": make_array(
                make_text(128),
                10000,
                description="The results that are null for this reason: a name, or a pointer such as /table/1/column.",
            ),
        },
        "results",
    ),
    "Uncertainty": make_map(
        refer("ResultUncertainty"),
        "The uncertainty of each numeric result, if an input has one, given or by default.",
    ),
    "ResultUncertainty": {"anyOf": [refer("UncertaintyOfNumber"), refer("UncertaintyOfList")]},
    "UncertaintyOfNumber": make_result_object(
        {
            "standard": {**_FIGURE, "description": "Standard deviation of the result's distribution (JCGM 101)."},
            "low": {**_FIGURE, "description": "2.5 per cent of the likely cases lie below this."},
            "high": {**_FIGURE, "description": "2.5 per cent of the likely cases lie above this."},
            "no_result": {
                **_SHARE,
                "description": "Share of the likely cases in which there is no result; left out where it is 0.",
            },
            "shares": make_map(_SHARE, "Share of each uncertain input in the variance; the shares add up to 1."),
        },
        "no_result",
    ),
    "UncertaintyOfList": make_result_object(
        {
            **dict.fromkeys(("standard", "low", "high"), _FIGURES),
            "no_result": make_array({**_SHARE, "type": ["number", "null"]}, 2000),
        },
        "no_result",
        description="The same of a list, or of a column of a table.",
    ),
    **WORKING_SCHEMAS,
    "AssumedInputs": {**_NAMES, "description": "The inputs, or columns of tables, that took their default."},
    "CraftInputs": {**_NAMES, "description": "The inputs that came from the craft document, if there was one."},
    "ComputedInputs": {**_NAMES, "description": "The inputs that were computed from measured ones."},
    "ChosenRows": make_map(
        make_text(int(ROW_NAME["maxLength"])),
        "The rows of the craft's tables that inputs came from, by the member of the request that names one; the first "
        "row where the request names none.",
    ),
    "RecordingSummary": make_result_object(
        {"samples": make_integer(0, 5_000_000), "columns": make_array(NAME, 100)},
        description="The number of samples of a recording, and its channels.",
    ),
    "RowCautions": make_result_object(
        {"cautions": make_array({"type": "string", "maxLength": 64, "pattern": "^[a-z0-9-]+$"}, 60)},
        description="Codes of the cautions of a row; Standing-Cautions has those of all rows. Before the results are "
        "columns that were copied, and the inputs if `given` is set. With `uncertainty` each result is followed by "
        "`<result>_u`, `<result>_low` and `<result>_high`.",
    ),
    "InvalidRow": make_result_object(
        {"error": refer("RowError")}, description="A row without results, with the copied columns."
    ),
    "RowError": make_result_object(
        {
            "row": make_integer(0, 2**53, description="Number of the row in the table, from 1."),
            "type": {
                "type": "string",
                "format": "uri-reference",
                "maxLength": 100,
                "description": "Only in a last row: why the table could not be read to its end.",
            },
            "detail": make_text(4000),
            "errors": make_array(
                refer("InputError"), 5, description="Errors of this row; none after the first thousand invalid rows."
            ),
        },
        "type",
        "errors",
    ),
    "InputError": make_result_object(
        {
            "pointer": {
                "type": "string",
                "format": "json-pointer",
                "maxLength": 400,
                "description": "The invalid member, a JSON Pointer (RFC 6901); for a query /name.",
            },
            "detail": make_text(),
            "given": {"maxLength": 200, "description": "The given value, shortened; null if there is none."},
            "accepted": make_text(),
        }
    ),
    "Problem": make_result_object(
        {
            "type": {
                "type": "string",
                "format": "uri-reference",
                "maxLength": 400,
                "x-codes": list(PROBLEM_TYPES),
            },
            "title": make_text(),
            "status": _STATUS,
            "detail": make_text(),
            "instance": {"type": "string", "format": "uri", "maxLength": 100},
            "errors": make_array(refer("InputError"), 100, description="All errors of the inputs, up to 100."),
        },
        "errors",
        description="A problem (RFC 9457).",
    ),
    "ServiceIndex": make_result_object(
        {
            "service": {"type": "string", "const": "gramwatt"},
            "version": {"type": "string", "maxLength": 20, "pattern": r"^[0-9]+\.[0-9]+\.[0-9]+$"},
            "contract": _LINK,
            "docs": _LINK,
            "reference": _LINK,
            "units": _LINK,
            "web_component": make_result_object(
                {
                    "script": _LINK,
                    "integrity": {"type": "string", "maxLength": 80, "pattern": "^sha384-[A-Za-z0-9+/]{64}$"},
                },
                description="The immutable script of the web component <gramwatt-calculator>, and its digest.",
            ),
            "calculators": make_array(refer("CalculatorEntry"), 200),
        }
    ),
    "CalculatorEntry": make_result_object(
        {
            "name": _CALCULATOR,
            "title": make_text(),
            "summary": make_text(),
            "headline": NAME,
            "results": make_array(NAME, 100),
            "links": {"type": "object", "additionalProperties": _LINK},
        }
    ),
    "CalculatorDescription": make_result_object(
        {
            "calculator": _CALCULATOR,
            "title": make_text(),
            "summary": make_text(),
            "about": make_text(),
            "category": {"type": "string", "enum": list(CATEGORIES)},
            "deprecated": {"type": "boolean", "const": True},
            "by_query": {"type": "boolean", "description": "Whether its inputs fit the query of a GET."},
            "inputs": make_array(refer("CalculatorField"), 100),
            "any_of": make_array(
                make_array(NAME, 100), 20, description="Groups of inputs of which at least one must be given."
            ),
            "choices": make_map(
                refer("RowChoice"),
                "Members of a request that choose a row of a craft document by its name.",
                maxProperties=20,
            ),
            "results": make_array(refer("CalculatorField"), 100),
            "example": {"type": "object", "description": "Valid inputs."},
        },
        "deprecated",
        description="A calculator: what programs and forms need to know of it.",
    ),
    "RowChoice": make_result_object({"table": NAME, "label": make_text()}),
    "CalculatorField": make_result_object(
        {
            "name": NAME,
            "label": make_text(),
            "kind": {"type": "string", "enum": [kind.kind_name for kind in get_args(Kind) if kind.is_given]},
            "description": make_text(),
            "unit": make_text(16),
            **dict.fromkeys(("minimum", "exclusive_minimum", "maximum", "exclusive_maximum"), _FIGURE),
            "deprecated": {"type": "boolean", "const": True},
        },
        *("unit", "minimum", "exclusive_minimum", "maximum", "exclusive_maximum", "deprecated"),
        description="An input or a result, with its kind, units, bounds in `unit`, default, options, or columns.",
    ),
    "UnitTable": make_result_object(
        {"dimensions": make_array(refer("Dimension"), 100)},
        description="The closed table of units: a value in SI is value * scale + offset.",
    ),
    "Dimension": make_result_object(
        {
            "dimension": {"type": "string", "maxLength": 40, "pattern": "^[a-z ]+$"},
            "units": make_array(
                refer("UnitFactors"), 40, description="The usual unit first; a unit may have several spellings."
            ),
        }
    ),
    "UnitFactors": make_result_object(
        {
            "unit": make_text(16),
            "scale": {"type": "number", "format": "double", "exclusiveMinimum": 0},
            "offset": {"type": "number", "format": "double"},
        }
    ),
    "ProblemType": make_result_object({"type": _LINK, "title": make_text(), "status": _STATUS, "advice": make_text()}),
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
