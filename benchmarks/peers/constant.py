"""Two programs that compute nothing: bytes from a bare WSGI callable, and the same bytes from a Flask view.

The bytes are a real answer of the service, which the benchmark leaves in a file named by BENCHMARK_ANSWER.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from flask import Flask, Response

ANSWER = Path(os.environ["BENCHMARK_ANSWER"]).read_bytes()
HEADERS = [("Content-Type", "application/json"), ("Content-Length", str(len(ANSWER)))]

view = Flask(__name__)


def bare(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
    """The least that a WSGI server can be asked for."""
    start_response("200 OK", HEADERS)
    return [ANSWER]


@view.route("/v1/pack-current", methods=["GET", "POST"])
def constant() -> Response:
    """The least that Flask can be asked for."""
    return Response(ANSWER, content_type="application/json")
