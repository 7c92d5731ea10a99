"""The paths of the contract that stand around the calculators."""

from __future__ import annotations

from apispec import APISpec

from gramwatt.engine import registry
from gramwatt.web.openapi.components import (
    JsonObject,
    make_cacheable_responses,
    make_ok_response,
    make_problem_responses,
)
from gramwatt.web.problems import PROBLEM_TYPES


def add_site(spec: APISpec) -> None:
    """Register the paths of the home page, the index, the contract itself, its viewer, problems, health, metrics."""

    def page(media: str, schema: JsonObject) -> JsonObject:
        return {media: {"schema": schema}}

    html = page("text/html", {"type": "string", "maxLength": 1_000_000, "pattern": "^<!doctype html>"})
    numbers = page("text/plain", {"type": "string", "maxLength": 10_000_000, "pattern": "^(?:# HELP |$)"})
    index = page("application/json", {"$ref": "#/components/schemas/Index"})
    units = page("application/json", {"$ref": "#/components/schemas/UnitTable"})
    for path, name, summary, content, statuses in (
        ("/", "home", "What this is", {**index, **html}, (406,)),
        ("/v1", "list_calculators", "The calculators", index, (406,)),
        ("/v1/units", "list_units", "The units that quantities may carry", units, (406,)),
        ("/openapi.json", "contract_json", "This contract as JSON", page("application/json", {"type": "object"}), ()),
        ("/openapi.yaml", "contract_yaml", "This contract as YAML", page("application/yaml", {"type": "object"}), ()),
        ("/docs", "reference", "This contract in a viewer", html, ()),
        (
            "/health/live",
            "live",
            "Whether the process answers",
            page("text/plain", {"type": "string", "const": "live\n"}),
            (),
        ),
        (
            "/health/ready",
            "ready",
            "Whether questions can be sent",
            page("text/plain", {"type": "string", "const": "ready\n"}),
            (),
        ),
        ("/metrics", "metrics", "Metrics in Prometheus' text format", numbers, ()),
    ):
        if path in ("/", "/v1", "/v1/units", "/openapi.json", "/openapi.yaml"):
            responses = make_cacheable_responses(
                make_ok_response(f"{summary}.", content, "ETag", *(["Link"] if path == "/v1" else []))
            )
        else:
            responses = {"200": make_ok_response(f"{summary}.", content)}
        operation = {
            "operationId": name,
            "summary": summary,
            "description": f"{summary}.",
            "tags": ["service"],
            "responses": {**responses, **make_problem_responses(400, *statuses)},
        }
        spec.path(path, operations={"get": operation})
    _add_pages(spec, html)
    described = {**page("application/json", {"$ref": "#/components/schemas/KindOfProblem"}), **html}
    spec.path(
        "/problems/{kind}",
        parameters=[
            {
                "name": "kind",
                "in": "path",
                "required": True,
                "description": "The last part of a problem's type.",
                "schema": {"type": "string", "enum": list(PROBLEM_TYPES)},
                "example": "invalid-input",
            }
        ],
        operations={
            "get": {
                "operationId": "describe_problem",
                "summary": "What a type of problem means",
                "description": "The page that a problem's `type` leads to.",
                "tags": ["service"],
                "responses": {
                    "200": make_ok_response("The type of problem.", described),
                    **make_problem_responses(400, 404, 406),
                },
            }
        },
    )


def _add_pages(spec: APISpec, html: JsonObject) -> None:
    """Register the paths of the calculators' pages, and of the web component's script."""
    which = {
        "name": "calculator",
        "in": "path",
        "required": True,
        "description": "The name of a calculator.",
        "schema": {"type": "string", "enum": list(registry.list_names())},
        "example": registry.list_names()[0],
    }
    told_form = "The fields of the form: inputs by name, `<name>.unit`, columns of tables as `parts.0.mass`."
    sent = {"required": False, "description": told_form, "content": {"multipart/form-data": {}}}
    described = {"application/json": {"schema": {"$ref": "#/components/schemas/Description"}}}
    for path, name, summary, content in (
        (
            "/calculators/{calculator}",
            "page",
            "A calculator's page; for programs its description",
            {**described, **html},
        ),
        ("/calculators/{calculator}/frame", "frame", "The same page for a frame on another site", html),
    ):
        told = f"{summary}. The fields of the form, a question among them, may stand in the query."
        shared: JsonObject = {"tags": ["service"], "description": told}
        statuses = (400, 404, 406) if name == "page" else (400, 404)
        get = {
            "operationId": f"calculator_{name}",
            "summary": summary,
            **shared,
            "responses": {
                **make_cacheable_responses(make_ok_response(f"{summary}.", content)),
                **make_problem_responses(*statuses),
            },
        }
        post = {
            "operationId": f"calculator_{name}_from_form",
            "summary": f"{summary}, for a form with a recording",
            **shared,
            "requestBody": sent,
            "responses": {"200": make_ok_response(f"{summary}.", html), **make_problem_responses(400, 404, 413)},
        }
        spec.path(path, parameters=[which], operations={"get": get, "post": post})
    told = (
        "The chart of what the form in the query asks, rows of tables included; of the example where it asks nothing."
    )
    drawn = {"image/svg+xml": {"schema": {"type": "string", "maxLength": 5_000_000, "pattern": "^<svg "}}}
    chart = {
        "operationId": "calculator_chart",
        "summary": "The chart of a calculator's page",
        "description": f"{told} By inputs, and in other formats and looks, charts are at `/v1/{{calculator}}/chart`.",
        "tags": ["service"],
        "responses": {
            **make_cacheable_responses(make_ok_response("The chart.", drawn, "ETag")),
            **make_problem_responses(400, 404, 413, 422, 501),
        },
    }
    spec.path("/calculators/{calculator}/chart", parameters=[which], operations={"get": chart})
    script = {
        "text/javascript": {"schema": {"type": "string", "maxLength": 1_000_000, "pattern": "gramwatt-calculator"}}
    }
    spec.path(
        "/gramwatt.js",
        operations={
            "get": {
                "operationId": "element",
                "summary": "The script of the element <gramwatt-calculator>",
                "description": "The newest version. One that never changes stands at `/gramwatt-<version>.js`: the "
                "index names it, with its integrity digest.",
                "tags": ["service"],
                "responses": {
                    **make_cacheable_responses(make_ok_response("The script.", script, "ETag", "Link")),
                    **make_problem_responses(400, 406),
                },
            }
        },
    )
