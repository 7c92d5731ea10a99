"""Two programs that compute nothing: bytes from a bare WSGI callable, and the same bytes from a Flask view.

The bytes are real responses of the service, by path, in the JSON file that BENCHMARK_RESPONSES names.
"""

from __future__ import annotations

import functools
import json
import os
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from flask import Flask, Response

BODIES = {path: text.encode() for path, text in json.loads(Path(os.environ["BENCHMARK_RESPONSES"]).read_text()).items()}
HEADERS = {
    path: [("Content-Type", "application/json"), ("Content-Length", str(len(body)))] for path, body in BODIES.items()
}

view = Flask(__name__)


def bare(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
    """Return the bytes of a path, read no body: the minimum of a WSGI application."""
    path = environ["PATH_INFO"]
    start_response("200 OK", HEADERS[path])
    return [BODIES[path]]


def constant(body: bytes) -> Response:
    """Return a constant response: the minimum of a Flask view."""
    return Response(body, content_type="application/json")


for _path, _body in BODIES.items():
    view.add_url_rule(_path, _path, functools.partial(constant, _body), methods=["GET", "POST"])
