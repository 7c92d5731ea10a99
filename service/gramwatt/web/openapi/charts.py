"""Add the paths of charts to the contract."""

from __future__ import annotations

from typing import Any, Final

from apispec import APISpec

from gramwatt.engine.query_strings import fits_query
from gramwatt.engine.schemas import get_schema_name
from gramwatt.model import Calculator
from gramwatt.web.chart_options import CHART_MEDIA_TYPES, CHART_OPTIONS, make_picture_option
from gramwatt.web.openapi.components import (
    JsonObject,
    make_cacheable_responses,
    make_ok_response,
    make_problem_responses,
)
from gramwatt.web.openapi.parameters import make_parameter

CHART_TEXT: Final = """\
The results as a chart, for an `<img>`, a spreadsheet's IMAGE() or a video: SVG, PNG, or a description in words (which
SVG and PNG contain too). `picture` selects one of the calculator's charts.

To draw a sweep instead, send `vary`, `from`, `to` and `count` in the query as for `sweep`, or
`given` and `vary` in a body. One varied input makes lines, two make a map, and a choice among them a line for each
option. `show` then has the names of the results, separated by commas."""

OWN_OPTIONS: Final = ("units", "picture", "show")
"""Options that calculators do not share; ``show`` is that of a sweep."""


def add_chart_components(spec: APISpec, parameter: Any) -> None:
    """Add the options that all charts share, and their response."""
    for name, option in CHART_OPTIONS.items():
        if name not in OWN_OPTIONS:
            spec.components.parameter(f"chart.{name}", "query", {**parameter(option), "name": name})
    svg = {"type": "string", "maxLength": 5_000_000, "pattern": "^<svg "}
    description = {"type": "string", "maxLength": 20_000, "pattern": r"^[\s\S]+\n$"}
    content: JsonObject = {
        CHART_MEDIA_TYPES["svg"]: {"schema": svg},
        CHART_MEDIA_TYPES["png"]: {},
        CHART_MEDIA_TYPES["txt"]: {"schema": description},
    }
    spec.components.response(
        "Picture", make_ok_response("The chart. The response to a GET may be cached by its ETag.", content, "ETag")
    )


def add_chart(spec: APISpec, calculator: Calculator[Any, Any], inputs: list[str]) -> None:
    """Add the chart of one calculator; ``inputs`` are the components of its query parameters."""
    identity = calculator.name.replace("-", "_")
    good = {"$ref": "#/components/responses/Picture"}
    picture = f"{calculator.name}.picture"
    spec.components.parameter(picture, "query", {**make_parameter(make_picture_option(calculator)), "name": "picture"})
    options = [
        f"{calculator.name}.units",
        picture,
        *(f"chart.{name}" for name in CHART_OPTIONS if name not in OWN_OPTIONS),
    ]
    shared: JsonObject = {"tags": [calculator.name], "description": CHART_TEXT}
    examples = {"example1": {"summary": calculator.examples[0].title, "value": dict(calculator.examples[0].given)}}
    content = {"schema": {"$ref": f"#/components/schemas/{get_schema_name(calculator)}"}, "examples": examples}
    operations: JsonObject = {}
    if fits_query(calculator):
        operations["get"] = {
            "operationId": f"{identity}_chart",
            "summary": f"{calculator.title} A chart of the results",
            **shared,
            "parameters": [*inputs, *options],
            "responses": {**make_cacheable_responses(good), **make_problem_responses(404, 406, 413, 422, 501)},
        }
    operations["post"] = {
        "operationId": f"{identity}_chart_from_body",
        "summary": f"{calculator.title} A chart of the results, with inputs as JSON",
        **shared,
        "parameters": options,
        "requestBody": {"required": True, "description": "The inputs.", "content": {"application/json": content}},
        "responses": {"200": good, **make_problem_responses(400, 404, 406, 413, 415, 422, 501)},
    }
    spec.path(f"/v1/{calculator.name}/chart", operations=operations)
