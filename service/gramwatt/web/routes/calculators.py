"""Routes of every calculator: all its results, or one of them as a bare value."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from typing import Any, Final

from flask import Blueprint, Response, request

from gramwatt.engine import calculate, registry, serializers
from gramwatt.engine.formats import OutputOptions, compute_output, get_media_types
from gramwatt.engine.query_strings import fits_query
from gramwatt.engine.response import check_result_units
from gramwatt.model import RESERVED_RESULTS, Calculator, Table
from gramwatt.model.messages import InputError, close_matches, join_with_or
from gramwatt.web.headers import make_not_modified, make_request_etag
from gramwatt.web.links import note_inputs
from gramwatt.web.pages.description import describe_calculator
from gramwatt.web.problems import Problem, convert_invalid_input, invalid_input
from gramwatt.web.request_parsing import (
    VALUE_OPTIONS,
    check_no_query_inputs,
    get_response_options,
    make_output_options,
    negotiate_format,
    read_json_body,
    read_query,
)
from gramwatt.web.responses import PLAIN_TEXT, find_calculator, make_post_only_problem, make_response

TEXT: Final = {"text": "text/plain"}

blueprint = Blueprint("calculators", __name__, url_prefix="/v1")


@blueprint.get("/<calculator_name>")
def calculate_from_query(calculator_name: str) -> Response:
    """Return the results for the inputs in the query."""
    calculator = find_calculator(calculator_name)
    if not fits_query(calculator):
        raise make_post_only_problem(calculator)
    inputs, options, errors = read_query(get_response_options(calculator))
    format_name = negotiate_format(get_media_types(calculator), options["format"] if not errors else None)
    tag = make_request_etag(format_name)
    return make_not_modified(tag) or respond_with_results(
        calculator, inputs, options, errors, format_name, text=True, tag=tag
    )


@blueprint.post("/<calculator_name>")
def calculate_from_body(calculator_name: str) -> Response:
    """Return the results for the inputs in the body; the query may have options only."""
    calculator = find_calculator(calculator_name)
    query_inputs, options, errors = read_query(get_response_options(calculator))
    format_name = negotiate_format(get_media_types(calculator), options["format"] if not errors else None)
    errors += check_no_query_inputs(query_inputs, get_response_options(calculator))
    return respond_with_results(calculator, read_json_body(calculator), options, errors, format_name, text=False)


def respond_with_results(
    calculator: Calculator[Any, Any],
    inputs: Mapping[str, object],
    options: Mapping[str, Any],
    errors: list[InputError],
    format_name: str,
    *,
    text: bool,
    tag: str | None = None,
) -> Response:
    """Return the response with the results: whole if it is short, else streamed. With a tag it may be cached."""
    note_inputs(inputs)
    output_options = make_output_options(options, format_name, errors)
    try:
        chunks = compute_output(calculator, inputs, output_options, text=text)
    except calculate.InvalidInput as error:
        raise convert_invalid_input(error, errors) from None
    if errors:
        raise invalid_input(errors)
    first = list(itertools.islice(chunks, 2))
    body = b"".join(first) if len(first) < 2 else itertools.chain(first, chunks)
    return make_response(body, _make_content_type(calculator, output_options), tag)


def _make_content_type(calculator: Calculator[Any, Any], options: OutputOptions) -> str:
    media_type = get_media_types(calculator)[options.form]
    if options.form == "csv":
        return media_type + "; charset=utf-8; header=" + ("absent" if options.style.header == "off" else "present")
    return media_type + ("; charset=utf-8" if media_type.startswith("text/") else "")


@blueprint.get("/<calculator_name>/description")
def describe(calculator_name: str) -> Response:
    """Return what programs need to know of a calculator: its inputs and results with units, bounds and defaults."""
    calculator = find_calculator(calculator_name)
    negotiate_format({"json": "application/json"})
    tag = make_request_etag("json")
    body = serializers.serialize_json(dict(describe_calculator(calculator)))
    return make_not_modified(tag) or make_response(body, "application/json", tag)


@blueprint.get("/<calculator_name>/<result>")
def get_value(calculator_name: str, result: str) -> Response:
    """Return one bare value as text, for a spreadsheet cell."""
    calculator = find_calculator(calculator_name)
    if not fits_query(calculator):
        raise make_post_only_problem(calculator)
    _check_result(calculator, result)
    inputs, options, errors = read_query(VALUE_OPTIONS)
    tag = make_request_etag(negotiate_format(TEXT))
    not_modified = make_not_modified(tag)
    if not_modified is not None:
        return not_modified
    units = {result: options["unit"]} if options["unit"] else {}
    try:
        check_result_units(calculator, units)
    except ValueError as error:
        errors.append(InputError("/unit", str(error), options["unit"], "a unit of this result"))
        units = {}
    try:
        response = calculate.compute_response(calculator, inputs, text=True, result_units=units)
    except calculate.InvalidInput as error:
        raise convert_invalid_input(error, errors) from None
    if errors:
        raise invalid_input(errors)
    value = serializers.round_results(response, options["digits"])["results"][result]
    if value is None:
        reasons = [caution["text"] for caution in response["cautions"] if result in caution.get("results", ())]
        raise Problem("no-result", " ".join(reasons))
    if options["decimal"] == "," and isinstance(calculator.result_fields[result], Table):
        detail = f"{result} is a table, whose value is JSON with decimal points"
        raise invalid_input([InputError("/decimal", detail, ",", "no decimal")])
    text = serializers.format_value(value, decimal=options["decimal"])
    return make_response(text, PLAIN_TEXT, tag)


def _check_result(calculator: Calculator[Any, Any], result: str) -> None:
    """Raise Problem if the calculator has no such result: 405 for a route that needs POST, else 404."""
    if result == "batch":
        detail = f"To compute a table, POST /v1/{calculator.name}/batch with JSON, CSV or Arrow."
        raise Problem("method-not-allowed", detail, headers={"Allow": "POST, OPTIONS"})
    if result == "log" and calculator.recording is not None:
        detail = f"To send a recording, POST /v1/{calculator.name}/log with CSV, NDJSON or Arrow."
        raise Problem("method-not-allowed", detail, headers={"Allow": "POST, OPTIONS"})
    if result not in calculator.result_fields:
        meant = close_matches(result, [*calculator.result_fields, *sorted(RESERVED_RESULTS)])
        results = calculator.result_fields
        hint = f"Did you mean {join_with_or(meant)}?" if meant else f"Its results are {join_with_or(results)}."
        raise Problem("unknown-result", f'{calculator.name} has no result "{result[:80]}". {hint}')


def narrow_allow_header(response: Response) -> Response:
    """Remove methods from Allow that this path does not have: tables of inputs need POST, for instance."""
    if "Allow" not in response.headers or not request.path.startswith("/v1/"):
        return response
    if request.path.rstrip("/") == "/v1/units":
        response.headers["Allow"] = "GET, HEAD, OPTIONS"
        return response
    name, _, below = request.path.removeprefix("/v1/").partition("/")
    calculator, below = registry.load().get(name), below.rstrip("/")
    if calculator is not None and below == "description":
        response.headers["Allow"] = "GET, HEAD, OPTIONS"
    elif calculator is not None and (below in ("batch", "log") or not fits_query(calculator)):
        exists = below != "log" or calculator.recording is not None
        response.headers["Allow"] = "POST, OPTIONS" if exists else "GET, HEAD, OPTIONS"
    return response
