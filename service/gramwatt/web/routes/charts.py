"""The routes of pictures: of an answer, as its calculator declares it, and of a sweep."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from flask import Blueprint, Response, request

from gramwatt.charts import calculator_charts, sweep_charts
from gramwatt.charts.chart_data import NothingToDraw
from gramwatt.charts.render import render
from gramwatt.charts.themes import AUTO, Look
from gramwatt.engine import calculate
from gramwatt.engine.columns import escape_name
from gramwatt.engine.messages import InputError, join_with_or, quote_input
from gramwatt.engine.query_strings import fits_query
from gramwatt.engine.tables import sweep
from gramwatt.model import Calculator
from gramwatt.web.chart_options import CHART_OPTIONS, MEDIA
from gramwatt.web.headers import cacheable, etag, not_modified
from gramwatt.web.problems import Problem, invalid, refused
from gramwatt.web.request_parsing import preferred, read_body, read_query, result_units
from gramwatt.web.responses import find, post_only, styled
from gramwatt.web.routes.tables import AXIS_NAMES, axes_of_query, sweep_of_body
from gramwatt.web.table_options import plan_of

blueprint = Blueprint("charts", __name__, url_prefix="/v1")


@blueprint.get("/<calculator_name>/chart")
def chart_query(calculator_name: str) -> Response:
    """Draw the answer to the question in the query; with ``vary``, the sweep."""
    calculator = find(calculator_name)
    if not fits_query(calculator):
        raise post_only(calculator)
    words, options, errors = read_query(CHART_OPTIONS, repeated=AXIS_NAMES)
    form = preferred(MEDIA, options["format"] if not errors else None)
    tag = etag(form)
    kept = not_modified(tag)
    if kept is None:
        axes = axes_of_query(calculator, words, errors) if _varies() else []
        kept = cacheable(_drawn(calculator, words, axes, options, errors, form, text=True), tag)
    return styled(kept) if options["theme"] == AUTO else kept


@blueprint.post("/<calculator_name>/chart")
def chart_body(calculator_name: str) -> Response:
    """Draw the answer to the question in the body, or the sweep that its ``given`` and ``vary`` tell."""
    calculator = find(calculator_name)
    words, options, errors = read_query(CHART_OPTIONS)
    form = preferred(MEDIA, options["format"] if not errors else None)
    errors += [
        InputError(
            f"/{escape_name(name)}",
            "inputs stand in the body of a POST",
            quote_input(word),
            join_with_or(CHART_OPTIONS),
        )
        for name, word in words.items()
    ]
    body: dict[str, Any] = read_body(calculator)
    question: Mapping[str, object] = body
    axes: list[sweep.Axis] = []
    if "vary" in body:
        question, axes = sweep_of_body(calculator, body, errors)
    response = _drawn(calculator, question, axes, options, errors, form, text=False)
    response.headers["Cache-Control"] = "no-store"
    return styled(response) if options["theme"] == AUTO else response


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
    wished = result_units(options["units"], errors)
    try:
        if axes or errors:
            show = _sweep_faults(calculator, question, axes, options, errors, text=text)
            seen = sweep_charts.make_figure(calculator, question, axes, show, text=text, result_units=wished)
        elif options["show"]:
            accepted = "vary=..., or no show: the picture of an answer is its calculator's own"
            raise invalid(
                [InputError("/show", "results are chosen for a sweep alone", quote_input(options["show"]), accepted)]
            )
        else:
            seen = calculator_charts.chart_of(calculator, question, text=text, result_units=wished)
    except calculate.InvalidInput as error:
        raise refused(error) from None
    except NothingToDraw as nothing:
        raise Problem("no-answer", str(nothing)) from None
    look = Look(options["theme"], options["shape"], options["ground"], options["scale"], bool(options["title"]))
    media = MEDIA[form] + ("; charset=utf-8" if form == "txt" else "")
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
    plan_of(calculator, question, {**options, "given": False, "uncertainty": False}, errors, words=text)
    errors += sweep_charts.check(calculator, axes)
    show = sweep_charts.shown(calculator, options["show"], errors, len(axes))
    if errors or not axes:
        raise invalid(errors)
    return show
