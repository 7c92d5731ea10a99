"""Which test runs which line of the code, and how long each test takes; measured once, before the first mutant."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import coverage
import pytest

OPTIONS: Final = ["-q", "-p", "no:cacheprovider", "-W", "ignore::pytest.PytestAssertRewriteWarning"]
CONTRACT: Final = "tests/web/test_contract.py::test_committed_files_are_todays"


@dataclass(frozen=True, slots=True)
class CoverageMap:
    """Tests by line of each module, and seconds by test."""

    tests: dict[str, dict[int, list[str]]]
    seconds: dict[str, float]

    def of_lines(self, module: str, first: int, last: int) -> list[str]:
        """Return the tests to run against a mistake in some lines, those that are most likely to notice first.

        The tests named like the module come first, then the quickest of each file, the second of each, and so on.
        Lines that run on import, such as declarations, concern each test that runs any line of the module; a module
        that only declares concerns them all. A declared bound shows in the contract at once.
        """
        lines = self.tests.get(module, {})
        found = {test for line in range(first, last + 1) for test in lines.get(line, ())}
        on_import = not found
        found = found or {test for tests in lines.values() for test in tests} or set(self.seconds)
        own = Path(module).stem.strip("_")
        package = Path(module).parts[1]
        by_file: dict[str, list[str]] = {}
        for test in sorted(found, key=self.seconds.__getitem__):
            by_file.setdefault(test.partition("::")[0], []).append(test)
        place = {test: at for tests in by_file.values() for at, test in enumerate(tests)}

        def rank(test: str) -> tuple[bool, int, bool, str]:
            file = test.partition("::")[0]
            return own not in file, place[test], package not in file, file

        ahead = [CONTRACT] if on_import and package == "calculators" and CONTRACT in found else []
        return ahead + [test for test in sorted(found, key=rank) if test not in ahead]

    def write(self, path: Path) -> None:
        """Write it as JSON, each test once."""
        names = list(self.seconds)
        place = {name: at for at, name in enumerate(names)}
        tests = {
            module: {line: [place[test] for test in each] for line, each in lines.items()}
            for module, lines in self.tests.items()
        }
        path.write_text(json.dumps({"seconds": self.seconds, "tests": tests}), encoding="utf-8")

    @classmethod
    def read(cls, path: Path) -> CoverageMap:
        """Read what `write` wrote."""
        made = json.loads(path.read_text(encoding="utf-8"))
        names = list(made["seconds"])
        tests = {
            module: {int(line): [names[at] for at in each] for line, each in lines.items()}
            for module, lines in made["tests"].items()
        }
        return cls(tests, made["seconds"])


class _Recorder:
    """A plugin of pytest: a context of coverage for each test, its time, and those that fail."""

    def __init__(self, measured: coverage.Coverage) -> None:
        self.measured, self.seconds, self.failed = measured, dict[str, float](), list[str]()

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        self.measured.switch_context(item.nodeid)
        begin = time.process_time()
        try:
            return (yield)
        finally:
            self.seconds[item.nodeid] = time.process_time() - begin
            self.measured.switch_context("")

    def pytest_runtest_logreport(self, report: Any) -> None:
        if report.failed:
            self.failed.append(report.nodeid)

    def pytest_collectreport(self, report: Any) -> None:
        if report.failed:
            self.failed.append(report.nodeid)


def measure(package: Path, tests: Sequence[str], found: Path) -> None:
    """Run the tests once, in a process that has not imported the package, and write the map to ``found``.

    Raises RuntimeError where a test fails without any mistake.
    """
    measured = coverage.Coverage(data_file=None, source=[str(package)], config_file=False)
    recorder = _Recorder(measured)
    measured.start()
    pytest.main([*OPTIONS, *tests], plugins=[recorder])
    measured.stop()
    if recorder.failed or not recorder.seconds:
        raise RuntimeError(f"these fail without any mutant: {recorder.failed}")
    data = measured.get_data()
    by_module = {
        str(Path(file).relative_to(package.parent)): {
            line: [name for name in names if name]
            for line, names in data.contexts_by_lineno(file).items()
            if any(names)
        }
        for file in data.measured_files()
    }
    CoverageMap(by_module, recorder.seconds).write(found)
