"""Send random requests: none may fail, hang, or make the service grow."""

from __future__ import annotations

import contextlib
import http.client
import threading
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from queue import Queue
from typing import Final

from trials.hostile import MOST_CPU_SECONDS, Outcome, measure_growth, warm_up
from trials.random_requests import RequestMaker
from trials.requests import Request
from trials.service import Service, exchange, running

CLIENTS: Final = 4
SUSPICIOUS: Final = 1.0
"""Seconds of a request after which it is sent once more by itself, to be measured."""
TIMEOUT: Final = 30.0
MOST_GROWTH: Final = 100 * 1024 * 1024
RAW_SHARE: Final = 0.05
"""Connections with nearly a request, for each random request."""


@dataclass(slots=True)
class Findings:
    """What the requests met."""

    statuses: Counter[int] = field(default_factory=Counter)
    slow: list[Request] = field(default_factory=list)
    failures: list[str] = field(default_factory=list)


def fuzz(server: str, requests: int, seed: int) -> Iterator[Outcome]:
    """Send random requests from a few clients; yield what came of them, and of bytes that are nearly requests."""
    with running(server) as service:
        warm_up(service)
        yield from _fuzz(service, RequestMaker(seed), requests, f"{requests:,d} random requests, seed {seed}")


def _fuzz(service: Service, maker: RequestMaker, requests: int, name: str) -> Iterator[Outcome]:
    findings = Findings()
    before, workers, began = service.memory(), set(service.workers()), time.perf_counter()
    _send_all(service, maker, requests, findings)
    for request in findings.slow[:20]:
        findings.failures += _measure(service, request)
    yield _judge(service, name, findings, before, workers, began)
    before, began, findings = service.memory(), time.perf_counter(), Findings()
    count = int(requests * RAW_SHARE)
    for _ in range(count):
        _send_raw(service, maker.make_raw(), findings)
    yield _judge(service, f"{count:,d} connections with broken heads", findings, before, workers, began)


def _judge(service: Service, name: str, findings: Findings, before: int, workers: set[int], began: float) -> Outcome:
    growth = measure_growth(service, before)
    problems = findings.failures[:20]
    if growth > MOST_GROWTH:
        problems.append(f"the workers grew by {growth / 2**20:.0f} MiB")
    if set(service.workers()) != workers:
        problems.append("a worker ended")
    statuses = ", ".join(f"{status}: {count:,d}" for status, count in sorted(findings.statuses.items()))
    took = time.perf_counter() - began
    slow = f"{len(findings.slow)} over {SUSPICIOUS:g} s"
    return Outcome(f"{name}: {took:.0f} s, {slow}, growth {growth / 2**20:.0f} MiB; {statuses}", problems)


def _send_all(service: Service, maker: RequestMaker, requests: int, findings: Findings) -> None:
    """Send requests from `CLIENTS` connections, which are opened again where the service closes them."""
    queue: Queue[Request | None] = Queue(maxsize=200)
    clients = [threading.Thread(target=_client, args=(service, queue, findings)) for _ in range(CLIENTS)]
    for client in clients:
        client.start()
    for _ in range(requests):
        queue.put(maker.make())
    for _ in clients:
        queue.put(None)
    for client in clients:
        client.join()


def _client(service: Service, queue: Queue[Request | None], findings: Findings) -> None:
    connection = http.client.HTTPConnection("127.0.0.1", service.port, timeout=TIMEOUT)
    while (request := queue.get()) is not None:
        began = time.perf_counter()
        try:
            try:
                status, body = exchange(connection, request)
            except ConnectionError:  # closed after an earlier response: as clients do, try once more
                connection.close()
                status, body = exchange(connection, request)
        except (OSError, http.client.HTTPException) as error:
            connection.close()
            findings.failures.append(f"no response, {error!r}: {request.describe()}")
            continue
        except ValueError:  # http.client refuses to send it
            connection.close()
            continue
        findings.statuses[status] += 1
        if status >= 500 and status != 503:
            findings.failures.append(f"{status}: {request.describe()}: {body[:300]!r}")
        if time.perf_counter() - began > SUSPICIOUS:
            findings.slow.append(request)
    connection.close()


def _measure(service: Service, request: Request) -> list[str]:
    """Send a request by itself; return a problem where it takes too much of the processor."""
    spent = service.cpu_seconds()
    with contextlib.suppress(OSError, http.client.HTTPException):
        service.send(request)
    took = service.cpu_seconds() - spent
    return [f"{took:.1f} s of processor time: {request.describe()}"] if took > MOST_CPU_SECONDS else []


def _send_raw(service: Service, raw: bytes, findings: Findings) -> None:
    """Send bytes and close the sending side; the service answers or closes."""
    with contextlib.closing(service.connect()) as client:
        answer = b""
        try:
            client.sendall(raw)
            client.shutdown(1)
            while chunk := client.recv(65536):
                answer += chunk
        except TimeoutError:
            findings.failures.append(f"no response and not closed: {raw[:600]!r}")
        except OSError:
            pass  # closed while it was sent
    status = answer.split(b" ", 2)[1:2]
    code = int(status[0]) if status and status[0].isdigit() else 0
    findings.statuses[code] += 1
    if code >= 500 and code not in (501, 503):  # RFC 9112, 6.1: 501 for an unknown transfer coding
        findings.failures.append(f"{code}: {raw[:600]!r}: {answer[-300:]!r}")
