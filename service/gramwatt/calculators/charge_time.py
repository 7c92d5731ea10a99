"""Time, current and energy of a charge, at constant current and then at constant voltage."""

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from gramwatt.calculators._shared import (
    charge_fields,
    charge_notices,
    charge_results,
    charge_steps,
    fields,
    pack_fields,
)
from gramwatt.calculators._shared.cautions import TYPICAL_RESISTANCE, pack_resistance
from gramwatt.model import (
    Array,
    Assumption,
    Calculator,
    Example,
    LinesChart,
    Quantity,
)
from gramwatt.physics import cells, charging


@dataclass(frozen=True, slots=True)
class Inputs:
    """The pack, what is in it, and the charger."""

    cells: pack_fields.Cells
    capacity: pack_fields.Capacity
    chemistry: pack_fields.Chemistry
    state_of_charge: charge_fields.StateOfCharge
    open_circuit_voltage: pack_fields.OpenCircuitVoltage
    charge_rating: charge_fields.ChargeRating
    charge_target: charge_fields.ChargeTarget
    storage_state_of_charge: charge_fields.StorageStateOfCharge
    charge_rate: charge_fields.ChargeRate
    charge_current: charge_fields.ChargeCurrent
    packs_in_parallel: charge_fields.PacksInParallel
    maximum_charger_current: charge_fields.MaximumChargerCurrent
    maximum_charger_power: charge_fields.MaximumChargerPower
    maximum_supply_power: charge_fields.MaximumSupplyPower
    discharge_power: charge_fields.DischargePower
    energy_price: charge_fields.EnergyPrice
    cell_resistance: pack_fields.CellResistance
    lead_resistance: pack_fields.LeadResistance
    pack_resistance: pack_fields.MeasuredPackResistance
    pack_temperature: pack_fields.PackTemperature
    charge_cell_voltage: charge_fields.ChargeCellVoltage
    cutoff_charge_rate: charge_fields.CutoffChargeRate
    charge_resistance_ratio: charge_fields.ChargeResistanceRatio
    charger_efficiency: charge_fields.ChargerEfficiency
    supply_efficiency: charge_fields.SupplyEfficiency
    activation_energy: pack_fields.ActivationEnergy


EXACT = "exact on each straight piece of the rested-voltage curve"


@dataclass(frozen=True, slots=True)
class Results:
    """The charge, from what is in the pack to full or to the storage level."""

    charge_time: Annotated[
        Array,
        Quantity(
            "min",
            "Time until the target, without balancing.",
            formula="constant_current_time + constant_power_time + constant_voltage_time",
        ),
    ]
    constant_current_time: Annotated[
        Array,
        Quantity(
            "min",
            "Time at constant current.",
            label="At constant current",
            formula="capacity * (power_start_charge - state_of_charge_before) / current_limit",
        ),
    ]
    constant_power_time: Annotated[
        Array,
        Quantity(
            "min",
            "Time at the power of the charger or of its supply.",
            label="At constant power",
            method="integral of charge over current at `power_limit`, from `power_start_charge` to "
            f"`voltage_start_charge`, {EXACT}",
        ),
    ]
    constant_voltage_time: Annotated[
        Array,
        Quantity(
            "min",
            "Time at constant voltage, while the current falls.",
            label="At constant voltage",
            method="integral of charge over current from `voltage_start_charge` on; the current is what a cell lacks "
            f"of `charge_cell_voltage`, over its share of `charge_resistance`; {EXACT}",
        ),
    ]
    peak_charge_current: Annotated[
        Array, Quantity("A", "Current of the charger at the start, the highest.", method=charge_results.LOWEST)
    ]
    mean_charge_current: Annotated[
        Array,
        Quantity("A", "Charge over time, of all packs.", formula="packs_in_parallel * charge_put_back / charge_time"),
    ]
    peak_charge_rate: Annotated[
        Array,
        Quantity(
            "C",
            "Current of each pack at the start over its capacity.",
            formula="peak_charge_current / (packs_in_parallel * capacity)",
        ),
    ]
    charge_limited_by: charge_results.ChargeLimitedBy
    charge_rating_share: Annotated[
        Array,
        Quantity(
            "%",
            "Share of the maximum charge rate of the pack.",
            label="Maximum charge rate used",
            formula="peak_charge_rate / charge_rating",
            needs=("charge_rating",),
        ),
    ]
    charge_put_back: Annotated[
        Array,
        Quantity(
            "mAh",
            "Charge put back into each pack.",
            formula="capacity * (state_of_charge_after - state_of_charge_before)",
        ),
    ]
    state_of_charge_before: Annotated[
        Array,
        Quantity(
            "%",
            "Charge in the pack at the start.",
            label="Charge before",
            at_most=100,
            formula="state_of_charge",
            method="on the curve, at `open_circuit_voltage / cells`",
        ),
    ]
    state_of_charge_after: Annotated[
        Array,
        Quantity(
            "%",
            "Charge in the pack at the end.",
            label="Charge after",
            at_most=100,
            method="the target, or where the current at constant voltage is down to `cutoff_charge_rate * capacity`; "
            "`state_of_charge_before` if that is higher",
        ),
    ]
    charger_energy: Annotated[
        Array,
        Quantity(
            "Wh",
            "Energy from the charger into all packs.",
            method="integral of current times voltage at the packs",
        ),
    ]
    wall_energy: Annotated[
        Array,
        Quantity(
            "Wh",
            "Energy from the wall.",
            label="Energy from the wall",
            formula="charger_energy / (charger_efficiency * supply_efficiency)",
        ),
    ]
    energy_cost: Annotated[
        Array,
        Quantity(
            "1",
            "Cost of that energy, in the currency of the price.",
            formula="wall_energy * energy_price",
            needs=("energy_price",),
        ),
    ]
    storage_cell_voltage: charge_results.StorageCellVoltage
    storage_voltage: charge_results.StorageVoltage
    energy_to_discharge: charge_results.EnergyToDischarge
    discharge_time: charge_results.DischargeTime
    pack_resistance: fields.PackResistance
    charge_resistance: Annotated[
        Array,
        Quantity(
            "mohm",
            "Resistance of the pack over a charge.",
            formula="charge_resistance_ratio * pack_resistance",
        ),
    ]


def charge_time(given: Inputs) -> Results:
    """Compute a charge at constant current up to the charge voltage, then at constant voltage down to the cut-off.

    Several packs are equal, and equally empty. The time has no balancing, no pause and no slow start of an
    over-discharged pack. Against simulated whole cells it is 6 % too short to 8 % too long, with their own resistance
    in a pulse of seconds; an estimated resistance adds to that.
    """
    resistance = pack_resistance(given, given.pack_temperature, given.activation_energy)
    plan = charge_steps.make_plan(given, resistance)
    charged = charge_steps.charge(given, plan)
    duration = charged.duration
    rested = cells.open_circuit_voltage(given.chemistry, plan.start)
    charges = duration > 0
    current = np.where(charges, charging.current_at(rested, plan.limits, plan.resistance), np.nan)  # of each pack
    put_back = given.capacity * (charged.end_state_of_charge - plan.start)
    charger_energy = charged.energy * given.cells * given.packs_in_parallel
    wall_energy = charger_energy / (given.charger_efficiency * given.supply_efficiency)
    storage_cell_voltage = cells.open_circuit_voltage(given.chemistry, given.storage_state_of_charge)
    too_much = charging.rested_energy(
        cells.OPEN_CIRCUIT_VOLTAGE[given.chemistry],
        capacity=given.capacity,
        low=given.storage_state_of_charge,
        high=plan.start,
    )
    return Results(
        charge_time=duration,
        constant_current_time=charged.constant_current_time,
        constant_power_time=charged.constant_power_time,
        constant_voltage_time=charged.constant_voltage_time,
        peak_charge_current=current * given.packs_in_parallel,
        mean_charge_current=np.where(charges, given.packs_in_parallel * put_back / duration, np.nan),
        peak_charge_rate=current / given.capacity,
        charge_limited_by=np.where(charges, charge_steps.find_limit(given, plan, current), -1),
        charge_rating_share=current / given.capacity / given.charge_rating,
        charge_put_back=put_back,
        state_of_charge_before=plan.start,
        state_of_charge_after=charged.end_state_of_charge,
        charger_energy=charger_energy,
        wall_energy=wall_energy,
        energy_cost=wall_energy * given.energy_price,
        storage_cell_voltage=storage_cell_voltage,
        storage_voltage=given.cells * storage_cell_voltage,
        energy_to_discharge=too_much * given.cells * given.packs_in_parallel,
        discharge_time=charge_steps.discharge_time(given, plan),
        pack_resistance=resistance,
        charge_resistance=given.charge_resistance_ratio * resistance,
    )


CALCULATOR = Calculator(
    title="How long does charging take?",
    summary="Time, current, energy and cost of a charge, to full or to the storage level.",
    inputs=Inputs,
    results=Results,
    formula=charge_time,
    steps=charge_steps.find_steps,
    category="before",
    sentences=charge_notices.SENTENCES,
    charts=(
        LinesChart(
            charge_steps.trace_current,
            x="charge_time",
            y="peak_charge_current",
            x_label="Time",
            y_label="Current",
            title="Current over time",
        ),
        LinesChart(
            charge_steps.trace_cell_voltage,
            x="charge_time",
            y="charge_cell_voltage",
            x_label="Time",
            y_label="Cell voltage",
            title="Cell voltage over time",
        ),
    ),
    assumptions=(
        TYPICAL_RESISTANCE,
        Assumption(
            "charge_cell_voltage",
            charge_notices.FULL_VOLTAGES,
            lambda given: cells.FULL_VOLTAGE[given.chemistry],
        ),
    ),
    rules=charge_notices.RULES,
    references=charge_notices.REFERENCES,
    cautions=charge_notices.CAUTIONS,
    examples=(
        Example(
            "A 6-cell pack after a flight, at 1 C",
            given={"cells": 6, "capacity": 1300, "energy_price": 0.3},
            expected={
                "charge_time": 50.2,
                "peak_charge_current": 1.3,
                "charge_limited_by": "setting",
                "storage_cell_voltage": 3.7926,
            },
            rtol=0.02,
            source="by hand, roughly: 23.08 mΩ x 1.3 A = 0.030 V below 4.2 V constant voltage begins, at 97.6 % of the "
            "charge, after 0.776 h = 46.5 min; then R / b ln(10) of the last piece, b = 1.232 V per full charge: "
            "4680 As x 0.02308 ohm / 1.232 V x 2.303 = 202 s = 3.4 min",
        ),
        Example(
            "Three 4-cell packs on a parallel board, with a charger and a supply that limit the power",
            given={
                "cells": 4,
                "capacity": 1500,
                "chemistry": "lihv",
                "open_circuit_voltage": 14.8,
                "charge_rate": 2,
                "charge_rating": 3,
                "packs_in_parallel": 3,
                "maximum_charger_current": 8,
                "maximum_charger_power": 120,
                "maximum_supply_power": 100,
                "charger_efficiency": 90,
                "supply_efficiency": 85,
                "cell_resistance": 9,
                "lead_resistance": 5,
                "pack_temperature": 18,
                "energy_price": 0.35,
            },
            expected={"peak_charge_current": 6.0, "charge_limited_by": "supply-power"},
            rtol=0.02,
            source="by hand, roughly: 100 W x 90 % = 90 W into the packs; at 14.8 V rested and 0.2 V more under charge "
            "that is 6.0 A",
        ),
        Example(
            "A full Li-ion pack that must be discharged for storage",
            given={
                "cells": 6,
                "capacity": "4.2 Ah",
                "chemistry": "li-ion",
                "state_of_charge": 100,
                "charge_target": "storage",
                "discharge_power": 25,
            },
            expected={"charge_time": 0, "energy_to_discharge": 50.0, "discharge_time": 120},
            rtol=0.02,
            source="by hand, roughly: 3.97 V rested on average over 50 to 100 %, x 6 x 2.1 Ah = 50.0 Wh; over 25 W two "
            "hours",
        ),
    ),
)
