"""An invented calculator that searches: the smallest pair of gears for a ratio of speeds.

Its functions are those of a module, so that other processes can import them, as they can those of a calculator's file.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from gramwatt.blocks import map_blocks
from gramwatt.model import (
    Array,
    Assumption,
    BoolArray,
    Calculator,
    Caution,
    Count,
    CurveChart,
    Decided,
    Example,
    LinesChart,
    ObjectArray,
    Quantity,
    Reference,
    Rule,
    Sentence,
    TracedLine,
)

FEWEST = 8
"""Teeth of the smallest gear."""


@dataclass(frozen=True, slots=True)
class Gears:
    """A pair of gears, and whether its ratio is within the tolerance."""

    driving: int
    driven: int
    fits: bool

    @property
    def size(self) -> tuple[int, int]:
        """What is preferred: few teeth in all, then a small driving gear."""
        return self.driving + self.driven, self.driving


def find_smallest(ratio: float, tolerance: float, teeth: Array, driving: int) -> Gears | None:
    """Return the smallest pair with this driving gear within the tolerance; a block of the search."""
    errors = np.abs(teeth / driving / ratio - 1)
    at = int((errors <= tolerance).argmax())
    return Gears(driving, int(teeth[at]), fits=True) if errors[at] <= tolerance else None


def find_gears(given: Inputs) -> ObjectArray:
    """Return the smallest pair for each request, the largest gears where no pair fits."""
    found = np.empty(len(given.speed), dtype=np.object_)
    ratios = given.speed / given.target_speed
    for at, (ratio, tolerance, most) in enumerate(zip(ratios, given.tolerance, given.most_teeth, strict=True)):
        teeth = np.arange(FEWEST, most + 1)
        search = functools.partial(find_smallest, float(ratio), float(tolerance), teeth)
        pairs = [pair for pair in map_blocks(search, range(FEWEST, int(most) + 1)) if pair is not None]
        found[at] = min(pairs, key=lambda pair: pair.size, default=Gears(int(most), int(most), fits=False))
    return found


@dataclass(frozen=True, slots=True)
class Inputs:
    """Two speeds, and what gears there are."""

    speed: Annotated[Array, Quantity("rpm", "Speed of the driving gear.", at_least=1, at_most=1e5)]
    target_speed: Annotated[Array, Quantity("rpm", "Speed of the driven gear.", at_least=1, at_most=1e5, optional=True)]
    tolerance: Annotated[Array, Quantity("%", "Error of the ratio.", at_least=0, at_most=50, default=1)]
    most_teeth: Annotated[Array, Count("Teeth of the largest gear.", at_least=FEWEST, at_most=4000, default=40)]
    gears: Annotated[ObjectArray, Decided("The smallest pair.", value=find_gears)]


@dataclass(frozen=True, slots=True)
class Results:
    """The speed that they give, and the gears."""

    output_speed: Annotated[
        Array, Quantity("rpm", "Speed of the driven gear.", formula="speed * driving_teeth / driven_teeth")
    ]
    driving_teeth: Annotated[Array, Quantity("1", "Teeth of the driving gear.", method="search")]
    driven_teeth: Annotated[Array, Quantity("1", "Teeth of the driven gear.", method="search over `teeth_in_all`")]


@dataclass(frozen=True, slots=True)
class Steps:
    """What lies between."""

    teeth_in_all: Annotated[Array, Quantity("1", "Teeth of both gears.")]


def invented_gears(given: Inputs) -> Results:
    """Find the smallest pair of gears within a tolerance of a ratio of speeds. It ignores losses."""
    driving, driven = (np.array([getattr(gears, name) for gears in given.gears]) for name in ("driving", "driven"))
    fits = np.array([gears.fits for gears in given.gears])
    speed = np.where(fits, given.speed * driving / driven, np.nan)
    return Results(speed, driving.astype(np.float64), driven.astype(np.float64))


def add_teeth(given: Inputs, results: Results) -> Steps:
    """Add the teeth of both gears."""
    return Steps(np.array([gears.driving + gears.driven for gears in given.gears], dtype=np.float64))


def _fits(given: Inputs, results: Results) -> BoolArray:
    return np.array([gears.fits for gears in given.gears])


def _trace(given: Inputs, results: Results) -> tuple[TracedLine, ...]:
    gears = given.gears[0]
    speeds = np.linspace(0, 2 * given.speed[0], 3)
    return (TracedLine(f"{gears.driving} to {gears.driven}", speeds, speeds * gears.driving / gears.driven),)


CALCULATOR: Calculator[Inputs, Results] = Calculator(
    title="Which gears?",
    summary="The smallest pair of gears for a ratio of speeds.",
    inputs=Inputs,
    results=Results,
    formula=invented_gears,
    steps=add_teeth,
    assumptions=(Assumption("target_speed", "half the speed", lambda given: given.speed / 2),),
    references=(Reference("By hand."),),
    sentences=(
        Sentence("{driving_teeth} to {driven_teeth} teeth.", when=_fits, verdict="good"),
        Sentence("No pair fits.", verdict="bad"),
    ),
    cautions=(
        Caution("losses-ignored", "Losses are ignored."),
        Caution("undercut", "Gears below 17 teeth may be undercut.", when=lambda g, r: _teeth(g) < 34),
    ),
    rules=(
        Rule("no-pair", "No pair fits: allow more teeth.", results=("output_speed",), when=lambda g, r: ~_fits(g, r)),
    ),
    charts=(
        LinesChart(_trace, x="speed", y="output_speed", title="Output against speed"),
        CurveChart(
            "speed",
            ("output_speed",),
            start=lambda g, r: g.speed * g.gears[0].driving / g.gears[0].driven,
            stop=lambda g, r: g.speed,
            title="Output of the smallest pair",
        ),
    ),
    examples=(
        Example(
            "Two to three",
            given={"speed": 900, "target_speed": 600},
            expected={"output_speed": 600, "driving_teeth": 8},
            rtol=1e-12,
            source="by hand: 8/12",
        ),
        Example(
            "Few teeth",
            given={"speed": 900, "target_speed": 620, "tolerance": 6, "most_teeth": 12},
            expected={"driven_teeth": 11},
            rtol=1e-12,
            source="by hand: 11/8 is 5 % below 900/620",
        ),
    ),
)


def _teeth(given: Inputs) -> Array:
    return np.array([gears.driving + gears.driven for gears in given.gears])
