"""The tools of the benchmark: what it sends, and how it counts CPU time."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import pytest
from flask.testing import FlaskClient

from benchmarks import examples, rounds
from benchmarks.examples import Example
from benchmarks.processes import Server, WorkersChanged, cpu_used
from benchmarks.report import Report
from gramwatt.engine import registry
from gramwatt.web import create_app

ALL = [*examples.of_calculators(), examples.of_readme()]
FAR = 90_000  # more requests than a run sends of one example


def test_every_calculator_has_an_example_that_varies() -> None:
    assert [example.name for example in ALL] == [*registry.list_names(), examples.README_NAME]


@pytest.mark.parametrize("example", ALL, ids=lambda example: example.name)
def test_requests_differ_and_responses_are_alike(example: Example, client: FlaskClient) -> None:
    sent = [*example.requests(0, 2), *example.requests(FAR, 1)]
    answers = [_ask(client, request) for request in sent]
    assert len(set(sent)) == len({str(answer["given"]) for answer in answers}) == 3
    assert all(set(answer["assumed"]) == set(answers[0]["assumed"]) for answer in answers)
    codes = [[caution["code"] for caution in answer["cautions"]] for answer in answers]
    assert codes[0] == codes[1] == codes[2]


def _ask(client: FlaskClient, request: bytes) -> dict[str, Any]:
    head, _, body = request.decode().partition("\r\n\r\n")
    method, target, _ = head.split("\r\n")[0].split(" ")
    response = client.open(target, method=method, data=body or None, content_type="application/json" if body else None)
    assert response.status_code == 200, response.text
    assert response.json is not None
    return dict(response.json)


def test_plain_numbers_give_the_same_results(client: FlaskClient) -> None:
    with_units = (each for each in ALL if any(isinstance(v, str) and v[0].isdigit() for v in each.inputs.values()))
    example = next(with_units)
    plain = examples.in_numbers(example)
    assert plain.inputs != example.inputs
    assert _ask(client, plain.requests(0, 1)[0])["results"] == _ask(client, example.requests(0, 1)[0])["results"]


def test_cpu_time_is_the_sum_over_processes() -> None:
    assert cpu_used({1: 0.5, 2: 1.0}, {1: 0.75, 2: 1.5}) == 0.75


@pytest.mark.parametrize("after", [{1: 9.0}, {1: 9.0, 3: 0.1}, {1: 9.0, 2: 9.0, 3: 0.1}])
def test_a_replaced_worker_is_reported(after: dict[int, float]) -> None:
    with pytest.raises(WorkersChanged):
        cpu_used({1: 0.5, 2: 8.0}, after)


@pytest.fixture
def client() -> FlaskClient:
    return create_app().test_client()


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    def do_GET(self) -> None:
        self.send_response(200)
        self.send_header("Content-Length", "2")
        self.end_headers()
        self.wfile.write(b"{}")

    def log_message(self, *_: object) -> None:
        """Write nothing to standard error."""


class _Recycling(Server):
    """A server whose worker has another process id whenever ``replaced`` says so."""

    def __init__(self, port: int, replaced: list[bool]) -> None:
        super().__init__("recycling", [], {}, "/")
        self.address = ("127.0.0.1", port)
        self._replaced = iter(replaced)
        self._worker = 1
        self._time = 0.0
        self._reads = 0

    def workers(self) -> list[int]:
        return []

    def cpu_times(self) -> dict[int, float]:
        self._reads += 1
        if self._reads % 2 == 0:  # the end of a round
            self._worker += next(self._replaced)
            self._time += 1.0
        return {self._worker: self._time}


@pytest.fixture
def port() -> Iterator[int]:
    with ThreadingHTTPServer(("127.0.0.1", 0), _Handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield int(server.server_address[1])
        server.shutdown()


def test_a_round_with_a_replaced_worker_is_repeated(port: int) -> None:
    request = [b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"]
    workload = rounds.Workload("constant", lambda *_: request, connections=2)
    warm_up, first, again = False, True, False
    contestant = rounds.Contestant(_Recycling(port, [warm_up, first, again]), workload)
    contestant.measure(0.05, even=True)
    assert (len(contestant.rounds), contestant.repeated) == (1, 1)
    assert contestant.rounds[0].cpu_seconds == 1.0
    assert contestant.rounds[0].completed > 0
    assert "a worker was replaced: 1" in contestant.describe()


def test_other_statuses_are_not_measured(port: int) -> None:
    report = Report()
    workload = rounds.Workload("unchanged", lambda *_: [b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"], status=304)
    assert rounds.admit(report, _Recycling(port, []), workload) is None
    assert "status 200" in report.text()


def test_differences_name_what_differs() -> None:
    ours = {"current": 2.0, "cells": [1.0, {"mass": 3.0}], "name": "a"}
    assert list(rounds.differences(ours, {"current": 2.0 + 1e-12, "cells": [1.0, {"mass": 3.0}], "name": "a"})) == []
    found = list(rounds.differences(ours, {"current": 2.1, "cells": [1.0, {"mass": 4.0}], "name": "b"}))
    assert [text.split()[0] for text in found] == ["current", "cells.1.mass", "name"]


def test_a_target_that_is_missed_is_marked() -> None:
    report = Report(section="rates")
    report.ratio("slow", [1.0, 2.0], [1.0, 1.0], 3)
    report.measure("fast", [5.0], 10, below=True)
    lines = report.text().splitlines()
    assert [line.endswith("MISSED") for line in lines if "least" in line or "under" in line] == [True, False]
