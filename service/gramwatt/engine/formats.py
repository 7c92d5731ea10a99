"""Write a response in the requested format, in chunks: JSON, CSV, or a format that the calculator declares.

A table of many rows is written some rows at a time, so that memory stays bounded whatever its length.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import orjson

from gramwatt.blocks import use_limits
from gramwatt.engine import budget
from gramwatt.engine.calculate import WorkLimitExceeded, compute_response, evaluate_request
from gramwatt.engine.evaluate import Outcome
from gramwatt.engine.limits import MAX_PIXELS
from gramwatt.engine.response import build_response, build_table_rows, get_declared_units
from gramwatt.engine.serializers import (
    MAX_DIGITS,
    TextStyle,
    find_csv_table,
    iter_csv,
    round_quantities,
    round_results,
    serialize_json,
)
from gramwatt.model import AnyCalculator, OutputFormat
from gramwatt.model.messages import InputError

ROWS_PER_CHUNK: Final = 1000
"""Rows of a table that are written at once. A longer table has a line for each row."""
BASE_MEDIA_TYPES: Final[Mapping[str, str]] = {"json": "application/json", "csv": "text/csv"}


@dataclass(frozen=True, slots=True)
class OutputOptions:
    """The options of a response."""

    form: str = "json"
    result_units: Mapping[str, str] = field(default_factory=dict)
    working: bool = False
    style: TextStyle = field(default_factory=TextStyle)


def get_media_types(calculator: AnyCalculator) -> dict[str, str]:
    """Return the formats of a calculator's response, with their media types; the default first."""
    return {**BASE_MEDIA_TYPES, **{form.name: form.media_type for form in calculator.formats}}


def compute_output(
    calculator: AnyCalculator, inputs: Mapping[str, object], options: OutputOptions, *, text: bool = False
) -> Iterator[bytes]:
    """Yield the response to one request in chunks. Raises InvalidInput before the first of them."""
    if options.form == "json" and not calculator.result_tables:
        response = compute_response(
            calculator, inputs, text=text, result_units=options.result_units, working=options.working
        )
        return iter([serialize_json(round_results(response, options.style.digits))])
    return iter_output(evaluate_request(calculator, inputs, text=text, result_units=options.result_units), options)


def iter_output(outcome: Outcome, options: OutputOptions) -> Iterator[bytes]:
    """Return the output for the first request of an outcome, which must be without errors."""
    calculator = outcome.calculator
    for form in calculator.formats:
        if form.name == options.form:
            _check_pixels(form, outcome.inputs)
            return _checked(form.write(outcome.inputs, outcome.results))
    long_tables = _long_tables(outcome)
    response = build_response(
        outcome, 0, result_units=options.result_units, working=options.working, without=long_tables
    )
    response = round_results(response, options.style.digits)
    if options.form == "csv":
        return _csv(outcome, response, options)
    if long_tables:
        return _json(outcome, response, long_tables, options.style.digits)
    return iter([serialize_json(response)])


def _check_pixels(form: OutputFormat[Any, Any], given: Any) -> None:
    """Raise WorkLimitExceeded for an image of too many pixels."""
    if form.pixels is None or budget.get_current() is None:
        return
    pixels = int(form.pixels(given)[0])
    if pixels > MAX_PIXELS:
        detail = f"The picture would have {pixels} pixels; at most {MAX_PIXELS} are allowed"
        raise WorkLimitExceeded(
            (InputError("", detail, None, f"at most {MAX_PIXELS} pixels, or another format without any"),)
        )


def _checked(chunks: Iterator[bytes]) -> Iterator[bytes]:
    """Yield chunks as long as the request's budget allows, which is checked between the blocks of a search too."""
    while True:
        with use_limits(budget.check):
            chunk = next(chunks, None)
        if chunk is None:
            return
        budget.check()
        yield chunk


def _long_tables(outcome: Outcome) -> list[str]:
    return [name for name in outcome.calculator.result_tables if get_table_length(outcome, name) > ROWS_PER_CHUNK]


def get_table_length(outcome: Outcome, table: str) -> int:
    """Return the number of rows of a table among the results, in the first request of an outcome."""
    kind = outcome.calculator.result_tables[table]
    values = getattr(outcome.results, table)
    return int(getattr(values, next(iter(kind.columns))).shape[1])


def _blocks(outcome: Outcome, table: str, units: Mapping[str, str], digits: int) -> Iterator[list[dict[str, Any]]]:
    kind = outcome.calculator.result_tables[table]
    chosen = {**get_declared_units(outcome.calculator.result_fields), **units}
    values = getattr(outcome.results, table)
    for start in range(0, get_table_length(outcome, table), ROWS_PER_CHUNK):
        budget.check()
        rows = build_table_rows(kind, values, 0, table, chosen, start, start + ROWS_PER_CHUNK)
        yield rows if digits >= MAX_DIGITS else [round_quantities(row, units, digits, table=table) for row in rows]


def _csv(outcome: Outcome, response: Mapping[str, Any], options: OutputOptions) -> Iterator[bytes]:
    table = find_csv_table(outcome.calculator)
    rows = iter([[{}]]) if table is None else _blocks(outcome, table, response["units"], options.style.digits)
    for chunk in iter_csv(outcome.calculator, response, options.style, rows):
        if chunk:
            yield chunk.encode()


def _json(outcome: Outcome, response: Mapping[str, Any], long_tables: list[str], digits: int) -> Iterator[bytes]:
    rest = serialize_json(response)
    for table in long_tables:
        before, _, rest = rest.partition(f'"{table}": []'.encode())  # a quote within a text would be escaped
        yield before + f'"{table}": ['.encode()
        comma = b""
        for rows in _blocks(outcome, table, response["units"], digits):
            yield comma + b",".join(b"\n      " + orjson.dumps(row) for row in rows)
            comma = b","
        yield b"\n    ]"
    yield rest
