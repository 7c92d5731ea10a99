"""Add the paths to the contract that belong to no calculator."""

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
    """Add home page, index, units, the contract and its viewer, problems, health and metrics."""

    def page(media: str, schema: JsonObject) -> JsonObject:
        return {media: {"schema": schema}}

    html = page("text/html", {"type": "string", "maxLength": 1_000_000, "pattern": "^<!doctype html>"})
    numbers = page("text/plain", {"type": "string", "maxLength": 10_000_000, "pattern": "^(?:# HELP |$)"})
    index = page("application/json", {"$ref": "#/components/schemas/Index"})
    units = page("application/json", {"$ref": "#/components/schemas/UnitTable"})
    for path, name, summary, content, statuses in (
        ("/", "home", "Home page for people, index for programs", {**index, **html}, (406,)),
        ("/calculators", "calculators", "Page of all calculators, index for programs", {**index, **html}, (406,)),
        ("/v1", "list_calculators", "List of the calculators", index, (406,)),
        ("/v1/units", "list_units", "Units of quantities", units, (406,)),
        ("/openapi.json", "contract_json", "This contract as JSON", page("application/json", {"type": "object"}), ()),
        ("/openapi.yaml", "contract_yaml", "This contract as YAML", page("application/yaml", {"type": "object"}), ()),
        ("/docs", "reference", "This contract in a viewer", html, ()),
        (
            "/health/live",
            "live",
            "Liveness of the process",
            page("text/plain", {"type": "string", "const": "live\n"}),
            (),
        ),
        (
            "/health/ready",
            "ready",
            "Readiness for requests",
            page("text/plain", {"type": "string", "const": "ready\n"}),
            (),
        ),
        ("/metrics", "metrics", "Metrics in the Prometheus text format", numbers, ()),
    ):
        if path in ("/", "/calculators", "/v1", "/v1/units", "/openapi.json", "/openapi.yaml"):
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
                "description": "The last part of the type of a problem.",
                "schema": {"type": "string", "enum": list(PROBLEM_TYPES)},
                "example": "invalid-input",
            }
        ],
        operations={
            "get": {
                "operationId": "describe_problem",
                "summary": "Description of a type of problem",
                "description": "The page at the URL in the `type` of a problem.",
                "tags": ["service"],
                "responses": {
                    "200": make_ok_response("The type of problem.", described),
                    **make_problem_responses(400, 404, 406),
                },
            }
        },
    )


def _add_pages(spec: APISpec, html: JsonObject) -> None:
    """Add the pages of the calculators, and the script of the web component."""
    which = {
        "name": "calculator",
        "in": "path",
        "required": True,
        "description": "The name of a calculator.",
        "schema": {"type": "string", "enum": list(registry.list_names())},
        "example": registry.list_names()[0],
    }
    fields = "The fields of the form: inputs by name, `<name>.unit`, columns of tables as `parts.0.mass`."
    sent = {"required": False, "description": fields, "content": {"multipart/form-data": {}}}
    described = {"application/json": {"schema": {"$ref": "#/components/schemas/Description"}}}
    for path, name, summary, content in (
        (
            "/calculators/{calculator}",
            "page",
            "Page of a calculator; for programs its description",
            {**described, **html},
        ),
        ("/calculators/{calculator}/frame", "frame", "Page of a calculator for a frame on another site", html),
    ):
        text = f"{summary}. The query may have the fields of the form."
        shared: JsonObject = {"tags": ["service"], "description": text}
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
    chart_text = "The chart for the form in the query, including rows of tables; without fields that of the example."
    drawn = {"image/svg+xml": {"schema": {"type": "string", "maxLength": 5_000_000, "pattern": "^<svg "}}}
    chart = {
        "operationId": "calculator_chart",
        "summary": "Chart on the page of a calculator",
        "description": f"{chart_text} Other formats and styles are at `/v1/{{calculator}}/chart`.",
        "tags": ["service"],
        "responses": {
            **make_cacheable_responses(make_ok_response("The chart.", drawn, "ETag")),
            **make_problem_responses(400, 404, 413, 422, 501),
        },
    }
    spec.path("/calculators/{calculator}/chart", parameters=[which], operations={"get": chart})
    files: JsonObject = {"*/*": {}}
    download = {
        "operationId": "calculator_download",
        "summary": "Results of a form as a file",
        "description": "The results for the form in the body as a file. Its field `download` is the kind of file: "
        "`chart-svg`, `chart-png`, or a format of the calculator such as `csv`.",
        "tags": ["service"],
        "requestBody": sent,
        "responses": {
            "200": make_ok_response("The file.", files),
            **make_problem_responses(400, 404, 413, 422, 501),
        },
    }
    spec.path("/calculators/{calculator}/download", parameters=[which], operations={"post": download})
    script = {
        "text/javascript": {"schema": {"type": "string", "maxLength": 1_000_000, "pattern": "gramwatt-calculator"}}
    }
    spec.path(
        "/gramwatt.js",
        operations={
            "get": {
                "operationId": "element",
                "summary": "Script of the web component <gramwatt-calculator>",
                "description": "The latest version. `/gramwatt-<version>.js` never changes: the index has its URL and "
                "its integrity digest.",
                "tags": ["service"],
                "responses": {
                    **make_cacheable_responses(make_ok_response("The script.", script, "ETag", "Link")),
                    **make_problem_responses(400, 406),
                },
            }
        },
    )
