"""Why results of a setup are missing, and what to know about them: rules and cautions of a table of setups."""

from typing import Any, Final

import numpy as np

from gramwatt.calculators._shared import cautions, drivetrain, setups
from gramwatt.calculators._shared.packs import column
from gramwatt.model import BoolArray, Caution, Rule, Sentence
from gramwatt.physics import cells, weighing


def _results(*names: str) -> tuple[str, ...]:
    return tuple(f"by_setup.{name}" for name in names)


MASS: Final = _results("mass", "mass_margin", "verdict", "probability_under_limit")
HOVER: Final = _results("hover_power", "hover_current", "hover_throttle")
FLIGHT: Final = _results("mean_power", "endurance", "ended_by")
UNCAPPED: Final = _results("thrust", "thrust_to_weight", "pack_current")
AT_CAP: Final = _results(
    "capped_thrust",
    "capped_pack_current",
    "capped_cell_voltage",
    "c_rate",
    "discharge_rating_share",
    "controller_rating_share",
)
CAPPED: Final = (*AT_CAP, *_results("capped_thrust_change_share", "capped_pack_current_change_share"))
MASS_CHANGES: Final = _results("mass_change", "mass_change_share")
RULES: Final[tuple[Rule[Any, Any], ...]] = (
    Rule(
        "bench-point-impossible",
        drivetrain.BENCH_IMPOSSIBLE,
        when=lambda given, found: column(drivetrain.is_bench_impossible(given)) & np.isnan(found.by_setup.thrust),
        results=(*UNCAPPED, "by_setup.throttle_cap", *CAPPED, *HOVER),
        partly=drivetrain.BENCH_PARTLY_IMPOSSIBLE,
    ),
    Rule(
        "no-mass-left",
        "{by_setup.name}: the added mass takes away more than the craft weighs. Check its sign and its unit.",
        when=lambda given, found: np.isnan(found.by_setup.mass),
        results=(*MASS, *MASS_CHANGES, *HOVER, *FLIGHT, *_results("thrust_to_weight")),
        partly="the added mass takes away more than the craft weighs in {by_setup.name}",
    ),
    Rule(
        "does-not-turn",
        "{by_setup.name}: at full throttle the motors do not turn, because the pack cannot drive their no-load current "
        "through the motor resistance.",
        when=lambda given, found: np.isnan(found.by_setup.thrust),
        results=(*UNCAPPED, "by_setup.throttle_cap", *CAPPED, *HOVER),
        partly="the motors do not turn with {by_setup.name}",
    ),
    Rule(
        "matches-itself",
        "{by_setup.name}: the setup to match is the setup itself. Choose another, or give a throttle cap.",
        when=lambda given, found: setups.matches_itself(given),
        results=("by_setup.throttle_cap", *CAPPED),
    ),
    Rule(
        "matched-setup-has-no-cap",
        "{by_setup.name}: the setup to match has no throttle cap of its own. Match one that has, or that flies without "
        "a cap.",
        when=lambda given, found: setups.matches_a_match(given) & ~setups.matches_itself(given),
        results=("by_setup.throttle_cap", *CAPPED),
    ),
    Rule(
        "match-out-of-reach",
        "{by_setup.name}: no throttle matches the other setup, which gives more at its cap than full throttle does "
        "here, or nothing at all. Match them the other way round, or lower the cap of the other.",
        when=lambda given, found: np.isnan(found.by_setup.throttle_cap),
        results=("by_setup.throttle_cap", *CAPPED),
        partly="no throttle of {by_setup.name} matches the other setup",
    ),
    Rule(
        "does-not-turn-capped",
        "{by_setup.name}: at that throttle cap the motors do not turn.",
        when=lambda given, found: np.isnan(found.by_setup.capped_thrust),
        results=CAPPED,
        partly="the motors do not turn at that cap with {by_setup.name}",
    ),
    Rule(
        "none-flies",
        "No setup gives a flight time; see the reasons for each.",
        when=lambda given, found: np.isnan(found.longest_endurance),
        results=("longest_endurance", "longest_setup"),
        partly="no setup gives a flight time",
    ),
    Rule(
        "none-under-limit",
        "No setup that is certainly under the mass limit has a flight time.",
        when=lambda given, found: np.isnan(found.longest_endurance_under_limit),
        results=("longest_endurance_under_limit", "longest_setup_under_limit"),
        partly="no setup that is certainly under the mass limit has a flight time",
    ),
    Rule(
        "cannot-lift",
        "{by_setup.name}: a thrust of {by_setup.thrust} at full throttle does not lift {by_setup.mass}.",
        when=lambda given, found: np.isnan(found.by_setup.hover_throttle),
        results=HOVER,
        partly="full throttle does not lift the craft with {by_setup.name}",
    ),
    Rule(
        "no-mean-power",
        "{by_setup.name}: there is no average power without a hover. Give the average power.",
        when=lambda given, found: np.isnan(found.by_setup.mean_power),
        results=FLIGHT,
        missing=True,
    ),
    Rule(
        "power-beyond-pack",
        "{by_setup.name}: the pack cannot deliver the average power of {by_setup.mean_power}.",
        when=lambda given, found: np.isnan(found.by_setup.endurance),
        results=FLIGHT,
        partly="{by_setup.name} cannot deliver the average power",
    ),
    Rule(
        "no-figures-to-compare",
        "{by_setup.name}: a comparison requires figures of the first setup too; see the reasons for each.",
        when=lambda given, found: _lacks_comparison(found.by_setup),
        results=(
            *MASS_CHANGES,
            *_results(
                "endurance_change",
                "endurance_change_share",
                "capped_thrust_change_share",
                "capped_pack_current_change_share",
            ),
        ),
        partly="{by_setup.name}, or the first setup, has no figures to compare",
        severity="medium",
    ),
    Rule(
        "no-rating",
        "{by_setup.name}: the discharge rating of the pack was not given.",
        when=lambda given, found: np.isnan(setups.pick_pack(given, "discharge_rating")),
        results=_results("discharge_rating_share"),
        severity="low",
        missing=True,
    ),
)


def _lacks_comparison(found: Any) -> BoolArray:
    shares = (found.mass_change_share, found.endurance_change_share, found.capped_thrust_change_share)
    return np.asarray(~np.isfinite(sum(shares)))


LIMITS_EXCEEDED: Final[tuple[Caution[Any, Any], ...]] = (
    Caution(
        "over-limit",
        "{by_setup.name}: {by_setup.mass}, over the mass limit (margin {by_setup.mass_margin}).",
        when=lambda given, found: found.by_setup.verdict == weighing.OVER,
        severity="high",
    ),
    Caution(
        "too-close-to-call",
        "{by_setup.name}: {by_setup.mass}, too close to the mass limit to call (margin {by_setup.mass_margin}). Weigh "
        "the finished craft as a whole.",
        when=lambda given, found: found.by_setup.verdict == weighing.TOO_CLOSE,
        severity="high",
    ),
    Caution(
        cautions.OVER_RATING.code,
        "{by_setup.name}: at {by_setup.throttle_cap} throttle the load is {by_setup.discharge_rating_share} of the "
        "continuous rating of the pack.",
        when=lambda given, found: found.by_setup.discharge_rating_share > 1,
        severity="high",
    ),
    Caution(
        "over-controller-rating",
        "{by_setup.name}: at {by_setup.throttle_cap} throttle a motor draws {by_setup.controller_rating_share} of the "
        "controller's continuous rating.",
        when=lambda given, found: found.by_setup.controller_rating_share > 1,
        severity="high",
    ),
    Caution(
        cautions.BELOW_CUTOFF.code,
        "{by_setup.name}: at {by_setup.throttle_cap} throttle the cells sag to {by_setup.capped_cell_voltage}, below "
        "their cut-off: wear if that lasts, not if it is a dip of a second.",
        when=lambda given, found: (
            found.by_setup.capped_cell_voltage < cells.CUTOFF_VOLTAGE[setups.pick_pack(given, "chemistry")]
        ),
    ),
    Caution(
        "cap-below-hover",
        "{by_setup.name}: throttle cap {by_setup.throttle_cap}, below the hover throttle of {by_setup.hover_throttle}.",
        when=lambda given, found: found.by_setup.hover_throttle > found.by_setup.throttle_cap,
        severity="high",
    ),
)
COLD: Final[Caution[Any, Any]] = Caution(
    cautions.COLD.code,
    "{by_setup.name}: below 10 °C a pack also gives less of its charge. That is not modelled: expect a shorter time "
    "than the range says, and warm the pack before the flight.",
    when=lambda given, found: setups.get_temperature(given) < cautions.COLD_TEMPERATURE,
)
OUTSIDE_TEMPERATURE: Final[Caution[Any, Any]] = Caution(
    cautions.OUTSIDE_TEMPERATURE.code,
    "{by_setup.name}: the temperature of the pack is outside 0 to 40 °C, for which the change of resistance was "
    "checked.",
    when=lambda given, found: cautions.is_temperature_unchecked(
        setups.pick_pack(given, "pack_resistance"), setups.get_temperature(given)
    ),
)


def _is_longest_over(found: Any) -> BoolArray:
    """Return where (N,) the setup that flies longest is over the limit."""
    is_longest = found.by_setup.endurance == column(found.longest_endurance)
    return np.asarray((is_longest & (found.by_setup.verdict == weighing.OVER)).any(axis=1))


SENTENCES: Final[tuple[Sentence[Any, Any], ...]] = (
    Sentence(
        "Flies longest with {longest_setup_under_limit}, under the mass limit: {longest_endurance:range}",
        when=lambda given, found: found.longest_endurance_under_limit == found.longest_endurance,
        verdict="good",
    ),
    Sentence(
        "Under the mass limit {longest_setup_under_limit} flies longest: {longest_endurance_under_limit:range}",
        details=("{longest_setup} flies {longest_endurance}, but is over the limit.",),
        when=lambda given, found: _is_longest_over(found) & ~np.isnan(found.longest_endurance_under_limit),
        verdict="good",
    ),
    Sentence(
        "Under the mass limit {longest_setup_under_limit} flies longest: {longest_endurance_under_limit:range}",
        details=("{longest_setup} flies {longest_endurance}, but is too close to the limit to call.",),
        verdict="good",
    ),
    Sentence(
        "No setup is certainly under the mass limit; {longest_setup} flies longest: {longest_endurance:range}",
        when=lambda given, found: ~(found.by_setup.verdict == weighing.UNDER).any(axis=1),
        verdict="bad",
    ),
    Sentence(
        "No setup under the mass limit has a flight time; {longest_setup} flies longest: {longest_endurance:range}",
        verdict="bad",
    ),
)
