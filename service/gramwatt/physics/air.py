"""Air: the standard atmosphere, and real air as a mixture of ideal gases."""

from typing import Annotated, Final, NamedTuple

import numpy as np

from gramwatt.arrays import Array, Unit
from gramwatt.physics import constants

SEA_LEVEL_TEMPERATURE: Final[Annotated[float, Unit("K")]] = 288.15
SEA_LEVEL_PRESSURE: Final[Annotated[float, Unit("Pa")]] = 101325.0
LAPSE_RATE: Final[Annotated[float, Unit("K/m")]] = 0.0065
EARTH_RADIUS: Final[Annotated[float, Unit("m")]] = 6356766.0
TROPOPAUSE: Final[Annotated[float, Unit("m")]] = 11000.0
"""ISO 2533:1975, standard atmosphere up to 20 km: values at sea level, and the fall of temperature with geopotential
height up to the tropopause."""

WATER_VAPOUR_GAS_CONSTANT: Final[Annotated[float, Unit("J / (kg K)")]] = 461.523
"""The molar gas constant over 18.0153 g/mol."""

BUCK_PRESSURE: Final[Annotated[float, Unit("Pa")]] = 611.21
BUCK_SLOPE: Final[Annotated[float, Unit("1")]] = 18.678
BUCK_CURVATURE: Final[Annotated[float, Unit("K")]] = 234.5
BUCK_OFFSET: Final[Annotated[float, Unit("K")]] = 257.14
"""The Buck equation for vapour over liquid water; see `saturation_pressure`."""

MIN_CHECKED_TEMPERATURE: Final[Annotated[float, Unit("K")]] = constants.ICE_POINT - 40.0
MAX_CHECKED_TEMPERATURE: Final[Annotated[float, Unit("K")]] = constants.ICE_POINT + 50.0
"""-40 to 50 °C, where vapour pressure and density were compared with other equations."""


class StandardAir(NamedTuple):
    """Arrays of shape (N,): temperature [K], pressure [Pa], density [kg/m3]."""

    temperature: Array
    pressure: Array
    density: Array


def standard_atmosphere(altitude: Array) -> StandardAir:
    """Compute temperature, pressure and density of the standard atmosphere.

    Parameters
    ----------
    altitude : (N,)
        Geometric altitude above sea level [m], up to 20 km.

    Returns
    -------
    StandardAir
        At geopotential height ``H = r h / (r + h)``: ``T = T0 - L H`` and ``p = p0 (T/T0)^(g/(R L))`` up to 11 km.
        Above it T is constant and ``p = p11 exp(-g (H - 11 km) / (R T11))``.

    References
    ----------
    ISO 2533:1975, the same as ICAO Doc 7488: equations of clause 2, tables by geometric altitude.
    """
    height = geopotential_height(altitude)
    temperature = SEA_LEVEL_TEMPERATURE - LAPSE_RATE * np.minimum(height, TROPOPAUSE)
    over_scale_height = np.maximum(height - TROPOPAUSE, 0) / _scale_height(temperature)
    ratio = temperature / SEA_LEVEL_TEMPERATURE
    pressure = SEA_LEVEL_PRESSURE * ratio ** _pressure_exponent() * np.exp(-over_scale_height)
    return StandardAir(temperature, pressure, pressure / (constants.DRY_AIR_GAS_CONSTANT * temperature))


def geopotential_height(altitude: Array) -> Array:
    """Compute the height (N,) [m] at which constant gravity does as much work as real gravity up to an altitude [m]."""
    return EARTH_RADIUS * altitude / (EARTH_RADIUS + altitude)


def standard_altitude(density: Array) -> Array:
    """Compute density altitude: where the standard atmosphere has a given density.

    Parameters
    ----------
    density : (N,)
        Density of the air [kg/m³].

    Returns
    -------
    (N,)
        Geometric altitude [m], the inverse of `standard_atmosphere` up to 20 km. Charts for pilots often give
        geopotential height, which is 3 m less at 4 km.
    """
    sea_level = SEA_LEVEL_PRESSURE / (constants.DRY_AIR_GAS_CONSTANT * SEA_LEVEL_TEMPERATURE)
    at_tropopause = SEA_LEVEL_TEMPERATURE - LAPSE_RATE * TROPOPAUSE
    exponent = _pressure_exponent() - 1
    temperature = SEA_LEVEL_TEMPERATURE * (density / sea_level) ** (1 / exponent)
    threshold = sea_level * (at_tropopause / SEA_LEVEL_TEMPERATURE) ** exponent
    below = (SEA_LEVEL_TEMPERATURE - temperature) / LAPSE_RATE
    above = TROPOPAUSE - _scale_height(at_tropopause) * np.log(density / threshold)
    height = np.where(density >= threshold, below, above)
    return EARTH_RADIUS * height / (EARTH_RADIUS - height)


def _pressure_exponent() -> float:
    return constants.STANDARD_GRAVITY / (constants.DRY_AIR_GAS_CONSTANT * LAPSE_RATE)


def _scale_height(temperature: Array | float) -> Array | float:
    return constants.DRY_AIR_GAS_CONSTANT * temperature / constants.STANDARD_GRAVITY


def saturation_pressure(temperature: Array) -> Array:
    """Compute the pressure of water vapour in equilibrium with liquid water.

    Parameters
    ----------
    temperature : (N,)
        Temperature of the air [K].

    Returns
    -------
    (N,)
        Pressure [Pa], ``611.21 exp[(18.678 - t/234.5) t / (257.14 + t)]`` with t in °C. Below freezing it remains the
        pressure over supercooled water, to which relative humidity refers by meteorological custom.

    Notes
    -----
    The Buck equation with coefficients in common use. Tests compare it with psychrolib 2.5.0: 0.1 % from -20 to 50 °C.
    """
    celsius = temperature - constants.ICE_POINT
    return BUCK_PRESSURE * np.exp((BUCK_SLOPE - celsius / BUCK_CURVATURE) * celsius / (BUCK_OFFSET + celsius))


def density(temperature: Array, pressure: Array, vapour_pressure: Array) -> Array:
    """Compute the density of moist air as a mixture of two ideal gases.

    Parameters
    ----------
    temperature : (N,)
        Temperature of the air [K].
    pressure : (N,)
        Pressure of the mixture [Pa].
    vapour_pressure : (N,)
        Partial pressure of the water vapour [Pa].

    Returns
    -------
    (N,)
        ``(p - e)/(R_d T) + e/(R_v T)`` [kg/m³]. CIPM-2007, which includes compressibility, is denser by up to 5e-4 from
        10 to 45 °C and 600 to 1040 hPa, and by up to 7e-4 from 0 to 50 °C and up to 1100 hPa.
    """
    dry = (pressure - vapour_pressure) / (constants.DRY_AIR_GAS_CONSTANT * temperature)
    return dry + vapour_pressure / (WATER_VAPOUR_GAS_CONSTANT * temperature)


def virtual_temperature(pressure: Array, density: Array) -> Array:
    """Compute the temperature [K] of dry air with this ``pressure`` (N,) [Pa] and ``density`` (N,) [kg/m³]."""
    return pressure / (constants.DRY_AIR_GAS_CONSTANT * density)


def speed_of_sound(temperature: Array) -> Array:
    """Compute the speed of sound in dry air.

    Parameters
    ----------
    temperature : (N,)
        Absolute temperature [K]; for moist air its virtual temperature.

    Returns
    -------
    (N,)
        ``a = sqrt(gamma R T)`` [m/s]. With the virtual temperature of saturated air at 30 °C the result is 0.1 % high,
        since gamma of moist air is slightly lower. With the plain temperature it is 0.7 % low.

    References
    ----------
    ISO 2533:1975, Standard atmosphere, equation for the speed of sound; 340.294 m/s at 288.15 K.
    """
    return np.sqrt(constants.DRY_AIR_HEAT_RATIO * constants.DRY_AIR_GAS_CONSTANT * temperature)
