"""Tables over HTTP and in one process, beside numpy, general libraries alone, and a loop over rows."""

from __future__ import annotations

import functools
import itertools
import socket
from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final, TypeAlias

import numpy as np

from benchmarks import table_files
from benchmarks.exchange import Broken, Exchange, exchange, post
from benchmarks.options import Options
from benchmarks.pack_inputs import PATH, columns
from benchmarks.peers.columns import solve
from benchmarks.processes import Server, WorkersChanged, cpu_used
from benchmarks.report import Report, median
from benchmarks.rounds import TOLERANCE
from benchmarks.servers import EARLIER, OURS, VERSIONS
from benchmarks.table_worker import TableWorker

BATCH: Final = f"{PATH}/batch"
LOOP_ROWS: Final = 20_000
SMALL: Final = 1_000
SMALL_TABLES: Final = 12
SMALL_LIMIT: Final = 10.0  # ms
OTHER_ROUNDS: Final = 3
IN_PROCESS: Final = "gramwatt in one process"
NUMPY: Final = "numpy in memory"
LOOP: Final = "marshmallow loop"
Key: TypeAlias = tuple[str, str, str]
Work: TypeAlias = Callable[[], tuple[float, float]]


class NoTable(Exception):
    """The service did not answer a table as its contract says."""


@dataclass(slots=True)
class Timings:
    """Elapsed and CPU seconds of each round by (program, format, rows); what failed once is not tried again."""

    seconds: dict[Key, list[float]] = field(default_factory=lambda: defaultdict(list))
    cpu: dict[Key, list[float]] = field(default_factory=lambda: defaultdict(list))
    failed: dict[Key, str] = field(default_factory=dict)
    repeated: int = 0

    def check(self, key: Key, work: Callable[[], object]) -> bool:
        """Run it once without measuring; return whether it works."""
        try:
            work()
        except (NoTable, Broken, OSError, RuntimeError) as error:
            self.failed[key] = str(error)
            self.seconds.pop(key, None)
        return key not in self.failed

    def take(self, key: Key, work: Work) -> None:
        """Measure once more; again where a worker was replaced meanwhile."""

        def measure() -> None:
            for _ in range(3):
                try:
                    seconds, cpu = work()
                except WorkersChanged:
                    self.repeated += 1
                    continue
                self.seconds[key].append(seconds)
                self.cpu[key].append(cpu)
                return

        if key not in self.failed:
            self.check(key, measure)

    def cost(self, key: Key) -> float:
        """Return the CPU time of a row [us]."""
        return median(self.cpu[key]) / int(key[-1]) * 1e6


def timed(server: Server, kind: str, body: bytes) -> tuple[float, float]:
    """Return the seconds from the first byte sent to the last received, and the server's CPU time [s].

    Raises WorkersChanged.
    """
    before = server.cpu_times()
    seconds = send(server, kind, body).seconds
    return seconds, cpu_used(before, server.cpu_times())


def send(server: Server, kind: str, body: bytes, *, keep: bool = False) -> Exchange:
    """Send one table over a connection of its own. Raises NoTable where the status is not 200."""
    media = table_files.MEDIA[kind]
    with socket.create_connection(server.address) as connection:
        received = exchange(connection, [post(BATCH, media, media, len(body)), body], keep=keep)
    if received.status != 200:
        raise NoTable(f"{received.status} {received.body[:300].decode('utf-8', 'replace')}")
    return received


def check_response(server: Server, kind: str, body: bytes, rows: int) -> None:
    """Count the rows of a response; compare the columns of Arrow with numpy's. Raises NoTable."""
    received = send(server, kind, body, keep=True)
    counted = table_files.rows_in(received.body, kind)
    if counted != rows:
        raise NoTable(f"{counted} rows came back for {rows}")
    if kind == "arrow":
        found = table_files.columns_in(received.body)
        for name, values in solve(columns(rows)).items():
            if not np.allclose(found[name], values, rtol=TOLERANCE, atol=0):
                raise NoTable(f"{name} differs from numpy's")


def run(report: Report, options: Options, servers: dict[str, Server]) -> None:
    """Measure every format, ours and the peers, in interleaved rounds; then small tables."""
    versions = {name: server for name, server in servers.items() if name in VERSIONS}
    workers = {"one thread": TableWorker(1), "all threads": TableWorker()}
    times = Timings()
    try:
        _rounds(options, versions, workers, times)
    finally:
        for worker in workers.values():
            worker.stop()
    report.section = f"Tables of {options.rows:,} rows, rows for one of the peer's, by CPU time"
    _ratios(report, times, options.rows)
    for key, seconds in times.seconds.items():
        if seconds:
            rate = f"{int(key[-1]) / median(seconds) / 1e6:8.3f} million rows/s"
            report.figure(" ".join(key), f"{rate}   CPU {times.cost(key):6.3f} us a row")
    if times.repeated:
        report.figure("repeated, a worker was replaced", str(times.repeated))
    for key, why in times.failed.items():
        report.missing(" ".join(key), why)
    for name, server in versions.items():
        _small(report, options, name, server)


def _rounds(
    options: Options, versions: Mapping[str, Server], workers: Mapping[str, TableWorker], times: Timings
) -> None:
    """Run everything once to warm up and to check, then in turn, round by round; other sizes in fewer rounds."""
    usual: dict[Key, Work] = {}
    other: dict[Key, Work] = {}
    one = workers["one thread"]
    for kind, rows in itertools.product(table_files.MEDIA, options.sizes):
        path = table_files.write(options.folder, kind, rows)
        body = path.read_bytes()
        works = usual if rows == options.rows else other
        for name, server in versions.items():
            times.check((name, kind, str(rows)), functools.partial(check_response, server, kind, body, rows))
            works[name, kind, str(rows)] = functools.partial(timed, server, kind, body)
        if rows == options.rows:
            for threads, worker in workers.items():
                works[f"libraries, {threads}", kind, str(rows)] = functools.partial(
                    worker.seconds, "libraries", kind, path
                )
            works[IN_PROCESS, kind, str(rows)] = functools.partial(one.seconds, "ours", kind, path)
            if kind == "arrow":
                works[NUMPY, kind, str(rows)] = functools.partial(one.seconds, "numpy", kind, path)
    loop = functools.partial(one.seconds, "rows", "csv", table_files.write(options.folder, "csv", LOOP_ROWS))
    usual[LOOP, "csv", str(LOOP_ROWS)] = loop
    for key, work in (usual | other).items():
        if key[0] not in versions:
            times.check(key, work)
        elif int(key[-1]) == SMALL:
            for _ in range(6):  # so that each worker has computed one
                times.check(key, lambda work=work: _unless_changed(work))  # type: ignore[misc]
    for at in range(options.table_rounds):
        for key, work in usual.items():
            times.take(key, work)
        for key, work in other.items() if at < OTHER_ROUNDS else ():
            times.take(key, work)


def _unless_changed(work: Work) -> None:
    try:
        work()
    except WorkersChanged:
        return


def _ratios(report: Report, times: Timings, rows: int) -> None:
    size = str(rows)

    def add(name: str, ours: Key, theirs: Key, target: float | None) -> None:
        if times.seconds.get(ours) and times.seconds.get(theirs):
            one, other = ([each / int(key[-1]) for each in times.cpu[key]] for key in (ours, theirs))
            elapsed = [median(times.seconds[key]) / int(key[-1]) for key in (theirs, ours)]
            report.ratio(name, other, one, target, by_time=elapsed[0] / elapsed[1])

    numpy_key, loop_key = (NUMPY, "arrow", size), (LOOP, "csv", str(LOOP_ROWS))
    add("Arrow over HTTP / numpy in memory", (OURS, "arrow", size), numpy_key, 0.28)
    add("CSV / marshmallow loop", (OURS, "csv", size), loop_key, 40)
    for kind, threads in itertools.product(("csv", "ndjson", "json", "arrow"), ("one thread", "all threads")):
        libraries = (f"libraries, {threads}", kind, size)
        target = None if kind == "arrow" else 0.75
        add(f"{kind} / libraries alone, {threads}", (OURS, kind, size), libraries, target)
    add("CSV with units / CSV", (OURS, "csv-units", size), (OURS, "csv", size), 0.5)
    add("in one process: Arrow / numpy in memory", (IN_PROCESS, "arrow", size), numpy_key, None)
    for kind in ("csv", "ndjson", "json"):
        libraries = ("libraries, one thread", kind, size)
        add(f"in one process: {kind} / libraries alone, one thread", (IN_PROCESS, kind, size), libraries, None)
    for kind in table_files.MEDIA:
        add(f"{kind} / {EARLIER}", (OURS, kind, size), (EARLIER, kind, size), None)


def _small(report: Report, options: Options, name: str, server: Server) -> None:
    """Measure tables of a thousand rows, one after another on one persistent connection."""
    report.section = f"CPU time of a table of {SMALL:,} rows [ms]"
    for kind, media in table_files.MEDIA.items():
        body = table_files.write(options.folder, kind, SMALL).read_bytes()
        request = [post(BATCH, media, media, len(body)) + body]
        took: list[float] = []
        with socket.create_connection(server.address) as connection:
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            for _ in range(options.table_rounds):
                before = server.cpu_times()
                statuses = {exchange(connection, request).status for _ in range(SMALL_TABLES)}
                if statuses != {200}:
                    report.missing(f"{name}: {kind}", f"statuses {statuses}")
                    break
                try:
                    took.append(cpu_used(before, server.cpu_times()) / SMALL_TABLES * 1e3)
                except WorkersChanged as error:
                    report.missing(f"{name}: a round of {kind}", str(error))
        report.measure(f"{name}: {kind}", took, SMALL_LIMIT if name == OURS else None, below=True)
