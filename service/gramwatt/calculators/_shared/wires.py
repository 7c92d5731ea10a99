"""Wires and the currents through them, as inputs: the same name, unit, bounds and text everywhere."""

from typing import Annotated, Any, Final, TypeAlias

import numpy as np

from gramwatt.calculators._shared.pack_fields import optional_quantity
from gramwatt.model import Array, Caution, Count, Group, Quantity, Reference, StringArray
from gramwatt.physics import wire

MAX_CURRENT: Final = 1e4

SPELLINGS: Final = (("4/0", -3), ("3/0", -2), ("2/0", -1), ("1/0", 0), ("0000", -3), ("000", -2), ("00", -1))

WireGauge: TypeAlias = Annotated[
    Array,
    Count(
        "American wire gauge. The thickest are 4/0, 3/0, 2/0 and 1/0, which count as -3, -2, -1 and 0.",
        label="Wire gauge, AWG",
        group=Group.WIRING,
        at_least=wire.THICKEST_GAUGE,
        at_most=wire.THINNEST_GAUGE,
        optional=True,
        spellings=SPELLINGS,
        synonyms=("gauge", "awg", "wire_size"),
    ),
]
WIRE_AREA: Final = optional_quantity(
    "mm2",
    "Area of the copper in one conductor, instead of the gauge.",
    label="Area of the copper",
    group=Group.WIRING,
    at_most=500,
    replaces=("wire_gauge",),
    synonyms=("cross_section", "conductor_area", "area"),
)
WireArea: TypeAlias = Annotated[Array, WIRE_AREA]
MeanCurrent: TypeAlias = Annotated[
    Array,
    Quantity(
        "A",
        "Average current from the pack.",
        label="Average current",
        group=Group.FLIGHT,
        above=0,
        at_most=MAX_CURRENT,
        follows=("mean_current", "hover_current", "pack_current"),
        synonyms=("current", "amps", "average_current", "continuous_current"),
    ),
]
PeakCurrent: TypeAlias = Annotated[
    Array,
    optional_quantity(
        "A",
        "Highest current from the pack, as in a full-throttle climb.",
        group=Group.FLIGHT,
        at_most=MAX_CURRENT,
        follows=("peak_current", "pack_current"),
        synonyms=("max_current", "maximum_current", "burst_current"),
    ),
]
PeakDuration: TypeAlias = Annotated[
    Array,
    Quantity(
        "s",
        "How long the peak current flows. Climbs at full throttle mostly take 2 to 5 s: rule of thumb, no source.",
        group=Group.FLIGHT,
        above=0,
        at_most=3600,
        default=3,
        default_factor=1.6,
        synonyms=("burst_time", "burst_duration"),
    ),
]
WireTemperatureLimit: TypeAlias = Annotated[
    Array,
    Quantity(
        "degC",
        "Highest temperature that the wire may have. By their makers PVC mostly takes 70 to 105 °C and silicone 180 to "
        "200 °C; plugs, solder and fingers take less.",
        label="Temperature limit",
        group=Group.WIRING,
        above=60,
        at_most=400,
        default=100,
        synonyms=("insulation_rating", "temperature_rating"),
    ),
]
StrandingAllowance: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "How much longer the twisted strands are than the wire, 0 for solid wire: 2 to 5 %, rule of thumb, no source.",
        group=Group.FINE_TUNING,
        at_least=0,
        at_most=50,
        default=3.5,
        default_u=0.8,
        synonyms=("lay_factor",),
    ),
]
OuterDiameterRatio: TypeAlias = Annotated[
    Array,
    Quantity(
        "1",
        "Diameter over the insulation, over that of a solid wire of as much copper. Flexible wire mostly has 1.8 to "
        "2.7, thin wire the most: rule of thumb, no source.",
        label="Outer over copper diameter",
        group=Group.FINE_TUNING,
        at_least=1,
        at_most=20,
        default=2.2,
        default_factor=1.2,
    ),
]
HeatTransferCoefficient: TypeAlias = Annotated[
    Array,
    Quantity(
        "W/(m2 K)",
        "Heat that the surface of the wire gives off. Single wires of 1 to 5 mm in still air have 15 to 35, by "
        "convection and radiation; moving air gives several times as much.",
        label="Heat transfer coefficient",
        group=Group.FINE_TUNING,
        at_least=1,
        at_most=1000,
        default=20,
        default_factor=1.5,
        synonyms=("cooling_coefficient",),
    ),
]

BY_GAUGE: Final = "pi / 4 * (GAUGE_36_DIAMETER * GAUGE_RATIO**((36 - wire_gauge) / GAUGE_STEPS))**2"
"""The area of the copper."""
WireCurrentLimit: TypeAlias = Annotated[
    Array,
    Quantity(
        "A",
        "Current that heats the wire to its temperature limit in still air, after some minutes.",
        label="Current limit of the wire",
        formula="sqrt(heat_transfer_coefficient * pi * outer_diameter_ratio * sqrt(4 * wire_area / pi) "
        "* (wire_temperature_limit - air_temperature) * wire_area / (COPPER_RESISTIVITY "
        "* (1 + COPPER_COEFFICIENT * (wire_temperature_limit - COPPER_TEMPERATURE)) * (1 + stranding_allowance)))",
    ),
]

COPPER: Final = (
    "IEC 60028 and NBS Handbook 100: annealed copper at 20 °C has 0.017241 Ω mm²/m, 0.00393 per K, 8.89 g/cm³; as "
    "remembered"
)
HEAT_BALANCE_TEXT: Final = (
    "Heat balance of a wire in air, I² R = h π D L (T - T_air), with a typical heat transfer coefficient h: derived, "
    "an estimate known to a factor of 1.5 in the rise"
)


def gauge(*about: str) -> Reference:
    """Return the source of the gauges."""
    return Reference("ASTM B258: AWG n has a diameter of 0.127 mm x 92^((36 - n) / 39)", about=about)


def copper(*about: str) -> Reference:
    """Return the source of resistivity and density."""
    return Reference(COPPER, about=about)


def heat_balance(*about: str) -> Reference:
    """Return the source of temperatures and limits in a steady current."""
    return Reference(HEAT_BALANCE_TEXT, about=about)


WIRES_BURN: Final[Caution[Any, Any]] = Caution(
    "short-circuit",
    "A short circuit of a lithium pack drives hundreds of amperes: thin wire glows at once, and the pack may burn. "
    "Insulate every joint. The makers' figures for wire and insulation take precedence over these.",
    severity="high",
)
GAUGE_BELOW_ONE: Final[Caution[Any, Any]] = Caution(
    "gauge-below-one",
    "Gauge {wire_gauge} has 53 mm² of copper or more, as gauges of 0 and less are 1/0 to 4/0. If another wire is "
    "meant, give the area of the copper.",
    severity="low",
    when=lambda given, found: given.wire_gauge <= 0,
)


def copper_area(given: Any) -> Array:
    """Return the area (N,) [m²] of the copper in a conductor: as given, else by gauge; nan where neither is known."""
    by_gauge = wire.circle_area(wire.gauge_diameter(given.wire_gauge))
    return np.asarray(np.where(np.isnan(given.wire_area), by_gauge, given.wire_area))


_NAMES: Final = np.array(
    [
        f"AWG {next((text for text, number in SPELLINGS if number == each), str(each))}"
        for each in range(wire.THICKEST_GAUGE, wire.THINNEST_GAUGE + 1)
    ]
)


def name_gauges(gauges: Array) -> StringArray:
    """Return the names of gauges (any shape), such as AWG 16 or AWG 4/0; empty where one is unknown."""
    known = np.isfinite(gauges)
    at = np.where(known, gauges - wire.THICKEST_GAUGE, 0).astype(np.intp)
    return np.where(known, _NAMES[at], "")


def current_limit(given: Any, area: Array) -> Array:
    """Return the current (N,) [A] that heats a wire of an ``area`` (N,) [m²] to its temperature limit in still air."""
    return wire.steady_current(
        given.wire_temperature_limit,
        area,
        given.outer_diameter_ratio * wire.circle_diameter(area),
        lay=1 + given.stranding_allowance,
        coefficient=given.heat_transfer_coefficient,
        air_temperature=given.air_temperature,
    )


def needed_diameter(given: Any, current: Array) -> Array:
    """Return the diameter (N,) [m] of solid copper that a current (N,) [A] heats to the temperature limit."""
    return wire.diameter_for_current(
        current,
        given.outer_diameter_ratio,
        given.wire_temperature_limit,
        lay=1 + given.stranding_allowance,
        coefficient=given.heat_transfer_coefficient,
        air_temperature=given.air_temperature,
    )
