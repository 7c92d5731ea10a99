"""Verdicts, headlines, cautions and rules about the length of a screw."""

from typing import Any, Final

import numpy as np

from gramwatt.model import Caution, Rule, Sentence
from gramwatt.physics import screws

VERDICTS: Final = ("no-thread", "too-short", "fits", "too-close", "touches")
VERDICT_NAMES: Final = (
    "does not reach the thread",
    "too little engagement",
    "fits",
    "tip too close to what is behind",
    "touches what is behind",
)
NO_THREAD, TOO_SHORT, FITS, TOO_CLOSE, TOUCHES = range(len(VERDICTS))
OF_LENGTH: Final = ("recommended_length", "longest_fitting_length", "engagement", "engaged_turns", "engagement_ratio")
OF_MASS: Final = ("screw_mass", "total_screw_mass")
OF_MATERIAL: Final = ("by_material.total_screw_mass", "by_material.mass_change")
DETAILS: Final = (
    "Anything from {minimum_length} to {maximum_length} would do; {engaged_turns} turns engage.",
    "The tip stays {tip_clearance} from what is behind it.",
    "{screws} of them: {total_screw_mass:range}.",
)


def _is_shallow(given: Any, found: Any) -> Any:
    wanted = given.minimum_engagement_ratio * found.thread_diameter
    return wanted > given.thread_depth * (1 + 1e-9)


def _fits_none(given: Any, found: Any) -> Any:
    return np.isnan(found.recommended_length)


def _cannot_fit(given: Any, found: Any) -> Any:
    return found.maximum_length < found.minimum_length * (1 - 1e-9)


def _has_no_standard(given: Any, found: Any) -> Any:
    """Return where (N,) the standard of the head does not have this size."""
    return np.isnan(screws.SHORTEST[given.head, given.thread])


SENTENCES: Final[tuple[Sentence[Any, Any], ...]] = (
    Sentence(
        "No screw fits: it would have to be {minimum_length} at least, and {maximum_length} at most",
        details=("Take another thickness of washers, or a deeper thread.",),
        when=_cannot_fit,
        verdict="bad",
    ),
    Sentence(
        "No standard length is between {minimum_length} and {maximum_length}",
        details=("Add washers, give other lengths that you can get, or shorten a screw.",),
        when=_fits_none,
        verdict="bad",
    ),
    Sentence(
        "{thread} × {recommended_length}, but the thread is shallow: {engagement} engaged",
        details=DETAILS,
        when=_is_shallow,
        verdict="close",
    ),
    Sentence("{thread} × {recommended_length} fits: {engagement} engaged", details=DETAILS, verdict="good"),
)

RULES: Final[tuple[Rule[Any, Any], ...]] = (
    Rule(
        "no-length-fits",
        "No length is at least {minimum_length} and at most {maximum_length}.",
        partly="no length fits",
        when=_fits_none,
        results=(*OF_LENGTH, "tip_clearance", *OF_MASS),
    ),
    Rule(
        "nothing-to-weigh",
        "No length fits, so there is none to compare in other materials.",
        partly="no length fits",
        severity="low",
        when=lambda given, found: np.isnan(found.by_material.total_screw_mass),
        results=OF_MATERIAL,
    ),
)

CAUTIONS: Final[tuple[Caution[Any, Any], ...]] = (
    Caution(
        "motor-windings",
        "A motor screw that is too long touches the windings: that can destroy motor and speed controller. Check the "
        "motor maker's drawing, and look from the side before you connect a pack.",
        severity="high",
    ),
    Caution(
        "torque-and-thread-locker",
        "Tighten to the torque that the maker of the part gives. Use thread locker only where that maker allows it, "
        "and not on plastic, which it can crack.",
    ),
    Caution(
        "shallow-thread",
        "The thread is {thread_depth} deep, less than the engagement wanted. Give its maker's word more weight than "
        "this rule.",
        when=_is_shallow,
        severity="high",
    ),
    Caution(
        "engagement-assumed",
        "The engagement wanted, {minimum_engagement}, is a rule of thumb without a source.",
        assumed="minimum_engagement_ratio",
        severity="low",
    ),
    Caution(
        "blind-hole-assumed",
        "No free space behind the thread was given: the hole counts as blind, {thread_depth} deep.",
        when=lambda given, found: given.space_behind_thread == 0,
        assumed="space_behind_thread",
        severity="low",
    ),
    Caution(
        "head-not-in-standard",
        "The standard of the head does not have {thread}. Such screws are sold: measure the head. Its mass is scaled "
        "from M3.",
        when=_has_no_standard,
    ),
    Caution(
        "length-not-in-standard",
        "{thread} × {recommended_length} is not in the standard of the head: it may be hard to find.",
        when=lambda given, found: (
            ~np.isnan(found.recommended_length)
            & ~_has_no_standard(given, found)
            & ~screws.is_standard(given.head, given.thread, found.recommended_length[:, None])[:, 0]
        ),
        severity="low",
    ),
    Caution(
        "head-not-sunk",
        "The first layer is thinner than the countersunk head is high, {thread}: the head bears on the layer below.",
        when=lambda given, found: (
            (given.head == screws.COUNTERSUNK)
            & (given.layers.thickness[:, 0] < screws.HEAD_HEIGHT[given.head, given.thread])
        ),
    ),
    Caution(
        "aluminium-screws",
        "Aluminium screws break and strip at a fraction of the load of steel: none where an arm, a motor or the pack "
        "depends on them.",
        when=lambda given, found: given.screw_material == screws.MATERIALS.index("aluminium"),
        severity="high",
    ),
)
