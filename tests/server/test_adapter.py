"""A WSGI application under ASGI: what runs where, the environ, start_response, and errors."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from typing import Any

import pytest

from gramwatt.server.adapter import Response, WsgiToAsgi
from gramwatt.server.environ import scope_to_environ
from server.asgi_client import (
    CHUNKED,
    LARGE,
    LENGTH,
    PLAIN,
    Endless,
    Environ,
    Message,
    Request,
    Start,
    complete,
    echo,
    run,
)

in_both = pytest.mark.parametrize("header", [pytest.param([], id="loop"), pytest.param([CHUNKED], id="thread")])


@pytest.mark.parametrize(
    ("header", "path", "in_the_loop"),
    [
        pytest.param([LENGTH], "/", True, id="short"),
        pytest.param([], "/", True, id="no-body"),
        pytest.param([CHUNKED], "/", False, id="chunked"),
        pytest.param([LARGE], "/", False, id="large"),
        pytest.param([LENGTH], "/batch", False, id="declared-long"),
    ],
)
def test_short_requests_stay_in_the_loop_and_long_ones_go_to_a_thread(
    header: list[Any], path: str, in_the_loop: bool
) -> None:
    async def test() -> None:
        adapter = WsgiToAsgi(echo, run_in_thread=lambda scope: bool(scope["path"] == "/batch"))
        request = Request(adapter, "POST", path, header, b"he")
        request.send(b"llo", more=False)
        body = await request.read()
        assert body.startswith(b"hello" if header else b"")
        assert body.endswith(b"MainThread") == in_the_loop

    run(test)


def test_the_environ_is_pep_3333_s() -> None:
    environ = scope_to_environ(
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


def test_a_path_without_its_raw_bytes_is_not_decoded_twice() -> None:
    environ = scope_to_environ({"method": "GET", "path": "/100%25/\N{OHM SIGN}", "headers": []})
    assert environ["PATH_INFO"] == "/100%25/\xe2\x84\xa6"


@pytest.mark.parametrize("header", [LENGTH, CHUNKED])
def test_the_body_reads_like_a_file(header: Any) -> None:
    def application(environ: Environ, start: Start) -> list[bytes]:
        body = environ["wsgi.input"]
        got = [body.readline(), body.read(3), *body.readlines(1), *body, body.read()]
        start("200 OK", PLAIN)
        return [b"|".join(got)]

    async def test() -> None:
        request = Request(WsgiToAsgi(application), "POST", "/", [header], b"on", b"e\nt", b"wo", b"x\nthree\nfo")
        request.send(b"ur\n5", more=False)
        assert await request.read() == b"one\n|two|x\n|three\n|four\n|5|"

    run(test)


@in_both
def test_head_has_no_body_and_takes_no_more_than_the_first_chunk(header: list[Any]) -> None:
    async def test() -> None:
        application = Endless()
        assert await complete(WsgiToAsgi(application), header, method="HEAD").read() == b""
        assert application.made == 1
        assert application.closed.is_set()

    run(test)


def test_only_hop_by_hop_headers_are_dropped() -> None:
    def application(environ: Environ, start: Start) -> list[bytes]:
        start("207 Multi", [("Content-Length", "2"), ("X-A", "1"), ("X-A", "2"), ("Connection", "close")])
        return [b"ab"]

    async def test() -> None:
        head, body = await complete(WsgiToAsgi(application), [], method="GET").end()
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


def never_starts(environ: Environ, start: Start) -> list[bytes]:
    return []


def starts_twice(environ: Environ, start: Start) -> list[bytes]:
    start("200 OK", PLAIN)
    start("200 OK", PLAIN)
    return []


def fails_too_late(environ: Environ, start: Start) -> list[bytes]:
    start("200 OK", PLAIN)(b"begun")
    try:
        raise LookupError("too late")
    except LookupError:
        start("500 Broken", PLAIN, sys.exc_info())
    return []


ERRORS = pytest.mark.parametrize(
    ("application", "error", "begun"),
    [
        (fails_before, LookupError, False),
        (fails_between, LookupError, False),
        (fails_after, LookupError, True),
        (never_starts, RuntimeError, False),
        (starts_twice, RuntimeError, False),
        (fails_too_late, LookupError, None),
    ],
)


@in_both
@ERRORS
def test_an_error_reaches_the_server_and_its_response_has_no_end(
    application: Any, error: type[Exception], begun: bool | None, header: list[Any]
) -> None:
    async def test() -> None:
        request = complete(WsgiToAsgi(application), header)
        with pytest.raises(error):
            await request.end()
        sent = request.unread()
        if begun is not None:
            assert [message["type"] for message in sent[:1]] == (["http.response.start"] if begun else [])
        assert all(message["more_body"] for message in sent[1:])

    run(test)


@in_both
def test_an_error_before_the_response_may_have_its_own_response(header: list[Any]) -> None:
    def respond(scope: Message, error: BaseException) -> Response:
        return 500, [(b"x-error", str(error).encode())], b"problem"

    async def test() -> None:
        head, body = await complete(WsgiToAsgi(fails_between, respond_to_error=respond), header).end()
        assert (head["status"], head["headers"], body["body"]) == (500, [(b"x-error", b"between")], b"problem")
        with pytest.raises(LookupError):
            await complete(WsgiToAsgi(fails_after, respond_to_error=respond), header).end()

    run(test)


@in_both
def test_exc_info_replaces_a_response_that_has_not_begun(header: list[Any]) -> None:
    def application(environ: Environ, start: Start) -> list[bytes]:
        start("200 OK", PLAIN)
        try:
            raise LookupError
        except LookupError:
            start("500 Broken", [("X-Second", "1")], sys.exc_info())
        return [b"mended"]

    async def test() -> None:
        messages = await complete(WsgiToAsgi(application), header).end()
        assert (messages[0]["status"], messages[0]["headers"]) == (500, [(b"x-second", b"1")])
        assert messages[1]["body"] == b"mended"

    run(test)


@in_both
def test_what_is_written_comes_before_what_is_returned(header: list[Any]) -> None:
    def application(environ: Environ, start: Start) -> list[bytes]:
        write = start("200 OK", PLAIN)
        write(b"a")
        write(b"b")
        return [b"", b"c"]

    async def test() -> None:
        assert await complete(WsgiToAsgi(application), header).read() == b"abc"

    run(test)


def test_a_ready_response_comes_without_the_application() -> None:
    def get_response(scope: Message, body: bytes, compute: bool) -> Response | None:
        if scope["path"] == "/known":
            return 304, [(b"etag", b'"a"')], b""
        return (200, [], b"ready") if body == b"known" else None

    async def test() -> None:
        adapter = WsgiToAsgi(echo, get_response=get_response)
        head, body = await Request(adapter, "GET", "/known").end()
        assert (head["status"], head["headers"], body["body"]) == (304, [(b"etag", b'"a"')], b"")
        assert await Request(adapter, "GET", "/other").read() == b"MainThread"
        assert await complete(adapter, [LENGTH], b"known").read() == b"ready"
        assert await complete(adapter, [LENGTH], b"other").read() == b"otherMainThread"

    run(test)


def test_other_protocols_are_rejected_as_asgi_allows() -> None:
    async def test() -> None:
        request = Request(WsgiToAsgi(echo))
        request.scope["type"] = "lifespan"
        with pytest.raises(NotImplementedError):
            await request.end()

    run(test)
