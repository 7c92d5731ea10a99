"""Steps of a flight from take-off to the reserve or the cut-off, for the working."""

from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np

from gramwatt.calculators._shared import discharge_steps, pack_steps
from gramwatt.model import Array, Quantity
from gramwatt.physics import cells, pack

CHARGE_AT_STOP = (
    "charge_below + (charge_above - charge_below) * (stop_rested_voltage - voltage_below)"
    " / (voltage_above - voltage_below)"
)
LOADED = pack_steps.loaded_voltage_at("cell_power", "end_rested_voltage", "resistance_for_each_cell")


@dataclass(frozen=True, slots=True)
class Steps:
    """The discharge of one cell, from take-off to its end."""

    resistance_at_temperature: pack_steps.ResistanceAtTemperature
    cell_power: Annotated[Array, discharge_steps.cell_power("mean_power")]
    resistance_for_each_cell: discharge_steps.ResistanceForEachCell
    start_cell_voltage: Annotated[
        Array,
        Quantity("V", "Rested voltage of one cell at take-off.", method="on the curve, at `start_state_of_charge`"),
    ]
    pieces: discharge_steps.Pieces
    stop_loaded_voltage: Annotated[
        Array,
        Quantity(
            "V",
            "Loaded voltage of one cell that ends the flight before its reserve.",
            formula="max(cutoff_cell_voltage, sqrt(cell_power * resistance_for_each_cell))",
            method="the cut-off voltage, or the voltage at which the cell gives the most power, if that is higher",
        ),
    ]
    stop_rested_voltage: Annotated[
        Array,
        Quantity(
            "V",
            "Rested voltage of one cell at that moment.",
            formula="stop_loaded_voltage + cell_power * resistance_for_each_cell / stop_loaded_voltage",
        ),
    ]
    charge_below: pack_steps.ChargeBelow
    charge_above: pack_steps.ChargeAbove
    voltage_below: pack_steps.VoltageBelow
    voltage_above: pack_steps.VoltageAbove
    end_rested_voltage: Annotated[
        Array, Quantity("V", "Rested voltage of one cell at the end.", method="on the curve, at `end_state_of_charge`")
    ]


def find_steps(given: Any, found: Any) -> Steps:
    """Return the steps of the discharge; nan in those of the end that the flight did not have."""
    power, resistance = given.mean_power / given.cells, found.pack_resistance / given.cells
    start_voltage = cells.open_circuit_voltage(given.chemistry, given.start_state_of_charge)
    discharge = pack.Discharge(
        found.endurance, found.end_state_of_charge, found.end_cell_voltage, found.ended_by, start_voltage
    )
    flies, by_voltage = found.endurance > 0, found.ended_by > 0
    stop_loaded = np.where(
        flies & by_voltage, np.maximum(given.cutoff_cell_voltage, np.sqrt(power * resistance)), np.nan
    )
    curve = pack_steps.find_curve_steps(given.chemistry, found.end_state_of_charge, flies & by_voltage)
    return Steps(
        resistance_at_temperature=pack_steps.resistance_at_temperature(given),
        cell_power=power,
        resistance_for_each_cell=resistance,
        start_cell_voltage=start_voltage,
        pieces=discharge_steps.find_pieces(
            discharge,
            given.chemistry,
            power=power,
            resistance=resistance,
            capacity=given.capacity,
            start_state_of_charge=given.start_state_of_charge,
        ),
        stop_loaded_voltage=stop_loaded,
        stop_rested_voltage=stop_loaded + power * resistance / stop_loaded,
        charge_below=curve.charge_below,
        charge_above=curve.charge_above,
        voltage_below=curve.voltage_below,
        voltage_above=curve.voltage_above,
        end_rested_voltage=np.where(
            flies & ~by_voltage, cells.open_circuit_voltage(given.chemistry, found.end_state_of_charge), np.nan
        ),
    )
