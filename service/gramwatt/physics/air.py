"""Air: the standard atmosphere, and real air as a mixture of ideal gases."""

from typing import Annotated, Final, NamedTuple

import numpy as np

from gramwatt.arrays import Array, Unit
from gramwatt.physics import constants

SEA_LEVEL_TEMPERATURE: Final[Annotated[float, Unit("K")]] = 288.15
SEA_LEVEL_PRESSURE: Final[Annotated[float, Unit("Pa")]] = 101325.0
SEA_LEVEL_DENSITY: Final[Annotated[float, Unit("kg/m^3")]] = 1.225
LAPSE_RATE: Final[Annotated[float, Unit("K/m")]] = 0.0065
EARTH_RADIUS: Final[Annotated[float, Unit("m")]] = 6356766.0
TROPOPAUSE: Final[Annotated[float, Unit("m")]] = 11000.0
"""ISO 2533:1975, standard atmosphere up to 20 km: at sea level; fall of temperature with geopotential height, up to the
tropopause."""

WATER_VAPOUR_GAS_CONSTANT: Final[Annotated[float, Unit("J / (kg K)")]] = 461.523
"""The molar gas constant over 18.0153 g/mol."""

ICE_POINT: Final[Annotated[float, Unit("K")]] = 273.15
BUCK_PRESSURE: Final[Annotated[float, Unit("Pa")]] = 611.21
BUCK_SLOPE: Final[Annotated[float, Unit("1")]] = 18.678
BUCK_CURVATURE: Final[Annotated[float, Unit("K")]] = 234.5
BUCK_OFFSET: Final[Annotated[float, Unit("K")]] = 257.14
"""Buck's equation for vapour over liquid water, in its form of 1996; see `saturation_pressure`."""

COLDEST_CHECKED: Final[Annotated[float, Unit("K")]] = ICE_POINT - 40.0
HOTTEST_CHECKED: Final[Annotated[float, Unit("K")]] = ICE_POINT + 50.0
"""-40 to 50 degC, where vapour pressure and density were compared with other equations."""


class StandardAir(NamedTuple):
    """Arrays of shape (N,): temperature [K], pressure [Pa], density [kg/m3]."""

    temperature: Array
    pressure: Array
    density: Array


def standard_atmosphere(altitude: Array) -> StandardAir:
    """The standard atmosphere.

    Parameters
    ----------
    altitude : (N,) geometric, above sea level [m], up to 20 km

    Returns
    -------
    `StandardAir` at geopotential height ``H = r h / (r + h)``: ``T = T0 - L H``, ``p = p0 (T/T0)^(g/(R L))`` up to
    11 km; above it T stands and ``p = p11 exp(-g (H - 11 km) / (R T11))``.

    References
    ----------
    ISO 2533:1975, the same as ICAO Doc 7488: equations of clause 2, tables by geometric altitude.
    """
    height = EARTH_RADIUS * altitude / (EARTH_RADIUS + altitude)
    temperature = SEA_LEVEL_TEMPERATURE - LAPSE_RATE * np.minimum(height, TROPOPAUSE)
    over_scale_height = np.maximum(height - TROPOPAUSE, 0) / _scale_height(temperature)
    ratio = temperature / SEA_LEVEL_TEMPERATURE
    pressure = SEA_LEVEL_PRESSURE * ratio ** _exponent() * np.exp(-over_scale_height)
    return StandardAir(temperature, pressure, pressure / (constants.DRY_AIR_GAS_CONSTANT * temperature))


def standard_altitude(density: Array) -> Array:
    """Geometric altitude [m] at which the standard atmosphere has a ``density`` (N,) [kg/m3]: density altitude.

    The inverse of `standard_atmosphere`, up to 20 km. (Charts for pilots often give geopotential height: 3 m less at
    4 km.)
    """
    sea_level = SEA_LEVEL_PRESSURE / (constants.DRY_AIR_GAS_CONSTANT * SEA_LEVEL_TEMPERATURE)
    at_tropopause = SEA_LEVEL_TEMPERATURE - LAPSE_RATE * TROPOPAUSE
    temperature = SEA_LEVEL_TEMPERATURE * (density / sea_level) ** (1 / (_exponent() - 1))
    threshold = sea_level * (at_tropopause / SEA_LEVEL_TEMPERATURE) ** (_exponent() - 1)
    below = (SEA_LEVEL_TEMPERATURE - temperature) / LAPSE_RATE
    above = TROPOPAUSE - _scale_height(at_tropopause) * np.log(density / threshold)
    height = np.where(density >= threshold, below, above)
    return EARTH_RADIUS * height / (EARTH_RADIUS - height)


def _exponent() -> float:
    return constants.STANDARD_GRAVITY / (constants.DRY_AIR_GAS_CONSTANT * LAPSE_RATE)


def _scale_height(temperature: Array | float) -> Array | float:
    return constants.DRY_AIR_GAS_CONSTANT * temperature / constants.STANDARD_GRAVITY


def saturation_pressure(temperature: Array) -> Array:
    """Pressure of water vapour in equilibrium with liquid water.

    Parameters
    ----------
    temperature : (N,) [K]

    Returns
    -------
    (N,) [Pa], ``611.21 exp[(18.678 - t/234.5) t / (257.14 + t)]``, t in degC. Below freezing it stays that over
    (supercooled) water, to which relative humidity refers by meteorological custom. Good to 0.1 % from -20 to 50 degC.

    References
    ----------
    A. L. Buck, J. Appl. Meteor. 20 (1981) 1527, with the coefficients of 1996 (Buck Research manual; from memory).
    """
    celsius = temperature - ICE_POINT
    return BUCK_PRESSURE * np.exp((BUCK_SLOPE - celsius / BUCK_CURVATURE) * celsius / (BUCK_OFFSET + celsius))


def density(temperature: Array, pressure: Array, vapour_pressure: Array) -> Array:
    """Density of moist air, a mixture of two ideal gases.

    Parameters
    ----------
    temperature : (N,) [K]
    pressure : (N,) of the whole [Pa]
    vapour_pressure : (N,) of the water vapour in it [Pa]

    Returns
    -------
    (N,) ``(p - e)/(R_d T) + e/(R_v T)`` [kg/m3]. CIPM-2007, which counts compressibility too, is denser by up to 5e-4
    from 10 to 45 degC and 600 to 1040 hPa, by up to 7e-4 from 0 to 50 degC and to 1100 hPa.
    """
    dry = (pressure - vapour_pressure) / (constants.DRY_AIR_GAS_CONSTANT * temperature)
    return dry + vapour_pressure / (WATER_VAPOUR_GAS_CONSTANT * temperature)


def virtual_temperature(pressure: Array, density: Array) -> Array:
    """The temperature [K] that dry air of this ``pressure`` (N,) [Pa] and ``density`` (N,) [kg/m3] would have."""
    return pressure / (constants.DRY_AIR_GAS_CONSTANT * density)


def speed_of_sound(temperature: Array) -> Array:
    """Speed of sound in dry air.

    Parameters
    ----------
    temperature : (N,) absolute temperature [K]; for moist air its virtual temperature

    Returns
    -------
    (N,) speed [m/s], ``a = sqrt(gamma R T)``. With the virtual temperature of saturated air at 30 degC it comes out
    0.1 % high, since gamma of moist air is a little less; with the plain temperature 0.7 % low.

    References
    ----------
    ISO 2533:1975, Standard atmosphere, equation for the speed of sound; 340.294 m/s at 288.15 K.
    """
    return np.sqrt(constants.DRY_AIR_HEAT_RATIO * constants.DRY_AIR_GAS_CONSTANT * temperature)
