"""The result: ratios with their spread and target, and the figures behind them, as a table or as JSON."""

from __future__ import annotations

import json
import math
import statistics
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Ratio:
    """One comparison: its median over the rounds, minimum and maximum, target, and the same ratio by elapsed time."""

    section: str
    name: str
    median: float
    minimum: float
    maximum: float
    target: float | None
    below: bool
    by_time: float | None = None

    @property
    def missed(self) -> bool:
        """Whether the median falls short of the target."""
        if self.target is None:
            return False
        return not (self.median < self.target if self.below else self.median >= self.target)


@dataclass(frozen=True, slots=True)
class Figure:
    """A measured figure behind the ratios, as text."""

    section: str
    name: str
    text: str


@dataclass(slots=True)
class Report:
    """Collects results while the benchmark runs, under the current ``section``."""

    ratios: list[Ratio] = field(default_factory=list)
    figures: list[Figure] = field(default_factory=list)
    absent: list[Figure] = field(default_factory=list)
    section: str = ""

    def ratio(
        self,
        name: str,
        ours: Sequence[float],
        theirs: Sequence[float],
        target: float | None = None,
        *,
        below: bool = False,
        by_time: float | None = None,
    ) -> None:
        """Add ours / theirs, round by round; the target is a minimum, or with ``below`` a limit."""
        rounds = [a / b for a, b in zip(ours, theirs, strict=False) if b]
        self.measure(name, rounds, target, below=below, by_time=by_time)

    def measure(
        self,
        name: str,
        values: Sequence[float],
        target: float | None = None,
        *,
        below: bool = False,
        by_time: float | None = None,
    ) -> None:
        """Add a value of each round that has a target of its own."""
        known = [value for value in values if math.isfinite(value)]
        if known:
            middle = statistics.median(known)
            self.ratios.append(Ratio(self.section, name, middle, min(known), max(known), target, below, by_time))
        else:
            self.missing(name, "nothing was measured")

    def figure(self, name: str, text: str) -> None:
        """Add a figure."""
        self.figures.append(Figure(self.section, name, text))

    def missing(self, name: str, why: str) -> None:
        """Add what could not be measured; names with the same reason share a line."""
        text = " ".join(why.split())[:200]
        for at, other in enumerate(self.absent):
            if (other.section, other.text) == (self.section, text):
                self.absent[at] = Figure(self.section, f"{other.name}, {name}", text)
                return
        self.absent.append(Figure(self.section, name, text))

    def text(self) -> str:
        """Return everything as a table for people."""
        lines = [f"{'RATIOS':<62}{'median':>8}  {'min .. max':<17}{'by time':<8}target"]
        section = None
        for ratio in self.ratios:
            if ratio.section != section:
                section = ratio.section
                lines.append(section)
            spread = f"{_short(ratio.minimum)} .. {_short(ratio.maximum)}"
            target = ""
            if ratio.target is not None:
                target = f"{'under' if ratio.below else 'least'} {ratio.target:g}{'  MISSED' if ratio.missed else ''}"
            by_time = "" if ratio.by_time is None else _short(ratio.by_time)
            lines.append(f"  {ratio.name:<60}{_short(ratio.median):>8}  {spread:<17}{by_time:<8}{target}".rstrip())
        lines += _listed("FIGURES (medians of the rounds)", self.figures)
        lines += _listed("NOT AVAILABLE", self.absent)
        return "\n".join(lines)

    def write(self, path: Path) -> None:
        """Write the same as JSON."""
        ratios = [{**asdict(ratio), "missed": ratio.missed} for ratio in self.ratios]
        made = {
            "ratios": ratios,
            "figures": [asdict(figure) for figure in self.figures],
            "not_available": [asdict(figure) for figure in self.absent],
        }
        path.write_text(json.dumps(made, indent=1) + "\n", encoding="utf-8")


def _listed(title: str, figures: Sequence[Figure]) -> list[str]:
    lines = ["", title] if figures else []
    section = None
    for figure in figures:
        if figure.section != section:
            section = figure.section
            lines.append(section)
        lines.append(
            f"  {figure.name:<42}{figure.text}" if len(figure.name) < 42 else f"  {figure.name}: {figure.text}"
        )
    return lines


def _short(value: float) -> str:
    return f"{value:.2f}" if abs(value) < 100 else f"{value:.0f}"


def median(values: Sequence[float]) -> float:
    """Return the median; nan of nothing."""
    return statistics.median(values) if values else float("nan")
