"""What the template of a calculator's page shows: form, results, chart URLs, snippets."""

from __future__ import annotations

import base64
import functools
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final, TypeAlias
from urllib.parse import urlencode

from flask import request

from gramwatt.charts.calculator_charts import make_chart
from gramwatt.charts.chart_data import ChartData
from gramwatt.charts.chart_request import ChartRequest
from gramwatt.charts.preview import Preview, preview
from gramwatt.charts.render import can_draw, render
from gramwatt.charts.sizes import chart_pixels
from gramwatt.charts.themes import AUTO, ChartStyle
from gramwatt.engine import calculate
from gramwatt.model import Calculator
from gramwatt.model.messages import InputError, quote_input
from gramwatt.web.chart_options import CHART_MEDIA_TYPES
from gramwatt.web.middleware.rate_limit import MAX_URL_LENGTH
from gramwatt.web.pages import form_reader
from gramwatt.web.pages.craft_form import fill_from_craft
from gramwatt.web.pages.description import describe_calculator, first_example, needs_upload
from gramwatt.web.pages.downloads import Download, list_downloads
from gramwatt.web.pages.form_view import FormView, make_form_view
from gramwatt.web.pages.next_links import NextLink, list_next_links
from gramwatt.web.pages.results_view import ResultsView, make_results_view
from gramwatt.web.pages.snippets import Snippet, contains_recording, make_snippets
from gramwatt.web.pages.web_component import LATEST, integrity
from gramwatt.web.pages.what_if import WhatIf, make_what_if
from gramwatt.web.problems import get_public_url

WIDE, NARROW = "wide", "narrow"
PAGE_CHART_OPTIONS: Final = f"theme={AUTO}&ground=clear&title=false"
"""Options of a chart that takes title and background from the page."""


@dataclass(frozen=True, slots=True)
class ChartImage:
    """One shape of a chart: its URL, its width and height in CSS pixels."""

    url: str
    width: int
    height: int


@dataclass(frozen=True, slots=True)
class EmbeddedChart:
    """A chart as a page embeds it; ``url`` is that of the chart alone, empty where it would be too long."""

    name: str
    title: str
    alt: str
    wide: ChartImage
    narrow: ChartImage | None = None
    url: str = ""


@dataclass(slots=True)
class CalculatorView:
    """All that the template of a calculator shows."""

    calculator: Calculator[Any, Any]
    description: Mapping[str, Any]
    form_data: form_reader.FormData
    is_example: bool
    by_post: bool
    form: FormView = field(default_factory=FormView)
    results: ResultsView | None = None
    charts: tuple[EmbeddedChart, ...] = ()
    can_draw: bool = True
    chart_url: str = ""
    downloads: tuple[Download, ...] = ()
    what_if: WhatIf | None = None
    what_if_url: str = ""
    """The chart of the varied inputs without its shape; empty where a URL cannot hold the form."""
    snippets: tuple[Snippet, ...] = ()
    next_links: tuple[NextLink, ...] = ()

    @property
    def still_format(self) -> str:
        """The format of a picture of one instant, empty where the calculator has none."""
        return next((each.name for each in self.calculator.formats if each.media_type == CHART_MEDIA_TYPES["svg"]), "")

    @property
    def form_query(self) -> str:
        """The query of the form as it is, empty for an example."""
        return urlencode(form_reader.form_query(self.form_data, inputs=not self.is_example))


def inputs_of_example(calculator: Calculator[Any, Any]) -> Mapping[str, Any]:
    """Return the inputs that a calculator's page starts with."""
    return first_example(calculator).given


ExampleInputs: TypeAlias = Callable[[Calculator[Any, Any]], Mapping[str, Any]]


def read_form(
    calculator: Calculator[Any, Any], example: ExampleInputs = inputs_of_example
) -> tuple[form_reader.FormData, bool]:
    """Return the form of this request, or an example on a first visit, and whether it is an example."""
    filled = fill_from_craft(calculator, request.values, request.files)
    form = form_reader.read_form(calculator, filled.texts, request.files)
    form.errors += filled.errors
    form.origins, form.unknown = filled.origins, filled.unknown
    form.derived, form.failed = filled.derived, filled.failed
    duplicates = _find_duplicate_parameters()
    if form.submitted or form.errors:
        form.errors += duplicates
        return form, False
    of_example = _form_of_example(calculator, example, form.decimal)
    with_options = replace(
        of_example,
        result_units=form.result_units,
        shape=form.shape,
        chart=form.chart,
        varied=form.varied,
        errors=[*of_example.errors, *duplicates],
    )
    return with_options, True


@functools.cache
def _form_of_example(calculator: Calculator[Any, Any], example: ExampleInputs, decimal: str) -> form_reader.FormData:
    """Return the form of an example. Cached, since a recording takes a millisecond to read."""
    return form_reader.form_of_inputs(calculator, example(calculator), decimal)


def make_view(calculator: Calculator[Any, Any], example: ExampleInputs = inputs_of_example) -> CalculatorView:
    """Compute what the page of this request shows. ``example`` gives the inputs of a first visit."""
    form, is_example = read_form(calculator, example)
    description = describe_calculator(calculator)
    view = CalculatorView(calculator, description, form, is_example, needs_upload(calculator))
    errors: list[InputError] = [*form.errors]
    response: dict[str, Any] | None = None
    outcome = None
    try:
        outcome = calculate.evaluate_request(calculator, form.inputs, result_units=form.result_units)
    except calculate.InvalidInput as invalid_input:
        pointers = {error.pointer for error in errors}
        pointers |= {f"/{name}" for name in form.failed if name not in form.inputs}
        errors += [error for error in invalid_input.errors if error.pointer not in pointers]
    if outcome is not None and not errors:
        view.results, response = make_results_view(outcome, form.result_units, form.decimal)
        view.next_links = tuple(list_next_links(response, form.decimal))
        query = _add_links(view)
        _add_charts(view, ChartRequest(calculator, form.inputs, False, outcome, dict(response)), query)
    if response is not None and not view.by_post:
        view.what_if = make_what_if(calculator, form, response)
        if view.what_if.is_used and not view.what_if.errors and can_draw():
            view.what_if_url = _form_chart_url(view, f"&shape={NARROW}", varied=True) or ""
    view.form = make_form_view(calculator, form, response, errors)
    return view


def _find_duplicate_parameters() -> list[InputError]:
    """Return an error for each name that the URL gives more than once with different values."""
    return [
        InputError(f"/{name[:80]}", f"given {len(values)} times", quote_input(", ".join(values)), "each name once")
        for name, values in request.args.lists()
        if len(set(values)) > 1
    ]


def _add_links(view: CalculatorView) -> str | None:
    """Add the URLs and snippets of the same request. Return its query for /v1, or None where it has none."""
    name, form = view.calculator.name, view.form_data
    base_url = get_public_url()
    frame_url = f"{base_url}/calculators/{name}/frame"
    if not view.by_post:
        frame_url += f"?{urlencode(form_reader.form_query(form))}"
    script = f"{base_url}/gramwatt-{LATEST}.js", integrity(LATEST)
    snippets = make_snippets(view.calculator, form.inputs, base_url, frame_url, script, form.result_units)
    view.snippets = snippets.snippets
    if snippets.query is not None:
        view.chart_url = f"/v1/{name}/chart?{snippets.query}"
    view.downloads = tuple(list_downloads(view.calculator, snippets.query))
    return snippets.query


def _add_charts(view: CalculatorView, chart_request: ChartRequest, query: str | None) -> None:
    """Add the charts: as URLs where these can hold the inputs, else drawn into the page."""
    view.can_draw = can_draw()
    if not view.can_draw:
        return
    url = _page_chart_url(view, query)
    if url is None:
        specs = view.calculator.charts
        drawn = [(spec, make_chart(chart_request, spec)) for spec in specs]
        shape = view.form_data.shape
        view.charts = tuple(_draw_into_page(spec.name, chart, shape) for spec, chart in drawn if chart is not None)
        return
    view.charts = tuple(_link_to_chart(view, url, each) for each in preview(chart_request))


def _link_to_chart(view: CalculatorView, url: str, shown: Preview) -> EmbeddedChart:
    """Return a chart that the page loads from a URL, to which chart and shape are added."""
    base = f"{url}&chart={shown.name}".replace("?&", "?")
    wide, narrow = (ChartImage(f"{base}&shape={shape}", *shown.sizes[shape]) for shape in (WIDE, NARROW))
    own_url = f"{view.chart_url}&chart={shown.name}" if view.chart_url else ""
    return EmbeddedChart(shown.name, shown.title, shown.alt, wide, narrow, own_url)


def _page_chart_url(view: CalculatorView, query: str | None) -> str | None:
    """Return the URL of the chart without its shape; None where it would be too long, as with a recording."""
    longest = max((f"&chart={chart.name}&shape={NARROW}" for chart in view.calculator.charts), key=len)
    if query is None:
        return _form_chart_url(view, longest)
    url = f"/v1/{view.calculator.name}/chart?{query}&{PAGE_CHART_OPTIONS}"
    return url if len(url) + len(longest) <= MAX_URL_LENGTH else None


def _form_chart_url(view: CalculatorView, options: str, *, varied: bool = False) -> str | None:
    """Return the URL of a chart of the form; None where no URL can hold the form with these options.

    ``varied``: the chart of what is varied over a range.
    """
    form = view.form_data
    if not view.is_example and any(map(contains_recording, form.inputs.values())):
        return None
    query = urlencode(form_reader.form_query(form, inputs=not view.is_example, varied=varied))
    url = f"/calculators/{view.calculator.name}/chart?{query}"
    return url if len(url) + len(options) <= MAX_URL_LENGTH else None


def page_chart_style(shape: str) -> ChartStyle:
    """Return the style of a chart that takes title and background from the page."""
    return ChartStyle(AUTO, shape, "clear", titled=False)


def _draw_into_page(name: str, chart: ChartData, shape: str) -> EmbeddedChart:
    """Return the chart as a data URL."""
    style = page_chart_style(shape)
    svg = base64.b64encode(render(chart, "svg", style)).decode()
    image = ChartImage(f"data:image/svg+xml;base64,{svg}", *chart_pixels(chart, style))
    return EmbeddedChart(name, chart.title, chart.description, image)
