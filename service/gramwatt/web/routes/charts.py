"""The routes of pictures: of an answer, as its calculator declares it, and of a sweep."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from flask import Blueprint, Response, request

from gramwatt.charts import calculator_charts, sweep_charts
from gramwatt.charts.chart_data import NothingToDraw
from gramwatt.charts.render import render
from gramwatt.charts.themes import AUTO, GROUNDS, LARGEST_SCALE, SHAPES, THEMES, Look
from gramwatt.engine import calculate
from gramwatt.engine.columns import escape_name
from gramwatt.engine.messages import InputError, join_with_or, quote_input
from gramwatt.engine.query_strings import fits_query
from gramwatt.engine.tables import sweep
from gramwatt.model import Calculator, Choice, Count, Flag, Kind, Text
from gramwatt.web.headers import cacheable, etag, not_modified
from gramwatt.web.problems import Problem, invalid, refused
from gramwatt.web.request_parsing import ANSWER_OPTIONS, preferred, read_body, read_query, result_units
from gramwatt.web.routes.calculators import find, post_only
from gramwatt.web.routes.tables import AXIS_NAMES, axes_of_query, sweep_of_body
from gramwatt.web.table_options import plan_of

MEDIA: Final[Mapping[str, str]] = {"svg": "image/svg+xml", "png": "image/png", "txt": "text/plain"}
CHART_OPTIONS: Final[Mapping[str, Kind]] = {
    "units": ANSWER_OPTIONS["units"],
    "format": Choice(
        tuple(MEDIA),
        "The format, instead of an Accept header; txt is what the picture shows, in words.",
        optional=True,
    ),
    "theme": Choice(
        (*THEMES, AUTO),
        "Dark ink on light paper, or the reverse; auto, of SVG, is what the reader's own settings prefer.",
        default="light",
    ),
    "shape": Choice(tuple(SHAPES), "For a page, or for a phone's screen.", default="wide"),
    "ground": Choice(GROUNDS, "Whether the paper is drawn; without it whatever lies below shows.", default="paper"),
    "scale": Count("Of PNG: pixels, times as many each way.", at_least=1, at_most=LARGEST_SCALE, default=1),
    "show": Text(
        "Of a sweep: the results drawn, separated by commas; the headline unless said.", longest=200, optional=True
    ),
    "title": Flag("Whether title and inputs stand in the picture.", default=True),
}

STYLED: Final = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors *"
"""The policy of an SVG with a style sheet in it, which takes effect where the SVG is opened by itself."""

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


def styled(response: Response) -> Response:
    """Let an SVG have its style sheet; a browser takes the policy of a 304 too."""
    response.headers["Content-Security-Policy"] = STYLED
    return response


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
