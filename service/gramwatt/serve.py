"""Running the service: gunicorn with the shipped settings, or waitress where gunicorn cannot run."""

from __future__ import annotations

import contextlib
import logging
import os
import socket
import struct
import sys
import uuid
from collections.abc import Callable
from importlib import util
from pathlib import Path
from typing import Any, Final

import orjson

REPOSITORY_SETTINGS: Final = Path(__file__).resolve().parents[2] / "docker" / "gunicorn.conf.py"
PATIENCE: Final = 5
PATIENCE_OF_TABLES: Final = 60
MOST_CHECKED: Final = 500
INSTALLED_SETTINGS: Final = Path(__file__).resolve().parent / "gunicorn.conf.py"


def settings() -> Path:
    """The shipped gunicorn.conf.py: beside the package where installed, in docker/ in a checkout."""
    return INSTALLED_SETTINGS if INSTALLED_SETTINGS.exists() else REPOSITORY_SETTINGS


def serve(host: str, port: int, ready: Callable[[], None], server: str | None = None) -> None:
    """Serve until told to stop; ``ready`` is called when the socket listens. ``server``: threads, events."""
    if server is not None:
        os.environ["GRAMWATT_SERVER"] = server
    if util.find_spec("gunicorn") is not None and sys.platform != "win32":
        _gunicorn(host, port, ready)
    else:
        serve_with_waitress(host, port, ready)


def _gunicorn(host: str, port: int, ready: Callable[[], None]) -> None:
    from gunicorn.app.base import BaseApplication
    from gunicorn.config import get_default_config_file  # noqa: F401 - fails early where gunicorn is another one

    class Service(BaseApplication):  # type: ignore[misc]
        def load_config(self) -> None:
            values = _read_settings(settings())
            values |= {"bind": f"[{host}]:{port}" if ":" in host else f"{host}:{port}", "when_ready": lambda _: ready()}
            for name, value in values.items():
                self.cfg.set(name, value)

        def load(self) -> Any:
            from gramwatt.web import create_app

            return create_app()

    sys.argv = [sys.argv[0]]
    Service().run()


def _read_settings(path: Path) -> dict[str, Any]:
    """The settings a gunicorn.conf.py makes, by gunicorn's own names."""
    from gunicorn.config import Config

    known = Config().settings
    made: dict[str, Any] = {}
    exec(compile(path.read_bytes(), path, "exec"), made)  # noqa: S102 - our own file
    return {name: value for name, value in made.items() if name in known}


def serve_with_waitress(host: str, port: int, ready: Callable[[], None]) -> None:
    """The same application on waitress, which runs on Windows too."""
    import waitress.server

    from gramwatt.web import create_app

    threads = int(os.environ.get("GRAMWATT_THREADS") or 8)
    server = waitress.server.create_server(create_app(), host=host, port=port, threads=threads, ident=None)
    ready()
    server.run()


def problem_bytes(status: int, detail: str) -> bytes:
    """A whole HTTP response with a problem, for requests that never reach the application."""
    from gramwatt.web.problems import TYPES, Problem, body

    kind = {414: "uri-too-long", 431: "headers-too-large", 500: "internal-error"}.get(status, "malformed-request")
    status = TYPES[kind].status
    request_id = uuid.uuid4()
    told = orjson.dumps(
        body(Problem(kind, detail[:500]), f"urn:uuid:{request_id}"),
        option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE,
    )
    head = (
        f"HTTP/1.1 {status} {TYPES[kind].title}\r\nConnection: close\r\nContent-Type: application/problem+json\r\n"
        f"Access-Control-Allow-Origin: *\r\nCache-Control: no-store\r\nX-Request-ID: {request_id}\r\n"
        f"Content-Length: {len(told)}\r\n\r\n"
    )
    return head.encode("latin-1") + told


if util.find_spec("gunicorn") is not None and sys.platform != "win32":
    from gunicorn.http import wsgi
    from gunicorn.http.wsgi import Response
    from gunicorn.workers.gthread import ThreadWorker

    class ProblemWorker(ThreadWorker):  # type: ignore[misc]
        """gunicorn's thread worker, with two mends.

        Its own errors (a line too long, a bad header) are problems too, not pages. And a client that stops in the
        middle of a request, or takes nothing more of its answer, loses its thread after `PATIENCE` seconds, which
        gunicorn itself leaves to a proxy.
        """

        def init_process(self) -> None:
            """Quiet the log about clients that ran out of time."""
            self.log.error_log.addFilter(_not_about_patience)
            super().init_process()

        def enqueue_req(self, conn: Any) -> None:
            """Hand a connection to a thread, with a limit on each wait for its bytes."""
            if not hasattr(conn, "patience"):
                for wait in (socket.SO_RCVTIMEO, socket.SO_SNDTIMEO):
                    conn.sock.setsockopt(socket.SOL_SOCKET, wait, struct.pack("ll", PATIENCE, 0))
                conn.patience = PATIENCE  # a socket keeps it from one request to the next
            super().enqueue_req(conn)

        def handle_request(self, req: Any, conn: Any) -> Any:
            """Answer a request; that of a table may wait longer for its client, who may send all before it reads."""
            if not req.path.rstrip("/").endswith("/batch"):
                return super().handle_request(req, conn)
            conn.sock.setsockopt(socket.SOL_SOCKET, socket.SO_SNDTIMEO, struct.pack("ll", PATIENCE_OF_TABLES, 0))
            try:
                return super().handle_request(req, conn)
            finally:
                with contextlib.suppress(OSError):
                    conn.sock.setsockopt(socket.SOL_SOCKET, socket.SO_SNDTIMEO, struct.pack("ll", PATIENCE, 0))

        def handle_error(self, req: Any, client: Any, addr: Any, exc: BaseException) -> None:
            """Answer a request that could not be read."""
            from gunicorn.http.errors import LimitRequestHeaders, LimitRequestLine, ParseException

            if not isinstance(exc, ParseException):
                super().handle_error(req, client, addr, exc)
                return
            status = 400
            if isinstance(exc, LimitRequestLine):
                status = 414
            elif isinstance(exc, LimitRequestHeaders):
                status = 431
            try:
                client.sendall(problem_bytes(status, str(exc)))
            except OSError:
                self.log.debug("client went away before its error")

    _CHECKED: set[tuple[str, str]] = set()
    _OWN: Final = ("content-length", "etag", "x-request-id")

    class _Gathered:
        """Takes what would be sent."""

        def __init__(self) -> None:
            self.parts: list[bytes] = []

        def sendall(self, data: bytes) -> None:
            self.parts.append(data)

    class OneSend(Response):  # type: ignore[misc]
        """gunicorn's response, whose head and first piece of body leave together: one call, one packet."""

        headers: Any

        def process_headers(self, headers: Any) -> None:
            """Check headers; those that were found good before, as most are the same in every answer, only once."""
            for pair in headers:
                if pair in _CHECKED:
                    self.headers.append(pair)
                    continue
                before = len(self.headers)
                super().process_headers([pair])
                taken_as_it_is = self.headers[before:] == [pair]
                if taken_as_it_is and pair[0].lower() not in _OWN and len(_CHECKED) < MOST_CHECKED:
                    _CHECKED.add(pair)

        def write(self, arg: bytes) -> None:
            """Send a piece of the body, the first with the head before it."""
            if self.headers_sent:
                super().write(arg)
                return
            sock: Any = self.sock
            self.sock: Any = _Gathered()
            try:
                super().write(arg)
            finally:
                gathered, self.sock = self.sock, sock
            sock.sendall(b"".join(gathered.parts))

    wsgi.Response = OneSend

    def _not_about_patience(record: logging.LogRecord) -> bool:
        return not (record.exc_info and isinstance(record.exc_info[1], BlockingIOError))
