"""Single requests of one calculator with certain inputs: each a new one, beside FastAPI and constant responses."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable
from typing import Any, Final

from benchmarks import pack_inputs, rounds
from benchmarks.load import CONNECTIONS
from benchmarks.options import Options
from benchmarks.pack_inputs import SEED, get_request, inputs, post_request, value_request, with_units
from benchmarks.processes import Server
from benchmarks.report import Report
from benchmarks.rounds import Contestants, Workload, compare, fetch
from benchmarks.servers import BARE, EARLIER, FAST, OURS, VERSIONS, VIEW

SAME: Final = "GET, repeated"
REVALIDATED: Final = "GET, If-None-Match"
VALUE: Final = "GET, one value"


def _new(build: Callable[[dict[str, Any]], bytes]) -> rounds.Build:
    return lambda _, start, count: [build(row) for row in inputs(count, SEED + 1 + start)]


def _repeated(_: Server, start: int, __: int) -> list[bytes]:
    return [get_request(next(inputs(1, SEED + 1 + start)))]


def _revalidated(server: Server, start: int, _: int) -> list[bytes]:
    row = next(inputs(1, SEED + 1 + start))
    heads = [fetch(server, get_request(row))[1] for _ in range(8)]  # until each worker has cached it
    found = re.search(rb"\r\netag: *(\S+)", heads[-1], re.IGNORECASE)
    tag = found[1].decode("latin-1") if found else '"none"'
    return [get_request(row, f"If-None-Match: {tag}\r\n")]


WORKLOADS: Final = (
    Workload("GET with units", _new(lambda row: get_request(with_units(row)))),
    Workload("GET", _new(get_request)),
    Workload(SAME, _repeated),
    Workload(REVALIDATED, _revalidated, status=304),
    Workload(VALUE, _new(value_request)),
    Workload("POST", _new(post_request)),
    Workload("POST with units", _new(lambda row: post_request(with_units(row)))),
)
OF_PEERS: Final = ("GET", "POST")


def run(report: Report, options: Options, servers: dict[str, Server]) -> None:
    """Measure every kind of request in interleaved rounds, and report the ratios."""
    name = pack_inputs.PATH.rpartition("/")[2]
    report.section = f"Single requests, {name}, {CONNECTIONS} persistent connections, by CPU time"
    made: Contestants = {}
    for workload, server in itertools.product(WORKLOADS, servers.values()):  # what is compared runs close together
        if server.name in VERSIONS or workload.name in OF_PEERS:
            contestant = rounds.admit(report, server, workload)
            if contestant is not None:
                made[server.name, workload.name] = contestant
    rounds.run_rounds(list(made.values()), options.rounds, options.seconds, even=options.even)
    for (server_name, kind), contestant in made.items():
        report.figure(f"{server_name}: {kind}", contestant.describe())
    _ratios(report, made)


def _ratios(report: Report, made: Contestants) -> None:
    for kind, target in (("POST", 0.75), ("GET", 1.0)):
        compare(report, made, (OURS, kind), (FAST, kind), target)
        compare(report, made, (OURS, kind), (VIEW, kind))
        compare(report, made, (OURS, kind), (BARE, kind))
    for kind in (SAME, REVALIDATED):
        compare(report, made, (OURS, kind), (FAST, "GET"), 3)
    for kind in OF_PEERS:
        compare(report, made, (OURS, f"{kind} with units"), (OURS, kind))
    for workload in WORKLOADS:
        compare(report, made, (OURS, workload.name), (EARLIER, workload.name))
