"""The schemas that the responses of all calculators refer to: units, cautions, uncertainty, working, errors of rows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from gramwatt.web.openapi.json_schema import PATH, PRINTABLE, JsonSchema, make_object


def _make_text(max_length: int, **more: object) -> JsonSchema:
    return {"type": "string", "maxLength": max_length, "pattern": PRINTABLE, **more}


_NUMBER_OR_LIST: Final[JsonSchema] = {
    "anyOf": [
        {"type": "number", "format": "double"},
        {"type": "array", "maxItems": 2000, "items": {"type": ["number", "null"], "format": "double"}},
    ]
}

_SHARE: Final[JsonSchema] = {"type": ["number", "null"], "format": "double", "minimum": 0, "maximum": 1}
_SHARE_OR_LIST: Final[JsonSchema] = {
    "anyOf": [
        {"type": "number", "format": "double", "minimum": 0, "maximum": 1},
        {"type": "array", "maxItems": 2000, "items": _SHARE},
    ]
}

RESPONSE_SCHEMAS: Final[Mapping[str, JsonSchema]] = {
    "Units": {
        "type": "object",
        "description": "The unit of each quantity in inputs and results; given is in the units of this contract.",
        "additionalProperties": {"type": "string", "maxLength": 16, "pattern": PRINTABLE},
    },
    "Cautions": {
        "type": "array",
        "description": "What these figures show, most severe first; then what more inputs would settle; then what is "
        "always true. Each code once.",
        "maxItems": 1000,
        "items": {"$ref": "#/components/schemas/Caution"},
    },
    "Caution": make_object(
        {
            "code": {"type": "string", "maxLength": 64, "pattern": "^[a-z0-9-]+$"},
            "kind": {"type": "string", "enum": ["finding", "missing", "standing"]},
            "severity": {"type": "string", "enum": ["high", "medium", "low"]},
            "text": _make_text(2000),
            "results": {
                "type": "array",
                "description": "The results that are null for this reason; in a table by_setup.2.endurance.",
                "maxItems": 10000,
                "items": PATH,
            },
        },
        required=["code", "kind", "severity", "text"],
    ),
    "Uncertainty": {
        "type": "object",
        "description": "The uncertainty of each numeric result, if an input has one, given or by default.",
        "additionalProperties": {"$ref": "#/components/schemas/StandardUncertainty"},
    },
    "RowError": make_object(
        {
            "row": {
                "type": "integer",
                "format": "int64",
                "minimum": 0,
                "maximum": 2**53,
                "description": "Number of the row in the table, from 1.",
            },
            "type": {
                "type": "string",
                "format": "uri-reference",
                "maxLength": 100,
                "description": "Only in a last row: why the table could not be read to its end.",
            },
            "detail": _make_text(4000),
            "errors": {
                "type": "array",
                "description": "Errors of this row, up to five; none after the first thousand invalid rows.",
                "maxItems": 5,
                "items": {"$ref": "#/components/schemas/Fault"},
            },
        },
        required=["row", "detail"],
    ),
    "StandardUncertainty": make_object(
        {
            "standard": {
                **_NUMBER_OR_LIST,
                "description": "Standard deviation of the result's distribution (JCGM 101), in its unit.",
            },
            "low": {**_NUMBER_OR_LIST, "description": "2.5 per cent of the likely cases lie below this."},
            "high": {**_NUMBER_OR_LIST, "description": "2.5 per cent of the likely cases lie above this."},
            "no_result": {
                **_SHARE_OR_LIST,
                "description": "Share of the likely cases in which there is no result; left out where it is 0.",
            },
            "shares": {
                "type": "object",
                "description": "Share of each uncertain input in the variance; the shares add up to 1.",
                "additionalProperties": {"type": "number", "format": "double", "minimum": 0, "maximum": 1},
            },
        },
        required=["standard", "low", "high"],
    ),
    "Working": {
        "type": "object",
        "description": "With working=true: how each result was computed.",
        "additionalProperties": {"$ref": "#/components/schemas/Steps"},
    },
    "Steps": make_object(
        {
            "formula": _make_text(2000),
            "numbers": _make_text(4000, description="The formula with numbers inserted."),
            "method": _make_text(2000, description="How the result is computed, if no single formula gives it."),
            "references": {
                "type": "array",
                "maxItems": 20,
                "items": make_object(
                    {"text": _make_text(1000), "url": {"type": "string", "format": "uri", "maxLength": 500}},
                    required=["text"],
                ),
            },
        },
        required=["references"],
    ),
}
