"""The contract's paths of pictures: of every calculator."""

from __future__ import annotations

from typing import Any, Final

from apispec import APISpec

from gramwatt.engine.query_strings import fits_query
from gramwatt.engine.schemas import get_schema_name
from gramwatt.model import Calculator
from gramwatt.web.chart_options import CHART_MEDIA_TYPES, CHART_OPTIONS
from gramwatt.web.openapi.components import (
    JsonObject,
    make_cacheable_responses,
    make_ok_response,
    make_problem_responses,
)

CHART_TEXT: Final = """\
The answer as a picture, for an `<img>`, a spreadsheet's IMAGE(), a video: SVG, PNG, or in words what it shows (SVG and
PNG carry these too). Instead of the answer a sweep is drawn where one is asked for: with `vary`, `from`, `to` and
`count` in the query as for `sweep`, or with `given` and `vary` in a body. One varied input makes a line, two make a
map, and a choice among them a line for each. `show` then names the results, separated by commas."""


def add_chart_components(spec: APISpec, parameter: Any) -> None:
    """Register the options that all charts share, and the chart itself."""
    for name, option in CHART_OPTIONS.items():
        if name not in ("units", "show"):
            spec.components.parameter(f"chart.{name}", "query", {**parameter(option), "name": name})
    svg = {"type": "string", "maxLength": 5_000_000, "pattern": "^<svg "}
    told = {"type": "string", "maxLength": 20_000, "pattern": r"^[\s\S]+\n$"}
    content: JsonObject = {
        CHART_MEDIA_TYPES["svg"]: {"schema": svg},
        CHART_MEDIA_TYPES["png"]: {},
        CHART_MEDIA_TYPES["txt"]: {"schema": told},
    }
    spec.components.response(
        "Picture", make_ok_response("The picture; that of a GET may be kept, by its ETag.", content, "ETag")
    )


def add_chart(spec: APISpec, calculator: Calculator[Any, Any], inputs: list[str]) -> None:
    """Register the path of one calculator's chart; ``inputs`` are its query parameters by component."""
    identity = calculator.name.replace("-", "_")
    good = {"$ref": "#/components/responses/Picture"}
    options = [
        f"{calculator.name}.units",
        *(f"chart.{name}" for name in CHART_OPTIONS if name not in ("units", "show")),
    ]
    shared: JsonObject = {"tags": [calculator.name], "description": CHART_TEXT}
    examples = {"example1": {"summary": calculator.examples[0].title, "value": dict(calculator.examples[0].given)}}
    content = {"schema": {"$ref": f"#/components/schemas/{get_schema_name(calculator)}"}, "examples": examples}
    operations: JsonObject = {}
    if fits_query(calculator):
        operations["get"] = {
            "operationId": f"{identity}_chart",
            "summary": f"{calculator.title} A picture of the answer",
            **shared,
            "parameters": [*inputs, *options],
            "responses": {**make_cacheable_responses(good), **make_problem_responses(404, 406, 413, 422, 501)},
        }
    operations["post"] = {
        "operationId": f"{identity}_chart_from_body",
        "summary": f"{calculator.title} A picture of the answer, the question as JSON",
        **shared,
        "parameters": options,
        "requestBody": {"required": True, "description": "The inputs.", "content": {"application/json": content}},
        "responses": {"200": good, **make_problem_responses(400, 404, 406, 413, 415, 422, 501)},
    }
    spec.path(f"/v1/{calculator.name}/chart", operations=operations)
