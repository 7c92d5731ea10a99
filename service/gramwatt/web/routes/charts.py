"""The routes of pictures: of an answer, as its calculator declares it, and of a sweep."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from flask import Blueprint, Response, request

from gramwatt.charts import calculator_charts, sweep_charts
from gramwatt.charts.chart_data import NothingToDraw
from gramwatt.charts.render import render
from gramwatt.charts.themes import AUTO, ChartStyle
from gramwatt.engine import calculate
from gramwatt.engine.columns import escape_name
from gramwatt.engine.query_strings import fits_query
from gramwatt.engine.tables import sweep
from gramwatt.model import Calculator
from gramwatt.model.messages import InputError, join_with_or, quote_input
from gramwatt.web.chart_options import CHART_MEDIA_TYPES, CHART_OPTIONS
from gramwatt.web.headers import make_cacheable, make_not_modified, make_request_etag
from gramwatt.web.problems import Problem, convert_invalid_input, invalid_input
from gramwatt.web.request_parsing import negotiate_format, parse_result_units, read_json_body, read_query
from gramwatt.web.responses import allow_inline_styles, find_calculator, make_post_only_problem
from gramwatt.web.routes.tables import AXIS_NAMES, parse_query_axes, parse_sweep_body
from gramwatt.web.table_options import make_table_plan

blueprint = Blueprint("charts", __name__, url_prefix="/v1")


@blueprint.get("/<calculator_name>/chart")
def chart_from_query(calculator_name: str) -> Response:
    """Draw the answer to the question in the query; with ``vary``, the sweep."""
    calculator = find_calculator(calculator_name)
    if not fits_query(calculator):
        raise make_post_only_problem(calculator)
    words, options, errors = read_query(CHART_OPTIONS, repeated=AXIS_NAMES)
    form = negotiate_format(CHART_MEDIA_TYPES, options["format"] if not errors else None)
    tag = make_request_etag(form)
    kept = make_not_modified(tag)
    if kept is None:
        axes = parse_query_axes(calculator, words, errors) if _varies() else []
        kept = make_cacheable(_drawn(calculator, words, axes, options, errors, form, text=True), tag)
    return allow_inline_styles(kept) if options["theme"] == AUTO else kept


@blueprint.post("/<calculator_name>/chart")
def chart_from_body(calculator_name: str) -> Response:
    """Draw the answer to the question in the body, or the sweep that its ``given`` and ``vary`` tell."""
    calculator = find_calculator(calculator_name)
    words, options, errors = read_query(CHART_OPTIONS)
    form = negotiate_format(CHART_MEDIA_TYPES, options["format"] if not errors else None)
    errors += [
        InputError(
            f"/{escape_name(name)}",
            "inputs stand in the body of a POST",
            quote_input(word),
            join_with_or(CHART_OPTIONS),
        )
        for name, word in words.items()
    ]
    body: dict[str, Any] = read_json_body(calculator)
    question: Mapping[str, object] = body
    axes: list[sweep.Axis] = []
    if "vary" in body:
        question, axes = parse_sweep_body(calculator, body, errors)
    response = _drawn(calculator, question, axes, options, errors, form, text=False)
    response.headers["Cache-Control"] = "no-store"
    return allow_inline_styles(response) if options["theme"] == AUTO else response


def _varies() -> bool:
    return any(name in request.args for name in AXIS_NAMES)


def _drawn(
    calculator: Calculator[Any, Any],
    question: Mapping[str, object],
    axes: Sequence[sweep.Axis],
    options: Mapping[str, Any],
    errors: list[InputError],
    form: str,
    *,
    text: bool,
) -> Response:
    wished = parse_result_units(options["units"], errors)
    try:
        if axes or errors:
            show = _sweep_faults(calculator, question, axes, options, errors, text=text)
            seen = sweep_charts.compute_chart(calculator, question, axes, show, text=text, result_units=wished)
        elif options["show"]:
            accepted = "vary=..., or no show: the picture of an answer is its calculator's own"
            raise invalid_input(
                [InputError("/show", "results are chosen for a sweep alone", quote_input(options["show"]), accepted)]
            )
        else:
            seen = calculator_charts.compute_chart(calculator, question, text=text, result_units=wished)
    except calculate.InvalidInput as error:
        raise convert_invalid_input(error) from None
    except NothingToDraw as nothing:
        raise Problem("no-answer", str(nothing)) from None
    look = ChartStyle(options["theme"], options["shape"], options["ground"], options["scale"], bool(options["title"]))
    media = CHART_MEDIA_TYPES[form] + ("; charset=utf-8" if form == "txt" else "")
    return Response(render(seen, form, look), content_type=media)


def _sweep_faults(
    calculator: Calculator[Any, Any],
    question: Mapping[str, object],
    axes: Sequence[sweep.Axis],
    options: Mapping[str, Any],
    errors: list[InputError],
    *,
    text: bool,
) -> list[str]:
    """The results to show. Raises Problem with every fault of a sweep that is to be drawn."""
    make_table_plan(calculator, question, {**options, "given": False, "uncertainty": False}, errors, words=text)
    errors += sweep_charts.check_axes(calculator, axes)
    show = sweep_charts.select_results(calculator, options["show"], errors, len(axes))
    if errors or not axes:
        raise invalid_input(errors)
    return show
