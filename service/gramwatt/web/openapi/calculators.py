"""Add the schemas and paths of one calculator to the contract."""

from __future__ import annotations

from typing import Any

from apispec import APISpec

from gramwatt.engine import calculate, serializers
from gramwatt.engine.query_strings import build_query, find_query_example, fits_query
from gramwatt.engine.schemas import get_schema, get_schema_name
from gramwatt.model import Calculator, Choice, Flag, Kind, NumberList, Text
from gramwatt.web.openapi import json_schema
from gramwatt.web.openapi.charts import add_chart
from gramwatt.web.openapi.components import (
    VALUE_PATTERNS,
    JsonObject,
    make_cacheable_responses,
    make_ok_response,
    make_problem_responses,
    make_value_response,
)
from gramwatt.web.openapi.craft import PARAMETER, with_craft
from gramwatt.web.openapi.parameters import add_inputs, add_options, add_unit, require_needed_inputs
from gramwatt.web.openapi.recordings import add_log
from gramwatt.web.openapi.tables import add_tables
from gramwatt.web.pages.snippets import code_samples


def add_calculator(spec: APISpec, calculator: Calculator[Any, Any]) -> None:
    """Add a calculator: its schemas and response, its parameters, then its paths."""
    _add_schemas(spec, calculator)
    ok_response = _add_response(spec, calculator)
    by_query = fits_query(calculator)
    takes_query = by_query or calculator.recording is not None
    inputs = [*add_inputs(spec, calculator), PARAMETER] if takes_query else []
    options = add_options(spec, calculator)
    if calculator.recording is not None:
        add_log(spec, calculator, inputs, options, ok_response)
    operations = {"post": _make_post(calculator, options, ok_response)}
    if by_query:
        operations = {"get": _make_get(calculator, [*inputs, *options], ok_response), **operations}
    spec.path(f"/v1/{calculator.name}", operations=operations)
    if by_query:
        _add_values(spec, calculator, inputs)
    add_tables(spec, calculator, inputs if by_query else [])
    add_chart(spec, calculator, inputs if by_query else [])


def _add_schemas(spec: APISpec, calculator: Calculator[Any, Any]) -> None:
    """Add the schemas of the inputs and of the results, and those that they refer to."""
    shared = {**json_schema.make_quantity_schemas(calculator), **json_schema.make_recording_schemas(calculator)}
    for name, schema in shared.items():
        if name not in spec.components.schemas:
            spec.components.schema(name, schema)
    inputs_name = get_schema_name(calculator)
    spec.components.schema(inputs_name, schema=get_schema(calculator))
    if calculator.any_of:
        # Each names its property too: a linter cannot see those of a schema that is itself one of several.
        groups = [
            {"anyOf": [{"properties": {name: {}}, "required": [name]} for name in group]} for group in calculator.any_of
        ]
        spec.components.schemas[inputs_name] |= groups[0] if len(groups) == 1 else {"allOf": groups}
    spec.components.schema(_get_response_name(calculator), json_schema.make_response_schema(calculator))


def _get_response_name(calculator: Calculator[Any, Any]) -> str:
    """Return the name of the response's schema, such as PackEnergyAnswer; clients are generated with these names."""
    return get_schema_name(calculator).replace("Question", "Answer")


def _add_response(spec: APISpec, calculator: Calculator[Any, Any]) -> JsonObject:
    """Add the response of GET and POST, with the results of the first example as JSON and as CSV; return its $ref."""
    name = _get_response_name(calculator)
    first = calculator.examples[0]
    response = calculate.compute_response(calculator, first.given)
    content: JsonObject = {
        "application/json": {
            "schema": {"$ref": f"#/components/schemas/{name}"},
            "examples": {"example1": {"summary": first.title, "value": response}},
        },
        "text/csv": {
            "schema": {"type": "string", "maxLength": 200_000, "pattern": "\r\n$"},
            "examples": {"example1": {"summary": first.title, "value": serializers.format_csv(calculator, response)}},
        },
    }
    for form in calculator.formats:
        text = {"type": "string", "maxLength": 2**30, "description": form.description}
        content[form.media_type] = {} if form.binary else {"schema": {**text, "pattern": r"^[\s\S]*$"}}
    spec.components.response(
        name, make_ok_response("The results. The response to a GET may be cached by its ETag.", content, "ETag")
    )
    return {"$ref": f"#/components/responses/{name}"}


def _make_get(calculator: Calculator[Any, Any], parameters: list[str], ok_response: JsonObject) -> JsonObject:
    """Return the operation with the inputs in the query."""
    return {
        "operationId": _make_identifier(calculator),
        "summary": calculator.title,
        "tags": [calculator.name],
        "description": calculator.documentation,
        "parameters": parameters,
        "responses": {
            **make_cacheable_responses(ok_response),
            **make_problem_responses(406, 413, 422, *_list_library_statuses(calculator)),
        },
        "x-codeSamples": code_samples(calculator, find_query_example(calculator), by_query=True),
    }


def _make_post(calculator: Calculator[Any, Any], options: list[str], ok_response: JsonObject) -> JsonObject:
    """Return the operation with the inputs in a body, and all examples."""
    examples = {
        f"example{number}": {"summary": example.title, "value": dict(example.given)}
        for number, example in enumerate(calculator.examples, 1)
    }
    inputs_schema = {"$ref": f"#/components/schemas/{get_schema_name(calculator)}"}
    content = {"schema": with_craft(inputs_schema), "examples": examples}
    return {
        "operationId": f"{_make_identifier(calculator)}_from_body",
        "summary": f"{calculator.title} Inputs as JSON",
        "tags": [calculator.name],
        "description": calculator.documentation,
        "parameters": options,
        "requestBody": {"required": True, "description": "The inputs.", "content": {"application/json": content}},
        "responses": {
            "200": ok_response,
            **make_problem_responses(400, 406, 413, 415, 422, *_list_library_statuses(calculator)),
        },
        "x-codeSamples": code_samples(calculator, calculator.examples[0].given, by_query=False),
    }


def _make_identifier(calculator: Calculator[Any, Any]) -> str:
    return calculator.name.replace("-", "_")


def _list_library_statuses(calculator: Calculator[Any, Any]) -> tuple[int, ...]:
    """Return the status of a missing library where a calculator needs one; recordings and captions do."""
    return (501,) if calculator.takes_recordings else ()


def _add_values(spec: APISpec, calculator: Calculator[Any, Any], inputs: list[str]) -> None:
    """Add a path for each result that has a bare value; ``inputs`` are the components of the query parameters."""
    results = calculate.compute_response(calculator, calculator.examples[0].given)["results"]
    for name, kind in calculator.result_fields.items():
        if kind.columns:
            continue  # a table
        operation = _make_value_operation(spec, calculator, name, kind, results[name])
        operation["parameters"][:0] = require_needed_inputs(spec, calculator, kind.needs, inputs)
        spec.path(f"/v1/{calculator.name}/{name}", operations={"get": operation})


def _make_value_operation(
    spec: APISpec, calculator: Calculator[Any, Any], name: str, kind: Kind, value: object
) -> JsonObject:
    """Return the operation of one result, without its inputs; ``value`` is that of the first example."""
    options = ["option.digits", "option.decimal"]
    description = kind.description
    if kind.quantity is not None:
        options.insert(0, add_unit(spec, kind.quantity.unit))
        if kind.quantity.unit != "1":
            description += f" In {kind.quantity.unit} unless `unit` sets another."
    query = build_query(calculator, calculator.examples[0].given)
    if value is not None and query is not None:
        description += f" `?{query}` gives `{serializers.format_value(value)}`."
    return {
        "operationId": f"{_make_identifier(calculator)}_{name}",
        "summary": f"{name} as a bare value",
        "description": description,
        "tags": [calculator.name],
        "parameters": options,
        "responses": {
            **make_cacheable_responses(_make_value_response(spec, kind)),
            **make_problem_responses(404, 406, 413, 422),
        },
    }


def _make_value_response(spec: APISpec, kind: Kind) -> JsonObject:
    """Return the response with one bare value."""
    match kind:
        case Choice():
            return make_value_response("|".join(kind.options))
        case Text():
            return make_value_response(".*")
        case Flag():
            return _add_value_response(spec, "Truth")
        case NumberList():
            return _add_value_response(spec, "Numbers")
        case _:
            return _add_value_response(spec, "Number")


def _add_value_response(spec: APISpec, name: str) -> JsonObject:
    """Add a response that many values share, unless it is there, and return its $ref."""
    if name not in spec.components.responses:
        spec.components.response(name, make_value_response(VALUE_PATTERNS[name]))
    return {"$ref": f"#/components/responses/{name}"}
