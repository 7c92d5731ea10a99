"""Problems as responses to requests for which the application has no response of its own."""

from __future__ import annotations

from gramwatt.web.middleware import failures, metrics


def make_counted_problem(
    kind: str, detail: str, *, method: str = "other", request_id: str | None = None
) -> tuple[int, list[tuple[bytes, bytes]], bytes]:
    """Return a response (status, headers, body) with a problem, and count it."""
    status, headers, text = failures.make_problem_response(kind, detail, request_id)
    metrics.count_request(method, status)
    return status, [(name.lower().encode(), value.encode()) for name, value in headers], text
