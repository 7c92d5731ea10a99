"""Whether the programs that are compared give the same figures: else a ratio of their speeds would mean nothing."""

from __future__ import annotations

import json
import math
import socket
from typing import Any, Final

from benchmarks.load import answer_end
from benchmarks.peers.columns import CAUTION_TEXTS, caution_numbers, solve
from benchmarks.processes import Server
from benchmarks.questions import columns, get_request, post_request, questions
from benchmarks.servers import SHAPES

COUNT: Final = 200
TOLERANCE: Final = 1e-9
STANDING: Final = "lithium-fire"  # of every answer; a table says it once, in a header
MEMBERS: Final = ("calculator", "given", "assumed", "results", "units", "cautions")


def disagreements(servers: dict[str, Server]) -> list[str]:
    """What the first of the servers that answer, FastAPI and numpy say differently; nothing is right."""
    found: list[str] = []
    made = solve(columns(COUNT))
    codes = [CAUTION_TEXTS[bits] for bits in caution_numbers(made)]
    for at, question in enumerate(questions(COUNT)):
        ours = asked(servers["threads"], get_request(question))
        found += _different("numpy", {name: float(values[at]) for name, values in made.items()}, ours["results"])
        if " ".join(c["code"] for c in ours["cautions"] if c["code"] != STANDING) != codes[at]:
            found.append(f"numpy: cautions {codes[at]}")
        for name, server in servers.items():
            if name not in (*SHAPES, "FastAPI"):
                continue
            for request in (get_request(question), post_request(question)):
                theirs = asked(server, request)
                found += _different(name, theirs["results"], ours["results"])
                if any(member not in theirs for member in MEMBERS):
                    found.append(f"{name}: members {', '.join(theirs)}")
                elif [c["code"] for c in theirs["cautions"]] != [c["code"] for c in ours["cautions"]]:
                    found.append(f"{name}: cautions of {question}")
                elif theirs["units"] != ours["units"] or set(theirs["assumed"]) != set(ours["assumed"]):
                    found.append(f"{name}: units or what is assumed")
        if found:
            break
    return found


def asked(server: Server, request: bytes) -> Any:
    """The JSON that answers a request."""
    with socket.create_connection(server.address, timeout=10) as connection:
        connection.sendall(request)
        received = b""
        while answer_end(received) is None:
            piece = connection.recv(65536)
            if not piece:
                break
            received += piece
    return json.loads(received.partition(b"\r\n\r\n")[2])


def _different(name: str, theirs: dict[str, Any], ours: dict[str, Any]) -> list[str]:
    return [
        f"{name}: {result} is {theirs.get(result)}, ours {value}"
        for result, value in ours.items()
        if theirs.get(result) is None or not math.isclose(theirs[result], value, rel_tol=TOLERANCE)
    ]
