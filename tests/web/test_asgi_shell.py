"""The shell around a WSGI application: what goes where, the environ, start_response, and errors."""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Awaitable, Iterator
from typing import Any

import pytest

from gramwatt.asgi import Shell
from gramwatt.environ import environ_of
from web.toys import BIG, CHUNKED, LENGTH, LIMIT, PLAIN, Endless, Environ, Message, Start, Talk, echo, run, whole


@pytest.mark.parametrize(
    ("header", "path", "in_the_loop"),
    [
        pytest.param([LENGTH], "/", True, id="short"),
        pytest.param([], "/", True, id="no-body"),
        pytest.param([CHUNKED], "/", False, id="chunked"),
        pytest.param([BIG], "/", False, id="big"),
        pytest.param([LENGTH], "/batch", False, id="told-long"),
    ],
)
def test_short_requests_stay_in_the_loop_and_long_ones_go_to_a_thread(
    header: list[Any], path: str, in_the_loop: bool
) -> None:
    async def test() -> None:
        talk = Talk(Shell(echo, is_long=lambda scope: scope["path"] == "/batch"), path=path, headers=header).begin()
        talk.say(b"he")
        talk.say(b"llo", more=False)
        body = whole(await talk.end())
        assert body.startswith(b"hello" if header else b"")
        assert body.endswith(b"MainThread") == in_the_loop

    run(test)


def test_the_environ_is_pep_3333_s() -> None:
    environ = environ_of(
        {
            "type": "http",
            "http_version": "1.1",
            "method": "GET",
            "scheme": "https",
            "path": "/mount/a/\N{OHM SIGN}",
            "raw_path": b"/mount/a%2F%E2%84%A6",
            "root_path": "/mount",
            "query_string": b"x=%C3%A9&y",
            "headers": [
                (b"host", b"example.test:81"),
                (b"content-type", b"text/csv"),
                (b"content-length", b"3"),
                (b"accept", b"text/csv"),
                (b"accept", b"text/plain"),
                (b"cookie", b"a=1"),
                (b"cookie", b"b=2"),
                (b"x-name", b"\xe9"),
                (b"x_name", b"forged"),
            ],
            "server": ("127.0.0.1", 8000),
            "client": ("192.0.2.7", 4321),
        }
    )
    assert environ.pop("wsgi.errors") is sys.stderr
    assert environ == {
        "wsgi.version": (1, 0),
        "wsgi.multithread": True,
        "wsgi.multiprocess": True,
        "wsgi.run_once": False,
        "wsgi.input_terminated": True,
        "wsgi.url_scheme": "https",
        "REQUEST_METHOD": "GET",
        "SCRIPT_NAME": "/mount",
        "PATH_INFO": "/a/\xe2\x84\xa6",
        "QUERY_STRING": "x=%C3%A9&y",
        "SERVER_NAME": "127.0.0.1",
        "SERVER_PORT": "8000",
        "SERVER_PROTOCOL": "HTTP/1.1",
        "REMOTE_ADDR": "192.0.2.7",
        "REMOTE_PORT": "4321",
        "HTTP_HOST": "example.test:81",
        "CONTENT_TYPE": "text/csv",
        "CONTENT_LENGTH": "3",
        "HTTP_ACCEPT": "text/csv,text/plain",
        "HTTP_COOKIE": "a=1; b=2",
        "HTTP_X_NAME": "\xe9",
    }


@pytest.mark.parametrize(
    ("raw", "path"), [(b"http://example.test/a%20b", "/a b"), (b"http://example.test", "/"), (b"//a", "//a")]
)
def test_a_whole_url_in_the_request_line_is_its_path(raw: bytes, path: str) -> None:
    assert environ_of({"method": "GET", "path": "?", "raw_path": raw, "headers": []})["PATH_INFO"] == path


def test_a_path_without_its_raw_bytes_is_not_decoded_twice() -> None:
    environ = environ_of({"method": "GET", "path": "/100%25/\N{OHM SIGN}", "headers": []})
    assert environ["PATH_INFO"] == "/100%25/\xe2\x84\xa6"


@pytest.mark.parametrize("header", [LENGTH, CHUNKED])
def test_the_body_reads_like_a_file(header: Any) -> None:
    def application(environ: Environ, start: Start) -> list[bytes]:
        body = environ["wsgi.input"]
        got = [body.readline(), body.read(3), *body.readlines(1), *body, body.read()]
        start("200 OK", PLAIN)
        return [b"|".join(got)]

    async def test() -> None:
        talk = Talk(Shell(application), headers=[header]).begin()
        for piece in (b"on", b"e\nt", b"wo", b"x\nthree\nfo"):
            talk.say(piece)
        talk.say(b"ur\n5", more=False)
        assert whole(await talk.end()) == b"one\n|two|x\n|three\n|four\n|5|"

    run(test)


@pytest.mark.parametrize("header", [[], [CHUNKED]])
def test_head_has_no_body_and_asks_for_no_more_than_the_first_piece(header: list[Any]) -> None:
    async def test() -> None:
        application = Endless()
        talk = Talk(Shell(application), "HEAD", headers=header).begin()
        talk.say(b"", more=False)
        assert whole(await talk.end()) == b""
        assert application.made == 1
        assert application.closed.is_set()

    run(test)


def test_length_and_other_headers_are_kept_and_hop_by_hop_ones_dropped() -> None:
    def application(environ: Environ, start: Start) -> list[bytes]:
        start("207 Multi", [("Content-Length", "2"), ("X-A", "1"), ("X-A", "2"), ("Connection", "close")])
        return [b"ab"]

    async def test() -> None:
        head, body = await Talk(Shell(application), "GET").begin().end()
        assert head["status"] == 207
        assert head["headers"] == [(b"content-length", b"2"), (b"x-a", b"1"), (b"x-a", b"2")]
        assert body == {"type": "http.response.body", "body": b"ab", "more_body": False}

    run(test)


def fails_before(environ: Environ, start: Start) -> list[bytes]:
    raise LookupError("before")


def fails_between(environ: Environ, start: Start) -> Iterator[bytes]:
    start("200 OK", PLAIN)
    yield b""
    raise LookupError("between")


def fails_after(environ: Environ, start: Start) -> Iterator[bytes]:
    start("200 OK", PLAIN)
    yield b"x" * 70_000
    raise LookupError("after")


def starts_not(environ: Environ, start: Start) -> list[bytes]:
    return []


def starts_twice(environ: Environ, start: Start) -> list[bytes]:
    start("200 OK", PLAIN)
    start("200 OK", PLAIN)
    return []


@pytest.mark.parametrize("header", [[], [CHUNKED]], ids=["short", "long"])
@pytest.mark.parametrize(
    ("application", "error", "begun"),
    [
        (fails_before, LookupError, False),
        (fails_between, LookupError, False),
        (fails_after, LookupError, True),
        (starts_not, RuntimeError, False),
        (starts_twice, RuntimeError, False),
    ],
)
def test_an_error_reaches_the_server_and_no_answer_ends_well(
    application: Any, error: type[Exception], begun: bool, header: list[Any]
) -> None:
    async def test() -> None:
        talk = Talk(Shell(application), headers=header).begin()
        talk.say(b"", more=False)
        assert talk.task is not None
        with pytest.raises(error):
            await asyncio.wait_for(talk.task, LIMIT)
        said = [talk._out.get_nowait() for _ in range(talk.said())]
        assert [message["type"] for message in said[:1]] == (["http.response.start"] if begun else [])
        assert all(message["more_body"] for message in said[1:])

    run(test)


@pytest.mark.parametrize("header", [[], [CHUNKED]], ids=["short", "long"])
def test_exc_info_mends_an_answer_that_has_not_begun(header: list[Any]) -> None:
    def application(environ: Environ, start: Start) -> list[bytes]:
        start("200 OK", PLAIN)
        try:
            raise LookupError
        except LookupError:
            start("500 Broken", [("X-Second", "1")], sys.exc_info())
        return [b"mended"]

    async def test() -> None:
        talk = Talk(Shell(application), headers=header).begin()
        talk.say(b"", more=False)
        messages = await talk.end()
        assert (messages[0]["status"], messages[0]["headers"]) == (500, [(b"x-second", b"1")])
        assert whole(messages) == b"mended"

    run(test)


@pytest.mark.parametrize("header", [[], [CHUNKED]], ids=["short", "long"])
def test_exc_info_is_raised_where_the_answer_has_begun(header: list[Any]) -> None:
    def application(environ: Environ, start: Start) -> list[bytes]:
        write = start("200 OK", PLAIN)
        write(b"begun")
        try:
            raise LookupError("too late")
        except LookupError:
            start("500 Broken", PLAIN, sys.exc_info())
        return []

    async def test() -> None:
        talk = Talk(Shell(application), headers=header).begin()
        talk.say(b"", more=False)
        assert talk.task is not None
        with pytest.raises(LookupError, match="too late"):
            await asyncio.wait_for(talk.task, LIMIT)

    run(test)


@pytest.mark.parametrize("header", [[], [CHUNKED]], ids=["short", "long"])
def test_write_comes_before_what_is_returned(header: list[Any]) -> None:
    def application(environ: Environ, start: Start) -> list[bytes]:
        write = start("200 OK", PLAIN)
        write(b"a")
        write(b"b")
        return [b"", b"c"]

    async def test() -> None:
        talk = Talk(Shell(application), headers=header).begin()
        talk.say(b"", more=False)
        assert whole(await talk.end()) == b"abc"

    run(test)


def test_an_answer_that_is_known_comes_without_the_application() -> None:
    async def test() -> None:
        def known(scope: Message) -> Any:
            return (304, [(b"etag", b'"a"')], b"") if scope["path"] == "/known" else None

        shell = Shell(echo, known=known)
        head, body = await Talk(shell, "GET", "/known").begin().end()
        assert (head["status"], head["headers"], body["body"]) == (304, [(b"etag", b'"a"')], b"")
        assert whole(await Talk(shell, "GET", "/other").begin().end()) == b"MainThread"

    run(test)


def test_lifespan() -> None:
    async def test() -> None:
        said: list[str] = []
        messages = iter(("lifespan.startup", "lifespan.shutdown"))

        async def receive() -> Message:
            return {"type": next(messages)}

        def send(message: Message) -> Awaitable[None]:
            said.append(message["type"])
            return asyncio.sleep(0)

        await Shell(echo)({"type": "lifespan"}, receive, send)
        assert said == ["lifespan.startup.complete", "lifespan.shutdown.complete"]
        with pytest.raises(NotImplementedError):
            await Shell(echo)({"type": "websocket"}, receive, send)

    run(test)
