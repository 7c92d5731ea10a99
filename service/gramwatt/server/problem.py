"""Problems for requests that the application cannot answer itself."""

from __future__ import annotations

import uuid

import orjson

from gramwatt.web.problems import TYPES, Problem, body


def make_problem(kind: str, detail: str, request_id: str | None = None) -> tuple[int, list[tuple[bytes, bytes]], bytes]:
    """Return a response (status, headers, body) with a problem."""
    request_id = request_id or str(uuid.uuid4())
    made = body(Problem(kind, detail), f"urn:uuid:{request_id}")
    text = orjson.dumps(made, option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE)
    headers = [
        (b"content-type", b"application/problem+json"),
        (b"access-control-allow-origin", b"*"),
        (b"cache-control", b"no-store"),
        (b"x-request-id", request_id.encode()),
        (b"content-length", b"%d" % len(text)),
    ]
    return TYPES[kind].status, headers, text
