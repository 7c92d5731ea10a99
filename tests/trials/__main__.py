"""``python -m trials``: run the trials that the command line names; exits with 1 where one fails."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator, Mapping
from typing import Final

from trials.fuzz import fuzz
from trials.hostile import Outcome, try_hostile_inputs
from trials.sequences import try_sequences
from trials.service import SERVERS

LONG: Final = 100_000
SHORT: Final = 3_000


def main() -> int:
    """Run the trials; return the exit status."""
    parser = argparse.ArgumentParser(prog="python -m trials", description=__doc__)
    parser.add_argument("--short", action="store_true", help=f"{SHORT:,d} random requests; others may wait")
    parser.add_argument("--server", choices=tuple(SERVERS), default="gunicorn")
    parser.add_argument("--only", choices=("inputs", "sequences", "random"), action="append")
    parser.add_argument("--input", default="", help="only inputs and sequences whose name contains this")
    parser.add_argument("--requests", type=int, help=f"random requests (default {LONG:,d})")
    parser.add_argument("--seed", type=int, default=1, help="seed of the random requests")
    options = parser.parse_args()
    requests = options.requests or (SHORT if options.short else LONG)
    server, named = options.server, options.input
    trials: Mapping[str, Callable[[], Iterator[Outcome]]] = {
        "inputs": lambda: try_hostile_inputs(server, named, judge_neighbors=not options.short),
        "sequences": lambda: try_sequences(server, named),
        "random": lambda: fuzz(server, requests, options.seed),
    }
    failed = 0
    for name in options.only or trials:
        for outcome in trials[name]():
            print("\n    FAILED ".join([outcome.line, *outcome.problems]), flush=True)
            failed += bool(outcome.problems)
    print(f"{failed} trials failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
