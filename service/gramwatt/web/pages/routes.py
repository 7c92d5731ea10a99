"""The pages: the first one, one for each calculator, the same for a frame on another site, and the element's script."""

from __future__ import annotations

import base64
import functools
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlencode

from flask import Blueprint, Response, render_template, request
from markupsafe import Markup

from gramwatt import registry
from gramwatt.charts.themes import SHAPES, Look
from gramwatt.declare import JOBS, Calculator
from gramwatt.edge import ask
from gramwatt.edge.figures import json_bytes
from gramwatt.edge.queries import first_queried
from gramwatt.edge.wording import Fault, echo
from gramwatt.version import __version__
from gramwatt.web.asking import largest_recording, preferred
from gramwatt.web.calculators import find
from gramwatt.web.headers import cacheable, etag, not_modified, tag_of
from gramwatt.web.pages import reading
from gramwatt.web.pages.description import described, first_example, takes_files
from gramwatt.web.pages.fields import Shown, fields
from gramwatt.web.pages.snippets import Snippet, snippets
from gramwatt.web.pages.told import Told, told
from gramwatt.web.problems import Problem, respond

PAGES: Final = {"json": "application/json", "html": "text/html"}
POLICY: Final = (
    "default-src 'none'; base-uri 'none'; connect-src 'self'; form-action 'self'; img-src 'self' data:; "
    "script-src 'self'; style-src 'self'; frame-ancestors "
)
ELEMENT: Final = Path(__file__).resolve().parent.parent / "element"
NEWEST: Final = "1.0"
JAVASCRIPT: Final = "text/javascript; charset=utf-8"
FOREVER: Final = "public, max-age=31536000, immutable"

blueprint = Blueprint("pages", __name__)


@dataclass(slots=True)
class View:
    """Everything that the template of a calculator shows."""

    calculator: Calculator[Any, Any]
    form: reading.Form
    shown: Shown
    told: Told | None
    wide: Markup | None = None
    narrow: Markup | None = None
    in_words: str = ""
    chart: str = ""
    csv: str = ""
    example: bool = False
    by_post: bool = False
    snippets: tuple[Snippet, ...] = ()
    about: Mapping[str, Any] | None = None


def page(template: str, *, framed: bool = False, **values: object) -> Response:
    """A page, with a policy that lets it load nothing from elsewhere; ``framed`` by anybody."""
    text = render_template(template, version=__version__, **values)
    return _guarded(Response(text, content_type="text/html; charset=utf-8"), framed=framed)


def _guarded(made: Response, *, framed: bool) -> Response:
    made.headers["Content-Security-Policy"] = POLICY + ("*" if framed else "'self'")
    return made


def _fresh(made: Response, tag: str) -> Response:
    """A page that is asked for again each time, and not sent again where it is the same."""
    made.headers["ETag"], made.headers["Cache-Control"] = f'W/"{tag}"', "no-cache"
    return made


def _tag() -> str:
    """The tag of a page: it holds this service's own address, in code to copy, so that is part of it."""
    return tag_of(f"page {request.host_url}", request.full_path)


def _unchanged(tag: str, *, framed: bool = False) -> Response | None:
    if request.if_none_match.contains_weak(tag):
        return _fresh(_guarded(Response(status=304), framed=framed), tag)  # a browser takes the policy of the 304
    return None


@blueprint.get("/calculators/<calculator_name>")
def calculator_page(calculator_name: str) -> Response:
    """A calculator's form with the answer to what it says; for programs its description."""
    if preferred(PAGES) == "html":
        return _asked(calculator_name, "calculator.html")
    calculator, tag = find(calculator_name), etag("json")
    made = Response(json_bytes(dict(described(calculator))), content_type="application/json")
    return not_modified(tag) or cacheable(made, tag)


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


def _asked(calculator_name: str, template: str, *, framed: bool = False) -> Response:
    """The page of a question in the address."""
    calculator, tag = find(calculator_name), _tag()
    return _unchanged(tag, framed=framed) or _fresh(page(template, framed=framed, view=_view(calculator)), tag)


def _sent(calculator_name: str, template: str, *, framed: bool = False) -> Response:
    """The page of a question in a form, which may be long where it holds a recording, and only there."""
    calculator = find(calculator_name)
    request.max_form_parts = reading.MOST_FIELDS + 10
    if takes_files(calculator):
        request.max_content_length = request.max_form_memory_size = largest_recording()
    made = page(template, framed=framed, view=_view(calculator))
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
        (title, [calculator for calculator in known.values() if calculator.job == job]) for job, title in JOBS.items()
    ]
    first = jobs[0][1][0]
    example = first_queried(first)
    view = _view(first, example)
    view.shown.first = [each for each in (*view.shown.first, *view.shown.more) if each.key in example]
    return _fresh(page("home.html", view=view, jobs=jobs), tag)


def _view(calculator: Calculator[Any, Any], example: Mapping[str, Any] | None = None) -> View:
    form = reading.read(calculator, request.values, request.files)
    shows_example = not form.said
    if shows_example:
        given = first_example(calculator).given if example is None else example
        wished = form.result_units
        form = reading.shown(calculator, given, form.decimal)
        form.result_units = wished
    view = View(calculator, form, Shown(), None, example=shows_example, by_post=takes_files(calculator))
    view.about = described(calculator)
    faults: list[Fault] = [*form.faults, *_repeated()]
    answer: dict[str, Any] | None = None
    outcome = None
    try:
        outcome = ask.answered(calculator, form.question, result_units=form.result_units)
    except ask.Refused as refused:
        named = {fault.pointer for fault in faults}
        faults += [fault for fault in refused.faults if fault.pointer not in named]
    if outcome is not None and not faults:
        view.told, answer = told(outcome, form.result_units, form.decimal)
        _draw(view, outcome, answer)
        _link(view)
    view.shown = fields(calculator, form, answer, faults)
    return view


def _repeated() -> list[Fault]:
    """Names that stand more than once in the address, with values that differ."""
    return [
        Fault(f"/{name[:80]}", f"given {len(values)} times", echo(", ".join(values)), "each name once")
        for name, values in request.args.lists()
        if len(set(values)) > 1
    ]


def _draw(view: View, outcome: Any, answer: Mapping[str, Any]) -> None:
    from gramwatt.charts import declared, draw  # matplotlib takes half a second, which only a picture needs

    asked = declared.Asked(view.calculator, view.form.question, False, outcome, dict(answer))
    sheet = declared.sheet(asked)
    if sheet is None:
        return
    view.in_words = sheet.told
    looks = {shape: Look(shape=shape, ground="clear", titled=False) for shape in SHAPES}
    view.wide, view.narrow = (
        Markup(draw.as_svg(sheet, look, variables=True).decode())  # noqa: S704 - written by ElementTree, texts escaped
        for look in looks.values()
    )


def _link(view: View) -> None:
    """Addresses that ask the same again."""
    calculator, form = view.calculator, view.form
    base = request.host_url.rstrip("/")
    frame = f"{base}/calculators/{calculator.name}/frame"
    if not view.by_post:
        frame += f"?{urlencode(reading.query_of(form))}"
    element = f"{base}/gramwatt-{NEWEST}.js", integrity(NEWEST)
    made = snippets(calculator, form.question, base, frame, element, form.result_units)
    view.snippets = tuple(made.pieces)
    if made.query is not None:
        view.chart, view.csv = (
            f"/v1/{calculator.name}/chart?{made.query}",
            f"/v1/{calculator.name}?{made.query}&format=csv",
        )


@blueprint.get("/gramwatt.js")
def element() -> Response:
    """The newest element; a page that wants no surprises takes one by its version."""
    tag = etag("js")
    made = not_modified(tag) or cacheable(Response(_script(NEWEST), content_type=JAVASCRIPT), tag)
    made.headers["Link"] = f'</gramwatt-{NEWEST}.js>; rel="alternate"'
    return made


@blueprint.get("/gramwatt-<version>.js")
def element_of_version(version: str) -> Response:
    """The element of a version: this never changes."""
    if version not in versions():
        detail = f"There is no version {version[:20]!r} of the element; there is {', '.join(versions())}."
        raise Problem("not-found", detail)
    made = Response(_script(version), content_type=JAVASCRIPT)
    made.headers["Cache-Control"] = FOREVER
    return made


@functools.cache
def versions() -> tuple[str, ...]:
    """The versions of the element, oldest first."""
    found = [path.stem for path in ELEMENT.glob("*.js")]
    return tuple(sorted(found, key=lambda each: tuple(map(int, each.split(".")))))


@functools.cache
def _script(version: str) -> bytes:
    return (ELEMENT / f"{version}.js").read_bytes()


@functools.cache
def integrity(version: str) -> str:
    """The digest by which a page makes sure that it runs this very script (Subresource Integrity)."""
    return "sha384-" + base64.b64encode(hashlib.sha384(_script(version)).digest()).decode()


@blueprint.errorhandler(Problem)
def problem(error: Problem) -> Response:
    """A problem as a page, where a page was asked for."""
    if request.accept_mimetypes.best_match(("application/problem+json", *PAGES.values())) != PAGES["html"]:
        return respond(error)
    made = page("refused.html", problem=error, known=registry.load().values())
    made.status_code = error.told.status
    return made
