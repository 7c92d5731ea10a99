"""Mass of a build against a legal limit, with the uncertainty of the scale."""

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from gramwatt.calculators._shared import fields, mass_steps, sentences
from gramwatt.calculators._shared import parts as shared_parts
from gramwatt.calculators._shared.cautions import CHECK_AUTHORITY
from gramwatt.calculators._shared.parts import MASS, Part
from gramwatt.model import (
    Array,
    BoolArray,
    Calculator,
    Caution,
    Choice,
    Deviate,
    Example,
    Group,
    IndexArray,
    NumberList,
    Quantity,
    Reference,
    Rule,
    StandardUncertainty,
    Table,
    WaterfallChart,
)
from gramwatt.physics import weighing


@dataclass(frozen=True, slots=True)
class Inputs:
    """The parts, with or without names, the limit, and the scale."""

    parts: Annotated[
        Part,
        Table(
            Part,
            "Parts with name, mass and count.",
            group=Group.WEIGHT,
            max_length=500,
            optional=True,
            sum_of=fields.ALL_UP,
            synonyms=("components", "bom"),
            row_label="part",
        ),
    ]
    masses: Annotated[
        Array,
        NumberList(
            MASS,
            "Masses without names, added to the parts if both are given.",
            label="Masses",
            group=Group.WEIGHT,
            max_length=500,
            optional=True,
        ),
    ]
    masses_u: Annotated[Array, StandardUncertainty(of="masses")]
    rule: shared_parts.Rule
    mass_limit: shared_parts.MassLimit
    limit_comparison: shared_parts.LimitComparison
    scale_resolution: shared_parts.ScaleResolution
    weighing_method: Annotated[
        IndexArray,
        Choice(
            shared_parts.WEIGHING_METHODS,
            "Whether the parts were weighed separately or all together.",
            label="How it was weighed",
            group=Group.WEIGHT,
            option_labels=shared_parts.WEIGHING_METHOD_NAMES,
            default="each",
            synonyms=("readings",),
        ),
    ]
    reading_together: Annotated[
        Array, Deviate("Error of one reading of all parts, in steps of the display.", even=True)
    ]
    maximum_speed: Annotated[
        Array,
        Quantity(
            "m/s",
            "Maximum speed, which some rules limit too.",
            group=Group.WEIGHT,
            above=0,
            at_most=200,
            optional=True,
            synonyms=("top_speed", "max_speed"),
        ),
    ]


SUM_OF_PARTS = "sum(parts.mass * parts.count)"
TOTAL = (f"{SUM_OF_PARTS} + sum(masses)", SUM_OF_PARTS, "sum(masses)")
VERDICT = "under or over if the margin exceeds the expanded uncertainty, else too-close-to-call"
PROBABILITY = (
    "that of a standard normal variable to be below `margin_in_uncertainties`; 0 or 100 % where the total is exact"
)


@dataclass(frozen=True, slots=True)
class Results:
    """The margin and the verdict."""

    mass_margin: Annotated[
        Array,
        Quantity(
            "g",
            "Margin below the limit; negative when over.",
            label="Margin below the limit",
            signed=True,
            at_most=1e6,
            formula="limit_in_force - total_mass",
        ),
    ]
    total_mass: Annotated[Array, Quantity("g", "Mass of everything.", label="Total mass", formula=TOTAL)]
    expanded_mass_uncertainty: Annotated[
        Array,
        Quantity(
            "g",
            "Expanded uncertainty (k = 2) of the total, by scale and ±.",
            exact=True,
            formula="2 * sqrt(squared_readings * reading_uncertainty**2 + stated_uncertainty**2)",
        ),
    ]
    verdict: Annotated[
        IndexArray,
        Choice(weighing.VERDICTS, "Under or over the limit, within the uncertainty.", method=VERDICT),
    ]
    probability_under_limit: Annotated[
        Array,
        Quantity(
            "%",
            "Probability that the true mass meets the limit.",
            label="Probability under limit",
            at_most=100,
            exact=True,
            method=PROBABILITY,
        ),
    ]
    running_total_mass: Annotated[
        Array, NumberList(Quantity("g", "Running total."), "Total after each part, in order.", method="cumulative sum")
    ]
    mass_share_by_part: Annotated[
        Array,
        NumberList(
            Quantity("%", "Share.", at_most=100), "Share of each part, in order.", method="mass times count over total"
        ),
    ]
    kinetic_energy: Annotated[
        Array,
        Quantity(
            "J",
            "Kinetic energy at the maximum speed.",
            formula="total_mass * maximum_speed**2 / 2",
            needs=("maximum_speed",),
        ),
    ]


def mass_margin(given: Inputs) -> Results:
    """Compute the margin of a build below a mass limit, with the uncertainty by the display of the scale.

    Only the resolution and the stated ± are included, not a scale that reads wrong (check it with a known mass), a
    draught, or a forgotten part. A count multiplies one reading, and so its uncertainty.
    """
    masses = np.concatenate([given.parts.mass * given.parts.count, given.masses], axis=1)
    multiples = np.concatenate([given.parts.count, np.ones_like(given.masses)], axis=1)
    stated = np.concatenate([given.parts.mass_u, given.masses_u], axis=1)
    together = given.weighing_method == shared_parts.WEIGHING_METHODS.index("together")
    parts_sum = masses.sum(axis=1)
    reading_error = np.where(together, given.scale_resolution * given.reading_together, 0.0)
    total = np.maximum(parts_sum + reading_error, 0.0)

    one_reading = np.ones_like(multiples[:, :1])
    display = np.where(
        together,
        shared_parts.display_variance(one_reading, given.scale_resolution),
        shared_parts.display_variance(multiples, given.scale_resolution),
    )
    standard_uncertainty = np.sqrt(display + shared_parts.stated_variance(multiples, stated))
    limit, inclusive = weighing.limit_in_force(given.rule, given.mass_limit, given.limit_comparison)
    compared = weighing.compare_with_limit(total, standard_uncertainty, limit, inclusive)
    return Results(
        mass_margin=compared.margin,
        total_mass=total,
        expanded_mass_uncertainty=compared.expanded_uncertainty,
        verdict=compared.verdict,
        probability_under_limit=compared.probability,
        running_total_mass=np.maximum(np.cumsum(masses, axis=1) + (total - parts_sum)[:, None], 0.0),
        mass_share_by_part=masses / parts_sum[:, None],
        kinetic_energy=total * given.maximum_speed**2 / 2,
    )


def _is_too_fast(given: Inputs, _: Results) -> BoolArray:
    """Return whether (N,) the speed rules out subcategory A1."""
    return np.asarray((given.rule == weighing.EU_A1) & (given.maximum_speed >= weighing.A1_SPEED))


def _has_much_energy(given: Inputs, found: Results) -> BoolArray:
    """Return whether (N,) the energy requires registration."""
    is_eu = given.rule == weighing.EU_REGISTRATION
    return np.asarray(is_eu & (found.kinetic_energy > weighing.REGISTRATION_ENERGY))


CALCULATOR = Calculator(
    title="Will it be under the limit?",
    summary="Total mass of the parts of a build against a limit, with the uncertainty of the scale.",
    inputs=Inputs,
    results=Results,
    formula=mass_margin,
    steps=mass_steps.find_steps,
    category="weigh",
    sentences=sentences.MASS_MARGIN,
    charts=(
        WaterfallChart(
            "running_total_mass",
            table="parts",
            masses="masses",
            total="total_mass",
            limit=lambda given, found: found.total_mass + found.mass_margin,
            title="Mass against the limit",
        ),
    ),
    any_of=(("parts", "masses"),),
    assumptions=shared_parts.LIMITS,
    rules=(
        Rule(
            "nothing-weighed",
            "The total mass is {total_mass}, so no part has a share of it.",
            severity="low",
            when=lambda given, found: found.total_mass == 0,
            results=("mass_share_by_part",),
        ),
    ),
    references=(
        *shared_parts.laws("mass_margin", "verdict", "probability_under_limit"),
        Reference(
            "JCGM 100:2008 (GUM), 4.3.7: a display step d gives a standard uncertainty d/sqrt(12); 6.2.1: expanded "
            "uncertainty with k = 2",
            about=("expanded_mass_uncertainty", "verdict", "probability_under_limit"),
        ),
        Reference("Kinetic energy m v^2 / 2: definition", about=("kinetic_energy",)),
        Reference("NIST SP 811, appendix B.8: 1 lb = 453.592 37 g exactly", about=("mass_margin", "total_mass")),
        Reference("Addition, no source needed", about=("total_mass", "running_total_mass", "mass_share_by_part")),
    ),
    cautions=(
        CHECK_AUTHORITY,
        shared_parts.ALL_ON_BOARD,
        shared_parts.RULE_SETS_LIMIT,
        shared_parts.LIMIT_ASSUMED,
        *shared_parts.RULE_CONDITIONS,
        Caution(
            "above-a1-speed",
            "{maximum_speed} is not less than 19 m/s: subcategory A1 does not allow a privately built aircraft of this "
            "speed, whatever its mass.",
            severity="high",
            when=_is_too_fast,
        ),
        Caution(
            "energy-requires-registration",
            "{kinetic_energy} at the maximum speed is more than 80 J: the operator registers, whatever the mass.",
            severity="high",
            when=_has_much_energy,
        ),
        Caution(
            "too-close-to-call",
            "The margin of {mass_margin} is within the uncertainty of {expanded_mass_uncertainty:rough}: weigh the "
            "finished craft as a whole, or on a finer scale.",
            severity="high",
            when=lambda given, found: found.verdict == weighing.TOO_CLOSE,
        ),
    ),
    examples=(
        Example(
            "Three masses, one of them the pack",
            given={"masses": [118.5, 96.2, 30.8], "mass_limit": 250, "scale_resolution": 0.1},
            expected={"total_mass": 245.5, "mass_margin": 4.5, "expanded_mass_uncertainty": 0.1, "verdict": "under"},
            rtol=1e-12,
            source="by hand: 118.5 + 96.2 + 30.8 = 245.5 g; 2 x 0.1 x sqrt(3/12) = 0.1 g",
        ),
        Example(
            "Exactly at a limit that is allowed",
            given={"masses": [210, 40], "mass_limit": 250, "limit_comparison": "at-most", "scale_resolution": 0},
            expected={"mass_margin": 0, "verdict": "under", "probability_under_limit": 100},
            rtol=1e-12,
            source="by definition: 250 g is at most 250 g",
        ),
        Example(
            "A light craft that is fast enough to need registration",
            given={"masses": [249], "rule": "eu-registration", "maximum_speed": 25.4, "scale_resolution": 0.1},
            expected={"verdict": "under", "kinetic_energy": 80.32242},
            rtol=1e-9,
            source="by hand: 0.249 kg x (25.4 m/s)^2 / 2 = 0.249 x 645.16 / 2 = 80.32242 J",
        ),
        Example(
            "A parts list at the limit",
            given={
                "rule": "eu-a1-privately-built",
                "scale_resolution": "0.1 g",
                "parts": [
                    {"name": "frame", "mass": 38.4},
                    {"name": "motor", "mass": 11.1, "count": 4},
                    {"name": "propeller", "mass": 1.2, "count": 4},
                    {"name": "electronics", "mass": 31.9},
                    {"name": "camera", "mass": 27.6},
                    {"name": "pack", "mass": "102.7 g"},
                ],
            },
            expected={
                "total_mass": 249.8,
                "mass_margin": 0.2,
                "expanded_mass_uncertainty": 0.346410161513775,
                "verdict": "too-close-to-call",
            },
            rtol=1e-9,
            source="by hand: 38.4 + 44.4 + 4.8 + 31.9 + 27.6 + 102.7 = 249.8 g; "
            "2 x 0.1 x sqrt((1 + 16 + 16 + 1 + 1 + 1)/12) = 0.3464 g",
        ),
    ),
)
