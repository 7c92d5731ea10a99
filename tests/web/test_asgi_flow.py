"""The shell around a WSGI application: bodies and answers that flow, clients that leave, threads that are few."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from gramwatt.asgi import Shell
from gramwatt.flow import HELD
from web.toys import CHUNKED, LENGTH, LIMIT, PLAIN, Endless, Environ, Start, Talk, echo, run, until, whole


def lines(environ: Environ, start: Start) -> Iterator[bytes]:
    start("200 OK", PLAIN)
    for line in environ["wsgi.input"]:
        yield line.upper()


def test_the_first_line_is_answered_before_the_last_is_sent() -> None:
    async def test() -> None:
        talk = Talk(Shell(lines), headers=[CHUNKED]).begin()
        talk.say(b"one\n")
        assert (await talk.hear())["status"] == 200
        assert await talk.hear() == {"type": "http.response.body", "body": b"ONE\n", "more_body": True}
        talk.say(b"two\n")
        assert (await talk.hear())["body"] == b"TWO\n"
        talk.say(b"three\n", more=False)
        assert b"".join(message["body"] for message in await talk.end()) == b"THREE\n"

    run(test)


@pytest.mark.parametrize("size", [100, 20_000, 65536, 300_000])
def test_a_fast_producer_waits_for_a_client_that_takes_nothing(size: int) -> None:
    async def test() -> None:
        application = Endless(size)
        talk = Talk(Shell(application), headers=[CHUNKED])
        talk.writable.clear()
        talk.begin().say(b"", more=False)
        await until(lambda: application.made * size >= HELD)
        await asyncio.sleep(0.2)
        assert application.made * size <= 3 * HELD + 3 * size
        talk.leave()
        assert await asyncio.to_thread(application.closed.wait, LIMIT)

    run(test)


def test_a_fast_sender_waits_for_an_application_that_reads_nothing() -> None:
    go_on = threading.Event()

    def application(environ: Environ, start: Start) -> list[bytes]:
        assert go_on.wait(LIMIT)
        start("200 OK", PLAIN)
        return [str(len(environ["wsgi.input"].read())).encode()]

    async def test() -> None:
        talk = Talk(Shell(application), headers=[CHUNKED])
        for _ in range(50):
            talk.say(b"x" * 30_000)
        talk.say(b"", more=False)
        talk.begin()
        await asyncio.sleep(0.2)
        assert talk._in.qsize() >= 45, "the shell took more than it can hold"
        go_on.set()
        assert whole(await talk.end()) == b"1500000"

    run(test)


def test_a_client_that_goes_away_stops_the_work() -> None:
    async def test() -> None:
        application = Endless()
        talk = Talk(Shell(application), headers=[CHUNKED]).begin()
        talk.say(b"", more=False)
        await talk.hear()
        talk.leave()
        assert await asyncio.to_thread(application.closed.wait, LIMIT)
        await talk.end()
        made = application.made
        await asyncio.sleep(0.05)
        assert application.made == made

    run(test)


@pytest.mark.parametrize("header", [LENGTH, CHUNKED])
def test_a_server_that_cancels_stops_the_work_too(header: Any) -> None:
    async def test() -> None:
        application = Endless()
        talk = Talk(Shell(application), headers=[header]).begin()
        talk.say(b"hello", more=False)
        await talk.hear()
        assert talk.task is not None
        talk.task.cancel()
        assert await asyncio.to_thread(application.closed.wait, LIMIT)
        with pytest.raises(asyncio.CancelledError):
            await talk.task

    run(test)


class Reader:
    """An application that reads on and notes how that ended."""

    def __init__(self) -> None:
        self.fault: Exception | None = None
        self.ended = threading.Event()

    def __call__(self, environ: Environ, start: Start) -> list[bytes]:
        try:
            while environ["wsgi.input"].read(4):
                pass
        except Exception as error:
            self.fault = error
        self.ended.set()
        start("400 Bad Request" if self.fault else "200 OK", PLAIN)
        return [b"told"]


@pytest.mark.parametrize("header", [LENGTH, CHUNKED])
def test_a_body_that_breaks_off_is_no_short_body(header: Any) -> None:
    async def test() -> None:
        reader = Reader()
        talk = Talk(Shell(reader), headers=[header]).begin()
        talk.say(b"hel")
        talk.leave()
        await asyncio.to_thread(reader.ended.wait, LIMIT)
        assert isinstance(reader.fault, ConnectionError)
        await talk.end()

    run(test)


@pytest.mark.parametrize("said", [b"", b"hel"])
@pytest.mark.parametrize("header", [LENGTH, CHUNKED])
def test_a_silent_client_loses_its_request(header: Any, said: bytes) -> None:
    async def test() -> None:
        reader = Reader()
        talk = Talk(Shell(reader, patience=0.05), headers=[header]).begin()
        if said:
            talk.say(said)
        messages = await talk.end()
        assert isinstance(reader.fault, TimeoutError)
        assert messages[0]["status"] == 400
        assert whole(messages) == b"told"

    run(test)


def test_reading_fails_once_the_client_is_gone_although_all_had_come() -> None:
    gone = threading.Event()
    faults: list[Exception] = []

    def application(environ: Environ, start: Start) -> Iterator[bytes]:
        start("200 OK", PLAIN)
        yield environ["wsgi.input"].read(1)
        assert gone.wait(LIMIT)
        try:
            environ["wsgi.input"].read(60_000)
        except OSError as error:
            faults.append(error)

    async def test() -> None:
        talk = Talk(Shell(application), headers=[CHUNKED]).begin()
        talk.say(b"x" * 50_000, more=False)
        await talk.hear()
        talk.leave()
        await talk.end()
        gone.set()
        await until(lambda: bool(faults))

    run(test)


def waits(go_on: threading.Event, begun: list[str]) -> Callable[[Environ, Start], list[bytes]]:
    def application(environ: Environ, start: Start) -> list[bytes]:
        begun.append(environ["PATH_INFO"])
        if environ["PATH_INFO"] != "/short":
            assert go_on.wait(LIMIT)
        start("200 OK", PLAIN)
        return [b"done"]

    return application


def test_a_full_pool_stops_no_short_request_and_the_long_ones_wait() -> None:
    async def test() -> None:
        go_on, begun = threading.Event(), list[str]()
        shell = Shell(waits(go_on, begun), threads=2)
        long = [Talk(shell, path=f"/{number}", headers=[CHUNKED]).begin() for number in range(5)]
        for talk in long:
            talk.say(b"", more=False)
        await until(lambda: len(begun) == 2)
        for _ in range(20):
            assert whole(await Talk(shell, "GET", "/short").begin().end()) == b"done"
        assert len([path for path in begun if path != "/short"]) == 2
        go_on.set()
        for talk in long:
            assert whole(await talk.end()) == b"done"

    run(test)


def test_who_leaves_while_waiting_for_a_thread_is_never_begun() -> None:
    async def test() -> None:
        go_on, begun = threading.Event(), list[str]()
        shell = Shell(waits(go_on, begun), threads=1)
        first, left, last = (Talk(shell, path=path, headers=[CHUNKED]).begin() for path in ("/1", "/2", "/3"))
        first.say(b"", more=False)
        await until(lambda: begun == ["/1"])
        left.say(b"x")
        await asyncio.sleep(0.05)
        left.leave()
        await left.end()
        last.say(b"", more=False)
        go_on.set()
        await first.end()
        await last.end()
        assert begun == ["/1", "/3"]

    run(test)


def test_who_says_nothing_holds_no_thread() -> None:
    async def test() -> None:
        shell = Shell(echo, threads=1, patience=LIMIT)
        silent = [Talk(shell, headers=[CHUNKED]).begin() for _ in range(10)]
        await asyncio.sleep(0.02)
        talk = Talk(shell, headers=[CHUNKED]).begin()
        talk.say(b"heard", more=False)
        assert whole(await talk.end()).startswith(b"heard")
        for each in silent:
            each.leave()

    run(test)


def exits(environ: Environ, start: Start) -> list[bytes]:
    raise SystemExit(3)


def test_an_application_that_would_end_its_thread_ends_its_request() -> None:
    async def test() -> None:
        talk = Talk(Shell(exits), headers=[CHUNKED]).begin()
        talk.say(b"", more=False)
        assert talk.task is not None
        with pytest.raises(RuntimeError, match="SystemExit"):
            await asyncio.wait_for(talk.task, LIMIT)

    run(test)
