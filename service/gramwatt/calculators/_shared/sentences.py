"""Headlines in words: those that several calculators share, and those of the longer files."""

import dataclasses
from collections.abc import Callable
from typing import Any, Final

import numpy as np

from gramwatt.calculators._shared import drivetrain, whole_craft
from gramwatt.model import BoolArray, Sentence
from gramwatt.physics import weighing

CLOSE_TO_RATING: Final = 0.8
"""Share of a rating from which a load is called close to it. Rule of thumb, no source: labels often overstate."""


def judge_rating(
    load: str, share: str, of_what: str, details: tuple[str, ...], used: Callable[[Any], Any]
) -> tuple[Sentence[Any, Any], ...]:
    """Return the sentences about a load beside a rating: over it, close to it, within it.

    ``load`` begins the sentence, ``share`` is the result that says how much of the rating is used, ``used`` gets it.
    """

    def is_over(given: Any, found: Any) -> BoolArray:
        return used(found) > 1  # type: ignore[no-any-return]

    def is_close(given: Any, found: Any) -> BoolArray:
        return used(found) > CLOSE_TO_RATING  # type: ignore[no-any-return]

    return (
        Sentence(f"{load}: over {of_what}, {{{share}}} of it", details=details, when=is_over, verdict="bad"),
        Sentence(f"{load}: close to {of_what}, {{{share}}} of it", details=details, when=is_close, verdict="close"),
        Sentence(f"{load}: within {of_what}, {{{share}}} of it", details=details, verdict="good"),
    )


PACK_DETAILS: Final = ("{loaded_voltage} under this load, {loaded_cell_voltage} per cell.", "That is {c_rate}.")
PACK_CURRENT: Final[tuple[Sentence[Any, Any], ...]] = (
    *judge_rating(
        "Draws {pack_current}",
        "discharge_rating_share",
        "the pack's rating",
        PACK_DETAILS,
        lambda found: found.discharge_rating_share,
    ),
    Sentence("Draws {pack_current:range}", details=PACK_DETAILS),
)


def _is_grounded(given: Any, found: Any) -> BoolArray:
    """Return where (N,) the craft is fully known and does not hover."""
    known = ~np.isnan(given.mass) & whole_craft.knows_craft(given) & ~drivetrain.is_bench_impossible(given)
    return np.asarray(known & np.isnan(found.hover_throttle))


CANNOT_HOVER: Final[Sentence[Any, Any]] = Sentence(
    "It cannot hover: full throttle does not lift it", when=_is_grounded, verdict="bad"
)

THRUST_DETAILS: Final = (
    "{thrust} of thrust at {rotor_speed}.",
    "It lifts {thrust_to_weight} times its weight and hovers at {hover_throttle} throttle.",
)
FULL_THROTTLE: Final[tuple[Sentence[Any, Any], ...]] = (
    CANNOT_HOVER,
    Sentence(
        "It will not lift off: the throttle cap is below the hover throttle",
        details=THRUST_DETAILS,
        when=lambda given, found: found.hover_throttle > given.throttle_cap,
        verdict="bad",
    ),
    Sentence(
        "{motor_current} per motor: over the controller's rating, {controller_rating_share} of it",
        details=("{pack_current} from the pack.", *THRUST_DETAILS),
        when=lambda given, found: found.controller_rating_share > 1,
        verdict="bad",
    ),
    *judge_rating(
        "Draws {pack_current}",
        "discharge_rating_share",
        "the pack's rating",
        THRUST_DETAILS,
        lambda found: found.discharge_rating_share,
    ),
    Sentence("{thrust} of thrust at {pack_current}", details=THRUST_DETAILS[1:]),
    Sentence("{thrust:range} of thrust"),
)

FLIGHT: Final[Sentence[Any, Any]] = Sentence(
    "Flies {endurance:range}",
    details=("At {mean_power}, until the {ended_by}.", "{energy_used} at {mean_voltage} on average."),
)
OTHER_FLIGHT: Final[Sentence[Any, Any]] = Sentence(
    "Flies {endurance:range}",
    details=("That is {duration_ratio} times as long as the measured flight.", "It draws {mean_power} on average."),
)

HOVER: Final[tuple[Sentence[Any, Any], ...]] = (
    dataclasses.replace(  # without an interference factor the number of motors is impossible, not the hover
        CANNOT_HOVER, when=lambda given, found: _is_grounded(given, found) & ~np.isnan(found.interference_factor)
    ),
    Sentence(
        "Hovers on {hover_power:range}",
        details=(
            "{pack_current} from the pack.",
            "Throttle in hover: {hover_throttle}.",
            "Power loading {power_loading}.",
        ),
    ),
)


def _judge_margin(when: Callable[[Any], BoolArray], *more: str) -> tuple[Sentence[Any, Any], ...]:
    """Return the sentences about a margin where ``when`` holds, with ``more`` details."""
    details = ("{total_mass} in all, give or take {expanded_mass_uncertainty:rough}.", *more)
    return (
        Sentence(
            "Under the limit: {mass_margin:magnitude} below it",
            details=details,
            when=lambda given, found: when(given) & (found.verdict == weighing.UNDER),
            verdict="good",
        ),
        Sentence(
            "Over the limit: {mass_margin:magnitude} above it",
            details=details,
            when=lambda given, found: when(given) & (found.verdict == weighing.OVER),
            verdict="bad",
        ),
        Sentence(
            "Too close to call: {mass_margin:magnitude} from the limit",
            details=(*details, "It is met with a probability of {probability_under_limit}."),
            when=lambda given, found: when(given),
            verdict="close",
        ),
    )


def _is_overridden(given: Any) -> BoolArray:
    """Return where (N,) the limit that was given is not the one in force, so that it must not be named."""
    return weighing.rule_overrides(given.rule, given.mass_limit, given.limit_comparison)


MASS_MARGIN: Final[tuple[Sentence[Any, Any], ...]] = (
    *_judge_margin(_is_overridden),
    *_judge_margin(lambda given: ~_is_overridden(given), "The limit is {mass_limit}."),
)

USED_DETAILS: Final = (
    "{energy_used} in {duration}: {mean_power} on average, {peak_current} at the peak.",
    "The reserve is reached at {landing_time}.",
)
FLIGHT_LOG: Final[tuple[Sentence[Any, Any], ...]] = (
    Sentence(
        "More charge was recorded than the pack held",
        details=(USED_DETAILS[0], "Check the capacity, the charge at take-off and the current sensor."),
        when=lambda given, found: found.end_state_of_charge < 0,
        verdict="bad",
    ),
    Sentence(
        "Flown into the reserve: {end_state_of_charge} left at the end",
        details=USED_DETAILS,
        when=lambda given, found: found.end_state_of_charge < given.reserve,
        verdict="bad",
    ),
    Sentence("Landed with {end_state_of_charge} left, above the reserve", details=USED_DETAILS, verdict="good"),
    Sentence(
        "Used {energy_used} in {duration}",
        details=("{mean_power} on average, {peak_power} and {peak_current} at the peak.",),
    ),
)

POWER_FIT: Final[tuple[Sentence[Any, Any], ...]] = (
    Sentence(
        "Draws {mean_power:range} on average",
        details=(
            "At {mass}; flights used: {flights_used}.",
            "With that pack it flies {endurance}.",
            "Power grows with mass to the power of {mass_exponent}.",
        ),
    ),
)
