"""A charge at constant current, then constant voltage: an open-circuit voltage behind one resistance."""

from typing import NamedTuple

import numpy as np

from gramwatt.arrays import Array, IndexArray
from gramwatt.physics import cells, pack


class Limits(NamedTuple):
    """What holds a charge of one cell back; arrays (N,)."""

    current: Array
    """Of the charger [A]."""
    power: Array
    """Of the charger [W]; infinite where there is no limit."""
    set_voltage: Array
    """Voltage of the cell that the charger does not exceed [V]."""
    cutoff_current: Array
    """Current that ends the charge at the set voltage [A]."""


class Charge(NamedTuple):
    """A charge of one cell; arrays (N,)."""

    constant_current_time: Array
    constant_power_time: Array
    constant_voltage_time: Array
    """Times [s] of the phases, in their order."""
    power_start: Array
    voltage_start: Array
    """States of charge at which the second and the third begin; the end, where they do not."""
    end_state_of_charge: Array
    energy: Array
    """Energy into the cell with its resistance [J]."""

    @property
    def duration(self) -> Array:
        """Time [s]."""
        return self.constant_current_time + self.constant_power_time + self.constant_voltage_time


def current_at(rested_voltage: Array, limits: Limits, resistance: Array) -> Array:
    """Compute the charge current of a cell.

    Parameters
    ----------
    rested_voltage : (...)
        Rested voltage [V]. This and all below broadcast.
    limits : Limits of (...)
        As there.
    resistance : (...)
        Resistance of the cell [ohm].

    Returns
    -------
    (...)
        The lowest of the charger's current, ``2 P / (u + sqrt(u^2 + 4 P R))`` at its power and ``(V - u) / R`` at the
        set voltage [A], not below 0. Each falls, or stays, as the rested voltage u rises.
    """
    power = _finite_power(limits)
    at_power = pack.current_at_power(power, rested_voltage, -resistance)
    at_voltage = np.where(resistance > 0, (limits.set_voltage - rested_voltage) / resistance, np.inf)
    return np.asarray(np.maximum(np.minimum(np.minimum(limits.current, at_power), at_voltage), 0.0))


def charge_cell(
    rested_voltages: Array,
    limits: Limits,
    *,
    resistance: Array,
    capacity: Array,
    start_state_of_charge: Array,
    target_state_of_charge: Array,
) -> Charge:
    """Compute how long the charge of one cell takes, to a target or until the current at the set voltage is low.

    Parameters
    ----------
    rested_voltages : (N, K)
        Rested cell voltage at K equal steps of charge from 0 to 1, rising [V].
    limits : Limits
        Current and power above 0; a cut-off current above 0.
    resistance : (N,)
        Resistance per cell, leads included [ohm].
    capacity : (N,)
        Charge of a full cell [A s].
    start_state_of_charge, target_state_of_charge : (N,)
        States of charge, 0 to 1.

    Returns
    -------
    Charge
        The time is the integral of dq / I, exact on each straight segment of the open-circuit curve with slope
        b = du/dq. As u rises, three phases follow, each of which may be missing:

        - constant current I, up to ``u = P/I - I R`` or ``u = V - I R``: ``dq / I``;
        - constant power P, up to the set voltage V: ``(G(u2) - G(u1)) / (2 P b)`` with
          ``G(u) = u^2/2 + u s/2 + 2 P R ln(u + s)`` and ``s = sqrt(u^2 + 4 P R)``;
        - constant voltage, with ``I = (V - u) / R`` down to the cut-off: ``R / b ln((V - u1) / (V - u2))``.

        All times are 0 where the cell is at its target already, or above the voltage at which the charge ends.

    Notes
    -----
    Resistance is constant, and all charge is stored: no self-heating, no diffusion, no balancing. In a real cell
    diffusion makes the voltage rise earlier and the current at constant voltage fall more slowly. Given the average
    resistance of the constant-current phase of a full electrochemical model, which includes most of that, the time is
    within some per cent of it.
    """
    steps = rested_voltages.shape[-1] - 1
    rises = rested_voltages[:, 1:] - rested_voltages[:, :-1]
    rows, power = np.arange(len(rises)), _finite_power(limits)

    def voltage_at(charge: Array) -> Array:
        position = charge * steps
        below = np.minimum(position.astype(np.intp), steps - 1)
        return np.asarray(rested_voltages[rows, below] + rises[rows, below] * (position - below))

    def pieces(low: Array, high: Array) -> tuple[Array, Array]:
        """Return the rested voltages (N, K - 1) at both ends of each piece between two rested voltages."""
        clipped = np.minimum(np.maximum(rested_voltages, low[:, None]), high[:, None])
        return clipped[:, :-1], clipped[:, 1:]

    start, target = voltage_at(start_state_of_charge), voltage_at(target_state_of_charge)
    first_current = np.minimum(limits.current, power / limits.set_voltage)  # at the set voltage
    voltage_begins = limits.set_voltage - first_current * resistance
    cut_off = limits.set_voltage - np.minimum(limits.cutoff_current, first_current) * resistance
    end = np.maximum(np.minimum(cut_off, target), start)
    power_begins = np.minimum(power / limits.current - limits.current * resistance, voltage_begins)
    power_begins, voltage_begins = (np.minimum(np.maximum(at, start), end) for at in (power_begins, voltage_begins))

    def shares(low: Array, high: Array) -> Array:
        below, above = pieces(low, high)
        return np.asarray(((above - below) / rises).sum(axis=1) / steps)

    at_current, at_power, at_voltage = (
        shares(start, power_begins),
        shares(power_begins, voltage_begins),
        shares(voltage_begins, end),
    )
    _, _, parts = pack.integrate_constant_power(
        rested_voltages, rises, power_begins, voltage_begins, -power * resistance
    )
    below, above = pieces(voltage_begins, end)
    left = limits.set_voltage[:, None]
    logarithms = np.where(above > below, np.log((left - below) / (left - above)), 0.0)
    power_time = capacity * parts.sum(axis=1) / (4 * power * steps)
    low, high = pieces(start, power_begins)
    rested_integral = ((high**2 - low**2) / rises).sum(axis=1) / (2 * steps)  # of u over the state of charge
    return Charge(
        constant_current_time=capacity * at_current / limits.current,
        constant_power_time=power_time,
        constant_voltage_time=capacity * resistance * (logarithms / rises).sum(axis=1) / steps,
        power_start=start_state_of_charge + at_current,
        voltage_start=start_state_of_charge + at_current + at_power,
        end_state_of_charge=start_state_of_charge + at_current + at_power + at_voltage,
        energy=capacity * (rested_integral + limits.current * resistance * at_current + limits.set_voltage * at_voltage)
        + power * power_time,
    )


def _finite_power(limits: Limits) -> Array:
    """Return the limit of power [W]; where it is infinite, one that is reached at the set voltage only."""
    return np.minimum(limits.power, limits.set_voltage * limits.current)


def rested_energy(rested_voltages: Array, *, capacity: Array, low: Array, high: Array) -> Array:
    """Compute the energy (N,) [J] of one cell between two states of charge (N,) at its rested voltages (N, K) [V].

    ``capacity`` (N,) is in [A s]. Where ``high`` is not above ``low`` the energy is 0.
    """
    steps = rested_voltages.shape[-1] - 1
    rises = rested_voltages[:, 1:] - rested_voltages[:, :-1]
    ends = np.array([low, np.maximum(low, high)])[..., None] * steps - np.arange(steps)  # (2, N, K - 1)
    below, above = np.minimum(np.maximum(ends, 0.0), 1.0)
    integral = (rested_voltages[:, :-1] * (above - below) + rises * (above**2 - below**2) / 2).sum(axis=1)
    return np.asarray(capacity * integral / steps)


def state_of_charge_at(chemistry: IndexArray, rested_voltage: Array) -> Array:
    """Return the state of charge (N,) at which a rested cell has a voltage (N,) [V]; 0 below the curve, 1 above it."""
    curve = cells.OPEN_CIRCUIT_VOLTAGE[chemistry]
    rises = curve[:, 1:] - curve[:, :-1]
    inside = np.minimum(np.maximum((rested_voltage[:, None] - curve[:, :-1]) / rises, 0.0), 1.0)
    return np.asarray(inside.sum(axis=1) / rises.shape[1])
