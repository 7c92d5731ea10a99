"""A pack under load: an open-circuit voltage behind one resistance."""

from typing import Final, NamedTuple

import numpy as np

from gramwatt.arrays import Array, IndexArray
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
    """Arrays of one shape: duration [s], state of charge and loaded cell voltage [V] at the end, what ended it (a
    position in `ENDED_BY`), and the rested cell voltage at the start [V]."""

    duration: Array
    end_charge: Array
    end_voltage: Array
    ended_by: IndexArray
    start_voltage: Array


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
    nodes : (..., K) rested cell voltage at K equal steps of charge from 0 to 1, rising [V]
    power : (...) per cell [W], above 0; this and all below broadcast
    resistance : per cell, leads shared out [ohm]
    charge : of a full cell [A s]
    start, reserve : of one shape, states of charge, 0 to 1
    cutoff : loaded cell voltage that ends the discharge [V]

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
    steps = nodes.shape[-1] - 1
    rises = nodes[..., 1:] - nodes[..., :-1]
    pieces = np.array([start, reserve])[..., None] * steps - np.arange(steps)
    start_voltage, reserve_voltage = nodes[..., 0] + (rises * np.minimum(np.maximum(pieces, 0), 1)).sum(axis=-1)

    lost = power * resistance
    gives_out = cutoff**2 < lost
    stop_voltage = np.where(gives_out, 2 * np.sqrt(lost), cutoff + lost / cutoff)
    by_voltage = stop_voltage > reserve_voltage
    end_voltage = np.minimum(np.maximum(stop_voltage, reserve_voltage), start_voltage)

    # The curve from the end to the start; pieces outside have no length.
    rested = np.minimum(np.maximum(nodes, end_voltage[..., None]), start_voltage[..., None])
    floor = 4 * lost[..., None]
    twice_loaded = rested + np.sqrt(np.maximum(rested**2 - floor, 0))
    twice_g = rested * twice_loaded - floor * np.log(twice_loaded)
    spent = ((twice_g[..., 1:] - twice_g[..., :-1]) / rises).sum(axis=-1)
    used = ((rested[..., 1:] - rested[..., :-1]) / rises).sum(axis=-1) / steps
    return Discharge(
        duration=np.where(start_voltage**2 < 4 * lost, np.nan, charge * spent / (4 * power * steps)),
        end_charge=np.where(by_voltage, start - used, np.minimum(reserve, start)),
        end_voltage=twice_loaded[..., 0] / 2,
        ended_by=np.where(by_voltage, np.where(gives_out, 2, 1), 0),
        start_voltage=start_voltage,
    )
