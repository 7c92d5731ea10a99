"""The pages: the first one, one for each calculator, the same for a frame on another site, and the element's script."""

from __future__ import annotations

from typing import Final

from flask import Blueprint, Response, render_template, request

from gramwatt.charts.calculator_charts import chart_of
from gramwatt.charts.chart_data import NothingToDraw
from gramwatt.charts.render import render
from gramwatt.engine import calculate, registry
from gramwatt.engine.query_strings import find_query_example
from gramwatt.engine.serializers import serialize_json
from gramwatt.model import CATEGORIES
from gramwatt.version import __version__
from gramwatt.web.chart_options import CHART_MEDIA_TYPES
from gramwatt.web.headers import make_cacheable, make_etag, make_not_modified, make_request_etag
from gramwatt.web.pages import form_reader
from gramwatt.web.pages.description import described, takes_files
from gramwatt.web.pages.element import NEWEST, script, versions
from gramwatt.web.pages.fragments import render_once, unit_options
from gramwatt.web.pages.views import View, look_on_page, read_form, repeated, view_of
from gramwatt.web.problems import Problem, convert_invalid_input, invalid_input, respond_to_problem
from gramwatt.web.request_parsing import max_recording_bytes, negotiate_format, parse_accept
from gramwatt.web.responses import allow_inline_styles, find_calculator

PAGES: Final = {"json": "application/json", "html": "text/html"}
POLICY: Final = (
    "default-src 'none'; base-uri 'none'; connect-src 'self'; form-action 'self'; img-src 'self' data:; "
    "script-src 'self'; style-src 'self'; frame-ancestors "
)
JAVASCRIPT: Final = "text/javascript; charset=utf-8"
FOREVER: Final = "public, max-age=31536000, immutable"

blueprint = Blueprint("pages", __name__)
blueprint.add_app_template_global(unit_options)
blueprint.add_app_template_global(render_once)


def page(template: str, *, framed: bool = False, **values: object) -> Response:
    """A page, with a policy that lets it load nothing from elsewhere; ``framed`` by anybody."""
    text = render_template(template, version=__version__, **values)
    return _guarded(Response(text, content_type="text/html; charset=utf-8"), framed=framed)


def _guarded(made: Response, *, framed: bool) -> Response:
    made.headers["Content-Security-Policy"] = POLICY + ("*" if framed else "'self'")
    return made


def _fresh(made: Response, tag: str) -> Response:
    """A page that is asked for again each time, and not sent again where it is the same."""
    made.headers["ETag"], made.headers["Cache-Control"] = f'"{tag}"', "no-cache"
    return made


def _tag() -> str:
    """The strong tag of a page. It holds this service's own address, in code to copy, so that is part of the tag."""
    return make_etag(f"page {request.host_url}", request.full_path)


def _unchanged(tag: str, *, framed: bool = False) -> Response | None:
    if request.if_none_match.contains_weak(tag):
        return _fresh(_guarded(Response(status=304), framed=framed), tag)  # a browser takes the policy of the 304
    return None


@blueprint.get("/calculators/<calculator_name>")
def calculator_page(calculator_name: str) -> Response:
    """A calculator's form with the answer to what it says; for programs its description."""
    if negotiate_format(PAGES) == "html":
        return _asked(calculator_name, "calculator.html")
    calculator, tag = find_calculator(calculator_name), make_request_etag("json")
    made = Response(serialize_json(dict(described(calculator))), content_type="application/json")
    return make_not_modified(tag) or make_cacheable(made, tag)


@blueprint.post("/calculators/<calculator_name>")
def calculator_form(calculator_name: str) -> Response:
    """The same for a form with a recording, which fits no address."""
    return _sent(calculator_name, "calculator.html")


@blueprint.get("/calculators/<calculator_name>/frame")
def calculator_frame(calculator_name: str) -> Response:
    """Form and answer alone, for a frame on another site that runs no scripts."""
    return _asked(calculator_name, "frame.html", framed=True)


@blueprint.post("/calculators/<calculator_name>/frame")
def calculator_frame_form(calculator_name: str) -> Response:
    """The same for a form with a recording."""
    return _sent(calculator_name, "frame.html", framed=True)


@blueprint.get("/calculators/<calculator_name>/chart")
def calculator_chart(calculator_name: str) -> Response:
    """Draw the answer to a form in the address, rows of tables included, which no query of /v1 holds."""
    calculator, tag = find_calculator(calculator_name), make_request_etag("svg")
    kept = make_not_modified(tag)
    if kept is not None:
        return allow_inline_styles(kept)
    form, _ = read_form(calculator)
    errors = [*form.errors, *repeated()]
    try:
        sheet = chart_of(calculator, form.question, text=False, result_units=form.result_units)
    except calculate.InvalidInput as error:
        raise convert_invalid_input(error, errors) from None
    except NothingToDraw as nothing:
        raise Problem("no-answer", str(nothing)) from None
    if errors:
        raise invalid_input(errors)
    made = Response(render(sheet, "svg", look_on_page(form.shape)), content_type=CHART_MEDIA_TYPES["svg"])
    return allow_inline_styles(make_cacheable(made, tag))


def _asked(calculator_name: str, template: str, *, framed: bool = False) -> Response:
    """The page of a question in the address, or its answer alone."""
    calculator, tag = find_calculator(calculator_name), _tag()
    kept = _unchanged(tag, framed=framed)
    return kept or _fresh(_whole_or_part(template, view_of(calculator), framed=framed), tag)


def _whole_or_part(template: str, view: View, *, framed: bool = False, **values: object) -> Response:
    """The page, or with ``part=answer`` in the address only what changes while one types."""
    part = request.args.get("part") == "answer"
    return page("answer.html" if part else template, framed=framed, view=view, page=template, **values)


def _sent(calculator_name: str, template: str, *, framed: bool = False) -> Response:
    """The page of a question in a form, which may be long where it holds a recording, and only there."""
    calculator = find_calculator(calculator_name)
    request.max_form_parts = form_reader.MOST_FIELDS + 10
    if takes_files(calculator):
        request.max_content_length = request.max_form_memory_size = max_recording_bytes()
    made = _whole_or_part(template, view_of(calculator), framed=framed)
    made.headers["Cache-Control"] = "no-store"
    return made


def first_page() -> Response:
    """What this is, a first answer, and the calculators by the part of the work that they serve."""
    tag = _tag()
    kept = _unchanged(tag)
    if kept is not None:
        return kept
    known = registry.load()
    jobs = [
        (title, [calculator for calculator in known.values() if calculator.category == job])
        for job, title in CATEGORIES.items()
    ]
    first = jobs[0][1][0]
    view, example = view_of(first, find_query_example), find_query_example(first)
    view.shown.first = [each for each in (*view.shown.first, *view.shown.more) if each.key in example]
    return _fresh(_whole_or_part("home.html", view, jobs=jobs), tag)


@blueprint.get("/gramwatt.js")
def element() -> Response:
    """The newest element; a page that wants no surprises takes one by its version."""
    tag = make_request_etag("js")
    made = make_not_modified(tag) or make_cacheable(Response(script(NEWEST), content_type=JAVASCRIPT), tag)
    made.headers["Link"] = f'</gramwatt-{NEWEST}.js>; rel="alternate"'
    return made


@blueprint.get("/gramwatt-<version>.js")
def element_of_version(version: str) -> Response:
    """The element of a version: this never changes."""
    if version not in versions():
        detail = f"There is no version {version[:20]!r} of the element; there is {', '.join(versions())}."
        raise Problem("not-found", detail)
    made = Response(script(version), content_type=JAVASCRIPT)
    made.headers["Cache-Control"] = FOREVER
    return made


@blueprint.errorhandler(Problem)
def problem(error: Problem) -> Response:
    """A problem as a page, where a page was asked for."""
    if parse_accept().best_match(("application/problem+json", *PAGES.values())) != PAGES["html"]:
        return respond_to_problem(error)
    made = page("refused.html", problem=error, known=registry.load().values())
    made.status_code = error.told.status
    return made
