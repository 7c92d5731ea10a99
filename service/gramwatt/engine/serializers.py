"""Write a response as JSON, as one value in text, or as rows of CSV."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import orjson

from gramwatt.engine.formula_guard import guard_text
from gramwatt.engine.response import get_declared_units
from gramwatt.engine.rounding import round_number
from gramwatt.engine.uncertainty import may_be_uncertain
from gramwatt.model import RANGE_SUFFIXES, AnyCalculator, Kind, units
from gramwatt.model.messages import format_number

MAX_DIGITS: Final = 12
"""Significant digits of every result in a response."""


def serialize_json(value: object) -> bytes:
    """Return a JSON document of finite numbers, indented for people, ending in a newline."""
    return orjson.dumps(value, option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE)


def format_value(value: Any, *, decimal: str = ".") -> str:
    """Return one value as text: a bare number, a word, or a list joined by commas (semicolons with a decimal comma).

    A table is JSON, and so is an empty list: ``[]``.
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list) and (not value or isinstance(value[0], dict)):  # a table has no shorter form
        return orjson.dumps(value).decode()
    if isinstance(value, list):
        texts = [format_value(each, decimal=decimal) for each in value]
        return (";" if decimal == "," else ",").join(texts)
    if isinstance(value, int | float):
        return format_number(value).replace(".", decimal)
    return str(value)


def round_results(response: Mapping[str, Any], digits: int) -> dict[str, Any]:
    """Return a response with at most ``digits`` significant digits of its results; counts and inputs stay whole."""
    if digits >= MAX_DIGITS:
        return dict(response)
    rounded = {
        name: round_quantities({name: value}, response["units"], digits)[name]
        if not (isinstance(value, list) and value and isinstance(value[0], dict))
        else [round_quantities(row, response["units"], digits, table=name) for row in value]
        for name, value in response["results"].items()
    }
    found = {**response, "results": rounded}
    if "uncertainty" in response:
        found["uncertainty"] = round_json(response["uncertainty"], digits)
    return found


def round_quantities(
    values: Mapping[str, Any], units: Mapping[str, str], digits: int, *, table: str = ""
) -> dict[str, Any]:
    """Return results, or a row of a table of them, with at most ``digits`` significant digits of what has a unit."""
    prefix = f"{table}." if table else ""
    return {name: round_json(value, digits) if prefix + name in units else value for name, value in values.items()}


def round_json(value: Any, digits: int) -> Any:
    """Return a JSON value with at most ``digits`` significant digits of its numbers."""
    match value:
        case dict():
            return {name: round_json(each, digits) for name, each in value.items()}
        case list():
            return [round_json(each, digits) for each in value]
        case bool() | None | str():
            return value
        case _:
            return round_number(float(f"{value:.{digits}g}"))


@dataclass(frozen=True, slots=True)
class TextStyle:
    """How a response is written. ``header`` of CSV: ``units`` (names with units in brackets), ``names``, or ``off``."""

    header: str = "units"
    digits: int = MAX_DIGITS
    """Significant digits of the results, see `round_results`."""
    decimal: str = "."
    """With a comma fields are separated by semicolons, as spreadsheets of such places expect."""


def find_csv_table(calculator: AnyCalculator) -> str | None:
    """Return the one table among the results, whose rows are those of a CSV text.

    None where there is none or several are.
    """
    tables = list(calculator.result_tables)
    return tables[0] if len(tables) == 1 else None


def iter_csv(
    calculator: AnyCalculator, response: Mapping[str, Any], style: TextStyle, rows: Iterator[list[dict[str, Any]]]
) -> Iterator[str]:
    """Yield a response as CSV (RFC 4180): a header line and one row with inputs, results and caution codes.

    A result that may be uncertain has its standard uncertainty and the ends of its range beside it, empty where it is
    not: ``<result>_u``, ``<result>_low`` and ``<result>_high``. So the header depends on the calculator alone.

    Where one of the results is a table there is a row for each of its rows, and its columns are headed
    ``by_setup.endurance``; tables and recordings among the inputs are then left out. A ``standalone`` table
    has its own columns and nothing else. Where several results are tables, each is one cell, as JSON.

    ``rows`` gives the rows of the table, some at a time; without a table, one that is empty.
    """
    table, header = find_csv_table(calculator), style.header
    declared = get_declared_units(calculator.input_fields)  # those of inputs that are not in the response too
    response = {**response, "units": {**declared, **response["units"]}}
    kind = calculator.result_tables[table] if table else None
    alone = kind is not None and kind.standalone
    before = {
        _headed(name, response, header): response["inputs"].get(name)
        for name, kind in calculator.input_fields.items()
        if name not in calculator.result_fields and not (table and not kind.fits_query)
    }
    for name, result in calculator.result_fields.items():
        if name != table:
            before |= _columns(name, result, response, header)
    after = {"cautions": " ".join(dict.fromkeys(caution["code"] for caution in response["cautions"]))}
    if alone:
        before, after = {}, {}
    columns = {} if kind is None else kind.columns
    ranges = {
        name: response.get("uncertainty", {}).get(f"{table}.{name}", {})
        for name, column in columns.items()
        if may_be_uncertain(column) and not alone
    }
    written = io.StringIO()
    writer = csv.writer(written, delimiter=";" if style.decimal == "," else ",", lineterminator="\r\n")
    if header != "off":
        headings = list(_table_headings(table, list(columns), ranges, response, header))
        writer.writerow([*before, *(name.removeprefix(f"{table}.") if alone else name for name in headings), *after])
    first, last = ([_cell(value, style) for value in each.values()] for each in (before, after))
    at = 0
    for block in rows:
        for row in block:
            writer.writerow([*first, *(_cell(value, style) for value in _table_cells(row, at, columns, ranges)), *last])
            at += 1
        yield written.getvalue()
        written.seek(written.truncate(0))
    if at == 0 and not alone:
        writer.writerow([*first, *[""] * (len(columns) + len(RANGE_SUFFIXES) * len(ranges)), *last])
    yield written.getvalue()


def _table_headings(
    table: str | None, names: Sequence[str], uncertain: Collection[str], response: Mapping[str, Any], header: str
) -> Iterator[str]:
    for name in names:
        yield _headed(f"{table}.{name}", response, header)
        for suffix in RANGE_SUFFIXES.values() if name in uncertain else ():
            yield _headed(f"{table}.{name}", response, header, suffix)


def _table_cells(
    row: Mapping[str, Any], at: int, names: Iterable[str], ranges: Mapping[str, Mapping[str, Sequence[Any]]]
) -> Iterator[Any]:
    for name in names:
        yield row.get(name)
        for part in RANGE_SUFFIXES if name in ranges else ():
            yield ranges[name][part][at] if part in ranges[name] else None


def _columns(name: str, kind: Kind, response: Mapping[str, Any], header: str) -> dict[str, Any]:
    columns = {_headed(name, response, header): response["results"][name]}
    if may_be_uncertain(kind):
        range_of = response.get("uncertainty", {}).get(name, {})
        for part, suffix in RANGE_SUFFIXES.items():
            columns[_headed(name, response, header, suffix)] = range_of.get(part)
    return columns


def _headed(name: str, response: Mapping[str, Any], header: str, suffix: str = "") -> str:
    unit = response["units"].get(name, "1")
    if suffix == RANGE_SUFFIXES["standard"]:
        unit = units.get_difference_unit(unit)
    return f"{name}{suffix} [{unit}]" if header == "units" and unit != "1" else name + suffix


def _cell(value: Any, style: TextStyle) -> str:
    if isinstance(value, dict) or (isinstance(value, list) and value and isinstance(value[0], dict)):
        return json.dumps(value, ensure_ascii=False, separators=(",", ":"))
    text = format_value(value, decimal=style.decimal)
    return guard_text(text) if isinstance(value, str) else text


def to_text(value: object) -> str | None:
    """Return a value in a text column: as it is, or as its JSON text."""
    if value is None or isinstance(value, str):
        return value
    return orjson.dumps(value, default=str).decode()
