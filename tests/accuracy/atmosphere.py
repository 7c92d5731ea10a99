"""Air against the standard's tables and the metrologists' equation."""

import itertools

import numpy as np

from accuracy.errors import Errors
from gramwatt.physics import air
from physics.test_air import STANDARD, cipm_2007, moist


def standard() -> Errors:
    """Density, temperature and pressure against the table by geometric altitude, -500 to 5000 m."""
    found = [air.standard_atmosphere(np.array([row[0]])) for row in STANDARD]
    calculated = [float(value[0]) for each in found for value in (each.density, each.temperature, each.pressure)]
    return Errors.of(calculated, [value for row in STANDARD for value in row[1:4]])


def sound() -> Errors:
    """Speed of sound against the same table."""
    temperatures = np.array([row[2] for row in STANDARD])
    return Errors.of(air.speed_of_sound(temperatures), [row[4] for row in STANDARD])


def weather() -> Errors:
    """Moist air against CIPM-2007: 10 to 45 degC, 600 to 1040 hPa, dry to saturated."""
    states = list(itertools.product(range(10, 46, 5), range(60000, 104001, 4400), (0.0, 0.25, 0.5, 0.75, 1.0)))
    return Errors.of([moist(*state) for state in states], [cipm_2007(*state) for state in states])


def extremes() -> Errors:
    """Return the same from 0 to 50 degC and up to 1100 hPa."""
    states = list(itertools.product(range(0, 51, 5), range(60000, 110001, 5000), (0.0, 0.5, 1.0)))
    return Errors.of([moist(*state) for state in states], [cipm_2007(*state) for state in states])
