"""What clients and operators can do to the service, in each shape of its server: ``python -m benchmarks.fault_trial``.

Loopback only, about a minute. Silent clients, of growing number, until a normal one waits for more than a second; kept
connections that ask without a pause while a worker is killed, while the service reloads (SIGHUP) and while it ends
(SIGTERM); and single questions beside clients that send large bodies without end.
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
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from typing import Final

from benchmarks.processes import Server
from benchmarks.servers import SHAPES, ours

Address = tuple[str, int]
COUNTS: Final = (8, 16, 64, 256, 1024, 2400)
SILENT: Final = {
    "that send nothing": b"",
    "with half a head": b"GET /v1 HTTP/1.1\r\nHost:",
    "with half a body": b"POST /v1/pack-energy HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
    b"Content-Length: 100\r\n\r\n{",
}
TOO_SLOW: Final = 1.0
CLIENTS: Final = 8
BIG: Final = b'{"cells": 6, "capacity": 1300}'.ljust(1_000_000)
ROWS: Final = b"cells,capacity\n" + b"6,1300\n" * 100_000
_number = itertools.count(1)


def question() -> str:
    """A question that was not asked before, so that nothing has its answer ready."""
    return f"/v1/pack-energy?cells=6&capacity={1000 + next(_number) / 1000}"


def ask(address: Address, patience: float = 10.0) -> float:
    """Ask once, on a connection of its own; the seconds that took. Raises OSError where it is not answered."""
    began = time.perf_counter()
    connection = http.client.HTTPConnection(*address, timeout=patience)
    with contextlib.closing(connection):
        connection.request("GET", question())
        answer = connection.getresponse()
        answer.read()
        if answer.status != 200:
            raise OSError(f"status {answer.status}")
    return time.perf_counter() - began


def silent(address: Address, begun: bytes) -> str:
    """How many silent clients make a normal one wait too long."""
    for count in COUNTS:
        with contextlib.ExitStack() as held:
            try:
                for _ in range(count):
                    connection = held.enter_context(socket.create_connection(address, timeout=TOO_SLOW))
                    connection.sendall(begun)
                slowest = max(ask(address, TOO_SLOW) for _ in range(5))
            except OSError:
                return f"{count}"
        if slowest > TOO_SLOW:
            return f"{count}"
    return f"none of {COUNTS[-1]} ({slowest * 1000:.0f} ms)"


def recover(address: Address) -> None:
    """Wait until the service is itself again."""
    until = time.perf_counter() + 20
    while time.perf_counter() < until:
        with contextlib.suppress(OSError):
            if all(ask(address, 0.5) < 0.5 for _ in range(4)):
                return


def keep_asking(address: Address, done: threading.Event, told: Counter[str]) -> None:
    """One client on kept connections: what became of each of its requests."""
    connection = http.client.HTTPConnection(*address, timeout=10)
    while not done.is_set():
        try:
            connection.request("GET", question())
            answer = connection.getresponse()
            answer.read()
            told["answered" if answer.status == 200 else f"status {answer.status}"] += 1
        except ConnectionRefusedError:
            connection.close()
            told["refused"] += 1
            time.sleep(0.05)
        except (OSError, http.client.HTTPException) as error:
            connection.close()
            told[type(error).__name__] += 1
    connection.close()


def under_load(address: Address, fault: Callable[[], object], seconds: float) -> str:
    """Have clients ask while something happens; what was lost of how many."""
    told: Counter[str] = Counter()
    done = threading.Event()
    clients = [threading.Thread(target=keep_asking, args=(address, done, told)) for _ in range(CLIENTS)]
    for client in clients:
        client.start()
    time.sleep(1)
    fault()
    time.sleep(seconds)
    done.set()
    for client in clients:
        client.join()
    answered, _ = told.pop("answered", 0), told.pop("refused", 0)
    kinds = ", ".join(f"{number} {kind}" for kind, number in told.most_common())
    return f"{told.total()} of {answered}{f' ({kinds})' if kinds else ''}"


def post_for_ever(address: Address, path: str, media: str, body: bytes) -> None:
    """A client that sends large bodies until it is ended."""
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    while True:
        with contextlib.suppress(OSError, http.client.HTTPException):
            connection = http.client.HTTPConnection(*address, timeout=20)
            while True:
                connection.request("POST", path, body, {"Content-Type": media})
                connection.getresponse().read()


@contextlib.contextmanager
def burdened(address: Address, path: str, media: str, body: bytes) -> Iterator[None]:
    """While four clients send large bodies without end."""
    start = multiprocessing.get_context("fork").Process
    clients = [start(target=post_for_ever, args=(address, path, media, body), daemon=True) for _ in range(4)]
    for client in clients:
        client.start()
    try:
        time.sleep(0.5)
        yield
    finally:
        for client in clients:
            client.terminate()
            client.join()


def latency(address: Address, seconds: float = 3.0) -> str:
    """Of one client that asks one question after the other on a kept connection."""
    taken: list[float] = []
    connection = http.client.HTTPConnection(*address, timeout=10)
    until = time.perf_counter() + seconds
    while time.perf_counter() < until:
        began = time.perf_counter()
        connection.request("GET", question())
        connection.getresponse().read()
        taken.append(time.perf_counter() - began)
    connection.close()
    taken.sort()
    return f"{taken[len(taken) // 2] * 1000:.1f} / {taken[int(len(taken) * 0.99)] * 1000:.1f} ms"


def trial(shape: str) -> dict[str, str]:
    """All of it, for one shape."""
    server: Server = ours(shape)
    server.start()
    address = server.address
    made: dict[str, str] = {}
    try:
        for name, begun in SILENT.items():
            made[f"silent clients {name}: how many stop a normal one"] = silent(address, begun)
            recover(address)
        made["single question alone: median / p99"] = latency(address)
        with burdened(address, "/v1/pack-energy", "application/json", BIG):
            made["beside endless 1 MB questions: median / p99"] = latency(address)
        recover(address)
        with burdened(address, "/v1/pack-energy/batch", "text/csv", ROWS):
            made["beside endless batches of 100,000 rows: median / p99"] = latency(address)
        recover(address)
        made["worker killed: lost requests"] = under_load(
            address, lambda: os.kill(server.workers()[0], signal.SIGKILL), 2
        )
        recover(address)
        master = server.processes()[0]
        made["SIGHUP: lost requests"] = under_load(address, lambda: os.kill(master, signal.SIGHUP), 4)
        recover(address)
        made["SIGTERM: lost requests"] = under_load(address, lambda: os.kill(master, signal.SIGTERM), 3)
    finally:
        server.stop()
    return made


def main() -> None:
    """Print a table."""
    most = resource.getrlimit(resource.RLIMIT_NOFILE)[1]
    resource.setrlimit(resource.RLIMIT_NOFILE, (most, most))
    made = {shape: trial(shape) for shape in SHAPES}
    print(f"| fault | {' | '.join(SHAPES)} |\n| --- |{' --- |' * len(SHAPES)}")
    for fault in made[SHAPES[0]]:
        print(f"| {fault} | {' | '.join(made[shape][fault] for shape in SHAPES)} |")


if __name__ == "__main__":
    main()
