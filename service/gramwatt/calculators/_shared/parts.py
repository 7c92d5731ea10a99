"""Parts, limits and scales as inputs, and the uncertainty of a sum of readings."""

from dataclasses import dataclass
from typing import Annotated, Any, Final, TypeAlias

import numpy as np

from gramwatt.calculators._shared import plausible
from gramwatt.model import (
    Array,
    Assumption,
    BoolArray,
    Caution,
    Choice,
    Count,
    Display,
    Group,
    IndexArray,
    Quantity,
    Reference,
    StandardUncertainty,
    StringArray,
    Table,
    Text,
)
from gramwatt.physics import statistics, weighing

WEIGHING_METHODS: Final = ("each", "together")
WEIGHING_METHOD_NAMES: Final = ("each part by itself", "all together")
RULE_NAMES: Final = (
    "a limit of your own",
    "US registration: 0.55 lb or less",
    "EU registration: below 250 g",
    "EU A1, own build: below 250 g",
    "EU A3, own build: below 25 kg",
)


def _is_read_alone(given: Any) -> BoolArray:
    """Return whether (N,) each mass was read by itself; so it is without the input ``weighing_method``."""
    methods = getattr(given, "weighing_method", np.zeros(1, dtype=np.intp))
    return np.asarray(methods == WEIGHING_METHODS.index("each"))


DISPLAY: Final = Display("scale_resolution", applies=_is_read_alone)
MASS: Final = Quantity("g", "Mass of one piece, as read.", at_least=0, at_most=1e6, display=DISPLAY)


@dataclass(frozen=True, slots=True)
class Part:
    """One line of the parts list."""

    name: Annotated[StringArray, Text("Name of the part.", default="part")]
    mass: Annotated[Array, MASS]
    count: Annotated[Array, Count("Number of such pieces.", at_least=1, at_most=1000, default=1)]
    mass_u: Annotated[Array, StandardUncertainty(of="mass")]


PartsWithoutPack: TypeAlias = Annotated[
    Part,
    Table(
        Part,
        "Parts without the pack: name, mass, count.",
        label="Parts",
        group=Group.WEIGHT,
        max_length=500,
        optional=True,
        row_label="part",
    ),
]
DryMass: TypeAlias = Annotated[
    Array,
    Quantity(
        "g",
        "Mass without the pack, or of everything that is not in the parts.",
        label="Mass without pack",
        group=Group.WEIGHT,
        at_least=0,
        at_most=1e5,
        optional=True,
        display=DISPLAY,
        synonyms=("dry_weight", "empty_weight"),
        plausible=plausible.DRY_MASS,
    ),
]
Rule: TypeAlias = Annotated[
    IndexArray,
    Choice(
        weighing.RULES,
        "Rule that sets the limit: custom (limit and comparison below); us-registration (14 CFR 48.15(b): 0.55 lb or "
        "less, recreation only); eu-registration ((EU) 2019/947, Art. 14: less than 250 g); eu-a1-privately-built "
        "(subcategory A1: less than 250 g); eu-a3-privately-built (subcategory A3: less than 25 kg).",
        option_labels=RULE_NAMES,
        group=Group.WEIGHT,
        default="custom",
    ),
]
MassLimit: TypeAlias = Annotated[
    Array,
    Quantity(
        "g",
        "Maximum mass, for a custom rule.",
        label="Mass limit",
        group=Group.WEIGHT,
        above=0,
        at_most=1e6,
        optional=True,
        synonyms=("limit", "weight_limit", "max_mass", "mtom"),
    ),
]
LimitComparison: TypeAlias = Annotated[
    IndexArray,
    Choice(
        weighing.COMPARISONS,
        "Whether the limit itself is allowed (at-most) or not (below), for a custom rule.",
        option_labels=("less than the limit", "the limit or less"),
        label="Limit comparison",
        group=Group.WEIGHT,
        optional=True,
        synonyms=("comparison",),
    ),
]
ScaleResolution: TypeAlias = Annotated[
    Array,
    Quantity(
        "g",
        "Step of the scale's display.",
        label="Scale step",
        group=Group.WEIGHT,
        at_least=0,
        at_most=1000,
        default=1,
        synonyms=("resolution", "readability"),
    ),
]

LIMITS: Final[tuple[Assumption[Any], ...]] = (
    Assumption(
        "mass_limit", "the limit of the rule; 250 g for a custom rule", lambda given: weighing.RULE_LIMIT[given.rule]
    ),
    Assumption(
        "limit_comparison",
        "the comparison of the rule; below for a custom rule",
        lambda given: weighing.RULE_COMPARISON[given.rule],
    ),
)
RULE_SETS_LIMIT: Final[Caution[Any, Any]] = Caution(
    "rule-sets-limit",
    "The chosen rule sets limit and comparison; those that were given with it were not used.",
    when=lambda given, found: weighing.rule_overrides(given.rule, given.mass_limit, given.limit_comparison),
)
LIMIT_ASSUMED: Final[Caution[Any, Any]] = Caution(
    "limit-assumed",
    "No limit was given: {mass_limit} is assumed.",
    when=lambda given, found: given.rule == weighing.CUSTOM,
    severity="low",
    assumed="mass_limit",
)
ALL_ON_BOARD: Final[Caution[Any, Any]] = Caution(
    "all-on-board",
    "The limit includes everything that leaves the ground: pack, straps, screws, camera with card and filters, "
    "stickers.",
    severity="low",
)


US_REGISTRATION: Final[Caution[Any, Any]] = Caution(
    "us-registration",
    "14 CFR 48.15(b), as amended by 86 FR 4504 of 15 January 2021: an aircraft that weighs 0.55 lb (249.476 g) or less "
    "on take-off needs no registration only if it is operated exclusively as 49 U.S.C. 44809 has it (limited "
    "recreational operations). Flown for anything else, it is registered at any mass.",
    when=lambda given, found: given.rule == weighing.US_REGISTRATION,
)
EU_REGISTRATION: Final[Caution[Any, Any]] = Caution(
    "eu-registration",
    "(EU) 2019/947, Art. 14: the operator registers for an aircraft of 250 g or more. Below that the operator still "
    "registers if the aircraft can transfer more than 80 J to a person in an impact, or carries a sensor able to "
    "capture personal data, such as a camera (toys under Directive 2009/48/EC apart).",
    when=lambda given, found: given.rule == weighing.EU_REGISTRATION,
)
EU_A1: Final[Caution[Any, Any]] = Caution(
    "eu-a1-privately-built",
    "(EU) 2019/947, UAS.OPEN.020(5)(a): a privately built aircraft may fly in subcategory A1 if its take-off mass, "
    "payload included, is less than 250 g and its maximum speed is less than 19 m/s. Registration is a rule of its "
    "own: see eu-registration.",
    when=lambda given, found: given.rule == weighing.EU_A1,
)
EU_A3: Final[Caution[Any, Any]] = Caution(
    "eu-a3-privately-built",
    "(EU) 2019/947, UAS.OPEN.040(4)(a): a privately built aircraft may fly in subcategory A3 if its take-off mass, "
    "payload included, is less than 25 kg. The subcategory also sets conditions on where it may fly.",
    when=lambda given, found: given.rule == weighing.EU_A3,
)
NO_CLASS_LABEL: Final[Caution[Any, Any]] = Caution(
    "no-class-label",
    "The classes of (EU) 2019/945, C0 among them, are labels of products on the market. Art. 2 excepts privately built "
    "aircraft, so no class applies to what you build yourself.",
    severity="low",
    when=lambda given, found: given.rule >= weighing.EU_REGISTRATION,
)
RULE_CONDITIONS: Final = (US_REGISTRATION, EU_REGISTRATION, EU_A1, EU_A3, NO_CLASS_LABEL)
"""What each rule is a limit of, and what else it requires."""


def laws(*about: str) -> tuple[Reference, ...]:
    """Return the sources of the named rules."""
    return (
        Reference(
            "us-registration: 14 CFR 48.15(b), United States, as amended by 86 FR 4504 of 15 January 2021, eCFR of "
            "April 2026: no registration of an aircraft of 0.55 pounds or less on take-off, everything on board or "
            "attached included, that is operated exclusively in compliance with 49 U.S.C. 44809 (limited recreational "
            "operations)",
            url="https://www.ecfr.gov/current/title-14/section-48.15",
            about=about,
        ),
        Reference(
            "eu-registration: Commission Implementing Regulation (EU) 2019/947, Art. 14: the operator registers for an "
            "aircraft of 250 g or more, or of more than 80 J in an impact, or with a sensor able to capture personal "
            "data unless it is a toy under Directive 2009/48/EC",
            url="https://eur-lex.europa.eu/eli/reg_impl/2019/947/oj",
            about=about,
        ),
        Reference(
            "eu-a1-privately-built and eu-a3-privately-built: Commission Implementing Regulation (EU) 2019/947, "
            "UAS.OPEN.020(5)(a) and UAS.OPEN.040(4)(a), as the public FAQ of the European Union Aviation Safety "
            "Agency states them: less than 250 g and less than 19 m/s; less than 25 kg",
            url="https://eur-lex.europa.eu/eli/reg_impl/2019/947/oj",
            about=about,
        ),
        Reference(
            "Commission Delegated Regulation (EU) 2019/945 of 12 March 2019, Art. 2: the classes of products, C0 among "
            "them, except privately built aircraft",
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
    return np.asarray(readings * statistics.reading_uncertainty(given.scale_resolution) ** 2 + stated)
