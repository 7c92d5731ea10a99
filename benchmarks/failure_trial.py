"""What clients and operators can do to the service: ``python -m benchmarks.failure_trial``.

Loopback only, about a minute. Idle clients, of growing number, until a normal one waits for more than a second;
requests beside clients that send large bodies, or tables of which they read nothing; and requests lost on persistent
connections while a worker is killed, while the service reloads (SIGHUP) and while it ends (SIGTERM).
"""

from __future__ import annotations

import contextlib
import http.client
import itertools
import multiprocessing
import os
import resource
import signal
import socket
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from typing import Final

from benchmarks.processes import Server
from benchmarks.servers import ours

Address = tuple[str, int]
COUNTS: Final = (64, 256, 1024, 2400)
IDLE: Final = {
    "that send nothing": b"",
    "with half a head": b"GET /v1 HTTP/1.1\r\nHost:",
    "with half a body": b"POST /v1/pack-energy HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
    b"Content-Length: 100\r\n\r\n{",
    "with half a table": b"POST /v1/pack-energy/batch HTTP/1.1\r\nHost: x\r\nContent-Type: text/csv\r\n"
    b"Transfer-Encoding: chunked\r\n\r\n12\r\ncells,capacity\n6,1\r\n",
}
TOO_SLOW: Final = 1.0
CLIENTS: Final = 8
UNREAD: Final = 50
LARGE_BODY: Final = b'{"cells": 6, "capacity": 1300}'.ljust(1_000_000)
LARGE_TABLE: Final = b"cells,capacity\n" + b"6,1300\n" * 100_000
SMALL_TABLE: Final = b"cells,capacity\n" + b"6,1300\n" * 10
_number = itertools.count(1)


def new_url() -> str:
    """Return a URL that was not requested before, so that no cache has its response."""
    return f"/v1/pack-energy?cells=6&capacity={1000 + next(_number) / 1000}"


def request(
    address: Address, method: str = "GET", path: str = "", body: bytes | None = None, limit: float = 10
) -> float:
    """Send one request on a connection of its own; return the seconds it took. Raises OSError where it fails."""
    began = time.perf_counter()
    with contextlib.closing(http.client.HTTPConnection(*address, timeout=limit)) as connection:
        connection.request(method, path or new_url(), body, {"Content-Type": "text/csv"} if body else {})
        response = connection.getresponse()
        response.read()
        if response.status != 200:
            raise OSError(f"status {response.status}")
    return time.perf_counter() - began


def count_idle(address: Address, begun: bytes) -> str:
    """Return how many idle clients make a normal one wait too long."""
    for count in COUNTS:
        with contextlib.ExitStack() as held:
            try:
                for _ in range(count):
                    connection = held.enter_context(socket.create_connection(address, timeout=TOO_SLOW))
                    connection.sendall(begun)
                slowest = max(request(address, limit=TOO_SLOW) for _ in range(5))
            except OSError:
                return f"{count}"
    return f"none of {COUNTS[-1]} ({slowest * 1000:.0f} ms)"


def recover(address: Address) -> None:
    """Wait until the service responds as usual."""
    until = time.perf_counter() + 30
    while time.perf_counter() < until:
        with contextlib.suppress(OSError):
            if all(request(address, limit=0.5) < 0.5 for _ in range(4)):
                return


def request_repeatedly(address: Address, done: threading.Event, outcomes: Counter[str]) -> None:
    """Send requests on a persistent connection, and count what becomes of each."""
    connection = http.client.HTTPConnection(*address, timeout=10)
    while not done.is_set():
        try:
            connection.request("GET", new_url())
            response = connection.getresponse()
            response.read()
            outcomes["completed" if response.status == 200 else f"status {response.status}"] += 1
        except ConnectionRefusedError:
            connection.close()
            outcomes["refused"] += 1
            time.sleep(0.05)
        except (OSError, http.client.HTTPException) as error:
            connection.close()
            outcomes[type(error).__name__] += 1
    connection.close()


def count_lost(address: Address, error: Callable[[], object], seconds: float) -> str:
    """Return how many requests are lost, of how many, while something happens."""
    outcomes: Counter[str] = Counter()
    done = threading.Event()
    clients = [threading.Thread(target=request_repeatedly, args=(address, done, outcomes)) for _ in range(CLIENTS)]
    for client in clients:
        client.start()
    time.sleep(1)
    error()
    time.sleep(seconds)
    done.set()
    for client in clients:
        client.join()
    completed, _ = outcomes.pop("completed", 0), outcomes.pop("refused", 0)
    kinds = ", ".join(f"{number} {kind}" for kind, number in outcomes.most_common())
    return f"{outcomes.total()} of {completed}{f' ({kinds})' if kinds else ''}"


def post_repeatedly(address: Address, path: str, media: str, body: bytes) -> None:
    """Send large bodies until ended."""
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    while True:
        with contextlib.suppress(OSError, http.client.HTTPException):
            connection = http.client.HTTPConnection(*address, timeout=20)
            while True:
                connection.request("POST", path, body, {"Content-Type": media})
                connection.getresponse().read()


@contextlib.contextmanager
def large_bodies(address: Address, path: str, media: str, body: bytes) -> Iterator[None]:
    """Have four clients send large bodies without end."""
    start = multiprocessing.get_context("fork").Process
    clients = [start(target=post_repeatedly, args=(address, path, media, body), daemon=True) for _ in range(4)]
    for client in clients:
        client.start()
    try:
        time.sleep(0.5)
        yield
    finally:
        for client in clients:
            client.terminate()
            client.join()


@contextlib.contextmanager
def unread_tables(address: Address) -> Iterator[None]:
    """Have clients send tables without end of whose results they read nothing."""
    head = b"POST /v1/pack-energy/batch HTTP/1.1\r\nHost: x\r\nContent-Type: text/csv\r\nContent-Length: %d\r\n\r\n"
    piece = head % len(LARGE_TABLE) + LARGE_TABLE
    done = threading.Event()
    with contextlib.ExitStack() as held:

        def send(connection: socket.socket) -> None:
            with contextlib.suppress(OSError):
                for _ in range(20):
                    connection.sendall(piece)
            done.wait()

        clients = []
        for _ in range(UNREAD):
            connection = socket.socket()
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            connection.settimeout(60)
            connection.connect(address)
            held.callback(connection.close)
            clients.append(threading.Thread(target=send, args=(connection,), daemon=True))
        for client in clients:
            client.start()
        try:
            yield
        finally:
            done.set()


def wait_beside_unread_tables(address: Address) -> dict[str, str]:
    """Return the longest wait of others for twelve seconds beside tables that nobody reads."""
    slowest = dict.fromkeys(("single request", "table of 10 rows", "table of 100,000 rows"), 0.0)
    for table in (SMALL_TABLE, LARGE_TABLE) * 4:  # each worker imports what tables need when it gets its first
        request(address, "POST", "/v1/pack-energy/batch", table, 30)
    with unread_tables(address):
        until = time.perf_counter() + 12
        while time.perf_counter() < until:
            for name, body in zip(slowest, (None, SMALL_TABLE, LARGE_TABLE), strict=True):
                path, method = ("", "GET") if body is None else ("/v1/pack-energy/batch", "POST")
                try:
                    slowest[name] = max(slowest[name], request(address, method, path, body, 30))
                except OSError as error:
                    print(f"{name}: {error!r}", file=sys.stderr)
                    slowest[name] = float("inf")
    alone = request(address, "POST", "/v1/pack-energy/batch", LARGE_TABLE, 30)
    slowest["the same table after them"] = alone
    return {f"{UNREAD} clients read nothing of their tables: {n}": f"{s * 1000:.0f} ms" for n, s in slowest.items()}


def latency(address: Address, seconds: float = 3.0) -> str:
    """Return the median and p99 of one client that sends one request after another."""
    taken: list[float] = []
    connection = http.client.HTTPConnection(*address, timeout=10)
    until = time.perf_counter() + seconds
    while time.perf_counter() < until:
        began = time.perf_counter()
        connection.request("GET", new_url())
        connection.getresponse().read()
        taken.append(time.perf_counter() - began)
    connection.close()
    taken.sort()
    return f"{taken[len(taken) // 2] * 1000:.1f} / {taken[int(len(taken) * 0.99)] * 1000:.1f} ms"


def trial(server: Server) -> Iterator[tuple[str, str]]:
    """Yield what happened, one failure after the other."""
    address = server.address
    for name, begun in IDLE.items():
        yield f"idle clients {name}: how many stop a normal one", count_idle(address, begun)
        recover(address)
    yield from wait_beside_unread_tables(address).items()
    recover(address)
    yield "single request alone: median / p99", latency(address)
    with large_bodies(address, "/v1/pack-energy", "application/json", LARGE_BODY):
        yield "beside endless bodies of 1 MB: median / p99", latency(address)
    recover(address)
    with large_bodies(address, "/v1/pack-energy/batch", "text/csv", LARGE_TABLE):
        yield "beside endless tables of 100,000 rows: median / p99", latency(address)
    recover(address)
    yield "worker killed: lost requests", count_lost(address, lambda: os.kill(server.workers()[0], signal.SIGKILL), 2)
    recover(address)
    master = server.processes()[0]
    yield "SIGHUP: lost requests", count_lost(address, lambda: os.kill(master, signal.SIGHUP), 4)
    recover(address)
    yield "SIGTERM: lost requests", count_lost(address, lambda: os.kill(master, signal.SIGTERM), 3)


def main() -> None:
    """Print a table."""
    most = resource.getrlimit(resource.RLIMIT_NOFILE)[1]
    resource.setrlimit(resource.RLIMIT_NOFILE, (most, most))
    server = ours()
    server.start()
    print("| fault | result |\n| --- | --- |", flush=True)
    try:
        for error, result in trial(server):
            print(f"| {error} | {result} |", flush=True)
    finally:
        server.stop()


if __name__ == "__main__":
    main()
