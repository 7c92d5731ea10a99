"""Average power of a flight of known duration: the inverse of a discharge at constant power."""

from typing import Final

import numpy as np

from gramwatt.arrays import Array, IndexArray
from gramwatt.physics import cells, pack

MAX_STEPS: Final = 200
"""Steps of the search for a power: a handful where the reserve ends the discharge, some fifty on a steep cut-off."""
DURATION_TOLERANCE: Final = 1e-11
"""Relative error of the duration at which the next step is the last: it leaves less than 1e-14."""


def find_constant_power(
    rested_voltages: Array,
    *,
    duration: Array,
    resistance: Array,
    capacity: Array,
    start_state_of_charge: Array,
    end_state_of_charge: Array,
    cutoff_voltage: Array,
) -> Array:
    """Find the constant power at which a cell discharges in a given time: see `pack.constant_power_discharge`.

    Parameters
    ----------
    rested_voltages : (K, S)
        Rested cell voltage at S equal steps of charge from 0 to 1, rising [V].
    duration : (K,)
        Time [s]. This and all below have one shape.
    resistance, capacity, start_state_of_charge, end_state_of_charge, cutoff_voltage : (K,)
        As in `pack.constant_power_discharge`, with the charge at the end as reserve.

    Returns
    -------
    (K,)
        Power [W]; nan where the discharge has no length or a value is nan. Every duration has one power, since the
        duration falls from infinity to 0 as the power rises. Found by a secant search of ln duration against ln power,
        within bounds: above is the power without any loss, ``integral of V dq / duration``, or the most that the cell
        gives at the start, beyond which no discharge has a length.
    """
    area, start_voltage = _integrate_rested(rested_voltages, start_state_of_charge, end_state_of_charge)
    high = np.minimum(capacity * area / duration, _find_maximum_start_power(start_voltage, cutoff_voltage, resistance))
    low = np.zeros_like(high)
    # The start: as if at the mean voltage V and the mean current I, P = I (V - I R), where d ln I / d ln P is known.
    current = capacity * (start_state_of_charge - end_state_of_charge) / duration
    power = high - current**2 * resistance
    slope = -power / (power - current**2 * resistance)
    slope = np.where(slope < 0, slope, -1.0)
    has_power = (current > 0) & np.isfinite(high + resistance) & (start_voltage > cutoff_voltage)
    power = np.where(has_power, np.where(power > high / 4, power, high / 2), np.nan)
    left = np.flatnonzero(has_power)
    previous = previous_error = np.zeros(0)
    for step in range(MAX_STEPS):
        if not len(left):
            break
        tried = power[left]
        found = pack.constant_power_discharge(
            rested_voltages[left],
            power=tried,
            resistance=resistance[left],
            capacity=capacity[left],
            start_state_of_charge=start_state_of_charge[left],
            reserve=end_state_of_charge[left],
            cutoff_voltage=cutoff_voltage[left],
        ).duration
        error = np.log(np.where(found > 0, found, 0.0) / duration[left])
        if step:
            secant = (error - previous_error) / np.log(tried / previous)
            slope[left] = np.where(secant < 0, secant, -1.0)
        low[left], high[left] = np.where(error > 0, tried, low[left]), np.where(error > 0, high[left], tried)
        following = tried * np.exp(-error / slope[left])
        middle = np.where(low[left] > 0, np.sqrt(low[left] * high[left]), high[left] / 2)
        is_inside = (following > low[left]) & (following < high[left]) & (step % 8 < 7)  # now and then by halves
        is_done = np.abs(error) <= DURATION_TOLERANCE
        power[left] = np.where(is_inside, following, np.where(is_done, tried, middle))
        goes_on = ~is_done & (high[left] - low[left] > 1e-15 * high[left])
        left, previous, previous_error = left[goes_on], tried[goes_on], error[goes_on]
    return power


def _find_maximum_start_power(start_voltage: Array, cutoff_voltage: Array, resistance: Array) -> Array:
    """Return the most that a cell gives [W]: at half its rested voltage, or at the cut-off if that is higher (K,)."""
    loaded_voltage = np.maximum(start_voltage / 2, cutoff_voltage)
    no_loss = np.full(resistance.shape, np.inf)
    power = loaded_voltage * (start_voltage - loaded_voltage)
    return np.asarray(np.divide(power, resistance, out=no_loss, where=resistance > 0))


def _integrate_rested(
    rested_voltages: Array, start_state_of_charge: Array, end_state_of_charge: Array
) -> tuple[Array, Array]:
    """Return the integral of rested voltage over charge from the end to the start (K,) [V], and that at the start."""
    steps = rested_voltages.shape[1] - 1
    parts = np.clip(np.array([start_state_of_charge, end_state_of_charge])[..., None] * steps - np.arange(steps), 0, 1)
    rises = rested_voltages[:, 1:] - rested_voltages[:, :-1]
    areas = (rested_voltages[:, :-1] * parts + rises * parts**2 / 2).sum(axis=2) / steps
    return areas[0] - areas[1], rested_voltages[:, 0] + (rises * parts[0]).sum(axis=1)


def find_average_power(
    chemistry: IndexArray,
    cell_count: Array,
    *,
    duration: Array,
    resistance: Array,
    capacity: Array,
    start_state_of_charge: Array,
    end_state_of_charge: Array,
    cutoff_voltage: Array,
) -> Array:
    """Find the constant power [W] at which a pack discharges in a given time: the inverse of `pack.discharge_pack`.

    Arrays of any shapes that broadcast; see `find_constant_power`. Computed in blocks, as `pack.discharge_pack` is.
    """
    per_cell = resistance / cell_count
    arrays = np.broadcast_arrays(
        chemistry, duration, per_cell, capacity, start_state_of_charge, end_state_of_charge, cutoff_voltage, cell_count
    )
    table = np.stack([each.reshape(-1) for each in arrays])
    # In a sweep of another input, one flight is in many rows: each is searched once.
    distinct, place = _find_distinct_columns(table)
    codes, *flat = distinct
    codes = codes.astype(np.intp)
    names = ("duration", "resistance", "capacity", "start_state_of_charge", "end_state_of_charge", "cutoff_voltage")
    powers = np.empty(len(codes))
    for start in range(0, len(codes), pack.BLOCK_PACKS):
        block = slice(start, start + pack.BLOCK_PACKS)
        values = dict(zip(names, (each[block] for each in flat), strict=False))
        powers[block] = find_constant_power(cells.OPEN_CIRCUIT_VOLTAGE[codes[block]], **values)
    return np.asarray(powers * flat[-1])[place].reshape(arrays[0].shape)


def _find_distinct_columns(table: Array) -> tuple[Array, IndexArray]:
    """Return the distinct columns (F, D) of a table (F, K), and which of them each column is (K,)."""
    order = np.lexsort(table)
    ordered = table[:, order]
    is_new = np.ones(len(order), dtype=bool)
    # A nan differs from itself, so that its column is a new one.
    is_new[1:] = (ordered[:, 1:] != ordered[:, :-1]).any(axis=0)
    place = np.empty(len(order), dtype=np.intp)
    place[order] = np.cumsum(is_new) - 1
    return ordered[:, is_new], place
