"""Make the schemas of results in a response, and in the rows of a table."""

from __future__ import annotations

from typing import Final

from apispec import APISpec

from gramwatt.engine.missing_results import list_nullable
from gramwatt.engine.schemas import get_schema_name
from gramwatt.model import (
    AnyCalculator,
    Choice,
    Count,
    Flag,
    Kind,
    NumberList,
    Quantity,
    Table,
    Text,
    TimeSeries,
    units,
)
from gramwatt.web.openapi.inputs import ANY_TEXT, Inputs
from gramwatt.web.openapi.naming import JsonObject, add_schema, make_enum, make_object, refer, to_class_name

MAX_INTEGER: Final = 2**31 - 1


def get_results_name(calculator: AnyCalculator) -> str:
    """Return the name of the schema of a calculator's results: ``PackEnergyResults``."""
    return to_class_name(f"{calculator.name}-results")


def add_results(spec: APISpec, inputs: Inputs, calculator: AnyCalculator) -> None:
    """Add the schemas of the results, of the response, and of a row of a table."""
    fields = calculator.result_fields
    properties = {name: _describe(spec, calculator, name, kind) for name, kind in fields.items()}
    spec.components.schema(get_results_name(calculator), make_object(properties, list(fields)))
    used = {name: _make_used(inputs, calculator, name, kind) for name, kind in calculator.input_fields.items()}
    text = "All inputs that were used: given, assumed or computed."
    spec.components.schema(to_class_name(f"{calculator.name}-inputs-used"), make_object(used, description=text))
    spec.components.schema(to_class_name(f"{calculator.name}-response"), _make_response(inputs, calculator))
    row = {"allOf": [refer(get_results_name(calculator)), refer("RowCautions")]}
    spec.components.schema(to_class_name(f"{calculator.name}-row"), row)


def _describe(spec: APISpec, calculator: AnyCalculator, name: str, kind: Kind) -> JsonObject:
    """Return the schema of a result; null is a value where it may be missing."""
    nullable = list_nullable(calculator)
    if isinstance(kind, Table):
        columns = {
            column: {
                "description": getattr(inner, "description", ""),
                **_allow_null(
                    _make_value(spec, column, inner, kind.row.__name__),
                    f"{name}.{column}" in nullable and not inner.optional,
                ),
            }
            for column, inner in kind.columns.items()
        }
        required = [column for column, inner in kind.columns.items() if not inner.optional]
        row, owner = kind.row.__name__, to_class_name(calculator.name)
        items = add_schema(spec, make_object(columns, required), row, owner + row)
        schema: JsonObject = {"type": "array", "maxItems": kind.max_length, "items": items}
    else:
        schema = _make_value(spec, name, kind, to_class_name(calculator.name))
    is_nullable = name in nullable or isinstance(kind, Text)  # an empty text is none
    deprecated = {"deprecated": True} if kind.deprecated else {}
    return {"description": getattr(kind, "description", ""), **_allow_null(schema, is_nullable), **deprecated}


def _allow_null(schema: JsonObject, is_nullable: bool) -> JsonObject:
    """Return the schema that also allows null, if a value can be missing."""
    if not is_nullable:
        return schema
    if "$ref" in schema:
        return {"anyOf": [schema, {"type": "null"}]}
    return {**schema, "type": [schema["type"], "null"]}


def _make_value(spec: APISpec, name: str, kind: Kind, owner: str) -> JsonObject:
    """Return the schema of a result without its description: a reference for a choice, which is one type in code."""
    if isinstance(kind, Choice):
        return add_schema(spec, make_enum(kind.options), to_class_name(name), owner + to_class_name(name))
    return _make_plain(kind)


def _make_plain(kind: Kind) -> JsonObject:
    """Return the schema of a value that is no choice."""
    match kind:
        case Quantity():
            return _make_number(kind)
        case Count():
            return {"type": "integer", "format": "int32", "minimum": min(kind.at_least, 0), "maximum": MAX_INTEGER}
        case NumberList():
            return {"type": "array", "maxItems": 2 * kind.max_length, "items": _make_number(kind.item)}
        case Flag():
            return {"type": "boolean"}
        case Text():
            return {"type": "string", "maxLength": kind.max_length, "pattern": ANY_TEXT}
    raise TypeError(kind)


def _make_number(kind: Quantity) -> JsonObject:
    """Return the schema of a number, with its bounds in the unit of the contract.

    A request may choose another unit for a result. A bound is a keyword of JSON Schema only where it holds in any unit.
    """
    schema: JsonObject = {"type": "number", "format": "double", "x-unit": kind.unit}
    low, high = kind.possible_range
    has_one_unit = len(set(units.compatible_units(kind.unit).values())) == 1
    for keyword, bound in (("minimum", low), ("maximum", high)):
        if abs(bound) < float("inf"):
            holds = has_one_unit or (bound == 0 and units.get_unit(kind.unit).offset == 0)
            schema[keyword if holds else f"x-{keyword}"] = int(bound) if float(bound).is_integer() else bound
    return schema


def _make_response(inputs: Inputs, calculator: AnyCalculator) -> JsonObject:
    """Return the schema of a calculator's JSON response."""
    return make_object(
        {
            "calculator": {"type": "string", "const": calculator.name},
            "given": _make_given(inputs, calculator),
            "inputs": refer(to_class_name(f"{calculator.name}-inputs-used")),
            "assumed": refer("AssumedInputs"),
            "from_craft": refer("CraftInputs"),
            "chosen_rows": refer("ChosenRows"),
            **(
                {"computed": refer("ComputedInputs")}
                if any(each.solved_from for each in calculator.assumptions)
                else {}
            ),
            "results": refer(get_results_name(calculator)),
            "units": refer("Units"),
            "input_units": refer("InputUnits"),
            "cautions": {**refer("Cautions"), "x-codes": _list_codes(calculator)},
            "uncertainty": refer("Uncertainty"),
            "working": refer("Working"),
        },
        ["calculator", "given", "inputs", "assumed", "results", "units", "input_units", "cautions"],
    )


def _list_codes(calculator: AnyCalculator) -> list[str]:
    """Return the codes that the cautions of a response may have, without those of `Caution`; others may come."""
    return sorted({*(each.code for each in calculator.cautions), *(each.code for each in calculator.rules)})


def _make_used(inputs: Inputs, calculator: AnyCalculator, name: str, kind: Kind) -> JsonObject:
    """Return the schema of an input that was used; what was computed may be out of bounds, or have no finite value."""
    match kind:
        case Quantity():
            return {"type": ["number", "null"], "format": "double"}
        case Count():
            return _allow_null(_make_plain(kind), True)
        case Choice():
            return inputs.refer(calculator, name)
        case Flag() | NumberList():
            return _make_plain(kind)
        case Table():
            return {"type": "array", "maxItems": kind.max_length, "items": {"type": "object"}}
        case TimeSeries():
            return refer("RecordingSummary")
        case _:
            return {"type": ["string", "null"], "maxLength": 1000, "pattern": ANY_TEXT}


def _make_given(inputs: Inputs, calculator: AnyCalculator) -> JsonObject:
    """Return the schema of what was given: inputs as in a request, but a recording is only summarised."""
    if not calculator.takes_recordings:
        return refer(get_schema_name(calculator))
    given: JsonObject = {}
    for name, kind in calculator.input_fields.items():
        if isinstance(kind, TimeSeries):
            given[name] = refer("RecordingSummary")
        elif isinstance(kind, Table) and any(isinstance(each, TimeSeries) for each in kind.columns.values()):
            given[name] = {"type": "array", "maxItems": kind.max_length, "items": {"type": "object"}}
        else:
            given[name] = inputs.refer(calculator, name)
    return make_object(given, description="The inputs that were given. A recording must itself be sent again.")
