"""A pack under load: an open-circuit voltage behind one resistance."""

from typing import Final, NamedTuple

import numpy as np

from gramwatt.declare import Array, Codes
from gramwatt.physics import cells

ENDED_BY: Final = ("reserve", "cut-off", "power-limit")


def resistance(
    count: Array, cell_resistance: Array, lead_resistance: Array, temperature: Array, activation_energy: Array
) -> Array:
    """Resistance [ohm] of a pack with its leads, all (N,): ``count`` cells in series at a temperature [K], plus leads.

    ``cell_resistance`` [ohm] holds at 25 degC; see `cells.resistance_at`.
    """
    return count * cells.resistance_at(temperature, cell_resistance, activation_energy) + lead_resistance


def current_at_power(power: Array, open_circuit_voltage: Array, resistance: Array) -> Array:
    """Current that gives a power at the terminals.

    Parameters
    ----------
    power : (N,) at the terminals [W]
    open_circuit_voltage : (N,) of the pack at rest [V]
    resistance : (N,) of the pack and its leads [ohm]

    Returns
    -------
    (N,) the smaller root of ``P = I (V - I R)``, ``I = 2 P / (V + sqrt(V^2 - 4 P R))`` [A], a form that survives
    R = 0; nan where the pack cannot give the power (P > V^2 / 4R). For steady loads; a pack just loaded sags less.
    """
    discriminant = open_circuit_voltage**2 - 4 * power * resistance
    root = np.sqrt(np.where(discriminant >= 0, discriminant, np.nan))
    return 2 * power / (open_circuit_voltage + root)


def greatest_power(open_circuit_voltage: Array, resistance: Array) -> Array:
    """The most power [W] the pack can give at its terminals, ``V^2 / 4R``; infinite without resistance."""
    return open_circuit_voltage**2 / (4 * resistance)


class Discharge(NamedTuple):
    """Arrays of shape (N,): duration [s], state of charge and loaded cell voltage [V] at the end, and what ended it
    (a position in `ENDED_BY`)."""

    duration: Array
    end_charge: Array
    end_voltage: Array
    ended_by: Codes


def constant_power_discharge(
    nodes: Array,
    *,
    power: Array,
    resistance: Array,
    charge: Array,
    start: Array,
    reserve: Array,
    cutoff: Array,
) -> Discharge:
    """How long one cell gives a constant power, from a start charge down to a reserve or a cut-off voltage.

    Parameters
    ----------
    nodes : (N, K) rested cell voltage at K equal steps of charge from 0 to 1, rising [V]
    power : (N,) per cell [W], above 0
    resistance : (N,) per cell, leads shared out [ohm]
    charge : (N,) of a full cell [A s]
    start, reserve : (N,) states of charge, 0 to 1
    cutoff : (N,) loaded cell voltage that ends the discharge [V]

    Returns
    -------
    `Discharge`. With ``I = 2P / (V + s)``, ``s = sqrt(V^2 - 4PR)``, the duration is the integral of dq / I, exact on
    each straight piece of the open-circuit curve: with slope b = dV/dq and G(V) = V^2/2 + V s/2 - 2PR ln(V + s), a
    piece takes ``(G(V_hi) - G(V_lo)) / (2 P b)``. The cut-off voltage Vc is met at V = Vc + P R / Vc, or, where
    Vc < sqrt(P R), never: the pack gives out first, at V = 2 sqrt(P R) ("power-limit"). Duration is nan where it has
    given out before the start, 0 where reserve or cut-off already holds there.

    Notes
    -----
    Resistance is constant over the discharge; no self-heating, no diffusion. Against full electrochemical models at
    one hour's rate the time comes out 0.3 % (a power cell) to 6.4 % (an energy cell) long; at three hours' rates and
    more an energy cell is limited by diffusion and this model is far too hopeful.
    """
    with np.errstate(divide="ignore", invalid="ignore"):  # pieces of the curve that are not flown
        return _discharge(nodes, power, resistance, charge, start, reserve, cutoff)


def _discharge(
    nodes: Array, power: Array, resistance: Array, charge: Array, start: Array, reserve: Array, cutoff: Array
) -> Discharge:
    steps = nodes.shape[1] - 1
    grid = np.linspace(0.0, 1.0, steps + 1)
    slope = np.diff(nodes, axis=1) * steps

    lost = power * resistance
    gives_out = cutoff**2 < lost
    stop_voltage = np.where(gives_out, 2 * np.sqrt(lost), cutoff + lost / cutoff)
    piece = np.clip((nodes <= stop_voltage[:, None]).sum(axis=1) - 1, 0, steps - 1)
    row = np.arange(nodes.shape[0])
    stop_charge = grid[piece] + (stop_voltage - nodes[row, piece]) / slope[row, piece]
    by_voltage = stop_charge > reserve
    end = np.minimum(np.where(by_voltage, stop_charge, reserve), start)

    low = np.clip(grid[:-1], end[:, None], start[:, None])
    high = np.clip(grid[1:], end[:, None], start[:, None])
    v_low = nodes[:, :-1] + slope * (low - grid[:-1])
    v_high = nodes[:, :-1] + slope * (high - grid[:-1])
    floor = 4 * lost[:, None]
    s_low, s_high = (np.sqrt(np.maximum(v**2 - floor, 0)) for v in (v_low, v_high))
    rise = (v_high**2 - v_low**2 + v_high * s_high - v_low * s_low) / 2
    rise -= floor / 2 * np.log((v_high + s_high) / (v_low + s_low))
    spent = np.where(high > low, rise / (2 * power[:, None] * slope), 0.0)

    last, first = (np.minimum(at * steps, steps - 1).astype(np.intp) for at in (end, start))
    rested_end, rested_start = v_low[row, last], v_high[row, first]
    end_voltage = (rested_end + np.sqrt(np.maximum(rested_end**2 - 4 * lost, 0))) / 2

    duration = charge * spent.sum(axis=1)
    cannot_start = rested_start**2 < 4 * lost
    return Discharge(
        duration=np.where(cannot_start, np.nan, duration),
        end_charge=end,
        end_voltage=end_voltage,
        ended_by=np.where(by_voltage, np.where(gives_out, 2, 1), 0).astype(np.intp),
    )
