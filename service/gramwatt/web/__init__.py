"""The web layer: a Flask application around the calculators, made by `create_app`."""

from __future__ import annotations

import os

from flask import Flask, request
from werkzeug.exceptions import HTTPException

from gramwatt.engine import registry
from gramwatt.engine.budget import Cancelled, TooMuchWork
from gramwatt.engine.limits import REQUEST_SECONDS
from gramwatt.engine.query_strings import find_example_query
from gramwatt.extras import MissingExtra
from gramwatt.web import headers, links, problems
from gramwatt.web.middleware import compression, conditions, failures, fast_path, metrics
from gramwatt.web.middleware.memory import MemoryTrimmer
from gramwatt.web.middleware.proxies import TrustedProxies
from gramwatt.web.middleware.rate_limit import MAX_URL_LENGTH, RateLimit
from gramwatt.web.middleware.work_limits import WorkLimits
from gramwatt.web.pages import routes as pages
from gramwatt.web.request_parsing import check_content_coding
from gramwatt.web.routes import calculators, charts, docs, recordings, reference, site, tables

MAX_BODY_BYTES = 1024 * 1024
LOCAL_HOSTS = ("localhost", "127.0.0.1")
"""Host names of this machine, by which its own probes call."""


def create_app() -> Flask:
    """Create the application. Raises DeclarationError, which names the file, if a calculator is declared wrongly.

    Environment variables:

    - GRAMWATT_RATE_LIMIT: requests per minute of one client (0 or unset: no limit)
    - GRAMWATT_PROXIES: reverse proxies whose X-Forwarded headers are trusted, see `TrustedProxies` (unset: none)
    - GRAMWATT_HOSTS: host names that are served beside those of this machine (unset: any)
    - GRAMWATT_URL: the public address of the service, such as https://tools.example.org (unset: that of each request)
    - GRAMWATT_CACHE_BYTES: bytes of responses that a worker caches (unset: 32 MiB)
    - GRAMWATT_REQUEST_SECONDS: computing time of a request (unset: 30), extended by the size of a table
    """
    app = failures.Application(__name__)
    _configure(app)
    _add_middleware(app)
    _add_hooks(app)
    _add_error_handlers(app)
    for module in (site, reference, docs, metrics, calculators, tables, recordings, charts, pages):
        app.register_blueprint(module.blueprint)
    return app


def _configure(app: Flask) -> None:
    app.url_map.strict_slashes = False
    app.url_map.merge_slashes = False
    app.config["MAX_CONTENT_LENGTH"] = MAX_BODY_BYTES
    app.config["FIRST_QUERIES"] = {name: find_example_query(calculator) for name, calculator in registry.load().items()}
    hosts = os.environ.get("GRAMWATT_HOSTS", "").replace(",", " ").split()
    app.config["TRUSTED_HOSTS"] = [*hosts, *LOCAL_HOSTS] if hosts else None
    app.logger.addFilter(failures.EscapeTraceback())


def _add_middleware(app: Flask) -> None:
    """Wrap the application, from the inside out; `_add_hooks` puts the fast path in front of all."""
    seconds = float(os.environ.get("GRAMWATT_REQUEST_SECONDS") or REQUEST_SECONDS)
    limited = WorkLimits(app.wsgi_app, seconds, MemoryTrimmer().observe)
    proxied = TrustedProxies(limited, os.environ.get("GRAMWATT_PROXIES", ""))
    app.wsgi_app = failures.FailureMiddleware(proxied)  # type: ignore[method-assign]


def _add_hooks(app: Flask) -> None:
    """Add what runs before each request, in order, and after it, in reverse order."""
    app.before_request(metrics.start_timer)
    app.before_request(headers.assign_request_id)
    app.before_request(_check_url)
    app.before_request(check_content_coding)
    per_minute = int(os.environ.get("GRAMWATT_RATE_LIMIT") or 0)
    if per_minute > 0:
        limit = RateLimit(per_minute)
        app.before_request(limit.check)
        app.after_request(limit.add_headers)
    else:
        fast_path.install(app)
    app.after_request(headers.add_headers)
    app.after_request(links.add_links)
    app.after_request(calculators.narrow_allow_header)
    app.after_request(metrics.record_request)
    app.after_request(conditions.respond_to_conditions)
    app.after_request(compression.compress_response)


def _add_error_handlers(app: Flask) -> None:
    app.register_error_handler(problems.Problem, problems.respond_to_problem)
    app.register_error_handler(HTTPException, problems.respond_to_http_error)
    app.register_error_handler(MissingExtra, problems.respond_to_missing_extra)
    app.register_error_handler(TooMuchWork, problems.respond_to_too_much_work)
    app.register_error_handler(Cancelled, problems.respond_to_cancelled)
    app.register_error_handler(Exception, failures.respond_to_failure)


def _check_url() -> None:
    try:
        length = len(request.full_path)
    except UnicodeDecodeError:  # some servers do not reject such bytes
        raise problems.Problem("malformed-request", "The query is not UTF-8; percent-encode it.") from None
    if length > MAX_URL_LENGTH:
        raise problems.Problem("uri-too-long", f"A URL may have {MAX_URL_LENGTH} characters; send more inputs by POST.")
