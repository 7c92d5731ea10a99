"""Make the query parameters of the contract: the inputs of a calculator, and the options of its response."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from apispec import APISpec

from gramwatt.engine.response import get_declared_units
from gramwatt.model import Calculator, Kind, NumberList, units
from gramwatt.web.openapi import json_schema
from gramwatt.web.openapi.components import JsonObject
from gramwatt.web.openapi.number_pattern import escape_pattern
from gramwatt.web.request_parsing import RESPONSE_OPTIONS, get_response_options


def make_parameter(kind: Kind, *, required: bool = False) -> JsonObject:
    """Return the parameter of an input or option, without its name."""
    parameter: JsonObject = {"schema": json_schema.make_input_schema(kind, query=True), "required": required}
    parameter["description"] = parameter["schema"].pop("description")
    if isinstance(kind, NumberList):
        parameter |= {"style": "form", "explode": False}
    return parameter


def add_inputs(spec: APISpec, calculator: Calculator[Any, Any]) -> list[str]:
    """Add a component for each input that fits a query, and return the names of the components.

    Inputs of which at least one must be given are the members of one parameter, an object. In a query it is written as
    its members (``style: form``, ``explode: true``), so that requests look the same.
    """
    fitting = {name: kind for name, kind in calculator.input_fields.items() if kind.fits_query}
    groups = [[name for name in group if name in fitting] for group in calculator.any_of]
    example = next(
        (example.given for example in calculator.examples if all(name in fitting for name in example.given)), {}
    )
    parameters: dict[str, JsonObject] = {}
    for name, kind in fitting.items():
        parameter = make_parameter(kind, required=kind.is_required or [name] in groups)
        if default := calculator.describe_default(name):
            parameter["description"] += f" Default: {default}."
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


def require_needed_inputs(
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


def add_shared_options(spec: APISpec) -> None:
    """Add the options of the response that all calculators share; each calculator has its own ``units``."""
    for name, option in RESPONSE_OPTIONS.items():
        if name != "units":
            spec.components.parameter(f"option.{name}", "query", {**make_parameter(option), "name": name})


def add_options(spec: APISpec, calculator: Calculator[Any, Any]) -> list[str]:
    """Add the calculator's own options of the response, and return the names of all components of its options."""
    shared = [f"option.{name}" for name in RESPONSE_OPTIONS if name not in ("units", "format")]
    return [_add_units(spec, calculator), _add_format(spec, calculator), *shared]


def _add_format(spec: APISpec, calculator: Calculator[Any, Any]) -> str:
    """Add the ``format`` option of a calculator that has formats of its own; the others share one."""
    if not calculator.formats:
        return "option.format"
    name = f"{calculator.name}.format"
    parameter = make_parameter(get_response_options(calculator)["format"])
    spec.components.parameter(name, "query", {**parameter, "name": "format"})
    return name


def _add_units(spec: APISpec, calculator: Calculator[Any, Any]) -> str:
    """Add the ``units`` option of a calculator: its pattern has the units of each result."""
    pairs = []
    for name, unit in get_declared_units(calculator.result_fields).items():
        pairs.append(f"{escape_pattern(name)}:(?:{'|'.join(map(escape_pattern, units.compatible_units(unit)))})")
    parameter = make_parameter(RESPONSE_OPTIONS["units"])
    # One pair only, since no pattern can reject a result named twice; the service accepts several.
    parameter["schema"] |= {"pattern": f"^(?:{'|'.join(pairs)})$"}
    name = f"{calculator.name}.units"
    spec.components.parameter(name, "query", {**parameter, "name": "units"})
    return name


def add_unit(spec: APISpec, declared: str) -> str:
    """Add the ``unit`` option of results with one declared unit, its default; return the component's name."""
    name = f"unit.{json_schema.make_unit_identifier(declared)}"
    if name not in spec.components.parameters:
        allowed = {"type": "string", "enum": list(units.compatible_units(declared)), "default": declared}
        described = {"name": "unit", "description": "Unit of the value.", "schema": allowed}
        spec.components.parameter(name, "query", described)
    return name
