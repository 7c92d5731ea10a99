"""Pages and charts: every calculator's page, as it opens and with inputs of its own; pages to read; charts."""

from __future__ import annotations

import itertools
import statistics
from collections.abc import Sequence
from typing import Final

from benchmarks import rounds
from benchmarks.examples import Example
from benchmarks.http_messages import fits_query, get_request
from benchmarks.options import Options
from benchmarks.processes import Server
from benchmarks.report import Report, median
from benchmarks.rounds import Contestant, Contestants, Workload, compare, fetch
from benchmarks.servers import EARLIER, OURS, VERSIONS

CONNECTIONS: Final = 4
FASTEST: Final = 2_000
PAGES_A_SECOND_AND_CORE: Final = 150
DEFAULT: Final = "default page"
FILLED: Final = "page with inputs"
READ: Final = {"reference page": "/reference/{name}", "page of an operation": "/docs/calculate_{identifier}"}
READ_PAGES_A_SECOND_AND_CORE: Final = 40
CHARTS: Final = {"chart, SVG": "svg", "chart, PNG": "png"}


def run(report: Report, options: Options, servers: dict[str, Server], chosen: Sequence[Example]) -> None:
    """Measure every calculator's page, then charts of all calculators in turn."""
    versions = [server for name, server in servers.items() if name in VERSIONS]
    report.section = "Pages a second and core, and pages of ours for one of the earlier version, by CPU time"
    made: Contestants = {}
    for example, server in itertools.product(_one_each(chosen), versions):
        for workload in _pages(example):
            contestant = rounds.admit(report, server, workload)
            if contestant is not None:
                made[server.name, workload.name] = contestant
    rounds.run_rounds(list(made.values()), options.page_rounds, options.page_seconds, even=options.even)
    for kind in (DEFAULT, FILLED):
        _summarize(report, made, kind)
    for (name, kind), contestant in made.items():
        if name == OURS:
            other = made.get((EARLIER, kind))
            earlier = f"   earlier {median(other.costs):.0f} us" if other else ""
            report.figure(kind, contestant.describe(spread=False) + earlier)
    _pages_to_read(report, options, versions, [example.calculator for example in _one_each(chosen)])
    _charts(report, options, versions, _one_each(chosen))


def _pages_to_read(report: Report, options: Options, versions: Sequence[Server], names: Sequence[str]) -> None:
    report.section = "Pages to read a second and core, of all calculators in turn, by CPU time"
    ours = next((server for server in versions if server.name == OURS), versions[0])
    for kind, path in READ.items():
        requests = [
            get_request(path.format(name=name, identifier=name.replace("-", "_")), "", "text/html") for name in names
        ]
        contestant = rounds.admit(report, ours, Workload(kind, lambda *_, each=requests: each, connections=CONNECTIONS))
        if contestant is not None:
            rounds.run_rounds([contestant], options.page_rounds, options.page_seconds, even=options.even)
            report.measure(kind, [1e6 / cost for cost in contestant.costs], READ_PAGES_A_SECOND_AND_CORE)


def _one_each(chosen: Sequence[Example]) -> list[Example]:
    return [example for example in chosen if example.name == example.calculator]


def _pages(example: Example) -> list[Workload]:
    path = f"/calculators/{example.calculator}"
    page = [get_request(path, "", "text/html")]
    usual = Workload(f"{example.calculator}: {DEFAULT}", lambda *_: page, connections=CONNECTIONS)
    if not fits_query(example.inputs):
        return [usual]

    def filled(_: Server, start: int, count: int) -> list[bytes]:
        return example.gets(path, start, count, accept="text/html")

    name = f"{example.calculator}: {FILLED}"
    return [usual, Workload(name, filled, connections=CONNECTIONS, fastest=FASTEST)]


def _summarize(report: Report, made: Contestants, kind: str) -> None:
    """Report the pages a second and core, of a load that holds each calculator equally often."""
    ours = {name: each for (server, name), each in made.items() if server == OURS and name.endswith(kind)}
    theirs = {name: made[EARLIER, name] for name in ours if (EARLIER, name) in made}
    if not ours:
        return
    report.measure(f"{kind}, {len(ours)} calculators", [1e6 / cost for cost in _mean(ours)], PAGES_A_SECOND_AND_CORE)
    if theirs:
        shared = {name: each for name, each in ours.items() if name in theirs}
        report.ratio(f"{kind} / {EARLIER}, {len(shared)} calculators", _mean(theirs), _mean(shared))


def _mean(made: dict[str, Contestant]) -> list[float]:
    """Return the mean CPU time of a page over calculators, round by round [us]."""
    return [statistics.fmean(costs) for costs in zip(*(each.costs for each in made.values()), strict=False)]


def _charts(report: Report, options: Options, versions: Sequence[Server], chosen: Sequence[Example]) -> None:
    report.section = "Charts of all calculators in turn, each a new one, by CPU time"
    ours = next((server for server in versions if server.name == OURS), versions[0])
    drawn = [each for each in chosen if fits_query(each.inputs) and _draws(ours, each)]
    if not drawn:
        report.missing("charts", "none could be drawn")
        return
    made: Contestants = {}
    for (kind, form), server in itertools.product(CHARTS.items(), versions):
        contestant = rounds.admit(report, server, _chart(kind, form, drawn))
        if contestant is not None:
            made[server.name, kind] = contestant
    rounds.run_rounds(list(made.values()), options.page_rounds, options.chart_seconds, even=options.even)
    for kind in CHARTS:
        compare(report, made, (OURS, kind), (EARLIER, kind))
    for (name, kind), contestant in made.items():
        report.figure(f"{name}: {kind}, {len(drawn)} calculators", contestant.describe(spread=False))


def _chart(kind: str, form: str, drawn: Sequence[Example]) -> Workload:
    def build(_: Server, start: int, count: int) -> list[bytes]:
        each = count // len(drawn) + 1
        made = [example.gets(_path(example), start, each, accept="*/*", more=f"&format={form}") for example in drawn]
        return [request for together in zip(*made, strict=True) for request in together]

    return Workload(kind, build, connections=CONNECTIONS, fastest=500)


def _path(example: Example) -> str:
    return f"{example.path}/chart"


def _draws(server: Server, example: Example) -> bool:
    return fetch(server, example.gets(_path(example), 0, 1, accept="*/*")[0])[0] == 200
