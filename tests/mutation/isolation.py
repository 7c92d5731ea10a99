"""Tests against one mutant, in a process of its own."""

from __future__ import annotations

import contextlib
import itertools
import multiprocessing
import os
import resource
import signal
import sys
import time
import traceback
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any, Final, NoReturn

import pytest
from hypothesis import Phase, settings

from mutation.coverage_map import OPTIONS
from mutation.patching import clear_caches, patch

_PASSED: Final = int(pytest.ExitCode.OK)
_FAILED: Final = (
    pytest.ExitCode.TESTS_FAILED,
    pytest.ExitCode.INTERRUPTED,  # a module that cannot be imported
    pytest.ExitCode.INTERNAL_ERROR,
    pytest.ExitCode.USAGE_ERROR,  # a conftest.py that cannot be imported
)
_BROKEN, _NOT_PATCHED = 100, 101
"""Exit codes that pytest has not: an error of this program; a mistake in what runs on import."""
_FORKS: Final = multiprocessing.get_context("forkserver")
_FORKS.set_forkserver_preload(
    ["pytest", "numpy", "flask", "marshmallow", "pint", "hypothesis.strategies", "scipy.integrate", "scipy.stats"]
)
_TIMES: Final = itertools.count(1_000_000_000)
WALL: Final = 20.0
"""How much longer than its time of computing a process may take, as others compute too."""


class FirstFailure:
    """A plugin of pytest: Hypothesis reports the first example that fails, and does not look for a shorter one."""

    def pytest_collection_finish(self) -> None:
        """Change the profile that ``conftest.py`` has loaded."""
        phases = (Phase.explicit, Phase.generate)
        settings.register_profile("mutation", settings.default, phases=phases, report_multiple_bugs=False)
        settings.load_profile("mutation")


class Collected:
    """A plugin of pytest: all tests imported and collected once, and a fork of that for each mutant."""

    def __init__(self, copy: Path, job: Callable[[Collected], None]) -> None:
        self.copy, self.job = copy, job
        self.items: dict[str, pytest.Item] = {}
        self._is_child = False

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """Do the job in place of running the tests."""
        self.items = {item.nodeid: item for item in session.items}
        self.job(self)
        return True

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """End the fork at the first test that fails."""
        if self._is_child and report.failed:
            os._exit(pytest.ExitCode.TESTS_FAILED)

    def fails(self, path: Path, before: bytes, after: bytes, tests: Sequence[str], limit: float) -> bool:
        """Return whether one of these tests fails, ends its process, or computes longer than the limit [s]."""
        code: int | None = _in_fork(lambda: self._run_patched(path, before, after, tests), limit)
        if code == _NOT_PATCHED:
            with changed(path, before, after):
                code = run_apart(_run_anew, self.copy, tests, limit=WALL * limit)
        if code is not None and code != _PASSED and code not in _FAILED and code >= 0:
            raise RuntimeError(f"the tests did not run: exit code {code}")
        return code != _PASSED

    def _run_patched(self, path: Path, before: bytes, after: bytes, tests: Sequence[str]) -> int:
        self._is_child = True
        if not patch(before, after, str(path)):
            return _NOT_PATCHED
        clear_caches("gramwatt")
        items = [self.items[test] for test in tests if test in self.items]
        for item, following in zip(items, [*items[1:], None], strict=True):
            item.ihook.pytest_runtest_protocol(item=item, nextitem=following)
        return _PASSED


def _in_fork(job: Callable[[], int], limit: float) -> int:
    """Call a function in a fork of this process; return its exit code, or less than zero where it was killed."""
    child = os.fork()
    if child == 0:
        _become(job, limit)
    end = time.monotonic() + WALL * (limit + 1)
    while True:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            return os.waitstatus_to_exitcode(status)
        if time.monotonic() > end:
            os.killpg(child, signal.SIGKILL)
            os.waitpid(child, 0)
            return -int(signal.SIGKILL)
        time.sleep(0.01)


def _become(job: Callable[[], int], limit: float) -> NoReturn:
    """Do a job in silence and end this process, at the latest after a limit of computing."""
    code = _BROKEN
    try:
        os.setsid()
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        resource.setrlimit(resource.RLIMIT_CPU, (int(limit) + 1, int(limit) + 1))
        code = job()
    finally:
        os._exit(code)


def _run_anew(copy: Path, tests: Sequence[str]) -> None:
    """Run tests in a process that has not imported the package, and end it with pytest's exit code."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    os.environ["PYTHONPATH"] = os.pathsep.join(str(copy / name) for name in ("service", "tests"))
    files = list(dict.fromkeys(test.partition("::")[0] for test in tests))
    code = _PASSED
    for some in (files[:2], files[2:]):  # to collect them all takes longer than to run the first
        chosen = [test for test in tests if test.partition("::")[0] in some]
        if chosen and code == _PASSED:
            code = int(pytest.main([*OPTIONS, "-x", *chosen], plugins=[FirstFailure()]))
    tested = sys.modules.get("gramwatt")
    if tested is not None and not str(tested.__file__).startswith(str(copy)):
        raise RuntimeError(f"not the copy but {tested.__file__} was tested")
    os._exit(code)


@contextlib.contextmanager
def changed(path: Path, before: bytes, after: bytes) -> Iterator[None]:
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


def run_apart(target: Callable[..., Any], *arguments: object, limit: float | None = None) -> int | None:
    """Call a function in a process that has imported libraries alone; return its exit code, None after a limit [s].

    An error of the function itself is reported as `_BROKEN`.
    """
    process = _FORKS.Process(target=_guarded, args=(target, *arguments))
    process.start()
    process.join(limit)
    if process.exitcode is None:
        process.kill()
        process.join()
        return None
    return process.exitcode


def _guarded(target: Callable[..., Any], *arguments: object) -> None:
    try:
        target(*arguments)
    except Exception:
        traceback.print_exc()
        os._exit(_BROKEN)
