"""What no JSON Schema can say of a request is put right in the valid requests that schemathesis makes.

The rest of a request stays as it was made. Each function says which part of the contract is in words, and why.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import schemathesis
from schemathesis import GenerationMode

from gramwatt.engine import craft_fields, registry
from gramwatt.engine.cells import parse_range_end
from gramwatt.engine.nested import read_column
from gramwatt.engine.query_strings import find_query_example
from gramwatt.engine.recordings.channels import channels_of
from gramwatt.engine.response import check_result_units
from gramwatt.engine.tables.sweep import variable_inputs
from gramwatt.model import AnyCalculator, Kind, NumberList, Quantity, RowName, Table, TimeSeries, units
from gramwatt.model.kinds import Count
from gramwatt.model.parsing import ValueParseError
from gramwatt.web.request_parsing import FORMATS_OF_OPTIONS
from gramwatt.web.table_options import FORMATS_OF_OPTIONS as FORMATS_OF_TABLE_OPTIONS

AXES = ("vary", "values", "from", "to", "count")


@schemathesis.hook
def before_call(context: schemathesis.HookContext, case: Any, kwargs: Any) -> None:
    """Put right what schemas cannot say. Invalid requests stay as they are, but their errors must have a status."""
    query = case.query if isinstance(case.query, dict) else {}
    query.pop("errors", None)  # with errors=text, an invalid request has the status of a valid one
    found = re.fullmatch(r"/v1/([a-z-]+)(?:/([a-z{}]+))?", case.operation.path)
    if found is None or found[1] not in registry.list_names() or not _is_valid(case):
        return
    calculator, below = registry.get(found[1]), found[2] or ""
    _repair_query(calculator, below, query, case)
    if case.body is not None and case.method.upper() == "POST":
        _repair_body(calculator, below, case)


def _is_valid(case: Any) -> bool:
    return case.meta is None or case.meta.generation.mode == GenerationMode.POSITIVE


def _repair_query(calculator: AnyCalculator, below: str, query: dict[str, Any], case: Any) -> None:
    """Leave out a craft, since it may lack what is needed; say what is needed, as a craft might have given it."""
    known = {parameter.name for parameter in case.operation.query}
    for name in {craft_fields.MEMBER, *craft_fields.get_choices(), "inputs", "by", "show", *(query.keys() - known)}:
        query.pop(name, None)
    for name in query.keys() & calculator.input_fields.keys():
        query[name] = _repair_value(calculator, name, calculator.input_fields[name], query[name])
    if case.method.upper() == "GET":
        _add_needed(calculator, query, find_query_example(calculator))
    _repair_units(calculator, query, case)
    _repair_options(below, query)
    if below in ("sweep", "chart"):
        _repair_axes(calculator, query)


def _add_needed(calculator: AnyCalculator, inputs: dict[str, Any], example: Mapping[str, Any]) -> None:
    for name in calculator.required_inputs:
        inputs.setdefault(name, example[name])
    for group in calculator.any_of:
        if inputs.keys().isdisjoint(group):
            inputs |= {name: example[name] for name in group if name in example}


def _repair_units(calculator: AnyCalculator, query: dict[str, Any], case: Any) -> None:
    """Leave out a unit that the result does not have: its pattern knows all units and all names."""
    result = str((case.path_parameters or {}).get("result", ""))
    kind = calculator.result_fields.get(result)
    if result and query.get("unit") not in (units.compatible_units(kind.unit) if isinstance(kind, Quantity) else ()):
        query.pop("unit", None)
    pairs = [pair.partition(":") for pair in str(query.get("units", "")).split(",")]
    try:
        check_result_units(calculator, {name: unit for name, _, unit in pairs})
        is_valid = len({name for name, _, _ in pairs}) == len(pairs)
    except ValueError:
        is_valid = False
    if not is_valid:
        query.pop("units", None)


def _repair_options(below: str, query: dict[str, Any]) -> None:
    """Leave out options that the format of the response ignores: which belong together no schema can say."""
    formats = FORMATS_OF_TABLE_OPTIONS if below in ("batch", "sweep") else FORMATS_OF_OPTIONS
    for name in [name for name, fitting in formats.items() if query.get("format", "json") not in fitting]:
        if below not in ("chart", "{result}"):
            query.pop(name, None)
    if below == "{result}":
        query.pop("decimal", None)  # a table is JSON
    if "best" not in query:
        query.pop("least", None)


def _repair_axes(calculator: AnyCalculator, query: dict[str, Any]) -> None:
    """Give each varied input a range: how many of each there must be, and of which inputs, no schema can say."""
    varied = [name for name in dict.fromkeys(query.get("vary") or ()) if name in variable_inputs(calculator)]
    given = {name: query.pop(name, None) or [] for name in AXES}
    if not given["vary"]:
        return
    query.pop("picture", None)  # which is of a chart of one response
    query["vary"] = varied or [variable_inputs(calculator)[0]]
    for end, default in (("from", 1), ("to", 2)):
        ends = [*given[end], *[default] * len(query["vary"])]
        query[end] = [
            value if _is_end(calculator.input_fields[name], value, text=True) else default
            for name, value in zip(query["vary"], ends, strict=False)
        ]
    query["count"] = [*given["count"], 2, 2][: len(query["vary"])]


def _is_end(kind: Kind, value: object, *, text: bool) -> bool:
    """Return whether a value is an end of a range of an input; which units a text may have depends on the input."""
    try:
        return isinstance(kind, Quantity | Count) and bool(parse_range_end(kind, value, text=text))
    except ValueParseError:
        return False


def _repair_body(calculator: AnyCalculator, below: str, case: Any) -> None:
    """Replace a table or a recording as text, of which no schema can say anything, by one in JSON."""
    if case.media_type != "application/json":
        case.media_type = "application/json"
        example: Mapping[str, Any] = calculator.examples[0].given
        case.body = example[str(calculator.recording)] if below == "log" else [dict(example)]
    elif isinstance(case.body, dict) and below != "log":
        if "vary" in case.body:
            _repair_inputs(calculator, case.body.get("given"))
            for name, points in case.body["vary"].items():
                kind = calculator.input_fields[name]
                if not all(_is_end(kind, points.get(end, 1), text=False) for end in ("from", "to")):
                    case.body["vary"][name] = {"values": [1]}
        else:
            _repair_inputs(calculator, case.body)
            _add_needed(calculator, case.body, calculator.examples[0].given)


def _repair_inputs(calculator: AnyCalculator, inputs: object) -> None:
    """Leave out a craft, names of rows that no row has, and numbers that their unit makes too great or too small."""
    if not isinstance(inputs, dict):
        return
    for name in {craft_fields.MEMBER, *craft_fields.get_choices()} - calculator.input_fields.keys():
        inputs.pop(name, None)
    for name, kind in calculator.input_fields.items():
        if name in inputs:
            inputs[name] = _repair_value(calculator, name, kind, inputs[name])
    for path, row_name in calculator.row_names.items():
        owner, _, column = path.partition(".")
        names = [row.get("name") for row in inputs.get(row_name.of, ())]
        for row in inputs.get(owner, ()) if column else [inputs]:
            if (column or owner) in row and names.count(row[column or owner]) != 1:
                del row[column or owner]


def _repair_value(calculator: AnyCalculator, name: str, kind: Kind, value: Any) -> Any:
    if isinstance(kind, NumberList) and isinstance(value, list):
        return [_repair_value(calculator, name, kind.item, item) for item in value]
    if isinstance(kind, Table):
        for row in value:
            for column, inner in kind.input_columns.items():
                if column in row:
                    row[column] = _repair_value(calculator, f"{name}.{column}", inner, row[column])
        return value
    if isinstance(kind, TimeSeries) and isinstance(value, dict):
        time = next(iter(channels_of(kind)))
        cells = value.get(time, [])
        if not any(isinstance(cell, int | float) for cell in cells):  # of texts, one at least must be a time
            value[time] = [0.0 for _ in cells]
    if isinstance(kind, RowName | TimeSeries) or not isinstance(kind, Quantity) or not isinstance(value, str):
        return value
    if read_column(kind, [value], text=False).errors:
        low, high = kind.bounds.list_ends()
        return low if abs(low) < abs(high) else high
    return value
