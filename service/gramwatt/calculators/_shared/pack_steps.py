"""Steps from a pack's charge and temperature to its voltage and resistance, for the working."""

from dataclasses import dataclass
from typing import Annotated, Any, NamedTuple, TypeAlias

import numpy as np

from gramwatt.model import Array, IndexArray, Quantity
from gramwatt.physics import cells

ChargeBelow: TypeAlias = Annotated[
    Array,
    Quantity(
        "%", "Charge at the point of the curve below.", at_most=100, method="the nearest point below on the curve"
    ),
]
ChargeAbove: TypeAlias = Annotated[
    Array,
    Quantity(
        "%", "Charge at the point of the curve above.", at_most=100, method="the nearest point above on the curve"
    ),
]
VoltageBelow: TypeAlias = Annotated[
    Array,
    Quantity(
        "V", "Rested voltage of one cell at the point below.", method="on the curve of the chemistry, at `charge_below`"
    ),
]
VoltageAbove: TypeAlias = Annotated[
    Array,
    Quantity(
        "V", "Rested voltage of one cell at the point above.", method="on the curve of the chemistry, at `charge_above`"
    ),
]


def interpolate_at(charge: str) -> str:
    """Return the formula of a rested voltage on the line between two points, at the charge of this name."""
    return (
        f"voltage_below + (voltage_above - voltage_below) * ({charge} - charge_below) / (charge_above - charge_below)"
    )


def loaded_voltage_at(power: str, rested_voltage: str, resistance: str) -> str:
    """Return the formula of the voltage at a power, from the names of power, rested voltage and resistance."""
    return f"({rested_voltage} + sqrt({rested_voltage}**2 - 4 * {power} * {resistance})) / 2"


def current_at(power: str, rested_voltage: str, resistance: str) -> str:
    """Return the formula of the current at a power, from the same names."""
    return f"2 * {power} / ({rested_voltage} + sqrt({rested_voltage}**2 - 4 * {power} * {resistance}))"


RestedCellVoltage: TypeAlias = Annotated[
    Array,
    Quantity("V", "Rested voltage of one cell, on the curve.", formula=interpolate_at("state_of_charge")),
]
RestedPackVoltage: TypeAlias = Annotated[
    Array,
    Quantity(
        "V",
        "Rested voltage of the pack.",
        label="Rested pack voltage",
        formula=("cells * rested_cell_voltage", "open_circuit_voltage"),
    ),
]
ResistanceAtTemperature: TypeAlias = Annotated[
    Array,
    Quantity(
        "mohm",
        "Resistance of one series position at the temperature of the pack.",
        formula="cell_resistance * exp(activation_energy / MOLAR_GAS_CONSTANT"
        " * (1 / pack_temperature - 1 / REFERENCE_TEMPERATURE))",
    ),
]


class CurveSteps(NamedTuple):
    """Where a charge is on the curve of a chemistry, and the voltage there; arrays (N,)."""

    charge_below: Array
    charge_above: Array
    voltage_below: Array
    voltage_above: Array
    rested_cell_voltage: Array


def find_curve_steps(chemistry: IndexArray, charge: Array, applies: Any) -> CurveSteps:
    """Return them where (N,) they apply, else nan."""
    points = cells.find_curve_points(chemistry, np.where(np.isnan(charge), 0.0, charge))
    steps = cells.OPEN_CIRCUIT_VOLTAGE.shape[1] - 1
    values = (
        points.below / steps,
        (points.below + 1) / steps,
        points.voltage_below,
        points.voltage_above,
        cells.open_circuit_voltage(chemistry, charge),
    )
    return CurveSteps(*(np.where(applies & ~np.isnan(charge), each, np.nan) for each in values))


def resistance_at_temperature(given: Any) -> Array:
    """Return the resistance (N,) [ohm] of one series position; nan where that of the whole pack was measured."""
    resistance = cells.resistance_at(given.pack_temperature, given.cell_resistance, given.activation_energy)
    return np.where(np.isnan(given.pack_resistance), resistance, np.nan)


@dataclass(frozen=True, slots=True)
class PackSteps:
    """From charge and temperature to voltage and resistance."""

    charge_below: ChargeBelow
    charge_above: ChargeAbove
    voltage_below: VoltageBelow
    voltage_above: VoltageAbove
    rested_cell_voltage: RestedCellVoltage
    resistance_at_temperature: ResistanceAtTemperature


def get_pack_steps(given: Any) -> dict[str, Array]:
    """Return the steps of a pack by name, nan where its voltage or its resistance was measured."""
    curve = find_curve_steps(given.chemistry, given.state_of_charge, np.isnan(given.open_circuit_voltage))
    return {**curve._asdict(), "resistance_at_temperature": resistance_at_temperature(given)}


def find_pack_steps(given: Any, _: Any) -> PackSteps:
    """Return the steps of a pack."""
    return PackSteps(**get_pack_steps(given))
