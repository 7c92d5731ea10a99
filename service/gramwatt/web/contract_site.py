"""The paths of the contract that stand around the calculators."""

from __future__ import annotations

from apispec import APISpec

from gramwatt.web.contract_components import JsonObject, cached, ok, problems
from gramwatt.web.problems import TYPES


def add_site(spec: APISpec) -> None:
    """The first page, the index, the contract itself, its viewer, problems, health, metrics."""

    def page(media: str, schema: JsonObject) -> JsonObject:
        return {media: {"schema": schema}}

    html = page("text/html", {"type": "string", "maxLength": 1_000_000, "pattern": "^<!doctype html>"})
    numbers = page("text/plain", {"type": "string", "maxLength": 10_000_000, "pattern": "^(?:# HELP |$)"})
    index = page("application/json", {"$ref": "#/components/schemas/Index"})
    for path, name, summary, content, statuses in (
        ("/", "home", "What this is", {**index, **html}, (406,)),
        ("/v1", "list_calculators", "The calculators", index, (406,)),
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
        if path in ("/", "/v1", "/openapi.json", "/openapi.yaml"):
            responses = cached(ok(f"{summary}.", content, "ETag", *(["Link"] if path == "/v1" else [])))
        else:
            responses = {"200": ok(f"{summary}.", content)}
        operation = {
            "operationId": name,
            "summary": summary,
            "description": f"{summary}.",
            "tags": ["service"],
            "responses": {**responses, **problems(400, *statuses)},
        }
        spec.path(path, operations={"get": operation})
    described = {**page("application/json", {"$ref": "#/components/schemas/ProblemType"}), **html}
    spec.path(
        "/problems/{kind}",
        parameters=[
            {
                "name": "kind",
                "in": "path",
                "required": True,
                "description": "The last part of a problem's type.",
                "schema": {"type": "string", "enum": list(TYPES)},
                "example": "invalid-input",
            }
        ],
        operations={
            "get": {
                "operationId": "describe_problem",
                "summary": "What a type of problem means",
                "description": "The page that a problem's `type` leads to.",
                "tags": ["service"],
                "responses": {"200": ok("The type of problem.", described), **problems(400, 404, 406)},
            }
        },
    )
