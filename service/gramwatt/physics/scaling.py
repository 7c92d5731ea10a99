"""Average power against mass: a power law, applied to another flight or fitted to several."""

from typing import Final, NamedTuple

import numpy as np

from gramwatt.arrays import Array, BoolArray
from gramwatt.physics import constants
from gramwatt.physics.statistics import student_t

MIN_MASS_SPAN: Final = 0.01
"""Masses within 1 % of each other count as one: noise of power would hide their difference. An estimate."""

ROUNDING_TOLERANCE: Final = 1e-12
"""Masses closer than this are equal."""
EXACT: Final = 1e-9
"""Relative deviations below this come from rounding and from the search for each power, not from scatter."""

MAX_EXPONENT: Final = 3.0
"""Exponents of power against mass are from 0 to this, twice the aerodynamic law."""
PRIOR_SCATTER: Final = 0.08
"""Relative standard deviation of average powers between flights of one craft by one pilot: rule of thumb, no source."""
PRIOR_DEGREES: Final = 3
"""Degrees of freedom of `PRIOR_SCATTER`: it is known to some 40 %, an estimate (JCGM 100:2008, G.4.2)."""


def air_factor(density: Array) -> Array:
    """Compute power relative to standard air, ``sqrt(1.225 / rho)``, for a ``density`` (any shape) [kg/m³].

    Derived from the law of hover at a given weight, ``P = W^1.5 / sqrt(2 rho A)``. Valid for the propellers' share of
    the power, not for avionics, nor for drag in fast flight.
    """
    return np.sqrt(constants.STANDARD_AIR_DENSITY / density)


def best_pack_mass(dry_mass: Array, exponent: Array) -> Array:
    """Compute the pack mass of the longest flight.

    Parameters
    ----------
    dry_mass : (N,)
        Mass of the craft without its pack [kg].
    exponent : (N,)
        x in power ~ mass^x.

    Returns
    -------
    (N,)
        ``m_0 / (x - 1)`` [kg]. Derived: with energy in proportion to pack mass b, time ~ b / (m_0 + b)^x, whose
        derivative vanishes where m_0 + b = x b. Nan where x <= 1, as time then rises with every gram, and where the dry
        mass is not positive.
    """
    return dry_mass / np.where((exponent > 1) & (dry_mass > 0), exponent - 1, np.nan)


def has_distinct_masses(masses: Array) -> BoolArray:
    """Return whether (N,) masses (N, M) differ enough to fit an exponent; see `MIN_MASS_SPAN`."""
    return np.asarray(masses.max(axis=1) > (1 + MIN_MASS_SPAN) * masses.min(axis=1))


def geometric_mean(values: Array) -> Array:
    """Compute the geometric mean (N,) of values (N, M), from ratios to the first so that units do not matter."""
    ratio: Array = np.exp(np.log(values / values[:, :1]).mean(axis=1))
    return values[:, 0] * ratio


class PowerLaw(NamedTuple):
    """The law ``P = reference_power (m / reference_mass)^exponent``; arrays (N,) unless noted."""

    reference_mass: Array
    """Geometric mean mass [kg]."""
    reference_power: Array
    """Average power at the reference mass [W]."""
    exponent: Array
    scatter: Array
    """Standard deviation of ln P about the law: for small values the relative standard deviation of P."""
    pooled_scatter: Array
    """The same with what is known before any flight; see `fit_power_law`."""
    degrees: Array
    """Degrees of freedom of the pooled scatter."""
    deviations: Array
    """Relative deviation (N, M) of each flight from the law."""
    spread: Array
    """Sum of squares of ln (m / reference_mass)."""
    fitted: BoolArray
    """Whether the exponent was fitted."""
    flights: int
    """Number of flights M."""

    def power(self, mass: Array) -> Array:
        """Compute the average power (N,) [W] at a mass (N,) [kg]."""
        return self.reference_power * (mass / self.reference_mass) ** self.exponent

    def next_power(self, mass: Array, level: Array, slope: Array) -> Array:
        """Compute the average power [W] of one more flight at a mass (..., N) [kg].

        Parameters
        ----------
        mass : (..., N)
            Mass [kg].
        level, slope : (N,)
            Standard normal deviates of the level, with the scatter of that flight, and of the exponent; zeros for the
            best estimate.

        Returns
        -------
        (..., N)
            ``P(m) exp(s h t)`` with ``h^2 = 1 + 1/n + ln(m/m_ref)^2 / spread``, s the pooled scatter and t Student's
            deviate of the degrees of freedom; the last term only where the exponent was fitted. JCGM 100:2008, G.3.
        """
        by_level = np.sqrt(1 + 1 / self.flights)
        by_slope = np.log(mass / self.reference_mass) / self._slope_spread
        height = np.hypot(by_level, by_slope)
        deviate = student_t((by_level * level + by_slope * slope) / height, self.degrees)
        return self.power(mass) * np.exp(self.pooled_scatter * height * deviate)

    def likely_exponent(self, slope: Array) -> Array:
        """Compute the exponent (N,) for a standard normal deviate ``slope`` (N,) of it, as in `next_power`."""
        likely = self.exponent + self.pooled_scatter / self._slope_spread * student_t(slope, self.degrees)
        return np.clip(likely, 0.0, np.maximum(self.exponent, MAX_EXPONENT))

    @property
    def _slope_spread(self) -> Array:
        """Square root of the spread (N,), infinite where the exponent was not fitted."""
        return np.sqrt(np.where(self.fitted, self.spread, np.inf))


def fit_power_law(masses: Array, powers: Array, exponent: Array) -> PowerLaw:
    """Fit ``ln P = ln P_ref + x ln (m / m_ref)`` by least squares, m_ref the geometric mean mass.

    Parameters
    ----------
    masses : (N, M)
        Mass of each flight [kg].
    powers : (N, M)
        Average power of each flight [W], all in the same air.
    exponent : (N,)
        x where it is known; nan to fit it.

    Returns
    -------
    PowerLaw
        Fitted exponent: ``x = sum(u y) / sum(u^2)`` with u and y the logarithms of mass and power less their means; nan
        unless `has_distinct_masses`. Scatter: ``sqrt(sum of squared residuals / degrees)`` with M - 2 degrees of
        freedom, M - 1 where x is known; nan without any. Pooled scatter: ``sqrt((n0 s0^2 + sum of squared residuals) /
        (n0 + degrees))`` with s0 = `PRIOR_SCATTER` and n0 = `PRIOR_DEGREES`.

    Notes
    -----
    Ordinary least squares, derived: every flight has the same weight, and all error is in the power. The pooled scatter
    is the conjugate estimate of a variance (scaled inverse chi-squared prior), for which a prediction has Student's t
    with n0 + degrees degrees of freedom: it gives one flight a spread as well. Tests compare with SciPy.
    """
    flights = masses.shape[1]
    reference_mass, reference_power = geometric_mean(masses), geometric_mean(powers)
    u = np.log(masses / reference_mass[:, None])
    y = np.log(powers / reference_power[:, None])
    spread = (u**2).sum(axis=1)
    fitted = np.isnan(exponent)
    usable_spread = np.where(has_distinct_masses(masses), spread, np.nan)
    x = np.where(fitted, (u * y).sum(axis=1) / usable_spread, exponent)

    residuals = y - x[:, None] * u
    residuals = np.where(np.abs(residuals) <= EXACT, 0.0, residuals)
    degrees = np.maximum(np.where(fitted, flights - 2, flights - 1), 0)
    squares = (residuals**2).sum(axis=1)
    pooled_degrees = PRIOR_DEGREES + degrees
    return PowerLaw(
        reference_mass=reference_mass,
        reference_power=reference_power,
        exponent=x,
        scatter=np.sqrt(squares / np.where(degrees > 0, degrees, np.nan)),
        pooled_scatter=np.sqrt((PRIOR_DEGREES * PRIOR_SCATTER**2 + squares) / pooled_degrees),
        degrees=pooled_degrees,
        deviations=np.expm1(residuals),
        spread=spread,
        fitted=fitted,
        flights=flights,
    )
