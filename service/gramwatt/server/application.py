"""The ASGI application: the WSGI application behind an adapter, with short requests handled in the event loop."""

from __future__ import annotations

import os
from typing import Any, Final

from gramwatt.server.adapter import Response, WsgiToAsgi
from gramwatt.server.problem import make_counted_problem
from gramwatt.server.slots import MAX_STALLED, MAX_WAITING, Overloaded
from gramwatt.server.streams import BODY_TIMEOUT, BodyTimeout
from gramwatt.web.headers import make_request_id
from gramwatt.web.middleware import failures, metrics
from gramwatt.web.middleware.memory import MemoryTrimmer
from gramwatt.web.middleware.work_limits import runs_long
from gramwatt.wsgi import app as wsgi_app

OVERLOADED: Final = "Too many tables, charts and other long requests wait already; short requests still get a response."
RETRY_AFTER: Final = (b"retry-after", b"2")


def is_long(scope: dict[str, Any]) -> bool:
    """Return whether a request would delay the others if the event loop handled it."""
    sent = next((value for name, value in scope["headers"] if name == b"content-length"), b"0")
    size = int(sent) if sent.isdigit() and len(sent) < 20 else 0
    return runs_long(scope["path"], size + len(scope["query_string"]))


def respond_to_error(scope: dict[str, Any], error: BaseException) -> Response:
    """Return the problem of an error that the application did not handle, and log it unless it is the client's."""
    sent = dict(scope["headers"]).get(b"x-request-id")
    request_id = make_request_id(None if sent is None else sent.decode("latin-1"))
    if isinstance(error, Overloaded):
        status, headers, body = make_counted_problem(
            "overloaded", OVERLOADED, method=scope["method"], request_id=request_id
        )
        return status, [*headers, RETRY_AFTER], body
    if isinstance(error, BodyTimeout):
        kind, detail = "malformed-request", "The body did not arrive in time."
    else:
        failures.log_failure(request_id, error)
        kind, detail = "internal-error", failures.FAILURE_DETAIL
    return make_counted_problem(kind, detail, method=scope["method"], request_id=request_id)


def observe(state: str, change: int) -> None:
    """Count the requests that run and wait, and give memory back when none runs."""
    metrics.LONG_REQUESTS.labels(state).inc(change)
    _returner.observe(state, change)


_returner: Final = MemoryTrimmer()
_options: dict[str, Any] = {}
_application: Any = wsgi_app
fast_path: Any = wsgi_app.extensions.get("fast_path")
if fast_path is not None:
    _options["get_response"] = fast_path.respond
    if wsgi_app.wsgi_app == fast_path:  # no other middleware stands before it
        _application = fast_path.application
app: Final = WsgiToAsgi(
    _application,
    run_in_thread=is_long,
    respond_to_error=respond_to_error,
    in_thread=wsgi_app,
    threads=int(os.environ.get("GRAMWATT_LONG_THREADS") or 4),
    max_waiting=int(os.environ.get("GRAMWATT_LONG_QUEUE") or MAX_WAITING),
    max_stalled=int(os.environ.get("GRAMWATT_SLOW_CLIENTS") or MAX_STALLED),
    read_timeout=float(os.environ.get("GRAMWATT_READ_TIMEOUT") or 5),
    body_timeout=float(os.environ.get("GRAMWATT_BODY_TIMEOUT") or BODY_TIMEOUT),
    observe=observe,
    **_options,
)
