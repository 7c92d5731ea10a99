"""What was found: ratios with their spread and target, and the figures behind them, as a table or as JSON."""

from __future__ import annotations

import json
import math
import statistics
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Ratio:
    """One comparison: its median over the rounds, least and greatest; what was hoped for; by processor time."""

    section: str
    name: str
    median: float
    least: float
    greatest: float
    target: float | None
    below: bool
    by_cpu: float | None = None

    @property
    def missed(self) -> bool:
        """Whether the median falls short of the target."""
        if self.target is None:
            return False
        return not (self.median < self.target if self.below else self.median >= self.target)


@dataclass(frozen=True, slots=True)
class Figure:
    """A measured figure behind the ratios, as words."""

    section: str
    name: str
    told: str


@dataclass(slots=True)
class Book:
    """Collects as the benchmark goes on."""

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
        by_cpu: float | None = None,
    ) -> None:
        """Note ours / theirs, round by round; the target is a least value, or with ``below`` a value not to reach."""
        rounds = [a / b for a, b in zip(ours, theirs, strict=False) if b]
        self.measure(name, rounds, target, below=below, by_cpu=by_cpu)

    def measure(
        self,
        name: str,
        values: Sequence[float],
        target: float | None = None,
        *,
        below: bool = False,
        by_cpu: float | None = None,
    ) -> None:
        """Note a value of each round that has a target of its own."""
        known = [value for value in values if math.isfinite(value)]
        if known:
            median = statistics.median(known)
            self.ratios.append(Ratio(self.section, name, median, min(known), max(known), target, below, by_cpu))
        else:
            self.missing(name, "nothing was measured")

    def figure(self, name: str, told: str) -> None:
        """Note a figure."""
        self.figures.append(Figure(self.section, name, told))

    def missing(self, name: str, why: str) -> None:
        """Note what could not be measured; the names of what failed alike are told together."""
        told = " ".join(why.split())[:160]
        for at, other in enumerate(self.absent):
            if (other.section, other.told) == (self.section, told):
                self.absent[at] = Figure(self.section, f"{other.name}, {name}", told)
                return
        self.absent.append(Figure(self.section, name, told))

    def text(self) -> str:
        """Everything as one table, for people."""
        lines = [f"{'RATIOS':<66}{'median':>8}  {'min .. max':<17}{'by CPU':<8}target"]
        section = None
        for ratio in self.ratios:
            if ratio.section != section:
                section = ratio.section
                lines.append(section)
            spread = f"{_short(ratio.least)} .. {_short(ratio.greatest)}"
            hoped = ""
            if ratio.target is not None:
                hoped = f"{'under' if ratio.below else 'least'} {ratio.target:g}{'  MISSED' if ratio.missed else ''}"
            cpu = "" if ratio.by_cpu is None else _short(ratio.by_cpu)
            lines.append(f"  {ratio.name:<64}{_short(ratio.median):>8}  {spread:<17}{cpu:<8}{hoped}".rstrip())
        lines += _listed("FIGURES (medians of the rounds)", self.figures)
        lines += _listed("NOT AVAILABLE", self.absent)
        return "\n".join(lines)

    def write(self, path: Path) -> None:
        """The same as JSON."""
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
            f"  {figure.name:<42}{figure.told}" if len(figure.name) < 42 else f"  {figure.name}: {figure.told}"
        )
    return lines


def _short(value: float) -> str:
    return f"{value:.2f}" if abs(value) < 100 else f"{value:.0f}"


def middle(values: Sequence[float]) -> float:
    """The median; nan of nothing."""
    return statistics.median(values) if values else float("nan")
