"""Build the OpenAPI 3.1 contract from the registry with apispec. No part of it is written for one calculator."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import yaml
from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin

from gramwatt.engine import calculate, registry, serializers
from gramwatt.engine.query_strings import build_query, find_query_example, fits_query
from gramwatt.engine.response import get_declared_units
from gramwatt.engine.schemas import ColumnField, get_schema, get_schema_name
from gramwatt.model import (
    Calculator,
    Choice,
    Flag,
    Kind,
    NumberList,
    Quantity,
    Table,
    Text,
    TimeSeries,
    units,
)
from gramwatt.version import __version__
from gramwatt.web.openapi import json_schema
from gramwatt.web.openapi.charts import add_chart, add_chart_components
from gramwatt.web.openapi.components import (
    VALUE_PATTERNS,
    JsonObject,
    add_components,
    make_cacheable_responses,
    make_ok_response,
    make_problem_responses,
    make_value_response,
)
from gramwatt.web.openapi.number_pattern import escape_pattern
from gramwatt.web.openapi.recordings import add_log
from gramwatt.web.openapi.site import add_site
from gramwatt.web.openapi.tables import add_table_components, add_tables
from gramwatt.web.pages.snippets import code_samples
from gramwatt.web.request_parsing import RESPONSE_OPTIONS, get_response_options

DESCRIPTION: Final = """\
Gramwatt has calculators for people who build, weigh, fly and report on small electric multirotors: the energy of a
pack, the current at a given power, the flight time, the throttle cap that tames a motor, the margin below a mass limit.

**Units.** Every quantity has one unit in this contract, its `x-unit`. A number is in that unit; a text may have another
one: `"1.3 Ah"`, `"127 mm"`. **Uncertainty.** A text may have a standard uncertainty: `"212 ± 1 g"`. The response then
has the uncertainty of each result and the share of each input in it. **Errors.** Every error is an
`application/problem+json` (RFC 9457) that lists every invalid input, what was given and what is accepted.

**Tables.** Every calculator also computes many rows at once (`batch`), and varies one or two inputs (`sweep`), as JSON,
CSV or Arrow.

**Charts.** The results of every calculator and every sweep are available as a chart (`chart`), in SVG or PNG, with its
content described in words.

**Recordings.** Send the recording of a flight as it is (`log`), in CSV, NDJSON, JSON or Arrow. It becomes results,
captions for a video, or the flights that other calculators need.

**Spreadsheets.** Each result also has its own path, which returns one bare value as plain text. A cell shows nothing of
a failed request; with `errors=text`, every error has status 200 and a text that begins with `#ERR`. This option is not
a parameter below, because the status then no longer tells valid requests from invalid ones.

The results are calculations, not measurements or promises: manufacturers' data and local rules come first.
"""
LICENSE: Final = {"name": "MIT", "url": "https://opensource.org/license/mit"}
SERVER: Final = {
    "url": "/",
    "description": "The service that this contract was fetched from.",
    "x-internal": False,  # public
}


def build_document() -> JsonObject:
    """Return the contract as one JSON object."""
    plugin = MarshmallowPlugin()
    spec = APISpec(
        title="Gramwatt",
        version=__version__,
        openapi_version="3.1.1",
        plugins=[plugin],
        info={
            "summary": "Calculators for light electric multirotors.",
            "description": DESCRIPTION,
            "license": LICENSE,
            "contact": {"name": "The operator of the service that this contract was fetched from"},
        },
        servers=[SERVER],
        security=[],  # no API key is needed
        tags=_tags(),
    )
    if plugin.converter is None:
        raise RuntimeError("apispec has no converter")
    plugin.converter.add_attribute_function(_of_field)  # type: ignore[no-untyped-call]
    add_components(spec)
    for name, option in RESPONSE_OPTIONS.items():
        if name == "units":
            continue  # each calculator has its own
        spec.components.parameter(f"option.{name}", "query", {**_make_parameter(option), "name": name})
    add_table_components(spec, _make_parameter)
    add_chart_components(spec, _make_parameter)
    add_site(spec)
    for calculator in registry.load().values():
        _add_calculator(spec, calculator)
    return spec.to_dict()


def to_yaml(value: JsonObject) -> bytes:
    """Return the contract as YAML, in its own order, without anchors."""
    dumper = yaml.SafeDumper
    dumper.ignore_aliases = lambda *_: True  # type: ignore[method-assign]
    return str(yaml.dump(value, Dumper=dumper, sort_keys=False, allow_unicode=True, width=120)).encode()


def _of_field(_converter: object, field: object, ret: JsonObject) -> JsonObject:
    """Return the schema of one value of a column field; apispec calls this for each field."""
    return json_schema.make_input_schema(field.kind) if isinstance(field, ColumnField) else {}


def _tags() -> list[JsonObject]:
    tags = [{"name": c.name, "description": f"{c.title} {c.documentation}"} for c in registry.load().values()]
    tags.append({"name": "service", "description": "Index, units, contract, pages, health and metrics."})
    return sorted(tags, key=lambda tag: tag["name"])


def _make_parameter(kind: Kind, *, required: bool = False) -> JsonObject:
    made: JsonObject = {"schema": json_schema.make_input_schema(kind, query=True), "required": required}
    made["description"] = made["schema"].pop("description")
    if isinstance(kind, NumberList):
        made |= {"style": "form", "explode": False}
    return made


def _add_calculator(spec: APISpec, calculator: Calculator[Any, Any]) -> None:
    question, answer = get_schema_name(calculator), get_schema_name(calculator).replace("Question", "Answer")
    for name, quantity in {
        **json_schema.make_quantity_schemas(calculator),
        **json_schema.make_recording_schemas(calculator),
    }.items():
        if name not in spec.components.schemas:
            spec.components.schema(name, quantity)
    spec.components.schema(question, schema=get_schema(calculator))
    made = spec.components.schemas[question]
    if calculator.any_of:
        made["anyOf"] = [{"required": [name]} for group in calculator.any_of for name in group]
    spec.components.schema(answer, json_schema.make_response_schema(calculator))
    spec.components.response(answer, _answer_response(calculator, answer))

    takes_query = fits_query(calculator) or calculator.recording is not None
    inputs = _add_inputs(spec, calculator) if takes_query else []
    identity = calculator.name.replace("-", "_")
    good = {"$ref": f"#/components/responses/{answer}"}
    options = [_add_units(spec, calculator), *_options(spec, calculator)]
    shared: JsonObject = {"tags": [calculator.name], "description": calculator.documentation}
    more = (501,) if calculator.takes_recordings else ()  # recordings and captions need libraries of extras
    get: JsonObject = {
        "operationId": identity,
        "summary": calculator.title,
        **shared,
        "parameters": [*inputs, *options],
        "responses": {**make_cacheable_responses(good), **make_problem_responses(406, 413, 422, *more)},
        "x-codeSamples": code_samples(calculator, find_query_example(calculator), by_query=True),
    }
    questions = {
        f"example{at}": {"summary": example.title, "value": dict(example.given)}
        for at, example in enumerate(calculator.examples, 1)
    }
    content = {"schema": {"$ref": f"#/components/schemas/{question}"}, "examples": questions}
    post: JsonObject = {
        "operationId": f"{identity}_from_body",
        "summary": f"{calculator.title} Inputs as JSON",
        **shared,
        "parameters": options,
        "requestBody": {"required": True, "description": "The inputs.", "content": {"application/json": content}},
        "responses": {"200": good, **make_problem_responses(400, 406, 413, 415, 422, *more)},
        "x-codeSamples": code_samples(calculator, calculator.examples[0].given, by_query=False),
    }
    if calculator.recording is not None:
        add_log(spec, calculator, inputs, options, good)
    if not fits_query(calculator):
        spec.path(f"/v1/{calculator.name}", operations={"post": post})
        add_tables(spec, calculator, [])
        add_chart(spec, calculator, [])
        return
    spec.path(f"/v1/{calculator.name}", operations={"get": get, "post": post})
    results = calculate.compute_response(calculator, calculator.examples[0].given)["results"]
    for name, kind in calculator.result_fields.items():
        if isinstance(kind, Table):
            continue
        operation = _value_operation(spec, calculator, name, kind, results[name])
        operation["parameters"][:0] = _require_needed(spec, calculator, getattr(kind, "needs", ()), inputs)
        spec.path(f"/v1/{calculator.name}/{name}", operations={"get": operation})
    add_tables(spec, calculator, inputs)
    add_chart(spec, calculator, inputs)


def _options(spec: APISpec, calculator: Calculator[Any, Any]) -> list[str]:
    """Return the options of the answer, units aside; that of the format is the calculator's own where it has forms."""
    shared = [f"option.{name}" for name in RESPONSE_OPTIONS if name not in ("units", "format")]
    if not calculator.formats:
        return ["option.format", *shared]
    name = f"{calculator.name}.format"
    spec.components.parameter(
        name, "query", {**_make_parameter(get_response_options(calculator)["format"]), "name": "format"}
    )
    return [name, *shared]


def _answer_response(calculator: Calculator[Any, Any], answer: str) -> JsonObject:
    """Return the response of GET and POST, with the results of the first example as JSON and as CSV."""
    first = calculator.examples[0]
    answered = calculate.compute_response(calculator, first.given)
    content: JsonObject = {
        "application/json": {
            "schema": {"$ref": f"#/components/schemas/{answer}"},
            "examples": {"example1": {"summary": first.title, "value": answered}},
        },
        "text/csv": {
            "schema": {"type": "string", "maxLength": 200_000, "pattern": "\r\n$"},
            "examples": {"example1": {"summary": first.title, "value": serializers.format_csv(calculator, answered)}},
        },
    }
    for form in calculator.formats:
        text = {"type": "string", "maxLength": 2**30, "description": form.description}
        content[form.media_type] = {} if form.binary else {"schema": {**text, "pattern": r"^[\s\S]*$"}}
    return make_ok_response("The results. The response to a GET may be cached by its ETag.", content, "ETag")


def _add_inputs(spec: APISpec, calculator: Calculator[Any, Any]) -> list[str]:
    """Add a component for each input that fits a query, and return the names of the components.

    Inputs of which at least one must be given are the members of one parameter, an object. In a query it is written as
    its members (``style: form``, ``explode: true``), so that requests look the same.
    """
    fitting = {name: kind for name, kind in calculator.input_fields.items() if not isinstance(kind, Table | TimeSeries)}
    groups = [[name for name in group if name in fitting] for group in calculator.any_of]
    example = next(
        (example.given for example in calculator.examples if all(name in fitting for name in example.given)), {}
    )
    parameters: dict[str, JsonObject] = {}
    for name, kind in fitting.items():
        parameter = _make_parameter(kind, required=kind.is_required or [name] in groups)
        assumption = next((each for each in calculator.assumptions if each.name == name), None)
        if assumption is not None:
            parameter["description"] += f" Default: {assumption.text}."
        if name in example:
            parameter["example"] = example[name]
        parameters[name] = parameter
    for group in groups:
        if len(group) > 1:
            parameters = _join_group(parameters, group)
    for name, parameter in parameters.items():
        spec.components.parameter(f"{calculator.name}.{name}", "query", {**parameter, "name": name})
    return [f"{calculator.name}.{name}" for name in parameters]


def _join_group(parameters: Mapping[str, JsonObject], group: Sequence[str]) -> dict[str, JsonObject]:
    """Return the parameters with those of a group replaced by one object of which a member is required."""
    members = [name for name in group if name in parameters]
    schema: JsonObject = {
        "type": "object",
        "additionalProperties": False,
        "properties": {
            name: {**parameters[name]["schema"], "description": parameters[name]["description"]} for name in members
        },
        "anyOf": [{"required": [name]} for name in members],
    }
    joined: JsonObject = {
        "required": True,
        "description": f"At least one of {', '.join(members)}.",
        "schema": schema,
        "style": "form",
        "explode": True,
    }
    example = {name: parameters[name]["example"] for name in members if "example" in parameters[name]}
    if example:
        joined["example"] = example
    rest = {name: parameter for name, parameter in parameters.items() if name not in members}
    return {"_or_".join(members): joined, **rest}


def _require_needed(
    spec: APISpec, calculator: Calculator[Any, Any], needs: Sequence[str], inputs: Sequence[str]
) -> list[str]:
    """Return the input parameters of one result: those that the result needs are required."""
    components = []
    for name in inputs:
        required = f"{name}.needed"
        if name.removeprefix(f"{calculator.name}.") not in needs:
            components.append(name)
            continue
        if required not in spec.components.parameters:
            spec.components.parameter(required, "query", {**spec.components.parameters[name], "required": True})
        components.append(required)
    return components


def _add_units(spec: APISpec, calculator: Calculator[Any, Any]) -> str:
    """Add the ``units`` option of a calculator: its pattern has the units of each result."""
    pairs = []
    for name, unit in get_declared_units(calculator.result_fields).items():
        pairs.append(f"{escape_pattern(name)}:(?:{'|'.join(map(escape_pattern, units.compatible_units(unit)))})")
    parameter = _make_parameter(RESPONSE_OPTIONS["units"])
    # One pair only, since no pattern can reject a result named twice; the service accepts several.
    parameter["schema"] |= {"pattern": f"^(?:{'|'.join(pairs)})$"}
    name = f"{calculator.name}.units"
    spec.components.parameter(name, "query", {**parameter, "name": "units"})
    return name


def _value_operation(
    spec: APISpec, calculator: Calculator[Any, Any], name: str, kind: Kind, found: object
) -> JsonObject:
    """Return the operation of one result, without its inputs."""
    quantity = kind.item if isinstance(kind, NumberList) else kind
    options = ["option.digits", "option.decimal"]
    description = str(getattr(kind, "description", name))
    if isinstance(quantity, Quantity):
        options.insert(0, _add_unit(spec, quantity.unit))
        if quantity.unit != "1":
            description += f" In {quantity.unit} unless `unit` sets another."
    query = build_query(calculator, calculator.examples[0].given)
    if found is not None and query is not None:
        description += f" `?{query}` gives `{serializers.format_value(found)}`."
    match kind:
        case Choice():
            good = make_value_response("|".join(kind.options))
        case Flag():
            good = _shared_value(spec, "Truth")
        case Text():
            good = make_value_response(".*")
        case NumberList():
            good = _shared_value(spec, "Numbers")
        case _:
            good = _shared_value(spec, "Number")
    return {
        "operationId": f"{calculator.name.replace('-', '_')}_{name}",
        "summary": f"{name} as a bare value",
        "description": description,
        "tags": [calculator.name],
        "parameters": options,
        "responses": {**make_cacheable_responses(good), **make_problem_responses(404, 406, 413, 422)},
    }


def _shared_value(spec: APISpec, name: str) -> JsonObject:
    if name not in spec.components.responses:
        spec.components.response(name, make_value_response(VALUE_PATTERNS[name]))
    return {"$ref": f"#/components/responses/{name}"}


def _add_unit(spec: APISpec, declared: str) -> str:
    """Add the ``unit`` option of results with one declared unit, its default; return the component's name."""
    name = f"unit.{json_schema.make_unit_identifier(declared)}"
    if name not in spec.components.parameters:
        allowed = {"type": "string", "enum": list(units.compatible_units(declared)), "default": declared}
        described = {"name": "unit", "description": "Unit of the value.", "schema": allowed}
        spec.components.parameter(name, "query", described)
    return name
