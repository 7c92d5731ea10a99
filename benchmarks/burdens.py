"""What else a service must stand: large tables beside single questions, memory, and how it starts."""

from __future__ import annotations

import json
import socket
from collections.abc import Callable, Iterator
from typing import Final

from benchmarks import tables
from benchmarks.batches import BATCH
from benchmarks.exchange import Broken, exchange, in_chunks, post
from benchmarks.load import Measured, connect, drive
from benchmarks.options import Options
from benchmarks.processes import (
    DidNotStart,
    Server,
    peak_memory,
    shared_out_memory,
    start_child,
    stop_child,
)
from benchmarks.questions import SEED, get_request, questions
from benchmarks.report import Book, middle
from benchmarks.servers import SHAPES

BESIDE_ROWS: Final = 100_000
PIECE: Final = 131_072


def beside(book: Book, options: Options, servers: dict[str, Server]) -> None:
    """The slowest of single questions while one client sends tables of 100,000 rows without end."""
    book.section = f"Single questions beside endless CSV tables of {BESIDE_ROWS:,} rows: p99 / p99 alone"
    file = tables.write(options.folder, "csv", BESIDE_ROWS)
    requests = [get_request(question) for question in questions(30_000, SEED + 5000)]
    for name, server in servers.items():
        if name not in SHAPES:
            continue
        alone: list[Measured] = []
        together: list[Measured] = []
        sent: dict[str, int] = {}
        for _ in range(options.beside_rounds):
            alone.append(_driven(server, requests, options))
            seconds = str(options.beside_seconds + 1.5)
            child = start_child("benchmarks.batcher", str(server.port), str(file), seconds)
            assert child.stdout is not None
            try:
                sent = json.loads(child.stdout.readline() or '{"the client ended": 1}')
                if set(sent) == {"200"}:
                    together.append(_driven(server, requests, options))
                    sent = json.loads(child.stdout.readline())
            finally:
                stop_child(child)
            if set(sent) != {"200"}:
                break
        if set(sent) != {"200"}:
            book.missing(name, f"the tables were answered {sent}")
            continue
        slow, usual = ([each.quantile(0.99) for each in rounds] for rounds in (together, alone))
        book.ratio(f"{name}: p99 beside / alone", slow, usual, 3, below=True)
        for title, rounds in (("alone", alone), ("beside tables", together)):
            rate, p99 = middle([m.rate for m in rounds]), middle([m.quantile(0.99) for m in rounds])
            odd = [dict(m.unexpected) for m in rounds if m.unexpected]
            book.figure(f"{name}: {title}", f"{rate:8.0f}/s   p99 {p99 * 1e3:7.2f} ms   {odd or ''}")
        book.figure(f"{name}: tables meanwhile", f"{sent['200'] / (options.beside_seconds + 1.5):8.1f}/s")


def _driven(server: Server, requests: list[bytes], options: Options) -> Measured:
    connections, _ = connect(server, even=options.even)
    return drive(server, connections, requests, options.beside_seconds)


def memory(book: Book, options: Options, makers: dict[str, Callable[[], Server]]) -> None:
    """The most that a worker of a fresh server holds while a long CSV table streams through it."""
    rows = options.memory_rows
    book.section = f"Memory of the worker that answers a CSV table of {rows:,} rows"
    block = tables.write(options.folder, "csv", BESIDE_ROWS).read_bytes()
    for name, make in makers.items():
        if name not in SHAPES:
            continue
        server = make()
        try:
            server.start()
            before = max(map(peak_memory, server.workers()))
            head = post(BATCH, tables.MEDIA["csv"], tables.MEDIA["csv"], None)
            with socket.create_connection(server.address) as connection:
                got = exchange(connection, _after(head, in_chunks(_long_table(block, rows))))
            after = max(map(peak_memory, server.workers()))
        except (Broken, OSError, DidNotStart) as error:
            book.missing(name, str(error))
            continue
        finally:
            server.stop()
        if got.status != 200:
            book.missing(name, f"{got.status} {got.body.decode('utf-8', 'replace')}")
            continue
        book.measure(f"{name}: peak [MB]", [after], 300, below=True)
        told = f"{before:.0f} MB before; {rows / got.seconds / 1e6:.2f} million rows/s; "
        book.figure(name, told + f"{got.received / 1e6:.0f} MB came back")


def _after(head: bytes, rest: Iterator[bytes]) -> Iterator[bytes]:
    yield head
    yield from rest


def _long_table(block: bytes, rows: int) -> Iterator[bytes]:
    header, _, lines = block.partition(b"\n")
    yield header + b"\n"
    for _ in range(rows // BESIDE_ROWS):
        for at in range(0, len(lines), PIECE):
            yield lines[at : at + PIECE]


def start(book: Book, options: Options, makers: dict[str, Callable[[], Server]]) -> None:
    """From the start of the process to the first answer, and what an idle worker holds."""
    book.section = "Cold start to the first answer, and memory of an idle worker"
    took: dict[str, list[float]] = {name: [] for name in makers}
    held: dict[str, list[float]] = {name: [] for name in makers}
    for _ in range(options.starts):
        for name, make in makers.items():
            try:
                server = make()
                took[name].append(server.start())
            except DidNotStart:
                continue
            workers = server.workers()
            held[name] += [shared_out_memory(worker) for worker in workers]
            server.stop()
    for name in makers:
        if took[name]:
            book.figure(name, f"{middle(took[name]):6.2f} s   {middle(held[name]):6.1f} MB a worker (PSS)")
