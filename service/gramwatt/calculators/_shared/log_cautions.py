"""Cautions and rules about the quality of a recording."""

from typing import Annotated, Any, Final

import numpy as np

from gramwatt.calculators._shared.flight_summary import has_left_out, lacks_channels
from gramwatt.model import Caution, Rule, Severity, Unit
from gramwatt.physics import cells

MAX_GOOD_STEP: Final[Annotated[float, Unit("s")]] = 0.5
"""Samples further apart miss a punch-out; an estimate."""
MAX_LIKELY_STEP: Final[Annotated[float, Unit("s")]] = 20.0
"""Samples further apart are unlikely: more likely milliseconds were read as seconds; an estimate."""


def left_out(where: str) -> Caution[Any, Any]:
    """Return the caution about samples left out; ``where`` is a phrase about their reasons."""
    return Caution(
        "samples-left-out",
        "Only {samples_used} of {samples_recorded} samples were used; " + where + ".",
        severity="low",
        when=lambda given, found: found.samples_used < found.samples_recorded,
    )


QUALITY: Final[tuple[Caution[Any, Any], ...]] = (
    left_out("the list of samples left out gives the reasons"),
    Caution(
        "not-calibrated",
        "The current sensor is assumed to be accurate within 5 %, an estimate. Give the charge that the charger put "
        "back after this flight to calibrate it.",
        severity="low",
        assumed="current_scale",
    ),
    Caution(
        "few-samples",
        "Only {samples_used} samples were recorded: what happened between them is unknown.",
        when=lambda given, found: (found.samples_used >= 2) & (found.samples_used < 50),
    ),
    Caution(
        "long-sample-interval",
        "Samples are {sample_interval} apart: peaks of a punch-out may fall between them.",
        severity="low",
        when=lambda given, found: found.sample_interval > MAX_GOOD_STEP,
    ),
    Caution(
        "unlikely-sample-interval",
        "Samples are {sample_interval} apart. If the times are in milliseconds or microseconds, add the unit to the "
        "header: time [ms] or time [us].",
        when=lambda given, found: found.sample_interval > MAX_LIKELY_STEP,
    ),
    Caution(
        "recording-gaps",
        "{gap_duration} of the recording are gaps, which add nothing to energy and charge.",
        severity="low",
        when=lambda given, found: found.gap_duration > 0,
    ),
    Caution(
        "clock-went-back",
        "The times in the recording go back: samples after that were left out. If it has two flights, send each one "
        "separately.",
        when=lambda given, found: has_left_out(found.samples_left_out_by_reason, "backward-time"),
    ),
)

PACK_USE: Final[tuple[Caution[Any, Any], ...]] = (
    Caution(
        "charge-above-capacity",
        "The recorded charge is more than the pack contained ({charge_used_share} of its capacity): check capacity, "
        "charge at take-off and the current sensor.",
        severity="high",
        when=lambda given, found: found.charge_used_share > given.start_state_of_charge,
    ),
    Caution(
        "landed-below-reserve",
        "The flight ended with {end_state_of_charge} in the pack, below the reserve of {reserve}.",
        severity="high",
        when=lambda given, found: (found.end_state_of_charge < given.reserve) & (found.end_state_of_charge >= 0),
    ),
    Caution(
        "deep-sag",
        "A cell fell to {lowest_cell_voltage} under load, below the usual cut-off of its chemistry. It matters if that "
        "lasted, not for a dip of a second.",
        when=lambda given, found: found.lowest_cell_voltage < cells.CUTOFF_VOLTAGE[given.chemistry],
    ),
)


def no_channel(channel: str, text: str, results: tuple[str, ...], severity: Severity = "high") -> Rule[Any, Any]:
    """Return the rule for results without a value because the recording has no such channel."""
    return Rule(
        f"no-{channel}",
        text,
        when=lambda given, found: lacks_channels(given.log, (channel,)),
        results=results,
        severity=severity,
    )


BOTH_SIGNS: Final[Rule[Any, Any]] = Rule(
    "current-both-ways",
    "Current flowed both ways, so that energy over charge is no voltage of this flight: check current offset and "
    "current scale.",
    when=lambda given, found: np.isnan(found.mean_voltage),
    results=("mean_voltage",),
)
