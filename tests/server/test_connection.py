"""The service as it runs: bytes on a socket, of clients that send too much, too slowly, or nonsense."""

from __future__ import annotations

import contextlib
import json
import re
import socket
import time
import urllib.request
from collections.abc import Iterator

import pytest

from gramwatt.web.problems import PROBLEM_TYPES
from web.conftest import running
from web.wire import BODY, HEAD, KEEP_ALIVE, PACK, answers, chunked, connect, problem, read_answer, send


@pytest.fixture(scope="module")
def live() -> Iterator[str]:
    """Return the base URL of the running service, with short timeouts."""
    with running(GRAMWATT_READ_TIMEOUT="0.5", GRAMWATT_UNREAD_TIMEOUT="1") as (port, _):
        yield f"http://127.0.0.1:{port}"


def read_to_end(connection: socket.socket) -> bytes:
    """Return what comes until the server closes, or resets the connection."""
    received = b""
    with contextlib.suppress(ConnectionResetError):
        while chunk := connection.recv(65536):
            received += chunk
    return received


def test_a_chunked_body_is_read(live: str) -> None:
    status, _, body = send(live, HEAD + b"Transfer-Encoding: chunked\r\n\r\n" + chunked(BODY, 7))
    assert status == 200
    assert json.loads(body)["results"]["usable_energy"] == 23.088


@pytest.mark.parametrize("framing", ["length", "chunked"])
@pytest.mark.parametrize("size", [1024 * 1024 + 1, 1124 * 1024, 10 * 1024 * 1024])
def test_a_body_over_the_limit_is_never_cut_in_silence(live: str, framing: str, size: int) -> None:
    """Cut at the limit it would still be good: only blanks follow. All of it is sent, and the response arrives."""
    body = BODY.ljust(size)
    if framing == "length":
        raw = HEAD + b"Content-Length: %d\r\n\r\n" % size + body
    else:
        raw = HEAD + b"Transfer-Encoding: chunked\r\n\r\n" + chunked(body)
    problem(send(live, raw), 413, "too-large")
    assert answers(live)


HOST = b"Host: x\r\n"
UNREADABLE = [
    pytest.param(b"GET /v1?x=" + b"a" * 8200 + b" HTTP/1.1\r\nHost: x\r\n\r\n", 414, "uri-too-long", id="line"),
    pytest.param(b"GET /v1?x=" + b"a" * 500_000, 414, "uri-too-long", id="line-without-end"),
    pytest.param(b"GET /v1 HTTP/1.1\r\nX: " + b"a" * 9000 + b"\r\n\r\n", 431, "headers-too-large", id="long-header"),
    pytest.param(b"GET /v1 HTTP/1.1\r\nX: " + b"a" * 500_000, 431, "headers-too-large", id="header-without-end"),
    pytest.param(b"GET /v1 HTTP/1.1\r\n" + b"X: a\r\n" * 100 + b"\r\n", 431, "headers-too-large", id="many-headers"),
    pytest.param(b"NONSENSE\r\n\r\n", 400, "malformed-request", id="nonsense"),
    pytest.param(b"GET /v1 HTTP/9.9\r\n\r\n", 400, "malformed-request", id="version"),
    pytest.param(b"GET /v1 HTTP/1.1\r\nNo colon\r\n\r\n", 400, "malformed-request", id="header-without-colon"),
    pytest.param(
        HEAD + b"Content-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
        *(400, "malformed-request"),
        id="two-lengths-request-smuggling",
    ),
    pytest.param(b"GET /v1 HTTP/1.1\r\n\r\n", 400, "malformed-request", id="no-host"),
    pytest.param(b"GET /v1 HTTP/1.1\r\n" + 2 * HOST + b"\r\n", 400, "malformed-request", id="two-hosts"),
    pytest.param(b"GET /v1 HTTP/1.1\r\nHost: a/b c\r\n\r\n", 400, "malformed-request", id="host-that-is-none"),
    pytest.param(HEAD + b"Transfer-Encoding: chunked\r\n\r\nzz\r\n\r\n", 400, "malformed-request", id="bad-chunk"),
    pytest.param(
        HEAD + b"Transfer-Encoding: gzip, chunked\r\n\r\n0\r\n\r\n", *(400, "malformed-request"), id="other-coding"
    ),
]


@pytest.mark.parametrize(("raw", "status", "kind"), UNREADABLE)
def test_a_request_that_cannot_be_read_gets_a_problem(live: str, raw: bytes, status: int, kind: str) -> None:
    """RFC 9457: the title of a type does not change. RFC 9110: a 414 may be cached unless it says no-store."""
    answer = send(live, raw)
    made, headers = problem(answer, status, kind), answer[1]
    assert made["detail"]
    assert made["title"] == PROBLEM_TYPES[kind].title
    assert re.fullmatch(r"urn:uuid:[0-9a-f-]{36}", made["instance"])
    assert made["instance"] == f"urn:uuid:{headers['x-request-id']}"
    assert headers["cache-control"] == "no-store"
    assert "server" not in headers
    assert answers(live)


@pytest.mark.parametrize(
    ("target", "status"),
    [(b"//v1", 200), (b"http://x/v1", 200), (b"http://x", 200), (b"http://x?a=1", 200), (b"*", 404)],
)
def test_every_form_of_target_gets_a_response_without_redirect(live: str, target: bytes, status: int) -> None:
    method = b"OPTIONS" if target == b"*" else b"GET"
    got, headers, _ = send(live, method + b" " + target + b" HTTP/1.1\r\n" + HOST + b"Connection: close\r\n\r\n")
    assert got == status
    assert "location" not in headers
    assert "server" not in headers


@pytest.mark.parametrize(
    "begun",
    [
        pytest.param(b"", id="nothing"),
        pytest.param(b"GET /v1 HTTP/1.1\r\nHost:", id="half-a-head"),
        pytest.param(HEAD + b"Content-Length: 100\r\n\r\n{", id="half-a-body"),
        pytest.param(HEAD.replace(b"energy", b"energy/batch") + b"Content-Length: 99999\r\n\r\n{", id="half-a-table"),
    ],
)
def test_idle_clients_stop_nobody_and_are_ended(live: str, begun: bytes) -> None:
    with contextlib.ExitStack() as idle:
        for _ in range(40):
            connection = idle.enter_context(connect(live))
            connection.sendall(begun)
        assert all(answers(live) for _ in range(4))
        received = read_to_end(connection)
    assert received.startswith(b"HTTP/1.1 4" if begun.startswith(b"POST") else b"")


def test_half_a_head_after_a_response_is_not_waited_for(live: str) -> None:
    with connect(live) as connection:
        connection.sendall(KEEP_ALIVE + KEEP_ALIVE[:20])
        assert read_answer(connection)[0] == 200
        assert read_to_end(connection) == b""


@pytest.mark.parametrize("head", [b"Content-Length: 100\r\n\r\n{", b"Transfer-Encoding: chunked\r\n\r\n5\r\n{    \r\n"])
def test_a_body_that_stops_gets_a_problem(live: str, head: bytes) -> None:
    problem(send(live, HEAD + head), 400, "malformed-request")


def test_a_body_that_ends_early_gets_a_problem(live: str) -> None:
    """Even if the bytes received are a complete request."""
    with connect(live) as connection:
        connection.sendall(HEAD + b"Content-Length: 100\r\n\r\n" + BODY)
        connection.shutdown(socket.SHUT_WR)
        status, body = read_answer(connection)
        assert (status, json.loads(body)["type"].endswith("/problems/malformed-request")) == (400, True)


def test_who_has_sent_all_still_gets_the_response(live: str) -> None:
    with connect(live) as connection:
        connection.sendall(KEEP_ALIVE)
        connection.shutdown(socket.SHUT_WR)
        status, body = read_answer(connection)
        assert (status, json.loads(body)["results"]["usable_energy"]) == (200, 23.088)
        assert connection.recv(1) == b""


def test_a_connection_stays_open_and_head_has_no_body(live: str) -> None:
    with connect(live) as connection:
        for method in ("GET", "HEAD", "OPTIONS", "GET"):
            connection.sendall(KEEP_ALIVE.replace(b"GET", method.encode(), 1))
            status, body = read_answer(connection, method)
            assert status == 200
            assert bool(body) == (method == "GET")


@pytest.mark.parametrize("parts", [1, 2])
def test_pipelined_requests_get_responses_in_order(live: str, parts: int) -> None:
    last = KEEP_ALIVE.replace(b"Host", b"Connection: close\r\nHost")
    with connect(live) as connection:
        at = len(KEEP_ALIVE) + 10 if parts == 2 else 0
        connection.sendall((KEEP_ALIVE + last)[:at])
        time.sleep(0.1 * (parts - 1))
        connection.sendall((KEEP_ALIVE + last)[at:])
        received = read_to_end(connection)
    assert received.count(b"HTTP/1.1 200 OK") == 2
    assert received.count(b"23.088") >= 2


OFFER = b"Connection: Upgrade, HTTP2-Settings\r\nUpgrade: h2c\r\nHTTP2-Settings: AAMAAABkAAQCAAAAAAIAAAAA\r\n"


@pytest.mark.parametrize("framing", ["length", "chunked"])
@pytest.mark.parametrize("cut", [0, 30, -1])
def test_an_offer_of_another_protocol_is_ignored(live: str, framing: str, cut: int) -> None:
    """Java's HttpClient makes it with its first request. RFC 9110, 7.8: a server may ignore it; the body counts."""
    head = HEAD.replace(b"Connection: close\r\n", OFFER)
    if framing == "length":
        request = head + b"Content-Length: %d\r\n\r\n" % len(BODY) + BODY
    else:
        request = head + b"Transfer-Encoding: chunked\r\n\r\n" + chunked(BODY, 7)
    both = request + request.replace(OFFER, b"Connection: close\r\n")
    at = cut if cut >= 0 else len(request) - 10
    with connect(live) as connection:
        connection.sendall(both[:at])
        time.sleep(0.05 if at else 0)
        connection.sendall(both[at:])
        received = read_to_end(connection)
    assert received.count(b"HTTP/1.1 200 OK") == 2
    assert received.count(b'"usable_energy": 23.088') == 2


@pytest.mark.parametrize("version", [b"1.1", b"1.0"])
def test_an_offer_of_another_protocol_on_a_connection_that_closes_is_ignored(live: str, version: bytes) -> None:
    """The parser is at its end then; what follows the request is not read."""
    head = b"GET " + PACK.encode() + b" HTTP/" + version + b"\r\nHost: x\r\n"
    with connect(live) as connection:
        connection.sendall(head + b"Connection: close, Upgrade\r\nUpgrade: h2c\r\n\r\n" + head + b"\r\n")
        received = read_to_end(connection)
    assert received.startswith(b"HTTP/1.1 200 OK")
    assert received.count(b'"usable_energy": 23.088') == 1


def test_a_request_for_a_tunnel_is_rejected(live: str) -> None:
    """CONNECT switches the protocol too, and has no offer that could be left out."""
    with connect(live) as connection:
        connection.sendall(b"CONNECT x:80 HTTP/1.1\r\n" + OFFER + b"Host: x\r\n\r\n")
        status, _ = read_answer(connection)
    assert status == 404
    assert answers(live)


def test_requests_sent_ahead_are_few(live: str) -> None:
    """The accepted ones get responses in order, and the last response closes the connection."""
    with connect(live) as connection:
        connection.sendall(KEEP_ALIVE * 500)
        received = read_to_end(connection)
    response_count = received.count(b"HTTP/1.1 200 OK")
    assert 30 < response_count < 500
    assert received.count(b"connection: close") == 1
    assert b"connection: close" in received.rpartition(b"HTTP/1.1 200 OK")[2]


def test_clients_that_read_nothing_stop_nobody_and_are_ended(live: str) -> None:
    with contextlib.ExitStack() as stuck:
        for _ in range(16):
            connection = stuck.enter_context(socket.socket())
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            connection.connect(("127.0.0.1", int(live.rpartition(":")[2])))
            connection.sendall(b"GET /openapi.json HTTP/1.1\r\nHost: x\r\n\r\n" * 30)
        assert all(answers(live) for _ in range(4))
        for _ in range(600):
            time.sleep(0.1)
            try:
                connection.send(b"\r\n")
            except OSError:
                break
        else:
            raise AssertionError("the last of them is still connected")


def test_after_two_hundred_bad_requests_it_still_answers(live: str) -> None:
    raws = [case.values[0] for case in UNREADABLE]
    raws += [
        HEAD + b'Content-Length: 9\r\n\r\n{"cells"',
        b"\x16\x03\x01\x02\x00\x01\x00\x01",
        b"\r\n\r\n",
        b"\x00" * 50,
    ]
    for number in range(200):
        raw = raws[number % len(raws)]
        assert isinstance(raw, bytes)
        with connect(live) as connection, contextlib.suppress(BrokenPipeError, ConnectionResetError):
            connection.sendall(raw)
            connection.shutdown(socket.SHUT_WR)
            read_to_end(connection)
    assert answers(live)


def test_workers_count_together(live: str) -> None:
    def get(path: str) -> str:
        with urllib.request.urlopen(live + path, timeout=60) as answer:
            return str(answer.read().decode())

    def total() -> float:
        counter = r'^gramwatt_requests_total{method="GET",route="/health/live",status="200"} (\S+)'
        (value,) = re.findall(counter, get("/metrics"), re.M)
        return float(value)

    get("/health/live")
    before = total()
    for _ in range(20):
        get("/health/live")
    assert total() == before + 20
