"""Copper wire: gauge, resistance, mass, heating by a steady current and by a short one, and what melts it."""

from typing import Annotated, Final

import numpy as np

from gramwatt.arrays import Array, Unit

GAUGE_36_DIAMETER: Final[Annotated[float, Unit("m")]] = 0.127e-3
"""ASTM B258: AWG 36 is 0.0050 in across."""
GAUGE_RATIO: Final[Annotated[float, Unit("1")]] = 92.0
"""ASTM B258: the diameter of AWG 4/0, 0.4600 in, over that of AWG 36."""
GAUGE_STEPS: Final[Annotated[float, Unit("1")]] = 39.0
"""ASTM B258: steps of gauge from 4/0 to 36."""
THICKEST_GAUGE: Final = -3
"""4/0: thicker than 1/0, which is 0, gauges count down."""
THINNEST_GAUGE: Final = 40

COPPER_RESISTIVITY: Final[Annotated[float, Unit("ohm m")]] = 1.7241e-8
"""At 20 °C: the International Annealed Copper Standard, IEC 60028."""
COPPER_COEFFICIENT: Final[Annotated[float, Unit("1/K")]] = 0.00393
"""Of resistance with temperature, at 20 °C: the same."""
COPPER_TEMPERATURE: Final[Annotated[float, Unit("K")]] = 293.15
"""20 °C, at which resistivity and coefficient hold."""
COPPER_DENSITY: Final[Annotated[float, Unit("kg/m^3")]] = 8890.0
"""At 20 °C: the same."""
COPPER_HEAT_CAPACITY: Final[Annotated[float, Unit("J / (kg K)")]] = 385.0
"""At 25 °C, CRC Handbook of Chemistry and Physics: 0.385 J/(g K), from memory. It rises by some 10 % up to 400 °C."""
COPPER_MELTING_POINT: Final[Annotated[float, Unit("K")]] = 1357.77
"""Freezing point of copper, a fixed point of the International Temperature Scale of 1990."""
PREECE_CURRENT: Final[Annotated[float, Unit("A")]] = 80.0
"""Current that melts a copper wire of 1 mm by Preece's law, 10 244 A for one of 1 in; from memory."""
PREECE_DIAMETER: Final[Annotated[float, Unit("m")]] = 1e-3
"""Diameter of that wire."""


def gauge_diameter(gauge: Array) -> Array:
    """Compute the diameter [m] of a solid wire of a gauge (any shape), 0 for 1/0, -1 for 2/0 and so on.

    ``0.127 mm * 92^((36 - n) / 39)`` (ASTM B258).
    """
    return np.asarray(GAUGE_36_DIAMETER * GAUGE_RATIO ** ((36 - gauge) / GAUGE_STEPS))


def diameter_gauge(diameter: Array) -> Array:
    """Compute the gauge, no whole number, of a solid wire of a ``diameter`` (any shape) [m]: the inverse."""
    return np.asarray(36 - GAUGE_STEPS * np.log(diameter / GAUGE_36_DIAMETER) / np.log(GAUGE_RATIO))


def circle_area(diameter: Array) -> Array:
    """Compute the area [m²] of a circle of a ``diameter`` (any shape) [m]."""
    return np.pi / 4 * diameter**2


def circle_diameter(area: Array) -> Array:
    """Compute the diameter [m] of a circle of an ``area`` (any shape) [m²]."""
    return np.sqrt(4 * area / np.pi)


def resistivity(temperature: Array) -> Array:
    """Compute the resistivity [ohm m] of annealed copper at a ``temperature`` (any shape) [K].

    ``1.7241e-8 (1 + 0.00393 (T - 293.15))`` (IEC 60028). Straight to within some per cent up to 200 °C.
    """
    return COPPER_RESISTIVITY * (1 + COPPER_COEFFICIENT * (temperature - COPPER_TEMPERATURE))


def rise_at_20(current: Array, area: Array, outer_diameter: Array, lay: Array, coefficient: Array) -> Array:
    """Compute the rise [K] of a wire above the air if its resistance stayed that at 20 °C; see `steady_temperature`."""
    return current**2 * COPPER_RESISTIVITY * lay / (area * coefficient * np.pi * outer_diameter)


def steady_temperature(
    current: Array, area: Array, outer_diameter: Array, *, lay: Array, coefficient: Array, air_temperature: Array
) -> Array:
    """Compute the temperature at which a wire gives off the heat of a steady current.

    Parameters
    ----------
    current, area, outer_diameter : any shape
        Current [A], area of the copper [m²] and diameter over the insulation [m].
    lay : any shape
        Length of the strands over that of the wire, 1 for a solid one.
    coefficient : any shape
        Heat transfer coefficient at the outer surface, convection and radiation together [W/(m² K)].
    air_temperature : any shape
        Temperature of the air [K].

    Returns
    -------
    any shape
        Temperature [K] of copper and insulation, which are taken as one. Derived: ``I^2 rho(T) lay / A = h pi D (T -
        T_air)`` with the resistivity linear in T, so ``T = T_air + G (1 + alpha (T_air - T_20)) / (1 - alpha G)``,
        where ``G = I^2 rho_20 lay / (A h pi D)`` is the rise at the resistance at 20 °C. Nan where the rise of
        resistance outruns the cooling, and above the melting point.
    """
    rise = rise_at_20(current, area, outer_diameter, lay, coefficient)
    remaining = 1 - COPPER_COEFFICIENT * rise
    at_air = 1 + COPPER_COEFFICIENT * (air_temperature - COPPER_TEMPERATURE)
    found = air_temperature + rise * at_air / np.where(remaining > 0, remaining, np.nan)
    return np.where(found <= COPPER_MELTING_POINT, found, np.nan)


def steady_current(
    temperature: Array, area: Array, outer_diameter: Array, *, lay: Array, coefficient: Array, air_temperature: Array
) -> Array:
    """Compute the current [A] that heats a wire to a ``temperature`` [K] at last: the inverse of `steady_temperature`.

    The other parameters are those. The temperature is above that of the air.
    """
    heat = coefficient * np.pi * outer_diameter * (temperature - air_temperature)
    return np.sqrt(heat * area / (resistivity(temperature) * lay))


def diameter_for_current(
    current: Array, outer_ratio: Array, temperature: Array, *, lay: Array, coefficient: Array, air_temperature: Array
) -> Array:
    """Compute the diameter [m] of the copper that a steady ``current`` [A] heats to a ``temperature`` [K].

    ``outer_ratio`` is the diameter over the insulation over that of the copper; the other parameters are those of
    `steady_temperature`. Derived from the same balance: ``d^3 = 4 I^2 rho lay / (pi^2 h r (T - T_air))``.
    """
    heat = np.pi**2 * coefficient * outer_ratio * (temperature - air_temperature)
    return np.cbrt(4 * current**2 * resistivity(temperature) * lay / heat)


def peak_growth(density: Array, duration: Array) -> Array:
    """Compute the logarithm of the growth of resistance in a short current; see `heated_temperature`."""
    heat = COPPER_COEFFICIENT * COPPER_RESISTIVITY * density**2 * duration
    return heat / (COPPER_HEAT_CAPACITY * COPPER_DENSITY)


def heated_temperature(density: Array, duration: Array, start: Array) -> Array:
    """Compute the temperature after a short current, of which no heat leaves the copper.

    Parameters
    ----------
    density : any shape
        Current over area [A/m²].
    duration : any shape
        How long it flows [s].
    start : any shape
        Temperature before [K].

    Returns
    -------
    any shape
        Temperature [K]. Derived: ``c rho_m dT/dt = J^2 rho(T)`` with the resistivity linear in T, so ``1 + alpha (T -
        T_20)`` grows by ``exp(alpha rho_20 J^2 t / (c rho_m))``. Strands change nothing: a longer one has as much more
        resistance as copper. An upper bound, exact while little heat leaves, which takes some seconds. Nan above the
        melting point.
    """
    at_start = 1 + COPPER_COEFFICIENT * (start - COPPER_TEMPERATURE)
    with np.errstate(over="ignore"):
        found = start + at_start * np.expm1(peak_growth(density, duration)) / COPPER_COEFFICIENT
    return np.where(found <= COPPER_MELTING_POINT, found, np.nan)


def time_to_melt(density: Array, start: Array) -> Array:
    """Compute the time [s] in which a current of a ``density`` [A/m²] heats copper from ``start`` [K] to melting.

    The inverse of `heated_temperature`; without the heat of fusion, as in Onderdonk's equation, which it agrees with to
    2 %.
    """
    ends = (1 + COPPER_COEFFICIENT * (each - COPPER_TEMPERATURE) for each in (COPPER_MELTING_POINT, start))
    top, bottom = ends
    capacity = COPPER_HEAT_CAPACITY * COPPER_DENSITY
    return capacity * np.log(top / bottom) / (COPPER_COEFFICIENT * COPPER_RESISTIVITY * density**2)


def fusing_current(diameter: Array) -> Array:
    """Compute the current [A] that at last melts a bare copper wire of a ``diameter`` (any shape) [m] in still air.

    ``80 A (d / 1 mm)^1.5`` (Preece 1884, Proceedings of the Royal Society of London 36, 464), from memory.
    """
    return PREECE_CURRENT * (diameter / PREECE_DIAMETER) ** 1.5
