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


def waits(go_on: threading.Event, begun: list[str]) -> Callable[[Environ, Start], list[bytes]]:
    def application(environ: Environ, start: Start) -> list[bytes]:
        begun.append(environ["PATH_INFO"])
        if environ["PATH_INFO"].startswith("/wait"):
            assert go_on.wait(LIMIT)
        start("200 OK", PLAIN)
        return [b"done"]

    return application


def test_busy_threads_stop_no_short_request_and_other_streams_wait() -> None:
    """Nor a request that takes long and has no streamed body, such as a small table."""

    async def test() -> None:
        go_on, begun = threading.Event(), list[str]()
        adapter = WsgiToAsgi(
            waits(go_on, begun), threads=2, run_in_thread=lambda scope: bool(scope["path"] == "/small")
        )
        streams = [Request(adapter, "POST", f"/wait/{number}", [CHUNKED], b"x") for number in range(5)]
        await until(lambda: len(begun) == 2)
        for path in ("/short", "/small") * 10:
            assert await Request(adapter, "GET", path).read() == b"done"
        assert len([path for path in begun if path.startswith("/wait")]) == 2
        go_on.set()
        for request in streams:
            request.send(b"", more=False)
            assert await request.read() == b"done"

    run(test)


def test_who_leaves_while_waiting_for_a_thread_is_never_begun() -> None:
    async def test() -> None:
        go_on, begun = threading.Event(), list[str]()
        adapter = WsgiToAsgi(waits(go_on, begun), threads=1)
        first = Request(adapter, "POST", "/wait/1", [CHUNKED], b"x")
        await until(lambda: begun == ["/wait/1"])
        left = Request(adapter, "POST", "/wait/2", [CHUNKED], b"x")
        last = Request(adapter, "POST", "/wait/3", [CHUNKED], b"x")
        await asyncio.sleep(0.05)
        left.leave()
        assert await left.end() == []
        go_on.set()
        for request in (first, last):
            request.send(b"", more=False)
            await request.read()
        assert begun == ["/wait/1", "/wait/3"]

    run(test)


def test_who_stops_sending_while_waiting_for_a_thread_is_never_begun() -> None:
    async def test() -> None:
        go_on, begun = threading.Event(), list[str]()
        adapter = WsgiToAsgi(waits(go_on, begun), threads=1, read_timeout=0.05)
        first = complete(adapter, [CHUNKED])
        first.scope["path"] = "/wait/1"
        await until(lambda: begun == ["/wait/1"])
        with pytest.raises(BodyTimeout):
            await Request(adapter, "POST", "/wait/2", [CHUNKED], b"x").end()
        go_on.set()
        await first.read()
        assert begun == ["/wait/1"]

    run(test)


@pytest.mark.parametrize("sent", [pytest.param((), id="send-nothing"), pytest.param((b"half",), id="send-half")])
def test_clients_that_stop_sending_hold_no_slot(sent: tuple[bytes, ...]) -> None:
    async def test() -> None:
        adapter = WsgiToAsgi(echo, threads=1, read_timeout=LIMIT)
        idle = [Request(adapter, "POST", "/", [CHUNKED], *sent) for _ in range(10)]
        await asyncio.sleep(0.02)
        assert (await complete(adapter, [CHUNKED], b"heard").read()).startswith(b"heard")
        for request in idle:
            request.leave()
            await request.end()

    run(test)


@pytest.mark.parametrize("path", [pytest.param("/", id="streamed"), pytest.param("/long", id="whole")])
def test_clients_that_read_nothing_hold_no_slot(path: str) -> None:
    """Each of them still gets its response once it reads."""

    def application(environ: Environ, start: Start) -> Iterator[bytes]:
        start("200 OK", PLAIN)
        for _ in range(5):
            yield b"x" * 1000

    async def test() -> None:
        adapter = WsgiToAsgi(application, threads=1, run_in_thread=lambda scope: bool(scope["path"] == "/long"))
        stuck = [Request(adapter, "POST", path, [CHUNKED] if path == "/" else []) for _ in range(10)]
        for request in stuck:
            request.writable.clear()
            request.send(b"", more=False)
        await asyncio.sleep(0.02)
        assert len(await complete(adapter, [CHUNKED]).read()) == 5000
        for request in stuck:
            request.writable.set()
            assert len(await request.read()) == 5000

    run(test)


def test_too_many_that_read_nothing_end_the_slowest_once_another_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    def slots(threads: int, max_waiting: int, max_stalled: int, observe: Any) -> Slots:
        return Slots(threads, max_waiting, max_stalled, cut_after=0.0, observe=observe)

    async def test() -> None:
        monkeypatch.setattr("gramwatt.server.adapter.Slots", slots)
        applications = [Endless() for _ in range(3)]

        def application(environ: Environ, start: Start) -> Any:
            path = environ["PATH_INFO"][1:]
            return applications[int(path)](environ, start) if path else echo(environ, start)

        adapter = WsgiToAsgi(application, threads=1, max_stalled=2)
        stuck = []
        for number in range(3):
            stuck.append(Request(adapter, "POST", f"/{number}", [CHUNKED]))
            stuck[-1].writable.clear()
            stuck[-1].send(b"", more=False)
            await until(lambda number=number: applications[number].made >= 2)  # type: ignore[misc]
            await asyncio.sleep(0.1)
        assert not any(application.closed.is_set() for application in applications)
        assert (await complete(adapter, [CHUNKED], b"heard").read()).startswith(b"heard")
        assert await asyncio.to_thread(applications[0].closed.wait, LIMIT)
        assert not applications[1].closed.is_set()
        assert not applications[2].closed.is_set()
        await stuck[0].end()
        for request in stuck[1:]:
            request.leave()
            await request.end()

    run(test)


def test_the_next_request_over_the_queue_limit_is_rejected_at_once() -> None:
    """How many run and wait is observed, and in the end none does."""

    async def test() -> None:
        go_on, begun, seen = threading.Event(), list[str](), {"running": 0, "waiting": 0}

        def observe(state: str, change: int) -> None:
            seen[state] += change

        adapter = WsgiToAsgi(waits(go_on, begun), threads=1, max_waiting=2, observe=observe)
        first = Request(adapter, "POST", "/wait/1", [CHUNKED], b"x")
        await until(lambda: begun == ["/wait/1"])
        others = [Request(adapter, "POST", f"/wait/{number}", [CHUNKED], b"x") for number in range(2, 5)]
        with pytest.raises(Overloaded):
            await others.pop().end()
        assert seen == {"running": 1, "waiting": 2}
        go_on.set()
        for request in (first, *others):
            request.send(b"", more=False)
            await request.read()
        assert sorted(begun) == ["/wait/1", "/wait/2", "/wait/3"]
        await until(lambda: seen == {"running": 0, "waiting": 0})

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
