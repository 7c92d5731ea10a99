"""Handle failures of the service itself: log each with its request id, count it, and respond with a problem.

`Application` converts other exceptions of extension code to `Exception`, so that Flask's error handlers see them.
`FailureMiddleware` stands around the application, for what Flask does not handle and for responses that fail midway.
"""

from __future__ import annotations

import logging
import sys
import traceback
import uuid
from collections.abc import Callable, Iterable, Iterator
from types import TracebackType
from typing import Any, Final

import orjson
from flask import Flask, Response, g
from flask.typing import ResponseReturnValue

from gramwatt.model.messages import replace_control_characters
from gramwatt.web.headers import EXPOSED_HEADERS, make_request_id
from gramwatt.web.middleware import metrics
from gramwatt.web.problems import PROBLEM_TYPES, Problem, get_configured_url, make_body, respond_to_problem

CONTROL_EXCEPTIONS: Final = (KeyboardInterrupt, GeneratorExit)
"""Exceptions that end a program or a generator; everything else is a failure."""
FAILURE_DETAIL: Final = "The service failed on this request; it was logged."
MAX_LINE_LENGTH: Final = 1000
MAX_LINES: Final = 200

ExcInfo = tuple[type[BaseException], BaseException, TracebackType]
log: Final = logging.getLogger(__name__)


class NonStandardException(Exception):
    """Extension code raised something other than an `Exception`, such as a panic of a library in Rust."""


class EscapeTraceback(logging.Filter):
    """Write the traceback of a log record so that no line of it looks like another record.

    Messages of exceptions may quote what a client sent. Lines are indented, shortened, and free of control characters.
    """

    def filter(self, record: logging.LogRecord) -> bool:
        """Set the text of the record's exception, which formatters use unchanged."""
        if record.exc_info and record.exc_info[1] is not None and not record.exc_text:
            lines = "".join(traceback.format_exception(record.exc_info[1])).splitlines()
            if len(lines) > MAX_LINES:
                lines[MAX_LINES // 2 : -MAX_LINES // 2] = [f"({len(lines) - MAX_LINES} lines left out)"]
            record.exc_text = "\n".join("    " + replace_control_characters(line[:MAX_LINE_LENGTH]) for line in lines)
        return True


log.addFilter(EscapeTraceback())


def log_failure(request_id: str, error: BaseException) -> None:
    """Log a failure with its traceback under the id of its request, and count it."""
    metrics.FAILURES.inc()
    log.error("request %s failed", request_id, exc_info=error)


def respond_to_failure(error: Exception) -> Response:
    """Respond to an exception of a view that is neither a problem nor an HTTP error."""
    log_failure(g.request_id, error)
    return respond_to_problem(Problem("internal-error", FAILURE_DETAIL))


def make_problem_response(
    kind: str, detail: str, request_id: str | None = None
) -> tuple[int, list[tuple[str, str]], bytes]:
    """Return a response (status, headers, body) with a problem, made without Flask."""
    request_id = request_id or str(uuid.uuid4())
    problem = make_body(Problem(kind, detail), f"urn:uuid:{request_id}", get_configured_url())
    text = orjson.dumps(problem, option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE)
    headers = [
        ("Content-Type", "application/problem+json"),
        ("Access-Control-Allow-Origin", "*"),
        ("Access-Control-Expose-Headers", EXPOSED_HEADERS),
        ("Cache-Control", "no-store"),
        ("X-Request-ID", request_id),
        ("Content-Length", f"{len(text)}"),
    ]
    return PROBLEM_TYPES[kind].status, headers, text


class Application(Flask):
    """Flask, with every failure handled as an `Exception` and logged under its request id."""

    def dispatch_request(self) -> ResponseReturnValue:
        """Call the view. Raises NonStandardException."""
        try:
            return super().dispatch_request()
        except (Exception, *CONTROL_EXCEPTIONS):
            raise
        except BaseException as error:
            raise NonStandardException(f"{type(error).__name__}: {error}") from error

    def log_exception(self, exc_info: ExcInfo | tuple[None, None, None]) -> None:
        """Log an exception from outside a view, such as from a function that finishes the response."""
        if exc_info[1] is not None:
            log_failure(g.get("request_id", "-"), exc_info[1])


class FailureMiddleware:
    """Respond with a problem if a WSGI application raises; log and count that, also in the middle of a response."""

    def __init__(self, application: Callable[..., Iterable[bytes]]) -> None:
        self._application = application

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        """Call the application."""
        exchange = _Exchange(environ, start_response)
        try:
            result = self._application(environ, exchange.start)
        except CONTROL_EXCEPTIONS:
            raise
        except BaseException as error:
            return [exchange.fail(error)]
        return result if isinstance(result, (list, tuple)) else _GuardedBody(result, exchange)


class _Exchange:
    """A request and the state of its response."""

    def __init__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> None:
        self._start_response, self._method = start_response, environ["REQUEST_METHOD"]
        self._id = make_request_id(environ.get("HTTP_X_REQUEST_ID"))
        self._started = self.begun = False

    def start(self, status: str, headers: list[tuple[str, str]], *exc_info: Any) -> Any:
        """Start the response, and remember its request id."""
        self._id = next((value for name, value in headers if name == "X-Request-ID"), self._id)
        self._started = True
        return self._start_response(status, headers, *exc_info)

    def fail(self, error: BaseException) -> bytes:
        """Log an error and start a problem response; return its body. Raises the error if a response has begun."""
        log_failure(self._id, error)
        if self.begun:
            raise error
        status, headers, text = make_problem_response("internal-error", FAILURE_DETAIL, self._id)
        replaced = (sys.exc_info(),) if self._started else ()
        if not self._started:
            metrics.count_request(self._method, status)
        self._start_response(f"{status} INTERNAL SERVER ERROR", headers, *replaced)
        self.begun = True
        return b"" if self._method == "HEAD" else text


class _GuardedBody:
    """The body of a response; its exceptions are logged."""

    def __init__(self, result: Iterable[bytes], exchange: _Exchange) -> None:
        self._result, self._exchange = result, exchange
        self._chunks: Iterator[bytes] | None = None

    def __iter__(self) -> Iterator[bytes]:
        return self

    def __next__(self) -> bytes:
        try:
            if self._chunks is None:
                self._chunks = iter(self._result)
            chunk = next(self._chunks)
        except (StopIteration, *CONTROL_EXCEPTIONS):
            raise
        except BaseException as error:
            self._chunks = iter(())
            return self._exchange.fail(error)
        self._exchange.begun = self._exchange.begun or bool(chunk)
        return chunk

    def close(self) -> None:
        """End the body."""
        close = getattr(self._result, "close", None)
        if close is not None:
            close()
