"""The same question asked from elsewhere: a spreadsheet's cell, a shell, Python, another page."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from gramwatt.engine.query_strings import build_query, fits_query, format_query_value
from gramwatt.model import Calculator, Choice, Flag, Recording, Text

CELL, CURL, PYTHON = "A cell of a spreadsheet", "curl", "Python"


@dataclass(frozen=True, slots=True)
class Snippet:
    """A piece of code, or an address, with what it is for."""

    title: str
    language: str
    code: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Again:
    """The ways to ask a question again, and its query where it fits one."""

    pieces: tuple[Snippet, ...]
    query: str | None = None


def snippets(
    calculator: Calculator[Any, Any],
    question: Mapping[str, Any],
    base: str,
    frame: str,
    element: tuple[str, str],
    units: Mapping[str, str],
) -> Again:
    """Ways to ask a question again. ``base`` is the service's own address without a slash at its end, ``frame`` that of
    the page to be framed, ``element`` the address of the element's script and its digest; ``units`` are wished for."""
    name, headline = calculator.name, calculator.headline
    plain = {each: given for each, given in question.items() if not holds_recording(given)}
    wished = quote(",".join(f"{result}:{unit}" for result, unit in units.items()), safe=":,")
    if calculator.recording in question:
        return Again(_with_recording(calculator, plain, base, wished))
    if len(plain) < len(question):
        return Again(())
    query = build_query(calculator, plain) if fits_query(calculator) else None
    address = f"{base}/v1/{name}" + (f"?units={wished}" if wished else "")
    if query is None:
        first = [Snippet(CURL, "sh", _curl(address, json.dumps(plain, ensure_ascii=False)))]
    else:
        query += f"&units={wished}" if wished else ""
        first = _by_query(calculator, query, base, units.get(headline, ""))
    code = element_code(calculator, plain, *element, frame)
    note = "A Content-Security-Policy there must name this service in script-src, connect-src and frame-src."
    python_code = Snippet(PYTHON, "python", python(address, plain, headline))
    return Again((*first, python_code, Snippet("On a page of your own", "html", code, note)), query)


EXAMPLE_SERVICE = "http://localhost:8000"


def samples(calculator: Calculator[Any, Any], question: Mapping[str, Any], *, by_query: bool) -> list[dict[str, str]]:
    """The same pieces for a contract (``x-codeSamples``): those of a GET, or of a POST."""
    address = f"{EXAMPLE_SERVICE}/v1/{calculator.name}"
    query = build_query(calculator, question) if by_query else None
    if query is not None:
        pieces = [each for each in _by_query(calculator, query, EXAMPLE_SERVICE) if each.title in (CELL, CURL)]
    else:
        body = Snippet(CURL, "sh", _curl(address, json.dumps(question, ensure_ascii=False)))
        pieces = [body, Snippet(PYTHON, "python", python(address, question, calculator.headline))]
    languages = {"sh": "Shell", "python": "Python", "text": "Spreadsheet"}
    return [{"lang": languages[each.language], "label": each.title, "source": each.code} for each in pieces]


def holds_recording(given: Any) -> bool:
    """Return whether an input is a recording, or a table with one."""
    if isinstance(given, list):
        return any(isinstance(row, dict) and any(isinstance(cell, Recording) for cell in row.values()) for row in given)
    return isinstance(given, Recording)


def _by_query(calculator: Calculator[Any, Any], query: str, base: str, unit: str = "") -> list[Snippet]:
    address, headline = f"{base}/v1/{calculator.name}", calculator.headline
    inputs = query.partition("&units=")[0] + (f"&unit={quote(unit)}" if unit else "")
    value = f"{address}/{headline}?{inputs}&errors=text"
    is_text = isinstance(calculator.result_fields[headline], Choice | Text | Flag)
    web = f'WEBSERVICE("{value}")'
    formula = f"={web}" if is_text else f'=NUMBERVALUE({web};".";"")'
    return [
        Snippet(
            CELL,
            "text",
            formula,
            "In LibreOffice Calc as it stands; in Excel, where the language separates by commas, with , for ;. Another "
            f"result: its name instead of {headline}. Excel takes texts of up to 255 letters in a formula: put a "
            "longer address into a cell and name that instead.",
        ),
        Snippet("The address of that value", "text", value),
        Snippet(CURL, "sh", f"curl '{address}?{query.replace(chr(39), '%27')}'"),
        Snippet("The picture", "text", f"{address}/chart?{query}&format=png"),
    ]


def _with_recording(
    calculator: Calculator[Any, Any], question: Mapping[str, Any], base: str, units: str
) -> tuple[Snippet, ...]:
    query = (build_query(calculator, question) or "") + (f"&units={units}" if units else "")
    address = f"{base}/v1/{calculator.name}/log" + (f"?{query.removeprefix('&')}" if query else "")
    code = f"curl -H 'Content-Type: text/csv' --data-binary @flight.csv \\\n  '{address.replace(chr(39), '%27')}'"
    return (Snippet(CURL, "sh", code, "flight.csv is the recording itself."),)


def _curl(address: str, body: str) -> str:
    quoted = body.replace("'", "'\\''")
    return f"curl -H 'Content-Type: application/json' -d '{quoted}' \\\n  '{address}'"


def python(address: str, question: Mapping[str, Any], headline: str) -> str:
    """The standard library alone asks it."""
    return (
        "import json, urllib.request\n\n"
        f"question = {json.loads(json.dumps(dict(question)))!r}\n"
        "request = urllib.request.Request(\n"
        f"    {address!r},\n"
        "    json.dumps(question).encode(),\n"
        '    {"Content-Type": "application/json"},\n'
        ")\n"
        "answer = json.load(urllib.request.urlopen(request))\n"
        f'print(answer["results"]["{headline}"])\n'
    )


def element_code(
    calculator: Calculator[Any, Any], question: Mapping[str, Any], script: str, integrity: str, frame: str
) -> str:
    """The element with the question as its attributes, its script, and a frame for those without scripts."""
    attributes = "".join(f" {name}={_quoted(_word(given))}" for name, given in question.items())
    return (
        f'<script src="{script}" integrity="{integrity}" crossorigin="anonymous" defer></script>\n'
        f'<gramwatt-calculator name="{calculator.name}"{attributes}></gramwatt-calculator>\n'
        f'<noscript><iframe src="{_attribute(frame)}" title="{_attribute(calculator.title)}" width="100%" '
        'height="900"></iframe></noscript>'
    )


def _word(given: Any) -> str:
    """A value as an attribute holds it: rows of a table as JSON."""
    rows = isinstance(given, list) and any(isinstance(row, dict) for row in given)
    return json.dumps(given, ensure_ascii=False) if rows else format_query_value(given)


def _quoted(text: str) -> str:
    """An attribute in the quotes that it needs fewer escapes with."""
    if '"' in text and "'" not in text:
        return "'" + text.replace("&", "&amp;").replace("<", "&lt;") + "'"
    return f'"{_attribute(text)}"'


def _attribute(text: str) -> str:
    return text.replace("&", "&amp;").replace('"', "&quot;").replace("<", "&lt;")
