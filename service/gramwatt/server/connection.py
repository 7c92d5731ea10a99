"""uvicorn's HTTP connection with limits for what a client sends, and problem bodies for what cannot be read."""

from __future__ import annotations

import asyncio
import contextlib
import fcntl
import logging
import os
import re
import socket
import struct
import sys
import termios
from http import HTTPStatus
from typing import Any, Final

import httptools
from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

from gramwatt.server.problem import make_counted_problem
from gramwatt.web.middleware.failures import EscapeTraceback

READ_TIMEOUT: Final = float(os.environ.get("GRAMWATT_READ_TIMEOUT") or 5)
"""Seconds that a request head may take, and that a client may pause within a body."""
UNREAD_TIMEOUT: Final = float(os.environ.get("GRAMWATT_UNREAD_TIMEOUT") or 20)
"""Seconds after which a client that takes nothing of its response loses the connection."""
MINIMUM_READ_RATE: Final = 2000
"""Bytes a second that a client must take of its response while it is waited for, averaged over `UNREAD_TIMEOUT`."""
PRESENCE_INTERVAL: Final = 0.3
"""Seconds between two tries to reach a client that has closed its sending side and waits for its response."""
STOP_DELAY: Final = 1.0
"""Seconds that a stopping worker keeps idle connections, for requests that are on their way."""
MAX_LINE_LENGTH: Final = 8190
MAX_HEAD_BYTES: Final = 65536
MAX_FIELDS: Final = 64
MAX_PIPELINED: Final = 32

_AUTHORITY: Final = re.compile(rb"[A-Za-z][A-Za-z0-9+.-]*://[^/?#]*")
_HOST: Final = re.compile(rb"(\[[0-9A-Fa-f:.]+\]|[A-Za-z0-9._~!$&'()*+,;=%-]*)(:[0-9]*)?")
_RESET: Final = struct.pack("ii", 1, 0)
_KINDS: Final = {400: "malformed-request", 414: "uri-too-long", 431: "headers-too-large"}
_logger: Final = logging.getLogger("uvicorn.error.connection")
_logger.addFilter(EscapeTraceback())
_logger.setLevel(logging.ERROR)  # what clients do wrong is no warning


class InvalidRequest(Exception):
    """A request that breaks a limit or a rule; ``status`` says which."""

    def __init__(self, status: int, detail: str) -> None:
        super().__init__(detail)
        self.status = status


class RequestParser(httptools.HttpRequestParser):
    """A parser that ignores offers to switch to another protocol, as RFC 9110, 7.8 allows.

    llhttp takes what follows the head of such a request for the other protocol. Java's HttpClient offers HTTP/2 with
    each first request, and sends the body all the same.
    """

    def __init__(self, connection: Connection) -> None:
        super().__init__(connection)
        self.connection = connection
        self.set_dangerous_leniencies(lenient_data_after_close=True)

    def feed_data(self, data: bytes) -> None:  # type: ignore[override]
        """Parse what came; a head that offers an upgrade is parsed again without the offer.

        A parser of its own does that: this one ends at such a head if it also says that the connection closes.
        """
        parser = self
        while True:
            try:
                return httptools.HttpRequestParser.feed_data(parser, data)
            except httptools.HttpParserUpgrade as upgrade:
                if not self.connection.head_without_upgrade:
                    raise
                data = self.connection.head_without_upgrade + data[upgrade.args[0] :]
                parser = self.connection.parser = RequestParser(self.connection)


class Connection(HttpToolsProtocol):
    """uvicorn's connection, which also.

    - bounds a request's head in size and time, and the number of requests sent ahead of their responses;
    - ignores offers to switch to another protocol;
    - responds to what cannot be read with a problem, and closes so that the client receives it;
    - responds to a client that has closed its sending side, and notices if it has closed both;
    - ends a client that reads its response too slowly;
    - ends connections without losing requests when the worker stops.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.logger = _logger
        self.parser = RequestParser(self)
        self.head_timer: asyncio.TimerHandle | None = None
        self.read_timer: asyncio.TimerHandle | None = None
        self.presence_timer: asyncio.TimerHandle | None = None
        self.head_size = 0
        self.head_without_upgrade = b""
        self.in_head = self.uploading = self.rejected = self.stopping = False

    @property
    def idle(self) -> bool:
        """Whether every request so far has its response."""
        return self.cycle is None or self.cycle.response_complete

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Expect the first head."""
        super().connection_made(transport)
        self.head_timer = self.loop.call_later(READ_TIMEOUT, self.on_head_timeout)

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop the clocks."""
        for timer in (self.head_timer, self.read_timer, self.presence_timer):
            if timer is not None:
                timer.cancel()
        super().connection_lost(exc)

    def pause_writing(self) -> None:
        """Begin to watch how fast the client reads."""
        super().pause_writing()
        self.watch_reading()

    def resume_writing(self) -> None:
        """Stop watching: the client has read enough."""
        if self.read_timer is not None:
            self.read_timer.cancel()
            self.read_timer = None
        super().resume_writing()

    def watch_reading(self) -> None:
        """Have `on_slow_reading` called with what is unread now."""
        unread = self.transport.get_write_buffer_size() + count_unread(self.transport.get_extra_info("socket"))
        self.read_timer = self.loop.call_later(UNREAD_TIMEOUT, self.on_slow_reading, unread)

    def on_slow_reading(self, before: int) -> None:
        """End a connection whose client took too little, unless it is still sending."""
        unread = self.transport.get_write_buffer_size() + count_unread(self.transport.get_extra_info("socket"))
        if before - unread < MINIMUM_READ_RATE * UNREAD_TIMEOUT and not self.uploading:
            self.read_timer = None
            with contextlib.suppress(
                OSError, AttributeError
            ):  # reset it, else the system goes on sending what it holds
                self.transport.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, _RESET)
            self.transport.abort()
        else:
            self.watch_reading()

    def data_received(self, data: bytes) -> None:
        """Parse what came, and see what is expected next."""
        if self.rejected:
            return
        continued = self.in_head
        self.head_size = len(data) + (self.head_size if continued else 0)
        super().data_received(data)
        if continued and self.in_head and self.head_size > MAX_HEAD_BYTES:
            self.reject(
                InvalidRequest(414 if len(self.url) > MAX_LINE_LENGTH else 431, "The request's head has no end.")
            )
        if self.rejected or self.transport.is_closing():
            return
        if self.in_head or (self.idle and self.timeout_keep_alive_task is None):
            if self.head_timer is None:
                self.head_timer = self.loop.call_later(READ_TIMEOUT, self.on_head_timeout)
        elif self.head_timer is not None:
            self.head_timer.cancel()
            self.head_timer = None
        uploading = not self.idle and self.cycle.more_body and not self.pipeline
        if uploading != self.uploading:  # many clients send a whole table before they read any of the response
            self.uploading = uploading
            limit_unread(self.transport.get_extra_info("socket"), None if uploading else UNREAD_TIMEOUT)

    def on_head_timeout(self) -> None:
        """End a connection whose head did not come in time, unless an earlier request is in progress."""
        self.head_timer = None
        if self.idle:
            self.transport.abort()
        else:
            self.head_timer = self.loop.call_later(READ_TIMEOUT, self.on_head_timeout)

    def on_message_begin(self) -> None:
        """Begin a head."""
        self.in_head = True
        super().on_message_begin()

    def on_headers_complete(self) -> None:
        """Check a head. Raises `InvalidRequest`."""
        self.in_head = False
        self.head_without_upgrade = self.make_head_without_upgrade() if self.parser.should_upgrade() else b""
        if self.head_without_upgrade:
            return
        if len(self.url) > MAX_LINE_LENGTH:
            raise InvalidRequest(414, f"A URL may have {MAX_LINE_LENGTH} characters.")
        if len(self.headers) > MAX_FIELDS:
            raise InvalidRequest(431, f"A request may have {MAX_FIELDS} header fields.")
        if self.head_size > MAX_LINE_LENGTH and any(
            len(name) + len(value) > MAX_LINE_LENGTH for name, value in self.headers
        ):
            raise InvalidRequest(431, f"A header field may have {MAX_LINE_LENGTH} bytes.")
        hosts = [value for name, value in self.headers if name == b"host"]
        if len(hosts) > 1 or (not hosts and self.parser and self.parser.get_http_version() == "1.1"):
            raise InvalidRequest(400, "A request needs one Host header field.")
        if hosts and not _HOST.fullmatch(hosts[0]):
            raise InvalidRequest(400, "The Host header field is no host.")
        codings = [value.strip().lower() for name, value in self.headers if name == b"transfer-encoding"]
        if codings not in ([], [b"chunked"]):
            raise InvalidRequest(400, "The only transfer coding that is understood is chunked.")
        if len(self.pipeline) >= MAX_PIPELINED:
            raise InvalidRequest(400, "Too many requests were sent before their responses were read.")
        if not self.url.startswith(b"/"):  # RFC 9112, 3.2.2: a whole URL in the request line; RFC 9110, 7.1: "*"
            authority = _AUTHORITY.match(self.url)
            self.url = self.url[authority.end() :] if authority else self.url
            self.url = self.url if self.url.startswith(b"/") else b"/" + self.url
        super().on_headers_complete()
        if self.stopping:
            self.close_after_response()

    def make_head_without_upgrade(self) -> bytes:
        """Return the head of this request without its offer of another protocol; empty if it has none (CONNECT)."""
        fields = [name + b": " + value for name, value in self.headers if name != b"upgrade"]
        if len(fields) == len(self.headers):
            return b""
        version = self.parser.get_http_version().encode()
        return b"\r\n".join([self.parser.get_method() + b" " + self.url + b" HTTP/" + version, *fields, b"", b""])

    def on_message_complete(self) -> None:
        """End a request, unless its head is parsed again."""
        if not self.head_without_upgrade:
            super().on_message_complete()

    def send_400_response(self, msg: str) -> None:
        """Answer what the parser could not read; uvicorn calls this where parsing failed."""
        error = sys.exception()
        cause = None if error is None else error.__context__
        self.reject(cause if isinstance(cause, InvalidRequest) else InvalidRequest(400, f"{error or msg}."))

    def reject(self, error: InvalidRequest) -> None:
        """Answer with a problem, unless a response is under way, and read no more requests."""
        self.rejected = True
        if not self.idle:
            self.close_after_response()
            if self.pipeline or not self.cycle.more_body:
                return  # the connection ends after the responses to the earlier requests
            self.cycle.disconnected = True
            self.cycle.message_event.set()
            self.flow.resume_writing()
            if self.cycle.response_started:
                self.transport.close()
                return
        status, headers, text = make_counted_problem(_KINDS[error.status], str(error))
        lines = [b"HTTP/1.1 %d %s" % (status, HTTPStatus(status).phrase.encode()), b"connection: close"]
        lines += [name + b": " + value for name, value in headers]
        self.transport.write(b"\r\n".join([*lines, b"", text]))
        with contextlib.suppress(OSError, RuntimeError):
            self.transport.write_eof()
        self.flow.resume_reading()  # what is still on its way would reset the connection, and lose the response
        self.loop.call_later(READ_TIMEOUT, self.transport.abort)

    def close_after_response(self) -> None:
        """Close after the last response that was begun, and say so in its head (older uvicorns do not)."""
        if self.cycle.keep_alive:
            self.cycle.keep_alive = False
            self.cycle.default_headers = [*self.cycle.default_headers, (b"connection", b"close")]

    def eof_received(self) -> bool:  # type: ignore[override]
        """Answer who has sent everything; RFC 9112, 9.6 lets a client close its sending side."""
        if self.rejected or self.idle:
            return False
        if self.cycle.more_body:
            self.reject(InvalidRequest(400, "The body breaks off."))
            return False
        self.close_after_response()
        self.presence_timer = self.loop.call_later(PRESENCE_INTERVAL, self.on_presence_timer)
        return True

    def on_presence_timer(self) -> None:
        """Send something where the response takes long: without a reader, the connection is reset.

        It is an interim response, which every client of HTTP/1.1 passes over (RFC 9110, 15.2).
        """
        if not self.idle and self.cycle.scope["http_version"] == "1.1":
            if not (self.pipeline or self.cycle.response_started):  # with a pipeline, another response is under way
                self.transport.write(b"HTTP/1.1 100 Continue\r\n\r\n")
            self.presence_timer = self.loop.call_later(PRESENCE_INTERVAL, self.on_presence_timer)

    def shutdown(self) -> None:
        """End the connection after the response under way, or after a moment where it is idle."""
        self.stopping = True
        if self.idle:
            self.loop.call_later(STOP_DELAY, self.close_if_idle)
        else:
            self.close_after_response()

    def close_if_idle(self) -> None:
        """Close where no request has begun; else its response closes."""
        if self.idle and not self.in_head:
            self.transport.close()


def count_unread(sock: Any) -> int:
    """Return the bytes that the system holds for a client; 0 where it does not report them."""
    count = bytearray(4)
    with contextlib.suppress(OSError, AttributeError):
        fcntl.ioctl(sock.fileno(), termios.TIOCOUTQ, count)
    return int.from_bytes(count, sys.byteorder)


def limit_unread(sock: Any, seconds: float | None) -> None:
    """Have the system end a connection whose client takes nothing for so long; None: never. Linux only."""
    option = getattr(socket, "TCP_USER_TIMEOUT", None)
    if option is not None and sock is not None and sock.family in (socket.AF_INET, socket.AF_INET6):
        sock.setsockopt(socket.IPPROTO_TCP, option, 0 if seconds is None else int(seconds * 1000))
