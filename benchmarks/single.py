"""Single questions: every request another one, beside constant answers and the same calculator on FastAPI."""

from __future__ import annotations

import itertools
import re
import socket
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Final

from benchmarks.load import CONNECTIONS, Measured, answer_end, connect, drive
from benchmarks.options import Options
from benchmarks.processes import Server
from benchmarks.questions import SEED, get_request, post_request, questions, with_units
from benchmarks.report import Book, middle
from benchmarks.servers import SHAPES

MOST_PER_SECOND: Final = 20_000  # requests built beforehand for each second of a round
KINDS: Final[dict[str, Callable[[dict[str, Any]], bytes]]] = {
    "GET": get_request,
    "POST": post_request,
    "GET with units": lambda question: get_request(with_units(question)),
    "POST with units": lambda question: post_request(with_units(question)),
}
SAME: Final = "GET, the same again"
HELD: Final = "GET, If-None-Match"
ORDER: Final = ("GET with units", "GET", SAME, HELD, "POST", "POST with units")


@dataclass(slots=True)
class Contestant:
    """A server with one kind of request, and what its rounds came to."""

    server: Server
    kind: str
    rounds: list[Measured] = field(default_factory=list)

    @property
    def rates(self) -> list[float]:
        """Answers a second, round by round."""
        return [each.rate for each in self.rounds]

    @property
    def cost(self) -> float:
        """Processor time of an answer [us]."""
        answers = sum(each.answers for each in self.rounds)
        return sum(each.cpu_seconds for each in self.rounds) / answers * 1e6 if answers else float("nan")

    def told(self) -> str:
        """Its figures in a line."""
        unexpected: Counter[str] = sum((each.unexpected for each in self.rounds), Counter())
        line = (
            f"{middle(self.rates):8.0f}/s   p50 {middle([m.quantile(0.5) for m in self.rounds]) * 1e3:7.2f} ms   "
            f"p99 {middle([m.quantile(0.99) for m in self.rounds]) * 1e3:7.2f} ms   CPU {self.cost:5.0f} us   "
            f"opened {' '.join(each.spread for each in self.rounds)}"
        )
        closed = sum(each.closed for each in self.rounds)
        line += f"   closed by the server {closed}" if closed else ""
        return line + (f"   NOT AS EXPECTED {dict(unexpected)}" if unexpected else "")


def run(book: Book, options: Options, servers: dict[str, Server]) -> None:
    """Interleaved rounds of every contestant, then the ratios."""
    book.section = f"Single questions, {CONNECTIONS} kept connections, requests a second"
    made: dict[tuple[str, str], Contestant] = {}
    for kind, (name, server) in itertools.product(ORDER, servers.items()):  # what is compared runs close together
        if name in SHAPES or kind in ("GET", "POST"):
            made[name, kind] = Contestant(server, kind)
    seeds = itertools.count(SEED + 1)
    for at in range(options.rounds):
        for contestant in made.values() if at % 2 == 0 else reversed(made.values()):
            requests, status = _requests(contestant, next(seeds), options.seconds)
            connections, spread = connect(contestant.server, even=options.even)
            measured = drive(contestant.server, connections, requests, options.seconds, status)
            measured.spread = spread
            contestant.rounds.append(measured)
    for (name, kind), contestant in made.items():
        book.figure(f"{name}: {kind}", contestant.told())
    _ratios(book, made)


def _requests(contestant: Contestant, seed: int, seconds: float) -> tuple[list[bytes], int]:
    if contestant.kind in KINDS:
        build = KINDS[contestant.kind]
        return [build(question) for question in questions(int(MOST_PER_SECOND * seconds), seed)], 200
    question = next(questions(1, seed))
    if contestant.kind == SAME:
        return [get_request(question)], 200
    tag = [_entity_tag(contestant.server, get_request(question)) for _ in range(8)][-1]  # each worker has met it then
    return [get_request(question, f"If-None-Match: {tag}\r\n")], 304


def _entity_tag(server: Server, request: bytes) -> str:
    with socket.create_connection(server.address, timeout=5) as connection:
        connection.sendall(request)
        received = b""
        while answer_end(received) is None:
            received += connection.recv(65536)
    found = re.search(rb"\r\netag: *(\S+)", received, re.IGNORECASE)
    return found[1].decode("latin-1") if found else '"none"'


def _ratios(book: Book, made: dict[tuple[str, str], Contestant]) -> None:
    def note(ours: tuple[str, str], theirs: tuple[str, str], target: float | None) -> None:
        if ours in made and theirs in made:
            peer = theirs[0] if theirs[0] != ours[0] else "the same without"
            one, other = made[ours], made[theirs]
            by_cpu = other.cost / one.cost if one.cost else None
            book.ratio(f"{ours[0]}: {ours[1]} / {peer}", one.rates, other.rates, target, by_cpu=by_cpu)

    for kind, least in (("GET", 0.85), ("POST", 0.95)):
        note(("threads", kind), ("constant Flask view", kind), 0.9)
        note(("threads", kind), ("bare WSGI", kind), 0.6)
        note(("events", kind), ("FastAPI", kind), least)
        note(("events", kind), ("threads", kind), None)
    for shape, kind in itertools.product(SHAPES, ("GET", "POST")):
        note((shape, f"{kind} with units"), (shape, kind), 0.9)
    for kind in (SAME, HELD):
        note(("threads", kind), ("constant Flask view", "GET"), 1.4)
        note(("events", kind), ("FastAPI", "GET"), 1.4)
