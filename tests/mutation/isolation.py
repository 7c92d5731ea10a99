"""Tests in a process of their own, forked from one that has imported the libraries, which saves seconds each time."""

from __future__ import annotations

import multiprocessing
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Final

import pytest

from mutation.coverage_map import OPTIONS

PRELOADED: Final = ("pytest", "numpy", "flask", "marshmallow", "pint", "hypothesis", "scipy.stats", "click.testing")
"""Libraries, never the package itself, whose files change."""
_FORKS: Final = multiprocessing.get_context("forkserver")
_FORKS.set_forkserver_preload(list(PRELOADED))
_BASE: Final = 10
"""Added to the exit codes of pytest, which leaves 1 to an error of this program."""
_FAILED: Final = frozenset(
    _BASE + code
    for code in (
        pytest.ExitCode.TESTS_FAILED,
        pytest.ExitCode.INTERRUPTED,  # a module that cannot be imported
        pytest.ExitCode.INTERNAL_ERROR,
        pytest.ExitCode.USAGE_ERROR,  # a conftest.py that cannot be imported
    )
)


def run_apart(target: Callable[..., Any], *arguments: object, limit: float) -> int | None:
    """Call a function in a process of its own; return its exit code, None where its time was up."""
    process = _FORKS.Process(target=target, args=arguments)
    process.start()
    process.join(limit)
    if process.exitcode is None:
        process.kill()
        process.join()
        return None
    return process.exitcode


def fails(copy: Path, tests: Sequence[str], *, limit: float) -> bool:
    """Return whether one of these tests fails, ends its process, or takes longer than the limit.

    Raises RuntimeError where they did not run.
    """
    code = run_apart(_run_tests, copy, tests, limit=limit)
    if code is None or code < 0 or code in _FAILED:
        return True
    if code != _BASE + pytest.ExitCode.OK:
        raise RuntimeError(f"the tests did not run: exit code {code}")
    return False


def _run_tests(copy: Path, tests: Sequence[str]) -> None:
    """Run tests until one fails, and end this process with pytest's exit code."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    os.environ["PYTHONPATH"] = os.pathsep.join(str(copy / name) for name in ("service", "tests"))
    files = list(dict.fromkeys(test.partition("::")[0] for test in tests))
    code = pytest.ExitCode.OK
    for some in (files[:2], files[2:]):  # to collect them all takes longer than to run the first
        chosen = [test for test in tests if test.partition("::")[0] in some]
        if chosen and code == pytest.ExitCode.OK:
            code = pytest.ExitCode(pytest.main([*OPTIONS, "-x", *chosen]))
    tested = sys.modules.get("gramwatt")
    if tested is not None and not str(tested.__file__).startswith(str(copy)):
        raise RuntimeError(f"not the copy but {tested.__file__} was tested")
    sys.exit(_BASE + int(code))
