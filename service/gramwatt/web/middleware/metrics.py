"""Prometheus metrics: how many requests, how fast, with what status; the library adds up several workers."""

from __future__ import annotations

import os
import time
from pathlib import Path

from flask import Blueprint, Response, g, request
from prometheus_client import (
    CONTENT_TYPE_LATEST,
    REGISTRY,
    CollectorRegistry,
    Counter,
    Gauge,
    Histogram,
    generate_latest,
)
from prometheus_client.multiprocess import MultiProcessCollector

from gramwatt.web.middleware.metrics_files import lock_folder

REQUESTS = Counter("gramwatt_requests", "Requests with a response.", ["method", "route", "status"])
FAILURES = Counter("gramwatt_failures", "Failures of the service, also in the middle of a response; each is logged.")
SECONDS = Histogram(
    "gramwatt_request_seconds",
    "Seconds from request to response.",
    ["route"],
    buckets=(0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.5, 1, 5),
)
LONG_REQUESTS = Gauge(
    "gramwatt_long_requests",
    "Requests that take long, such as tables and charts: running, or waiting for a thread.",
    ["state"],
    multiprocess_mode="livesum",
)

blueprint = Blueprint("metrics", __name__)


@blueprint.get("/metrics")
def get_metrics() -> Response:
    """Return the metrics in the Prometheus text format."""
    folder = os.environ.get("PROMETHEUS_MULTIPROC_DIR")
    if folder:
        registry = CollectorRegistry()
        MultiProcessCollector(registry, folder)  # type: ignore[no-untyped-call]
        with lock_folder(Path(folder), shared=True):
            text = generate_latest(registry)
    else:
        text = generate_latest(REGISTRY)
    return Response(text, content_type=CONTENT_TYPE_LATEST, headers={"Cache-Control": "no-store"})


def start_timer() -> None:
    """Start the timer of the current request."""
    g.start = time.perf_counter()


def record_request(response: Response) -> Response:
    """Count the request."""
    if "start" in g:  # else it is the head of a response that is built ahead of requests
        requests, seconds = get_series(response)
        requests.inc()
        seconds.observe(time.perf_counter() - g.start)
    return response


def get_series(response: Response) -> tuple[Counter, Histogram]:
    """Return what counts the current request: by its route, never by the URL itself, which clients choose."""
    route = request.url_rule.rule if request.url_rule is not None else "none"
    return REQUESTS.labels(_method(request.method), route, response.status_code), SECONDS.labels(route)


def count_request(method: str, status: int) -> None:
    """Count a request that reached no route."""
    REQUESTS.labels(_method(method), "none", status).inc()


def _method(method: str) -> str:
    return method if method in ("GET", "HEAD", "POST", "OPTIONS") else "other"
