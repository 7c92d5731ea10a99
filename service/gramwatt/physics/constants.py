"""Named constants with their source, in SI units.

Each constant has its unit, so that a test can express all of them in another coherent system of units and compare the
results of every formula. Use them as ``constants.NAME`` at call time; never fold one into a rounded coefficient.
"""

import math
from typing import Annotated, Final

from gramwatt.arrays import Unit

MOLAR_GAS_CONSTANT: Final[Annotated[float, Unit("J / (mol K)")]] = 8.314462618
"""CODATA 2018, exact in the SI of 2019."""

DRY_AIR_GAS_CONSTANT: Final[Annotated[float, Unit("J / (kg K)")]] = 287.05287
"""ISO 2533:1975, standard atmosphere: specific gas constant of dry air."""

DRY_AIR_HEAT_RATIO: Final[Annotated[float, Unit("1")]] = 1.4
"""ISO 2533:1975: ratio of the specific heats of air."""

STANDARD_AIR_DENSITY: Final[Annotated[float, Unit("kg/m^3")]] = 1.225
"""ISO 2533:1975: air at sea level."""

ICE_POINT: Final[Annotated[float, Unit("K")]] = 273.15
"""0 °C."""

REFERENCE_TEMPERATURE: Final[Annotated[float, Unit("K")]] = 298.15
"""25 °C, at which cell resistance is stated."""

STANDARD_GRAVITY: Final[Annotated[float, Unit("m / s^2")]] = 9.80665
"""Conventional value, CGPM 1901; NIST SP 811."""

INCH: Final[Annotated[float, Unit("m")]] = 0.0254
RPM: Final[Annotated[float, Unit("rad/s")]] = 2 * math.pi / 60
DEGREE: Final[Annotated[float, Unit("rad")]] = math.pi / 180
POUND: Final[Annotated[float, Unit("kg")]] = 0.45359237
WATT_HOUR: Final[Annotated[float, Unit("J")]] = 3600.0
"""NIST SP 811, appendix B.8, exact."""

SECOND: Final[Annotated[float, Unit("s")]] = 1.0
VOLT: Final[Annotated[float, Unit("V")]] = 1.0
AMPERE: Final[Annotated[float, Unit("A")]] = 1.0
WATT: Final[Annotated[float, Unit("W")]] = 1.0
COULOMB: Final[Annotated[float, Unit("As")]] = 1.0
JOULE: Final[Annotated[float, Unit("J")]] = 1.0
HERTZ: Final[Annotated[float, Unit("Hz")]] = 1.0
"""Units for code that needs plain numbers: divide a quantity by its unit, and multiply to return."""
