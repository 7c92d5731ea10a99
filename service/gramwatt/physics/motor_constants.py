"""Constants of a motor: typical ones by size, by stator, and those that follow from a bench point.

The effective resistance covers winding, controller, leads and commutation. Kv is the rated one wherever a typical
constant follows from it.
"""

from typing import Annotated, Final

import numpy as np

from gramwatt.arrays import Array, BoolArray, Unit
from gramwatt.physics import constants

TYPICAL_RESISTANCE: Final[Annotated[float, Unit("ohm")]] = 0.20
TYPICAL_RESISTANCE_SPREAD: Final = 0.45
"""Effective resistance of a motor for five-inch propellers, far above that of the winding, and the standard deviation
of its logarithm (a factor of 1.57). Chosen on motors a, c, e, g, i of an open bench data set, where its mean errors of
thrust and current at full throttle are smallest together; all nine motors have 0.095 to 0.44 ohm."""

CLASS_MIN_DIAMETER: Final[Annotated[float, Unit("m")]] = 4 * constants.INCH
CLASS_MAX_DIAMETER: Final[Annotated[float, Unit("m")]] = 6 * constants.INCH
SIZE_SPREAD: Final = 1.1
"""What the spreads grow by, in quadrature, for each factor of e in diameter outside this class. With it the default
spreads as widely as the winding resistance of 204 motors of all sizes in an open catalogue (1.1)."""

MATCHED_SIZE: Final[Annotated[float, Unit("m^2 rad/(s V)")]] = 2300 * constants.RPM * (5 * constants.INCH) ** 2
MATCHED_BAND: Final[Annotated[float, Unit("1")]] = 1.5
"""Kv times diameter squared of a motor that suits its propeller, and the factor within which it says nothing about the
resistance."""

STATOR_RESISTANCE: Final[Annotated[float, Unit("ohm")]] = 0.174
STATOR_SPEED_CONSTANT: Final[Annotated[float, Unit("rad/(s V)")]] = 2000 * constants.RPM
STATOR_SIZE: Final[Annotated[float, Unit("m^3")]] = 3000e-9
STATOR_POWER: Final[Annotated[float, Unit("1")]] = 5 / 3
STATOR_SPREAD: Final = 0.39
"""Effective resistance of a motor of this rated Kv and stator (diameter squared times height), the exponent of its
size, and the standard deviation of the logarithm (a factor of 1.48)."""

NO_LOAD_SPEED: Final[Annotated[float, Unit("rad/s")]] = 587 * constants.RPM
NO_LOAD_SPREAD: Final = 0.10
"""Rated Kv times the drop of the no-load current at the effective resistance, and the standard deviation of its
logarithm: fitted constants of the same five motors have a mean of 594 rpm and 0.11, those of the other four 571 rpm
and 0.08."""
NO_LOAD_SIZE_POWER: Final[Annotated[float, Unit("1")]] = 1.5
"""How the no-load current of larger motors falls below that law: in an open catalogue, the mean of I0 R Kv with the
resistance of the winding falls from 66 rpm at 1500 to 2500 rpm/V to 17 rpm at 200 to 400 rpm/V."""
MAX_NO_LOAD_SHARE: Final = 0.5
"""Share of a motor's current at full throttle above which a computed no-load current is impossible: an estimate; the
bench set has 0.22 at most."""

NEWTON_STEPS: Final = 12
"""In `resistance_from_bench`: always as many, so that no row depends on another. Eight reach the last bit."""


def is_five_inch_class(diameter: Array) -> BoolArray:
    """Return where (N,) a propeller's diameter [m] is 4 to 6 in, the class that the typical constants are from."""
    return np.asarray(_beyond_class(diameter) <= 1e-9)


def _beyond_class(diameter: Array) -> Array:
    """Return the distance (N,) of a diameter from the class as a logarithm: 0 inside, ln 2 at twice its maximum."""
    nearest = np.clip(diameter, CLASS_MIN_DIAMETER, CLASS_MAX_DIAMETER)
    return np.asarray(np.abs(np.log(diameter / nearest)))


def _mismatch(speed_constant: Array, diameter: Array) -> Array:
    """Return Kv D^2 over the nearest value that suits the propeller (N,): 1 within `MATCHED_BAND`."""
    ratio = speed_constant * diameter**2 / MATCHED_SIZE
    return np.asarray(ratio / np.clip(ratio, 1 / MATCHED_BAND, MATCHED_BAND))


def typical_resistance(speed_constant: Array, diameter: Array) -> Array:
    """Estimate the effective resistance of a motor from its propeller alone.

    Parameters
    ----------
    speed_constant : (N,)
        Rated Kv [rad/(s V)].
    diameter : (N,)
        Propeller diameter [m].

    Returns
    -------
    (N,)
        ``R = 0.20 ohm / m^2`` [ohm], m the factor by which ``Kv D^2`` is outside 2300 rpm/V (5 in)^2 times or over 1.5,
        1 inside.

    Notes
    -----
    Motors that turn their tips at about one speed and lose about one share of their voltage have R ~ (Kv D^2)^-2:
    ``I ~ Kv w^2 D^5`` with ``w ~ 1/D`` and ``V ~ 1/(Kv D)`` give ``V/I ~ Kv^-2 D^-4``. Five-inch motors of 2000 to
    2600 rpm/V show no trend, hence the band. Over the 204 motors of an open catalogue, from 65 to 25 800 rpm/V, winding
    resistance goes as Kv^-0.3 overall, and as Kv^-1.6 at one mass.
    """
    return np.asarray(TYPICAL_RESISTANCE / _mismatch(speed_constant, diameter) ** 2)


def typical_resistance_spread(speed_constant: Array, diameter: Array) -> Array:
    """Return the standard deviation (N,) of the logarithm of `typical_resistance`.

    0.45 for 4 to 6 in, and in quadrature 1.1 for each factor of e in diameter outside, and the logarithm of m.
    """
    size = SIZE_SPREAD * _beyond_class(diameter)
    mismatch = np.log(_mismatch(speed_constant, diameter))
    return np.asarray(np.sqrt(TYPICAL_RESISTANCE_SPREAD**2 + size**2 + mismatch**2))


def stator_resistance(speed_constant: Array, stator_diameter: Array, stator_height: Array) -> Array:
    """Estimate the effective resistance of a motor from its stator.

    Parameters
    ----------
    speed_constant : (N,)
        Rated Kv [rad/(s V)].
    stator_diameter, stator_height : (N,)
        Diameter d and height h of the stator [m].

    Returns
    -------
    (N,)
        ``R = 0.174 ohm (2000 rpm/V / Kv)^2 (3000 mm3 / (d^2 h))^(5/3)`` [ohm], known to a factor of 1.48.

    Notes
    -----
    Scaling, derived: flux goes as the area L^2 of a size L, so turns as ``1 / (Kv L^2)``; resistance goes as turns
    squared times length over area, so as ``Kv^-2 L^-5``, and d^2 h as L^3. Fitted to motors of 320 to 5200 rpm/V the
    power of d^2 h is -1.66.
    """
    size = stator_diameter**2 * stator_height
    return np.asarray(
        STATOR_RESISTANCE * (STATOR_SPEED_CONSTANT / speed_constant) ** 2 * (STATOR_SIZE / size) ** STATOR_POWER
    )


def _no_load_drop(speed_constant: Array, diameter: Array) -> Array:
    """Return the product of no-load current and resistance (N,) [V]."""
    smaller = np.minimum(CLASS_MAX_DIAMETER / diameter, 1)
    return np.asarray(NO_LOAD_SPEED / speed_constant * smaller**NO_LOAD_SIZE_POWER)


def typical_no_load_current(speed_constant: Array, motor_resistance: Array, diameter: Array) -> Array:
    """Estimate the no-load current of a motor.

    Parameters
    ----------
    speed_constant, motor_resistance : (N,)
        Rated Kv [rad/(s V)] and effective resistance [ohm].
    diameter : (N,)
        Diameter of the propeller that it turns [m].

    Returns
    -------
    (N,)
        ``I0 = 587 rpm / (Kv R)`` [A] for propellers of up to 6 in; above, times ``(6 in / D)^1.5``.
    """
    return np.asarray(_no_load_drop(speed_constant, diameter) / motor_resistance)


def no_load_spread(diameter: Array) -> Array:
    """Return the standard deviation (N,) of the logarithm of `typical_no_load_current`, R being known."""
    return np.asarray(np.hypot(NO_LOAD_SPREAD, SIZE_SPREAD * _beyond_class(diameter)))


def resistance_at_speed(voltage: Array, current: Array, rotor_speed: Array, speed_constant: Array) -> Array:
    """Compute the effective resistance of a motor from volts, amps and speed at full throttle.

    Parameters
    ----------
    voltage, current : (N,)
        Measured at the controller of the motor [V], [A].
    rotor_speed : (N,)
        Measured speed w [rad/s].
    speed_constant : (N,)
        Real Kv [rad/(s V)].

    Returns
    -------
    (N,)
        ``R = (V - w/Kv) / I`` [ohm]; nan where the back-EMF is above the voltage.
    """
    resistance = (voltage - rotor_speed / speed_constant) / current
    return np.asarray(np.where(resistance > 0, resistance, np.nan))


def shaft_power(current: Array, no_load_current: Array, rotor_speed: Array, speed_constant: Array) -> Array:
    """Compute ``P = Q w`` (N,) [W] with ``Q = (I - I0) / Kv``; nan where I is not above I0."""
    torque_current = np.where(current > no_load_current, current - no_load_current, np.nan)
    return np.asarray(torque_current / speed_constant * rotor_speed)


def resistance_from_bench(
    voltage: Array,
    current: Array,
    *,
    speed_constant: Array,
    no_load_current: Array,
    torque_factor: Array,
    rated_speed_constant: Array,
    diameter: Array,
) -> Array:
    """Compute the effective resistance of a motor from volts and amps at full throttle with its propeller.

    Parameters
    ----------
    voltage, current : (N,)
        Measured at the controller of the motor [V], [A].
    speed_constant, no_load_current : (N,)
        Real Kv [rad/(s V)] and no-load current [A], nan where that is `typical_no_load_current` of the result.
    torque_factor : (N,)
        c in ``Q = c w^2`` [N m s²].
    rated_speed_constant, diameter : (N,)
        Rated Kv [rad/(s V)] and propeller diameter [m].

    Returns
    -------
    (N,)
        ``R = (V - w/Kv) / I`` with ``w = sqrt((I - I0) / (Kv c))`` [ohm]: the current gives the torque, the torque the
        speed, the speed the back-EMF. Nan where the point is impossible: a current below the no-load current, a
        back-EMF above the voltage, or a computed no-load current above half the current.

    Notes
    -----
    With ``I0 = u / R`` the equation ``R + w(R) / (Kv I) = V / I`` has one root, as its left side rises. It is concave,
    so Newton's method approaches the root from below, from the resistance where I0 is half the current.
    """
    given = _resistance_at_no_load(voltage, current, speed_constant, no_load_current, torque_factor)
    drop = _no_load_drop(rated_speed_constant, diameter)
    lowest = drop / (MAX_NO_LOAD_SHARE * current)
    slope = 1 / np.sqrt(speed_constant * torque_factor)  # of the speed over the square root of the torque's current
    resistance = lowest
    for _ in range(NEWTON_STEPS):
        speed = slope * np.sqrt(current - drop / resistance)
        excess = resistance + speed / (speed_constant * current) - voltage / current
        gain = slope**2 * drop / (2 * resistance**2 * speed * speed_constant * current)
        resistance = np.maximum(resistance - excess / (1 + gain), lowest)
    computed = np.where(resistance > lowest, resistance, np.nan)
    return np.where(np.isnan(no_load_current), computed, given)


def _resistance_at_no_load(
    voltage: Array, current: Array, speed_constant: Array, no_load_current: Array, torque_factor: Array
) -> Array:
    torque_current = np.where(current > no_load_current, current - no_load_current, np.nan)
    return resistance_at_speed(
        voltage, current, np.sqrt(torque_current / (speed_constant * torque_factor)), speed_constant
    )
