"""Every error as one body: application/problem+json (RFC 9457), with every fault of the question."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import orjson
from flask import Response, g, request
from werkzeug.exceptions import HTTPException

from gramwatt.engine.budget import Cancelled, TooMuchWork
from gramwatt.engine.calculate import InvalidInput, WorkLimitExceeded
from gramwatt.extras import MissingExtra
from gramwatt.model.messages import InputError, replace_control_characters

MAX_ERRORS: Final = 100
MAX_TEXT_ERROR_LENGTH: Final = 1000
CLIENT_CLOSED_REQUEST: Final = 499
"""No standard status, but one that many servers count for requests whose client left."""


@dataclass(frozen=True, slots=True)
class ProblemType:
    """A kind of problem: its status, its title, and what a caller can do about it."""

    status: int
    title: str
    advice: str


PROBLEM_TYPES: Final[Mapping[str, ProblemType]] = {
    "malformed-request": ProblemType(
        400, "The request cannot be read", "Send well-formed JSON in UTF-8, each name once."
    ),
    "not-found": ProblemType(404, "There is nothing here", "GET /v1 lists the calculators; /docs shows every path."),
    "unknown-calculator": ProblemType(404, "No such calculator", "GET /v1 lists the calculators."),
    "unknown-result": ProblemType(404, "No such result", "The detail lists the results of this calculator."),
    "unknown-column": ProblemType(
        404, "The recording has no such column", "The detail lists the columns of the recording that was sent."
    ),
    "no-answer": ProblemType(
        404, "This result has no answer for these inputs", "The detail says why, and what would help."
    ),
    "method-not-allowed": ProblemType(405, "Method not allowed here", "The Allow header lists the methods."),
    "not-acceptable": ProblemType(
        406, "No such format here", "Ask for one of the formats in the detail, or send no Accept."
    ),
    "too-large": ProblemType(413, "The request body is too large", "Send less at once."),
    "uri-too-long": ProblemType(414, "The URL is too long", "Send the question as JSON by POST."),
    "unsupported-media-type": ProblemType(
        415, "The body is of another type", "Send Content-Type: application/json, uncompressed."
    ),
    "invalid-input": ProblemType(
        422, "The question cannot be answered as asked", "errors names each fault and what is accepted."
    ),
    "too-much-work": ProblemType(
        413, "The request asks for more work than one may", "Ask for less at once; the detail says how much."
    ),
    "too-many-requests": ProblemType(429, "Too many requests", "Wait as long as Retry-After says."),
    "headers-too-large": ProblemType(431, "The request header is too large", "Send fewer or shorter header fields."),
    "internal-error": ProblemType(
        500, "The service failed", "It is our fault; instance identifies the case in our log."
    ),
    "not-installed": ProblemType(
        501,
        "This service was installed without what this needs",
        "Ask for another format, or ask whoever runs the service to install what the detail names.",
    ),
    "overloaded": ProblemType(
        503, "Too many long requests wait already", "Wait as long as Retry-After says, and send fewer at once."
    ),
    "unavailable": ProblemType(503, "The service is not ready", "Wait as long as Retry-After says."),
}
_BY_STATUS: Final = {
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


class Problem(Exception):
    """Raise it anywhere in a request; the client gets the problem body, or its text where ``errors=text``."""

    def __init__(
        self, kind: str, detail: str, errors: Sequence[InputError] = (), headers: Mapping[str, str] | None = None
    ) -> None:
        super().__init__(detail)
        self.told = PROBLEM_TYPES[kind] if kind in PROBLEM_TYPES else ProblemType(400, "", "")
        self.kind, self.detail, self.errors, self.headers = kind, detail, tuple(errors), dict(headers or {})


def invalid_input(errors: Sequence[InputError]) -> Problem:
    """The problem of a question with faults."""
    many = "1 fault" if len(errors) == 1 else f"{len(errors)} faults"
    return Problem("invalid-input", f"{many}: " + "; ".join(_line(error) for error in errors[:3]), errors)


def convert_invalid_input(error: InvalidInput, errors: Sequence[InputError] = ()) -> Problem:
    """The problem of a question that was refused; ``faults`` are those found beside it, which count first."""
    if isinstance(error, WorkLimitExceeded) and not errors:
        detail = "; ".join(f"{each.detail}; accepted: {each.accepted}" for each in error.errors)
        return Problem("too-much-work", f"{detail[:1].upper()}{detail[1:]}.", error.errors)
    return invalid_input([*errors, *error.errors])


def _line(error: InputError) -> str:
    where = error.pointer[1:].replace("/", ".")
    return f"{where}: {error.detail}" if where else error.detail


def make_body(problem: Problem, instance: str) -> dict[str, Any]:
    """The problem as RFC 9457 has it; ``errors`` holds at most `MAX_ERRORS`."""
    kind = problem.told
    made: dict[str, Any] = {
        "type": f"/problems/{problem.kind}" if problem.kind in PROBLEM_TYPES else problem.kind,
        "title": kind.title,
        "status": kind.status,
        "detail": replace_control_characters(problem.detail[:2000]),
        "instance": instance,
    }
    if problem.errors:
        made["errors"] = [
            {
                "pointer": error.pointer,
                "detail": replace_control_characters(error.detail[:2000]),
                "given": error.given,
                "accepted": replace_control_characters(error.accepted[:2000]),
            }
            for error in problem.errors[:MAX_ERRORS]
        ]
    return made


def respond_to_problem(problem: Problem) -> Response:
    """The response to a problem, by the request's own wish as JSON or as text with status 200."""
    if wants_errors_as_text():
        lines = [_line(error) for error in problem.errors] or [problem.detail]
        text = f"#ERR {problem.kind}: {'; '.join(lines)}"
        return Response(
            text[:MAX_TEXT_ERROR_LENGTH],
            200,
            {"Cache-Control": "no-store", **problem.headers},
            content_type="text/plain; charset=utf-8",
        )
    made = orjson.dumps(
        make_body(problem, f"urn:uuid:{g.request_id}"), option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE
    )
    headers = {"Cache-Control": "no-store", **problem.headers}
    return Response(made, problem.told.status, headers, content_type="application/problem+json")


def wants_errors_as_text() -> bool:
    """Whether this is a cell's request that asked for errors as text (a cell shows nothing of a 4xx)."""
    asks_value = request.path.startswith("/v1/") and request.path.count("/") > 2
    return asks_value and request.method in ("GET", "HEAD") and request.args.get("errors") == "text"


def respond_to_http_error(error: HTTPException) -> Response:
    """Flask's own errors (no route, wrong method, body too large) as problems."""
    if error.response is not None or error.code is None or error.code < 400:
        return Response(error.get_response().get_data(), error.code or 500)
    kind = _BY_STATUS.get(error.code, "internal-error" if error.code >= 500 else "about:blank")
    detail = {
        404: f"Nothing is at {request.path[:200]}.",
        405: f"{request.method[:20]} is not allowed at {request.path[:200]}.",
        413: f"The body may have at most {request.max_content_length} bytes.",
    }.get(error.code, error.description or error.name)
    kept = ("allow", "retry-after", "content-range")
    headers = {name: value for name, value in error.get_headers() if name.lower() in kept}
    problem = Problem(kind, detail, headers=headers)
    if kind == "about:blank":
        problem.told = ProblemType(error.code, error.name, "")
    return respond_to_problem(problem)


def respond_to_missing_extra(error: MissingExtra) -> Response:
    """Respond to a request that needs an optional library which is not installed."""
    return respond_to_problem(Problem("not-installed", f"{error}."))


def respond_to_too_much_work(error: TooMuchWork) -> Response:
    """Respond to a request that is over its budget."""
    return respond_to_problem(Problem("too-much-work", f"{error.detail[:1].upper()}{error.detail[1:]}."))


def respond_to_cancelled(error: Cancelled) -> Response:
    """End a request whose client is gone; nobody sees the response, and the status is for the count of requests."""
    return Response(status=CLIENT_CLOSED_REQUEST)
