"""Starting, stopping and reloading the service, here and under other servers."""

from __future__ import annotations

import asyncio
import contextlib
import http.client
import json
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
import uvicorn

from gramwatt.server.application import is_long
from gramwatt.server.worker import Server
from web.conftest import free_port, running, wait_until_ready
from web.wire import BODY, HEAD, PACK, answers, chunked, connect, problem, read_answer, send, until, workers

WAITRESS = """
import sys
from gramwatt.server.run import serve_with_waitress
serve_with_waitress("127.0.0.1", int(sys.argv[1]), lambda: None)
"""
GUNICORN = ("-m", "gunicorn", "--preload", "--bind", "127.0.0.1:{port}")
OTHER_SERVERS = {
    "waitress": ("-c", WAITRESS, "{port}"),
    "gunicorn-gthread": (*GUNICORN, "-k", "gthread", "--threads", "4", "gramwatt.wsgi:app"),
    "uvicorn": ("-m", "uvicorn", "--port", "{port}", "gramwatt.asgi:app"),
    "uvicorn-h11": ("-m", "uvicorn", "--http", "h11", "--loop", "asyncio", "--port", "{port}", "gramwatt.asgi:app"),
}


@contextlib.contextmanager
def other_server(name: str) -> Iterator[str]:
    """Start the service under another server, and return its base URL."""
    port = free_port()
    command = [sys.executable, *(word.replace("{port}", str(port)) for word in OTHER_SERVERS[name])]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as process:
        try:
            wait_until_ready(f"http://127.0.0.1:{port}", process)
            yield f"http://127.0.0.1:{port}"
        finally:
            process.terminate()
            process.communicate(timeout=60)


@pytest.mark.parametrize("name", OTHER_SERVERS)
def test_other_servers_answer_the_same_bytes(name: str, live: str) -> None:
    """Also a table, and a chunked body over the limit."""

    def fetch(base: str, path: str, body: bytes | None = None) -> bytes:
        request = urllib.request.Request(base + path, body, {"Content-Type": "text/csv"})
        with urllib.request.urlopen(request, timeout=60) as response:
            return bytes(response.read())

    with other_server(name) as base:
        for path, table in ((PACK, None), ("/v1/pack-energy/batch", b"cells,capacity\n6,1300\n")):
            assert fetch(base, path, table) == fetch(live, path, table)
        body = BODY.ljust(1024 * 1024 + 1)
        problem(send(base, HEAD + b"Transfer-Encoding: chunked\r\n\r\n" + chunked(body)), 413, "too-large")


def test_what_takes_long_runs_in_a_thread() -> None:
    """Every route that draws, or answers a table, does; a plain response does not."""

    def scope(path: str, length: bytes = b"0") -> dict[str, object]:
        return {"path": path, "query_string": b"cells=6", "headers": [(b"content-length", length)]}

    long = "/", "/v1/pack-energy/batch", "/v1/pack-energy/chart", "/calculators/build", "/calculators/build/frame"
    assert all(is_long(scope(path)) for path in long)
    short = ("/v1", "/v1/pack-energy", "/v1/pack-energy/usable_energy", "/health/ready")
    assert not any(is_long(scope(path)) for path in short)
    assert all(is_long(scope(path, b"60000")) for path in short)


def test_sigterm_ends_it_cleanly(tmp_path: Path) -> None:
    with running(TMPDIR=str(tmp_path)) as (port, process):
        assert answers(f"http://127.0.0.1:{port}")
        process.send_signal(signal.SIGTERM)
        output, _ = process.communicate(timeout=60)
    assert process.returncode == 0
    assert f"http://localhost:{port}/" in output
    assert re.search(rf"http://localhost:{port}/v1/\S+  ->  \d\S* \S+", output), "a first request and its result"
    assert "Traceback" not in output
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", port), timeout=60)
    assert list(tmp_path.iterdir()) == [], "it leaves nothing behind"


def test_sigterm_lets_requests_under_way_end() -> None:
    with running() as (port, process), connect(f"http://127.0.0.1:{port}") as connection:
        connection.sendall(HEAD + b"Content-Length: %d\r\n\r\n" % len(BODY) + BODY[:5])
        time.sleep(0.2)
        process.send_signal(signal.SIGTERM)
        time.sleep(0.6)
        connection.sendall(BODY[5:])
        status, body = read_answer(connection)
        assert status == 200
        assert json.loads(body)["results"]["usable_energy"] == 23.088
        assert process.wait(60) == 0


class Clients:
    """Four clients on persistent connections that send one request after another; ``lost`` lists the failures."""

    def __init__(self, port: int) -> None:
        self._port = port
        self._done = threading.Event()
        self.completed, self.lost = 0, list[object]()

    def __enter__(self) -> Clients:
        self._threads = [threading.Thread(target=self._request) for _ in range(4)]
        for thread in self._threads:
            thread.start()
        until(lambda: self.completed > 20)
        return self

    def __exit__(self, *_: object) -> None:
        self._done.set()
        for thread in self._threads:
            thread.join()

    def _request(self) -> None:
        connection = http.client.HTTPConnection("127.0.0.1", self._port, timeout=60)
        while not self._done.is_set():
            try:
                connection.request("GET", PACK)
                response = connection.getresponse()
                response.read()
                self.completed += 1
            except ConnectionRefusedError:  # nobody listens any more
                connection.close()
                time.sleep(0.05)
            except (OSError, http.client.HTTPException) as error:
                self.lost.append(error)
                connection.close()
        connection.close()


def test_a_reload_and_a_stop_lose_no_request(tmp_path: Path) -> None:
    """Afterwards the folder of metrics is removed still."""
    with running(WEB_CONCURRENCY="2", TMPDIR=str(tmp_path)) as (port, process):
        before = until(lambda: pair if len(pair := workers(process)) == 2 else None)
        with Clients(port) as clients:
            process.send_signal(signal.SIGHUP)
            until(lambda: len(workers(process)) == 2 and not workers(process) & before)
            reloaded = clients.completed
            until(lambda: clients.completed > reloaded + 20)
            process.send_signal(signal.SIGTERM)
            assert process.wait(60) == 0
        assert clients.lost == []
    assert list(tmp_path.iterdir()) == []


def test_a_killed_worker_is_replaced_and_loses_only_its_own() -> None:
    with running(WEB_CONCURRENCY="2") as (port, process):
        before = until(lambda: pair if len(pair := workers(process)) == 2 else None)
        with Clients(port) as clients:
            os.kill(min(before), signal.SIGKILL)
            until(lambda: len(workers(process)) == 2 and workers(process) != before)
            replaced = clients.completed
            until(lambda: clients.completed > replaced + 20)
        assert len(clients.lost) <= 4, "at most one of each client"


def test_workers_end_with_their_master() -> None:
    with running() as (port, process):
        children = until(lambda: workers(process))
        process.kill()
        process.wait(60)
        until(lambda: not any(Path(f"/proc/{child}/cmdline").exists() for child in children))
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection(("127.0.0.1", port), timeout=60)


@pytest.mark.parametrize("parent", [True, False])
def test_a_worker_stops_whose_master_ended_before_it_began(parent: bool) -> None:
    server = Server(uvicorn.Config("gramwatt.asgi:app"), os.getppid() if parent else os.getpid())
    assert asyncio.run(server.on_tick(1)) is not parent
