"""The paths of the contract that stand around the calculators."""

from __future__ import annotations

from apispec import APISpec

from gramwatt.web.contract_components import JsonObject, not_modified, ok, problems
from gramwatt.web.problems import TYPES


def add_site(spec: APISpec) -> None:
    """The first page, the index, the contract itself, its viewer, problems, health, metrics."""

    def page(media: str, schema: JsonObject) -> JsonObject:
        return {media: {"schema": schema}}

    text = {"type": "string", "maxLength": 10_000_000}
    index = page("application/json", {"$ref": "#/components/schemas/Index"})
    cached = ("Cache-Control", "ETag")
    for path, name, summary, content, statuses in (
        ("/", "home", "What this is", {**index, **page("text/html", text)}, (406,)),
        ("/v1", "list_calculators", "The calculators", index, (406,)),
        ("/openapi.json", "contract_json", "This contract as JSON", page("application/json", {"type": "object"}), ()),
        ("/openapi.yaml", "contract_yaml", "This contract as YAML", page("application/yaml", text), ()),
        ("/docs", "reference", "This contract in a viewer", page("text/html", text), ()),
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
        ("/metrics", "metrics", "Metrics in Prometheus' text format", page("text/plain", text), ()),
    ):
        responses: JsonObject = {"200": ok(summary + ".", content, *cached), **problems(*statuses)}
        if path in ("/", "/v1", "/openapi.json", "/openapi.yaml"):
            responses["304"] = not_modified()
        operation = {
            "operationId": name,
            "summary": summary,
            "description": f"{summary}.",
            "tags": ["service"],
            "responses": responses,
        }
        spec.path(path, operations={"get": operation})
    described = {**page("application/json", {"$ref": "#/components/schemas/ProblemType"}), **page("text/html", text)}
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
                "responses": {"200": ok("The type of problem.", described), **problems(404, 406)},
            }
        },
    )
