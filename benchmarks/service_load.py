"""Latency beside large tables, memory, and cold start."""

from __future__ import annotations

import contextlib
import json
import socket
from collections.abc import Callable, Iterator
from typing import Final

from benchmarks import table_files
from benchmarks.exchange import Broken, exchange, in_chunks, post
from benchmarks.load import Measured, connect, drive
from benchmarks.options import Options
from benchmarks.pack_inputs import SEED, get_request, inputs
from benchmarks.processes import (
    DidNotStart,
    Server,
    WorkersChanged,
    peak_memory,
    shared_out_memory,
    start_child,
    stop_child,
)
from benchmarks.report import Report, median
from benchmarks.servers import OURS, VERSIONS
from benchmarks.tables import BATCH

TABLE_ROWS: Final = 100_000
CHUNK: Final = 131_072
START_CPU: Final = 0.6  # s


def beside(report: Report, options: Options, servers: dict[str, Server]) -> None:
    """Measure the latency of single requests while one client sends tables of 100,000 rows without a pause."""
    report.section = f"Single requests beside CSV tables of {TABLE_ROWS:,} rows: p99 / p99 alone"
    file = table_files.write(options.folder, "csv", TABLE_ROWS)
    requests = [get_request(row) for row in inputs(30_000, SEED + 5000)]
    for name, server in servers.items():
        if name not in VERSIONS:
            continue
        alone: list[Measured] = []
        together: list[Measured] = []
        sent: dict[str, int] = {}
        for _ in range(options.beside_rounds):
            alone.append(_driven(server, requests, options))
            seconds = str(options.beside_seconds + 1.5)
            child = start_child("benchmarks.table_client", str(server.port), str(file), seconds)
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
            report.missing(name, f"statuses of the tables: {sent}")
            continue
        slow, usual = ([each.quantile(0.99) for each in rounds] for rounds in (together, alone))
        report.ratio(f"{name}: p99 beside / alone", slow, usual, 3 if name == OURS else None, below=True)
        for title, rounds in (("alone", alone), ("beside tables", together)):
            rate, p99 = median([m.rate for m in rounds]), median([m.quantile(0.99) for m in rounds])
            odd = [dict(m.unexpected) for m in rounds if m.unexpected]
            report.figure(f"{name}: {title}", f"{rate:8.0f}/s   p99 {p99 * 1e3:7.2f} ms   {odd or ''}")
        report.figure(f"{name}: tables meanwhile", f"{sent['200'] / (options.beside_seconds + 1.5):8.1f}/s")


def _driven(server: Server, requests: list[bytes], options: Options) -> Measured:
    for _ in range(3):
        connections, _ = connect(server, even=options.even)
        with contextlib.suppress(WorkersChanged):
            return drive(server, connections, requests, options.beside_seconds)
    return Measured()


def memory(report: Report, options: Options, makers: dict[str, Callable[[], Server]]) -> None:
    """Measure the peak memory of the worker of a new server while a long CSV table streams through it."""
    rows = options.memory_rows
    report.section = f"Peak memory of the worker that answers a CSV table of {rows:,} rows"
    block = table_files.write(options.folder, "csv", TABLE_ROWS).read_bytes()
    for name, make in makers.items():
        if name not in VERSIONS:
            continue
        server = make()
        try:
            server.start()
            before = max(map(peak_memory, server.workers()))
            head = post(BATCH, table_files.MEDIA["csv"], table_files.MEDIA["csv"], None)
            with socket.create_connection(server.address) as connection:
                received = exchange(connection, _after(head, in_chunks(_long_table(block, rows))))
            after = max(map(peak_memory, server.workers()))
        except (Broken, OSError, DidNotStart) as error:
            report.missing(name, str(error))
            continue
        finally:
            server.stop()
        if received.status != 200:
            report.missing(name, f"{received.status} {received.body.decode('utf-8', 'replace')}")
            continue
        report.measure(f"{name}: peak [MB]", [after], 300 if name == OURS else None, below=True)
        text = f"{before:.0f} MB before; {rows / received.seconds / 1e6:.2f} million rows/s; "
        report.figure(name, text + f"{received.received / 1e6:.0f} MB came back")


def _after(head: bytes, rest: Iterator[bytes]) -> Iterator[bytes]:
    yield head
    yield from rest


def _long_table(block: bytes, rows: int) -> Iterator[bytes]:
    header, _, lines = block.partition(b"\n")
    yield header + b"\n"
    for _ in range(rows // TABLE_ROWS):
        for at in range(0, len(lines), CHUNK):
            yield lines[at : at + CHUNK]


def start(report: Report, options: Options, makers: dict[str, Callable[[], Server]]) -> None:
    """Measure the time from the start of the process to the first response, and the memory of an idle worker."""
    report.section = "Cold start to the first response, and memory of an idle worker"
    took: dict[str, list[float]] = {name: [] for name in makers}
    used: dict[str, list[float]] = {name: [] for name in makers}
    held: dict[str, list[float]] = {name: [] for name in makers}
    for _ in range(options.starts):
        for name, make in makers.items():
            try:
                server = make()
                took[name].append(server.start())
                used[name].append(sum(server.cpu_times().values()))
            except DidNotStart:
                continue
            workers = server.workers()
            held[name] += [shared_out_memory(worker) for worker in workers]
            server.stop()
    for name in makers:
        if took[name]:
            target = START_CPU if name == OURS else None
            report.measure(f"{name}: CPU time to the first response [s]", used[name], target, below=True)
            report.figure(name, f"{median(took[name]):6.2f} s   {median(held[name]):6.1f} MB a worker (PSS)")
