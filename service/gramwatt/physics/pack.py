"""A pack under load: an open-circuit voltage behind one resistance."""

from typing import Final, NamedTuple

import numpy as np

from gramwatt.arrays import Array, IndexArray
from gramwatt.physics import cells

BLOCK_PACKS: Final = 1024
"""Packs that are discharged together: their curves stay in the cache of the processor, which halves the time."""
_UPPER: Final = slice(1, None)
_LOWER: Final = slice(None, -1)
ENDED_BY: Final = ("reserve", "cut-off", "power-limit")


def resistance(
    cell_count: Array, cell_resistance: Array, lead_resistance: Array, temperature: Array, activation_energy: Array
) -> Array:
    """Compute the resistance (N,) [ohm] of a pack with its leads.

    Parameters
    ----------
    cell_count : (N,)
        Cells in series.
    cell_resistance, lead_resistance : (N,)
        Resistance of one series position at 25 °C, and of the leads [ohm].
    temperature, activation_energy : (N,)
        See `cells.resistance_at` [K], [J/mol].
    """
    return cell_count * cells.resistance_at(temperature, cell_resistance, activation_energy) + lead_resistance


def current_at_power(power: Array, open_circuit_voltage: Array, resistance: Array) -> Array:
    """Compute the current at which a pack gives a power at its terminals.

    Parameters
    ----------
    power : (N,)
        Power at the terminals [W].
    open_circuit_voltage : (N,)
        Rested voltage of the pack [V].
    resistance : (N,)
        Resistance of the pack with its leads [ohm].

    Returns
    -------
    (N,)
        The smaller root of ``P = I (V - I R)``: ``I = 2 P / (V + sqrt(V^2 - 4 P R))`` [A], a form that is exact at
        R = 0. Nan where the pack cannot give the power (``P > V^2 / 4R``). Valid for steady loads: in the first instant
        a pack sags less.
    """
    discriminant = open_circuit_voltage**2 - 4 * power * resistance
    root = np.sqrt(np.where(discriminant >= 0, discriminant, np.nan))
    return 2 * power / (open_circuit_voltage + root)


def max_power(open_circuit_voltage: Array, resistance: Array) -> Array:
    """Compute the maximum power (N,) [W] at the terminals, ``V^2 / 4R``; infinite without resistance."""
    return open_circuit_voltage**2 / (4 * resistance)


class Discharge(NamedTuple):
    """A discharge at constant power; arrays of one shape."""

    duration: Array
    """Time [s]."""
    end_state_of_charge: Array
    """State of charge at the end."""
    end_voltage: Array
    """Loaded cell voltage at the end [V]."""
    ended_by: IndexArray
    """Index into `ENDED_BY`."""
    start_voltage: Array
    """Rested cell voltage at the start [V]."""


def constant_power_discharge(
    rested_voltages: Array,
    *,
    power: Array,
    resistance: Array,
    capacity: Array,
    start_state_of_charge: Array,
    reserve: Array,
    cutoff_voltage: Array,
) -> Discharge:
    """Compute how long one cell gives a constant power, from a start charge to a reserve or a cut-off voltage.

    Parameters
    ----------
    rested_voltages : (..., K)
        Rested cell voltage at K equal steps of charge from 0 to 1, rising [V].
    power : (...)
        Power per cell, above 0 [W]. This and all below broadcast.
    resistance : (...)
        Resistance per cell, leads included [ohm].
    capacity : (...)
        Charge of a full cell [A s].
    start_state_of_charge, reserve : (...), both of one shape
        States of charge, 0 to 1.
    cutoff_voltage : (...)
        Loaded cell voltage that ends the discharge [V].

    Returns
    -------
    Discharge
        With ``I = 2P / (V + s)`` and ``s = sqrt(V^2 - 4PR)`` the duration is the integral of dq / I, exact on each
        straight segment of the open-circuit curve: with slope b = dV/dq and G(V) = V^2/2 + V s/2 - 2PR ln(V + s), a
        segment takes ``(G(V_hi) - G(V_lo)) / (2 P b)``. The cut-off voltage Vc is reached at V = Vc + P R / Vc. Where
        Vc < sqrt(P R) the pack fails first, at V = 2 sqrt(P R) ("power-limit"). The duration is nan where the pack
        cannot give the power at the start, 0 where reserve or cut-off is already reached there.

    Notes
    -----
    Resistance is constant over the discharge; no self-heating, no diffusion. Against full electrochemical models at the
    one-hour rate the time is 0.3 % (a power cell) to 6.4 % (an energy cell) too long. At 3 C and above an energy cell
    is limited by diffusion, and this model is far too optimistic.
    """
    steps = rested_voltages.shape[-1] - 1
    rises = rested_voltages[..., 1:] - rested_voltages[..., :-1]
    segments = np.array([start_state_of_charge, reserve])[..., None] * steps - np.arange(steps)
    start_voltage, reserve_voltage = rested_voltages[..., 0] + (rises * np.minimum(np.maximum(segments, 0), 1)).sum(
        axis=-1
    )

    loss = power * resistance  # P R [V^2]
    power_limited = cutoff_voltage**2 < loss
    stop_voltage = np.where(power_limited, 2 * np.sqrt(loss), cutoff_voltage + loss / cutoff_voltage)
    by_voltage = stop_voltage > reserve_voltage
    end_voltage = np.minimum(np.maximum(stop_voltage, reserve_voltage), start_voltage)

    rested, twice_loaded, parts = integrate_constant_power(rested_voltages, rises, end_voltage, start_voltage, loss)
    integral = parts.sum(axis=-1)
    used = ((rested[..., 1:] - rested[..., :-1]) / rises).sum(axis=-1) / steps
    return Discharge(
        duration=np.where(start_voltage**2 < 4 * loss, np.nan, capacity * integral / (4 * power * steps)),
        end_state_of_charge=np.where(
            by_voltage, start_state_of_charge - used, np.minimum(reserve, start_state_of_charge)
        ),
        end_voltage=twice_loaded[..., 0] / 2,
        ended_by=np.where(by_voltage, np.where(power_limited, 2, 1), 0),
        start_voltage=start_voltage,
    )


def integrate_constant_power(
    rested_voltages: Array, rises: Array, end_voltage: Array, start_voltage: Array, loss: Array
) -> tuple[Array, Array, Array]:
    """Return the rested voltages from the end to the start (..., K), twice the loaded ones, and ``2 G / b`` by segment.

    Segments (..., K - 1) outside have no length. ``b`` is a rise for a whole segment. ``loss`` (...) is P R [V^2],
    negative where power is put in; G is that of `constant_power_discharge`.
    """
    rested = np.minimum(np.maximum(rested_voltages, end_voltage[..., None]), start_voltage[..., None])
    four_loss = 4 * loss[..., None]
    twice_loaded = rested + np.sqrt(np.maximum(rested**2 - four_loss, 0))
    twice_g = rested * twice_loaded - four_loss * np.log(twice_loaded)
    return rested, twice_loaded, (twice_g[..., 1:] - twice_g[..., :-1]) / rises


class Pieces(NamedTuple):
    """The straight pieces of a discharge of one cell, from the start to the end; arrays (N, K), nan where no time."""

    from_charge: Array
    to_charge: Array
    """States of charge at both ends."""
    from_voltage: Array
    to_voltage: Array
    """Rested voltages [V]."""
    from_loaded_voltage: Array
    to_loaded_voltage: Array
    """Loaded voltages [V]."""
    duration: Array
    """Time [s]."""


def list_pieces(
    discharge: Discharge,
    chemistry: IndexArray,
    *,
    power: Array,
    resistance: Array,
    capacity: Array,
    start_state_of_charge: Array,
) -> Pieces:
    """Return the pieces of N discharges of one cell: with these, `constant_power_discharge` found them.

    Parameters
    ----------
    discharge : Discharge
        What it found (N,).
    chemistry : (N,)
        Indices into `cells.CHEMISTRIES`.
    power, resistance, capacity, start_state_of_charge : (N,)
        As there.

    Returns
    -------
    Pieces
        Their durations add up to that of the discharge.
    """
    curve = cells.OPEN_CIRCUIT_VOLTAGE[chemistry]
    steps = curve.shape[-1] - 1
    loss = power * resistance
    end_voltage = discharge.end_voltage + loss / discharge.end_voltage  # rested
    rises = curve[:, 1:] - curve[:, :-1]
    rested, twice_loaded, parts = integrate_constant_power(curve, rises, end_voltage, discharge.start_voltage, loss)
    duration = parts * (capacity / (4 * power * steps))[:, None]
    ends = (discharge.end_state_of_charge[:, None], start_state_of_charge[:, None])
    charge = np.minimum(np.maximum(np.linspace(0.0, 1.0, steps + 1), ends[0]), ends[1])
    lasts = (rested[:, 1:] > rested[:, :-1]) & (discharge.duration[:, None] > 0)
    ends_of_pieces = (each[:, part] for each in (charge, rested, twice_loaded / 2) for part in (_UPPER, _LOWER))
    return Pieces(*(np.where(lasts, each, np.nan)[:, ::-1] for each in (*ends_of_pieces, duration)))


def discharge_pack(
    chemistry: IndexArray,
    cell_count: Array,
    *,
    power: Array,
    resistance: Array,
    capacity: Array,
    start_state_of_charge: Array,
    reserve: Array,
    cutoff_voltage: Array,
) -> Discharge:
    """Compute how long a pack of ``cell_count`` cells in series gives a constant power [W].

    ``resistance`` [ohm] is that of the pack with its leads; see `constant_power_discharge` for the rest.
    """
    given = (
        chemistry,
        power / cell_count,
        resistance / cell_count,
        capacity,
        start_state_of_charge,
        reserve,
        cutoff_voltage,
    )
    arrays = np.broadcast_arrays(*given)
    flat, size = [each.reshape(-1) for each in arrays], arrays[0].size
    duration, end_state_of_charge, end_voltage, start_voltage = np.empty((4, size))
    ended_by = np.empty(size, dtype=np.intp)
    found = Discharge(duration, end_state_of_charge, end_voltage, ended_by, start_voltage)
    for start in range(0, size, BLOCK_PACKS):
        block = slice(start, start + BLOCK_PACKS)
        chosen, *values = (each[block] for each in flat)
        names = ("power", "resistance", "capacity", "start_state_of_charge", "reserve", "cutoff_voltage")
        part = constant_power_discharge(cells.OPEN_CIRCUIT_VOLTAGE[chosen], **dict(zip(names, values, strict=True)))
        for target, values_found in zip(found, part, strict=True):
            target[block] = values_found
    shape = arrays[0].shape
    return Discharge(*(each.reshape(shape) for each in found))  # type: ignore[arg-type]
