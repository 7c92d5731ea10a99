"""Ratings of the links from pack to motors, as inputs, and what is needed of pack and wire, as results and steps."""

from dataclasses import dataclass
from typing import Annotated, Any, TypeAlias

import numpy as np

from gramwatt.calculators._shared import chain, wires
from gramwatt.calculators._shared.pack_fields import optional_quantity
from gramwatt.model import Array, Count, Group, Quantity
from gramwatt.physics import wire

DischargeDeratingFactor: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Factor on the C rating of the label for what the pack gives for long. Labels of small packs mostly "
        "promise twice what they give: rule of thumb, no source.",
        label="Derating of the C rating",
        group=Group.PACK,
        above=0,
        at_most=100,
        default=50,
        default_u=15,
    ),
]
WireRating: TypeAlias = Annotated[
    Array,
    optional_quantity(
        "A",
        "Continuous rating of the wire by its maker, instead of an estimate of its heat. Ask for which rise it holds.",
        group=Group.WIRING,
        at_most=wires.MAX_CURRENT,
        synonyms=("ampacity", "wire_ampacity"),
    ),
]
ConnectorRating: TypeAlias = Annotated[
    Array,
    optional_quantity(
        "A",
        "Continuous rating of the connector between pack and craft, by its maker.",
        group=Group.WIRING,
        at_most=wires.MAX_CURRENT,
        synonyms=("plug_rating", "connector"),
    ),
]
MotorRating: TypeAlias = Annotated[
    Array,
    optional_quantity(
        "A",
        "Continuous current of one motor, by its maker.",
        label="Motor rating",
        group=Group.MOTOR,
        at_most=wires.MAX_CURRENT,
        synonyms=("maximum_motor_current", "max_motor_current"),
    ),
]
MeanThrottle: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Throttle at the average current: half of it doubles the current of a motor over its part of the pack's.",
        label="Average throttle",
        group=Group.FLIGHT,
        above=0,
        at_most=100,
        default=50,
        default_u=10,
        follows=("mean_throttle", "hover_throttle"),
        synonyms=("throttle", "average_throttle"),
    ),
]
BurstFactor: TypeAlias = Annotated[
    Array,
    Quantity(
        "1",
        "Up to how many times its continuous rating a link may have for 10 s: makers state 1.2 to 2, rule of thumb, no "
        "source.",
        label="Burst over continuous rating",
        group=Group.FINE_TUNING,
        at_least=1,
        at_most=10,
        default=1.5,
    ),
]


def _rating_needed(current: str, label: str, **more: Any) -> Quantity:
    return Quantity(
        "C",
        f"C rating that the label needs for the {label}, once derated.",
        label=f"C rating needed, {label}",
        formula=f"{current} / capacity / discharge_derating_factor",
        **more,
    )


MeanDischargeRatingNeeded: TypeAlias = Annotated[Array, _rating_needed("mean_current", "average", needs=("capacity",))]
PeakDischargeRatingNeeded: TypeAlias = Annotated[
    Array, _rating_needed("peak_current", "peak", needs=("capacity", "peak_current"))
]


def _gauge_needed(when: str, label: str, diameter: str, **more: Any) -> Count:
    return Count(
        f"Thinnest gauge that carries the {when} for long in still air; the thickest are -3 for 4/0 to 0 for 1/0.",
        label=f"AWG needed, {label}",
        at_least=wire.THICKEST_GAUGE,
        at_most=wire.THINNEST_GAUGE,
        spellings=wires.SPELLINGS,
        method=f"thinnest that has at least the diameter `{diameter}`",
        **more,
    )


MeanGaugeNeeded: TypeAlias = Annotated[Array, _gauge_needed("average current", "average", "mean_copper_diameter")]
PeakGaugeNeeded: TypeAlias = Annotated[
    Array, _gauge_needed("peak current", "peak", "peak_copper_diameter", needs=chain.PEAK)
]


def _diameter(current: str, text: str) -> Quantity:
    """Declare the diameter of copper that a current heats to the limit."""
    return Quantity(
        "mm",
        f"Diameter of solid copper that the {text} heats to the temperature limit.",
        method="cube root of `4 * COPPER_RESISTIVITY * (1 + COPPER_COEFFICIENT * (wire_temperature_limit "
        f"- COPPER_TEMPERATURE)) * (1 + stranding_allowance) * {current}**2 / (pi**2 * heat_transfer_coefficient "
        "* outer_diameter_ratio * (wire_temperature_limit - air_temperature))`",
    )


def _motor_current(current: str, throttle: str, text: str) -> Quantity:
    return Quantity("A", f"Current of each motor {text}.", formula=f"{current} / (motors * {throttle})")


@dataclass(frozen=True, slots=True)
class Steps:
    """Currents of a motor, and the copper that the currents of the pack need."""

    mean_motor_current: Annotated[Array, _motor_current("mean_current", "mean_throttle", "on average")]
    peak_motor_current: Annotated[Array, _motor_current("peak_current", "throttle_cap", "at the peak")]
    mean_copper_diameter: Annotated[Array, _diameter("mean_current", "average current")]
    peak_copper_diameter: Annotated[Array, _diameter("peak_current", "peak current")]


def find_steps(given: Any, _: Any) -> Steps:
    """Return the currents of a motor and the diameters."""
    motor = chain.motor_currents(given)
    return Steps(
        mean_motor_current=motor.mean,
        peak_motor_current=motor.peak,
        mean_copper_diameter=wires.needed_diameter(given, given.mean_current),
        peak_copper_diameter=wires.needed_diameter(given, given.peak_current),
    )


def find_gauge(given: Any, current: Array) -> Array:
    """Return the thinnest gauge (N,) that carries a current (N,) [A] for long; nan where 4/0 is too thin."""
    gauge = np.floor(wire.diameter_gauge(wires.needed_diameter(given, current)) + 1e-9)
    return np.where(gauge < wire.THICKEST_GAUGE, np.nan, np.minimum(gauge, wire.THINNEST_GAUGE))
