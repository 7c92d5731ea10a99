"""Steps that several routes share: find the calculator, compute plain bodies, make responses."""

from __future__ import annotations

import itertools
import json
from collections.abc import Iterable, Mapping
from typing import Any, Final

from flask import Response

from gramwatt.engine import calculate, serializers
from gramwatt.engine.formats import OutputOptions, compute_output
from gramwatt.model import Calculator
from gramwatt.web.headers import make_cacheable
from gramwatt.web.problems import Problem

PLAIN_TEXT: Final = "text/plain; charset=utf-8"


def make_response(body: bytes | str | Iterable[bytes], content_type: str, tag: str | None = None) -> Response:
    """Return a response with results: with an entity tag every cache may store it, without one none may."""
    response = Response(body, content_type=content_type)
    if tag is not None:
        return make_cacheable(response, tag)
    response.headers["Cache-Control"] = "no-store"
    return response


def compute_plain_body(
    calculator: Calculator[Any, Any], result: str | None, inputs: Mapping[str, object], *, text: bool
) -> bytes | None:
    """Return the body of a response without options: JSON, or the bare value of ``result``.

    None if the response has several chunks, or another status than 200. Raises InvalidInput.
    """
    if result is None:
        chunks = list(itertools.islice(compute_output(calculator, inputs, OutputOptions(), text=text), 2))
        return chunks[0] if len(chunks) == 1 else None
    value = calculate.compute_response(calculator, inputs, text=text)["results"][result]
    return None if value is None else serializers.format_value(value).encode()


def make_post_only_problem(calculator: Calculator[Any, Any]) -> Problem:
    """Return the problem of a GET to a calculator whose inputs do not fit a query, with an example body."""
    body = json.dumps(dict(calculator.examples[-1].given))
    what = "a table" if calculator.recording is None else "a recording"
    detail = f"{calculator.name} needs {what}, which does not fit a query. POST /v1/{calculator.name} with JSON: {body}"
    if calculator.recording is not None:
        detail += f"; or POST /v1/{calculator.name}/log with the recording as the body"
    return Problem("method-not-allowed", detail, headers={"Allow": "POST, OPTIONS"})


def find_calculator(name: str) -> Calculator[Any, Any]:
    """Return the calculator of that name. Raises Problem (404) that suggests similar names."""
    try:
        return calculate.get_calculator(name)
    except calculate.UnknownCalculator as error:
        raise Problem("unknown-calculator", str(error)) from None


INLINE_STYLES_POLICY: Final = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors *"
"""The policy of an SVG that contains a style sheet; it matters when the SVG is opened by itself."""


def allow_inline_styles(response: Response) -> Response:
    """Allow the style sheet of an SVG; also needed on a 304, whose policy browsers apply."""
    response.headers["Content-Security-Policy"] = INLINE_STYLES_POLICY
    return response
