"""Tables over HTTP and in one process, beside numpy, the libraries alone, and a loop over rows."""

from __future__ import annotations

import functools
import itertools
import socket
import time
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Final, TypeAlias

import numpy as np

from benchmarks import tables
from benchmarks.agree import TOLERANCE
from benchmarks.desk import Desk
from benchmarks.exchange import Broken, Exchange, exchange, post
from benchmarks.load import answer_end
from benchmarks.options import Options
from benchmarks.peers.columns import solve
from benchmarks.processes import Server
from benchmarks.questions import PATH, SEED, columns, post_request, questions
from benchmarks.report import Book, middle
from benchmarks.servers import SHAPES

BATCH: Final = f"{PATH}/batch"
LOOP_ROWS: Final = 20_000
SMALL: Final = 1_000
OTHER_ROUNDS: Final = 3
Key: TypeAlias = tuple[str, str, str]
Work: TypeAlias = Callable[[], tuple[float, float]]


class NoAnswer(Exception):
    """The service did not answer a table as the contract says."""


@dataclass(slots=True)
class Timings:
    """Seconds of each round by what was measured (program, format, rows); what failed once is not tried again."""

    seconds: dict[Key, list[float]] = field(default_factory=lambda: defaultdict(list))
    cpu: dict[Key, list[float]] = field(default_factory=lambda: defaultdict(list))
    failed: dict[Key, str] = field(default_factory=dict)

    def check(self, key: Key, work: Callable[[], object]) -> bool:
        """Do it once without measuring; whether it works."""
        try:
            work()
        except (NoAnswer, Broken, OSError, RuntimeError) as error:
            self.failed[key] = str(error)
            self.seconds.pop(key, None)
        return key not in self.failed

    def take(self, key: Key, work: Work) -> None:
        """Measure once more."""

        def noted() -> None:
            seconds, cpu = work()
            self.seconds[key].append(seconds)
            self.cpu[key].append(cpu)

        if key not in self.failed:
            self.check(key, noted)

    def cost(self, key: Key) -> float:
        """Processor time of a row [us]."""
        return middle(self.cpu[key]) / int(key[-1]) * 1e6


def timed(server: Server, kind: str, body: bytes) -> tuple[float, float]:
    """Seconds from the first byte sent to the last received, the answer thrown away; the server's processor time."""
    before = server.cpu_seconds()
    return send(server, kind, body).seconds, server.cpu_seconds() - before


def send(server: Server, kind: str, body: bytes, *, keep: bool = False) -> Exchange:
    """One table over a connection of its own. Raises NoAnswer where the status is not 200."""
    media = tables.MEDIA[kind]
    with socket.create_connection(server.address) as connection:
        got = exchange(connection, [post(BATCH, media, media, len(body)), body], keep=keep)
    if got.status != 200:
        raise NoAnswer(f"{got.status} {got.body[:300].decode('utf-8', 'replace')}")
    return got


def checked(server: Server, kind: str, body: bytes, rows: int) -> None:
    """Have a table answered once; count the rows that come back, and hold those of Arrow to numpy. Raises NoAnswer."""
    got = send(server, kind, body, keep=True)
    counted = tables.rows_in(got.body, kind)
    if counted != rows:
        raise NoAnswer(f"{counted} rows came back for {rows}")
    if kind == "arrow":
        answered = tables.columns_in(got.body)
        for name, values in solve(columns(rows)).items():
            if not np.allclose(answered[name], values, rtol=TOLERANCE, atol=0):
                raise NoAnswer(f"{name} is not what numpy says")


def run(book: Book, options: Options, servers: dict[str, Server]) -> None:
    """Interleaved rounds of every format, ours and the peers; then other sizes, then small tables."""
    shapes = {name: server for name, server in servers.items() if name in SHAPES}
    desks = {"one thread": Desk(1), "all threads": Desk()}
    times = Timings()
    try:
        _rounds(options, shapes, desks, times)
    finally:
        for desk in desks.values():
            desk.stop()
    rows = options.rows
    book.section = f"Tables of {rows:,} rows, rows a second"
    _ratios(book, times, rows)
    for key, seconds in times.seconds.items():
        cpu = f"   CPU {times.cost(key):6.3f} us a row" if int(key[-1]) >= LOOP_ROWS else ""
        book.figure(" ".join(key), f"{int(key[-1]) / middle(seconds) / 1e6:8.3f} million rows/s{cpu}")
    for key, why in times.failed.items():
        book.missing(" ".join(key), why)
    for name, server in shapes.items():
        _small(book, options, name, server)


def _rounds(options: Options, shapes: dict[str, Server], desks: dict[str, Desk], times: Timings) -> None:
    """Everything once to warm up and to check, then in turn, round by round; other sizes in fewer rounds."""
    usual: dict[Key, Work] = {}
    other: dict[Key, Work] = {}
    one = desks["one thread"]
    for kind, rows in itertools.product(tables.MEDIA, options.sizes):
        path = tables.write(options.folder, kind, rows)
        body = path.read_bytes()
        works = usual if rows == options.rows else other
        for name, server in shapes.items():
            times.check((name, kind, str(rows)), functools.partial(checked, server, kind, body, rows))
            works[name, kind, str(rows)] = functools.partial(timed, server, kind, body)
        if rows == options.rows:
            for threads, desk in desks.items():
                works[f"libraries, {threads}", kind, str(rows)] = functools.partial(
                    desk.seconds, "libraries", kind, path
                )
            works["ours in one process", kind, str(rows)] = functools.partial(one.seconds, "ours", kind, path)
            if kind == "arrow":
                works["numpy in memory", kind, str(rows)] = functools.partial(one.seconds, "numpy", kind, path)
    loop = functools.partial(one.seconds, "rows", "csv", tables.write(options.folder, "csv", LOOP_ROWS))
    usual["marshmallow loop", "csv", str(LOOP_ROWS)] = loop
    for key, work in (usual | other).items():
        if key[0] not in shapes:
            times.check(key, work)
        elif int(key[-1]) == SMALL:
            for _ in range(6):  # so that each worker has done it
                times.check(key, work)
    for at in range(options.table_rounds):
        for key, work in usual.items():
            times.take(key, work)
        for key, work in other.items() if at < OTHER_ROUNDS else ():
            times.take(key, work)


def _ratios(book: Book, times: Timings, rows: int) -> None:
    size = str(rows)

    def note(name: str, ours: Key, theirs: Key, target: float | None) -> None:
        if times.seconds.get(ours) and times.seconds.get(theirs):
            one, other = ([int(key[-1]) / seconds for seconds in times.seconds[key]] for key in (ours, theirs))
            cost = times.cost(ours)
            book.ratio(name, one, other, target, by_cpu=times.cost(theirs) / cost if cost else None)

    numpy_key, loop_key = ("numpy in memory", "arrow", size), ("marshmallow loop", "csv", str(LOOP_ROWS))
    for shape in SHAPES:
        note(f"{shape}: Arrow / numpy in memory", (shape, "arrow", size), numpy_key, 0.35)
        note(f"{shape}: CSV / marshmallow loop", (shape, "csv", size), loop_key, 40)
        for kind, threads in itertools.product(("csv", "ndjson", "json"), ("one thread", "all threads")):
            libraries = (f"libraries, {threads}", kind, size)
            note(f"{shape}: {kind} / libraries alone, {threads}", (shape, kind, size), libraries, 0.75)
        note(f"{shape}: CSV with unit strings / plain", (shape, "csv-units", size), (shape, "csv", size), 0.5)
    inside = "ours in one process"
    note("in one process: Arrow / numpy in memory", (inside, "arrow", size), numpy_key, 0.45)
    for kind in ("csv", "ndjson", "json"):
        libraries = ("libraries, one thread", kind, size)
        note(f"in one process: {kind} / libraries alone, one thread", (inside, kind, size), libraries, None)


def _small(book: Book, options: Options, name: str, server: Server) -> None:
    """A thousand rows at once against one question, both on one kept connection."""
    book.section = f"A table of {SMALL:,} rows / one question, time on one kept connection"
    bodies = {kind: tables.write(options.folder, kind, SMALL).read_bytes() for kind in ("arrow", "csv", "json")}
    asked: list[float] = []
    took: dict[str, list[float]] = {kind: [] for kind in bodies}
    with socket.create_connection(server.address) as connection:
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        for at in range(options.table_rounds):
            asked.append(middle([_ask(connection, question) for question in questions(60, SEED + 1000 + at)]))
            for kind, body in bodies.items():
                parts = [post(BATCH, tables.MEDIA[kind], tables.MEDIA[kind], len(body)) + body]
                answers = [exchange(connection, parts) for _ in range(12)]
                bad = [each.status for each in answers if each.status != 200]
                if bad:
                    book.missing(f"{name}: {kind}", f"status {bad[0]}")
                    return
                took[kind].append(middle([each.seconds for each in answers]))
    for kind, seconds in took.items():
        book.ratio(f"{name}: {kind}", seconds, asked, 8 if kind == "json" else 4, below=True)
    book.figure(f"{name}: one question alone", f"{middle(asked) * 1e3:8.2f} ms")


def _ask(connection: socket.socket, question: dict[str, Any]) -> float:
    connection.setblocking(True)
    start = time.perf_counter()
    connection.sendall(post_request(question))
    received = b""
    while answer_end(received) is None:
        piece = connection.recv(65536)
        if not piece:
            raise Broken("closed")
        received += piece
    return time.perf_counter() - start
