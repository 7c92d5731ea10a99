"""What the template of a calculator's page shows: its form, the answer, the chart's addresses, code to copy."""

from __future__ import annotations

import base64
import functools
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final, TypeAlias
from urllib.parse import urlencode

from flask import request

from gramwatt.charts.calculator_charts import ChartRequest, make_figure
from gramwatt.charts.chart_data import ChartData
from gramwatt.charts.preview import preview
from gramwatt.charts.render import can_draw, render
from gramwatt.charts.sizes import pixels
from gramwatt.charts.themes import AUTO, Look
from gramwatt.engine import calculate
from gramwatt.engine.messages import InputError, quote_input
from gramwatt.model import Calculator
from gramwatt.web.middleware.rate_limit import MAX_URL_LENGTH
from gramwatt.web.pages import form_reader
from gramwatt.web.pages.answer_view import AnswerView, make_answer_view
from gramwatt.web.pages.description import described, first_example, takes_files
from gramwatt.web.pages.element import NEWEST, integrity
from gramwatt.web.pages.fields import Shown, fields
from gramwatt.web.pages.snippets import Snippet, holds_recording, snippets

WIDE, NARROW = "wide", "narrow"
ON_A_PAGE: Final = f"theme={AUTO}&ground=clear&title=false"
"""The options of a chart whose title and paper are the page's own."""


@dataclass(frozen=True, slots=True)
class Source:
    """One shape of a chart: its address, its width and height in CSS pixels."""

    url: str
    width: int
    height: int


@dataclass(frozen=True, slots=True)
class Picture:
    """A chart as a page embeds it."""

    words: str
    wide: Source
    narrow: Source | None = None


@dataclass(slots=True)
class View:
    """Everything that the template of a calculator shows."""

    calculator: Calculator[Any, Any]
    form: form_reader.FormData
    shown: Shown
    answer_view: AnswerView | None = None
    picture: Picture | None = None
    can_draw: bool = True
    chart: str = ""
    csv: str = ""
    example: bool = False
    by_post: bool = False
    snippets: tuple[Snippet, ...] = ()
    about: Mapping[str, Any] | None = None


def inputs_of_example(calculator: Calculator[Any, Any]) -> Mapping[str, Any]:
    """Return the inputs that a calculator's page begins with."""
    return first_example(calculator).given


Example: TypeAlias = Callable[[Calculator[Any, Any]], Mapping[str, Any]]


def read_form(
    calculator: Calculator[Any, Any], example: Example = inputs_of_example
) -> tuple[form_reader.FormData, bool]:
    """Read the form of a request. Return it, or an example where nothing was filled in, and whether it is one."""
    form = form_reader.read(calculator, request.values, request.files)
    if form.said:
        return form, False
    shown = _form_of_example(calculator, example, form.decimal)
    return replace(shown, result_units=form.result_units, shape=form.shape), True


@functools.cache
def _form_of_example(calculator: Calculator[Any, Any], example: Example, decimal: str) -> form_reader.FormData:
    """The form of an example, whose recordings take a millisecond to read."""
    return form_reader.shown(calculator, example(calculator), decimal)


def view_of(calculator: Calculator[Any, Any], example: Example = inputs_of_example) -> View:
    """Compute what the page of this request shows; ``example`` gives the inputs of a first visit."""
    form, shows_example = read_form(calculator, example)
    view = View(calculator, form, Shown(), example=shows_example, by_post=takes_files(calculator))
    view.about = described(calculator)
    errors: list[InputError] = [*form.errors, *repeated()]
    answer: dict[str, Any] | None = None
    outcome = None
    try:
        outcome = calculate.evaluate_request(calculator, form.question, result_units=form.result_units)
    except calculate.InvalidInput as refused:
        named = {error.pointer for error in errors}
        errors += [error for error in refused.errors if error.pointer not in named]
    if outcome is not None and not errors:
        view.answer_view, answer = make_answer_view(outcome, form.result_units, form.decimal)
        query = _link(view)
        _add_picture(view, ChartRequest(calculator, form.question, False, outcome, dict(answer)), query)
    view.shown = fields(calculator, form, answer, errors)
    return view


def repeated() -> list[InputError]:
    """Return a fault for each name that stands more than once in the address, with values that differ."""
    return [
        InputError(f"/{name[:80]}", f"given {len(values)} times", quote_input(", ".join(values)), "each name once")
        for name, values in request.args.lists()
        if len(set(values)) > 1
    ]


def _link(view: View) -> str | None:
    """Add the addresses of the same request. Return the query for /v1, or None where the inputs fit none."""
    calculator, form = view.calculator, view.form
    base = request.host_url.rstrip("/")
    frame = f"{base}/calculators/{calculator.name}/frame"
    if not view.by_post:
        frame += f"?{urlencode(form_reader.query_of(form))}"
    element = f"{base}/gramwatt-{NEWEST}.js", integrity(NEWEST)
    made = snippets(calculator, form.question, base, frame, element, form.result_units)
    view.snippets = tuple(made.pieces)
    if made.query is not None:
        view.chart, view.csv = (
            f"/v1/{calculator.name}/chart?{made.query}",
            f"/v1/{calculator.name}?{made.query}&format=csv",
        )
    return made.query


def _add_picture(view: View, asked: ChartRequest, query: str | None) -> None:
    """Add the chart: by its address where one can hold the inputs, else drawn into the page."""
    view.can_draw = can_draw()
    if not view.can_draw:
        return
    url = _chart_url(view, query)
    if url is None:
        seen = make_figure(asked)
        view.picture = _drawn(seen, view.form.shape) if seen is not None else None
        return
    found = preview(asked)
    if found is not None:
        sources = {
            shape: Source(f"{url}&shape={shape}".replace("?&", "?"), *size) for shape, size in found.sizes.items()
        }
        view.picture = Picture(found.words, sources[WIDE], sources[NARROW])


def _chart_url(view: View, query: str | None) -> str | None:
    """The address of the chart, shape to be added; None where it would be too long, as with a recording."""
    if query is not None:
        url = f"/v1/{view.calculator.name}/chart?{query}&{ON_A_PAGE}"
    elif view.example or not any(map(holds_recording, view.form.question.values())):
        url = f"/calculators/{view.calculator.name}/chart?" + urlencode(
            form_reader.query_of(view.form, not view.example)
        )
    else:
        return None
    return url if len(url) + len("&shape=narrow") <= MAX_URL_LENGTH else None


def look_on_page(shape: str) -> Look:
    """Return the look of a chart whose title and paper are the page's own."""
    return Look(AUTO, shape, "clear", titled=False)


def _drawn(seen: ChartData, shape: str) -> Picture:
    """The chart within the page, as a data URL."""
    look = look_on_page(shape)
    svg = base64.b64encode(render(seen, "svg", look)).decode()
    return Picture(seen.told, Source(f"data:image/svg+xml;base64,{svg}", *pixels(seen, look)))
