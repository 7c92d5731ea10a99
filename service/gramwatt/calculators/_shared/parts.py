"""Parts and what they weigh, as mass-margin and build ask for them."""

from dataclasses import dataclass
from typing import Annotated, Any, Final, TypeAlias

import numpy as np

from gramwatt.model import (
    Array,
    Assumption,
    Caution,
    Choice,
    Count,
    IndexArray,
    Quantity,
    Reference,
    StandardUncertainty,
    StringArray,
    Text,
)
from gramwatt.physics import statistics, weighing

MASS: Final = Quantity("g", "Mass of one piece as read.", at_least=0, at_most=1e6)


@dataclass(frozen=True, slots=True)
class Part:
    """One line of the parts list."""

    name: Annotated[StringArray, Text("What it is.", default="part")]
    mass: Annotated[Array, MASS]
    count: Annotated[Array, Count("How many such pieces.", at_least=1, at_most=1000, default=1)]
    mass_u: Annotated[Array, StandardUncertainty(of="mass")]


Rule: TypeAlias = Annotated[
    IndexArray,
    Choice(
        weighing.RULES,
        "Whose limit: custom (limit and comparison as given); us-14cfr48 (0.55 lb or less); eu-c0 (less than 250 g).",
        default="custom",
    ),
]
Limit: TypeAlias = Annotated[
    Array, Quantity("g", "Greatest mass, for rule custom.", above=0, at_most=1e6, optional=True)
]
Comparison: TypeAlias = Annotated[
    IndexArray,
    Choice(
        weighing.COMPARISONS,
        "Whether the limit itself is still allowed (at_most) or not (below), for rule custom.",
        optional=True,
    ),
]
Resolution: TypeAlias = Annotated[
    Array, Quantity("g", "Step of the scale's display.", at_least=0, at_most=1000, default=1)
]

LIMITS: Final[tuple[Assumption[Any], ...]] = (
    Assumption("limit", "the rule's limit; 250 g for rule custom", lambda given: weighing.RULE_LIMIT[given.rule]),
    Assumption(
        "comparison",
        "the rule's comparison; below for rule custom",
        lambda given: weighing.RULE_COMPARISON[given.rule],
    ),
)
RULE_SETS_LIMIT: Final[Caution[Any, Any]] = Caution(
    "rule-sets-limit",
    "The named rule sets limit and comparison; those given with it were not used.",
    when=lambda given, found: weighing.rule_overrides(given.rule, given.limit, given.comparison),
)
ALL_ON_BOARD: Final[Caution[Any, Any]] = Caution(
    "all-on-board",
    "The limit counts everything that leaves the ground: pack, straps, screws, camera, its card and filters, stickers.",
)


def laws(*about: str) -> tuple[Reference, ...]:
    """The two rules' texts."""
    return (
        Reference(
            "14 CFR 48.15(b), United States, in force since 2015, text as quoted in 2026: 0.55 pounds or less on "
            "take-off, everything on board included, needs no registration mark when flown for recreation",
            url="https://www.ecfr.gov/current/title-14/section-48.15",
            about=about,
        ),
        Reference(
            "Commission Delegated Regulation (EU) 2019/945 of 12 March 2019, Annex, Part 1 (1), text as quoted in "
            "2026: class C0 has a maximum take-off mass of less than 250 g, payload included",
            url="https://eur-lex.europa.eu/eli/reg_del/2019/945/oj",
            about=about,
        ),
    )


def display_variance(multiples: Array, resolution: Array) -> Array:
    """Variance (N,) [kg2] that a scale's display leaves in a sum of readings, counted ``multiples`` (N, M) times."""
    return np.asarray((multiples**2).sum(axis=1) * statistics.reading_uncertainty(resolution) ** 2)


def stated_variance(multiples: Array, stated: Array) -> Array:
    """Variance (N,) [kg2] of the +/- given with the masses (N, M)."""
    return np.asarray(((multiples * stated) ** 2).sum(axis=1))
