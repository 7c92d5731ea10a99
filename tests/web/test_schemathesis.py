"""The running service against its own contract, by schemathesis: all checks, all phases, no finding, no warning."""

import os
import re
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from gramwatt.engine import registry
from gramwatt.engine.query_strings import fits_query
from gramwatt.web.openapi.document import build_document

CONFIGURATION = Path(__file__).with_name("schemathesis.toml")
TESTS = Path(__file__).parents[1]
"""Where the hooks are imported from."""
SHORT = min(
    registry.load().values(), key=lambda calculator: len(calculator.input_fields) * len(calculator.result_fields)
)
WHOLE = {
    name: rf"^/v1/{name}(/|$)" if calculator is SHORT else f"^/v1/{name}$"
    for name, calculator in registry.load().items()
}
# All phases of every response, and of everything below the path of one calculator; bare values, tables and pictures of
# the others, which read the same inputs by the same code, by examples. (All of it takes a quarter of an hour: see
# below.) The phase that follows links has none to follow among pure requests.
SEARCHES = {
    "values": [
        "--include-path-regex",
        rf"^/v1/(?!{SHORT.name}/)[^/]+/",
        "--phases",
        "examples",
    ],
    "service": ["--include-tag", "service"],
    **{name: ["--include-path-regex", paths] for name, paths in WHOLE.items()},
}


SHORT_QUERY = min(
    filter(fits_query, registry.load().values()),
    key=lambda calculator: len(calculator.input_fields) * len(calculator.result_fields),
)
QUICK = {
    "examples": ["--phases", "examples"],
    SHORT_QUERY.name: ["--include-path-regex", f"^/v1/{SHORT_QUERY.name}$"],
}
"""The examples of all operations, and all phases of one calculator that GET can call."""


def search(live: str, folder: Path, searches: dict[str, list[str]]) -> None:
    """Run each search in a process of its own; fail with the findings of all."""

    def run(name: str) -> subprocess.CompletedProcess[str]:
        command = ["--config-file", str(CONFIGURATION), "run", f"{live}/openapi.json", *searches[name]]
        (folder / name).mkdir()
        return subprocess.run(
            [sys.executable, "-m", "schemathesis.cli", *command],
            cwd=folder / name,
            env={**os.environ, "PYTHONPATH": os.pathsep.join([str(TESTS), os.environ.get("PYTHONPATH", "")])},
            capture_output=True,
            text=True,
            check=False,
        )

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        runs = dict(zip(searches, pool.map(run, searches), strict=True))

    for name, ran in runs.items():
        print(name, *re.findall(r"^ +(?:Tested: .*|.* generated, .*)$|^Seed: .*$", ran.stdout, re.MULTILINE))
    failed = [f"{name}: {ran.stdout}{ran.stderr}" for name, ran in runs.items() if ran.returncode != 0]
    if failed:
        pytest.fail("\n".join(failed))
    assert all("No issues found" in ran.stdout for ran in runs.values())


def test_a_quick_search_finds_nothing(live: str, tmp_path: Path) -> None:
    search(live, tmp_path, QUICK)


@pytest.mark.heavy
def test_schemathesis_finds_nothing(live: str, tmp_path: Path) -> None:
    """Every request that the contract allows gets a response, unless it takes too much work; every other is refused.

    Each response is as the contract has it.

    A longer search: ``st --config-file tests/web/schemathesis.toml run URL/openapi.json -n 100 --seed 2``.
    """
    search(live, tmp_path, SEARCHES)


def test_no_operation_is_left_out() -> None:
    """Each is of the service, or is searched by its path."""
    patterns = [words[1] for words in SEARCHES.values() if words[0] == "--include-path-regex"]
    for path, item in build_document()["paths"].items():
        for operation in (item[method] for method in item.keys() & {"get", "post"}):
            of_service = operation["tags"] == ["service"]
            assert of_service != any(re.search(pattern, path) for pattern in patterns), path
