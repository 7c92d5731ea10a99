"""The routes of pages: the home page, one page for each calculator, the same in a frame, and the web component."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from flask import Blueprint, Response, render_template, request
from werkzeug.exceptions import HTTPException

from gramwatt.charts.calculator_charts import compute_chart
from gramwatt.charts.chart_data import NothingToDraw
from gramwatt.charts.formatting import sentence, sentence_case, unit_sign
from gramwatt.charts.render import render
from gramwatt.engine import calculate, registry
from gramwatt.engine.query_strings import find_query_example
from gramwatt.engine.serializers import serialize_json
from gramwatt.model import CATEGORIES, AnyCalculator
from gramwatt.model.messages import lower_first
from gramwatt.version import __version__
from gramwatt.web.chart_options import CHART_MEDIA_TYPES
from gramwatt.web.headers import make_cacheable, make_etag, make_not_modified, make_request_etag
from gramwatt.web.pages import form_reader, what_if
from gramwatt.web.pages.craft_form import describe_choosers, describe_fields, describe_names, describe_rows
from gramwatt.web.pages.description import describe_calculator
from gramwatt.web.pages.downloads import make_download
from gramwatt.web.pages.fragments import render_cached, unit_options
from gramwatt.web.pages.text import linked_text, marked_text, mathematical_text, readable_formula, readable_text
from gramwatt.web.pages.views import CalculatorView, make_view, page_chart_style, read_form
from gramwatt.web.pages.web_component import LATEST, script, versions
from gramwatt.web.problems import (
    Problem,
    convert_http_error,
    convert_invalid_input,
    get_public_url,
    invalid_input,
    respond_to_http_error,
    respond_to_problem,
)
from gramwatt.web.request_parsing import max_recording_bytes, negotiate_format, parse_accept
from gramwatt.web.responses import allow_inline_styles, find_calculator

PAGE_MEDIA_TYPES: Final = {"json": "application/json", "html": "text/html"}
POLICY: Final = (
    "default-src 'none'; base-uri 'none'; connect-src 'self'; form-action 'self'; img-src 'self' data:; "
    "script-src 'self'; style-src 'self'; frame-ancestors "
)
JAVASCRIPT: Final = "text/javascript; charset=utf-8"
IMMUTABLE: Final = "public, max-age=31536000, immutable"

blueprint = Blueprint("pages", __name__)
blueprint.add_app_template_global(describe_choosers)
blueprint.add_app_template_global(describe_fields)
blueprint.add_app_template_global(describe_names)
blueprint.add_app_template_global(describe_rows)
blueprint.add_app_template_global(unit_options)
blueprint.add_app_template_global(render_cached)
for text_filter in (
    *(linked_text, lower_first, marked_text, mathematical_text),
    *(readable_formula, readable_text, sentence, sentence_case, unit_sign),
):
    blueprint.add_app_template_filter(text_filter)


def render_page(template: str, *, framed: bool = False, **values: object) -> Response:
    """Return a page that loads nothing from elsewhere. ``framed``: any site may show it in a frame."""
    text = render_template(template, version=__version__, **values)
    return _set_policy(Response(text, content_type="text/html; charset=utf-8"), framed=framed)


def render_stable_page(template: str, make_values: Callable[[], Mapping[str, Any]]) -> Response:
    """Return a page that depends on its address alone, or a 304 where the client has it."""
    tag = _page_tag()
    return _page_not_modified(tag) or _revalidate(render_page(template, **make_values()), tag)


def _set_policy(response: Response, *, framed: bool) -> Response:
    response.headers["Content-Security-Policy"] = POLICY + ("*" if framed else "'self'")
    return response


def _revalidate(response: Response, tag: str) -> Response:
    """Let clients cache a page, and check each time whether it is still current."""
    response.headers["ETag"], response.headers["Cache-Control"] = f'"{tag}"', "no-cache"
    return response


def _page_tag() -> str:
    """Return the strong entity tag of a page. It covers the host, since snippets name it."""
    return make_etag(f"page {get_public_url()}", request.full_path)


def _page_not_modified(tag: str, *, framed: bool = False) -> Response | None:
    """Return a 304 where the client has the current page. It repeats the policy, as browsers take over its headers."""
    cached = make_not_modified(tag)
    return None if cached is None else _revalidate(_set_policy(cached, framed=framed), cached.get_etag()[0] or tag)


@blueprint.get("/calculators/<calculator_name>")
def calculator_page(calculator_name: str) -> Response:
    """Return a calculator's form and results as a page, or its description as JSON."""
    if negotiate_format(PAGE_MEDIA_TYPES) == "html":
        return _calculator_page(calculator_name, "calculator.html")
    calculator, tag = find_calculator(calculator_name), make_request_etag("json")
    body = serialize_json(dict(describe_calculator(calculator)))
    return make_not_modified(tag) or make_cacheable(Response(body, content_type="application/json"), tag)


@blueprint.post("/calculators/<calculator_name>")
def submit_calculator_form(calculator_name: str) -> Response:
    """Return the page for a form that no URL can hold, such as one with a recording."""
    return _submitted_page(calculator_name, "calculator.html")


@blueprint.get("/calculators/<calculator_name>/frame")
def calculator_frame(calculator_name: str) -> Response:
    """Return form and results alone, for a frame on another site."""
    return _calculator_page(calculator_name, "frame.html", framed=True)


@blueprint.post("/calculators/<calculator_name>/frame")
def submit_calculator_frame(calculator_name: str) -> Response:
    """Return the frame for a form that no URL can hold."""
    return _submitted_page(calculator_name, "frame.html", framed=True)


@blueprint.get("/calculators/<calculator_name>/chart")
def calculator_chart(calculator_name: str) -> Response:
    """Draw the results of a form in the URL. Unlike a query of /v1, it can hold rows of tables.

    With ``vary`` it draws the results over a range of one or two inputs.
    """
    calculator, tag = find_calculator(calculator_name), make_request_etag("svg")
    cached = make_not_modified(tag)
    if cached is not None:
        return allow_inline_styles(cached)
    form, _ = read_form(calculator)
    try:
        if any(varied.name for varied in form.varied):
            chart = what_if.draw(calculator, form, calculate.compute_response(calculator, form.inputs))
        else:
            chart = compute_chart(calculator, form.inputs, text=False, result_units=form.result_units, chart=form.chart)
    except calculate.InvalidInput as error:
        raise convert_invalid_input(error, form.errors) from None
    except NothingToDraw as error:
        raise Problem("no-result", str(error)) from None
    if form.errors:
        raise invalid_input(form.errors)
    svg = render(chart, "svg", page_chart_style(form.shape))
    return allow_inline_styles(make_cacheable(Response(svg, content_type=CHART_MEDIA_TYPES["svg"]), tag))


@blueprint.post("/calculators/<calculator_name>/download")
def download(calculator_name: str) -> Response:
    """Return the results for a form as a file, for inputs that no URL can hold."""
    calculator = find_calculator(calculator_name)
    _allow_large_form(calculator)
    kind = request.form.get("download", "json")
    form, _ = read_form(calculator)
    try:
        body, media_type, name = make_download(calculator, form, kind)
    except calculate.InvalidInput as error:
        raise convert_invalid_input(error, form.errors) from None
    except NothingToDraw as error:
        raise Problem("no-result", str(error)) from None
    if form.errors:
        raise invalid_input(form.errors)
    response = Response(body, content_type=media_type)
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    response.headers["Cache-Control"] = "no-store"
    return response


def _allow_large_form(calculator: AnyCalculator) -> None:
    """Accept as many fields as a form may have, and a recording if it holds one."""
    request.max_form_parts = form_reader.MAX_FIELDS + 10
    if calculator.takes_recordings:
        request.max_content_length = request.max_form_memory_size = max_recording_bytes()


def _calculator_page(calculator_name: str, template: str, *, framed: bool = False) -> Response:
    """Return the page of the inputs in the URL, or its results alone."""
    calculator, tag = find_calculator(calculator_name), _page_tag()
    cached = _page_not_modified(tag, framed=framed)
    return cached or _revalidate(_page_or_part(template, make_view(calculator), framed=framed), tag)


def _page_or_part(template: str, view: CalculatorView, *, framed: bool = False, **values: object) -> Response:
    """Return the page, or with ``part=results`` in the URL only what changes while people type."""
    is_part = request.args.get("part") == "results"
    return render_page("results.html" if is_part else template, framed=framed, view=view, page=template, **values)


def _submitted_page(calculator_name: str, template: str, *, framed: bool = False) -> Response:
    """Return the page of the inputs in the body. Only a form with a recording may be long."""
    calculator = find_calculator(calculator_name)
    _allow_large_form(calculator)
    response = _page_or_part(template, make_view(calculator), framed=framed)
    response.headers["Cache-Control"] = "no-store"
    return response


def home_page() -> Response:
    """Return the home page: a first calculator, and all calculators by category."""
    tag = _page_tag()
    cached = _page_not_modified(tag)
    if cached is not None:
        return cached
    categories = list_by_category()
    first = _find_first(categories[0][1])
    view, example = make_view(first, find_query_example), find_query_example(first)
    view.form.keep_only(example)
    return _revalidate(_page_or_part("home.html", view, categories=categories), tag)


def _find_first(calculators: Sequence[AnyCalculator]) -> AnyCalculator:
    """Return the calculator whose example fits an address with the fewest inputs: the quickest to understand."""
    examples = [(len(find_query_example(each)), each) for each in calculators]
    return min(examples, key=lambda pair: pair[0] or math.inf)[1]


def list_by_category() -> list[tuple[str, list[AnyCalculator]]]:
    """Return the calculators by the part of the work that they serve, each with its heading."""
    calculators = registry.load().values()
    return [
        (title, [calculator for calculator in calculators if calculator.category == category])
        for category, title in CATEGORIES.items()
    ]


def calculators_page() -> Response:
    """Return the page with all calculators."""
    return render_stable_page("calculators.html", lambda: {"categories": list_by_category()})


@blueprint.get("/gramwatt.js")
def latest_component() -> Response:
    """Return the latest web component. A page that must not change links to a version instead."""
    tag = make_request_etag("js")
    response = make_not_modified(tag) or make_cacheable(Response(script(LATEST), content_type=JAVASCRIPT), tag)
    response.headers["Link"] = f'</gramwatt-{LATEST}.js>; rel="alternate"'
    return response


@blueprint.get("/gramwatt-<version>.js")
def component_version(version: str) -> Response:
    """Return a version of the web component. It never changes."""
    if version not in versions():
        detail = f"There is no version {version[:20]!r} of the web component. Versions: {', '.join(versions())}."
        raise Problem("not-found", detail)
    response = Response(script(version), content_type=JAVASCRIPT)
    response.headers["Cache-Control"] = IMMUTABLE
    return response


@blueprint.app_errorhandler(404)
def show_not_found(error: HTTPException) -> Response:
    """Return a page where a browser finds nothing, and a problem to programs."""
    problem = convert_http_error(error)
    return respond_to_http_error(error) if problem is None else show_problem(problem)


@blueprint.errorhandler(Problem)
def show_problem(error: Problem) -> Response:
    """Return a problem as a page where the client prefers pages, beside the paths for programs."""
    if (
        request.path.startswith("/v1")
        or parse_accept().best_match(("application/problem+json", *PAGE_MEDIA_TYPES.values())) != "text/html"
    ):
        return respond_to_problem(error)
    response = render_page("error.html", problem=error, categories=list_by_category())
    response.status_code = error.type.status
    return response
