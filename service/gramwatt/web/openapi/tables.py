"""Add the paths of tables to the contract: batch and sweep of every calculator."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from apispec import APISpec

from gramwatt.engine.calculate import compute_response
from gramwatt.engine.cells import MAX_RANGE_END
from gramwatt.engine.limits import MAX_AXES, MAX_TABLE_BYTES, MAX_TABLE_COLUMNS
from gramwatt.engine.query_strings import fits_query
from gramwatt.engine.schemas import get_schema_name
from gramwatt.engine.tables.plan import Plan, output_columns, standing_codes
from gramwatt.engine.tables.sweep import variable_inputs
from gramwatt.engine.wire_formats import FORMATS
from gramwatt.model import Calculator
from gramwatt.web.openapi import json_schema
from gramwatt.web.openapi.components import (
    JsonObject,
    make_cacheable_responses,
    make_ok_response,
    make_problem_responses,
)
from gramwatt.web.openapi.craft import list_craft_members, with_craft
from gramwatt.web.table_options import BATCH_OPTIONS, SWEEP_OPTIONS, get_max_points

MEDIA: Final = tuple(FORMATS.values())
LINES: Final = r"^[\s\S]*$"
BATCH_TEXT: Final = """\
Compute many rows at once. Each row has the inputs of one calculation; each row of the response has its results, in the
same order. The response is written while the table is read, so a table may have any length. Columns are named like
inputs; in CSV and Arrow a header may have a unit (`capacity [Ah]`), and a column `<input>_u` a standard uncertainty.
Inputs in the query hold for every row. A column that is not an input is an error, unless `keep` names it or its name is
id, name or note: it is then copied to the response. Invalid rows get an `error`; all other rows are computed. If the
table cannot be read to its end, the `error` of a last row says why."""
SWEEP_TEXT: Final = """\
Vary one input evenly from `from` to `to` in `count` points; the other inputs stay as given. `from` and `to` may have a
unit. For a grid, use `vary` twice, each with its own `from`, `to` and `count` in the same order. Instead of a range,
the varied input may have a list of values (`vary=cells&cells=2,3,4`). A point that is out of bounds or lacks an input
gets an `error`."""


def add_tables(spec: APISpec, calculator: Calculator[Any, Any], inputs: list[str]) -> None:
    """Add batch and sweep of one calculator; ``inputs`` are the components of its query parameters."""
    identity = calculator.name.replace("-", "_")
    inputs_name = get_schema_name(calculator)
    row, table = inputs_name.replace("Question", "Row"), inputs_name.replace("Question", "Table")
    spec.components.schema(row, _make_row_schema(calculator))
    spec.components.response(table, _make_table_response(calculator, row))
    good = {"$ref": f"#/components/responses/{table}"}
    shared: JsonObject = {"tags": [calculator.name]}
    units = f"{calculator.name}.units"
    batch_options = [units, *(f"table.{name}" for name in BATCH_OPTIONS if name != "units")]
    sweep_options = [units, *(f"table.{name}" for name in SWEEP_OPTIONS if name not in ("units", "errors", "by"))]
    spec.path(
        f"/v1/{calculator.name}/batch",
        operations={
            "post": {
                "operationId": f"{identity}_batch",
                "summary": f"{calculator.title} Many rows at once",
                "description": BATCH_TEXT,
                **shared,
                "parameters": batch_options,
                "requestBody": {
                    "required": True,
                    "description": "The table.",
                    "content": _make_batch_content(calculator, inputs_name),
                },
                "responses": {"200": good, **make_problem_responses(400, 406, 413, 415, 422, 501)},
            }
        },
    )
    body = inputs_name.replace("Question", "SweepQuestion")
    spec.components.schema(body, _make_sweep_schema(calculator, inputs_name))
    operations: JsonObject = {
        "post": {
            "operationId": f"{identity}_sweep_from_body",
            "summary": f"{calculator.title} One input varied, or two, with inputs as JSON",
            "description": SWEEP_TEXT,
            **shared,
            "parameters": sweep_options,
            "requestBody": {
                "required": True,
                "description": "Constant inputs, and those that vary.",
                "content": {"application/json": _make_sweep_content(calculator, body)},
            },
            "responses": {"200": good, **make_problem_responses(400, 406, 413, 415, 422, 501)},
        }
    }
    if fits_query(calculator) and variable_inputs(calculator):
        operations["get"] = {
            "operationId": f"{identity}_sweep",
            "summary": f"{calculator.title} One input varied",
            "description": SWEEP_TEXT,
            **shared,
            "parameters": [*_make_optional(spec, inputs), *_add_axis_parameters(spec, calculator), *sweep_options],
            "responses": {**make_cacheable_responses(good), **make_problem_responses(406, 413, 422, 501)},
        }
    spec.path(f"/v1/{calculator.name}/sweep", operations=dict(sorted(operations.items())))


def add_table_components(spec: APISpec, parameter: Any) -> None:
    """Add what the tables of all calculators share: their options and the ends of a range."""
    for name, option in {**BATCH_OPTIONS, **SWEEP_OPTIONS}.items():
        if name not in ("units", "errors", "by"):
            spec.components.parameter(f"table.{name}", "query", {**parameter(option), "name": name})
    for end, description in (("from", "Start of the range."), ("to", "End of the range.")):
        number = {"type": "number", "format": "double", "minimum": -MAX_RANGE_END, "maximum": MAX_RANGE_END}
        described = {"name": end, "required": True, "schema": number, "description": description}
        spec.components.parameter(f"sweep.{end}", "query", described)


def _make_optional(spec: APISpec, inputs: list[str]) -> list[str]:
    """Return the input parameters of a sweep: any of them may vary, so none is required."""
    components = []
    for name in inputs:
        parameter = spec.components.parameters[name]
        if not parameter.get("required"):
            components.append(name)
            continue
        spec.components.parameter(f"{name}.varied", "query", {**parameter, "required": False})
        components.append(f"{name}.varied")
    return components


def _add_axis_parameters(spec: APISpec, calculator: Calculator[Any, Any]) -> list[str]:
    names = list(variable_inputs(calculator))
    vary = {"type": "string", "enum": names}
    described = {"name": "vary", "required": True, "schema": vary, "description": "The input that varies."}
    max_points = get_max_points(calculator)
    if f"sweep.count.{max_points}" not in spec.components.parameters:
        count = {"type": "integer", "format": "int32", "minimum": 2, "maximum": max_points}
        parameter = {
            "name": "count",
            "required": True,
            "schema": count,
            "description": "Number of points, including both ends.",
        }
        spec.components.parameter(f"sweep.count.{max_points}", "query", parameter)
    spec.components.parameter(f"{calculator.name}.vary", "query", described)
    return [f"{calculator.name}.vary", "sweep.from", "sweep.to", f"sweep.count.{max_points}"]


def _make_sweep_schema(calculator: Calculator[Any, Any], inputs_name: str) -> JsonObject:
    max_points = get_max_points(calculator)
    end = {"type": "number", "format": "double", "minimum": -MAX_RANGE_END, "maximum": MAX_RANGE_END}
    count = {"type": "integer", "format": "int32", "minimum": 2, "maximum": max_points}
    listed = {
        "type": "array",
        "minItems": 1,
        "maxItems": max_points,
        "items": {},
        "description": "Values of the input, one for each point.",
    }
    even = {
        "type": "object",
        "description": "Evenly spaced points.",
        "additionalProperties": False,
        "required": ["from", "to", "count"],
        "properties": {"from": end, "to": end, "count": count},
    }
    ranged = variable_inputs(calculator)
    fields = {name: {"anyOf": [listed, even]} if name in ranged else listed for name in calculator.input_fields}
    return {
        "type": "object",
        "description": f"A sweep: {inputs_name} with some inputs varied.",
        "additionalProperties": False,
        "required": ["vary"],
        "properties": {
            "given": {
                "type": "object",
                "description": "The constant inputs; a value of an input that varies is not used.",
                "additionalProperties": False,
                "properties": {
                    **{name: json_schema.make_input_schema(kind) for name, kind in calculator.input_fields.items()},
                    **list_craft_members(),
                },
            },
            "vary": {
                "type": "object",
                "description": "One input that varies, or two for a grid; the second varies fastest.",
                "additionalProperties": False,
                "minProperties": 1,
                "maxProperties": MAX_AXES,
                "properties": fields,
            },
        },
    }


def _make_sweep_content(calculator: Calculator[Any, Any], body: str) -> JsonObject:
    """Return the schema of the body, with the first example varied."""
    example = dict(calculator.examples[0].given)
    name = next((name for name in variable_inputs(calculator) if name in example), next(iter(example)))
    value = {"given": {n: v for n, v in example.items() if n != name}, "vary": {name: [example[name]]}}
    return {
        "schema": {"$ref": f"#/components/schemas/{body}"},
        "examples": {"points": {"summary": f"{name} varied over a list of one", "value": value}},
    }


def _make_row_schema(calculator: Calculator[Any, Any]) -> JsonObject:
    """Return the schema of a row: copied columns, then results and cautions, or an error."""
    results = {name: json_schema.make_result_schema(kind) for name, kind in calculator.result_fields.items()}
    ranges = {
        column.name: json_schema.make_result_schema(column.kind)
        for column in output_columns(Plan(calculator.name, uncertain=True))
        if column.section == "uncertainty"
    }
    return {
        "type": "object",
        "description": "The results of one row, with copied columns and the inputs if `given` is set.",
        "maxProperties": 2 * MAX_TABLE_COLUMNS + 100,
        "additionalProperties": {},
        "properties": {
            **results,
            **ranges,
            "cautions": {
                "type": "array",
                "description": "Codes of the cautions of this row; Standing-Cautions has those of all rows.",
                "maxItems": 60,
                "items": {"type": "string", "maxLength": 64, "pattern": "^[a-z0-9-]+$"},
            },
            "error": {"$ref": "#/components/schemas/RowError"},
        },
    }


def _make_batch_content(calculator: Calculator[Any, Any], inputs_name: str) -> JsonObject:
    """Return the body of a batch by media type.

    The items of an array are described, not constrained: an invalid row gets its own error, and the others results.
    """
    flat = [example for example in calculator.examples if _is_flat(calculator, example.given)]
    rows = [dict(example.given) for example in calculator.examples][:2]
    inputs_schema = {"$ref": f"#/components/schemas/{inputs_name}"}
    array: JsonObject = {
        "schema": {
            "type": "array",
            "maxItems": MAX_TABLE_BYTES,
            "description": f"Rows, each a {inputs_name}. An invalid row gets its own error.",
            "items": {"anyOf": [*with_craft(inputs_schema)["anyOf"], {"not": inputs_schema}]},
        },
        "examples": {"rows": {"summary": "Rows", "value": rows}},
    }
    content: JsonObject = {"application/json": array}
    if flat:
        names = list(flat[0].given)
        line = ",".join(str(flat[0].given[name]) for name in names)
        # No schema describes the grammar of all such tables, so this has one example.
        text = {"type": "string", "enum": [f"{','.join(names)}\r\n{line}\r\n"]}
        content["text/csv"] = {"schema": {**text, "description": "An example; other columns and rows are possible."}}
    content["application/x-ndjson"] = {}
    content["application/vnd.apache.arrow.stream"] = {}
    return content


def _is_flat(calculator: Calculator[Any, Any], given: Mapping[str, object]) -> bool:
    return all(not isinstance(value, list | dict) and "," not in str(value) for value in given.values())


def _make_table_response(calculator: Calculator[Any, Any], row: str) -> JsonObject:
    answer = compute_response(calculator, calculator.examples[0].given)
    codes = dict.fromkeys(caution["code"] for caution in answer["cautions"])
    example = [{**answer["results"], "cautions": [code for code in codes if code not in standing_codes(calculator)]}]
    array = {"type": "array", "maxItems": MAX_TABLE_BYTES, "items": {"$ref": f"#/components/schemas/{row}"}}
    text = {"type": "string", "maxLength": 1000 * MAX_TABLE_BYTES, "pattern": LINES}
    return make_ok_response(
        "The table of results, row by row.",
        {
            "application/json": {"schema": array, "examples": {"rows": {"summary": "Rows", "value": example}}},
            "application/x-ndjson": {"schema": text},
            "text/csv": {"schema": text},
            "text/tab-separated-values": {"schema": text},
            "application/vnd.apache.arrow.stream": {},
        },
        "ETag",
        "Standing-Cautions",
    )
