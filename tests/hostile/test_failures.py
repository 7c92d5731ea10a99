"""Whatever raises, and wherever: the client gets a problem, its id is in the log, and the metrics count it."""

from __future__ import annotations

import json
import logging
import re
import subprocess
import sys
import urllib.request
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from flask import Flask
from prometheus_client import REGISTRY

from gramwatt.engine.calculate import get_calculator
from gramwatt.server.adapter import WsgiToAsgi
from gramwatt.server.application import is_long, respond_to_error
from gramwatt.web import create_app
from gramwatt.web.middleware.failures import MAX_LINE_LENGTH, MAX_LINES, EscapeTraceback, FailureMiddleware
from gramwatt.web.middleware.fast_path import FastPath
from server.asgi_client import Request, run
from web.conftest import free_port, wait_until_ready
from web.test_fast_path import PACK, PATH, Case, make_post
from web.wire import BODY, HEAD, problem, send

INPUTS = {"cells": 6, "capacity": 1300}
ROWS = b"cells,capacity\n" + b"6,1300\n" * 300_000
LAST = 3
CSV = (("Content-Type", "text/csv"),)


class PanicException(BaseException):
    """As extension code in Rust raises it."""


def panic(*args: Any, **kwargs: Any) -> Any:
    raise PanicException("called `Option::unwrap()` on a `None` value")


def count(name: str = "gramwatt_failures_total") -> float:
    return sum(each.value for metric in REGISTRY.collect() for each in metric.samples if each.name == name)


def count_500(route: str) -> float:
    samples = (each for metric in REGISTRY.collect() for each in metric.samples)
    return sum(
        each.value
        for each in samples
        if each.name == "gramwatt_requests_total" and each.labels["status"] == "500" and each.labels["route"] == route
    )


def assert_problem(body: bytes, caplog: pytest.LogCaptureFixture) -> None:
    made = json.loads(body)
    assert (made["type"].removeprefix("http://localhost"), made["status"]) == ("/problems/internal-error", 500)
    request_id = made["instance"].removeprefix("urn:uuid:")
    assert [request_id in record.getMessage() for record in caplog.records if record.levelno == logging.ERROR] == [True]


@pytest.fixture(
    params=[PanicException("a panic"), SystemExit(3), ZeroDivisionError("a bug")], ids=lambda e: type(e).__name__
)
def broken(request: pytest.FixtureRequest) -> Iterator[Flask]:
    """Return an application whose pack-energy raises."""

    def pack_energy(given: Any) -> Any:
        raise request.param

    calculator = get_calculator("pack-energy")
    formula = calculator.formula
    object.__setattr__(calculator, "formula", pack_energy)
    try:
        yield create_app()
    finally:
        object.__setattr__(calculator, "formula", formula)


def send_to_asgi(app: Flask, case: Case) -> tuple[int, bytes]:
    """Send a request as the server does, through the adapter with its hooks; status and body."""
    fast_path: FastPath = app.extensions["fast_path"]
    response: list[Any] = []

    async def send() -> None:
        adapter = WsgiToAsgi(
            fast_path.application,
            run_in_thread=is_long,
            get_response=fast_path.respond,
            respond_to_error=respond_to_error,
        )
        headers: list[Any] = [(name.lower().encode(), value.encode()) for name, value in case.headers]
        headers.append((b"content-length", b"%d" % len(case.body)))
        request = Request(adapter, case.method, case.path, headers)
        request.scope.update(raw_path=case.path.encode(), query_string=case.query.encode())
        request.send(case.body, more=False)
        head, *rest = await request.end()
        response.extend((head["status"], b"".join(message["body"] for message in rest)))

    run(send)
    return response[0], response[1]


FORMS = [
    pytest.param(PACK, id="query"),
    pytest.param(make_post(PATH, INPUTS), id="body"),
    pytest.param(Case(f"{PATH}/usable_energy", "cells=6&capacity=1300"), id="value"),
    pytest.param(Case(f"{PATH}/sweep", "vary=cells&from=1&to=6&count=6&capacity=1300"), id="sweep"),
]


@pytest.mark.parametrize("case", FORMS)
def test_a_failing_formula_is_a_problem_by_asgi(broken: Flask, case: Case, caplog: pytest.LogCaptureFixture) -> None:
    failures, route = (
        count(),
        case.path.replace("pack-energy", "<calculator_name>").replace("usable_energy", "<result>"),
    )
    before = count_500(route)
    status, body = send_to_asgi(broken, case)
    assert status == 500
    assert_problem(body, caplog)
    assert count() == failures + 1
    assert count_500(route) == before + 1


@pytest.mark.parametrize("case", FORMS)
def test_a_failing_formula_is_a_problem_by_wsgi(broken: Flask, case: Case, caplog: pytest.LogCaptureFixture) -> None:
    failures = count()
    status, headers, body = case.send_by_wsgi(broken.wsgi_app)
    assert (status, dict(headers)["content-type"]) == (500, "application/problem+json")
    assert_problem(body, caplog)
    assert count() == failures + 1


def test_a_failing_streamed_table_in_a_thread_is_a_problem(broken: Flask, caplog: pytest.LogCaptureFixture) -> None:
    failures = count()
    status, body = send_to_asgi(broken, Case(f"{PATH}/batch", "", "POST", ROWS, CSV))
    assert status == 500
    assert_problem(body, caplog)
    assert count() == failures + 1


@pytest.mark.parametrize("kind", [PanicException, ZeroDivisionError])
def test_a_table_that_fails_on_its_way_says_so_in_a_row(kind: Any, caplog: pytest.LogCaptureFixture) -> None:
    calculator, failures = get_calculator("pack-energy"), count()
    formula = calculator.formula

    def pack_energy(given: Any) -> Any:
        if (given.cells == LAST).any():
            raise kind("late")
        return formula(given)

    object.__setattr__(calculator, "formula", pack_energy)
    try:
        status, body = send_to_asgi(create_app(), Case(f"{PATH}/batch", "", "POST", ROWS + b"%d,1300\n" % LAST, CSV))
    finally:
        object.__setattr__(calculator, "formula", formula)
    assert status == 200
    assert b"#ERR internal-error after row" in body.splitlines()[-1]
    assert count() == failures + 1
    assert "late" in caplog.text


HOOKS: list[Any] = ["get_response", "run_in_thread", "head"]


@pytest.mark.parametrize("hook", HOOKS)
@pytest.mark.parametrize("case", [PACK, make_post(PATH, INPUTS)], ids=["no body", "body"])
def test_a_failing_hook_of_the_adapter_is_a_problem(hook: str, case: Case, caplog: pytest.LogCaptureFixture) -> None:
    app, failures, before = create_app(), count(), count_500("none")
    hooks: dict[str, Any] = {"respond_to_error": respond_to_error}
    headers: list[Any] = [(b"content-length", b"9" * 5000 if hook == "head" else b"%d" % len(case.body))]
    if hook != "head":
        hooks[hook] = panic
    response: list[Any] = []

    async def send() -> None:
        request = Request(WsgiToAsgi(app.extensions["fast_path"].application, **hooks), case.method, case.path, headers)
        request.send(case.body, more=False)
        response.extend(await request.end())

    run(send)
    assert response[0]["status"] == 500
    assert_problem(response[1]["body"], caplog)
    assert (count(), count_500("none")) == (failures + 1, before + 1)


def test_a_failing_fast_path_leaves_the_request_to_flask(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """A head that lacks a field was once learnt from traffic; then every plain POST was a 500."""
    app = create_app()
    expected = [case.send_by_wsgi(app) for case in (PACK, make_post(PATH, INPUTS))]
    app = create_app()
    monkeypatch.setattr("gramwatt.web.middleware.response_cache.ResponseHead.replace", panic)
    failures = count()
    assert [case.send_by_wsgi(app) for case in (PACK, make_post(PATH, INPUTS))] == expected
    assert [PACK._replace(query="cells=5&capacity=1").send_by_asgi(app.extensions["fast_path"])] == [None]
    assert count() == failures + 3
    assert "Option::unwrap" in caplog.text


def test_a_failing_cache_costs_no_response(monkeypatch: pytest.MonkeyPatch) -> None:
    app = create_app()
    monkeypatch.setattr("gramwatt.web.middleware.response_cache.ResponseHead.__init__", lambda *_: 1 / 0)
    failures = count()
    assert app.test_client().get("/v1").status_code == 200
    assert count() == failures + 1


def test_one_long_captioned_video_disables_no_route() -> None:
    """Over 1,000 frames are streamed without Content-Length; the plain answers after it have theirs."""
    flight = {"log": {"time": [0, 1], "voltage": [16, 16], "current": [8, 8]}, "cells": 4, "capacity": 850}
    app = create_app()
    for end in (60, 60, 60, 1):
        case = make_post("/v1/overlay-cues", {**flight, "video_end_time": end})
        for status, headers, body in (case.send_by_wsgi(app), case.send_by_wsgi(app.wsgi_app)):
            assert status == 200
            assert int(dict(headers).get("content-length", len(body))) == len(body)
        assert send_to_asgi(app, case)[0] == 200


def test_an_error_while_a_response_is_finished_is_logged_under_its_id(caplog: pytest.LogCaptureFixture) -> None:
    app = create_app()
    fails = iter([True, False])
    app.after_request_funcs[None].insert(0, lambda response: 1 / 0 if next(fails) else response)
    response = app.test_client().get("/v1")
    assert response.status_code == 500
    assert_problem(response.data, caplog)


def test_a_response_that_fails_on_its_way_is_logged_under_its_id(caplog: pytest.LogCaptureFixture) -> None:
    def application(environ: Any, start: Callable[..., Any]) -> Iterator[bytes]:
        start("200 OK", [("X-Request-ID", "the-id")])
        yield b"one"
        panic()

    failures, made = count(), FailureMiddleware(application)({"REQUEST_METHOD": "GET"}, lambda *_: None)
    chunks = iter(made)
    assert next(chunks) == b"one"
    with pytest.raises(PanicException):
        next(chunks)
    assert count() == failures + 1
    assert "request the-id failed" in caplog.text


@pytest.mark.parametrize("method", ["GET", "HEAD"])
def test_a_response_that_fails_before_its_first_byte_is_a_problem(
    method: str, caplog: pytest.LogCaptureFixture
) -> None:
    def application(environ: Any, start: Callable[..., Any]) -> Iterator[bytes]:
        start("200 OK", [])
        yield b""
        panic()

    starts: list[Any] = []
    body = b"".join(FailureMiddleware(application)({"REQUEST_METHOD": method}, lambda *start: starts.append(start)))
    assert starts[-1][0] == "500 INTERNAL SERVER ERROR"
    if method == "GET":
        assert_problem(body, caplog)
    else:
        assert body == b""


def test_no_line_of_a_traceback_passes_for_another_record() -> None:
    r"""A time zone named `x\\n[2026-01-01] ERROR ...` forges no line."""
    forged = "x\n[2026-01-01 00:00:00,000] ERROR in web: forged\r\x1b[2J\u2028forged too" + "y" * 10_000 + "\n" * 1000
    try:
        raise LookupError(forged)
    except LookupError as error:
        record = logging.LogRecord("x", logging.ERROR, "", 1, "request %s failed", ("id",), (type(error), error, None))
    EscapeTraceback().filter(record)
    lines = logging.Formatter("[now] %(message)s").format(record).split("\n")
    assert lines[0] == "[now] request id failed"
    assert all(line.startswith("    ") and len(line) <= MAX_LINE_LENGTH + 4 for line in lines[1:])
    assert all(line.isprintable() for line in lines)
    assert any("ERROR in web: forged" in line for line in lines)
    assert len(lines) <= MAX_LINES + 2


def test_a_path_with_a_line_feed_forges_no_line(caplog: pytest.LogCaptureFixture) -> None:
    app = create_app()
    app.before_request_funcs[None].append(panic)
    response = app.test_client().get("/v1/x%0A[2026-01-01] ERROR forged", headers={"User-Agent": "a"})
    assert response.status_code == 500
    assert_problem(response.data, caplog)
    assert not re.search(r"^\[2026", caplog.text, re.MULTILINE)


def test_routes_and_statuses_alone_are_labels() -> None:
    """Series of metrics are as many as routes and statuses, whatever is requested."""
    client, before = create_app().test_client(), len({id(each) for each in _series()})
    for number in range(300):
        client.open(f"/nothing/{number}", method=f"M{number}")
        client.get(f"/v1/pack-energy/{number}")
        client.get(f"/v1/{number}?{number}={number}")
    labels = {tuple(sorted(each.labels.items())) for each in _series()}
    assert len(labels) - before < 30


def _series() -> list[Any]:
    return [each for metric in REGISTRY.collect() for each in metric.samples if each.name == "gramwatt_requests_total"]


BROKEN_SERVICE = """
import sys
from gramwatt.engine.calculate import get_calculator
from gramwatt.server.run import serve, serve_with_waitress

class PanicException(BaseException):
    pass

def pack_energy(given):
    raise PanicException("a panic\\n[forged] line")

object.__setattr__(get_calculator("pack-energy"), "formula", pack_energy)
{"own": serve, "waitress": serve_with_waitress}[sys.argv[1]]("127.0.0.1", int(sys.argv[2]), lambda: None)
"""


@pytest.mark.parametrize("server", ["own", "waitress"])
def test_the_instance_of_every_500_is_in_the_log_of_the_running_service(server: str) -> None:
    port = free_port()
    base, command = f"http://127.0.0.1:{port}", [sys.executable, "-c", BROKEN_SERVICE, server, str(port)]
    path, instances = PATH.encode(), []
    requests = [
        b"GET " + path + b"?cells=6&capacity=1300 HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n",
        HEAD + b"Content-Length: %d\r\n\r\n" % len(BODY) + BODY,
        HEAD.replace(b"energy", b"energy/batch").replace(b"application/json", b"text/csv")
        + b"Content-Length: %d\r\n\r\n" % len(ROWS)
        + ROWS,
    ]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as process:
        try:
            wait_until_ready(base, process)
            instances = [problem(send(base, raw), 500, "internal-error")["instance"] for raw in requests]
            with urllib.request.urlopen(f"{base}/metrics", timeout=60) as response:
                metrics = response.read().decode()
        finally:
            process.terminate()
            output, _ = process.communicate(timeout=60)
    assert [f"request {each.removeprefix('urn:uuid:')} failed" in output for each in instances] == [True] * 3
    assert "gramwatt_failures_total 3.0" in metrics
    assert not [line for line in output.splitlines() if line.startswith("[forged]")]
