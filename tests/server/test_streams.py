"""Test the adapter's streams: bodies and responses in chunks, and clients that leave or stall."""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest

from gramwatt.server.adapter import WsgiToAsgi
from gramwatt.server.streams import BURST, MINIMUM_RATE, BodyTimeout, ReadTimeout
from server.asgi_client import (
    CHUNKED,
    LENGTH,
    LIMIT,
    PLAIN,
    Endless,
    Environ,
    Request,
    Start,
    complete,
    run,
    until,
)


def upper_lines(environ: Environ, start: Start) -> Iterator[bytes]:
    start("200 OK", PLAIN)
    for line in environ["wsgi.input"]:
        yield line.upper()


def test_the_first_line_returns_before_the_last_is_sent() -> None:
    async def test() -> None:
        request = Request(WsgiToAsgi(upper_lines), "POST", "/", [CHUNKED], b"one\n")
        assert (await request.next())["status"] == 200
        assert await request.next() == {"type": "http.response.body", "body": b"ONE\n", "more_body": True}
        request.send(b"two\n")
        assert (await request.next())["body"] == b"TWO\n"
        request.send(b"three\n", more=False)
        assert b"".join(message["body"] for message in await request.end()) == b"THREE\n"

    run(test)


def test_the_application_waits_for_a_client_that_reads_nothing() -> None:
    async def test() -> None:
        application = Endless()
        request = Request(WsgiToAsgi(application), headers=[CHUNKED])
        request.writable.clear()
        request.send(b"", more=False)
        await until(lambda: application.made >= 2)
        await asyncio.sleep(0.2)
        assert application.made == 2
        request.leave()
        assert await asyncio.to_thread(application.closed.wait, LIMIT)

    run(test)


def test_the_client_waits_for_an_application_that_reads_nothing() -> None:
    go_on = threading.Event()

    def application(environ: Environ, start: Start) -> list[bytes]:
        assert go_on.wait(LIMIT)
        start("200 OK", PLAIN)
        return [str(len(environ["wsgi.input"].read())).encode()]

    async def test() -> None:
        request = Request(WsgiToAsgi(application), "POST", "/", [CHUNKED], *[b"x" * 30_000] * 50)
        request.send(b"", more=False)
        await asyncio.sleep(0.2)
        assert request.received.qsize() >= 45, "the adapter took more than it can hold"
        go_on.set()
        assert await request.read() == b"1500000"

    run(test)


@pytest.mark.parametrize("leaves", [pytest.param(True, id="client-leaves"), pytest.param(False, id="server-cancels")])
def test_work_stops_when_the_client_leaves_or_the_server_cancels(leaves: bool) -> None:
    async def test() -> None:
        application = Endless()
        request = complete(WsgiToAsgi(application), [CHUNKED])
        await request.next()
        if leaves:
            request.leave()
        else:
            request.task.cancel()
        assert await asyncio.to_thread(application.closed.wait, LIMIT)
        if leaves:
            await request.end()
        else:
            with pytest.raises(asyncio.CancelledError):
                await request.task
        made = application.made
        await asyncio.sleep(0.05)
        assert application.made == made

    run(test)


def test_a_cancelled_short_response_is_closed() -> None:
    async def test() -> None:
        application = Endless()
        request = complete(WsgiToAsgi(application), [])
        await request.next()
        request.task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await request.task
        assert application.closed.is_set()

    run(test)


class Reader:
    """An application that reads its whole body and records how that ended."""

    def __init__(self, path: str = "") -> None:
        self.error: Exception | None = None
        self.ended = threading.Event()

    def __call__(self, environ: Environ, start: Start) -> list[bytes]:
        try:
            while environ["wsgi.input"].read(4):
                pass
        except Exception as error:
            self.error = error
        self.ended.set()
        start("400 Bad Request" if self.error else "200 OK", PLAIN)
        return [b"read"]


def test_a_body_that_breaks_off_raises_an_error() -> None:
    async def test() -> None:
        reader = Reader()
        request = Request(WsgiToAsgi(reader), "POST", "/", [CHUNKED], b"hel")
        await asyncio.sleep(0.02)
        request.leave()
        await asyncio.to_thread(reader.ended.wait, LIMIT)
        assert isinstance(reader.error, ConnectionError)
        assert await request.end() == []
        short = Request(WsgiToAsgi(Reader()), "POST", "/", [LENGTH], b"hel")
        short.leave()
        assert await short.end() == []

    run(test)


@pytest.mark.parametrize("sent", [(), (b"hel",)])
@pytest.mark.parametrize("header", [LENGTH, CHUNKED])
def test_an_idle_client_loses_its_request(header: Any, sent: tuple[bytes, ...]) -> None:
    async def test() -> None:
        reader = Reader()
        request = Request(WsgiToAsgi(reader, read_timeout=0.05), "POST", "/", [header], *sent)
        if header == CHUNKED and sent:
            messages = await request.end()
            assert isinstance(reader.error, BodyTimeout)
            assert messages[0]["status"] == 400
        else:
            with pytest.raises(BodyTimeout):
                await request.end()
            assert not reader.ended.is_set()

    run(test)


def test_a_body_must_come_at_a_minimum_rate() -> None:
    """A few bytes now and then do not reset the timeout; a burst may be followed by a limited pause."""
    timeout, waits = ReadTimeout(5), 0
    while timeout.left >= 3:
        timeout.count(7, 3)
        waits += 1
    assert waits in (BURST * 5 // 3, BURST * 5 // 3 - 1)
    timeout.count(MINIMUM_RATE * 1000, 0)
    assert timeout.left == 5
    for _ in range(BURST):
        timeout.count(0, 5)
    assert timeout.left == 0
    steady = ReadTimeout(5)
    for _ in range(1000):
        steady.count(2 * MINIMUM_RATE, 2)
    assert steady.left == 5


def test_a_body_must_come_within_the_total_time() -> None:
    """At any rate. Only the time spent waiting for the client counts."""
    timeout = ReadTimeout(5, total=30)
    for _ in range(14):
        timeout.count(10 * MINIMUM_RATE, 2)
    assert timeout.left == 2
    timeout.count(10 * MINIMUM_RATE, 2)
    assert timeout.left == 0


def test_reading_fails_once_the_client_has_left() -> None:
    gone = threading.Event()
    errors: list[Exception] = []

    def application(environ: Environ, start: Start) -> Iterator[bytes]:
        start("200 OK", PLAIN)
        yield environ["wsgi.input"].read(1)
        assert gone.wait(LIMIT)
        try:
            environ["wsgi.input"].read(60_000)
        except OSError as error:
            errors.append(error)

    async def test() -> None:
        request = complete(WsgiToAsgi(application), [CHUNKED], b"x" * 50_000)
        await request.next()
        request.leave()
        await until(request.received.empty)
        await asyncio.sleep(0.02)
        gone.set()
        await request.end()
        assert len(errors) == 1

    run(test)


@pytest.mark.parametrize("header", [pytest.param([], id="whole"), pytest.param([CHUNKED], id="streamed")])
def test_the_application_can_see_that_its_client_left(header: list[Any]) -> None:
    """Without reading or writing anything."""
    begun, ended = threading.Event(), threading.Event()

    def application(environ: Environ, start: Start) -> list[bytes]:
        begun.set()
        while not environ["gramwatt.cancelled"]():
            time.sleep(0.001)
        ended.set()
        start("200 OK", PLAIN)
        return []

    async def test() -> None:
        request = complete(WsgiToAsgi(application, run_in_thread=lambda scope: True), header)
        assert await asyncio.to_thread(begun.wait, LIMIT)
        assert not ended.is_set()
        request.leave()
        assert await asyncio.to_thread(ended.wait, LIMIT)
        assert await request.end() == []

    run(test)


def test_an_application_that_would_end_its_thread_ends_its_request() -> None:
    def exits(environ: Environ, start: Start) -> list[bytes]:
        raise SystemExit(3)

    async def test() -> None:
        with pytest.raises(RuntimeError, match="SystemExit"):
            await complete(WsgiToAsgi(exits), [CHUNKED]).end()

    run(test)
