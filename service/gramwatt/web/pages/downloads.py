"""Files of the results: links where a URL can hold the inputs, else the content for a form."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from gramwatt.charts.calculator_charts import compute_chart
from gramwatt.charts.render import can_draw, render
from gramwatt.charts.themes import ChartStyle
from gramwatt.engine.calculate import compute_response
from gramwatt.engine.formats import OutputOptions, compute_output, get_media_types
from gramwatt.model import Calculator
from gramwatt.web.chart_options import CHART_MEDIA_TYPES
from gramwatt.web.pages import what_if
from gramwatt.web.pages.form_reader import FormData
from gramwatt.web.problems import Problem

CHART_PREFIX: Final = "chart-"
"""Before the format of a chart in the kind of a download: `chart-svg`."""
CHART_FORMATS: Final = ("svg", "png")
PNG_SCALE: Final = 2
WHAT_IF: Final = "what-if"
"""The kind of download with the table of a range."""


@dataclass(frozen=True, slots=True)
class Download:
    """A file of the results: its URL, empty where only a form can hold the inputs."""

    label: str
    kind: str
    file_name: str
    url: str = ""


def list_downloads(calculator: Calculator[Any, Any], query: str | None) -> Iterator[Download]:
    """Yield the files of a response: its chart, then its formats. ``query`` has the inputs if a URL can."""
    name = calculator.name
    for form in CHART_FORMATS if can_draw() and calculator.charts else ():
        scale = f"&scale={PNG_SCALE}" if form == "png" else ""
        url = "" if query is None else f"/v1/{name}/chart?{query}&format={form}{scale}"
        yield Download(f"Chart {form.upper()}", f"{CHART_PREFIX}{form}", f"{name}-chart.{form}", url)
    for form in reversed(get_media_types(calculator)):
        url = "" if query is None else f"/v1/{name}?{query}&format={form}"
        yield Download(form.upper(), form, f"{name}.{form}", url)


def make_download(calculator: Calculator[Any, Any], form: FormData, kind: str) -> tuple[bytes, str, str]:
    """Return content, media type and name of a file. Raises InvalidInput, NothingToDraw, Problem."""
    files = {each.kind: each for each in list_downloads(calculator, None)}
    if kind not in (*files, WHAT_IF):
        raise Problem(
            "not-found", f"{calculator.name} has no file of this kind. It has {', '.join((*files, WHAT_IF))}."
        )
    if kind == WHAT_IF:
        response = compute_response(calculator, form.inputs)
        return (
            what_if.write_csv(calculator, form, response),
            "text/csv; charset=utf-8",
            f"{calculator.name}-what-if.csv",
        )
    if kind.startswith(CHART_PREFIX):
        name = files[kind].file_name
        chart = compute_chart(calculator, form.inputs, text=False, result_units=form.result_units)
        chart_format = kind.removeprefix(CHART_PREFIX)
        style = ChartStyle(scale=PNG_SCALE if chart_format == "png" else 1)
        return render(chart, chart_format, style), CHART_MEDIA_TYPES[chart_format], name
    options = OutputOptions(kind, form.result_units)
    media_type = get_media_types(calculator)[kind]
    content_type = f"{media_type}; charset=utf-8" if media_type.startswith("text/") else media_type
    return b"".join(compute_output(calculator, form.inputs, options)), content_type, files[kind].file_name
