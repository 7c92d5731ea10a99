"""Prometheus metrics: how many requests, how fast, with what status; several workers added up by the library."""

from __future__ import annotations

import os
import time

from flask import Blueprint, Response, g, request
from prometheus_client import CONTENT_TYPE_LATEST, REGISTRY, CollectorRegistry, Counter, Histogram, generate_latest
from prometheus_client.multiprocess import MultiProcessCollector

REQUESTS = Counter("gramwatt_requests", "Requests answered.", ["method", "route", "status"])
SECONDS = Histogram(
    "gramwatt_request_seconds",
    "Seconds from request to response.",
    ["route"],
    buckets=(0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.5, 1, 5),
)

blueprint = Blueprint("metrics", __name__)


@blueprint.get("/metrics")
def metrics() -> Response:
    """The metrics in Prometheus' text format."""
    registry = REGISTRY
    if os.environ.get("PROMETHEUS_MULTIPROC_DIR"):
        registry = CollectorRegistry()
        MultiProcessCollector(registry)  # type: ignore[no-untyped-call]
    return Response(generate_latest(registry), content_type=CONTENT_TYPE_LATEST, headers={"Cache-Control": "no-store"})


def begin() -> None:
    """Start the clock."""
    g.began = time.perf_counter()


def finish(response: Response) -> Response:
    """Count the request under its route, never under the URL itself: clients must not choose label values."""
    route = request.url_rule.rule if request.url_rule is not None else "none"
    known = ("GET", "HEAD", "POST", "OPTIONS")
    REQUESTS.labels(request.method if request.method in known else "other", route, response.status_code).inc()
    SECONDS.labels(route).observe(time.perf_counter() - g.began)
    return response
