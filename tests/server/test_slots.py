"""Test the adapter's threads: requests that wait for a slot, and clients that hold none."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from gramwatt.server.adapter import WsgiToAsgi
from gramwatt.server.slots import Overloaded, Slots
from gramwatt.server.streams import BodyTimeout
from server.asgi_client import (
    CHUNKED,
    LIMIT,
    PLAIN,
    Endless,
    Environ,
    Request,
    Start,
    complete,
    echo,
    run,
    until,
)


def make_waiting_application(go_on: threading.Event, begun: list[str]) -> Callable[[Environ, Start], list[bytes]]:
    """Return an application that waits at paths below `/wait` until it may go on."""

    def application(environ: Environ, start: Start) -> list[bytes]:
        begun.append(environ["PATH_INFO"])
        if environ["PATH_INFO"].startswith("/wait"):
            assert go_on.wait(LIMIT)
        start("200 OK", PLAIN)
        return [b"done"]

    return application


def test_short_requests_are_served_while_all_threads_are_busy() -> None:
    """So is a long request without a streamed body, such as a small table."""

    async def test() -> None:
        go_on, begun = threading.Event(), list[str]()
        adapter = WsgiToAsgi(
            make_waiting_application(go_on, begun),
            threads=2,
            run_in_thread=lambda scope: bool(scope["path"] == "/small"),
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


def test_a_client_that_leaves_while_it_waits_for_a_thread_is_never_served() -> None:
    async def test() -> None:
        go_on, begun = threading.Event(), list[str]()
        adapter = WsgiToAsgi(make_waiting_application(go_on, begun), threads=1)
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


def test_a_client_that_stops_sending_while_it_waits_for_a_thread_is_never_served() -> None:
    async def test() -> None:
        go_on, begun = threading.Event(), list[str]()
        adapter = WsgiToAsgi(make_waiting_application(go_on, begun), threads=1, read_timeout=0.05)
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


def test_the_slowest_of_too_many_stalled_clients_is_closed_once_another_waits(monkeypatch: pytest.MonkeyPatch) -> None:
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


def test_a_request_beyond_the_maximum_of_waiting_ones_is_rejected_at_once() -> None:
    """The numbers of running and waiting requests are observed, and return to zero."""

    async def test() -> None:
        go_on, begun, seen = threading.Event(), list[str](), {"running": 0, "waiting": 0}

        def observe(state: str, change: int) -> None:
            seen[state] += change

        adapter = WsgiToAsgi(make_waiting_application(go_on, begun), threads=1, max_waiting=2, observe=observe)
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


def test_a_slot_is_lent_only_by_the_thread_that_has_it() -> None:
    """A thread that reads the body ahead waits for the client while the request computes."""
    go_on, reading = threading.Event(), threading.Event()

    def application(environ: Environ, start: Start) -> list[bytes]:
        if environ["PATH_INFO"] == "/ahead":
            ahead = threading.Thread(target=environ["wsgi.input"].read)
            ahead.start()
            reading.set()
            assert go_on.wait(LIMIT)

            def is_read(seconds: float) -> bool:
                ahead.join(seconds)
                return not ahead.is_alive()

            environ["gramwatt.wait_until"](is_read)
        start("200 OK", PLAIN)
        return [b"done"]

    async def test() -> None:
        adapter = WsgiToAsgi(application, threads=1, read_timeout=LIMIT)
        first = Request(adapter, "POST", "/ahead", [CHUNKED], b"x")
        assert await asyncio.to_thread(reading.wait, LIMIT)
        other = complete(adapter, [CHUNKED])
        await asyncio.sleep(0.3)
        assert not other.task.done(), "the slot of a request that computes was lent"
        go_on.set()
        assert await other.read() == b"done"
        first.send(b"", more=False)
        assert await first.read() == b"done"

    run(test)
