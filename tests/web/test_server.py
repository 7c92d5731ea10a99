"""The service as it runs: bytes on a socket, of clients that send too much, too slowly, or nonsense."""

from __future__ import annotations

import contextlib
import json
import re
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from gramwatt.web.problems import TYPES
from web.conftest import free_port, running, wait_until_ready
from web.wire import HEAD, PACK, QUESTION, SHAPES, answers, chunked, problem, send


@pytest.fixture(scope="module", params=SHAPES)
def live(request: pytest.FixtureRequest) -> Iterator[str]:
    """The base URL of the running service, in each shape of its server."""
    with running(GRAMWATT_SERVER=request.param) as (port, _):
        yield f"http://127.0.0.1:{port}"


def test_a_chunked_body_is_read(live: str) -> None:
    status, _, body = send(live, HEAD + b"Transfer-Encoding: chunked\r\n\r\n" + chunked(QUESTION, 7))
    assert status == 200
    assert json.loads(body)["results"]["usable_energy"] == 23.088


@pytest.mark.parametrize("over", [1, 100_000])
def test_a_chunked_body_over_the_limit_is_never_cut_in_silence(live: str, over: int) -> None:
    """Cut at the limit it would still be a good question: only blanks follow."""
    body = QUESTION.ljust(1024 * 1024 + over)
    problem(send(live, HEAD + b"Transfer-Encoding: chunked\r\n\r\n" + chunked(body)), 413, "too-large")


def test_a_body_whose_length_is_over_the_limit(live: str) -> None:
    body = QUESTION.ljust(1024 * 1024 + 1)
    problem(send(live, HEAD + b"Content-Length: %d\r\n\r\n" % len(body) + body), 413, "too-large")


UNREADABLE = [
    pytest.param(b"GET /v1?x=" + b"a" * 8200 + b" HTTP/1.1\r\nHost: x\r\n\r\n", 414, "uri-too-long", id="line"),
    pytest.param(b"GET /v1 HTTP/1.1\r\nX: " + b"a" * 9000 + b"\r\n\r\n", 431, "headers-too-large", id="long-header"),
    pytest.param(b"GET /v1 HTTP/1.1\r\n" + b"X: a\r\n" * 100 + b"\r\n", 431, "headers-too-large", id="many-headers"),
    pytest.param(b"NONSENSE\r\n\r\n", 400, "malformed-request", id="nonsense"),
    pytest.param(b"GET /v1 HTTP/9.9\r\n\r\n", 400, "malformed-request", id="version"),
    pytest.param(b"GET /v1 HTTP/1.1\r\nNo colon\r\n\r\n", 400, "malformed-request", id="header-without-colon"),
    pytest.param(
        HEAD + b"Content-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
        *(400, "malformed-request"),
        id="two-lengths-request-smuggling",
    ),
]


@pytest.mark.parametrize(("raw", "status", "kind"), UNREADABLE)
def test_a_request_that_cannot_be_read_gets_a_problem(live: str, raw: bytes, status: int, kind: str) -> None:
    made = problem(send(live, raw), status, kind)
    assert re.fullmatch(r"urn:uuid:[0-9a-f-]{36}", made["instance"])
    assert made["detail"]
    assert answers(live)


@pytest.mark.parametrize(("raw", "status", "kind"), UNREADABLE)
def test_its_problem_is_like_every_other(live: str, raw: bytes, status: int, kind: str) -> None:
    """RFC 9457: the title of a type does not change. RFC 9110: a 414 may be kept unless it says no-store."""
    got, headers, body = send(live, raw)
    assert got == status
    assert json.loads(body)["title"] == TYPES[kind].title
    assert headers.get("cache-control") == "no-store"
    assert json.loads(body)["instance"] == f"urn:uuid:{headers.get('x-request-id')}"


def test_a_chunk_that_is_none_is_the_client_s_fault(live: str) -> None:
    problem(send(live, HEAD + b"Transfer-Encoding: chunked\r\n\r\nzz\r\n\r\n"), 400, "malformed-request")


def test_a_doubled_slash_is_never_redirected(live: str) -> None:
    status, headers, _ = send(live, b"GET //v1 HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n")
    assert status in (200, 404)
    assert "location" not in headers


@pytest.mark.parametrize(
    ("sockets", "begun"),
    [
        pytest.param(5, b"", id="five-that-send-nothing"),
        pytest.param(16, b"GET /v1 HTTP/1.1\r\nHost:", id="sixteen-with-half-a-header"),
        pytest.param(16, HEAD + b"Content-Length: 100\r\n\r\n{", id="sixteen-with-half-a-body"),
    ],
)
def test_silent_sockets_stop_nobody(live: str, sockets: int, begun: bytes) -> None:
    """Twice as many as there are threads: each may hold one for a while, and none for good."""
    address = urlsplit(live)
    with contextlib.ExitStack() as silent:
        for _ in range(sockets):
            connection = socket.create_connection((address.hostname, address.port or 80), timeout=60)
            silent.enter_context(connection)
            connection.sendall(begun)
        assert all(answers(live) for _ in range(4))


def test_after_two_hundred_bad_requests_it_still_answers(live: str) -> None:
    raws = [case.values[0] for case in UNREADABLE]
    raws += [
        HEAD + b'Content-Length: 9\r\n\r\n{"cells"',
        b"\x16\x03\x01\x02\x00\x01\x00\x01",
        b"\r\n\r\n",
        b"\x00" * 50,
    ]
    address = urlsplit(live)
    for number in range(200):
        raw = raws[number % len(raws)]
        assert isinstance(raw, bytes)
        with (
            socket.create_connection((address.hostname, address.port or 80), timeout=60) as connection,
            contextlib.suppress(BrokenPipeError, ConnectionResetError),
        ):
            connection.sendall(raw)
            connection.shutdown(socket.SHUT_WR)
            while connection.recv(65536):
                pass
    assert answers(live)


def test_workers_count_together(live: str) -> None:
    def total() -> float:
        with urllib.request.urlopen(f"{live}/metrics", timeout=60) as answer:
            text = answer.read().decode()
        (value,) = re.findall(
            r'^gramwatt_requests_total{method="GET",route="/health/live",status="200"} (\S+)', text, re.M
        )
        return float(value)

    def ask(times: int) -> None:
        for _ in range(times):
            with urllib.request.urlopen(f"{live}/health/live", timeout=60) as answer:
                answer.read()

    ask(1)
    before = total()
    ask(20)
    assert total() == before + 20


@pytest.mark.parametrize("shape", SHAPES)
def test_sigterm_ends_it_cleanly(tmp_path: Path, shape: str) -> None:
    with running(GRAMWATT_SERVER=shape, TMPDIR=str(tmp_path)) as (port, process):
        assert answers(f"http://127.0.0.1:{port}")
        process.send_signal(signal.SIGTERM)
        output, _ = process.communicate(timeout=60)
    assert process.returncode == 0
    assert f"http://localhost:{port}/" in output
    assert re.search(rf"http://localhost:{port}/v1/\S+  ->  \d\S* \S+", output), "a first question and its answer"
    assert "Traceback" not in output
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", port), timeout=60)
    assert list(tmp_path.iterdir()) == [], "it leaves nothing behind"


WAITRESS = """
import sys
from gramwatt.serve import serve_with_waitress
serve_with_waitress("127.0.0.1", int(sys.argv[1]), lambda: print("ready", flush=True))
"""


@pytest.fixture(scope="module")
def waitress() -> Iterator[str]:
    """The base URL of the service on waitress, as it runs on Windows."""
    pytest.importorskip("waitress")
    port = free_port()
    command = [sys.executable, "-c", WAITRESS, str(port)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as process:
        try:
            wait_until_ready(f"http://127.0.0.1:{port}", process)
            yield f"http://127.0.0.1:{port}"
        finally:
            process.terminate()
            process.communicate(timeout=60)


def test_waitress_answers_the_same_bytes(waitress: str, live: str) -> None:
    bodies = []
    for base in (waitress, live):
        with urllib.request.urlopen(base + PACK, timeout=60) as answer:
            bodies.append(answer.read())
    assert bodies[0] == bodies[1]


def test_waitress_cuts_no_chunked_body(waitress: str) -> None:
    body = QUESTION.ljust(1024 * 1024 + 1)
    problem(send(waitress, HEAD + b"Transfer-Encoding: chunked\r\n\r\n" + chunked(body)), 413, "too-large")


@pytest.mark.skipif(sys.platform == "win32", reason="gunicorn does not run there")
def test_what_is_drawn_is_not_drawn_in_the_loop() -> None:
    """Every route that draws, or answers a table, goes to a thread; a plain answer does not."""
    from gramwatt.serve_events import takes_long

    long = "/", "/v1/pack-energy/batch", "/v1/pack-energy/chart", "/calculators/build", "/calculators/build/frame"
    assert all(takes_long(path) for path in long)
    assert not any(takes_long(path) for path in ("/v1", "/v1/pack-energy", "/v1/pack-energy/usable_energy", "/docs"))
