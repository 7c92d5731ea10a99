"""Average power against mass: a power law, carried from flight to flight or fitted to several."""

from typing import Annotated, Final, NamedTuple

import numpy as np

from gramwatt.arrays import Array, BoolArray, Unit

STANDARD_AIR_DENSITY: Final[Annotated[float, Unit("kg/m3")]] = 1.225
"""ISO 2533:1975, standard atmosphere at sea level."""

LEAST_SPAN: Final = 0.01
"""Masses within 1 % of one another count as one: noise of power would drown their difference. A judgement."""

LAST_BITS: Final = 1e-12
"""Relative deviations below this are left over from floating-point sums, not scatter."""


def air_factor(density: Array) -> Array:
    """Power in air of a ``density`` (any shape) [kg/m3], relative to standard air: ``sqrt(1.225 / rho)``.

    The law of hover at a given weight, ``P = W^1.5 / sqrt(2 rho A)``; it holds for the propellers' share of the power,
    not for avionics, nor for drag in fast flight.

    References
    ----------
    Leishman, Principles of Helicopter Aerodynamics, chapter 2, momentum theory (from memory).
    """
    return np.sqrt(STANDARD_AIR_DENSITY / density)


def best_pack_mass(rest_mass: Array, exponent: Array) -> Array:
    """Pack mass of the longest flight.

    Parameters
    ----------
    rest_mass : (N,) of the craft without its pack [kg]
    exponent : (N,) x of power ~ mass^x

    Returns
    -------
    (N,) ``m_0 / (x - 1)`` [kg]: with energy in proportion to pack mass b, time ~ b / (m_0 + b)^x, whose derivative
    vanishes where m_0 + b = x b. nan where x <= 1, as time then rises with every gram, and where there is no rest.
    """
    return rest_mass / np.where((exponent > 1) & (rest_mass > 0), exponent - 1, np.nan)


def distinct(masses: Array) -> BoolArray:
    """Whether masses (N, M) differ enough for an exponent to be fitted, see `LEAST_SPAN`; shape (N,)."""
    return np.asarray(masses.max(axis=1) > (1 + LEAST_SPAN) * masses.min(axis=1))


def geometric_mean(values: Array) -> Array:
    """Geometric mean (N,) of values (N, M), taken over ratios to the first so that units do not matter."""
    ratio: Array = np.exp(np.log(values / values[:, :1]).mean(axis=1))
    return values[:, 0] * ratio


class PowerLaw(NamedTuple):
    """``P = reference_power (m / reference_mass)^exponent``. Arrays of shape (N,), deviations (N, M).

    ``scatter`` is the standard deviation of ln P about the law, which for small ones is the relative standard
    deviation of P; ``spread`` the sum of squares of ln (m / reference_mass); ``fitted`` whether the exponent was.
    """

    reference_mass: Array
    reference_power: Array
    exponent: Array
    exponent_u: Array
    scatter: Array
    deviations: Array
    spread: Array
    fitted: BoolArray
    flights: int

    def power(self, mass: Array) -> Array:
        """Average power (N,) at a mass (N,)."""
        return self.reference_power * (mass / self.reference_mass) ** self.exponent

    def prediction_u(self, mass: Array) -> Array:
        """Relative standard error (N,) of the average power of one more flight at a mass (N,).

        ``s sqrt(1 + 1/n + ln(m/m_ref)^2 / spread)``; the last term only where the exponent was fitted.
        """
        spread = np.where(self.fitted, self.spread, np.inf)
        return self.scatter * np.sqrt(1 + 1 / self.flights + np.log(mass / self.reference_mass) ** 2 / spread)


def fit_power_law(masses: Array, powers: Array, exponent: Array) -> PowerLaw:
    """Fit ``ln P = ln P_ref + x ln (m / m_ref)`` by least squares, m_ref the geometric mean mass.

    Parameters
    ----------
    masses : (N, M) [kg]
    powers : (N, M) average powers [W], all in the same air
    exponent : (N,) x where it is known and to be held; nan where it is to be fitted

    Returns
    -------
    `PowerLaw`. Fitted: ``x = sum(u y) / sum(u^2)`` with u and y the logarithms of mass and power less their means,
    which needs `distinct` masses, else nan. Scatter: ``sqrt(sum of squared residuals / degrees)`` with M - 2 degrees of
    freedom, M - 1 where x is held; nan where none is left. Standard error of x: ``scatter / sqrt(sum(u^2))``. Every
    flight weighs the same, and all error is taken to be in the power.

    References
    ----------
    Draper & Smith, Applied Regression Analysis, 3rd ed. 1998, chapter 1 (from memory); tests compare with SciPy.
    """
    flights = masses.shape[1]
    reference_mass, reference_power = geometric_mean(masses), geometric_mean(powers)
    u = np.log(masses / reference_mass[:, None])
    y = np.log(powers / reference_power[:, None])
    spread = (u**2).sum(axis=1)
    fitted = np.isnan(exponent)
    lever = np.where(distinct(masses), spread, np.nan)
    x = np.where(fitted, (u * y).sum(axis=1) / lever, exponent)

    residuals = y - x[:, None] * u
    residuals = np.where(np.abs(residuals) <= LAST_BITS, 0.0, residuals)
    degrees = np.where(fitted, flights - 2, flights - 1)
    scatter = np.sqrt((residuals**2).sum(axis=1) / np.where(degrees > 0, degrees, np.nan))
    return PowerLaw(
        reference_mass=reference_mass,
        reference_power=reference_power,
        exponent=x,
        exponent_u=np.where(fitted, scatter / np.sqrt(lever), np.nan),
        scatter=scatter,
        deviations=np.expm1(residuals),
        spread=spread,
        fitted=fitted,
        flights=flights,
    )
