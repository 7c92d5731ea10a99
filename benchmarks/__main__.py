"""`python -m benchmarks`: starts the service and its peers, measures them in turn, prints ratios. Asserts nothing."""

from __future__ import annotations

import argparse
import dataclasses
import functools
import os
import signal
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable
from importlib import metadata
from pathlib import Path

from benchmarks import batches, burdens, recordings, servers, single
from benchmarks.agree import disagreements
from benchmarks.options import Options, quick
from benchmarks.processes import DidNotStart, Server, busy, stop_all
from benchmarks.report import Book

SECTIONS = ("single", "tables", "recordings", "beside", "memory", "start")


def main() -> None:
    """Measure what the command line asks for."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    parser.add_argument("--quick", action="store_true", help="about a minute, smaller tables: rough")
    parser.add_argument("--long", action="store_true", help="memory with 10 million rows instead of 2 million")
    parser.add_argument("--only", choices=SECTIONS, action="append", help="only this part; may be given again")
    parser.add_argument("--as-opened", action="store_true", help="leave connections with the workers that took them")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the result there as well")
    chosen = parser.parse_args()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))
    began = time.monotonic()
    book = Book()
    others = busy()
    with tempfile.TemporaryDirectory(prefix="benchmark-") as folder:
        options = quick(Path(folder)) if chosen.quick else Options(Path(folder))
        os.environ["TMPDIR"] = folder  # what a server leaves behind goes with it
        options = dataclasses.replace(
            options, even=not chosen.as_opened, memory_rows=10_000_000 if chosen.long else options.memory_rows
        )
        try:
            measure(book, options, chosen.only or SECTIONS)
        except KeyboardInterrupt:
            print("stopped; what was measured until then:", file=sys.stderr)
    print(book.text())
    took = time.monotonic() - began
    print(f"\nOthers kept the machine {others:.0f} % busy before this began and {busy():.0f} % after it ended.")
    print(f"{took:.0f} s. {versions()}")
    if chosen.json:
        book.write(chosen.json)


def measure(book: Book, options: Options, sections: tuple[str, ...] | list[str]) -> None:
    """Start everything, have each section measured, end everything."""
    running: dict[str, Server] = {}
    try:
        makers: dict[str, Callable[[], Server]] = {
            shape: functools.partial(servers.ours, shape) for shape in servers.SHAPES
        }
        _start(book, makers, running)
        if "threads" not in running:
            return
        answer = options.folder / "answer"
        answer.write_bytes(fetched(running["threads"]))
        makers = {name: make for name, make in makers.items() if name in running}
        peers: dict[str, Callable[[], Server]] = {
            "bare WSGI": functools.partial(servers.constant, "bare WSGI", "bare", answer),
            "constant Flask view": functools.partial(servers.constant, "constant Flask view", "view", answer),
            "FastAPI": servers.fast,
        }
        _start(book, peers, running)
        for told in disagreements(running):
            book.missing("THE PROGRAMS DO NOT AGREE", told)
        parts: dict[str, Callable[[], None]] = {
            "single": lambda: single.run(book, options, running),
            "tables": lambda: batches.run(book, options, running),
            "recordings": lambda: recordings.run(book, options, running),
            "beside": lambda: burdens.beside(book, options, running),
            "memory": lambda: burdens.memory(book, options, makers),
            "start": lambda: burdens.start(book, options, makers | peers),
        }
        for name in sections:
            print(f"{name} ...", file=sys.stderr, flush=True)
            parts[name]()
    finally:
        stop_all()


def _start(book: Book, makers: dict[str, Callable[[], Server]], running: dict[str, Server]) -> None:
    book.section = "Servers"
    for name, make in makers.items():
        try:
            server = make()
            server.start()
            running[name] = server
        except DidNotStart as error:
            book.missing(name, f"did not start: {error}")


def fetched(server: Server) -> bytes:
    """A usual answer of the service."""
    with urllib.request.urlopen(f"http://127.0.0.1:{server.port}{servers.QUESTION}", timeout=10) as answer:
        return bytes(answer.read())


def versions() -> str:
    """What the peers are made of."""
    names = ("gunicorn", "Flask", "FastAPI", "uvicorn", "uvloop", "httptools", "pydantic", "numpy", "polars", "pyarrow")
    told = []
    for name in names:
        try:
            told.append(f"{name} {metadata.version(name)}")
        except metadata.PackageNotFoundError:
            told.append(f"no {name}")
    return f"Python {sys.version.split()[0]}, {', '.join(told)}."


if __name__ == "__main__":
    main()
