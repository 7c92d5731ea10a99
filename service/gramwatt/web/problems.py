"""Problem responses: every error as one body, application/problem+json (RFC 9457), with all errors of the inputs."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import orjson
from flask import Response, current_app, g, request
from werkzeug.exceptions import HTTPException, SecurityError

from gramwatt.engine.budget import Cancelled, TooMuchWork
from gramwatt.engine.calculate import InvalidInput, NoFiniteResult, WorkLimitExceeded
from gramwatt.extras import MissingExtra
from gramwatt.model.messages import (
    MAX_COMPARED_LENGTH,
    InputError,
    close_matches,
    join_with_or,
    replace_control_characters,
)

MAX_ERRORS: Final = 100
MAX_DETAIL_LENGTH: Final = 2000
MAX_TEXT_ERROR_LENGTH: Final = 1000
CLIENT_CLOSED_REQUEST: Final = 499
"""Not a standard status, but the one that many servers log when a client closes its connection early."""


@dataclass(frozen=True, slots=True)
class ProblemType:
    """A type of problem: its status, its title, and what the caller can do about it."""

    status: int
    title: str
    advice: str


PROBLEM_TYPES: Final[Mapping[str, ProblemType]] = {
    "malformed-request": ProblemType(
        400, "The request cannot be read", "Send well-formed JSON in UTF-8, and each name once."
    ),
    "not-found": ProblemType(404, "Nothing found here", "GET /v1 lists the calculators; /docs shows every path."),
    "unknown-calculator": ProblemType(404, "Unknown calculator", "GET /v1 lists the calculators."),
    "unknown-result": ProblemType(404, "Unknown result", "The detail lists the results of this calculator."),
    "unknown-column": ProblemType(404, "Unknown column", "The detail lists the columns of the recording."),
    "no-result": ProblemType(404, "No result for these inputs", "The detail says why, and what would help."),
    "method-not-allowed": ProblemType(405, "Method not allowed", "The Allow header lists the allowed methods."),
    "not-acceptable": ProblemType(
        406, "Format not available", "Request one of the formats in the detail, or send no Accept header."
    ),
    "too-large": ProblemType(413, "Request body too large", "Split the data into several smaller requests."),
    "uri-too-long": ProblemType(414, "URL too long", "Send the inputs as JSON by POST."),
    "range-not-satisfiable": ProblemType(
        416, "No such part of the response", "Request bytes within the length in Content-Range, or send no Range."
    ),
    "unsupported-media-type": ProblemType(
        415, "Unsupported media type", "Send Content-Type: application/json, uncompressed."
    ),
    "invalid-input": ProblemType(422, "Invalid inputs", "The errors member lists each error and what is accepted."),
    "too-much-work": ProblemType(
        413, "The request needs too much computing", "Request less at once; the detail says how much is allowed."
    ),
    "too-many-requests": ProblemType(429, "Too many requests", "Wait for the seconds in Retry-After."),
    "headers-too-large": ProblemType(431, "Request headers too large", "Send fewer or shorter header fields."),
    "internal-error": ProblemType(
        500, "Internal error", "This is a bug in the service; the instance member identifies it in the log."
    ),
    "not-installed": ProblemType(
        501,
        "An optional library is not installed",
        "Request another format. The operator of the service can install the library in the detail.",
    ),
    "overloaded": ProblemType(
        503, "Too many long requests are waiting", "Wait for the seconds in Retry-After, and send fewer at once."
    ),
    "unavailable": ProblemType(503, "The service is not ready", "Wait for the seconds in Retry-After."),
}
_TYPE_BY_STATUS: Final = {
    400: "malformed-request",
    404: "not-found",
    405: "method-not-allowed",
    406: "not-acceptable",
    413: "too-large",
    414: "uri-too-long",
    415: "unsupported-media-type",
    422: "invalid-input",
    429: "too-many-requests",
    431: "headers-too-large",
    503: "unavailable",
}
_HOST_URL: Final = re.compile(r"https?://(?:[A-Za-z0-9.-]{1,253}|\[[0-9A-Fa-f:.]{2,45}\])(?::[0-9]{1,5})?")
_FORWARDED_HEADERS: Final = ("allow", "retry-after", "content-range")


class Problem(Exception):
    """An error to raise anywhere in a request; the client gets a problem body, or text with ``errors=text``."""

    def __init__(
        self, kind: str, detail: str, errors: Sequence[InputError] = (), headers: Mapping[str, str] | None = None
    ) -> None:
        super().__init__(detail)
        self.type = PROBLEM_TYPES[kind] if kind in PROBLEM_TYPES else ProblemType(400, "", "")
        self.kind, self.detail, self.errors, self.headers = kind, detail, tuple(errors), dict(headers or {})


def invalid_input(errors: Sequence[InputError]) -> Problem:
    """Return the problem of a request with invalid inputs."""
    count = "1 error" if len(errors) == 1 else f"{len(errors)} errors"
    return Problem("invalid-input", f"{count}: " + "; ".join(_format_error(error) for error in errors[:3]), errors)


def convert_invalid_input(error: InvalidInput, errors: Sequence[InputError] = ()) -> Problem:
    """Convert the engine's exception to a problem; ``errors`` are others of the same request, reported first."""
    if isinstance(error, WorkLimitExceeded) and not errors:
        detail = "; ".join(f"{each.detail}; accepted: {each.accepted}" for each in error.errors)
        return Problem("too-much-work", f"{detail[:1].upper()}{detail[1:]}.", error.errors)
    if isinstance(error, NoFiniteResult) and not errors:
        return Problem("no-result", " ".join(f"{each.detail}." for each in error.errors))
    return invalid_input([*errors, *error.errors])


def _format_error(error: InputError) -> str:
    return f"{error.place}: {error.detail}" if error.place else error.detail


def get_configured_url() -> str:
    """Return the public address in the settings, without a slash at its end; nothing if it is not set."""
    return os.environ.get("GRAMWATT_URL", "").rstrip("/")


def get_public_url() -> str:
    """Return the public address of the service, without a slash at its end: the setting, else that of the request.

    Only its sender sees a Host header that is wrong, since no cache stores a problem. For a host that is not served, or
    is no host, return nothing: links are then relative.
    """
    fixed = get_configured_url()
    if fixed:
        return fixed
    try:
        url = f"{request.scheme}://{request.host}"
    except SecurityError:
        return ""
    return url if _HOST_URL.fullmatch(url) else ""


def make_type_uri(kind: str, base: str) -> str:
    """Return the URI of a type of problem, which leads to its description."""
    return f"{base}/problems/{kind}" if kind in PROBLEM_TYPES else kind


def make_body(problem: Problem, instance: str, base: str = "") -> dict[str, Any]:
    """Return the body of a problem by RFC 9457; ``errors`` holds at most `MAX_ERRORS`."""
    body: dict[str, Any] = {
        "type": make_type_uri(problem.kind, base),
        "title": problem.type.title,
        "status": problem.type.status,
        "detail": _clean(problem.detail),
        "instance": instance,
    }
    if problem.errors:
        body["errors"] = [
            {
                "pointer": error.pointer,
                "detail": _clean(error.detail),
                "given": error.given,
                "accepted": _clean(error.accepted),
            }
            for error in problem.errors[:MAX_ERRORS]
        ]
    return body


def _clean(text: str) -> str:
    return replace_control_characters(text[:MAX_DETAIL_LENGTH])


def respond_to_problem(problem: Problem) -> Response:
    """Return the response to a problem: JSON, or text with status 200 where the request has ``errors=text``."""
    headers = {"Cache-Control": "no-store", **problem.headers}
    if wants_errors_as_text():
        lines = [_format_error(error) for error in problem.errors] or [problem.detail]
        text = f"#ERR {problem.kind}: {'; '.join(lines)}"[:MAX_TEXT_ERROR_LENGTH]
        return Response(text, 200, headers, content_type="text/plain; charset=utf-8")
    body = make_body(problem, f"urn:uuid:{g.request_id}", get_public_url())
    content = orjson.dumps(body, option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE)
    return Response(content, problem.type.status, headers, content_type="application/problem+json")


def wants_errors_as_text() -> bool:
    """Return whether a spreadsheet cell requested errors as text, since a cell shows nothing of a 4xx response."""
    is_value_path = request.path.startswith("/v1/") and request.path.count("/") > 2
    return is_value_path and request.method in ("GET", "HEAD") and request.args.get("errors") == "text"


def convert_http_error(error: HTTPException) -> Problem | None:
    """Return one of Flask's own errors (no route, wrong method, body too large) as a problem; None if it is none."""
    if error.response is not None or error.code is None or error.code < 400:
        return None
    kind = _TYPE_BY_STATUS.get(error.code, "internal-error" if error.code >= 500 else "about:blank")
    detail = {
        404: f"There is nothing at {request.path[:200]}{_suggest_path(request.path) or '.'}",
        405: f"{request.method[:20]} is not allowed at {request.path[:200]}.",
        413: f"The body may have at most {request.max_content_length} bytes.",
    }.get(error.code, error.description or error.name)
    headers = {name: value for name, value in error.get_headers() if name.lower() in _FORWARDED_HEADERS}
    problem = Problem(kind, detail, headers=headers)
    if kind == "about:blank":
        problem.type = ProblemType(error.code, error.name, "")
    return problem


def respond_to_http_error(error: HTTPException) -> Response:
    """Return the problem of one of Flask's own errors."""
    problem = convert_http_error(error)
    if problem is None:
        return Response(error.get_response().get_data(), error.code or 500)
    return respond_to_problem(problem)


def _suggest_path(path: str) -> str:
    """Return the end of a sentence about an unknown path: ``; did you mean /v1/units?``, or nothing."""
    segments = path.split("/")
    if max(map(len, segments)) > MAX_COMPARED_LENGTH:
        return ""
    meant: dict[str, None] = {}
    for rule in current_app.url_map.iter_rules():
        names = rule.rule.split("/")
        if len(names) == len(segments) and request.method in (rule.methods or ()):
            pairs = [(own if name.startswith("<") else name, own) for name, own in zip(names, segments, strict=True)]
            if all(name == own or close_matches(own, [name]) for name, own in pairs):
                meant["/".join(name for name, _ in pairs)] = None
    meant.pop(path, None)  # a file or a row that is missing there
    return f"; did you mean {join_with_or(list(meant)[:3])}?" if meant else ""


def respond_to_missing_extra(error: MissingExtra) -> Response:
    """Respond to a request that needs an optional library which is not installed."""
    return respond_to_problem(Problem("not-installed", f"{error}."))


def respond_to_too_much_work(error: TooMuchWork) -> Response:
    """Respond to a request that exceeds its computing budget."""
    return respond_to_problem(Problem("too-much-work", f"{error.detail[:1].upper()}{error.detail[1:]}."))


def respond_to_cancelled(error: Cancelled) -> Response:
    """Respond to a request whose client has disconnected; the status only appears in the metrics."""
    return Response(status=CLIENT_CLOSED_REQUEST)
