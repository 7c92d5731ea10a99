"""Routes of charts: the results of a calculator in the chart that it declares, or a sweep."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from flask import Blueprint, Response, request

from gramwatt.charts import calculator_charts, sweep_charts
from gramwatt.charts.chart_data import NothingToDraw
from gramwatt.charts.render import render
from gramwatt.charts.themes import AUTO, ChartStyle
from gramwatt.engine import calculate
from gramwatt.engine.query_strings import fits_query
from gramwatt.engine.tables import sweep
from gramwatt.model import Calculator
from gramwatt.model.messages import InputError, quote_input
from gramwatt.web.chart_options import CHART_MEDIA_TYPES, CHART_OPTIONS
from gramwatt.web.headers import make_cacheable, make_not_modified, make_request_etag
from gramwatt.web.problems import Problem, convert_invalid_input, invalid_input
from gramwatt.web.request_parsing import (
    check_no_query_inputs,
    negotiate_format,
    parse_result_units,
    read_json_body,
    read_query,
)
from gramwatt.web.responses import allow_inline_styles, find_calculator, make_post_only_problem
from gramwatt.web.sweep_axes import AXIS_NAMES, parse_query_axes, parse_sweep_body
from gramwatt.web.table_options import make_table_plan

blueprint = Blueprint("charts", __name__, url_prefix="/v1")


@blueprint.get("/<calculator_name>/chart")
def chart_from_query(calculator_name: str) -> Response:
    """Draw the results for the inputs in the query, or the sweep if there is a ``vary``."""
    calculator = find_calculator(calculator_name)
    if not fits_query(calculator):
        raise make_post_only_problem(calculator)
    inputs, options, errors = read_query(CHART_OPTIONS, repeated=AXIS_NAMES)
    format_name = negotiate_format(CHART_MEDIA_TYPES, options["format"] if not errors else None)
    tag = make_request_etag(format_name)
    response = make_not_modified(tag)
    if response is None:
        is_sweep = any(name in request.args for name in AXIS_NAMES)
        axes = parse_query_axes(calculator, inputs, errors) if is_sweep else []
        response = make_cacheable(_draw(calculator, inputs, axes, options, errors, format_name, text=True), tag)
    return allow_inline_styles(response) if options["theme"] == AUTO else response


@blueprint.post("/<calculator_name>/chart")
def chart_from_body(calculator_name: str) -> Response:
    """Draw the results for the inputs in the body, or the sweep if the body has ``given`` and ``vary``."""
    calculator = find_calculator(calculator_name)
    query_inputs, options, errors = read_query(CHART_OPTIONS)
    format_name = negotiate_format(CHART_MEDIA_TYPES, options["format"] if not errors else None)
    errors += check_no_query_inputs(query_inputs, CHART_OPTIONS)
    body = read_json_body(calculator)
    inputs: Mapping[str, object] = body
    axes: list[sweep.Axis] = []
    if "vary" in body:
        inputs, axes = parse_sweep_body(calculator, body, errors)
    response = _draw(calculator, inputs, axes, options, errors, format_name, text=False)
    response.headers["Cache-Control"] = "no-store"
    return allow_inline_styles(response) if options["theme"] == AUTO else response


def _draw(
    calculator: Calculator[Any, Any],
    inputs: Mapping[str, object],
    axes: Sequence[sweep.Axis],
    options: Mapping[str, Any],
    errors: list[InputError],
    format_name: str,
    *,
    text: bool,
) -> Response:
    units = parse_result_units(options["units"], errors)
    try:
        if axes or errors:
            if axes and options["chart"]:
                detail = "chart selects a chart of the results, and this is a sweep"
                errors.append(InputError("/chart", detail, quote_input(options["chart"]), "no chart"))
            shown = _choose_shown_results(calculator, inputs, axes, options, errors, text=text)
            chart = sweep_charts.compute_chart(calculator, inputs, axes, shown, text=text, result_units=units)
        elif options["show"]:
            detail = "show selects results of a sweep, and this chart is not one"
            accepted = "vary=..., or no show: the calculator declares the chart of its results"
            raise invalid_input([InputError("/show", detail, quote_input(options["show"]), accepted)])
        else:
            chart = calculator_charts.compute_chart(
                calculator, inputs, text=text, result_units=units, chart=options["chart"]
            )
    except calculate.InvalidInput as error:
        raise convert_invalid_input(error) from None
    except NothingToDraw as error:
        raise Problem("no-result", str(error)) from None
    look = ChartStyle(options["theme"], options["shape"], options["ground"], options["scale"], bool(options["title"]))
    content_type = CHART_MEDIA_TYPES[format_name] + ("; charset=utf-8" if format_name == "txt" else "")
    return Response(render(chart, format_name, look), content_type=content_type)


def _choose_shown_results(
    calculator: Calculator[Any, Any],
    inputs: Mapping[str, object],
    axes: Sequence[sweep.Axis],
    options: Mapping[str, Any],
    errors: list[InputError],
    *,
    text: bool,
) -> list[str]:
    """Return the results to draw. Raises Problem with all errors of the sweep."""
    only_results = {**options, "given": False, "uncertainty": False}
    make_table_plan(calculator, inputs, only_results, errors, text=text, own=[axis.name for axis in axes])
    errors += sweep_charts.check_axes(calculator, axes)
    shown = sweep_charts.select_results(calculator, options["show"], errors, len(axes))
    if errors or not axes:
        raise invalid_input(errors)
    return shown
