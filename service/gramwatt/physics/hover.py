"""Momentum theory of rotors in hover, climb and forward flight, and what usual drives make of it."""

from typing import Annotated, Final

import numpy as np

from gramwatt.arrays import Array, Unit

COAXIAL_FACTOR: Final = (1 + 17**0.5) / 4
"""Power of two coaxial rotors of equal thrust over that of the same two alone, 1.2808, with the lower one in the fully
contracted wake of the upper (upper 1, lower 1.5616). Coincident rotors would have sqrt(2).
Leishman, Principles of Helicopter Aerodynamics, ch. 2 (from memory); derived in tests/physics/test_hover.py."""

BENCH_FIGURE_OF_MERIT: Final[Annotated[float, Unit("1")]] = 0.60
BENCH_THRUST: Final[Annotated[Array, Unit("N")]] = np.array([7.5, 60, 110, 180, 270, 385, 1000]) * 9.80665e-3
BENCH_EFFICIENCY: Final[Annotated[Array, Unit("1")]] = np.array([0.20, 0.26, 0.33, 0.38, 0.41, 0.43, 0.50])
"""Ideal over electrical power of one motor against thrust per rotor: a judgement from open data. 60 to 385 gf are
medians of bench runs of nine motors with eight five-inch propellers (StrawsonDesign/motor_propeller_testing); 7.5 and
1000 gf stand for 30 g craft with 46 mm and 4 kg craft with 340 mm propellers."""
LOG_BENCH_THRUST: Final = np.log(BENCH_THRUST / BENCH_THRUST[0])

DRIVE_SPREAD: Final[Annotated[float, Unit("1")]] = 0.12
"""Relative standard uncertainty of `usual_drive_efficiency`: at 60 gf the benches run from 0.18 to 0.33 in all."""

LIGHTEST_CHECKED: Final[Annotated[float, Unit("N/m^2")]] = 30.0
"""Disk loading under which measured drives fall far below the usual: 40 gf on a five-inch propeller."""

FASTEST_CHECKED: Final[Annotated[float, Unit("m/s")]] = 10.0
LEAST_SPACING: Final[Annotated[float, Unit("1")]] = 3**0.5 / 2
"""In diameters: three disks on an equilateral triangle begin to share their air when nearer."""


def disk_area(diameter: Array) -> Array:
    """Area (N,) [m2] swept by a propeller of ``diameter`` (N,) [m]."""
    return np.pi * diameter**2 / 4


def hover_velocity(disk_loading: Array, air_density: Array) -> Array:
    """Induced velocity in hover.

    Parameters
    ----------
    disk_loading : (N,) thrust over disk area [N/m2]
    air_density : (N,) [kg/m3]

    Returns
    -------
    (N,) ``sqrt(T/A / (2 rho))`` [m/s].

    References
    ----------
    J. G. Leishman, Principles of Helicopter Aerodynamics, 2nd ed. 2006, ch. 2 (from memory).
    """
    return np.sqrt(disk_loading / (2 * air_density))


def induced_velocity(hover_velocity: Array, climb_speed: Array, forward_speed: Array) -> Array:
    """Induced velocity in climb and level flight, by Glauert's hypothesis.

    Parameters
    ----------
    hover_velocity : (N,) induced velocity in hover at the same thrust, above 0 [m/s]
    climb_speed : (N,) along the rotor's axis, from 0 up [m/s]; momentum theory has no answer for descent
    forward_speed : (N,) across it, from 0 up [m/s]

    Returns
    -------
    (N,) the one positive root v of ``v sqrt(V^2 + (Vc + v)^2) = vh^2`` [m/s]. Alone, climb has
    ``v = -Vc/2 + sqrt(Vc^2/4 + vh^2)`` and forward flight ``v^2 = -V^2/2 + sqrt(V^4/4 + vh^4)``. Found by Newton's
    method from ``min(vh, vh^2/V)``: the left side is convex and rising there, so each step comes nearer from above, and
    five reach the last bit. Forward speed assumes a disk little tilted: below about 10 m/s for small craft.

    References
    ----------
    H. Glauert, ARC R&M 1111 (1926); Leishman 2006, ch. 2 (both from memory).
    """
    target = hover_velocity**2
    square = forward_speed**2
    velocity = target / np.maximum(hover_velocity, np.hypot(climb_speed, forward_speed))
    for _ in range(5):
        through = climb_speed + velocity
        speed = np.sqrt(square + through**2)
        velocity = velocity - (velocity * speed - target) / (speed + velocity * through / speed)
    return velocity


def overlap(spacing: Array) -> Array:
    """Share (N,) of a disk that a neighbour covers, axes ``spacing`` (N,) diameters apart: 1 at 0, 0 from 1 up.

    ``m' = (2/pi) (acos s - s sqrt(1 - s^2))``: the area common to two circles.
    """
    s = np.minimum(spacing, 1)
    return np.asarray(2 / np.pi * (np.arccos(s) - s * np.sqrt(1 - s**2)))


def interference(overlap: Array, neighbours: Array, coaxial: Array) -> Array:
    """Induced power over that of the same rotors far apart.

    Parameters
    ----------
    overlap : (N,) share of a disk that one neighbour covers
    neighbours : (N,) neighbours that cover each disk: 1 of two rotors, 2 in a ring of three and more
    coaxial : (N,) truths, whether a second rotor turns under each

    Returns
    -------
    (N,) ``1 + (sqrt 2 - 1) n m'``, times `COAXIAL_FACTOR` where coaxial. Where two disks share their air, it carries
    twice the thrust per area and so takes 2 sqrt 2 the power instead of 2. No three disks may share.

    References
    ----------
    Leishman 2006, ch. 2, overlapping rotors (from memory); a ring's two neighbours: derived.
    """
    beside = 1 + (np.sqrt(2) - 1) * neighbours * overlap
    return np.asarray(np.where(coaxial, COAXIAL_FACTOR * beside, beside))


def usual_drive_efficiency(thrust: Array) -> Array:
    """Efficiency (N,) of motor and controller to expect where one rotor gives a ``thrust`` (N,) [N]: a judgement.

    `BENCH_EFFICIENCY`, straight over the logarithm of thrust and flat beyond its ends, over `BENCH_FIGURE_OF_MERIT`.
    """
    over_all = np.interp(np.log(thrust / BENCH_THRUST[0]), LOG_BENCH_THRUST, BENCH_EFFICIENCY)
    return np.asarray(over_all / BENCH_FIGURE_OF_MERIT)
