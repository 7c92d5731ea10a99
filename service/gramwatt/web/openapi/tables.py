"""The contract's paths of tables: batch and sweep of every calculator."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from apispec import APISpec

from gramwatt.engine.calculate import compute_response
from gramwatt.engine.cells import MAX_RANGE_END
from gramwatt.engine.columns import uncertainty_kind
from gramwatt.engine.limits import MAX_TABLE_COLUMNS
from gramwatt.engine.query_strings import fits_query
from gramwatt.engine.schemas import get_schema_name
from gramwatt.engine.tables.plan import standing_codes
from gramwatt.engine.tables.sweep import variable_inputs
from gramwatt.engine.wire_formats import FORMATS
from gramwatt.model import Calculator, Quantity
from gramwatt.web.openapi import json_schema
from gramwatt.web.openapi.components import (
    JsonObject,
    make_cacheable_responses,
    make_ok_response,
    make_problem_responses,
)
from gramwatt.web.table_options import BATCH_OPTIONS, MAX_AXES, MAX_TABLE_BYTES, SWEEP_OPTIONS, get_max_points

MEDIA: Final = tuple(FORMATS.values())
LINES: Final = r"^[\s\S]*$"
BATCH_TEXT: Final = """\
Many questions at once: each row is a question, each row of the answer is the answer to it, in the same order, written
as it is read, so that a table of any length can be sent. Columns are named like inputs; in CSV and Arrow a header may
tell a unit (`capacity [Ah]`), and a column `<input>_u` a standard uncertainty. Inputs in the query hold for every row.
A column that is no input is refused by name, unless `keep` names it or it is called id, name or note: it then passes
through untouched. What is wrong with a row is told in its own `error`, and never spoils the others. A table that
cannot be read any further ends with a row whose `error` says why."""
SWEEP_TEXT: Final = """\
One input varied: evenly from `from` to `to` in `count` points, the other inputs as given. `from` and `to` may carry a
unit. `vary` may stand twice, each with its own `from`, `to` and `count` in the same order, for a grid; and instead of a
range the varied input itself may hold a list (`vary=cells&cells=2,3,4`). A point that is out of bounds, or lacks an
input, says so in its own `error`."""


def add_tables(spec: APISpec, calculator: Calculator[Any, Any], inputs: list[str]) -> None:
    """Batch and sweep of one calculator; ``inputs`` are its query parameters by component."""
    identity = calculator.name.replace("-", "_")
    question = get_schema_name(calculator)
    row, table = question.replace("Question", "Row"), question.replace("Question", "Table")
    spec.components.schema(row, _row(calculator))
    spec.components.response(table, _table_response(calculator, row))
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
                "summary": f"{calculator.title} Many questions at once",
                "description": BATCH_TEXT,
                **shared,
                "parameters": batch_options,
                "requestBody": {"required": True, "description": "The table.", "content": _sent(calculator, question)},
                "responses": {"200": good, **make_problem_responses(400, 406, 413, 415, 422, 501)},
            }
        },
    )
    body = question.replace("Question", "SweepQuestion")
    spec.components.schema(body, _sweep_body(calculator, question))
    operations: JsonObject = {
        "post": {
            "operationId": f"{identity}_sweep_from_body",
            "summary": f"{calculator.title} One input varied, or two, the question as JSON",
            "description": SWEEP_TEXT,
            **shared,
            "parameters": sweep_options,
            "requestBody": {
                "required": True,
                "description": "Inputs that stand fast, and those that vary.",
                "content": {"application/json": _sweep_content(calculator, body)},
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
            "parameters": [*_optional(spec, inputs), *_axis(spec, calculator), *sweep_options],
            "responses": {**make_cacheable_responses(good), **make_problem_responses(406, 413, 422, 501)},
        }
    spec.path(f"/v1/{calculator.name}/sweep", operations=dict(sorted(operations.items())))


def add_table_components(spec: APISpec, parameter: Any) -> None:
    """Register what the tables of all calculators share: their options, and the error of a row."""
    for name, option in {**BATCH_OPTIONS, **SWEEP_OPTIONS}.items():
        if name not in ("units", "errors", "by"):
            spec.components.parameter(f"table.{name}", "query", {**parameter(option), "name": name})
    for end, told in (("from", "Where the range begins."), ("to", "Where the range ends.")):
        number = {"type": "number", "format": "double", "minimum": -MAX_RANGE_END, "maximum": MAX_RANGE_END}
        described = {"name": end, "required": True, "schema": number, "description": told}
        spec.components.parameter(f"sweep.{end}", "query", described)


def _optional(spec: APISpec, inputs: list[str]) -> list[str]:
    """Return the inputs of a sweep: any of them may be the one that varies, so none is required here."""
    made = []
    for name in inputs:
        found = spec.components.parameters[name]
        if not found.get("required"):
            made.append(name)
            continue
        spec.components.parameter(f"{name}.varied", "query", {**found, "required": False})
        made.append(f"{name}.varied")
    return made


def _axis(spec: APISpec, calculator: Calculator[Any, Any]) -> list[str]:
    names = list(variable_inputs(calculator))
    vary = {"type": "string", "enum": names}
    described = {"name": "vary", "required": True, "schema": vary, "description": "The input that varies."}
    most = get_max_points(calculator)
    if f"sweep.count.{most}" not in spec.components.parameters:
        count = {"type": "integer", "format": "int32", "minimum": 2, "maximum": most}
        told = {
            "name": "count",
            "required": True,
            "schema": count,
            "description": "How many points, both ends counted.",
        }
        spec.components.parameter(f"sweep.count.{most}", "query", told)
    spec.components.parameter(f"{calculator.name}.vary", "query", described)
    return [f"{calculator.name}.vary", "sweep.from", "sweep.to", f"sweep.count.{most}"]


def _sweep_body(calculator: Calculator[Any, Any], question: str) -> JsonObject:
    most = get_max_points(calculator)
    end = {"type": "number", "format": "double", "minimum": -MAX_RANGE_END, "maximum": MAX_RANGE_END}
    count = {"type": "integer", "format": "int32", "minimum": 2, "maximum": most}
    listed = {"type": "array", "minItems": 1, "maxItems": most, "items": {}, "description": "Its values, each a point."}
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
        "description": f"A sweep: {question} with some inputs varied.",
        "additionalProperties": False,
        "required": ["vary"],
        "properties": {
            "given": {
                "type": "object",
                "description": "The inputs that stand fast; one that varies too is not used.",
                "additionalProperties": False,
                "properties": {
                    name: json_schema.make_input_schema(kind) for name, kind in calculator.input_fields.items()
                },
            },
            "vary": {
                "type": "object",
                "description": "One input that varies, or two for a grid, the second fastest.",
                "additionalProperties": False,
                "minProperties": 1,
                "maxProperties": MAX_AXES,
                "properties": fields,
            },
        },
    }


def _sweep_content(calculator: Calculator[Any, Any], body: str) -> JsonObject:
    """Return the body's schema, with the first example varied."""
    example = dict(calculator.examples[0].given)
    name = next((name for name in variable_inputs(calculator) if name in example), next(iter(example)))
    value = {"given": {n: v for n, v in example.items() if n != name}, "vary": {name: [example[name]]}}
    return {
        "schema": {"$ref": f"#/components/schemas/{body}"},
        "examples": {"points": {"summary": f"{name} varied over a list of one", "value": value}},
    }


def _row(calculator: Calculator[Any, Any]) -> JsonObject:
    """Return a row of the answer: columns passed through, results, cautions; or an error instead of the latter two."""
    results = {name: json_schema.make_result_schema(kind) for name, kind in calculator.result_fields.items()}
    spreads = {
        f"{name}_u": json_schema.make_nullable(json_schema.make_value_schema(uncertainty_kind(name, kind)))
        for name, kind in calculator.result_fields.items()
        if isinstance(kind, Quantity)
    }
    return {
        "type": "object",
        "description": "The answer to one row, with the columns passed through and those asked for by `given`.",
        "maxProperties": 2 * MAX_TABLE_COLUMNS + 100,
        "additionalProperties": {},
        "properties": {
            **results,
            **spreads,
            "cautions": {
                "type": "array",
                "description": "Codes of the cautions that concern this row; those that always hold stand in a header.",
                "maxItems": 60,
                "items": {"type": "string", "maxLength": 64, "pattern": "^[a-z0-9-]+$"},
            },
            "error": {"$ref": "#/components/schemas/RowError"},
        },
    }


def _sent(calculator: Calculator[Any, Any], question: str) -> JsonObject:
    """Return the body of a batch by media type.

    An array's items are described, not constrained: a row that is no question has its own error, and the others their
    answers.
    """
    flat = [example for example in calculator.examples if _is_flat(calculator, example.given)]
    rows = [dict(example.given) for example in calculator.examples][:2]
    question_schema = {"$ref": f"#/components/schemas/{question}"}
    array: JsonObject = {
        "schema": {
            "type": "array",
            "maxItems": MAX_TABLE_BYTES,
            "description": f"Rows, each a {question}; what is wrong with one is told in its own error.",
            "items": {"anyOf": [question_schema, {"not": question_schema}]},
        },
        "examples": {"rows": {"summary": "Rows", "value": rows}},
    }
    content: JsonObject = {"application/json": array}
    if flat:
        names = list(flat[0].given)
        line = ",".join(str(flat[0].given[name]) for name in names)
        # No schema can tell the grammar of all such tables, so it tells one.
        text = {"type": "string", "enum": [f"{','.join(names)}\r\n{line}\r\n"]}
        content["text/csv"] = {"schema": {**text, "description": "For instance; other columns, other rows likewise."}}
    content["application/x-ndjson"] = {}
    content["application/vnd.apache.arrow.stream"] = {}
    return content


def _is_flat(calculator: Calculator[Any, Any], given: Mapping[str, object]) -> bool:
    return all(not isinstance(value, list | dict) and "," not in str(value) for value in given.values())


def _table_response(calculator: Calculator[Any, Any], row: str) -> JsonObject:
    answer = compute_response(calculator, calculator.examples[0].given)
    codes = dict.fromkeys(caution["code"] for caution in answer["cautions"])
    example = [{**answer["results"], "cautions": [code for code in codes if code not in standing_codes(calculator)]}]
    array = {"type": "array", "maxItems": MAX_TABLE_BYTES, "items": {"$ref": f"#/components/schemas/{row}"}}
    text = {"type": "string", "maxLength": 1000 * MAX_TABLE_BYTES, "pattern": LINES}
    return make_ok_response(
        "The answered table, row for row.",
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
