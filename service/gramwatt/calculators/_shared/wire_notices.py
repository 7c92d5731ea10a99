"""Headlines, rules and cautions of a run of wire."""

from typing import Any, Final

import numpy as np

from gramwatt.calculators._shared import wires
from gramwatt.calculators._shared.wire_results import AT_PEAK, AT_TEMPERATURE, OF_WIRE
from gramwatt.model import BoolArray, Caution, Rule, Sentence

SMALL_DROP: Final = 0.03
"""Share of the supply that a wire may lose: rule of thumb, no source."""


def is_overheated(given: Any, found: Any) -> BoolArray:
    """Return whether (N,) the average current heats the wire above its limit."""
    return np.asarray(found.wire_temperature > given.wire_temperature_limit)


def is_peak_too_hot(given: Any, found: Any) -> BoolArray:
    """Return whether (N,) the peak heats the wire above its limit, or melts it."""
    return np.asarray(
        (found.peak_wire_temperature > given.wire_temperature_limit) | (found.fusing_time < given.peak_duration)
    )


def is_above_supply(given: Any, found: Any) -> BoolArray:
    """Return whether (N,) the wire would lose more than the whole supply voltage, which no current can make it do."""
    return np.asarray((found.voltage_drop_share > 1) | (found.peak_voltage_drop_share > 1))


OF_GAUGES: Final = ("by_gauge.voltage_drop", "by_gauge.power_loss", "by_gauge.wire_temperature")
DETAILS: Final = (
    "{power_loss} of heat, in {copper_mass} of copper.",
    "The wire gets to {wire_temperature} in still air, and to {peak_wire_temperature} in a peak.",
    "It carries {wire_current_limit} for long in still air.",
)


SENTENCES: Final[tuple[Sentence[Any, Any], ...]] = (
    Sentence(
        "Too hot: the wire gets to {wire_temperature:range} at {mean_current}",
        details=("That is above the limit of {wire_temperature_limit}.", *DETAILS[::2]),
        when=is_overheated,
        verdict="bad",
    ),
    Sentence(
        "The peak overheats the wire: {peak_current} would melt it in {fusing_time}",
        details=("After the peak it has {peak_wire_temperature}.", *DETAILS[::2]),
        when=is_peak_too_hot,
        verdict="bad",
    ),
    Sentence(
        "Too long or too thin: the wire would lose more than the supply voltage",
        details=("That is {voltage_drop} on average, and {peak_voltage_drop} in a peak.", *DETAILS[::2]),
        when=is_above_supply,
        verdict="bad",
    ),
    Sentence(
        "Loses {voltage_drop}, {voltage_drop_share} of the supply",
        details=DETAILS,
        when=lambda given, found: found.voltage_drop_share <= SMALL_DROP,
        verdict="good",
    ),
    Sentence("Loses {voltage_drop}, {voltage_drop_share} of the supply", details=DETAILS, verdict="close"),
    Sentence("Loses {voltage_drop:range}", details=DETAILS),
)
RULES: Final[tuple[Rule[Any, Any], ...]] = (
    Rule(
        "no-strand-diameter",
        "The area of the copper is unknown: give strand diameter with strands.",
        missing=True,
        when=lambda given, found: np.isnan(found.wire_area),
        results=(*AT_TEMPERATURE, *AT_PEAK, *OF_WIRE, "wire_current_limit"),
    ),
    Rule(
        "wire-melts",
        "In still air {mean_current} melts this wire: there is no steady temperature. Use a thicker wire. For a "
        "short run, give the wire temperature.",
        when=lambda given, found: np.isnan(found.wire_temperature),
        results=(*AT_TEMPERATURE, *AT_PEAK),
        partly="{mean_current} melts this wire in still air",
    ),
    Rule(
        "peak-melts-wire",
        "The peak of {peak_current} melts the wire in {fusing_time}, before it ends.",
        when=lambda given, found: np.isnan(found.peak_wire_temperature) & np.isfinite(given.peak_current),
        results=("peak_wire_temperature",),
        partly="the peak melts the wire before it ends",
    ),
    Rule(
        "gauge-melts",
        "{by_gauge.name}: in still air {mean_current} melts it.",
        severity="low",
        when=lambda given, found: np.isnan(found.by_gauge.wire_temperature),
        results=OF_GAUGES,
        partly="{mean_current} melts a thinner one of the other gauges in still air",
    ),
)
CAUTIONS: Final[tuple[Caution[Any, Any], ...]] = (
    wires.WIRES_BURN,
    Caution(
        "copper-only",
        "The mass is that of the copper: insulation, solder and plugs come on top. Weigh a metre of the wire.",
        severity="low",
    ),
    Caution(
        "wire-overheated",
        "At {mean_current} the wire gets to {wire_temperature}, above its limit of {wire_temperature_limit}.",
        severity="high",
        when=is_overheated,
    ),
    Caution(
        "peak-overheats-wire",
        "The peak heats the wire above its limit of {wire_temperature_limit}: use a thicker one or a shorter peak.",
        severity="high",
        when=is_peak_too_hot,
    ),
    Caution(
        "drop-above-supply",
        "The wire would lose more than the supply voltage: such a current cannot flow. Use a thicker or a shorter one.",
        severity="high",
        when=is_above_supply,
    ),
    Caution(
        "heating-estimated",
        "The temperature of the wire is an estimate for still air, known to a factor of 1.5 in its rise. Moving air "
        "cools it more, a bundle or a closed frame less: measure it.",
        severity="low",
        when=lambda given, found: np.isnan(given.wire_temperature),
    ),
    Caution(
        "current-varies",
        "Loss and heat of a current that varies are above those of its average, as they grow with its square.",
        severity="low",
        when=lambda given, found: given.peak_current > given.mean_current,
    ),
    Caution(
        "strands-incomplete",
        "Strands and strand diameter count only together: the area is that of the gauge.",
        when=lambda given, found: np.isnan(given.strands) != np.isnan(given.strand_diameter),
    ),
    wires.GAUGE_BELOW_ONE,
)
