"""A table answered by a running service: sent and received at once, so that neither side waits for the other."""

from __future__ import annotations

import contextlib
import http.client
import socket
import threading
from collections.abc import Iterator, Mapping
from typing import Any, Final
from urllib.parse import quote, urlencode, urlsplit

import orjson

from gramwatt.engine.calculate import format_error
from gramwatt.engine.tables.chunks import MalformedTable
from gramwatt.engine.wire_formats import FORMATS
from gramwatt.model.messages import InputError

CONNECT_TIMEOUT: Final = 10.0
"""Seconds to wait for a connection; after that, a slow service or a slow pipe may take its time."""
READ_SIZE: Final = 256 * 1024


class RemoteError(Exception):
    """The service could not be asked, or gave no answer; says why in words for the user."""


class RemoteBatch:
    """One POST of a table. ``pieces`` are sent by a thread of their own while the answer is read."""

    def __init__(self, url: str, name: str, query: Mapping[str, str], form: str, pieces: Iterator[bytes]) -> None:
        self._url, self._pieces = url, pieces
        parts = urlsplit(url)
        if parts.scheme not in ("http", "https") or not parts.hostname:
            raise RemoteError(f"--url {url}: write it as http://host:port")
        make = http.client.HTTPSConnection if parts.scheme == "https" else http.client.HTTPConnection
        try:
            self._connection = make(parts.hostname, parts.port, timeout=CONNECT_TIMEOUT)
            self._connection.connect()
            self._socket = self._connection.sock
            self._socket.settimeout(None)
            path = f"{parts.path.rstrip('/')}/v1/{quote(name, safe='')}/batch"
            self._connection.putrequest("POST", f"{path}?{urlencode(query)}")
            self._connection.putheader("Content-Type", FORMATS[form])
            self._connection.putheader("Transfer-Encoding", "chunked")
            self._connection.endheaders()
        except (OSError, ValueError, http.client.HTTPException) as error:
            raise RemoteError(f"--url {url}: no connection: {error}") from None
        self._failure: Exception | None = None
        sender = threading.Thread(target=self._send, name="sender", daemon=True)
        sender.start()
        if parts.scheme == "https":
            # Two threads must not use one TLS connection. The service takes a body in to its end whatever it has
            # answered so far, so all of it may be sent first.
            sender.join()

    def _send(self) -> None:
        try:
            for piece in self._pieces:
                if piece:
                    self._socket.sendall(b"%x\r\n%b\r\n" % (len(piece), piece))
        except MalformedTable:
            pass  # the service is told where the table ends too early, and tells so in its answer
        except Exception as error:  # the service has closed, and its answer says why; or the table cannot be read
            self._failure = None if isinstance(error, ConnectionError) else error
            if self._failure is None:
                return
            with contextlib.suppress(OSError):
                self._socket.shutdown(socket.SHUT_RDWR)
            return
        with contextlib.suppress(OSError):
            self._socket.sendall(b"0\r\n\r\n")

    def answer(self) -> Iterator[bytes]:
        """The answer's bytes as they come. Raises RemoteError for a problem, or where the connection fails."""
        try:
            response = self._connection.getresponse()
            if response.status != 200:
                raise RemoteError(format_problem(response.status, response.read()))
            while piece := response.read1(READ_SIZE):
                yield piece
        except (OSError, http.client.HTTPException) as error:
            why = self._failure or error
            told = str(why) or type(why).__name__
            raise RemoteError(f"--url {self._url}: the exchange broke off: {told}") from None

    def close(self) -> None:
        """Let go of the connection."""
        self._connection.close()


def format_problem(status: int, body: bytes) -> str:
    """What a problem+json says: its detail, and each fault on a line of its own."""
    try:
        problem: Any = orjson.loads(body)
        lines = [str(problem["detail"])]
        for error in problem.get("errors", ()):
            told = InputError(str(error["pointer"]), str(error["detail"]), error.get("given"), str(error["accepted"]))
            lines.append(format_error(told))
    except (orjson.JSONDecodeError, KeyError, TypeError, AttributeError):
        return f"the service answered {status}, and that is no Gramwatt: {body[:200].decode('utf-8', 'replace')!r}"
    return "\n".join(lines)
