"""Check that the compared programs give the same results: else a ratio of their speeds would mean nothing."""

from __future__ import annotations

import json
import math
from typing import Any, Final

from benchmarks.pack_inputs import columns, get_request, inputs, post_request
from benchmarks.peers.columns import CAUTION_TEXTS, caution_numbers, solve
from benchmarks.processes import Server
from benchmarks.rounds import TOLERANCE, fetch
from benchmarks.servers import EARLIER, FAST, OURS

COUNT: Final = 200
STANDING: Final = "lithium-fire"  # a caution of every response; a table has it once, in a header
MEMBERS: Final = ("calculator", "given", "assumed", "results", "units", "cautions")


def disagreements(servers: dict[str, Server]) -> list[str]:
    """Return what FastAPI, numpy or an earlier version compute differently from ours, for 200 sets of inputs."""
    found: list[str] = []
    made = solve(columns(COUNT))
    codes = [CAUTION_TEXTS[bits] for bits in caution_numbers(made)]
    for at, row in enumerate(inputs(COUNT)):
        ours = respond(servers[OURS], get_request(row))
        found += _different("numpy", {name: float(values[at]) for name, values in made.items()}, ours["results"])
        if " ".join(c["code"] for c in ours["cautions"] if c["code"] != STANDING) != codes[at]:
            found.append(f"numpy: cautions {codes[at]}")
        for name, server in servers.items():
            if name not in (EARLIER, FAST):
                continue
            for request in (get_request(row), post_request(row)):
                theirs = respond(server, request)
                found += _different(name, theirs["results"], ours["results"])
                if any(member not in theirs for member in MEMBERS):
                    found.append(f"{name}: members {', '.join(theirs)}")
                elif [c["code"] for c in theirs["cautions"]] != [c["code"] for c in ours["cautions"]]:
                    found.append(f"{name}: cautions of {row}")
                elif theirs["units"] != ours["units"] or set(theirs["assumed"]) != set(ours["assumed"]):
                    found.append(f"{name}: units or assumed inputs")
        if found:
            break
    return found


def respond(server: Server, request: bytes) -> Any:
    """Return the JSON that answers a request."""
    return json.loads(fetch(server, request)[2])


def _different(name: str, theirs: dict[str, Any], ours: dict[str, Any]) -> list[str]:
    return [
        f"{name}: {result} is {theirs.get(result)}, ours {value}"
        for result, value in ours.items()
        if theirs.get(result) is None or not math.isclose(theirs[result], value, rel_tol=TOLERANCE)
    ]
