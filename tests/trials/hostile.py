"""Send every hostile input beside a plain client; check status, time, memory and what the plain client met."""

from __future__ import annotations

import http.client
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from trials.inputs import HostileInput, hostile_inputs, ordinary_requests
from trials.service import Neighbor, Service, running


def measure_slowness() -> float:
    """Return how many times slower this machine is than one on which the limit of 1 s was set, at least 1."""
    times = []
    for _ in range(3):
        start = time.process_time()
        sum(range(3_000_000))
        for _ in range(3_000_000):
            pass
        times.append(time.process_time() - start)
    return max(1.0, min(times) / REFERENCE_SECONDS)


REFERENCE_SECONDS: Final = 0.07
"""What the loop takes where the limit of 1 s was set; estimated: an input of 1.04 s there takes 3.0 s at 0.22 s."""
MOST_CPU_SECONDS: Final = 1.5 * measure_slowness()
"""Processor time of all workers for one input, which depends less on other work than elapsed time.

Above the limit by half, because a sweep of 400 builds takes all of it, and the slowness is measured but once."""
MOST_TRIES: Final = 5
"""Other work only ever adds time (the same sweep took 1.3 to 2.6 s), so an input that took too long is sent again."""
BYTES_A_SECOND: Final = 16 * 1024 * 1024
"""Bytes of a response for which a second of processor time more is no problem: long tables take long."""
MOST_SECONDS: Final = 10.0
MOST_GROWTH: Final = 50 * 1024 * 1024
SETTLED: Final = 4.0
"""Seconds after which a worker has given back what it no longer needs."""
MOST_SLOWER: Final = 3.0
"""How many times slower others' 99th percentile may be than without an attack."""
LEAST_P99: Final = 0.02
"""Seconds: differences below this are noise."""


@dataclass(slots=True)
class Outcome:
    """A line that reports a trial, and what is wrong with it."""

    line: str
    problems: list[str] = field(default_factory=list)


def try_hostile_inputs(server: str, named: str, *, judge_neighbors: bool) -> Iterator[Outcome]:
    """Send each hostile input whose name contains ``named``; on demand others' slower responses are a problem too."""
    with running(server) as service:
        warm_up(service)
        with Neighbor(service) as alone:
            time.sleep(2)
        usual = max(alone.quantile(0.99), LEAST_P99)
        for hostile in hostile_inputs():
            if named in hostile.name:
                yield _try_again(service, hostile, usual if judge_neighbors else float("inf"))


def measure_growth(service: Service, before: int) -> int:
    """Return by how much the workers grew, within `SETTLED` seconds of the end of a trial [bytes]."""
    deadline = time.monotonic() + SETTLED
    while (growth := service.memory() - before) > MOST_GROWTH and time.monotonic() < deadline:
        time.sleep(0.1)
    return growth


def warm_up(service: Service) -> None:
    """Have every worker import what it imports on first use, which is no growth."""
    for request in ordinary_requests() * 8:
        service.send(request)


def _try_again(service: Service, hostile: HostileInput, usual: float) -> Outcome:
    """Return the outcome of an input: the first that was in time, if time is all that is wrong."""
    for _ in range(MOST_TRIES):
        outcome = _try(service, hostile, usual)
        if [problem.startswith("took ") for problem in outcome.problems] != [True]:
            break
    return outcome


def _try(service: Service, hostile: HostileInput, usual: float) -> Outcome:
    request = hostile.build()
    before, workers, spent = service.memory(), set(service.workers()), service.cpu_seconds()
    with Neighbor(service) as neighbor:
        began = time.perf_counter()
        try:
            status, body = service.send(request)
        except (OSError, http.client.HTTPException) as error:
            status, body = 0, repr(error).encode()
        took = time.perf_counter() - began
        time.sleep(0.3)
    cpu, growth = service.cpu_seconds() - spent, measure_growth(service, before)
    allowed = MOST_CPU_SECONDS + len(body) / BYTES_A_SECOND
    slowest = neighbor.quantile(0.99)
    sent = len(request.body or b"") + len(request.target)
    outcome = Outcome(
        f"{hostile.name:36s} {sent:10,d} bytes  {status}  {took:5.2f} s  processor {cpu:5.2f} s  "
        f"{growth / 2**20:6.1f} MiB  others p99 {slowest * 1000:5.0f} ms"
    )
    checks = {
        f"status {status}: {body[:300]!r}": status not in hostile.statuses,
        f"took {took:.1f} s, {cpu:.1f} s of processor time": took > MOST_SECONDS + allowed or cpu > allowed,
        f"grew by {growth / 2**20:.0f} MiB": growth > MOST_GROWTH,
        f"others: p99 {slowest:.2f} s": slowest > MOST_SLOWER * usual,
        f"others: {neighbor.failures} failures": neighbor.failures > 0,
        "a worker ended": set(service.workers()) != workers,
    }
    outcome.problems = [problem for problem, failed in checks.items() if failed]
    return outcome
