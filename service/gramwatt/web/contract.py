"""The OpenAPI 3.1 contract, written by apispec from the registry. Nobody writes any of it for one calculator."""

from __future__ import annotations

from typing import Any, Final
from urllib.parse import quote

import yaml
from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin

from gramwatt import registry
from gramwatt.declare import Calculator, Choice, Count, Flag, Kind, Quantity, Series, Table, is_required
from gramwatt.edge import ask, figures, units
from gramwatt.edge.schemas import ColumnField, schema, schema_name
from gramwatt.version import __version__
from gramwatt.web import json_schema
from gramwatt.web.asking import ANSWER_OPTIONS, VALUE_OPTIONS
from gramwatt.web.contract_components import JsonObject, add_components, not_modified, ok, problems
from gramwatt.web.contract_site import add_site

DESCRIPTION: Final = """\
Gramwatt computes what somebody who builds, weighs, flies and reports on small electric multirotors adds up on the way:
what a pack holds, the current at a power, how long it flies, the throttle cap that tames a motor, the margin below a
mass limit.

**Units.** Every quantity has one unit here, told as `x-unit`. A bare number is in that unit; a text may carry another:
`"1.3 Ah"`, `"127 mm"`. **Uncertainty.** A text may carry a standard uncertainty: `"212 ± 1 g"`; the answer then tells
the uncertainty of each result and the share of each input in it. **Errors.** Every error is an
`application/problem+json` (RFC 9457) that names every fault, what was given and what is accepted.

The figures are calculations, not measurements or promises: makers' data and local rules come first.
"""
LICENSE: Final = {"name": "MIT", "identifier": "MIT"}


def document() -> JsonObject:
    """The contract as one JSON object."""
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
            "contact": {"name": "The maintainers of this service", "url": "/"},
        },
        jsonSchemaDialect="https://json-schema.org/draft/2020-12/schema",
        servers=[{"url": "/", "description": "Production: the service that this contract was fetched from."}],
        tags=_tags(),
    )
    if plugin.converter is None:
        raise RuntimeError("apispec gave no converter")
    plugin.converter.add_attribute_function(_of_field)  # type: ignore[no-untyped-call]
    add_components(spec)
    for name, option in {**ANSWER_OPTIONS, **VALUE_OPTIONS}.items():
        spec.components.parameter(f"option.{name}", "query", {**_parameter(option), "name": name})
    add_site(spec)
    for calculator in registry.load().values():
        _add_calculator(spec, calculator)
    return spec.to_dict()


def as_yaml(value: JsonObject) -> bytes:
    """The contract as YAML, in the order it was written, without anchors."""
    dumper = yaml.SafeDumper
    dumper.ignore_aliases = lambda *_: True  # type: ignore[method-assign]
    return str(yaml.dump(value, Dumper=dumper, sort_keys=False, allow_unicode=True, width=120)).encode()


def first_query(calculator: Calculator[Any, Any]) -> str | None:
    """The query of the first example that fits one."""
    for example in calculator.examples:
        if not any(isinstance(calculator.asked[name], Table) for name in example.given):
            return "&".join(f"{name}={quote(_word(value), safe=',')}" for name, value in example.given.items())
    return None


def _word(value: object) -> str:
    return ",".join(map(str, value)) if isinstance(value, list) else str(value)


def _of_field(_converter: object, field: object, ret: JsonObject) -> JsonObject:
    """apispec's hook: the schema of a column field is that of one value, from its declaration."""
    return json_schema.of_input(field.kind) if isinstance(field, ColumnField) else {}


def _tags() -> list[JsonObject]:
    tags = [{"name": c.name, "description": f"{c.title} {c.documentation}"} for c in registry.load().values()]
    return [*tags, {"name": "service", "description": "What stands around the calculators."}]


def _parameter(kind: Kind, *, required: bool = False) -> JsonObject:
    made: JsonObject = {"schema": json_schema.of_input(kind, query=True), "required": required}
    made["description"] = made["schema"].pop("description")
    if isinstance(kind, Series):
        made |= {"style": "form", "explode": False}
    return made


def _add_calculator(spec: APISpec, calculator: Calculator[Any, Any]) -> None:
    question, answer = schema_name(calculator), schema_name(calculator).replace("Question", "Answer")
    spec.components.schema(question, schema=schema(calculator))
    made = spec.components.schemas[question]
    if calculator.any_of:
        made["anyOf"] = [{"required": [name]} for group in calculator.any_of for name in group]
    spec.components.schema(answer, json_schema.of_answer(calculator))

    inputs = _add_inputs(spec, calculator)
    identity = calculator.name.replace("-", "_")
    examples = {
        f"example{at}": {"summary": example.title, "value": ask.ask(calculator, example.given)}
        for at, example in enumerate(calculator.examples, 1)
    }
    csv = figures.csv_text(calculator, ask.ask(calculator, calculator.examples[0].given))
    content: JsonObject = {
        "application/json": {"schema": {"$ref": f"#/components/schemas/{answer}"}, "examples": examples},
        "text/csv": {"schema": {"type": "string", "maxLength": 200_000}, "examples": {"example1": {"value": csv}}},
    }
    units_option = _add_units(spec, calculator)
    options = [f"option.{name}" for name in ANSWER_OPTIONS if name != "units"]
    shared: JsonObject = {"tags": [calculator.name], "description": calculator.documentation}
    get: JsonObject = {
        "operationId": identity,
        "summary": calculator.title,
        **shared,
        "parameters": [*inputs, units_option, *options],
        "responses": {
            "200": ok("The answer.", content, "Cache-Control", "ETag"),
            "304": not_modified(),
            **problems(406, 422),
        },
    }
    post: JsonObject = {
        "operationId": f"{identity}_from_body",
        "summary": f"{calculator.title} The question as JSON",
        **shared,
        "parameters": [units_option, *options],
        "requestBody": {
            "required": True,
            "description": "The inputs.",
            "content": {
                "application/json": {
                    "schema": {"$ref": f"#/components/schemas/{question}"},
                    "examples": {
                        f"example{at}": {"summary": example.title, "value": dict(example.given)}
                        for at, example in enumerate(calculator.examples, 1)
                    },
                }
            },
        },
        "responses": {"200": ok("The answer.", content, "Cache-Control"), **problems(400, 406, 413, 415, 422)},
    }
    spec.path(f"/v1/{calculator.name}", operations={"get": get, "post": post})
    for name, kind in calculator.answered.items():
        spec.path(f"/v1/{calculator.name}/{name}", operations={"get": _value_operation(calculator, name, kind, inputs)})


def _add_inputs(spec: APISpec, calculator: Calculator[Any, Any]) -> list[str]:
    """Components for the inputs that fit a query, by name; the only one of a needed group is required."""
    fitting = {name: kind for name, kind in calculator.asked.items() if not isinstance(kind, Table)}
    needed = [[name for name in group if name in fitting] for group in calculator.any_of]
    example = next(
        (example.given for example in calculator.examples if all(name in fitting for name in example.given)), {}
    )
    for name, kind in fitting.items():
        parameter = _parameter(kind, required=is_required(kind) or [name] in needed)
        assumption = next((a for a in calculator.assumptions if a.name == name), None)
        if assumption is not None:
            parameter["description"] += f" Default: {assumption.text}."
        if name in example:
            parameter["example"] = example[name]
        spec.components.parameter(f"{calculator.name}.{name}", "query", {**parameter, "name": name})
    return [f"{calculator.name}.{name}" for name in fitting]


def _add_units(spec: APISpec, calculator: Calculator[Any, Any]) -> str:
    """The ``units`` option of a calculator: its pattern tells which result can be had in which unit."""
    pairs = []
    for name, kind in calculator.answered.items():
        quantity = kind.item if isinstance(kind, Series) else kind
        if isinstance(quantity, Quantity):
            pairs.append(f"{name}:(?:{'|'.join(map(_escaped, units.alternatives(quantity.unit)))})")
    parameter = _parameter(ANSWER_OPTIONS["units"])
    # One pair only, so that no pattern has to tell a result named twice; the service takes several.
    parameter["schema"] |= {"pattern": f"^(?:{'|'.join(pairs)})$"}
    name = f"{calculator.name}.units"
    spec.components.parameter(name, "query", {**parameter, "name": "units"})
    return name


def _escaped(spelling: str) -> str:
    return "".join(f"\\{letter}" if letter in r"\^$.|?*+()[]{}/" else letter for letter in spelling)


def _value_operation(calculator: Calculator[Any, Any], name: str, kind: Kind, inputs: list[str]) -> JsonObject:
    quantity = kind.item if isinstance(kind, Series) else kind
    options: list[str | JsonObject] = [f"option.{option}" for option in VALUE_OPTIONS if option != "unit"]
    if isinstance(quantity, Quantity):
        allowed = {"type": "string", "enum": list(units.alternatives(quantity.unit)), "default": quantity.unit}
        options.insert(0, {"name": "unit", "in": "query", "description": "Unit of the value.", "schema": allowed})
    results = ask.ask(calculator, calculator.examples[0].given)["results"]
    description = getattr(kind, "description", name)
    unit = (
        f" In {quantity.unit} unless `unit` says otherwise."
        if isinstance(quantity, Quantity) and quantity.unit != "1"
        else ""
    )
    text: JsonObject = {"schema": {"type": "string", "maxLength": 20_000, "pattern": _value_pattern(kind)}}
    if results[name] is not None:
        text["example"] = figures.value_text(results[name])
    return {
        "operationId": f"{calculator.name.replace('-', '_')}_{name}",
        "summary": f"{name}, one bare value",
        "description": f"{description}{unit} Made for a spreadsheet's cell: plain text, no redirect.",
        "tags": [calculator.name],
        "parameters": [*inputs, *options],
        "responses": {
            "200": ok("The value.", {"text/plain": text}, "Cache-Control", "ETag"),
            "304": not_modified(),
            **problems(404, 406, 422),
        },
    }


def _value_pattern(kind: Kind) -> str:
    number = r"-?[0-9]+(?:[.,][0-9]+)?(?:e[+-][0-9]+)?"
    match kind:
        case Choice():
            value = "|".join(kind.options)
        case Flag():
            value = "true|false"
        case Series():
            value = f"{number}(?:[,;]{number})*"
        case Quantity() | Count():
            value = number
        case _:
            raise TypeError(kind)
    return f"^(?:(?:{value})|#ERR .*)$"
