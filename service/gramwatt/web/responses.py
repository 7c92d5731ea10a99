"""Steps that several routes share: find the calculator, compute plain bodies, build responses."""

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
    """Build the response of an answer: with an entity tag it is public, without one it is not stored."""
    response = Response(body, content_type=content_type)
    if tag is not None:
        return make_cacheable(response, tag)
    response.headers["Cache-Control"] = "no-store"
    return response


def compute_plain_body(
    calculator: Calculator[Any, Any], result: str | None, inputs: Mapping[str, object], *, text: bool
) -> bytes | None:
    """Return the body of the answer to inputs without options: JSON, or the bare value of ``result``.

    None where that is no single body with status 200. Raises Refused.
    """
    if result is None:
        pieces = list(itertools.islice(compute_output(calculator, inputs, OutputOptions(), text=text), 2))
        return pieces[0] if len(pieces) == 1 else None
    found = calculate.compute_response(calculator, inputs, text=text)["results"][result]
    return None if found is None else serializers.format_value(found).encode()


def make_post_only_problem(calculator: Calculator[Any, Any]) -> Problem:
    """The problem of a GET whose question would not fit a query: it shows the body to send."""
    body = json.dumps(dict(calculator.examples[-1].given))
    what = "a table" if calculator.recording is None else "a recording"
    detail = (
        f"{calculator.name} asks for {what}, which does not fit a query: POST /v1/{calculator.name} with JSON, {body}"
    )
    if calculator.recording is not None:
        detail += f"; or POST /v1/{calculator.name}/log with the recording itself"
    return Problem("method-not-allowed", detail, headers={"Allow": "POST, OPTIONS"})


def find_calculator(name: str) -> Calculator[Any, Any]:
    """The calculator in a URL. Raises Problem (404) with near matches."""
    try:
        return calculate.get_calculator(name)
    except calculate.UnknownCalculator as error:
        raise Problem("unknown-calculator", str(error)) from None


INLINE_STYLES_POLICY: Final = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors *"
"""The policy of an SVG with a style sheet in it, which takes effect where the SVG is opened by itself."""


def allow_inline_styles(response: Response) -> Response:
    """Let an SVG have its style sheet; a browser takes the policy of a 304 too."""
    response.headers["Content-Security-Policy"] = INLINE_STYLES_POLICY
    return response
