"""Add the paths to the contract that belong to no calculator."""

from __future__ import annotations

from typing import Final

from apispec import APISpec

from gramwatt.engine import registry
from gramwatt.web.openapi.naming import JsonObject, add_schema, make_enum, refer
from gramwatt.web.openapi.shared import make_content, make_ok_response, make_responses
from gramwatt.web.problems import PROBLEM_TYPES

_HTML: Final = make_content("text/html", {"type": "string", "maxLength": 1_000_000, "pattern": "^<!doctype html>"})
_INDEX: Final = make_content("application/json", refer("ServiceIndex"))
_SVG: Final = make_content("image/svg+xml", {"type": "string", "maxLength": 5_000_000, "pattern": "^<svg "})
_DESCRIPTION: Final = make_content("application/json", refer("CalculatorDescription"))
_SCRIPT: Final = {"type": "string", "maxLength": 1_000_000, "pattern": "gramwatt-calculator"}
_METRICS: Final = {"type": "string", "maxLength": 10_000_000, "pattern": "^(?:# HELP |$)"}


def _json(schema: JsonObject) -> JsonObject:
    return make_content("application/json", schema)


def _text(schema: JsonObject) -> JsonObject:
    return make_content("text/plain", schema)


def add_site(spec: APISpec) -> None:
    """Add home page, index, units, the contract and its pages, problems, health, metrics, and pages."""
    document: JsonObject = {"type": "object"}
    spec.components.response("Page", make_ok_response("A page for people.", _HTML))
    for path, name, summary, content, headers in (
        ("/", "get_home", "Home page for people, index for programs", {**_INDEX, **_HTML}, ["ETag"]),
        ("/calculators", "list_pages", "Page of all calculators, index for programs", {**_INDEX, **_HTML}, ["ETag"]),
        ("/v1", "list_calculators", "List of the calculators", _INDEX, ["ETag", "Link"]),
        ("/v1/units", "list_units", "Units of quantities", _json(refer("UnitTable")), ["ETag"]),
        ("/openapi.json", "get_contract", "This contract as JSON", _json(document), ["ETag"]),
        (
            "/openapi.yaml",
            "get_contract_as_yaml",
            "This contract as YAML",
            make_content("application/yaml", document),
            ["ETag"],
        ),
        ("/docs", "get_api_reference", "Page of the operations of this contract", _HTML, ["ETag"]),
        ("/reference", "get_reference", "Page that leads to the reference of each calculator", _HTML, ["ETag"]),
        ("/health/live", "get_liveness", "Liveness of the process", _text({"type": "string", "const": "live\n"}), []),
        (
            "/health/ready",
            "get_readiness",
            "Readiness for requests",
            _text({"type": "string", "const": "ready\n"}),
            [],
        ),
        ("/metrics", "get_metrics", "Metrics in the Prometheus text format", _text(_METRICS), []),
        (
            "/gramwatt.js",
            "get_web_component",
            "Script of the web component <gramwatt-calculator>: the latest version. The index has the URL of this "
            "version, which never changes, and its integrity digest",
            make_content("text/javascript", _SCRIPT),
            ["ETag", "Link"],
        ),
    ):
        operation = _make_operation(name, summary, make_ok_response(f"{summary}.", content, *headers), bool(headers))
        spec.path(path, operations={"get": operation})
    _add_problem(spec)
    _add_reference(spec)
    _add_pages(spec)


def _make_operation(name: str, summary: str, response: JsonObject, cacheable: bool = False) -> JsonObject:
    return {
        "operationId": name,
        "summary": summary.partition(":")[0],
        "description": f"{summary}.",
        "tags": ["service"],
        "responses": make_responses(response, cacheable=cacheable),
    }


def _make_path_parameter(name: str, description: str, schema: JsonObject, example: str) -> JsonObject:
    described = {"required": True, "description": description, "schema": schema, "example": example}
    return {"name": name, "in": "path", **described}


def _add_calculator_parameter(spec: APISpec) -> JsonObject:
    names = list(registry.list_names())
    schema = add_schema(spec, make_enum(names), "CalculatorName")
    return _make_path_parameter("calculator", "The name of a calculator.", schema, names[0])


def _add_problem(spec: APISpec) -> None:
    kinds = list(PROBLEM_TYPES)
    schema = add_schema(spec, make_enum(kinds), "ProblemKind")
    kind = _make_path_parameter("kind", "The last part of the type of a problem.", schema, kinds[0])
    response = make_ok_response("The type of problem.", {**_json(refer("ProblemType")), **_HTML})
    operation = _make_operation("describe_problem", "Description of a type of problem", response)
    spec.path("/problems/{kind}", parameters=[kind], operations={"get": operation})


def _add_reference(spec: APISpec) -> None:
    """Add the pages of the contract's operations and schemas, and of what each calculator computes."""
    calculator = _add_calculator_parameter(spec)
    for path, name, summary, parameter in (
        ("/docs/{operation}", "get_operation_page", "Page of an operation", _make_name("operation", "list_units")),
        ("/docs/schemas/{schema}", "get_schema_page", "Page of a schema", _make_name("schema", "Problem")),
        (
            "/reference/{calculator}",
            "get_reference_page",
            "Page of what a calculator computes: formulas, inputs, assumptions, limits, accuracy, sources",
            calculator,
        ),
    ):
        operation = _make_operation(name, summary, refer("Page", "responses"), cacheable=True)
        spec.path(path, parameters=[parameter], operations={"get": operation})


def _make_name(what: str, example: str) -> JsonObject:
    return {
        "name": what,
        "in": "path",
        "required": True,
        "description": f"The name of the {what} in this contract.",
        "schema": {"type": "string", "maxLength": 100, "pattern": "^[A-Za-z][A-Za-z0-9_]*$"},
        "example": example,
    }


def _add_pages(spec: APISpec) -> None:
    """Add the pages of the calculators, with what their forms send."""
    calculator = _add_calculator_parameter(spec)
    fields = "The fields of the form: inputs by name, `<name>.unit`, columns of tables as `parts.0.mass`."
    form = {
        "required": False,
        "description": fields,
        "content": {"multipart/form-data": {"schema": {"type": "object"}}},
    }
    page = refer("Page", "responses")
    for below, name, summary, response in (
        (
            "",
            "page",
            "Page of a calculator; for programs its description",
            make_ok_response("The page, or the description.", {**_DESCRIPTION, **_HTML}),
        ),
        ("/frame", "frame", "Page of a calculator for a frame on another site", page),
    ):
        get = _make_operation(f"get_{name}", summary, response, cacheable=True)
        from_form = f"{summary}, for a form with a recording"
        post = _make_operation(f"get_{name}_from_form", from_form, page)
        operations = {"get": get, "post": {**post, "requestBody": form}}
        spec.path(f"/calculators/{{calculator}}{below}", parameters=[calculator], operations=operations)
    chart = _make_operation(
        "get_page_chart",
        "Chart for the form in the query, including rows of tables; without fields that of the example",
        make_ok_response("The chart.", _SVG, "ETag"),
        cacheable=True,
    )
    spec.path("/calculators/{calculator}/chart", parameters=[calculator], operations={"get": chart})
    download = _make_operation(
        "download_results",
        "Results of a form as a file: the field `download` of the form is its kind, `chart-svg`, `chart-png`, or a "
        "format of the calculator such as `csv`",
        make_ok_response("The file.", {"*/*": {}}),
    )
    operations = {"post": {**download, "requestBody": form}}
    spec.path("/calculators/{calculator}/download", parameters=[calculator], operations=operations)
