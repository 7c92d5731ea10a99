"""Static propellers: thrust and power coefficients, measured or expected.

Conventions of the UIUC Propeller Database: ``CT = T / (rho n^2 D^4)``, ``CP = P / (rho n^3 D^5)``, n in revolutions
per second.
"""

from typing import Annotated, Final

import numpy as np

from gramwatt.arrays import Array, BoolArray, Unit
from gramwatt.physics import constants

THRUST_FACTOR: Final[Annotated[float, Unit("1")]] = 0.145
PITCH_POWER: Final[Annotated[float, Unit("1")]] = 0.55
BLADE_POWER: Final[Annotated[float, Unit("1")]] = 0.50
"""Fitted to propellers of 2.2 to 9 in of the UIUC Propeller Database, volumes 1 to 3 (Brandt & Selig 2011, Deters,
Ananda & Selig 2014), static: standard deviation of the logarithm 0.19 over 120 of them, 0.08 on the eight five-inch
ones of the open bench set."""

COEFFICIENT_SPREAD: Final = 0.19
"""Standard deviation of the logarithm of the thrust coefficient around its law: a factor of 1.21."""
MICRO_SPREAD: Final = 0.32
"""The same over the five propellers of up to 3 in, and used beyond the range of the fit."""
MICRO_DIAMETER: Final[Annotated[float, Unit("m")]] = 3 * constants.INCH

SPEED_SPREAD: Final = 0.05
"""Standard deviation of the logarithm of either coefficient from one speed to another, as they are taken as constant.
Chosen on motors a, c, e, g, i of the open bench set, so that a bench point at one voltage covers 95 % of thrusts and
currents at the other; for b, d, f, h it covers 90 and 93 %."""

MIN_FITTED_DIAMETER: Final[Annotated[float, Unit("m")]] = 2 * constants.INCH
MAX_FITTED_DIAMETER: Final[Annotated[float, Unit("m")]] = 9 * constants.INCH
MIN_FITTED_PITCH_RATIO: Final = 0.3
MAX_FITTED_PITCH_RATIO: Final = 1.1
MAX_FITTED_BLADES: Final = 4


def expected_thrust_coefficient(diameter: Array, pitch: Array, blades: Array) -> Array:
    """Estimate the thrust coefficient of a propeller that was not measured.

    Parameters
    ----------
    diameter, pitch : (N,)
        Diameter D and pitch P [m].
    blades : (N,)
        Number of blades B.

    Returns
    -------
    (N,)
        ``CT = 0.145 (P/D)^0.55 (B/2)^0.50``. Valid for P/D 0.3 to 1.1, 2 to 4 blades, 2 to 9 in.

    References
    ----------
    Fitted to the UIUC Propeller Database, volumes 1 to 3; see `THRUST_FACTOR`.
    """
    return np.asarray(THRUST_FACTOR * (pitch / diameter) ** PITCH_POWER * (blades / 2) ** BLADE_POWER)


def power_coefficient(thrust_coefficient: Array, figure_of_merit: Array) -> Array:
    """Compute the power coefficient (N,) from the figure of merit: ``CP = sqrt(2/pi) CT^1.5 / FM``.

    Derived: the ideal power of momentum theory, ``T^1.5 / sqrt(2 rho A)``, in these coefficients.
    """
    return np.asarray(np.sqrt(2 / np.pi) * thrust_coefficient**1.5 / figure_of_merit)


def figure_of_merit(thrust_coefficient: Array, power_coefficient: Array) -> Array:
    """Compute the figure of merit (N,) of both coefficients: the inverse of `power_coefficient`."""
    return np.asarray(np.sqrt(2 / np.pi) * thrust_coefficient**1.5 / power_coefficient)


def measured_thrust_coefficient(thrust: Array, rotor_speed: Array, diameter: Array, air_density: Array) -> Array:
    """Compute the thrust coefficient (N,) of a measured point.

    Parameters
    ----------
    thrust, rotor_speed : (N,)
        Thrust T [N] at a speed [rad/s].
    diameter, air_density : (N,)
        Diameter D [m] and air density [kg/m³].

    Returns
    -------
    (N,)
        ``CT = T / (rho n^2 D^4)``.
    """
    return thrust / (air_density * (rotor_speed / (2 * np.pi)) ** 2 * diameter**4)


def speed_at_thrust(thrust: Array, thrust_coefficient: Array, diameter: Array, air_density: Array) -> Array:
    """Compute the speed (N,) [rad/s] at which one propeller gives a thrust [N]; inverse of `thrust`."""
    return np.asarray(np.sqrt(thrust / thrust_factor(thrust_coefficient, diameter, air_density)))


def measured_power_coefficient(power: Array, rotor_speed: Array, diameter: Array, air_density: Array) -> Array:
    """Compute ``CP = P / (rho n^3 D^5)`` (N,) of a measured point: shaft power [W] at a speed [rad/s]."""
    return power / (air_density * (rotor_speed / (2 * np.pi)) ** 3 * diameter**5)


def thrust_factor(thrust_coefficient: Array, diameter: Array, air_density: Array) -> Array:
    """Compute ``a = CT rho D^4 / (2 pi)^2`` (N,) [N s²] in the thrust ``T = a omega^2`` of one propeller."""
    return thrust_coefficient * air_density * diameter**4 / (2 * np.pi) ** 2


def thrust(thrust_coefficient: Array, rotor_speed: Array, diameter: Array, air_density: Array) -> Array:
    """Compute the thrust (N,) [N] of one propeller at a speed [rad/s]."""
    return thrust_factor(thrust_coefficient, diameter, air_density) * rotor_speed**2


def torque_factor(power_coefficient: Array, diameter: Array, air_density: Array) -> Array:
    """Compute ``c = CP rho D^5 / (2 pi)^3`` (N,) [N m s²] in the torque ``Q = c omega^2`` of one propeller."""
    return power_coefficient * air_density * diameter**5 / (2 * np.pi) ** 3


def coefficient_spread(diameter: Array, pitch: Array, blades: Array) -> Array:
    """Return the standard deviation (N,) of the logarithm of `expected_thrust_coefficient`."""
    rough = is_micro(diameter) | is_extrapolated(diameter, pitch, blades)
    return np.asarray(np.where(rough, MICRO_SPREAD, COEFFICIENT_SPREAD))


def is_micro(diameter: Array) -> BoolArray:
    """Return where (N,) a diameter [m] is 3 in or less."""
    return np.asarray(diameter <= MICRO_DIAMETER * (1 + 1e-9))


def is_extrapolated(diameter: Array, pitch: Array, blades: Array) -> BoolArray:
    """Return where (N,) `expected_thrust_coefficient` is extrapolated."""
    ratio = pitch / diameter
    size = (diameter < MIN_FITTED_DIAMETER * (1 - 1e-9)) | (diameter > MAX_FITTED_DIAMETER * (1 + 1e-9))
    slope = (ratio < MIN_FITTED_PITCH_RATIO * (1 - 1e-9)) | (ratio > MAX_FITTED_PITCH_RATIO * (1 + 1e-9))
    return np.asarray(size | slope | (blades > MAX_FITTED_BLADES))
