"""Add the path of a recording to the contract, for every calculator that uses one."""

from __future__ import annotations

import json
from typing import Any, Final

from apispec import APISpec

from gramwatt.engine.recordings.channels import channels_of
from gramwatt.engine.recordings.reader import FORMATS, recording_kind
from gramwatt.model import Calculator
from gramwatt.web.openapi import json_schema
from gramwatt.web.openapi.components import JsonObject, make_problem_responses
from gramwatt.web.recording_options import get_log_options
from gramwatt.web.request_parsing import get_response_options

LOG_TEXT: Final = """\
The recording is the body, as CSV (separated by commas, semicolons or tabs; lines before the header are skipped),
NDJSON, a JSON object of lists, or an Arrow IPC stream; the other inputs are in the query. Columns are named like
channels, and a header may have a unit (`time [ms]`, `current [mA]`); `<channel>_column` names a column with another
name. Times may also be clock times, or dates with times. Columns that are not channels are ignored. Cells that cannot
be read are left out, and the results count them; they are never an error."""


def add_log(spec: APISpec, calculator: Calculator[Any, Any], inputs: list[str], options: list[str], good: Any) -> None:
    """Add the path of one calculator's recording; ``inputs`` and ``options`` are components of query parameters."""
    own = get_log_options(calculator)
    for name, kind in own.items():
        if name in get_response_options(calculator):
            continue
        component = f"log.{name}"
        if component not in spec.components.parameters:
            schema = json_schema.make_input_schema(kind, query=True)
            described = {"name": name, "description": schema.pop("description"), "required": False, "schema": schema}
            spec.components.parameter(component, "query", described)
        options = [*options, component]
    post: JsonObject = {
        "operationId": f"{calculator.name.replace('-', '_')}_from_log",
        "summary": f"{calculator.title} The recording as the body",
        "description": LOG_TEXT,
        "tags": [calculator.name],
        "parameters": [*inputs, *options],
        "requestBody": {"required": True, "description": "The recording.", "content": _content(calculator)},
        "responses": {"200": good, **make_problem_responses(400, 404, 406, 413, 415, 422, 501)},
    }
    spec.path(f"/v1/{calculator.name}/log", operations={"post": post})


def _content(calculator: Calculator[Any, Any]) -> JsonObject:
    """Return the recording by media type; the schema of CSV has one example, since none describes all such texts."""
    name = calculator.recording or ""
    log: Any = calculator.examples[0].given[name]
    headers = [f"{channel} [{kind.unit}]" for channel, kind in channels_of(recording_kind(calculator)).items()]
    named = [header for header in headers if header.partition(" ")[0] in log]
    cells = [log[header.partition(" ")[0]] for header in named]
    lines = [",".join(named), *(",".join("" if c is None else str(c) for c in row) for row in zip(*cells, strict=True))]
    text = {"type": "string", "enum": ["\r\n".join([*lines, ""])], "description": "An example."}
    value = json.loads(json.dumps(log))
    return {
        FORMATS["csv"]: {"schema": text},
        FORMATS["ndjson"]: {},
        FORMATS["json"]: {
            "schema": {"$ref": f"#/components/schemas/{recording_kind(calculator).row.__name__}"},
            "examples": {"example1": {"summary": calculator.examples[0].title, "value": value}},
        },
        FORMATS["arrow"]: {},
    }
