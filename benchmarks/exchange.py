"""Send one large request and receive its response at the same time, so that neither side waits."""

from __future__ import annotations

import select
import socket
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from benchmarks.load import CHUNKED, LENGTH

PIECE: Final = 262_144
TIMEOUT: Final = 600.0


@dataclass(slots=True)
class Exchange:
    """A response; ``body`` is empty unless it was requested or is an error."""

    status: int
    seconds: float
    received: int
    body: bytes


class Broken(Exception):
    """The response ended too early, or did not come in time."""


class Receiver:
    """Parse a response as it arrives: its head, then a body of known length, in chunks, or until the end."""

    def __init__(self, keep: bool) -> None:
        self.status = 0
        self.received = 0
        self.body = bytearray()
        self.complete = False
        self._keep = keep
        self._head = bytearray()
        self._left: int | None = 0  # bytes left of the body or chunk; None: until the connection closes
        self._chunked = False
        self._line = bytearray()

    def take(self, data: memoryview) -> None:
        """Take the next bytes."""
        if not self.status:
            self._head += data
            end = self._head.find(b"\r\n\r\n")
            if end < 0:
                return
            self.status = int(self._head[9:12])
            self._keep = self._keep or self.status != 200
            length = LENGTH.search(self._head, 0, end + 2)
            self._chunked = CHUNKED.search(self._head, 0, end + 2) is not None
            self._left = int(length[1]) if length else 0 if self._chunked else None
            self.complete = self._left == 0 and not self._chunked
            data = memoryview(bytes(self._head[end + 4 :]))
        if self._chunked:
            self._chunks(data)
        elif len(data):
            self._store(data)
            if self._left is not None:
                self._left -= len(data)
                self.complete = self._left <= 0

    def closed(self) -> None:
        """Note that the other side closed the connection. Raises Broken where the response is incomplete."""
        if not self.complete and (not self.status or self._left is not None):
            raise Broken(f"the response broke off after {self.received} bytes")
        self.complete = True

    def _store(self, data: memoryview) -> None:
        self.received += len(data)
        if self._keep:
            self.body += data

    def _chunks(self, data: memoryview) -> None:
        at = 0
        while at < len(data):
            if self._left:
                piece = data[at : at + self._left]
                self._store(piece)
                self._left -= len(piece)
                at += len(piece)
                continue
            self._line.append(data[at])
            at += 1
            if self._line.endswith(b"\r\n") and len(self._line) > 2:
                self._left = int(self._line.split(b";")[0], 16)
                self.complete = self._left == 0
                self._line.clear()
            elif self._line == b"\r\n":
                self._line.clear()  # the end of the chunk before


def post(path: str, content_type: str, accept: str, length: int | None) -> bytes:
    """Return the head of a POST request; without a length its body is sent in chunks."""
    framing = "Transfer-Encoding: chunked" if length is None else f"Content-Length: {length}"
    lines = (f"POST {path} HTTP/1.1", "Host: 127.0.0.1", f"Content-Type: {content_type}", f"Accept: {accept}", framing)
    return "".join(f"{line}\r\n" for line in (*lines, "")).encode()


def in_chunks(pieces: Iterable[bytes]) -> Iterator[bytes]:
    """Yield the chunks of a body with chunked framing."""
    for piece in pieces:
        yield b"%x\r\n" % len(piece)
        yield piece
        yield b"\r\n"
    yield b"0\r\n\r\n"


def exchange(connection: socket.socket, pieces: Iterable[bytes], *, keep: bool = False) -> Exchange:
    """Send the pieces (head first) and receive the response, both as fast as the other side allows."""
    connection.setblocking(False)
    buffer = bytearray(4 * PIECE)
    window = memoryview(buffer)
    receiver = Receiver(keep)
    outgoing = iter(pieces)
    waiting: memoryview | None = memoryview(next(outgoing))
    poller = select.poll()
    poller.register(connection, select.POLLIN | select.POLLOUT)
    start = time.perf_counter()
    while not receiver.complete:
        ready = poller.poll(1000)
        if time.perf_counter() - start > TIMEOUT:
            raise Broken("no response in time")
        for _, event in ready:
            if event & (select.POLLIN | select.POLLHUP | select.POLLERR):
                try:
                    count = connection.recv_into(buffer)
                except BlockingIOError:
                    continue
                except ConnectionError as error:
                    raise Broken(str(error)) from None
                if count == 0:
                    receiver.closed()
                else:
                    receiver.take(window[:count])
            if event & select.POLLOUT and waiting is not None and not receiver.complete:
                waiting = _send(connection, waiting, outgoing)
                if waiting is None:
                    poller.modify(connection, select.POLLIN)
    return Exchange(receiver.status, time.perf_counter() - start, receiver.received, bytes(receiver.body))


def _send(connection: socket.socket, waiting: memoryview, outgoing: Iterator[bytes]) -> memoryview | None:
    """Send what the socket takes; return the rest, None when all is sent or the other side reads no more."""
    left: memoryview | None = waiting
    while left is not None:
        try:
            sent = connection.send(left[:PIECE])
        except BlockingIOError:
            return left
        except ConnectionError:
            return None  # refused before it was all read: the response says why
        left = left[sent:]
        if not len(left):
            following = next(outgoing, None)
            left = memoryview(following) if following is not None else None
    return None
