"""A propeller at rest: thrust and power coefficients, measured or expected.

Conventions of the UIUC Propeller Database: ``CT = T / (rho n^2 D^4)``, ``CP = P / (rho n^3 D^5)``, n in revolutions
per second.
"""

from typing import Annotated, Final

import numpy as np

from gramwatt.arrays import Array, Unit

STATIC_THRUST: Final = 0.145
PITCH_POWER: Final = 0.55
BLADE_POWER: Final = 0.50
"""Fitted to propellers of 2.2 to 9 in of the UIUC Propeller Database, volumes 1 to 3 (Brandt & Selig 2011, Deters,
Ananda & Selig 2014), static: standard deviation of the logarithm 0.19 over 120 of them, 0.08 on the eight five-inch
ones of the open bench set."""

COEFFICIENT_SPREAD: Final = 0.12
"""Relative standard uncertainty of the expected thrust coefficient: a judgement between those two."""

SMALLEST_FITTED: Final[Annotated[float, Unit("m")]] = 2 * 0.0254
LARGEST_FITTED: Final[Annotated[float, Unit("m")]] = 9 * 0.0254
LOWEST_PITCH_RATIO: Final = 0.3
HIGHEST_PITCH_RATIO: Final = 1.1
MOST_BLADES_FITTED: Final = 4


def expected_thrust_coefficient(diameter: Array, pitch: Array, blades: Array) -> Array:
    """Thrust coefficient to expect of a propeller nobody has measured.

    Parameters
    ----------
    diameter, pitch : (N,) [m]
    blades : (N,) number of blades

    Returns
    -------
    (N,) ``CT = 0.145 (P/D)^0.55 (B/2)^0.50``. For P/D 0.3 to 1.1, 2 to 4 blades, 2 to 9 in.
    """
    return np.asarray(STATIC_THRUST * (pitch / diameter) ** PITCH_POWER * (blades / 2) ** BLADE_POWER)


def power_coefficient(thrust_coefficient: Array, figure_of_merit: Array) -> Array:
    """Power coefficient (N,) from the figure of merit: ``CP = sqrt(2/pi) CT^1.5 / FM``.

    The ideal power of momentum theory, ``T^1.5 / sqrt(2 rho A)``, in these coefficients (Leishman, Principles of
    Helicopter Aerodynamics, ch. 2, from memory; derived).
    """
    return np.asarray(np.sqrt(2 / np.pi) * thrust_coefficient**1.5 / figure_of_merit)


def thrust_coefficient_of(thrust: Array, rotor_speed: Array, diameter: Array, air_density: Array) -> Array:
    """Thrust coefficient (N,) of a measured point: thrust [N] at a speed [rad/s], diameter [m], density [kg/m3]."""
    return thrust / (air_density * (rotor_speed / (2 * np.pi)) ** 2 * diameter**4)


def power_coefficient_of(power: Array, rotor_speed: Array, diameter: Array, air_density: Array) -> Array:
    """Power coefficient (N,) of a measured point: shaft power [W] at a speed [rad/s]."""
    return power / (air_density * (rotor_speed / (2 * np.pi)) ** 3 * diameter**5)


def thrust_factor(thrust_coefficient: Array, diameter: Array, air_density: Array) -> Array:
    """``a`` in thrust ``T = a omega^2`` of one propeller [N s2]: ``CT rho D^4 / (2 pi)^2``."""
    return thrust_coefficient * air_density * diameter**4 / (2 * np.pi) ** 2


def thrust(thrust_coefficient: Array, rotor_speed: Array, diameter: Array, air_density: Array) -> Array:
    """Thrust (N,) [N] of one propeller at a speed [rad/s]."""
    return thrust_factor(thrust_coefficient, diameter, air_density) * rotor_speed**2


def torque_factor(power_coefficient: Array, diameter: Array, air_density: Array) -> Array:
    """``c`` in torque ``Q = c omega^2`` (N,) [N m s2]: ``CP rho D^5 / (2 pi)^3``."""
    return power_coefficient * air_density * diameter**5 / (2 * np.pi) ** 3


def outside_fit(diameter: Array, pitch: Array, blades: Array) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Where (N,) the expected coefficient is extrapolated."""
    ratio = pitch / diameter
    small = (diameter < SMALLEST_FITTED * (1 - 1e-9)) | (diameter > LARGEST_FITTED * (1 + 1e-9))
    steep = (ratio < LOWEST_PITCH_RATIO * (1 - 1e-9)) | (ratio > HIGHEST_PITCH_RATIO * (1 + 1e-9))
    return np.asarray(small | steep | (blades > MOST_BLADES_FITTED))
