"""Trials that take several requests or clients: connections left, slow clients, requests that fill a folder."""

from __future__ import annotations

import contextlib
import http.client
import socket
import struct
import threading
import time
from collections.abc import Callable, Iterator
from typing import Final

from trials.hostile import Outcome, measure_growth, warm_up
from trials.inputs import TABLE, VIDEO
from trials.requests import CSV, post, post_json
from trials.service import Neighbor, Service, can_limit_folder, running

PLAIN: Final = "/v1/pack-energy?cells=6&capacity=1300"
GRID: Final = (
    "/v1/endurance/sweep?cells=6&vary=mean_power&from=10&to=400&count=500&vary=capacity&from=900&to=1500&count=500"
)
LEFT: Final = 60
ROUNDS: Final = 8
MOST_GROWTH: Final = 192 * 1024 * 1024
"""Bytes for the remains of up to 200 clients at once, in both workers; 4 GiB before slow readers were bounded."""
HEAD: Final = "Host: localhost\r\nContent-Type: text/csv\r\n"


def try_sequences(server: str, named: str) -> Iterator[Outcome]:
    """Run each sequence whose name contains ``named`` against a service of its own."""
    for sequence in (long_then_short, left_sweeps, slow_senders, slow_readers, unfinished_heads, pipelined_unread):
        if named in sequence.__name__.replace("_", " "):
            with running(server) as service:
                yield _run(sequence, service)
    if named in "unread tables" and can_limit_folder():
        with running(server, {"GRAMWATT_LARGEST_TABLE": "50000000"}, temporary_mib=64) as service:
            yield _run(unread_tables, service)


def _run(sequence: Callable[[Service], Iterator[str]], service: Service) -> Outcome:
    warm_up(service)
    began, before, workers, spent = time.perf_counter(), service.memory(), set(service.workers()), service.cpu_seconds()
    problems = list(sequence(service))
    growth, cpu = measure_growth(service, before), service.cpu_seconds() - spent
    if growth > MOST_GROWTH:
        problems.append(f"the workers grew by {growth / 2**20:.0f} MiB")
    if set(service.workers()) != workers:
        problems.append("a worker ended")
    name = sequence.__name__.replace("_", " ")
    took = time.perf_counter() - began
    return Outcome(f"{name:36s} {took:5.1f} s  processor {cpu:5.1f} s  {growth / 2**20:6.1f} MiB", problems)


def long_then_short(service: Service) -> Iterator[str]:
    """Ask for a long captioned video, whose response is streamed, then for short ones."""
    for seconds in [60] * 4 + [2] * 12:
        status, body = service.send(post_json("/v1/overlay-cues", {**VIDEO, "video_end_time": seconds}))
        if status != 200:
            yield f"status {status} for {seconds} s of video: {body[:200]!r}"


def left_sweeps(service: Service) -> Iterator[str]:
    """Ask for large grids and leave after the first bytes: work ends soon after."""
    for _ in range(LEFT):
        with contextlib.closing(service.connect()) as client, contextlib.suppress(OSError):
            client.sendall(f"GET {GRID} HTTP/1.1\r\nHost: localhost\r\n\r\n".encode())
            client.recv(100)
            client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    time.sleep(3)
    spent = service.cpu_seconds()
    time.sleep(1)
    spent = service.cpu_seconds() - spent
    if spent > 0.5:
        yield f"{spent:.1f} s of processor time in a second, when all clients have left"


def slow_senders(service: Service) -> Iterator[str]:
    """Send 128 tables a few bytes at a time; other tables are computed meanwhile."""
    with contextlib.ExitStack() as stack:
        clients = [stack.enter_context(contextlib.closing(service.connect())) for _ in range(128)]
        for client in clients:
            client.sendall(f"POST {TABLE} HTTP/1.1\r\n{HEAD}Content-Length: 900000\r\n\r\ncells,".encode())
        yield from _judge_others(service, lambda: _send_bytes(clients, b"6,1300\n"))


def slow_readers(service: Service) -> Iterator[str]:
    """Ask for 200 large grids and read 2 kB of each at a time; other tables are computed meanwhile."""
    with contextlib.ExitStack() as stack:
        clients = [stack.enter_context(contextlib.closing(service.connect(4096))) for _ in range(200)]
        for client in clients:
            client.sendall(f"GET {GRID} HTTP/1.1\r\nHost: localhost\r\n\r\n".encode())
        yield from _judge_others(service, lambda: _read_bytes(clients))


def unfinished_heads(service: Service) -> Iterator[str]:
    """Open 500 connections that never finish a head; others get responses, and the connections end."""
    with contextlib.ExitStack() as stack:
        clients = [stack.enter_context(contextlib.closing(service.connect())) for _ in range(500)]
        for client in clients:
            client.sendall(b"GET /v1 HTTP/1.1\r\nX: ")
        yield from _judge_others(service, lambda: _send_bytes(clients, b"y"))


def pipelined_unread(service: Service) -> Iterator[str]:
    """Send 20,000 requests on each of 8 connections and read nothing; others get responses."""
    head = f"GET {PLAIN} HTTP/1.1\r\nHost: localhost\r\n\r\n".encode() * 20_000
    with contextlib.ExitStack() as stack:
        clients = [stack.enter_context(contextlib.closing(service.connect(4096))) for _ in range(8)]
        for client in clients:
            client.setblocking(False)
            with contextlib.suppress(OSError):
                client.send(head)
        yield from _judge_others(service, lambda: None)


def unread_tables(service: Service) -> Iterator[str]:
    """Send six tables of 48 MB at once and read nothing, where the folder for temporary files has 64 MiB."""
    body = b"cells,capacity\n" + b"6,1300\n" * (48_000_000 // 7)
    with contextlib.ExitStack() as stack:
        clients = [stack.enter_context(contextlib.closing(service.connect(4096))) for _ in range(6)]
        for client in clients:
            head = f"POST {TABLE} HTTP/1.1\r\n{HEAD}Content-Length: {len(body)}\r\n\r\n"
            threading.Thread(target=_send_until_closed, args=(client, head.encode() + body), daemon=True).start()
        yield from _judge_others(service, lambda: None)


def _send_until_closed(client: socket.socket, data: bytes) -> None:
    with contextlib.suppress(OSError):
        client.sendall(data)


def _judge_others(service: Service, attack: Callable[[], None]) -> Iterator[str]:
    """Go on with an attack for `ROUNDS` seconds, while others ask for a single result and for a table."""
    statuses: list[int] = []
    ended = threading.Event()
    other = threading.Thread(target=_send_tables, args=(service, statuses, ended))
    other.start()
    with Neighbor(service, pause=0.05) as neighbor:
        for _ in range(ROUNDS):
            attack()
            time.sleep(1)
    ended.set()
    other.join()
    if neighbor.failures:
        yield f"{neighbor.failures} of {len(neighbor.seconds)} single results failed"
    completed = statuses.count(200)
    if set(statuses) - {200, 503} or completed < 3:
        yield f"{completed} tables of others were completed, others with {set(statuses) - {200}}"


def _send_tables(service: Service, statuses: list[int], ended: threading.Event) -> None:
    body = b"cells,capacity\n" + b"6,1300\n" * 20_000
    while not ended.wait(0.2):
        try:
            statuses.append(service.send(post(TABLE, body, CSV), timeout=20)[0])
        except (OSError, http.client.HTTPException):
            statuses.append(0)


def _send_bytes(clients: list[socket.socket], data: bytes) -> None:
    for client in clients:
        with contextlib.suppress(OSError):
            client.send(data)


def _read_bytes(clients: list[socket.socket]) -> None:
    for client in clients:
        client.settimeout(0.001)
        with contextlib.suppress(OSError):
            client.recv(2048)
