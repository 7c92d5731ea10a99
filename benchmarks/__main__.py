"""`python -m benchmarks`: start the service and its peers, measure them in turn, print ratios. It asserts nothing."""

from __future__ import annotations

import argparse
import dataclasses
import functools
import os
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from importlib import metadata
from pathlib import Path

from benchmarks import (
    first_examples,
    pages,
    ranges,
    recordings,
    searches,
    servers,
    service_load,
    single_requests,
    tables,
)
from benchmarks.agreement import disagreements
from benchmarks.options import Options, quick
from benchmarks.pack_inputs import PATH
from benchmarks.processes import DidNotStart, Server, busy, stop_all
from benchmarks.report import Report
from benchmarks.rounds import fetch
from benchmarks.servers import BARE, EARLIER, FAST, OURS, VIEW

SECTIONS = ("ranges", "searches", "single", "examples", "pages", "tables", "recordings", "beside", "memory", "start")


def main() -> None:
    """Measure what the command line asks for."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    parser.add_argument("--quick", action="store_true", help="about a minute, smaller tables: rough")
    parser.add_argument("--long", action="store_true", help="memory with 10 million rows instead of 2 million")
    parser.add_argument("--only", choices=SECTIONS, action="append", help="only this part; may be given again")
    parser.add_argument("--against", type=Path, metavar="DIR", help="a checkout of another version to compare with")
    parser.add_argument("--as-opened", action="store_true", help="leave connections with the workers that took them")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the result there as well")
    chosen = parser.parse_args()
    if chosen.against and not (chosen.against / "service" / "gramwatt").is_dir():
        parser.error(f"{chosen.against} has no service/gramwatt")
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    began = time.monotonic()
    report = Report()
    others = busy()
    with tempfile.TemporaryDirectory(prefix="benchmark-") as folder:
        options = quick(Path(folder)) if chosen.quick else Options(Path(folder))
        os.environ["TMPDIR"] = folder  # files that a server leaves behind are removed with it
        options = dataclasses.replace(
            options, even=not chosen.as_opened, memory_rows=10_000_000 if chosen.long else options.memory_rows
        )
        try:
            measure(report, options, chosen.only or SECTIONS, chosen.against)
        except KeyboardInterrupt:
            print("stopped; measured until then:", file=sys.stderr)
    print(report.text())
    took = time.monotonic() - began
    print(f"\nThe machine was {others:.0f} % busy before this began and {busy():.0f} % after it ended.")
    print(f"{took:.0f} s. {versions()}")
    if chosen.json:
        report.write(chosen.json)


def measure(
    report: Report, options: Options, sections: tuple[str, ...] | list[str], earlier: Path | None = None
) -> None:
    """Start every server, run each section, stop every server."""
    running: dict[str, Server] = {}
    try:
        makers: dict[str, Callable[[], Server]] = {OURS: servers.ours}
        if earlier is not None:
            makers[EARLIER] = functools.partial(servers.ours, EARLIER, earlier)
        _start(report, makers, running)
        if OURS not in running:
            return
        makers = {name: make for name, make in makers.items() if name in running}
        chosen = first_examples.of_examples(report)
        probe = f"GET {servers.PROBE} HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n".encode()
        usual = {PATH: fetch(running[OURS], probe)[2]}
        responses = servers.write_responses(options.folder, first_examples.bodies(running[OURS], chosen) | usual)
        peers: dict[str, Callable[[], Server]] = {
            BARE: functools.partial(servers.constant, BARE, "bare", responses),
            VIEW: functools.partial(servers.constant, VIEW, "view", responses),
            FAST: servers.fast,
        }
        _start(report, peers, running)
        for text in disagreements(running):
            report.missing("THE PROGRAMS DO NOT AGREE", text)
        parts: dict[str, Callable[[], None]] = {
            "ranges": lambda: ranges.run(report, options),
            "searches": lambda: searches.run(report, options),
            "single": lambda: single_requests.run(report, options, running),
            "examples": lambda: first_examples.run(report, options, running, chosen),
            "pages": lambda: pages.run(report, options, running, chosen),
            "tables": lambda: tables.run(report, options, running),
            "recordings": lambda: recordings.run(report, options, running),
            "beside": lambda: service_load.beside(report, options, running),
            "memory": lambda: service_load.memory(report, options, makers),
            "start": lambda: service_load.start(report, options, makers | peers),
        }
        for name in sections:
            began = time.monotonic()
            parts[name]()
            print(f"{name}: {time.monotonic() - began:.0f} s", file=sys.stderr, flush=True)
    finally:
        stop_all()


def _start(report: Report, makers: dict[str, Callable[[], Server]], running: dict[str, Server]) -> None:
    report.section = "Servers"
    for name, make in makers.items():
        try:
            server = make()
            server.start()
            running[name] = server
        except DidNotStart as error:
            report.missing(name, f"did not start: {error}")


def versions() -> str:
    """Return the versions of Python and of what the service and its peers are made of."""
    names = ("gunicorn", "Flask", "FastAPI", "uvicorn", "uvloop", "httptools", "pydantic", "numpy", "polars", "pyarrow")
    found = []
    for name in names:
        try:
            found.append(f"{name} {metadata.version(name)}")
        except metadata.PackageNotFoundError:
            found.append(f"no {name}")
    return f"Python {sys.version.split()[0]}, {', '.join(found)}."


if __name__ == "__main__":
    main()
