"""Who waits for whom: clients that are slow, that leave, or that ask for much, beside others that want their responses.

Each test runs a real service of one worker. What is asserted is that the others get responses while the attackers are
still there; the timeouts are so long, or so short, that how fast the machine is does not matter.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import json
import re
import socket
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
import uvicorn

from gramwatt.server import connection
from gramwatt.server.adapter import WsgiToAsgi
from gramwatt.server.application import is_long
from server.asgi_client import Endless
from web.conftest import free_port, running
from web.wire import KEEP_ALIVE, answers, connect, problem, send, until, workers

LIMIT = 30.0
"""Seconds after which a result counts as none."""
TABLE = "/v1/pack-energy/batch"
GRID = "/v1/air-density/sweep?vary=elevation&from=0&to=3000&count=500&vary=air_temperature&from=-10&to=40&count=500"
"""A quarter of a million rows, which no buffer between server and client holds."""
TABLE_HEAD = (
    f"POST {TABLE} HTTP/1.1\r\nHost: x\r\nContent-Type: text/csv\r\nTransfer-Encoding: chunked\r\n\r\n".encode()
)
ROWS = b"cells,capacity\n" + b"6,1300\n" * 20_000
PATIENT = {"WEB_CONCURRENCY": "1", "GRAMWATT_READ_TIMEOUT": "300", "GRAMWATT_UNREAD_TIMEOUT": "300"}


def fetch(base: str, path: str, body: bytes | None = None) -> tuple[int, bytes]:
    """Send a request; its status and body."""
    request = urllib.request.Request(base + path, body, {"Content-Type": "text/csv"})
    try:
        with urllib.request.urlopen(request, timeout=LIMIT) as response:
            return response.status, response.read()
    except urllib.error.HTTPError as error:
        with error:
            return error.code, error.read()


def answers_long_requests(base: str) -> bool:
    """Whether it answers a chart, a small table and one whose body is streamed; the first is drawn each time."""
    width = next(_numbers)
    chart = fetch(base, f"/v1/pack-energy/chart?cells=4&capacity={1000 + width}&format=txt")
    tables = [fetch(base, TABLE, rows) for rows in (ROWS[:100], ROWS)]
    return [status for status, _ in (chart, *tables)] == [200, 200, 200] and tables[1][1].count(b"\n") == 20_001


_numbers = itertools.count(1)


@contextlib.contextmanager
def attack(
    base: str, count: int, pause: float, begin: bytes, go_on: Callable[[socket.socket], object]
) -> Iterator[list[int]]:
    """So many clients that ``begin`` and then ``go_on`` after each pause; yields how many are still connected."""
    done, connected = threading.Event(), [0]
    address = urlsplit(base)

    def run() -> None:
        while not done.wait(pause):
            for client in list(clients):
                try:
                    go_on(client)
                except BlockingIOError:
                    continue
                except OSError:
                    clients.remove(client)
            connected[0] = len(clients)

    with contextlib.ExitStack() as stack:
        clients = []
        for _ in range(count):
            client = stack.enter_context(socket.socket())
            client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            client.connect((address.hostname, address.port))
            client.sendall(begin)
            client.setblocking(False)
            clients.append(client)
        thread = threading.Thread(target=run)
        thread.start()
        try:
            until(lambda: connected[0])
            yield connected
        finally:
            done.set()
            thread.join()


def test_clients_that_send_a_few_bytes_now_and_then_leave_threads_to_others() -> None:
    with running(**PATIENT) as (port, _):
        base = f"http://127.0.0.1:{port}"
        begin = TABLE_HEAD + b"f\r\ncells,capacity\n\r\n"
        with attack(base, 120, 0.5, begin, lambda client: client.send(b"2\r\n6,\r\n")) as connected:
            for _ in range(3):
                assert answers_long_requests(base)
            assert connected[0] >= 20, "the attackers are still there"
            assert answers(base)


def test_clients_that_read_a_little_now_and_then_leave_threads_to_others() -> None:
    with running(**PATIENT) as (port, _):
        base = f"http://127.0.0.1:{port}"
        begin = f"GET {GRID} HTTP/1.1\r\nHost: x\r\n\r\n".encode()

        def read(client: socket.socket) -> None:
            if not client.recv(2000):
                raise ConnectionResetError

        with attack(base, 80, 0.5, begin, read) as connected:
            for _ in range(3):
                assert answers_long_requests(base)
            assert connected[0] >= 20, "the attackers are still there"
            assert answers(base)


def test_a_body_must_come_within_a_time_in_all() -> None:
    """Although it comes fast enough."""
    rows = b"6,1300\n" * 100
    with (
        running(WEB_CONCURRENCY="1", GRAMWATT_BODY_TIMEOUT="1") as (port, _),
        connect(f"http://127.0.0.1:{port}") as client,
    ):
        client.sendall(TABLE_HEAD + b"f\r\ncells,capacity\n\r\n")
        client.settimeout(0.1)
        received = b""
        for _ in range(100):
            client.sendall(b"%x\r\n%s\r\n" % (len(rows), rows))
            with contextlib.suppress(TimeoutError):
                received += client.recv(65536)
            if b"malformed-request after row" in received:
                break
        else:
            raise AssertionError("the body was read to its end")
        assert received.startswith(b"HTTP/1.1 200")
        assert received.count(b"1300") > 100, "the rows before are computed"


def test_long_requests_beyond_the_queue_are_rejected_at_once() -> None:
    """Short ones get responses meanwhile, and long ones again afterwards."""
    slow = f"{GRID}&best=3"
    with running(WEB_CONCURRENCY="1", GRAMWATT_LONG_THREADS="1", GRAMWATT_LONG_QUEUE="2") as (port, _):
        base = f"http://127.0.0.1:{port}"
        responses: list[tuple[int, dict[str, str], bytes]] = []

        def fetch_grid(number: int) -> None:
            head = f"GET {slow}&digits={number} HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n"
            responses.append(send(base, head.encode()))

        threads = [threading.Thread(target=fetch_grid, args=(number,)) for number in range(1, 16)]
        for thread in threads:
            thread.start()
        most_running = 0.0
        while any(thread.is_alive() for thread in threads):
            assert answers(base)
            most_running = max(most_running, gauge(base, "running"))
        statuses = [status for status, _, _ in responses]
        assert set(statuses) == {200, 503}
        assert statuses.count(200) >= 3, "one that ran and two that waited"
        assert most_running == 1
        raised = responses[statuses.index(503)]
        assert "wait" in problem(raised, 503, "overloaded")["detail"]
        assert int(raised[1]["retry-after"]) > 0
        assert fetch(base, slow)[0] == 200
        until(lambda: (gauge(base, "running"), gauge(base, "waiting")) == (0, 0))


def gauge(base: str, state: str) -> float:
    """Return the number of long requests in a state, in the metrics."""
    text = fetch(base, "/metrics")[1].decode()
    (value,) = re.findall(rf'^gramwatt_long_requests\{{state="{state}"\}} (\S+)', text, re.M)
    return float(value)


@pytest.mark.parametrize(
    "request_text",
    [
        pytest.param(KEEP_ALIVE.replace(b"pack-energy?", b"pack-energy?working=true&"), id="answers"),
        pytest.param(b"GET /openapi.json HTTP/1.1\r\nHost: x\r\n\r\n", id="documents"),
        pytest.param(b"GET /calculators/build HTTP/1.1\r\nHost: x\r\nAccept: text/html\r\n\r\n", id="pages"),
        pytest.param(
            b"POST /v1/pack-energy HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
            b"Content-Length: 60000\r\n\r\n" + b'{"cells": 6, "capacity": 1300}'.ljust(60_000),
            id="bodies",
        ),
    ],
)
def test_pipelined_requests_that_nobody_reads_take_little_memory(request_text: bytes) -> None:
    with running(**PATIENT) as (port, process), contextlib.ExitStack() as stack:
        base = f"http://127.0.0.1:{port}"
        (worker,) = workers(process)
        assert fetch(base, "/calculators/build")[0] == fetch(base, "/openapi.json")[0] == 200
        before = private_memory(worker)
        for _ in range(4):
            client = stack.enter_context(connect(base))
            client.settimeout(0.3)
            with contextlib.suppress(TimeoutError, ConnectionError):
                for _ in range(1000):
                    client.sendall(request_text)
        assert answers(base)
        assert private_memory(worker) - before < 50 * 1024 * 1024


def private_memory(process: int) -> int:
    """Bytes that a process shares with no other."""
    text = Path(f"/proc/{process}/smaps_rollup").read_text()
    return 1024 * sum(int(size) for size in re.findall(r"^Private_\w+:\s+(\d+) kB", text, re.M))


@contextlib.contextmanager
def serving(application: Any) -> Iterator[str]:
    """Serve another application on our connections in one thread of this process; return its URL."""
    port = free_port()
    adapter = WsgiToAsgi(application, run_in_thread=is_long)
    config = uvicorn.Config(
        adapter, http=connection.Connection, ws="none", lifespan="off", port=port, log_level="critical"
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=lambda: asyncio.run(server.serve()))
    thread.start()
    try:
        until(lambda: server.started)
        yield f"http://127.0.0.1:{port}"
    finally:
        server.should_exit = True
        thread.join()


def read_slowly(base: str, size: int) -> bool:
    """Read so many bytes ten times a second, for two seconds; whether the response goes on after that."""
    address = urlsplit(base)
    with socket.socket() as client:
        client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        client.settimeout(LIMIT)
        client.connect((address.hostname, address.port or 80))
        client.sendall(b"GET /calculators/x HTTP/1.1\r\nHost: x\r\n\r\n")
        received = 0
        try:
            for _ in range(20):
                time.sleep(0.1)
                client.recv(size)
            while received < 1_000_000 and (chunk := client.recv(65536)):
                received += len(chunk)
        except ConnectionError:
            pass  # what was on its way is read before
    return received >= 1_000_000


def test_who_reads_too_slowly_is_ended_and_who_reads_slowly_is_not(monkeypatch: pytest.MonkeyPatch) -> None:
    """Although some of the response is taken again and again."""
    monkeypatch.setattr(connection, "UNREAD_TIMEOUT", 0.4)
    with serving(Endless()) as base, ThreadPoolExecutor() as pool:
        lasted = [pool.submit(read_slowly, base, size) for size in (100, 5000)]
        assert [each.result() for each in lasted] == [False, True]


class Work:
    """An application that works until nobody wants its response, or until it must end."""

    def __init__(self) -> None:
        self.begun, self.cancelled, self.end = threading.Event(), threading.Event(), threading.Event()

    def __call__(self, environ: dict[str, Any], start: Any) -> list[bytes]:
        self.begun.set()
        while not self.end.wait(0.005):
            if environ["gramwatt.cancelled"]():
                self.cancelled.set()
                break
        start("200 OK", [("Content-Length", "4")])
        return [b"done"]


@pytest.mark.parametrize(("how", "version"), [("closes", "1.1"), ("resets", "1.1"), ("resets", "1.0")])
def test_work_for_a_client_that_left_can_stop(how: str, version: str) -> None:
    """A client that closes sends the same as one that has sent everything and reads on.

    It is found out by an interim response, which HTTP/1.0 has not.
    """
    work = Work()
    with serving(work) as base:
        client = connect(base)
        client.sendall(f"GET /calculators/x HTTP/{version}\r\nHost: x\r\n\r\n".encode())
        assert work.begun.wait(LIMIT)
        if how == "resets":
            client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
        client.close()
        try:
            assert work.cancelled.wait(LIMIT)
        finally:
            work.end.set()


@pytest.mark.parametrize("version", ["1.1", "1.0"])
def test_who_closes_the_sending_side_alone_is_computed_however_long_it_takes(
    version: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connection, "PRESENCE_INTERVAL", 0.1)
    work = Work()
    with serving(work) as base, connect(base) as client:
        client.sendall(f"GET /calculators/x HTTP/{version}\r\nHost: x\r\n\r\n".encode())
        client.shutdown(socket.SHUT_WR)
        assert not work.cancelled.wait(0.5), "several intervals of presence"
        work.end.set()
        received = b""
        while chunk := client.recv(65536):
            received += chunk
        head, _, body = received.rpartition(b"\r\n\r\n")
        assert body == b"done"
        assert head.count(b"HTTP/1.1 200 OK") == 1
        assert (b"HTTP/1.1 100 Continue" in head) == (version == "1.1")


@pytest.mark.parametrize("target", ["/v1/pack-energy", "/calculators/build", "/v1/pack-energy/sweep"])
@pytest.mark.parametrize("form", ["", "http://x", "HTTP://user@[::1]:80"])
def test_the_form_of_a_target_does_not_change_where_it_runs(form: str, target: str) -> None:
    def tell_thread(environ: dict[str, Any], start: Any) -> list[bytes]:
        start("200 OK", [])
        return [json.dumps([environ["PATH_INFO"], threading.current_thread().name]).encode()]

    with serving(tell_thread) as base:
        raw = f"GET {form}{target}?cells=6 HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n".encode()
        status, _, body = send(base, raw)
        path, thread = json.loads(body)
    assert (status, path) == (200, target)
    assert thread.startswith("request") == (target != "/v1/pack-energy")
