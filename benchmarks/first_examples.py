"""The first example of every calculator and the README's example, beside peers and an earlier version."""

from __future__ import annotations

import itertools
import json
import statistics
from collections.abc import Iterable, Sequence
from typing import Final

from benchmarks import examples, pack_inputs, rounds
from benchmarks.examples import Example
from benchmarks.options import Options
from benchmarks.processes import Server
from benchmarks.report import Report, median
from benchmarks.rounds import Contestant, Contestants, Workload, compare, fetch
from benchmarks.servers import BARE, EARLIER, FAST, OURS, VIEW

CONNECTIONS: Final = 8
FASTEST: Final = 12_000
TARGET: Final = 3


def of_examples(report: Report) -> list[Example]:
    """Return the examples that can be varied, the README's example last."""
    found: list[Example] = []
    try:
        found.extend(examples.of_calculators())
    except examples.NothingVaries as error:
        report.missing(str(error), "no number of its first example can be varied")
    return [*found, examples.of_readme()]


def bodies(server: Server, chosen: Iterable[Example]) -> dict[str, bytes]:
    """Return one response of the service for each path, for the constant peers."""
    found: dict[str, bytes] = {}
    for example in chosen:
        status, _, body = fetch(server, example.requests(0, 1)[0])
        if status == 200:
            found.setdefault(example.path, body)
    return found


def run(report: Report, options: Options, servers: dict[str, Server], chosen: Sequence[Example]) -> None:
    """Measure every example on each server that answers it, in interleaved rounds."""
    report.section = "First example of every calculator, assumed inputs and range included, by CPU time"
    made: Contestants = {}
    for example, server in itertools.product(chosen, servers.values()):
        if server.name == BARE or (server.name == FAST and example.path != pack_inputs.PATH):
            continue
        contestant = rounds.admit(report, server, _workload(example, server))
        if contestant is not None:
            made[server.name, example.name] = contestant
    _agree(report, servers, chosen)
    rounds.run_rounds(list(made.values()), options.example_rounds, options.example_seconds, even=options.even)
    for (server_name, name), contestant in made.items():
        if server_name == OURS:
            report.figure(name, _beside(made, name, contestant))
            compare(report, made, (OURS, name), (EARLIER, name), TARGET if name == examples.README_NAME else None)
    for name in (example.name for example in chosen if example.path == pack_inputs.PATH):
        compare(report, made, (OURS, name), (FAST, name))
    report.section = "Mean over the first examples of all calculators, by CPU time"
    names = [example.name for example in chosen if example.name != examples.README_NAME]
    for peer, target in ((EARLIER, TARGET), (VIEW, None)):
        _mean(report, made, names, peer, target)


def _workload(example: Example, server: Server) -> Workload:
    sent = examples.in_numbers(example) if server.name == FAST else example
    return Workload(
        example.name, lambda _, start, count: sent.requests(start, count), connections=CONNECTIONS, fastest=FASTEST
    )


def _beside(made: Contestants, name: str, contestant: Contestant) -> str:
    line = contestant.describe(spread=False)
    for peer, short in ((EARLIER, "earlier"), (FAST, FAST), (VIEW, "Flask view")):
        if (peer, name) in made:
            line += f"   {short} {median(made[peer, name].costs):.0f} us"
    return line


def _mean(report: Report, made: Contestants, names: Sequence[str], peer: str, target: float | None) -> None:
    """Report the ratio of rates of a load that holds each example equally often, and the mean of the ratios."""
    both = [name for name in names if (OURS, name) in made and (peer, name) in made]
    if not both:
        return
    ours, theirs = (
        [[made[server, name].costs[at] for name in both] for at in range(_complete(made, both, server))]
        for server in (OURS, peer)
    )
    report.ratio(f"one of each, {len(both)} calculators / {peer}", list(map(sum, theirs)), list(map(sum, ours)), target)
    means = [
        statistics.geometric_mean([b / a for a, b in zip(one, other, strict=True)])
        for one, other in zip(ours, theirs, strict=False)
    ]
    report.measure(f"geometric mean of the {len(both)} ratios / {peer}", means)
    report.figure(
        f"mean of {len(both)} calculators", f"{median(_means(ours)):8.0f} us   {peer} {median(_means(theirs)):.0f} us"
    )


def _means(costs: list[list[float]]) -> list[float]:
    return [statistics.fmean(each) for each in costs]


def _complete(made: Contestants, names: Sequence[str], server: str) -> int:
    return min(len(made[server, name].rounds) for name in names)


def _agree(report: Report, servers: dict[str, Server], chosen: Sequence[Example]) -> None:
    """Report results of the earlier version that are not ours."""
    if EARLIER not in servers:
        return
    for example in chosen:
        request = example.requests(0, 1)[0]
        (status, _, ours), (other, _, theirs) = (fetch(servers[name], request) for name in (OURS, EARLIER))
        if (status, other) != (200, 200):
            continue
        for member in ("results", "assumed"):
            found = list(rounds.differences(json.loads(ours)[member], json.loads(theirs)[member]))
            if found:
                report.missing(f"agreement of {example.name}", f"{len(found)} {member} differ: {'; '.join(found[:2])}")
