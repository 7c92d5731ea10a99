"""Add the paths of one calculator to the contract: its results, bare values, tables, charts and recordings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from apispec import APISpec

from gramwatt.engine.cells import MAX_RANGE_END
from gramwatt.engine.limits import MAX_AXES, MAX_AXIS_POINTS, MAX_TABLE_BYTES
from gramwatt.engine.query_strings import fits_query
from gramwatt.engine.recordings.channels import channels_of
from gramwatt.engine.recordings.reader import recording_kind
from gramwatt.engine.schemas import get_schema_name
from gramwatt.engine.tables.sweep import variable_inputs
from gramwatt.engine.wire_formats import FORMATS
from gramwatt.model import AnyCalculator, Table
from gramwatt.model.parsing import MAX_NUMBER_LENGTH
from gramwatt.web.chart_options import CHART_MEDIA_TYPES
from gramwatt.web.openapi.inputs import ANY_TEXT, ROW_NAME, Inputs
from gramwatt.web.openapi.naming import (
    JsonObject,
    add_schema,
    make_closed_object,
    make_enum,
    make_object,
    refer,
    to_class_name,
    to_identifier,
)
from gramwatt.web.openapi.parameters import Parameters
from gramwatt.web.openapi.results import add_results
from gramwatt.web.openapi.shared import make_content, make_ok_response, make_responses
from gramwatt.web.recording_options import BODY_FORMATS
from gramwatt.web.table_options import BATCH_OPTIONS, SWEEP_OPTIONS, get_max_points

_TEXT: Final[JsonObject] = {"type": "string", "maxLength": 2**30, "pattern": ANY_TEXT}
_VALUE_TEXT: Final = "See Spreadsheets, above."
_BATCH_TEXT: Final = "See Tables, above."
_SWEEP_TEXT: Final = "See Sweeps, above."
_CHART_TEXT: Final = "See Charts, above."
_LOG_TEXT: Final = "See Recordings, above."


class CalculatorPaths:
    """Adds the paths of one calculator."""

    def __init__(self, spec: APISpec, inputs: Inputs, parameters: Parameters, calculator: AnyCalculator) -> None:
        self._spec, self._inputs, self._parameters, self._calculator = spec, inputs, parameters, calculator
        self._identity, self._class_name = to_identifier(calculator), to_class_name(calculator.name)
        self._by_query = fits_query(calculator)
        self._query_inputs = parameters.list_inputs(calculator) if self._by_query else []
        self._request: JsonObject = {}
        self._axes = parameters.list_axes(calculator) if self._by_query else []
        self._example = calculator.examples[0]

    def add(self) -> None:
        """Add schemas and responses, then the paths."""
        self._inputs.add_object(self._calculator)
        self._request = self._inputs.add_request(self._calculator)
        add_results(self._spec, self._inputs, self._calculator)
        example = {"summary": self._example.title, "value": dict(self._example.given)}
        self._spec.components.example(self._class_name, example)
        self._spec.components.schema(f"{self._class_name}Sweep", self._make_sweep_schema())
        self._spec.components.response(f"{self._class_name}Response", self._make_response())
        self._spec.components.response(f"{self._class_name}Table", self._make_table_response())
        self._add_results_path()
        if self._by_query:
            self._add_value_path()
        self._add_batch_path()
        self._add_sweep_path()
        self._add_chart_path()
        if self._calculator.recording is not None:
            self._add_log_path()
        self._add_description_path()

    def _add_path(self, below: str, operations: Mapping[str, JsonObject], parameters: Sequence[Any] = ()) -> None:
        """Add a path; ``parameters`` are those that its operations share."""
        tags: JsonObject = {"tags": [self._calculator.name]}
        if self._calculator.deprecated is not None:
            tags["deprecated"] = True
        described = {method: {**operation, **tags} for method, operation in operations.items()}
        self._spec.path(f"/v1/{self._calculator.name}{below}", operations=described, parameters=list(parameters))

    def _add_both(self, below: str, verb: str, options: Sequence[str], get: JsonObject, post: JsonObject) -> None:
        """Add a path with its inputs in a query or a body, or only in a body if they do not fit a query."""
        named = f"{verb}_{self._identity}"
        if not self._by_query:
            self._add_path(below, {"post": {"operationId": named, **post}}, options)
            return
        post = {"operationId": f"{named}_from_json", **post, "description": f"As `{named}`, with the inputs in a body."}
        self._add_path(below, {"get": {"operationId": named, **get}, "post": post}, options)

    def _respond(self, component: str, *, cacheable: bool = False) -> JsonObject:
        return make_responses(refer(component, "responses"), cacheable=cacheable)

    def _make_response(self) -> JsonObject:
        """Return the response with all results, as JSON, as CSV, and in the formats of the calculator."""
        content = make_content("application/json", refer(f"{self._class_name}Response"))
        content |= make_content("text/csv", refer("TableText"))
        for form in self._calculator.formats:
            described = {**_TEXT, "description": form.description}
            content[form.media_type] = {"schema": refer("Binary") if form.binary else described}
        return make_ok_response("The results.", content, "ETag", "Link")

    def _make_table_response(self) -> JsonObject:
        either = {"anyOf": [refer(f"{self._class_name}Row"), refer("InvalidRow")]}
        rows = add_schema(self._spec, either, f"{self._class_name}TableRow")
        content: JsonObject = {media_type: {"schema": refer("TableText")} for media_type in FORMATS.values()}
        content[FORMATS["json"]] = {"schema": {"type": "array", "maxItems": MAX_TABLE_BYTES, "items": rows}}
        content[FORMATS["arrow"]] = {"schema": refer("Binary")}
        return make_ok_response("The table of results, row by row.", content, "ETag", "Standing-Cautions", "Link")

    def _add_results_path(self) -> None:
        calculator, title = self._calculator, self._calculator.title
        options = self._parameters.list_options(calculator)
        get = {
            "summary": title,
            "description": calculator.documentation,
            "parameters": self._query_inputs,
            "responses": self._respond(f"{self._class_name}Response", cacheable=True),
        }
        post = {
            "summary": f"{title} Inputs as JSON",
            "description": calculator.documentation,
            "requestBody": self._make_json_body(self._request, refer(self._class_name, "examples")),
            "responses": self._respond(f"{self._class_name}Response"),
        }
        self._add_both("", "calculate", options, get, post)

    def _make_json_body(self, schema: JsonObject, example: JsonObject) -> JsonObject:
        content = make_content("application/json", schema, examples={"example1": example})
        return {"required": True, "description": "The inputs.", "content": content}

    def _add_value_path(self) -> None:
        names = [name for name, kind in self._calculator.result_fields.items() if not isinstance(kind, Table)]
        result = {
            "name": "result",
            "in": "path",
            "required": True,
            "description": "The name of a result.",
            "schema": add_schema(self._spec, make_enum(names), f"{self._class_name}Result"),
            "example": names[0],
        }
        operation = {
            "operationId": f"get_{self._identity}_result",
            "summary": f"{self._calculator.title} One result as a bare value",
            "description": _VALUE_TEXT,
            "parameters": [result, "inputs", *self._parameters.list_value_options(self._calculator)],
            "responses": self._respond("Value", cacheable=True),
        }
        self._add_path("/{result}", {"get": operation})

    def _add_batch_path(self) -> None:
        calculator = self._calculator
        either = {"anyOf": [refer(get_schema_name(calculator)), refer("OtherRow")]}
        row = add_schema(self._spec, either, f"{self._class_name}InputRow")
        content: JsonObject = {media_type: {"schema": refer("TableText")} for media_type in FORMATS.values()}
        content[FORMATS["json"]] = {"schema": {"type": "array", "maxItems": MAX_TABLE_BYTES, "items": row}}
        given = self._example.given
        if all(_is_flat(value) for value in given.values()):
            table = f"{','.join(given)}\r\n{','.join(str(value) for value in given.values())}\r\n"
            content[FORMATS["csv"]]["examples"] = {"rows": {"summary": self._example.title, "value": table}}
        operation = {
            "operationId": f"batch_{self._identity}",
            "summary": f"{calculator.title} Many rows at once",
            "description": _BATCH_TEXT,
            "parameters": ["inputs", *self._parameters.list_table_options(calculator, BATCH_OPTIONS)],
            "requestBody": {"required": True, "description": "The table.", "content": content},
            "responses": self._respond(f"{self._class_name}Table"),
        }
        self._add_path("/batch", {"post": operation})

    def _make_sweep_schema(self) -> JsonObject:
        """Return the schema of a sweep in a body: a list or a range of points for each input that varies."""
        calculator, points = self._calculator, get_max_points(self._calculator)
        suffix = "" if points == MAX_AXIS_POINTS else f"UpTo{points}"
        either = [
            add_schema(self._spec, _make_values(points), f"PointValues{suffix}"),
            add_schema(self._spec, _make_range(points), f"PointRange{suffix}"),
        ]
        axes = {
            "type": "object",
            "description": "One input that varies, or two for a grid; the second varies fastest.",
            "propertyNames": self._parameters.list_names(calculator),
            "additionalProperties": add_schema(self._spec, {"anyOf": either}, f"Points{suffix}"),
            "minProperties": 1,
            "maxProperties": MAX_AXES,
        }
        return make_closed_object({"given": refer(get_schema_name(calculator)), "vary": axes}, ["vary"])

    def _make_sweep_example(self) -> JsonObject:
        given = dict(self._example.given)
        name = next((name for name in variable_inputs(self._calculator) if name in given), next(iter(given)))
        value = {"given": {n: v for n, v in given.items() if n != name}, "vary": {name: {"values": [given[name]]}}}
        return {"summary": f"A sweep of {name}", "value": value}

    def _add_sweep_path(self) -> None:
        calculator = self._calculator
        options = self._parameters.list_table_options(calculator, SWEEP_OPTIONS)
        get = {
            "summary": f"{calculator.title} One input varied, or two",
            "description": _SWEEP_TEXT,
            "parameters": ["inputs", *self._axes],
            "responses": self._respond(f"{self._class_name}Table", cacheable=True),
        }
        post = {
            "summary": f"{calculator.title} One input varied, or two, with inputs as JSON",
            "description": _SWEEP_TEXT,
            "requestBody": self._make_json_body(refer(f"{self._class_name}Sweep"), self._make_sweep_example()),
            "responses": self._respond(f"{self._class_name}Table"),
        }
        self._add_both("/sweep", "sweep", options, get, post)

    def _add_chart_path(self) -> None:
        calculator = self._calculator
        options = self._parameters.list_chart_options(calculator)
        get = {
            "summary": f"{calculator.title} A chart of the results",
            "description": _CHART_TEXT,
            "parameters": ["inputs", *self._axes],
            "responses": self._respond("Chart", cacheable=True),
        }
        schema = self._request
        if variable_inputs(calculator):  # lists and tables are no axis of a chart
            either = {"anyOf": [self._request, refer(f"{self._class_name}Sweep")]}
            schema = add_schema(self._spec, either, f"{self._class_name}ChartRequest")
        post = {
            "summary": f"{calculator.title} A chart of the results, with inputs as JSON",
            "description": _CHART_TEXT,
            "requestBody": self._make_json_body(schema, refer(self._class_name, "examples")),
            "responses": self._respond("Chart"),
        }
        self._add_both("/chart", "chart", options, get, post)

    def _add_description_path(self) -> None:
        operation = {
            "operationId": f"describe_{self._identity}",
            "summary": f"{self._calculator.title} Inputs and results",
            "description": "For programs.",
            "responses": self._respond("CalculatorDescription", cacheable=True),
        }
        self._add_path("/description", {"get": operation})

    def _add_log_path(self) -> None:
        calculator = self._calculator
        parameters = [
            *self._parameters.list_inputs(calculator),
            *self._parameters.list_log_options(calculator),
        ]
        operation = {
            "operationId": f"calculate_{self._identity}_from_recording",
            "summary": f"{calculator.title} The recording as the body",
            "description": _LOG_TEXT,
            "parameters": parameters,
            "requestBody": {"required": True, "description": "The recording.", "content": self._make_recording()},
            "responses": self._respond(f"{self._class_name}Response"),
        }
        self._add_path("/log", {"post": operation})

    def _make_recording(self) -> JsonObject:
        """Return the recording by media type; generated clients take the first, CSV."""
        name, title = str(self._calculator.recording), self._example.title
        log: Any = self._example.given[name]
        channels = channels_of(recording_kind(self._calculator))
        headers = {channel: f"{channel} [{kind.unit}]" for channel, kind in channels.items() if channel in log}
        rows = zip(*(log[channel] for channel in headers), strict=True)
        lines = [",".join(headers.values()), *(",".join("" if c is None else str(c) for c in row) for row in rows)]
        examples = {"example1": {"summary": title, "value": "\r\n".join([*lines, ""])}}
        content: JsonObject = {media_type: {"schema": refer("TableText")} for media_type in BODY_FORMATS.values()}
        content[BODY_FORMATS["csv"]]["examples"] = examples
        content[BODY_FORMATS["arrow"]] = {"schema": refer("Binary")}
        return content


def _is_flat(value: object) -> bool:
    return not isinstance(value, list | dict) and "," not in str(value)


def _make_values(points: int) -> JsonObject:
    values = {"type": "array", "minItems": 1, "maxItems": points, "items": {}}
    text = "Values of an input, one for each point. A point that is out of bounds gets an error."
    return make_closed_object({"values": values}, ["values"], description=text)


def _make_range(points: int) -> JsonObject:
    count = {"type": "integer", "format": "int32", "minimum": 2, "maximum": points}
    ends = dict.fromkeys(("from", "to"), refer("RangeEnd"))
    text = "Evenly spaced points, including both ends."
    return make_closed_object({**ends, "count": count}, ["from", "to", "count"], description=text)


def add_shared_components(spec: APISpec) -> None:
    """Add the responses and schemas that the paths of all calculators share."""
    value = {"type": "string", "maxLength": 20_000, "pattern": r"^[^\r\n]+$"}
    spec.components.response("Value", make_ok_response("The value.", make_content("text/plain", value), "ETag", "Link"))
    content = make_content(CHART_MEDIA_TYPES["svg"], {"type": "string", "maxLength": 5_000_000, "pattern": "^<svg "})
    content[CHART_MEDIA_TYPES["png"]] = {"schema": refer("Binary")}
    content |= make_content(CHART_MEDIA_TYPES["txt"], {"type": "string", "maxLength": 20_000, "pattern": ANY_TEXT})
    described = make_content("application/json", refer("CalculatorDescription"))
    spec.components.response("CalculatorDescription", make_ok_response("The description.", described, "ETag", "Link"))
    spec.components.response("Chart", make_ok_response("The chart.", content, "ETag", "Link"))
    spec.components.schemas["RangeEnd"] = {
        "anyOf": [
            {"type": "number", "format": "double", "minimum": -MAX_RANGE_END, "maximum": MAX_RANGE_END},
            {"type": "string", "maxLength": MAX_NUMBER_LENGTH, "pattern": ANY_TEXT},
        ],
        "description": "An end of a range, in the unit of the input, or as text with another unit of it.",
    }
    spec.components.schemas["TableText"] = {**_TEXT, "description": "A table as text."}
    spec.components.schemas["Binary"] = {
        "type": "string",
        "format": "binary",
        "maxLength": 2**30,
        "description": "A file.",
    }
    text = "A row with columns to copy, or an invalid row, which gets an error."
    row = make_object({"name": ROW_NAME}, additionalProperties=True, description=text)  # Java wants a property
    spec.components.schemas["OtherRow"] = row
