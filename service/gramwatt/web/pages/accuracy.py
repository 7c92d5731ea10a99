"""How far off the calculators are, as the report on accuracy has it (``tests/accuracy/report.py`` writes the file)."""

from __future__ import annotations

import functools
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

_FILE: Final = Path(__file__).with_name("accuracy.json")


@dataclass(frozen=True, slots=True)
class Accuracy:
    """What has been measured of a calculator. Without sections it is checked ``by_hand`` only."""

    explanation: str
    by_hand: str
    sections: Sequence[Mapping[str, Any]]
    """Each with ``title``, ``rows`` and ``remarks``."""


def read_accuracy(calculator_name: str) -> Accuracy:
    """Return what the report has of a calculator."""
    report = _read_report()
    sections = [each for each in report["sections"] if calculator_name in each["calculators"]]
    return Accuracy(report["explanation"], report["by_hand"], sections)


@functools.cache
def _read_report() -> Mapping[str, Any]:
    report: Mapping[str, Any] = json.loads(_FILE.read_text(encoding="utf-8"))
    return report
