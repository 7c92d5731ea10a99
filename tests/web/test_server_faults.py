"""The service as it runs, when clients leave, processes die, and operators stop or reload it; in both shapes."""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import signal
import socket
import subprocess
import threading
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

from web.conftest import running
from web.wire import HEAD, PACK, QUESTION, SHAPES, answers, chunked, problem, send

ASKED = HEAD + b"Content-Length: %d\r\n\r\n" % len(QUESTION)
KEPT = b"GET " + PACK.encode() + b" HTTP/1.1\r\nHost: x\r\n\r\n"


@pytest.fixture(scope="module", params=SHAPES)
def live(request: pytest.FixtureRequest) -> Iterator[str]:
    with running(GRAMWATT_SERVER=request.param) as (port, _):
        yield f"http://127.0.0.1:{port}"


def connect(base: str) -> socket.socket:
    address = urlsplit(base)
    return socket.create_connection((address.hostname, address.port or 80), timeout=60)


def read_answer(connection: socket.socket, method: str = "GET") -> tuple[int, bytes]:
    response = http.client.HTTPResponse(connection, method=method)
    response.begin()
    return response.status, response.read()


def until(condition: Any) -> Any:
    """Try until it is true, or for a minute; what it is."""
    for _ in range(600):
        with contextlib.suppress(OSError):
            if made := condition():
                return made
        time.sleep(0.1)
    raise AssertionError("it never came true")


def workers(process: subprocess.Popen[str]) -> set[int]:
    listed = Path(f"/proc/{process.pid}/task/{process.pid}/children")
    if not listed.exists():
        pytest.skip("this system does not list a process's children in /proc")
    return {int(number) for number in listed.read_text().split()}


def test_a_connection_is_kept_and_head_has_no_body(live: str) -> None:
    with connect(live) as connection:
        for method in ("GET", "HEAD", "OPTIONS", "GET"):
            connection.sendall(KEPT.replace(b"GET", method.encode(), 1))
            status, body = read_answer(connection, method)
            assert status == 200
            assert bool(body) == (method == "GET")


@pytest.mark.parametrize("parts", [1, 2])
def test_requests_in_one_go_are_answered_in_turn(live: str, parts: int) -> None:
    last = KEPT.replace(b"Host", b"Connection: close\r\nHost")
    with connect(live) as connection:
        at = len(KEPT) + 10 if parts == 2 else 0
        connection.sendall((KEPT + last)[:at])
        time.sleep(0.1 * (parts - 1))
        connection.sendall((KEPT + last)[at:])
        received = b""
        while piece := connection.recv(65536):
            received += piece
    assert received.count(b"HTTP/1.1 200 OK") == 2
    assert received.count(b"23.088") >= 2


def test_who_has_sent_all_still_hears_the_answer(live: str) -> None:
    with connect(live) as connection:
        connection.sendall(KEPT)
        connection.shutdown(socket.SHUT_WR)
        status, body = read_answer(connection)
        assert status == 200
        assert json.loads(body)["results"]["usable_energy"] == 23.088
        assert connection.recv(1) == b""


@pytest.mark.parametrize("shape", SHAPES)
def test_a_body_that_ends_early_is_a_problem(shape: str) -> None:
    """Even where what came is a whole question, and where the server itself takes the end for the body's."""
    with running(GRAMWATT_SERVER=shape) as (port, _), connect(f"http://127.0.0.1:{port}") as connection:
        connection.sendall(HEAD + b"Content-Length: 100\r\n\r\n" + QUESTION)
        connection.shutdown(socket.SHUT_WR)
        status, body = read_answer(connection)
        assert status == 400
        assert json.loads(body)["type"] == "/problems/malformed-request"


@pytest.mark.parametrize("head", [b"Content-Length: 100\r\n\r\n{", b"Transfer-Encoding: chunked\r\n\r\n5\r\n{    \r\n"])
def test_a_body_that_stops_is_told_so(live: str, head: bytes) -> None:
    problem(send(live, HEAD + head), 400, "malformed-request")


def test_half_a_head_is_not_waited_for_for_ever(live: str) -> None:
    with connect(live) as connection:
        connection.sendall(KEPT + KEPT[:20])
        assert read_answer(connection)[0] == 200
        with contextlib.suppress(ConnectionResetError):
            while connection.recv(65536):
                pass


@pytest.mark.parametrize("framing", ["length", "chunked"])
def test_who_still_sends_hears_that_it_is_too_much(live: str, framing: str) -> None:
    """Ten times the limit, all of it sent: the answer must not be lost in a reset."""
    body = b" " * (10 * 1024 * 1024)
    head = HEAD + (
        b"Transfer-Encoding: chunked\r\n\r\n" if framing == "chunked" else b"Content-Length: 10485760\r\n\r\n"
    )
    problem(send(live, head + (chunked(body) if framing == "chunked" else body)), 413, "too-large")
    assert answers(live)


def test_clients_that_read_nothing_stop_nobody(live: str) -> None:
    with contextlib.ExitStack() as deaf:
        for _ in range(16):
            connection = connect(live)
            deaf.callback(connection.close)
            connection.setblocking(False)
            with contextlib.suppress(BlockingIOError):
                for _ in range(40):
                    connection.send(b"GET /openapi.json HTTP/1.1\r\nHost: x\r\n\r\n")
        assert all(answers(live) for _ in range(4))


@pytest.mark.parametrize("shape", SHAPES)
def test_sigterm_lets_requests_under_way_end(shape: str) -> None:
    with running(GRAMWATT_SERVER=shape) as (port, process), connect(f"http://127.0.0.1:{port}") as connection:
        connection.sendall(ASKED + QUESTION[:5])
        time.sleep(0.5)
        process.send_signal(signal.SIGTERM)
        time.sleep(1.5)
        connection.sendall(QUESTION[5:])
        status, body = read_answer(connection)
        assert status == 200
        assert json.loads(body)["results"]["usable_energy"] == 23.088
        assert process.wait(60) == 0


@pytest.mark.parametrize("shape", SHAPES)
def test_a_killed_worker_is_replaced(shape: str) -> None:
    with running(GRAMWATT_SERVER=shape, WEB_CONCURRENCY="2") as (port, process):
        base = f"http://127.0.0.1:{port}"
        before = until(lambda: pair if len(pair := workers(process)) == 2 else None)
        os.kill(min(before), signal.SIGKILL)
        until(lambda: len(workers(process)) == 2 and workers(process) != before)
        assert all(answers(base) for _ in range(8))


@pytest.mark.parametrize("shape", SHAPES)
def test_sighup_changes_the_workers_and_loses_nobody(shape: str, tmp_path: Path) -> None:
    """Each client asks on new connections all the while; afterwards the folder of metrics is cleared away still."""
    wrong: list[object] = []
    done = threading.Event()

    def ask(base: str) -> None:
        while not done.is_set():
            try:
                with urllib.request.urlopen(base + PACK, timeout=60) as answer:
                    answer.read()
            except OSError as error:
                wrong.append(error)

    with running(GRAMWATT_SERVER=shape, WEB_CONCURRENCY="2", TMPDIR=str(tmp_path)) as (port, process):
        before = until(lambda: pair if len(pair := workers(process)) == 2 else None)
        asking = [threading.Thread(target=ask, args=(f"http://127.0.0.1:{port}",)) for _ in range(4)]
        for thread in asking:
            thread.start()
        process.send_signal(signal.SIGHUP)
        try:
            until(lambda: len(workers(process)) == 2 and not workers(process) & before)
        finally:
            done.set()
            for thread in asking:
                thread.join()
    assert wrong == []
    assert list(tmp_path.iterdir()) == []


def test_an_unknown_shape_is_refused() -> None:
    with pytest.raises(AssertionError, match="GRAMWATT_SERVER=fast"), running(GRAMWATT_SERVER="fast"):
        pass
