"""What a run of wire loses, weighs and how hot it gets, as results and steps."""

from dataclasses import dataclass
from typing import Annotated, Any, Final, TypeAlias

import numpy as np

from gramwatt.calculators._shared import wires
from gramwatt.model import Array, Quantity
from gramwatt.physics import wire

BY_STRANDS: Final = "strands * pi / 4 * strand_diameter**2"
IN_STILL_AIR: Final = (
    "air_temperature + steady_rise * (1 + COPPER_COEFFICIENT * (air_temperature - COPPER_TEMPERATURE)) "
    "/ (1 - COPPER_COEFFICIENT * steady_rise)"
)
RESISTANCE: Final = (
    "COPPER_RESISTIVITY * (1 + COPPER_COEFFICIENT * (wire_temperature - COPPER_TEMPERATURE)) * conductors "
    "* wire_length * (1 + stranding_allowance) / wire_area"
)
MASS: Final = "COPPER_DENSITY * wire_area * conductors * wire_length * (1 + stranding_allowance)"
AFTER_PEAK: Final = (
    "wire_temperature + (1 / COPPER_COEFFICIENT + wire_temperature - COPPER_TEMPERATURE) * (exp(peak_growth) - 1)"
)
TIME_TO_MELT: Final = (
    "COPPER_HEAT_CAPACITY * COPPER_DENSITY "
    "* log((1 + COPPER_COEFFICIENT * (COPPER_MELTING_POINT - COPPER_TEMPERATURE)) "
    "/ (1 + COPPER_COEFFICIENT * (wire_temperature - COPPER_TEMPERATURE))) "
    "/ (COPPER_COEFFICIENT * COPPER_RESISTIVITY * peak_current_density**2)"
)
RISE_AT_20: Final = (
    "COPPER_RESISTIVITY * (1 + stranding_allowance) * mean_current**2 / (wire_area * heat_transfer_coefficient * pi "
    "* outer_diameter)"
)
PEAK: Final = ("peak_current",)


def make_temperature(description: str, label: str, **more: Any) -> Quantity:
    """Declare a temperature of copper up to its melting point."""
    return Quantity("degC", description, label=label, at_least=-60, at_most=1085, **more)


VoltageDrop: TypeAlias = Annotated[
    Array, Quantity("V", "Voltage lost at the average current.", formula="mean_current * wire_resistance")
]
VoltageDropShare: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Share of the supply voltage, and of its power, that is lost at the average current.",
        label="Share of the supply",
        formula="voltage_drop / supply_voltage",
        needs=("supply_voltage",),
    ),
]
PowerLoss: TypeAlias = Annotated[
    Array,
    Quantity("W", "Power lost at the average current.", label="Power lost", formula="mean_current * voltage_drop"),
]
CopperMass: TypeAlias = Annotated[Array, Quantity("g", "Mass of the copper.", label="Mass of copper", formula=MASS)]
WireResistance: TypeAlias = Annotated[
    Array,
    Quantity("mohm", "Resistance of all conductors at the wire's temperature.", formula=RESISTANCE),
]
WireArea: TypeAlias = Annotated[
    Array,
    Quantity(
        "mm2",
        "Area of the copper in one conductor.",
        label="Area of the copper",
        formula=(BY_STRANDS, wires.BY_GAUGE),
        method="as given, where it is given",
    ),
]
CurrentDensity: TypeAlias = Annotated[
    Array, Quantity("A/mm2", "Average current over the area.", formula="mean_current / wire_area")
]
ConductorTemperature: TypeAlias = Annotated[
    Array,
    make_temperature(
        "Temperature of the copper at the average current in still air.",
        "Wire temperature",
        formula=(IN_STILL_AIR,),
        method="as given, where it is given",
    ),
]
PeakVoltageDrop: TypeAlias = Annotated[
    Array,
    Quantity(
        "V",
        "Voltage lost as the peak begins.",
        label="Peak voltage drop",
        needs=PEAK,
        formula="peak_current * wire_resistance",
    ),
]
PeakVoltageDropShare: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Share of the supply voltage lost as the peak begins.",
        label="Peak share of the supply",
        formula="peak_voltage_drop / supply_voltage",
        needs=("supply_voltage", "peak_current"),
    ),
]
PeakPowerLoss: TypeAlias = Annotated[
    Array,
    Quantity(
        "W",
        "Power lost as the peak begins.",
        label="Peak power lost",
        needs=PEAK,
        formula="peak_current * peak_voltage_drop",
    ),
]
PeakCurrentDensity: TypeAlias = Annotated[
    Array,
    Quantity(
        "A/mm2",
        "Peak current over the area.",
        label="Peak current density",
        needs=PEAK,
        formula="peak_current / wire_area",
    ),
]
PeakConductorTemperature: TypeAlias = Annotated[
    Array,
    make_temperature(
        "Temperature of the copper after the peak, if no heat leaves it meanwhile.",
        "Peak wire temperature",
        formula=AFTER_PEAK,
        needs=PEAK,
    ),
]
FusingTime: TypeAlias = Annotated[
    Array,
    Quantity("s", "Time in which the peak current would melt the copper.", formula=TIME_TO_MELT, needs=PEAK),
]
FusingCurrent: TypeAlias = Annotated[
    Array,
    Quantity(
        "A",
        "Steady current that would melt such a wire without insulation in still air.",
        formula="PREECE_CURRENT * (sqrt(4 * wire_area / pi) / PREECE_DIAMETER)**1.5",
    ),
]


AT_TEMPERATURE: Final = ("voltage_drop", "voltage_drop_share", "power_loss", "wire_resistance", "wire_temperature")
"""Results that depend on the temperature of the copper."""
AT_PEAK: Final = (
    *("peak_voltage_drop", "peak_voltage_drop_share", "peak_power_loss"),
    *("peak_wire_temperature", "fusing_time"),
)
OF_WIRE: Final = ("copper_mass", "wire_area", "current_density", "peak_current_density", "fusing_current")


@dataclass(frozen=True, slots=True)
class Steps:
    """What heats the wire, and what cools it."""

    outer_diameter: Annotated[
        Array,
        Quantity("mm", "Diameter over the insulation.", formula="outer_diameter_ratio * sqrt(4 * wire_area / pi)"),
    ]
    steady_rise: Annotated[
        Array,
        Quantity(
            "K",
            "Rise above the air at the resistance at 20 °C.",
            formula=RISE_AT_20,
        ),
    ]
    peak_growth: Annotated[
        Array,
        Quantity(
            "1",
            "Logarithm of the growth of the resistance during the peak.",
            formula="COPPER_COEFFICIENT * COPPER_RESISTIVITY * peak_current_density**2 * peak_duration "
            "/ (COPPER_HEAT_CAPACITY * COPPER_DENSITY)",
        ),
    ]


def find_steps(given: Any, found: Any) -> Steps:
    """Return the heating of this wire; without a rise in still air where the temperature is given."""
    outer = given.outer_diameter_ratio * wire.circle_diameter(found.wire_area)
    rise = wire.rise_at_20(
        given.mean_current, found.wire_area, outer, 1 + given.stranding_allowance, given.heat_transfer_coefficient
    )
    return Steps(
        outer_diameter=outer,
        steady_rise=np.where(np.isnan(given.wire_temperature), rise, np.nan),
        peak_growth=wire.peak_growth(found.peak_current_density, given.peak_duration),
    )
