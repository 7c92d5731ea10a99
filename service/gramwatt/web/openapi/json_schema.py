"""Make JSON Schemas (2020-12) of declared fields: of inputs in JSON or in a query, and of the response."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, TypeAlias

from gramwatt.engine.columns import uncertainty_kind
from gramwatt.engine.craft_fields import get_choices
from gramwatt.engine.nested import MAX_QUERY_LIST_LENGTH
from gramwatt.engine.recordings.columns import MAX_CELL_LENGTH
from gramwatt.model import (
    Calculator,
    Choice,
    Count,
    Flag,
    Kind,
    NumberList,
    Quantity,
    RowName,
    Table,
    Text,
    TimeSeries,
    units,
)
from gramwatt.model.parsing import MAX_NUMBER_LENGTH
from gramwatt.web.openapi.number_pattern import make_text_pattern

JsonSchema: TypeAlias = dict[str, Any]

PRINTABLE = r"^[^\u0000-\u001F\u007F-\u009F\u2028\u2029]+$"
PATH = {"type": "string", "pattern": r"^[a-z][a-z0-9_]*(?:\.[0-9]+\.[a-z][a-z0-9_]*)?$", "maxLength": 128}
GIVEN_TEXT = r"^-?[0-9]+(?:\.[0-9]+)?(?:e[+-]?[0-9]+)? ± [0-9]+(?:\.[0-9]+)?(?:e[+-]?[0-9]+)?$"
NAME = {"type": "string", "pattern": "^[a-z][a-z0-9_]*$", "maxLength": 64}
ROW_NAME: JsonSchema = {"type": "string", "minLength": 1, "maxLength": Text("").max_length, "pattern": PRINTABLE}


def make_input_schema(kind: Kind, *, query: bool = False) -> JsonSchema:
    """Return the schema of one input, as a JSON value or as a query parameter."""
    schema: JsonSchema = {"description": kind.description} if kind.is_given else {}
    match kind:
        case Quantity():
            schema |= _refer_to_quantity(kind)
        case Count():
            schema |= {"type": "integer", "format": "int32", "minimum": kind.at_least, "maximum": kind.at_most}
            if kind.suffix:
                longest = len(f"{kind.at_most}{kind.suffix}")
                schema |= {"type": ["integer", "string"], "maxLength": longest, "pattern": kind.labelled_pattern}
        case Choice():
            schema |= {"type": "string", "enum": list(kind.options)}
        case Flag():
            schema |= {"type": "boolean"}
        case Text():
            pattern = f"^(?:{kind.pattern})$" if kind.pattern else PRINTABLE
            schema |= {"type": "string", "minLength": 1, "maxLength": kind.max_length, "pattern": pattern}
        case RowName():
            schema |= {**ROW_NAME, "x-row-of": kind.of}
        case TimeSeries():
            schema |= {"$ref": f"#/components/schemas/{kind.row.__name__}"}
        case NumberList():
            max_length = min(kind.max_length, MAX_QUERY_LIST_LENGTH) if query else kind.max_length
            schema |= {
                "type": "array",
                "minItems": kind.min_length,
                "maxItems": max_length,
                "items": _refer_to_quantity(kind.item),
            }
        case Table():
            schema |= {
                "type": "array",
                "minItems": kind.min_length,
                "maxItems": kind.max_length,
                "items": _make_row_schema(kind),
            }
        case _:
            raise TypeError(kind)
    default = kind.default
    if default is not None:
        schema["default"] = default
    return schema


def make_recording_schemas(calculator: Calculator[Any, Any]) -> dict[str, JsonSchema]:
    """Return the schemas of a calculator's recordings, by the name of the class that declares their channels."""
    inputs = calculator.input_fields.values()
    kinds = [*inputs, *(column for kind in inputs for column in kind.columns.values())]
    return {kind.row.__name__: _make_recording_schema(kind) for kind in kinds if isinstance(kind, TimeSeries)}


def _make_recording_schema(kind: TimeSeries) -> JsonSchema:
    """Return an object of lists by channel; other columns are allowed and ignored."""
    cells = {"type": ["number", "string", "null"], "maxLength": MAX_CELL_LENGTH, "pattern": r"^[\s\S]*$"}
    column: JsonSchema = {"type": "array", "maxItems": kind.max_length, "items": cells}
    channels = {name: each for name, each in kind.columns.items() if isinstance(each, Quantity)}
    return {
        "type": "object",
        "maxProperties": 1000,
        "properties": {
            name: {**column, "description": each.description, "x-unit": each.unit} for name, each in channels.items()
        },
        "required": [name for name, each in channels.items() if each.is_required],
        "additionalProperties": {**column, "description": "A column that is not a channel; it is ignored."},
    }


def _refer_to_quantity(kind: Quantity) -> JsonSchema:
    return {"$ref": f"#/components/schemas/{make_quantity_name(kind)}", "x-unit": kind.unit}


def make_quantity_schemas(calculator: Calculator[Any, Any]) -> dict[str, JsonSchema]:
    """Return the schemas that a calculator's inputs refer to, one for each unit with its bounds, by name."""
    kinds: list[Kind] = []
    for kind in calculator.input_fields.values():
        kinds += _list_columns(kind).values() if isinstance(kind, Table) else [kind]
    quantities = [kind.quantity for kind in kinds if kind.quantity is not None]
    return {make_quantity_name(quantity): _make_quantity_schema(quantity) for quantity in quantities}


def make_quantity_name(kind: Quantity) -> str:
    """Return the name of a quantity's schema: ``mAh_at_least_1_at_most_1000000``."""
    bounds = (("above", kind.above), ("at_least", kind.at_least), ("below", kind.below), ("at_most", kind.at_most))
    parts = [f"{word}_{format(Decimal(repr(bound)).normalize(), 'f')}" for word, bound in bounds if bound is not None]
    exact = ["exact"] if kind.exact else []
    return "_".join([make_unit_identifier(kind.unit), *parts, *exact]).replace("_-", "_minus_")


def make_unit_identifier(unit: str) -> str:
    """Return a unit in the characters that the name of a component may have: ``percent``, ``rpm_per_V``."""
    if unit == "1":
        return "number"
    words = unit.replace("%", "percent").replace("/", "_per_")
    return "".join(letter if letter.isascii() and letter.isalnum() else "_" for letter in words)


def _make_quantity_schema(kind: Quantity) -> JsonSchema:
    number: JsonSchema = {
        "type": "number",
        "format": "double",
        "title": "number" if kind.unit == "1" else f"in {kind.unit}",
    }
    for keyword, bound in (
        ("exclusiveMinimum", kind.above),
        ("minimum", kind.at_least),
        ("exclusiveMaximum", kind.below),
        ("maximum", kind.at_most),
    ):
        if bound is not None:
            number[keyword] = bound
    if kind.exact and kind.unit == "1":  # a bare number in quotes is no number, and there is nothing to add to it
        return {**number, "x-unit": kind.unit}
    text = {
        "type": "string",
        "title": "with a unit",
        "maxLength": MAX_NUMBER_LENGTH,
        "pattern": make_text_pattern(kind),
    }
    if kind.unit == "1":
        text["title"] = "with an uncertainty"
    return {"anyOf": [number, text], "x-unit": kind.unit}


def _list_columns(kind: Table) -> dict[str, Kind]:
    """Return the columns of a row: its fields, and ``<name>_u`` of each quantity."""
    uncertainties = {
        f"{name}_u": uncertainty_kind(name, column)
        for name, column in kind.input_columns.items()
        if isinstance(column, Quantity)
    }
    return {**kind.input_columns, **uncertainties}


def _make_row_schema(kind: Table) -> JsonSchema:
    columns = _list_columns(kind)
    row = make_object(
        {name: make_input_schema(inner) for name, inner in columns.items()},
        required=[name for name, inner in columns.items() if inner.is_required],
    )
    if kind.any_of:
        row["allOf"] = [{"anyOf": [{"required": [name]} for name in group]} for group in kind.any_of]
    return row


def make_value_schema(kind: Kind) -> JsonSchema:
    """Return the schema of a value in a response, without its description."""
    match kind:
        case Quantity():
            return {**_make_number_schema(kind), "x-unit": kind.unit}
        case Count():
            return {"type": "integer", "format": "int32", "minimum": 0, "maximum": 2**31 - 1}
        case Choice():
            return {"type": "string", "enum": list(kind.options)}
        case NumberList():
            return {
                "type": "array",
                "maxItems": 2 * kind.max_length,
                "items": _make_number_schema(kind.item),
                "x-unit": kind.item.unit,
            }
        case Table():
            rows = make_object({name: make_value_schema(inner) for name, inner in kind.input_columns.items()})
            return {"type": "array", "maxItems": kind.max_length, "items": rows}
        case Flag():
            return {"type": "boolean"}
        case TimeSeries():
            columns = {"type": "array", "maxItems": 100, "items": NAME}
            samples = {"type": "integer", "format": "int32", "minimum": 0, "maximum": kind.max_length}
            return make_object({"samples": samples, "columns": columns}, required=["samples", "columns"])
        case _:
            return make_input_schema(kind)


def _make_number_schema(kind: Quantity) -> JsonSchema:
    """Return the schema of a number in a response.

    It has a bound only if that is 0, which holds in any unit that a request may choose for its results.
    """
    schema: JsonSchema = {"type": "number", "format": "double"}
    if units.get_unit(kind.unit).offset == 0 and kind.possible_range[0] == 0:
        schema["minimum"] = 0
    return schema


def make_result_schema(kind: Kind) -> JsonSchema:
    """Return the schema of a result; without a result it is null, in a table its columns are."""
    if isinstance(kind, Table):
        columns = {
            name: make_value_schema(column) if isinstance(column, Text) or column.optional else _describe(column)
            for name, column in kind.columns.items()
        }
        rows = make_object(columns, required=[name for name, column in kind.columns.items() if not column.optional])
        return {"type": "array", "description": kind.description, "maxItems": kind.max_length, "items": rows}
    return _describe(kind)


def _describe(kind: Kind) -> JsonSchema:
    return {"description": kind.description, **make_nullable(make_value_schema(kind))}


def make_nullable(schema: JsonSchema) -> JsonSchema:
    """Return the schema that also allows null."""
    if "null" in schema["type"]:
        return schema
    widened = {**schema, "type": [schema["type"], "null"]}
    if "enum" in schema:
        widened["enum"] = [*schema["enum"], None]
    return widened


def _make_given_quantity_schema(kind: Quantity) -> JsonSchema:
    """Return the schema of a number in the declared unit, or of a text with its uncertainty."""
    if kind.exact:
        return {"type": "number", "format": "double", "x-unit": kind.unit}
    text = {"maxLength": MAX_NUMBER_LENGTH, "pattern": GIVEN_TEXT}
    return {"type": ["number", "string"], **text, "x-unit": kind.unit}


def _make_given_schema(kind: Kind) -> JsonSchema:
    """Return the schema of an input as a response returns it, without its description."""
    match kind:
        case Quantity():
            return _make_given_quantity_schema(kind)
        case NumberList():
            return {"type": "array", "maxItems": kind.max_length, "items": _make_given_quantity_schema(kind.item)}
        case Table():
            rows = make_object({name: _make_given_schema(inner) for name, inner in kind.input_columns.items()})
            return {"type": "array", "maxItems": kind.max_length, "items": rows}
        case _:
            return make_value_schema(kind)


def make_response_schema(calculator: Calculator[Any, Any]) -> JsonSchema:
    """Return the schema of a calculator's JSON response."""
    given = {name: _make_given_schema(kind) for name, kind in calculator.input_fields.items()}
    inputs = {name: make_value_schema(kind) for name, kind in calculator.input_fields.items()}
    columns = list(dict.fromkeys(each.name for each in calculator.assumptions if each.name not in inputs))
    for assumption in calculator.assumptions:
        if assumption.name in inputs:
            inputs[assumption.name] = make_nullable(inputs[assumption.name])  # it may have no finite value
    results = {name: make_result_schema(kind) for name, kind in calculator.result_fields.items()}
    names = {
        "type": "array",
        "maxItems": len(calculator.input_fields) + len(columns),
        "items": {"type": "string", "enum": [*calculator.input_fields, *columns]},
    }
    solved = {"solved": {**names, "description": "The inputs that were computed from measured ones."}}
    return make_object(
        {
            "calculator": {"type": "string", "const": calculator.name},
            "given": {
                **make_object(given),
                "description": "The inputs that were given, each in its unit of this contract. Sent again, they give "
                "the same response; a recording is only summarised, and must itself be sent again.",
            },
            "inputs": {
                **make_object(inputs),
                "description": "All inputs that were used: given, assumed or computed from others, each in its unit of "
                "this contract. An input that is also a result is in the unit requested for that.",
            },
            "assumed": {**names, "description": "The inputs that took their default."},
            "from_craft": {
                "type": "array",
                "maxItems": len(calculator.input_fields),
                "items": {"type": "string", "enum": list(calculator.input_fields)},
                "description": "The inputs that came from the craft document, if there was one.",
            },
            "chosen": {
                "type": "object",
                "propertyNames": {"enum": sorted(get_choices())},
                "additionalProperties": ROW_NAME,
                "description": "The rows of the craft's tables that inputs came from: a name for each `pack`, "
                "`propeller` or `flight`, the first row where the request names none.",
            },
            **(solved if any(assumption.solved_from for assumption in calculator.assumptions) else {}),
            "results": {
                **make_object(results, required=list(results)),
                "description": "null if there is no result.",
            },
            "units": {"$ref": "#/components/schemas/Units"},
            "cautions": {"$ref": "#/components/schemas/Cautions"},
            "uncertainty": {"$ref": "#/components/schemas/Uncertainty"},
            "working": {"$ref": "#/components/schemas/Working"},
        },
        required=["calculator", "given", "inputs", "assumed", "results", "units", "cautions"],
    )


def make_object(properties: Mapping[str, Any], required: list[str] | None = None) -> JsonSchema:
    """Return the schema of an object with no other members."""
    schema: JsonSchema = {"type": "object", "additionalProperties": False, "properties": dict(properties)}
    if required:
        schema["required"] = required
    return schema
