"""Parts, limits and scales as inputs, and the uncertainty of a sum of readings."""

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

MASS: Final = Quantity("g", "Mass of one piece, as read.", at_least=0, at_most=1e6)


@dataclass(frozen=True, slots=True)
class Part:
    """One line of the parts list."""

    name: Annotated[StringArray, Text("Name of the part.", default="part")]
    mass: Annotated[Array, MASS]
    count: Annotated[Array, Count("Number of such pieces.", at_least=1, at_most=1000, default=1)]
    mass_u: Annotated[Array, StandardUncertainty(of="mass")]


Rule: TypeAlias = Annotated[
    IndexArray,
    Choice(
        weighing.RULES,
        "Rule that sets the limit: custom (limit and comparison below); us-14cfr48 (0.55 lb or less); eu-c0 (less than "
        "250 g).",
        default="custom",
    ),
]
Limit: TypeAlias = Annotated[
    Array, Quantity("g", "Maximum mass, for a custom rule.", above=0, at_most=1e6, optional=True)
]
Comparison: TypeAlias = Annotated[
    IndexArray,
    Choice(
        weighing.COMPARISONS,
        "Whether the limit itself is allowed (at_most) or not (below), for a custom rule.",
        optional=True,
    ),
]
Resolution: TypeAlias = Annotated[
    Array, Quantity("g", "Step of the scale's display.", at_least=0, at_most=1000, default=1)
]

LIMITS: Final[tuple[Assumption[Any], ...]] = (
    Assumption(
        "limit", "the limit of the rule; 250 g for a custom rule", lambda given: weighing.RULE_LIMIT[given.rule]
    ),
    Assumption(
        "comparison",
        "the comparison of the rule; below for a custom rule",
        lambda given: weighing.RULE_COMPARISON[given.rule],
    ),
)
RULE_SETS_LIMIT: Final[Caution[Any, Any]] = Caution(
    "rule-sets-limit",
    "The chosen rule sets limit and comparison; those that were given with it were not used.",
    when=lambda given, found: weighing.rule_overrides(given.rule, given.limit, given.comparison),
)
ALL_ON_BOARD: Final[Caution[Any, Any]] = Caution(
    "all-on-board",
    "The limit includes everything that leaves the ground: pack, straps, screws, camera with card and filters, "
    "stickers.",
)


def laws(*about: str) -> tuple[Reference, ...]:
    """Return the sources of the two named rules."""
    return (
        Reference(
            "14 CFR 48.15(b), United States, as amended by 86 FR 4504 of 15 January 2021, text of April 2026: no "
            "registration of an aircraft of 0.55 pounds or less on take-off, everything on board included, that is "
            "flown under 49 U.S.C. 44809 (recreation) only",
            url="https://www.ecfr.gov/current/title-14/section-48.15",
            about=about,
        ),
        Reference(
            "Commission Delegated Regulation (EU) 2019/945 of 12 March 2019, Annex, Part 1 (1), text of 2026: products "
            "of class C0 have a maximum take-off mass of less than 250 g, payload included; privately built aircraft "
            "are outside the classes (Art. 2)",
            url="https://eur-lex.europa.eu/eli/reg_del/2019/945/oj",
            about=about,
        ),
    )


def display_variance(multiples: Array, resolution: Array) -> Array:
    """Compute the variance (N,) [kg²] by the display of a scale of a sum of readings times ``multiples`` (N, M)."""
    return np.asarray((multiples**2).sum(axis=1) * statistics.reading_uncertainty(resolution) ** 2)


def stated_variance(multiples: Array, stated: Array) -> Array:
    """Compute the variance (N,) [kg²] by the uncertainties given with masses (N, M), times ``multiples`` (N, M)."""
    return np.asarray(((multiples * stated) ** 2).sum(axis=1))


def variance_with_pack(given: Any) -> Array:
    """Return the variance (N,) [kg²] of parts, dry mass and a pack, without the stated uncertainty of the pack."""
    weighed = np.isfinite(given.dry_mass)
    readings = (given.parts.count**2).sum(axis=1) + weighed + 1  # of the parts, the dry mass, the pack
    stated = stated_variance(given.parts.count, given.parts.mass_u) + np.where(weighed, given.dry_mass_u**2, 0.0)
    return np.asarray(readings * statistics.reading_uncertainty(given.resolution) ** 2 + stated)
