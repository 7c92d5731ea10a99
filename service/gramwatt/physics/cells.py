"""Lithium cells by chemistry: label voltages, open-circuit voltage against charge, resistance.

A chemistry is an index into `CHEMISTRIES`, and into every table here.
"""

from typing import Annotated, Final, NamedTuple

import numpy as np

from gramwatt.arrays import Array, IndexArray, Unit
from gramwatt.physics import constants

CHEMISTRIES: Final = ("lipo", "lihv", "li-ion", "lifepo4")
CHEMISTRY_NAMES: Final = ("LiPo", "LiHV", "Li-ion", "LiFePO4")
LIHV: Final = CHEMISTRIES.index("lihv")
LIFEPO4: Final = CHEMISTRIES.index("lifepo4")

NOMINAL_VOLTAGE: Final[Annotated[Array, Unit("V")]] = np.array([3.7, 3.8, 3.6, 3.2])
"""Voltage on the label. Rule of thumb, no source."""

FULL_VOLTAGE: Final[Annotated[Array, Unit("V")]] = np.array([4.2, 4.35, 4.2, 3.6])
"""Voltage after a full charge. Rule of thumb, no source."""

CUTOFF_VOLTAGE: Final[Annotated[Array, Unit("V")]] = np.array([3.3, 3.3, 2.8, 2.5])
"""Voltage of a loaded cell at which to have landed. Rule of thumb, no source."""

RESISTANCE_TIMES_CHARGE: Final[Annotated[float, Unit("ohm A s")]] = 0.015 * 3600
"""Resistance of one series position, its share of the pack's leads included, times the capacity: 15 mΩ Ah. Rule of
thumb, no source; it fits two peak currents of one small craft."""

RESISTANCE_FACTOR: Final = 1.8
"""Factor to which `typical_resistance` is known: one standard deviation of its logarithm. Rule of thumb, no source."""

MIN_CHECKED_TEMPERATURE: Final[Annotated[float, Unit("K")]] = constants.ICE_POINT
MAX_CHECKED_TEMPERATURE: Final[Annotated[float, Unit("K")]] = constants.ICE_POINT + 40
"""0 to 40 °C, where resistance against temperature was compared with simulated cells."""

OPEN_CIRCUIT_VOLTAGE: Final[Annotated[Array, Unit("V")]] = np.array(
    [
        [3.0177, 3.5443, 3.6398, 3.6657, 3.6956, 3.7169, 3.7332, 3.7482, 3.7623, 3.7764, 3.7926,
         3.8123, 3.8366, 3.8676, 3.9090, 3.9520, 3.9946, 4.0409, 4.0880, 4.1384, 4.2000],
        [3.0177, 3.5566, 3.6422, 3.6724, 3.7014, 3.7212, 3.7384, 3.7538, 3.7684, 3.7842, 3.8032,
         3.8266, 3.8564, 3.8968, 3.9428, 3.9871, 4.0357, 4.0853, 4.1384, 4.2046, 4.3500],
        [2.5175, 3.1129, 3.2981, 3.4348, 3.4856, 3.5291, 3.5820, 3.6294, 3.6673, 3.7057, 3.7512,
         3.7986, 3.8408, 3.8899, 3.9481, 3.9945, 4.0422, 4.0810, 4.0967, 4.1236, 4.2000],
        [2.0962, 2.8051, 2.9857, 3.1139, 3.1698, 3.1865, 3.2070, 3.2334, 3.2531, 3.2624, 3.2661,
         3.2678, 3.2688, 3.2700, 3.2742, 3.2930, 3.3098, 3.3132, 3.3142, 3.3164, 3.6000],
    ]
)  # fmt: skip
"""Rested voltage of one cell at 0, 5, ... 100 % of charge, shape (chemistries, 21).

Computed with PyBaMM 26.10 as a C/50 discharge of published parameter sets: lipo Ai2020 (a lithium cobalt oxide pouch
cell), li-ion Chen2020 (a nickel-rich 21700), lifepo4 Prada2013 (its lowest fifth reads up to 0.2 V low). lihv is the
lipo set extended to 4.29 V, where its electrode data end, with 4.35 V set by hand at 100 %: an extrapolation without
any measurement of such a cell.
"""


class CurvePoints(NamedTuple):
    """The points of `OPEN_CIRCUIT_VOLTAGE` on both sides of a state of charge; arrays of its shape."""

    position: Array
    """Steps of charge from 0 to the state of charge."""
    below: IndexArray
    """Steps from 0 to the point below."""
    voltage_below: Array
    voltage_above: Array
    """Voltages [V]."""


def find_curve_points(chemistry: IndexArray, charge: Array) -> CurvePoints:
    """Return the points between which a state of charge (any shape, 0 to 1) is on the curve of a chemistry."""
    steps = OPEN_CIRCUIT_VOLTAGE.shape[1] - 1
    position = charge * steps
    below = np.minimum(position.astype(np.intp), steps - 1)
    index = chemistry * OPEN_CIRCUIT_VOLTAGE.shape[1] + below  # into the flattened table: twice as fast as two indices
    return CurvePoints(position, below, OPEN_CIRCUIT_VOLTAGE.take(index), OPEN_CIRCUIT_VOLTAGE.take(index + 1))


def open_circuit_voltage(chemistry: IndexArray, charge: Array) -> Array:
    """Interpolate the rested voltage of one cell.

    Parameters
    ----------
    chemistry : any shape
        Indices into `CHEMISTRIES`.
    charge : any shape that broadcasts
        State of charge, 0 to 1.

    Returns
    -------
    broadcast shape
        Voltage [V], on straight lines between the points of `OPEN_CIRCUIT_VOLTAGE`; nan outside 0 to 1.
    """
    inside = (charge >= 0) & (charge <= 1)
    position, below, low, high = find_curve_points(chemistry, np.where(inside, charge, 0))
    return np.where(inside, low + (high - low) * (position - below), np.nan)


def typical_resistance(capacity: Array) -> Array:
    """Estimate the resistance (any shape) [ohm] of one series position with its share of the pack's leads.

    ``capacity`` (any shape) is that of the pack [A s]. Known to a factor of `RESISTANCE_FACTOR`.
    """
    return RESISTANCE_TIMES_CHARGE / capacity


def resistance_at(temperature: Array, resistance: Array, activation_energy: Array) -> Array:
    """Compute cell resistance at another temperature by the Arrhenius equation.

    Parameters
    ----------
    temperature : (N,)
        Temperature of the cell [K].
    resistance : (N,)
        Resistance at 25 °C [ohm].
    activation_energy : (N,)
        Activation energy [J/mol]: 4 to 34 kJ/mol over four published cells (PyBaMM, 10 s pulses at 1 C).

    Returns
    -------
    (N,)
        ``R = R25 exp[Ea/Rg (1/T - 1/298.15 K)]`` [ohm]. Not valid below about -10 °C, nor for a pack that heats itself.
    """
    inverse = 1 / temperature - 1 / constants.REFERENCE_TEMPERATURE
    return resistance * np.exp(activation_energy / constants.MOLAR_GAS_CONSTANT * inverse)
