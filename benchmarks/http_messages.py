"""Requests as bytes, built before anything is measured."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, Final
from urllib.parse import quote

HEADERS: Final = "Host: 127.0.0.1\r\nUser-Agent: benchmark\r\n"
JSON: Final = "application/json"


def get_request(path: str, query: str, accept: str = JSON, more_headers: str = "") -> bytes:
    """Return a whole GET request; without a query the path stands alone."""
    target = f"{path}?{query}" if query else path
    return f"GET {target} HTTP/1.1\r\n{HEADERS}Accept: {accept}\r\n{more_headers}\r\n".encode()


def post_request(path: str, body: str) -> bytes:
    """Return a whole POST request of a JSON body."""
    encoded = body.encode()
    head = f"POST {path} HTTP/1.1\r\n{HEADERS}Accept: {JSON}\r\nContent-Type: {JSON}\r\n"
    return f"{head}Content-Length: {len(encoded)}\r\n\r\n".encode() + encoded


def query_of(inputs: Mapping[str, Any]) -> str:
    """Return inputs as a query, spaces as ``%20``."""
    return "&".join(f"{name}={quote(_word(value))}" for name, value in inputs.items())


def fits_query(inputs: Mapping[str, Any]) -> bool:
    """Return whether the inputs hold no list, table or recording."""
    return not any(isinstance(value, Mapping | list | tuple) for value in inputs.values())


def _word(value: Any) -> str:
    return json.dumps(value) if isinstance(value, bool) else str(value)
