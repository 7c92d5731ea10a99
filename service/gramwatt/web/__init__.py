"""The web: a Flask application around the calculators. `create_app` is the whole of it at a glance."""

from __future__ import annotations

import os

from flask import Flask, request
from werkzeug.exceptions import HTTPException

from gramwatt.engine import registry
from gramwatt.engine.budget import Cancelled, TooMuchWork
from gramwatt.engine.limits import REQUEST_SECONDS
from gramwatt.engine.query_strings import find_example_query
from gramwatt.extras import MissingExtra
from gramwatt.web import headers, problems
from gramwatt.web.middleware import failures, fast_path, metrics
from gramwatt.web.middleware.memory import MemoryTrimmer
from gramwatt.web.middleware.proxies import TrustedProxies
from gramwatt.web.middleware.rate_limit import MAX_URL_LENGTH, RateLimit
from gramwatt.web.middleware.work_limits import WorkLimits
from gramwatt.web.pages import routes as pages
from gramwatt.web.routes import calculators, charts, recordings, site, tables

LARGEST_BODY = 1024 * 1024
LOCAL_HOSTS = ("localhost", "127.0.0.1")
"""Host names of this machine, by which its own probes call."""


def create_app() -> Flask:
    """Create the application. Raises DeclarationError, naming the file, where a calculator's declaration is wrong.

    Whether each calculator's examples come out is not computed here but in the tests and by `gramwatt check`.

    Environment: GRAMWATT_RATE_LIMIT, requests a minute from one client (0 or unset: no limit); GRAMWATT_PROXIES, the
    reverse proxies whose X-Forwarded-For, -Proto and -Host are believed, see `TrustedProxies` (0 or unset: none);
    GRAMWATT_HOSTS, the host names that are served beside those of this machine (unset: any); GRAMWATT_CACHE_BYTES,
    bytes of finished responses that a worker caches (unset: 32 MiB); GRAMWATT_REQUEST_SECONDS, computing time of a
    request (unset: 30), to which the bytes of a table add.
    """
    known = registry.load()
    app = failures.Application(__name__)
    app.url_map.strict_slashes = False
    app.url_map.merge_slashes = False
    app.config["MAX_CONTENT_LENGTH"] = LARGEST_BODY
    app.config["FIRST_QUERIES"] = {name: find_example_query(calculator) for name, calculator in known.items()}
    hosts = os.environ.get("GRAMWATT_HOSTS", "").replace(",", " ").split()
    app.config["TRUSTED_HOSTS"] = [*hosts, *LOCAL_HOSTS] if hosts else None
    seconds = float(os.environ.get("GRAMWATT_REQUEST_SECONDS") or REQUEST_SECONDS)
    limited = WorkLimits(app.wsgi_app, seconds, MemoryTrimmer().observe)
    proxies = TrustedProxies(limited, os.environ.get("GRAMWATT_PROXIES", ""))
    app.wsgi_app = failures.FailureMiddleware(proxies)  # type: ignore[method-assign]
    app.logger.addFilter(failures.EscapeTraceback())

    app.before_request(metrics.start_timer)
    app.before_request(headers.assign_request_id)
    app.before_request(_check_url)
    per_minute = int(os.environ.get("GRAMWATT_RATE_LIMIT") or 0)
    if per_minute > 0:
        limit = RateLimit(per_minute)
        app.before_request(limit.before)
        app.after_request(limit.after)
    else:
        fast_path.install(app)
    app.after_request(headers.add_headers)
    app.after_request(calculators.narrow_allow_header)  # these run last first
    app.after_request(metrics.record_request)

    app.register_error_handler(problems.Problem, problems.respond_to_problem)
    app.register_error_handler(HTTPException, problems.respond_to_http_error)
    app.register_error_handler(MissingExtra, problems.respond_to_missing_extra)
    app.register_error_handler(TooMuchWork, problems.respond_to_too_much_work)
    app.register_error_handler(Cancelled, problems.respond_to_cancelled)
    app.register_error_handler(Exception, failures.respond_to_failure)

    app.register_blueprint(site.blueprint)
    app.register_blueprint(metrics.blueprint)
    app.register_blueprint(calculators.blueprint)
    app.register_blueprint(tables.blueprint)
    app.register_blueprint(recordings.blueprint)
    app.register_blueprint(charts.blueprint)
    app.register_blueprint(pages.blueprint)
    return app


def _check_url() -> None:
    try:
        length = len(request.full_path)
    except UnicodeDecodeError:  # some servers pass such bytes on
        raise problems.Problem("malformed-request", "The query is not UTF-8; percent-encode it.") from None
    if length > MAX_URL_LENGTH:
        raise problems.Problem(
            "uri-too-long", f"A URL may have {MAX_URL_LENGTH} characters; send a longer question by POST."
        )
