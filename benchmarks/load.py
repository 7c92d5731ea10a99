"""The load generator: one process, non-blocking sockets, prepared requests, one in flight on each connection."""

from __future__ import annotations

import contextlib
import os
import re
import select
import signal
import socket
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

from benchmarks.processes import Server, cpu_used, open_connections

CONNECTIONS: Final = 16
LENGTH: Final = re.compile(rb"\r\ncontent-length: *(\d+)", re.IGNORECASE)
CHUNKED: Final = re.compile(rb"\r\ntransfer-encoding: *chunked", re.IGNORECASE)
BODILESS: Final = (b"204", b"304")


@dataclass(slots=True)
class Measured:
    """One round of one server with one kind of request.

    ``responses`` came within the ``seconds``; ``completed`` also counts those that were in flight at their end, since
    the server's CPU time includes them.
    """

    responses: int = 0
    completed: int = 0
    seconds: float = 0.0
    latencies: list[float] = field(default_factory=list)
    unexpected: Counter[str] = field(default_factory=Counter)
    closed: int = 0
    cpu_seconds: float = 0.0
    spread: str = ""

    @property
    def rate(self) -> float:
        """Responses a second."""
        return self.responses / self.seconds if self.seconds else float("nan")

    @property
    def cost(self) -> float:
        """CPU time of a response [us]."""
        return self.cpu_seconds / self.completed * 1e6 if self.completed else float("nan")

    def quantile(self, share: float) -> float:
        """Return a quantile of the latencies [s]."""
        ordered = sorted(self.latencies)
        return ordered[min(len(ordered) - 1, int(share * len(ordered)))] if ordered else float("nan")


def response_end(received: bytes | bytearray) -> int | None:
    """Return where the first response ends; None while some of it is missing."""
    head = received.find(b"\r\n\r\n")
    if head < 0:
        return None
    body = head + 4
    length = LENGTH.search(received, 0, body)
    if length is not None and received[9:12] not in BODILESS:
        return body + int(length[1]) if len(received) >= body + int(length[1]) else None
    if CHUNKED.search(received, 0, body) is None:
        return body
    while True:
        line = received.find(b"\r\n", body)
        if line < 0:
            return None
        size = int(received[body:line].split(b";")[0], 16)
        body = line + 2 + size + 2
        if len(received) < body:
            return None
        if size == 0:
            return body


def drive(
    server: Server, connections: Sequence[socket.socket], requests: Sequence[bytes], seconds: float, status: int = 200
) -> Measured:
    """Send requests for some seconds on each connection, the next one as soon as a response is complete.

    Raises WorkersChanged where a process of the server ended or began meanwhile.
    """
    made = Measured()
    expected = str(status).encode()
    following = _endless(requests)
    poller = select.epoll()
    sockets = {connection.fileno(): connection for connection in connections}
    received: dict[int, bytes] = dict.fromkeys(sockets, b"")
    sent: dict[int, float] = {}
    before = server.cpu_times()
    start = time.perf_counter()
    end = start + seconds
    for descriptor, connection in sockets.items():
        connection.setblocking(False)
        poller.register(descriptor, select.EPOLLIN)
        sent[descriptor] = time.perf_counter()
        connection.send(next(following))
    while sent and (now := time.perf_counter()) < end + 5:
        for descriptor, _ in poller.poll(0.05):
            try:
                data = sockets[descriptor].recv(262_144)
            except BlockingIOError:
                continue
            except ConnectionError:
                data = b""
            if not data:
                made.closed += 1
                poller.unregister(descriptor)
                del sent[descriptor]
                replacement = socket.create_connection(server.address)
                replacement.setblocking(False)
                sockets[descriptor].close()
                sockets[replacement.fileno()] = replacement
                poller.register(replacement.fileno(), select.EPOLLIN)
                received[replacement.fileno()] = b""
                sent[replacement.fileno()] = time.perf_counter()
                replacement.send(next(following))
                continue
            whole = received[descriptor] + data
            if response_end(whole) is None:
                received[descriptor] = whole
                continue
            received[descriptor] = b""
            now = time.perf_counter()
            made.completed += 1
            if now <= end:
                made.responses += 1
                made.latencies.append(now - sent[descriptor])
                if whole[9:12] != expected:
                    made.unexpected[whole[9:12].decode("latin-1")] += 1
                sent[descriptor] = now
                sockets[descriptor].send(next(following))
            else:
                del sent[descriptor]
    made.seconds = seconds
    if sent:
        made.unexpected["no response"] += len(sent)
    after = server.cpu_times()
    poller.close()
    for connection in sockets.values():
        connection.close()
    made.cpu_seconds = cpu_used(before, after)
    return made


def connect(server: Server, count: int = CONNECTIONS, *, even: bool = True) -> tuple[list[socket.socket], str]:
    """Open persistent connections one after another; return them and how they were spread over the workers.

    With ``even`` the surplus of a worker is closed and opened again while the other workers are stopped for a moment,
    so that chance does not decide a round.
    """
    workers = server.workers()
    held = {worker: open_connections(worker, server.port) for worker in workers}
    owner: list[tuple[int, socket.socket]] = []
    for _ in range(count):
        connection = _open(server)
        if connection is None:
            continue
        owner.append((_taker(server, workers, held), connection))
    natural = _shares(workers, owner)
    fair = -(-count // max(1, len(workers)))
    if even and len(workers) > 1:
        for worker in workers:
            excess = [each for each in owner if each[0] == worker][fair:]
            for each in excess:
                each[1].close()
                owner.remove(each)
        time.sleep(0.02)
        for worker in workers:
            _fill(server, workers, owner, worker, fair)
    return [connection for _, connection in owner][:count], natural


def _fill(server: Server, workers: list[int], owner: list[tuple[int, socket.socket]], worker: int, wanted: int) -> None:
    others = [other for other in workers if other != worker]
    have = sum(1 for taker, _ in owner if taker == worker)
    if have >= wanted:
        return
    for other in others:
        os.kill(other, signal.SIGSTOP)
    try:
        for _ in range(4 * wanted):
            if have >= wanted:
                break
            connection = _open(server, 0.25)
            if connection is not None:
                owner.append((worker, connection))
                have += 1
    finally:
        for other in others:
            with contextlib.suppress(ProcessLookupError):
                os.kill(other, signal.SIGCONT)


def _open(server: Server, timeout: float = 5.0) -> socket.socket | None:
    """Return a connection that has had its first response; None where that did not come in time."""
    connection = socket.create_connection(server.address, timeout=timeout)
    connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    try:
        connection.sendall(f"GET {server.probe} HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n".encode())
        received = b""
        while response_end(received) is None:
            piece = connection.recv(65536)
            if not piece:
                raise ConnectionError
            received += piece
    except OSError:
        connection.close()
        return None
    return connection


def _taker(server: Server, workers: list[int], held: dict[int, int]) -> int:
    """Return the worker that holds one connection more than before."""
    for worker in workers:
        now = open_connections(worker, server.port)
        if now > held[worker]:
            held[worker] = now
            return worker
    return 0


def _shares(workers: list[int], owner: list[tuple[int, socket.socket]]) -> str:
    counts = sorted((sum(1 for taker, _ in owner if taker == worker) for worker in workers), reverse=True)
    return "/".join(map(str, counts))


def _endless(requests: Sequence[bytes]) -> Iterator[bytes]:
    while True:
        yield from requests
