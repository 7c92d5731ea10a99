"""Run sampled mutants against the tests that run their lines; print survivors and the score.

``make mutation COUNT=300 SEED=1``; ``python -m mutation --help`` has more. Nothing in the checkout is changed: its
files are copied to a temporary folder, and each mutant is made there.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import pytest

from mutation.coverage_map import OPTIONS, CoverageMap, measure
from mutation.isolation import Collected, FirstFailure, run_apart
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
    "tests/web/test_batch_errors.py",
    "tests/web/test_contract.py",
    "tests/web/test_problems.py",
    "tests/web/test_sweep.py",
    "tests/cli/test_check.py",
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
            if run_apart(measure, copy / "service/gramwatt", TESTS, mapped) != 0:
                return 2
            print(f"took {time.monotonic() - begin:.0f} s", flush=True)
        lines = CoverageMap.read(mapped)
        chosen = sample(copy, options.only, options.count, options.seed)
        scores: list[float] = []
        plugin = Collected(copy, lambda collected: scores.append(report(collected, chosen, lines)))
        pytest.main([*OPTIONS, "--capture=no", *TESTS], plugins=[plugin, FirstFailure()])
        return int(not scores or scores[0] < options.at_least)


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


def report(collected: Collected, chosen: Sequence[tuple[Mutant, bytes]], lines: CoverageMap) -> float:
    """Run each mutant and print what became of it; then the survivors and the score, which is returned [%]."""
    killed, tried = Counter[str](), Counter[str]()
    survivors: list[str] = []
    for at, (mutant, source) in enumerate(chosen, 1):
        package = mutant.module.split("/")[1]
        tests = within(LIMIT, lines.of_lines(mutant.module, mutant.line, mutant.last_line), lines.seconds)
        begin = time.monotonic()
        dies = is_killed(collected, mutant, source, tests, lines.seconds)
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
    return score


def within(limit: float, tests: Sequence[str], seconds: dict[str, float]) -> list[str]:
    """Return the first of these tests, as many as take no longer than a limit together, but at least one."""
    total, found = 0.0, list[str]()
    for test in tests:
        total += seconds[test]
        if found and total > limit:
            break
        found.append(test)
    return found


def is_killed(
    collected: Collected, mutant: Mutant, source: bytes, tests: Sequence[str], seconds: dict[str, float]
) -> bool:
    """Return whether one of these tests fails with the mistake, or takes many times as long."""
    path = collected.copy / "service" / mutant.module
    limit = 20 + 5 * sum(seconds[test] for test in tests)
    return collected.fails(path, source, mutant.apply(source), tests, limit)


if __name__ == "__main__":
    sys.exit(main())
