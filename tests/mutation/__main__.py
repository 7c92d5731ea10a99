"""Run sampled mutants against the tests that run their lines; print survivors and the score.

``make mutation COUNT=300 SEED=1``; ``python -m mutation --help`` has more. Nothing in the checkout is changed: its
files are copied to a temporary folder, and each mutant is made there.
"""

from __future__ import annotations

import argparse
import contextlib
import itertools
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

from mutation.coverage_map import CoverageMap, measure
from mutation.isolation import fails, run_apart
from mutation.mutants import Mutant, find_mutants

ROOT: Final = Path(__file__).resolve().parents[2]
PACKAGES: Final = ("physics", "engine", "calculators")
TESTS: Final = (
    "tests/physics",
    "tests/calculators",
    "tests/engine",
    "tests/test_every_calculator.py",
    "tests/test_cautions.py",
    "tests/test_input_bounds.py",
    "tests/test_library.py",
    "tests/web/test_answers.py",
    "tests/web/test_batch.py",
    "tests/web/test_contract.py",
)
"""Tests of these packages that need no server; slower ones would catch more mutants and take hours."""
EQUIVALENT: Final = Path(__file__).with_name("equivalent.toml")
LIMIT: Final = 30.0
"""Seconds of tests, as measured, that are run against one mutant at most."""


def main() -> int:
    """Parse the options, measure, run, report. Return 1 where the score is below ``--at-least``."""
    parser = argparse.ArgumentParser(prog="python -m mutation", description=__doc__)
    parser.add_argument("--count", type=int, default=300, help="how many mutants, spread over packages and modules")
    parser.add_argument("--seed", type=int, default=1, help="which mutants are chosen")
    parser.add_argument("--only", default="", help="modules whose path contains this, such as physics/pack")
    parser.add_argument(
        "--map", type=Path, help="a file to keep the map of lines and tests in, to save measuring again"
    )
    parser.add_argument("--at-least", type=float, default=90.0, help="the score, in per cent, below which it fails")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="mutation-") as folder:
        copy = Path(folder) / "checkout"
        copy_checkout(copy)
        os.chdir(copy)
        mapped = options.map.resolve() if options.map else Path(folder) / "map.json"
        if not mapped.exists():
            print("measuring which tests run which lines ...", flush=True)
            begin = time.monotonic()
            if run_apart(measure, copy / "service/gramwatt", TESTS, mapped, limit=7200) != 0:
                return 2
            print(f"took {time.monotonic() - begin:.0f} s", flush=True)
        lines = CoverageMap.read(mapped)
        chosen = sample(copy, options.only, options.count, options.seed)
        return report(copy, chosen, lines, options.at_least)


def copy_checkout(copy: Path) -> None:
    """Copy the files that git knows, or would add, to an empty folder."""
    git = ["git", "-C", str(ROOT), "ls-files", "--cached", "--others", "--exclude-standard", "-z"]
    for name in subprocess.run(git, check=True, capture_output=True, text=True).stdout.split("\0"):
        if name and (ROOT / name).is_file():
            (copy / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, copy / name)


def sample(copy: Path, only: str, count: int, seed: int) -> list[tuple[Mutant, bytes]]:
    """Choose mutants: as many of each package, and within one as evenly over its modules as they have mutants."""
    chance = random.Random(seed)
    chosen: list[tuple[Mutant, bytes]] = []
    known = _equivalents()
    for at, package in enumerate(PACKAGES):
        wanted = count // len(PACKAGES) + (at < count % len(PACKAGES))
        piles = []
        for path in sorted((copy / "service/gramwatt" / package).rglob("*.py")):
            module, source = str(path.relative_to(copy / "service")), path.read_bytes()
            if only not in module:
                continue
            pile = [
                (each, source) for each in find_mutants(module, source) if (module, *each.change(source)) not in known
            ]
            chance.shuffle(pile)
            piles.append(pile)
        chance.shuffle(piles)
        found: list[tuple[Mutant, bytes]] = []
        while len(found) < wanted and any(piles):
            found += [pile.pop() for pile in piles if pile][: wanted - len(found)]
        chosen += found
    return chosen


def _equivalents() -> set[tuple[str, str, str]]:
    """Return the mutants that change nothing anybody can see, as module, line before and line after."""
    entries = tomllib.loads(EQUIVALENT.read_text(encoding="utf-8")).get("mutant", []) if EQUIVALENT.exists() else []
    return {(each["module"], each["before"], each["after"]) for each in entries}


def report(copy: Path, chosen: Sequence[tuple[Mutant, bytes]], lines: CoverageMap, at_least: float) -> int:
    """Run each mutant and print what became of it; then the survivors and the score."""
    killed, tried = Counter[str](), Counter[str]()
    survivors: list[str] = []
    for at, (mutant, source) in enumerate(chosen, 1):
        package = mutant.module.split("/")[1]
        tests = within(LIMIT, lines.of_lines(mutant.module, mutant.line, mutant.last_line), lines.seconds)
        begin = time.monotonic()
        dies = bool(tests) and is_killed(copy, mutant, source, tests, lines.seconds)
        tried[package] += 1
        killed[package] += dies
        outcome = "killed" if dies else "SURVIVED"
        took = f"{time.monotonic() - begin:.1f} s"
        print(f"{at}/{len(chosen)} {outcome} {mutant.module}:{mutant.line} {mutant.operator} {took}", flush=True)
        if not dies:
            survivors.append(f"{mutant.operator}, {len(tests)} tests\n{mutant.diff(source)}")
            print(survivors[-1], flush=True)
    print(f"\n{len(survivors)} survivors\n")
    print("\n\n".join(survivors))
    for package in tried:
        print(f"{package}: {killed[package]} of {tried[package]} killed")
    score = 100 * killed.total() / max(tried.total(), 1)
    print(f"score: {score:.1f} % of {tried.total()}; equivalent ones listed in {EQUIVALENT.name} are left out")
    return int(score < at_least)


def within(limit: float, tests: Sequence[str], seconds: dict[str, float]) -> list[str]:
    """Return the first of these tests, as many as take no longer than a limit together."""
    total, found = 0.0, list[str]()
    for test in tests:
        total += seconds[test]
        if found and total > limit:
            break
        found.append(test)
    return found


def is_killed(copy: Path, mutant: Mutant, source: bytes, tests: Sequence[str], seconds: dict[str, float]) -> bool:
    """Make the mistake in the copy, run the tests until one fails or time is up, and put the file right again."""
    path = copy / "service" / mutant.module
    with _changed(path, source, mutant.apply(source)):
        return fails(copy, tests, limit=60 + 10 * sum(seconds[test] for test in tests))


_TIMES: Final = itertools.count(1_000_000_000)


@contextlib.contextmanager
def _changed(path: Path, before: bytes, after: bytes) -> Iterator[None]:
    """Put other bytes into a file for a while, each time under another date, so that no stale bytecode is used."""
    try:
        _write(path, after)
        yield
    finally:
        _write(path, before)


def _write(path: Path, source: bytes) -> None:
    path.write_bytes(source)
    date = next(_TIMES)
    os.utime(path, (date, date))


if __name__ == "__main__":
    sys.exit(main())
