"""A charge of packs from the inputs of a request, its steps for the working, and its lines for charts."""

from dataclasses import dataclass
from typing import Annotated, Any, Final, NamedTuple

import numpy as np

from gramwatt.calculators._shared import pack_steps
from gramwatt.calculators._shared.charge_fields import STORAGE
from gramwatt.model import Array, IndexArray, Quantity, TracedLine
from gramwatt.physics import cells, charging, pack

LIMITED_BY: Final = ("setting", "charger-current", "charger-power", "supply-power", "cell-voltage")
LIMITED_BY_NAMES: Final = (
    "the rate or current that was set",
    "the charger's current",
    "the charger's power",
    "the supply's power",
    "the charge voltage",
)
POINTS: Final = 41
"""Points of each phase in a chart: the lines look smooth."""


class Plan(NamedTuple):
    """A charge of equal packs, each divided into its cells; arrays (N,), SI."""

    setting: Array
    """Current of each pack that was set."""
    supply_power: Array
    """What the supply lets the charger give."""
    limits: charging.Limits
    resistance: Array
    """Of one cell, over a charge."""
    start: Array
    target: Array
    """States of charge."""


def make_plan(given: Any, pack_resistance: Array) -> Plan:
    """Return the charge that a request describes."""
    packs = given.packs_in_parallel
    setting = np.where(np.isnan(given.charge_current), given.charge_rate * given.capacity, given.charge_current / packs)
    current = np.fmin(setting, given.maximum_charger_current / packs)
    supply_power = given.maximum_supply_power * given.charger_efficiency
    power = np.fmin(given.maximum_charger_power, supply_power)
    by_voltage = charging.state_of_charge_at(given.chemistry, given.open_circuit_voltage / given.cells)
    return Plan(
        setting=setting,
        supply_power=supply_power,
        limits=charging.Limits(
            current=current,
            power=np.where(np.isnan(power), np.inf, power / (packs * given.cells)),
            set_voltage=given.charge_cell_voltage,
            cutoff_current=given.cutoff_charge_rate * given.capacity,
        ),
        resistance=given.charge_resistance_ratio * pack_resistance / given.cells,
        start=np.where(np.isnan(given.open_circuit_voltage), given.state_of_charge, by_voltage),
        target=np.where(given.charge_target == STORAGE, given.storage_state_of_charge, 1.0),
    )


def charge(given: Any, plan: Plan) -> charging.Charge:
    """Return the charge of one cell."""
    return charging.charge_cell(
        cells.OPEN_CIRCUIT_VOLTAGE[given.chemistry],
        plan.limits,
        resistance=plan.resistance,
        capacity=given.capacity,
        start_state_of_charge=plan.start,
        target_state_of_charge=plan.target,
    )


def find_limit(given: Any, plan: Plan, start_current: Array) -> IndexArray:
    """Return what sets the current (N,) of a pack [A] at the start, an index into `LIMITED_BY`."""
    rested = cells.open_circuit_voltage(given.chemistry, plan.start)
    at_voltage = charging.current_at(rested, plan.limits._replace(power=np.full(rested.shape, np.inf)), plan.resistance)
    by_power = np.where(plan.supply_power < np.fmin(given.maximum_charger_power, np.inf), 3, 2)
    by_current = np.where(plan.limits.current < plan.setting, 1, 0)
    return np.where(
        start_current < at_voltage, by_power, np.where(at_voltage < plan.limits.current, 4, by_current)
    ).astype(np.intp)


def _discharge(given: Any, plan: Plan, reserve: Array) -> pack.Discharge:
    """Return the discharge of each pack (N,), or of one at several moments, down to a state of charge."""
    return pack.discharge_pack(
        given.chemistry,
        given.cells,
        power=given.discharge_power / given.packs_in_parallel,
        resistance=plan.resistance * given.cells,
        capacity=given.capacity,
        start_state_of_charge=plan.start,
        reserve=reserve,
        cutoff_voltage=cells.CUTOFF_VOLTAGE[given.chemistry],
    )


def discharge_time(given: Any, plan: Plan) -> Array:
    """Return the time (N,) [s] that the charger takes down to the storage level; nan where the pack fails first."""
    discharge = _discharge(given, plan, given.storage_state_of_charge)
    is_above = plan.start > given.storage_state_of_charge
    reached = (discharge.ended_by == 0) & (discharge.duration > 0)
    below = np.where(np.isnan(given.discharge_power), np.nan, 0.0)
    return np.where(is_above, np.where(reached, discharge.duration, np.nan), below)


@dataclass(frozen=True, slots=True)
class Steps:
    """From the settings to the phases of the charge."""

    resistance_at_temperature: pack_steps.ResistanceAtTemperature
    current_limit: Annotated[
        Array,
        Quantity(
            "A",
            "Maximum current of each pack.",
            formula=(
                "min(charge_current / packs_in_parallel, maximum_charger_current / packs_in_parallel)",
                "charge_current / packs_in_parallel",
                "min(charge_rate * capacity, maximum_charger_current / packs_in_parallel)",
                "charge_rate * capacity",
            ),
        ),
    ]
    power_limit: Annotated[
        Array,
        Quantity(
            "W",
            "Maximum power into all packs.",
            formula=(
                "min(maximum_charger_power, maximum_supply_power * charger_efficiency)",
                "maximum_charger_power",
                "maximum_supply_power * charger_efficiency",
            ),
        ),
    ]
    power_start_charge: Annotated[
        Array,
        Quantity(
            "%",
            "Charge at which the current begins to fall.",
            at_most=100,
            method="where `current_limit` brings the charger to `power_limit` or a cell to `charge_cell_voltage`",
        ),
    ]
    voltage_start_charge: Annotated[
        Array,
        Quantity(
            "%",
            "Charge at which constant voltage begins.",
            at_most=100,
            method="where a cell is at `charge_cell_voltage`, through its share of `charge_resistance`",
        ),
    ]
    charge_below: pack_steps.ChargeBelow
    charge_above: pack_steps.ChargeAbove
    voltage_below: pack_steps.VoltageBelow
    voltage_above: pack_steps.VoltageAbove


def find_steps(given: Any, found: Any) -> Steps:
    """Return the steps of a charge; the points of the curve are those of the storage level."""
    plan = make_plan(given, found.pack_resistance)
    charged = charge(given, plan)
    curve = pack_steps.find_curve_steps(given.chemistry, given.storage_state_of_charge, True)
    return Steps(
        resistance_at_temperature=pack_steps.resistance_at_temperature(given),
        current_limit=plan.limits.current,
        power_limit=np.fmin(given.maximum_charger_power, plan.supply_power),
        power_start_charge=charged.power_start,
        voltage_start_charge=charged.voltage_start,
        charge_below=curve.charge_below,
        charge_above=curve.charge_above,
        voltage_below=curve.voltage_below,
        voltage_above=curve.voltage_above,
    )


class _Phase(NamedTuple):
    """A phase of one charge at M moments."""

    name: str
    time: Array
    current: Array
    """Of one pack [A]."""
    cell_voltage: Array


def _trace_phases(given: Any, found: Any) -> list[_Phase]:
    """Return the phases that one charge has, or the discharge to the storage level."""
    with np.errstate(all="ignore"):
        plan = make_plan(given, found.pack_resistance)
        if given.charge_target[0] == STORAGE and found.discharge_time[0] > 0:
            return [_trace_discharge(given, plan)]
        return _trace_charge(given, plan)


def _trace_discharge(given: Any, plan: Plan) -> _Phase:
    """Return the discharge to the storage level at constant power."""
    charges = np.linspace(float(plan.start[0]), float(given.storage_state_of_charge[0]), POINTS)
    discharge = _discharge(given, plan, charges)
    rested = cells.open_circuit_voltage(given.chemistry, charges)
    power = given.discharge_power / (given.packs_in_parallel * given.cells)
    current = pack.current_at_power(power, rested, plan.resistance)
    return _Phase("discharge", discharge.duration, current, rested - current * plan.resistance)


def _trace_charge(given: Any, plan: Plan) -> list[_Phase]:
    """Return the phases of the charge."""
    charged = charge(given, plan)
    ends = [
        float(each[0]) for each in (plan.start, charged.power_start, charged.voltage_start, charged.end_state_of_charge)
    ]
    curve = cells.OPEN_CIRCUIT_VOLTAGE[given.chemistry].repeat(POINTS, axis=0)
    limits, start, resistance, capacity = (
        charging.Limits(*(each.repeat(POINTS) for each in plan.limits)),
        plan.start.repeat(POINTS),
        plan.resistance.repeat(POINTS),
        given.capacity.repeat(POINTS),
    )
    phases = []
    for name, low, high in zip(
        ("constant current", "constant power", "constant voltage"), ends, ends[1:], strict=False
    ):
        if high - low < 1e-9:
            continue
        target = np.linspace(low, high, POINTS)
        reached = charging.charge_cell(
            curve,
            limits,
            resistance=resistance,
            capacity=capacity,
            start_state_of_charge=start,
            target_state_of_charge=target,
        )
        rested = cells.open_circuit_voltage(given.chemistry.repeat(POINTS), np.minimum(target, 1.0))
        current = charging.current_at(rested, limits, resistance)
        phases.append(_Phase(name, reached.duration, current, rested + current * resistance))
    return phases


def trace_current(given: Any, found: Any) -> tuple[TracedLine, ...]:
    """Return the charger's current over time, a line for each phase, or that of the discharge to storage."""
    packs = float(given.packs_in_parallel[0])
    return tuple(TracedLine(phase.name, phase.time, phase.current * packs) for phase in _trace_phases(given, found))


def trace_cell_voltage(given: Any, found: Any) -> tuple[TracedLine, ...]:
    """Return the voltage of a cell over time, a line for each phase."""
    return tuple(TracedLine(phase.name, phase.time, phase.cell_voltage) for phase in _trace_phases(given, found))
