"""What a set of options must meet, and what is preferred, as inputs."""

from typing import Annotated, TypeAlias

from gramwatt.calculators._shared import pack_fields, set_problem
from gramwatt.model import Array, Choice, Count, Group, IndexArray, Quantity

Preference: TypeAlias = Annotated[
    IndexArray,
    Choice(
        set_problem.PREFERENCES,
        "What the best set has most of; for price, least of.",
        label="Prefer",
        group=Group.WEIGHT,
        option_labels=("flight time", "thrust-to-weight", "mass margin", "a low price"),
        default="endurance",
    ),
]
MinimumEndurance: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "min", "Flight time that is needed.", label="Minimum flight time", group=Group.FLIGHT, at_most=1e4
    ),
]
MinimumThrustToWeight: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "1",
        "Thrust over weight at the throttle cap that is needed.",
        label="Minimum thrust-to-weight",
        group=Group.FLIGHT,
        at_most=100,
    ),
]
MinimumProbability: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Probability of meeting the mass limit that is needed; default: that the verdict is under.",
        label="Minimum probability",
        group=Group.WEIGHT,
        at_least=50,
        at_most=99.99,
        optional=True,
    ),
]
MaximumRatingShare: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Share of the continuous ratings of pack and controllers that the current at the throttle cap may take.",
        label="Maximum share of ratings",
        group=Group.FLIGHT,
        above=0,
        at_most=1000,
        default=100,
    ),
]
MaximumPrice: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "1",
        "Price that all options together may have, in the currency of the prices.",
        label="Maximum price",
        group=Group.WEIGHT,
        at_most=1e9,
    ),
]
RankingLength: TypeAlias = Annotated[
    Array,
    Count(
        "Sets to list in the ranking, and swaps to list.",
        label="Sets to list",
        group=Group.WEIGHT,
        at_least=1,
        at_most=200,
        default=10,
    ),
]
