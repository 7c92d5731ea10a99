"""Is a mass under a limit, as far as the scale can tell."""

from typing import Annotated, Final, NamedTuple

import numpy as np

from gramwatt.arrays import Array, BoolArray, IndexArray, Unit
from gramwatt.physics import statistics

RULES: Final = ("custom", "us-14cfr48", "eu-c0")
COMPARISONS: Final = ("below", "at_most")
VERDICTS: Final = ("under", "over", "too-close-to-call")
TOO_CLOSE: Final = VERDICTS.index("too-close-to-call")
CUSTOM: Final = RULES.index("custom")
RULE_LIMIT: Final[Annotated[Array, Unit("kg")]] = np.array([0.250, 0.55 * 0.45359237, 0.250])
"""0.55 lb (14 CFR 48.15(b)); 250 g (Regulation (EU) 2019/945, class C0); for custom what is assumed without a limit."""
RULE_COMPARISON: Final = np.array([COMPARISONS.index(word) for word in ("below", "at_most", "below")])
COVERAGE: Final = 2.0


def limit_in_force(rule: IndexArray, limit: Array, comparison: IndexArray) -> tuple[Array, BoolArray]:
    """The limit [kg] and whether it is itself allowed, (N,): the named rule's own, or for custom as given."""
    custom = rule == CUSTOM
    inclusive = np.where(custom, comparison, RULE_COMPARISON[rule]) == COMPARISONS.index("at_most")
    return np.where(custom, limit, RULE_LIMIT[rule]), np.asarray(inclusive)


def rule_overrides(rule: IndexArray, limit: Array, comparison: IndexArray) -> BoolArray:
    """Where (N,) a named rule set aside a limit or a comparison that was given with it."""
    expected = RULE_LIMIT[rule]
    same = (np.abs(limit - expected) <= 1e-5 * expected) & (comparison == RULE_COMPARISON[rule])
    return np.asarray((rule != CUSTOM) & ~same)


class Verdict(NamedTuple):
    """Margin [kg], expanded uncertainty [kg] (k = 2), a position in `VERDICTS`, and the probability to be under."""

    margin: Array
    expanded: Array
    verdict: IndexArray
    probability: Array


def judge(total: Array, standard: Array, limit: Array, inclusive: BoolArray) -> Verdict:
    """Judge a total of standard uncertainty ``standard`` [kg] against a limit [kg], all (N,).

    Under or over where the margin is at least the expanded uncertainty, else too close to call; without any
    uncertainty the comparison alone decides, also at the limit itself. The probability is that of a normal variable
    about the total.
    """
    margin = limit - total
    margin = np.where(np.abs(margin) <= 1e-12 * limit, 0.0, margin)  # sums of decimals land a last bit off the limit
    expanded = COVERAGE * standard
    under = (margin >= expanded) & (inclusive | (margin > 0))
    over = (-margin >= expanded) & (~inclusive | (margin < 0))
    verdict = np.where(under, VERDICTS.index("under"), np.where(over, VERDICTS.index("over"), TOO_CLOSE))
    with np.errstate(all="ignore"):
        deviations = np.where(standard > 0, margin / standard, np.where(under, np.inf, -np.inf))
    return Verdict(margin, expanded, verdict, statistics.normal_probability(deviations))
