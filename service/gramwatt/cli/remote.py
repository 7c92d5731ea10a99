"""A table computed by a running service. Sending and receiving overlap, so that neither side waits for the other."""

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
"""Seconds to wait for a connection. After that, a slow service or a slow pipe may take its time."""
READ_SIZE: Final = 256 * 1024


class RemoteError(Exception):
    """The service cannot be reached, or its response is not a table. The text is written for the user."""


class RemoteBatch:
    """One POST request with a table. A thread of its own sends the chunks while the response is read."""

    def __init__(
        self, url: str, name: str, query: Mapping[str, str], table_format: str, chunks: Iterator[bytes]
    ) -> None:
        self._url, self._chunks = url, chunks
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
            self._connection.putheader("Content-Type", FORMATS[table_format])
            self._connection.putheader("Transfer-Encoding", "chunked")
            self._connection.endheaders()
        except (OSError, ValueError, http.client.HTTPException) as error:
            raise RemoteError(f"--url {url}: no connection: {error}") from None
        self._failure: Exception | None = None
        sender = threading.Thread(target=self._send, name="sender", daemon=True)
        sender.start()
        if parts.scheme == "https":
            # Two threads must not use one TLS connection. The service reads the body to its end even while it
            # responds, so the whole body can be sent first.
            sender.join()

    def _send(self) -> None:
        try:
            for chunk in self._chunks:
                if chunk:
                    self._socket.sendall(b"%x\r\n%b\r\n" % (len(chunk), chunk))
        except MalformedTable:
            pass  # the body ends here, and the response of the service reports it
        except Exception as error:  # the service closed the connection, or the table cannot be read
            self._failure = None if isinstance(error, ConnectionError) else error
            if self._failure is None:
                return
            with contextlib.suppress(OSError):
                self._socket.shutdown(socket.SHUT_RDWR)
            return
        with contextlib.suppress(OSError):
            self._socket.sendall(b"0\r\n\r\n")

    def receive(self) -> Iterator[bytes]:
        """Yield the chunks of the response. Raises RemoteError for a problem, or if the connection fails."""
        try:
            response = self._connection.getresponse()
            if response.status != 200:
                raise RemoteError(format_problem(response.status, response.read()))
            while chunk := response.read1(READ_SIZE):
                yield chunk
        except (OSError, http.client.HTTPException) as error:
            cause = self._failure or error
            raise RemoteError(
                f"--url {self._url}: the connection failed: {str(cause) or type(cause).__name__}"
            ) from None

    def close(self) -> None:
        """Close the connection."""
        self._connection.close()


def format_problem(status: int, body: bytes) -> str:
    """Return the detail of a problem+json body, and each of its errors on a line of its own."""
    try:
        problem: Any = orjson.loads(body)
        lines = [str(problem["detail"])]
        for item in problem.get("errors", ()):
            error = InputError(str(item["pointer"]), str(item["detail"]), item.get("given"), str(item["accepted"]))
            lines.append(format_error(error))
    except (orjson.JSONDecodeError, KeyError, TypeError, AttributeError):
        return f"the server is not Gramwatt; it responded {status}: {body[:200].decode('utf-8', 'replace')!r}"
    return "\n".join(lines)
