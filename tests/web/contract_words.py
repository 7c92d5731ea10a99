"""What the contract says of a request in words only, since no JSON Schema can: such requests are put right here.

The rest of a request stays as it is. Each function says which part of the contract is in words, and why.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from gramwatt.engine import craft_fields
from gramwatt.engine.cells import parse_range_end
from gramwatt.engine.columns import uncertainty_kind
from gramwatt.engine.nested import read_column
from gramwatt.engine.query_strings import find_query_example, format_query_value
from gramwatt.engine.response import check_result_units
from gramwatt.engine.tables.sweep import variable_inputs
from gramwatt.model import AnyCalculator, Kind, NumberList, Quantity, Table, TimeSeries, units
from gramwatt.model.kinds import Count
from gramwatt.model.parsing import ValueParseError
from gramwatt.web.request_parsing import FORMATS_OF_OPTIONS
from gramwatt.web.table_options import FORMATS_OF_OPTIONS as FORMATS_OF_TABLE_OPTIONS

AXES = ("vary", "values", "from", "to", "count")


def repair_query(
    calculator: AnyCalculator, query: dict[str, Any], declared: Collection[str], *, result: str = "", below: str = ""
) -> None:
    """Put right a query of a path ``below`` that of a calculator; ``declared`` are the names of its parameters.

    A craft is left out, since no schema says what it lacks; then what is needed must be given.
    """
    unknown = query.keys() - set(declared)
    for name in {craft_fields.MEMBER, *craft_fields.get_choices(), "inputs", "by", "show", "errors", *unknown}:
        query.pop(name, None)
    for name in query.keys() & calculator.input_fields.keys():
        query[name] = _repair_value(calculator.input_fields[name], query[name], text=True)
    _repair_units(calculator, query, result)
    _repair_options(below, query)
    if "vary" in declared:
        _repair_axes(calculator, query, is_needed=below == "sweep")


def add_needed_to_query(calculator: AnyCalculator, query: dict[str, Any]) -> None:
    """Add what a calculator needs: a craft might have given it, so that no parameter is required."""
    example = {name: format_query_value(value) for name, value in find_query_example(calculator).items()}
    _add_needed(calculator, query, example)


def _add_needed(calculator: AnyCalculator, inputs: dict[str, Any], example: Mapping[str, Any]) -> None:
    for name in calculator.required_inputs:
        inputs.setdefault(name, example[name])
    for group in calculator.any_of:
        if inputs.keys().isdisjoint(group):
            inputs |= {name: example[name] for name in group if name in example}


def _repair_units(calculator: AnyCalculator, query: dict[str, Any], result: str) -> None:
    """Leave out a unit that the result does not have: its pattern knows all units and all names."""
    kind = calculator.result_fields.get(result)
    if result and query.get("unit") not in (units.output_units(kind.unit) if isinstance(kind, Quantity) else ()):
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
        query.pop("ascending", None)


def _repair_axes(calculator: AnyCalculator, query: dict[str, Any], *, is_needed: bool) -> None:
    """Give each varied input a range: how many of each there must be, and of which inputs, no schema can say."""
    varied = [name for name in dict.fromkeys(query.get("vary") or ()) if name in variable_inputs(calculator)]
    given = {name: query.pop(name, None) or [] for name in AXES}
    if not given["vary"] and not is_needed:
        return
    query.pop("chart", None)  # which is of a chart of one response
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


def repair_body(calculator: AnyCalculator, body: dict[str, Any], *, is_chart: bool = False) -> None:
    """Put right the inputs in a body, or a sweep. A chart has no axis for lists and tables, which a sweep may vary."""
    if "vary" not in body:
        _repair_inputs(calculator, body)
        _add_needed(calculator, body, calculator.examples[0].given)
        return
    _repair_inputs(calculator, body.get("given"))
    kinds = calculator.input_fields
    if is_chart:
        lists = [name for name in body["vary"] if isinstance(kinds[name], NumberList | Table | TimeSeries)]
        body["vary"] = {name: points for name, points in body["vary"].items() if name not in lists}
        body["vary"] = body["vary"] or {variable_inputs(calculator)[0]: {"values": [1, 2]}}
    for name, points in body["vary"].items():
        if not all(_is_end(kinds[name], points.get(end, 1), text=False) for end in ("from", "to")):
            body["vary"][name] = {"values": [1, 2]}


def _repair_inputs(calculator: AnyCalculator, inputs: object) -> None:
    """Leave out a craft, names of rows that no row has, and numbers that their unit makes too great or too small."""
    if not isinstance(inputs, dict):
        return
    for name in {craft_fields.MEMBER, *craft_fields.get_choices()} - calculator.input_fields.keys():
        inputs.pop(name, None)
    for name, kind in calculator.input_fields.items():
        if name in inputs:
            inputs[name] = _repair_value(kind, inputs[name])
    for path, row_name in calculator.row_names.items():
        owner, _, column = path.partition(".")
        names = [row.get("name") for row in inputs.get(row_name.of, ())]
        for row in inputs.get(owner, ()) if column else [inputs]:
            if (column or owner) in row and names.count(row[column or owner]) != 1:
                del row[column or owner]


def _repair_value(kind: Kind, value: Any, *, text: bool = False) -> Any:
    """Replace a text with a number that its unit makes too great or too small for the bounds."""
    if isinstance(kind, NumberList) and text:
        return ",".join(str(_repair_value(kind.item, item, text=True)) for item in str(value).split(","))
    if isinstance(kind, NumberList):
        return [_repair_value(kind.item, item) for item in value]
    if isinstance(kind, Table):
        columns = kind.input_columns
        quantities = {name: each for name, each in columns.items() if isinstance(each, Quantity)}
        kinds = {**columns, **{f"{name}_u": uncertainty_kind(name, each) for name, each in quantities.items()}}
        return [{name: _repair_value(kinds[name], cell) for name, cell in row.items()} for row in value]
    if isinstance(kind, TimeSeries):
        return _repair_recording(kind, value)
    is_text = isinstance(kind, Quantity) and isinstance(value, str)
    if not isinstance(kind, Quantity) or not is_text or not read_column(kind, [value], text=text).errors:
        return value
    low, high = kind.bounds.list_ends()
    return min(max(low, 1), high)


def _repair_recording(kind: TimeSeries, columns: dict[str, list[Any]]) -> dict[str, list[Any]]:
    """Make the columns as long as each other, with times that can be read: some seconds apart."""
    time = next(iter(kind.columns))
    length = max([2, *map(len, columns.values())])
    filled = {name: [*column, *[None] * (length - len(column))] for name, column in columns.items()}
    return {**filled, time: list(range(length))}
