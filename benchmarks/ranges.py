"""What ranges cost: processor time of a request in this process, with its uncertainty propagated and without."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Mapping
from typing import Any, Final

from benchmarks.options import Options
from benchmarks.report import Report

FOUR_PACKS: Final[Mapping[str, Any]] = {
    "dry_mass": 354,
    "kv": 2400,
    "diameter": 5,
    "pitch": 4.3,
    "packs": [{"cells": 4, "capacity": 1100 + 200 * each, "mass": 140 + 20 * each} for each in range(4)],
}
LIMITS: Final = {"full-throttle": 5.0, "build with four packs": 20.0}
"""Milliseconds that the ranges of a response may take."""


def run(report: Report, options: Options) -> None:
    """Measure one example of each calculator, and a build with four packs."""
    from gramwatt.engine import registry

    report.section = "Ranges: CPU time of a response with its ranges over that without, in one process"
    requests = {name: (name, dict(each.examples[0].given)) for name, each in registry.load().items() if each.propagates}
    requests["build with four packs"] = ("build", dict(FOUR_PACKS))
    for title, (name, inputs) in requests.items():
        _compare(report, options, title, name, inputs)


def _compare(report: Report, options: Options, title: str, name: str, inputs: Mapping[str, Any]) -> None:
    from gramwatt.engine.calculate import get_calculator
    from gramwatt.engine.evaluate import evaluate_columns
    from gramwatt.engine.response import build_response

    calculator = get_calculator(name)

    def respond(*, propagates: bool) -> Any:
        columns = {key: [value] for key, value in inputs.items()}
        outcome = evaluate_columns(calculator, columns, 1, text=False, propagates=propagates)
        return None if outcome.errors else build_response(outcome, 0)

    if not respond(propagates=False) or "uncertainty" not in respond(propagates=True):
        return  # it states an uncertainty, or has none

    def measure(*, propagates: bool) -> float:
        return _measure(lambda: respond(propagates=propagates))

    rounds = [[measure(propagates=each) for each in (True, False)] for _ in range(options.page_rounds + 2)]
    report.ratio(title, [each[0] for each in rounds], [each[1] for each in rounds])
    milliseconds = [1e3 * (each[0] - each[1]) for each in rounds]
    if title in LIMITS:
        report.measure(f"{title}: ms for the ranges", milliseconds, LIMITS[title], below=True)
    else:
        report.figure(title, f"{statistics.median(milliseconds):.2f} ms for the ranges")


def _measure(respond: Callable[[], Any]) -> float:
    """Return the processor time [s] of one response."""
    respond()
    count, began = 0, time.process_time()
    while time.process_time() - began < 0.05:
        respond()
        count += 1
    return (time.process_time() - began) / count
