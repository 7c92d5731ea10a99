"""Every route responds to every method in any order as by Flask, and every error is a problem."""

from __future__ import annotations

import gzip
import json
import random
from collections.abc import Iterator
from typing import Any

import pytest
from flask import Flask
from werkzeug.exceptions import HTTPException
from werkzeug.test import Client

from gramwatt.server.adapter import WsgiToAsgi
from gramwatt.server.application import respond_to_error
from gramwatt.web import create_app
from gramwatt.web.headers import EXPOSED_HEADERS
from gramwatt.web.middleware.fast_path import FastPath
from server.asgi_client import Request, run
from web.test_fast_path import Case, Response

METHODS = ("GET", "HEAD", "OPTIONS", "POST", "PUT", "TRACE")
FILLED = {
    "<calculator_name>": "pack-energy",
    "<result>": "usable_energy",
    "<kind>": "invalid-input",
    "<version>": "1.0",
    "<operation_id>": "list_units",
    "<schema_name>": "Problem",
    "<path:filename>": "mark.svg",
}
QUERIES = ("", "cells=6&capacity=1300", "cells=6&capacity=1300&bogus=1", "vary=cells&from=1&to=6&count=3&capacity=1300")
JSON, CSV = ("Content-Type", "application/json"), ("Content-Type", "text/csv")
INPUTS = {"cells": 6, "capacity": 1300}
FLIGHT = {"time": [0, 1], "voltage": [16, 16], "current": [8, 8]}
BODIES: list[tuple[bytes, tuple[str, str]]] = [
    (json.dumps(INPUTS).encode(), JSON),
    (json.dumps({"given": {"capacity": 1300}, "vary": {"cells": {"values": [4, 6]}}}).encode(), JSON),
    (json.dumps([INPUTS]).encode(), JSON),
    (b"cells,capacity\n6,1300\n", CSV),
    (b"time,voltage,current\n0,16,8\n1,16,8\n", CSV),
    (b"{", JSON),
    (b"cells=6", ("Content-Type", "application/x-www-form-urlencoded")),
]


def list_paths(app: Flask) -> list[str]:
    paths = {rule.rule for rule in app.url_map.iter_rules()} - {"/metrics"}  # its numbers differ each time
    for name, value in FILLED.items():
        paths = {path.replace(name, value) for path in paths}
    return sorted(paths | {"/v1/flight-log/log", "/v1/overlay-cues", "/nothing", "/v1/nothing", "//v1", "/v1/"})


def cases(app: Flask) -> Iterator[Case]:
    """Yield the cases, every other one of a client that takes compressed responses."""
    for at, case in enumerate(_list_cases(app)):
        yield case if at % 2 else case._replace(headers=(*case.headers, ("Accept-Encoding", "gzip")))


def _list_cases(app: Flask) -> Iterator[Case]:
    for path in list_paths(app):
        for method in METHODS:
            if method == "POST":
                yield from (Case(path, "", method, body, (header,)) for body, header in BODIES)
                yield Case(path, QUERIES[1], method, BODIES[0][0], (JSON,))
            else:
                yield from (Case(path, query, method) for query in QUERIES)
    flight = {"log": FLIGHT, "cells": 4, "capacity": 850}
    for end in (1, 60):  # the second is streamed, without Content-Length
        yield Case("/v1/overlay-cues", "", "POST", json.dumps({**flight, "video_end_time": end}).encode(), (JSON,))


def by_wsgi(case: Case, application: Any) -> Response:
    with Client(application).open(case.make_environ()) as response:
        return response.status_code, [(name.lower(), value) for name, value in response.headers], response.get_data()


def drop_times(response: Response) -> Response:
    """Return a response without the headers that depend on the time."""
    return response[0], [header for header in response[1] if header[0] not in ("date", "expires")], response[2]


@pytest.fixture(scope="module")
def expected() -> list[tuple[Case, Response]]:
    """Return every case with its response by Flask."""
    app = create_app()
    return [(case, drop_times(by_wsgi(case, app.extensions["fast_path"].application))) for case in cases(app)]


def test_the_cases_reach_every_route(expected: list[tuple[Case, Response]]) -> None:
    app = create_app()
    adapter, reached = app.url_map.bind("x"), set()
    for case, _ in expected:
        try:
            rule, _ = adapter.match(case.path, case.method, return_rule=True)
        except HTTPException:
            continue
        reached.add((rule.rule, case.method))
    wanted = {
        (rule.rule, method)
        for rule in app.url_map.iter_rules()
        for method in rule.methods or ()
        if rule.rule != "/metrics"
    }
    assert wanted - reached == set()


@pytest.mark.parametrize("seed", range(2))
def test_every_route_is_computed_as_by_flask_in_any_order(expected: list[tuple[Case, Response]], seed: int) -> None:
    fast_path: FastPath = create_app().extensions["fast_path"]
    chance, responses = random.Random(seed), 0
    for case, wanted in chance.sample(expected * 2, len(expected) * 2):
        response = case.send_by_asgi(fast_path) if chance.random() < 0.5 else by_wsgi(case, fast_path)
        responses += response is not None
        assert drop_times(response or by_wsgi(case, fast_path.application)) == wanted, case
    assert responses > len(expected) / 2


def test_every_error_of_every_route_is_a_problem_under_its_id(expected: list[tuple[Case, Response]]) -> None:
    for case, (status, headers, body) in expected:
        assert status < 500, case
        if status >= 400:
            assert dict(headers)["content-type"] == "application/problem+json", case
            if case.method != "HEAD":
                text = gzip.decompress(body) if ("content-encoding", "gzip") in headers else body
                assert json.loads(text)["instance"] == f"urn:uuid:{dict(headers)['x-request-id']}", case


ALWAYS_READABLE = {"cache-control", "content-language", "content-length", "content-type", "expires", "last-modified"}
"""Headers that scripts of other sites may read anyway (Fetch standard, CORS-safelisted response-header names)."""
OF_THE_BROWSER = {"content-security-policy", "cross-origin-resource-policy", "date", "referrer-policy", "vary"}
OF_THE_BROWSER |= {"x-content-type-options"}


def test_scripts_of_other_sites_may_read_every_header(expected: list[tuple[Case, Response]]) -> None:
    seen = {name for _, (_, headers, _) in expected for name, _ in headers if not name.startswith("access-control-")}
    exposed = {name.strip().lower() for name in EXPOSED_HEADERS.split(",")}
    assert seen - ALWAYS_READABLE - OF_THE_BROWSER <= exposed
    assert {"accept-ranges", "content-encoding", "etag", "standing-cautions"} <= seen
    for _, (_, headers, _) in expected:
        assert dict(headers)["access-control-expose-headers"] == EXPOSED_HEADERS


def test_every_error_of_every_route_is_a_problem_where_flask_fails(expected: list[tuple[Case, Response]]) -> None:
    """Whatever the request, and though nothing of Flask's works, the adapter responds with a problem."""

    def application(environ: Any, start: Any) -> Any:
        raise SystemExit(1)

    async def test() -> None:
        adapter = WsgiToAsgi(application, respond_to_error=respond_to_error)
        for case, _ in expected[::20]:
            request = Request(adapter, case.method, case.path, [(b"content-length", b"%d" % len(case.body))])
            request.send(case.body, more=False)
            head, body = await request.end()
            assert head["status"] == 500
            assert json.loads(body["body"])["type"] == "/problems/internal-error"

    run(test)
