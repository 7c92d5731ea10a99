"""Code that repeats a request elsewhere: in a spreadsheet cell, a shell, Python, another page."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from gramwatt.engine.query_strings import build_query, fits_query, format_query_value
from gramwatt.model import Calculator, Choice, Flag, Recording, Text

CELL, CURL, PYTHON = "Spreadsheet cell", "curl", "Python"


@dataclass(frozen=True, slots=True)
class Snippet:
    """A piece of code, or a URL, with its use."""

    title: str
    language: str
    code: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Snippets:
    """The snippets of a request, and its query string where it has one."""

    snippets: tuple[Snippet, ...]
    query: str | None = None


def make_snippets(
    calculator: Calculator[Any, Any],
    inputs: Mapping[str, Any],
    base_url: str,
    frame_url: str,
    script: tuple[str, str],
    result_units: Mapping[str, str],
) -> Snippets:
    """Return the snippets of a request.

    Parameters
    ----------
    base_url
        The URL of this service, without a slash at the end.
    frame_url
        The URL of the page to show in a frame.
    script
        The URL of the web component's script, and its digest.
    """
    plain = {name: value for name, value in inputs.items() if not contains_recording(value)}
    units = quote(",".join(f"{result}:{unit}" for result, unit in result_units.items()), safe=":,")
    if calculator.recording in inputs:
        return Snippets((_upload_command(calculator, plain, base_url, units),))
    if len(plain) < len(inputs):
        return Snippets(())
    query = build_query(calculator, plain) if fits_query(calculator) else None
    url = f"{base_url}/v1/{calculator.name}" + (f"?units={units}" if units else "")
    if query is None:
        by_url = [_post_command(url, plain)]
    else:
        query += f"&units={units}" if units else ""
        by_url = _query_snippets(calculator, query, base_url, result_units.get(calculator.headline, ""))
    python = Snippet(PYTHON, "python", python_code(url, plain, calculator.headline))
    html = Snippet(
        "Your own website",
        "html",
        component_code(calculator, plain, *script, frame_url),
        "A Content-Security-Policy there must name this service in script-src, connect-src and frame-src.",
    )
    return Snippets((*by_url, python, html), query)


def contains_recording(value: Any) -> bool:
    """Return whether an input is a recording, or a table with one."""
    if isinstance(value, list):
        return any(isinstance(row, dict) and any(isinstance(cell, Recording) for cell in row.values()) for row in value)
    return isinstance(value, Recording)


def _query_snippets(calculator: Calculator[Any, Any], query: str, base_url: str, unit: str = "") -> list[Snippet]:
    url, headline = f"{base_url}/v1/{calculator.name}", calculator.headline
    inputs = query.partition("&units=")[0] + (f"&unit={quote(unit)}" if unit else "")
    value_url = f"{url}/{headline}?{inputs}&errors=text"
    is_text = isinstance(calculator.result_fields[headline], Choice | Text | Flag)
    call = f'WEBSERVICE("{value_url}")'
    formula = f"={call}" if is_text else f'=NUMBERVALUE({call};".";"")'
    note = (
        f"Paste it into LibreOffice Calc. In Excel, replace ; by , if your language uses commas there. For another "
        f"result, replace {headline} by its name. Excel allows at most 255 characters of text in a formula: put a "
        "longer URL into a cell of its own and refer to that cell."
    )
    return [
        Snippet(CELL, "text", formula, note),
        Snippet("URL of this value", "text", value_url),
        Snippet(CURL, "sh", f"curl '{url}?{query.replace(chr(39), '%27')}'"),
        Snippet("URL of the chart", "text", f"{url}/chart?{query}&format=png"),
    ]


def _upload_command(calculator: Calculator[Any, Any], inputs: Mapping[str, Any], base_url: str, units: str) -> Snippet:
    query = (build_query(calculator, inputs) or "") + (f"&units={units}" if units else "")
    url = f"{base_url}/v1/{calculator.name}/log" + (f"?{query.removeprefix('&')}" if query else "")
    code = f"curl -H 'Content-Type: text/csv' --data-binary @flight.csv \\\n  '{url.replace(chr(39), '%27')}'"
    return Snippet(CURL, "sh", code, "flight.csv is the recording.")


def _post_command(url: str, inputs: Mapping[str, Any]) -> Snippet:
    body = json.dumps(inputs, ensure_ascii=False).replace("'", "'\\''")
    return Snippet(CURL, "sh", f"curl -H 'Content-Type: application/json' -d '{body}' \\\n  '{url}'")


def python_code(url: str, inputs: Mapping[str, Any], headline: str) -> str:
    """Return a script that sends a request with the standard library alone."""
    return (
        "import json, urllib.request\n\n"
        f"inputs = {json.loads(json.dumps(dict(inputs)))!r}\n"
        "request = urllib.request.Request(\n"
        f"    {url!r},\n"
        "    json.dumps(inputs).encode(),\n"
        '    {"Content-Type": "application/json"},\n'
        ")\n"
        "response = json.load(urllib.request.urlopen(request))\n"
        f'print(response["results"]["{headline}"])\n'
    )


def component_code(
    calculator: Calculator[Any, Any], inputs: Mapping[str, Any], script_url: str, integrity: str, frame_url: str
) -> str:
    """Return the web component with the inputs as attributes, its script, and a frame for readers without scripts."""
    attributes = "".join(f" {name}={_quote_attribute(_to_attribute(value))}" for name, value in inputs.items())
    return (
        f'<script src="{script_url}" integrity="{integrity}" crossorigin="anonymous" defer></script>\n'
        f'<gramwatt-calculator name="{calculator.name}"{attributes}></gramwatt-calculator>\n'
        f'<noscript><iframe src="{_escape_attribute(frame_url)}" title="{_escape_attribute(calculator.title)}" '
        'width="100%" height="900"></iframe></noscript>'
    )


def _to_attribute(value: Any) -> str:
    """Return an input as the value of an attribute: rows of tables as JSON."""
    has_rows = isinstance(value, list) and any(isinstance(row, dict) for row in value)
    return json.dumps(value, ensure_ascii=False) if has_rows else format_query_value(value)


def _quote_attribute(text: str) -> str:
    """Return an attribute's value in the quotes that need fewer escapes."""
    if '"' in text and "'" not in text:
        return "'" + text.replace("&", "&amp;").replace("<", "&lt;") + "'"
    return f'"{_escape_attribute(text)}"'


def _escape_attribute(text: str) -> str:
    return text.replace("&", "&amp;").replace('"', "&quot;").replace("<", "&lt;")
