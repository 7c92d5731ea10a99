"""Compare a mass with a limit, within the uncertainty of the scale."""

from typing import Annotated, Final, NamedTuple

import numpy as np

from gramwatt.arrays import Array, BoolArray, IndexArray, Unit
from gramwatt.physics import constants, statistics

RULES: Final = (
    "custom",
    "us-registration",
    "eu-registration",
    "eu-a1-privately-built",
    "eu-a3-privately-built",
)
CUSTOM, US_REGISTRATION, EU_REGISTRATION, EU_A1, EU_A3 = range(5)
COMPARISONS: Final = ("below", "at-most")
VERDICTS: Final = ("under", "over", "too-close-to-call")
UNDER: Final = VERDICTS.index("under")
OVER: Final = VERDICTS.index("over")
TOO_CLOSE: Final = VERDICTS.index("too-close-to-call")
RULE_LIMIT: Final[Annotated[Array, Unit("kg")]] = np.array([0.250, 0.55 * constants.POUND, 0.250, 0.250, 25.0])
"""Limit by rule, for custom the default.

0.55 lb: 14 CFR 48.15(b). 250 g: Regulation (EU) 2019/947, Art. 14 and UAS.OPEN.020(5)(a). 25 kg: UAS.OPEN.040(4)(a).
"""
RULE_COMPARISON: Final = np.array([COMPARISONS.index(word) for word in ("below", "at-most", "below", "below", "below")])
A1_SPEED: Final[Annotated[float, Unit("m/s")]] = 19.0
"""(EU) 2019/947, UAS.OPEN.020(5)(a): the maximum speed of a privately built aircraft in A1 is less than this."""
REGISTRATION_ENERGY: Final[Annotated[float, Unit("J")]] = 80.0
"""(EU) 2019/947, Art. 14: the operator registers where an impact can transfer more than this to a person."""
COVERAGE_FACTOR: Final = 2.0


def limit_in_force(rule: IndexArray, limit: Array, comparison: IndexArray) -> tuple[Array, BoolArray]:
    """Return the limit (N,) [kg] and whether it is itself allowed (N,): those of a named rule, or the custom ones."""
    custom = rule == CUSTOM
    inclusive = np.where(custom, comparison, RULE_COMPARISON[rule]) == COMPARISONS.index("at-most")
    return np.where(custom, limit, RULE_LIMIT[rule]), np.asarray(inclusive)


def rule_overrides(rule: IndexArray, limit: Array, comparison: IndexArray) -> BoolArray:
    """Return where (N,) a named rule replaces a limit or a comparison that was given with it."""
    expected = RULE_LIMIT[rule]
    same = (np.abs(limit - expected) <= 1e-5 * expected) & (comparison == RULE_COMPARISON[rule])
    return np.asarray((rule != CUSTOM) & ~same)


class LimitComparison(NamedTuple):
    """A mass compared with a limit; arrays of one shape."""

    margin: Array
    """Limit less mass [kg]."""
    expanded_uncertainty: Array
    """Expanded uncertainty of the mass, k = 2 [kg]."""
    verdict: IndexArray
    """Index into `VERDICTS`."""
    probability: Array
    """Probability that the true mass meets the limit."""


def compare_with_limit(
    total: Array, standard_uncertainty: Array, limit: Array, inclusive: BoolArray
) -> LimitComparison:
    """Compare a mass with a limit.

    Parameters
    ----------
    total, standard_uncertainty : any shape
        Mass and its standard uncertainty [kg].
    limit : any shape that broadcasts
        Limit [kg].
    inclusive : shape of the limit
        Whether the limit itself is allowed.

    Returns
    -------
    LimitComparison
        Under or over where the margin is at least the expanded uncertainty, else too close to call. Without any
        uncertainty the comparison alone decides, also at the limit itself. The probability is that of a normal variable
        about the total.
    """
    margin = limit - total
    margin = np.where(np.abs(margin) <= 1e-12 * limit, 0.0, margin)  # sums of decimals may be a last bit off the limit
    expanded_uncertainty = COVERAGE_FACTOR * standard_uncertainty
    under = (margin >= expanded_uncertainty) & (inclusive | (margin > 0))
    over = (-margin >= expanded_uncertainty) & (~inclusive | (margin < 0))
    verdict = np.where(under, UNDER, np.where(over, OVER, TOO_CLOSE))
    with np.errstate(all="ignore"):
        deviations = np.where(standard_uncertainty > 0, margin / standard_uncertainty, np.where(under, np.inf, -np.inf))
    return LimitComparison(margin, expanded_uncertainty, verdict, statistics.normal_probability(deviations))
