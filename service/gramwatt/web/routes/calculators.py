"""The routes of every calculator: its answer, and one value of it. Nothing here knows any calculator by name."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from typing import Any, Final

from flask import Blueprint, Response, request

from gramwatt.engine import calculate, registry, serializers
from gramwatt.engine.columns import escape_name
from gramwatt.engine.formats import OutputOptions, compute_output, get_media_types
from gramwatt.engine.query_strings import fits_query
from gramwatt.engine.response import check_result_units
from gramwatt.model import Calculator
from gramwatt.model.messages import InputError, close_matches, join_with_or, quote_input
from gramwatt.web.headers import make_not_modified, make_request_etag
from gramwatt.web.problems import Problem, convert_invalid_input, invalid_input
from gramwatt.web.request_parsing import (
    VALUE_OPTIONS,
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
    """Answer the question in the query."""
    calculator = find_calculator(calculator_name)
    if not fits_query(calculator):
        raise make_post_only_problem(calculator)
    words, options, errors = read_query(get_response_options(calculator))
    chosen = negotiate_format(get_media_types(calculator), options["format"] if not errors else None)
    tag = make_request_etag(chosen)
    return make_not_modified(tag) or respond_with_results(
        calculator, words, options, errors, chosen, text=True, tag=tag
    )


@blueprint.post("/<calculator_name>")
def calculate_from_body(calculator_name: str) -> Response:
    """Answer the question in the body; the query may hold options only."""
    calculator = find_calculator(calculator_name)
    words, options, errors = read_query(get_response_options(calculator))
    chosen = negotiate_format(get_media_types(calculator), options["format"] if not errors else None)
    errors += [
        InputError(
            f"/{escape_name(name)}",
            f"{quote_input(name)} stands in the query of a POST",
            quote_input(word),
            "inputs in the body; in the query only " + join_with_or(get_response_options(calculator)),
        )
        for name, word in words.items()
    ]
    return respond_with_results(calculator, read_json_body(calculator), options, errors, chosen, text=False)


def respond_with_results(
    calculator: Calculator[Any, Any],
    question: dict[str, Any],
    options: dict[str, Any],
    errors: list[InputError],
    chosen: str,
    *,
    text: bool,
    tag: str | None = None,
) -> Response:
    """The answer in the form chosen: at once where it is short, else as it is made. With a tag it may be cached."""
    wish = make_output_options(options, chosen, errors)
    try:
        pieces = compute_output(calculator, question, wish, text=text)
    except calculate.InvalidInput as error:
        raise convert_invalid_input(error, errors) from None
    if errors:
        raise invalid_input(errors)
    first = list(itertools.islice(pieces, 2))
    body = b"".join(first) if len(first) < 2 else itertools.chain(first, pieces)
    return make_response(body, _content_type(calculator, wish), tag)


def _content_type(calculator: Calculator[Any, Any], wish: OutputOptions) -> str:
    media = get_media_types(calculator)[wish.form]
    if wish.form == "csv":
        return media + "; charset=utf-8; header=" + ("absent" if wish.style.header == "off" else "present")
    return media + ("; charset=utf-8" if media.startswith("text/") else "")


@blueprint.get("/<calculator_name>/<result>")
def get_value(calculator_name: str, result: str) -> Response:
    """One bare value as text, for a spreadsheet's cell."""
    calculator = find_calculator(calculator_name)
    if not fits_query(calculator):
        raise make_post_only_problem(calculator)
    if result == "batch":
        detail = f"A table of questions is sent: POST /v1/{calculator.name}/batch with JSON, CSV or Arrow."
        raise Problem("method-not-allowed", detail, headers={"Allow": "POST, OPTIONS"})
    if result == "log" and calculator.recording is not None:
        detail = f"A recording is sent: POST /v1/{calculator.name}/log with CSV, NDJSON, JSON or Arrow."
        raise Problem("method-not-allowed", detail, headers={"Allow": "POST, OPTIONS"})
    if result not in calculator.result_fields:
        meant = close_matches(result, calculator.result_fields)
        hint = (
            f"did you mean {join_with_or(meant)}?" if meant else f"it gives {join_with_or(calculator.result_fields)}."
        )
        raise Problem("unknown-result", f"{calculator.name} has no result {result[:80]!r}; {hint}")
    words, options, errors = read_query(VALUE_OPTIONS)
    tag = make_request_etag(negotiate_format(TEXT))
    kept = make_not_modified(tag)
    if kept is not None:
        return kept
    units = {result: options["unit"]} if options["unit"] else {}
    try:
        check_result_units(calculator, units)
    except ValueError as error:
        errors.append(InputError("/unit", str(error), options["unit"], "a unit of this result"))
        units = {}
    answer = _ask(calculator, words, errors, text=True, units=units)
    found = answer["results"][result]
    if found is None:
        reasons = [caution["text"] for caution in answer["cautions"] if result in caution.get("results", ())]
        raise Problem("no-answer", " ".join(reasons))
    shown = serializers.format_value(found, digits=options["digits"], decimal=options["decimal"])
    return make_response(shown, PLAIN_TEXT, tag)


def narrow_allow_header(response: Response) -> Response:
    """A table of questions, and a calculator that asks for a table, can be asked by POST alone: Allow says so."""
    if "Allow" not in response.headers or not request.path.startswith("/v1/"):
        return response
    if request.path.rstrip("/") == "/v1/units":
        response.headers["Allow"] = "GET, HEAD, OPTIONS"
        return response
    name, _, below = request.path.removeprefix("/v1/").partition("/")
    calculator, below = registry.load().get(name), below.rstrip("/")
    if calculator is not None and (below in ("batch", "log") or not fits_query(calculator)):
        known = below != "log" or calculator.recording is not None
        response.headers["Allow"] = "POST, OPTIONS" if known else "GET, HEAD, OPTIONS"
    return response


def _ask(
    calculator: Calculator[Any, Any],
    question: dict[str, Any],
    errors: list[InputError],
    *,
    text: bool,
    units: Mapping[str, str],
) -> dict[str, Any]:
    """Ask, and tell the faults of the question together with those of the options."""
    try:
        answer = calculate.compute_response(calculator, question, text=text, result_units=units)
    except calculate.InvalidInput as error:
        raise convert_invalid_input(error, errors) from None
    if errors:
        raise invalid_input(errors)
    return answer
