"""Interleaved rounds: servers with one kind of request each, in turn, so that the machine's noise hits all alike."""

from __future__ import annotations

import json
import math
import socket
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, TypeAlias

from benchmarks.load import CONNECTIONS, Measured, connect, drive, response_end
from benchmarks.processes import Server, WorkersChanged
from benchmarks.report import Report, median

Build: TypeAlias = Callable[[Server, int, int], list[bytes]]
"""Requests of a server from a number on; those of other numbers differ, unless the workload repeats one."""

MAXIMUM_RATE: Final = 20_000  # requests built beforehand for each second of a round
ATTEMPTS: Final = 3
WARM_UP: Final = 0.1  # s
TOLERANCE: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Workload:
    """One kind of request, and the status that every response must have."""

    name: str
    build: Build
    status: int = 200
    connections: int = CONNECTIONS
    fastest: int = MAXIMUM_RATE


@dataclass(slots=True)
class Contestant:
    """A server with a workload, and its rounds."""

    server: Server
    workload: Workload
    rounds: list[Measured] = field(default_factory=list)
    repeated: int = 0
    _sent: int = 0

    @property
    def rates(self) -> list[float]:
        """Responses a second, round by round."""
        return [each.rate for each in self.rounds]

    @property
    def costs(self) -> list[float]:
        """CPU time of a response, round by round [us]."""
        return [each.cost for each in self.rounds]

    def measure(self, seconds: float, *, even: bool) -> None:
        """Measure one more round; one in which a worker was replaced is not counted but repeated.

        The first round is preceded by a short one that is not counted, so that every worker is warm.
        """
        if not self._sent:
            self._round(min(WARM_UP, seconds), even=even)
        for _ in range(ATTEMPTS):
            measured = self._round(seconds, even=even)
            if measured is not None:
                self.rounds.append(measured)
                return
            self.repeated += 1

    def _round(self, seconds: float, *, even: bool) -> Measured | None:
        count = max(100, int(self.workload.fastest * seconds))
        requests = self.workload.build(self.server, self._sent, count)
        self._sent += count
        connections, spread = connect(self.server, self.workload.connections, even=even)
        try:
            measured = drive(self.server, connections, requests, seconds, self.workload.status)
        except WorkersChanged:
            return None
        measured.spread = spread
        return measured

    def describe(self, *, spread: bool = True) -> str:
        """Return its figures as a line."""
        if not self.rounds:
            return f"no round without a replaced worker, of {self.repeated}"
        unexpected: Counter[str] = sum((each.unexpected for each in self.rounds), Counter())
        latencies = [median([m.quantile(share) for m in self.rounds]) * 1e3 for share in (0.5, 0.99)]
        line = f"{median(self.rates):8.0f}/s   CPU {median(self.costs):7.0f} us"
        line += f"   p50 {latencies[0]:7.2f} ms   p99 {latencies[1]:7.2f} ms"
        line += f"   opened {' '.join(each.spread for each in self.rounds)}" if spread else ""
        closed = sum(each.closed for each in self.rounds)
        line += f"   closed by the server {closed}" if closed else ""
        line += f"   repeated, a worker was replaced: {self.repeated}" if self.repeated else ""
        return line + (f"   UNEXPECTED {dict(unexpected)}" if unexpected else "")


Contestants: TypeAlias = dict[tuple[str, str], Contestant]
"""By name of the server and of the workload."""


def run_rounds(contestants: Sequence[Contestant], count: int, seconds: float, *, even: bool) -> None:
    """Measure each contestant in each round, every second round in reverse order."""
    for at in range(count):
        for contestant in contestants if at % 2 == 0 else reversed(contestants):
            contestant.measure(seconds, even=even)


def compare(
    report: Report,
    contestants: Contestants,
    ours: tuple[str, str],
    theirs: tuple[str, str],
    target: float | None = None,
    name: str = "",
) -> None:
    """Report how many responses ours gives for one of theirs, from the same CPU time, and by rate."""
    one, other = contestants.get(ours), contestants.get(theirs)
    if one is None or other is None:
        return
    peer = theirs[0] if theirs[0] != ours[0] else theirs[1]
    by_rate = median([a / b for a, b in zip(one.rates, other.rates, strict=False) if b])
    report.ratio(name or f"{ours[1]} / {peer}", other.costs, one.costs, target, by_time=by_rate)


def fetch(server: Server, request: bytes) -> tuple[int, bytes, bytes]:
    """Send one request; return status, head and body of the response. Raises OSError."""
    with socket.create_connection(server.address, timeout=20) as connection:
        connection.sendall(request)
        received = b""
        while (end := response_end(received)) is None:
            piece = connection.recv(65536)
            if not piece:
                raise ConnectionError("the connection was closed before the response was complete")
            received += piece
    head, _, body = received[:end].partition(b"\r\n\r\n")
    return int(head[9:12]), head, body


def admit(report: Report, server: Server, workload: Workload) -> Contestant | None:
    """Return a contestant whose first response has the status of the workload; else report it as not available."""
    request = workload.build(server, 0, 1)[0]
    try:
        status, _, body = fetch(server, request)
    except OSError as error:
        report.missing(f"{server.name}: {workload.name}", str(error))
        return None
    if status != workload.status:
        report.missing(f"{server.name}: {workload.name}", f"status {status}: {body[:300].decode('utf-8', 'replace')}")
        return None
    return Contestant(server, workload)


def differences(ours: Any, theirs: Any, name: str = "") -> Iterator[str]:
    """Yield the members of two JSON values whose numbers differ by more than 1e-9."""
    if isinstance(ours, Mapping) and isinstance(theirs, Mapping):
        for member in ours:
            yield from differences(ours[member], theirs.get(member), f"{name}.{member}" if name else member)
    elif isinstance(ours, list) and isinstance(theirs, list) and len(ours) == len(theirs):
        for at, inner in enumerate(ours):
            yield from differences(inner, theirs[at], f"{name}.{at}")
    elif isinstance(ours, float | int) and isinstance(theirs, float | int):
        if not math.isclose(ours, theirs, rel_tol=TOLERANCE, abs_tol=1e-12):
            yield f"{name} {theirs} instead of {ours}"
    elif ours != theirs:
        yield f"{name} {json.dumps(theirs)[:60]} instead of {json.dumps(ours)[:60]}"
