"""Momentum theory of rotors in hover, climb and forward flight, and the efficiency of typical drives."""

from typing import Annotated, Final

import numpy as np

from gramwatt.arrays import Array, Unit
from gramwatt.physics import motor_constants

COAXIAL_FACTOR: Final = (1 + 17**0.5) / 4
"""Power of two coaxial rotors of equal thrust over that of the same two alone, 1.2808, with the lower one in the fully
contracted wake of the upper (upper 1, lower 1.5616). Coincident rotors would have sqrt(2). Derived in
tests/physics/test_hover.py."""

BENCH_FIGURE_OF_MERIT: Final[Annotated[float, Unit("1")]] = 0.60
BENCH_THRUST: Final[Annotated[Array, Unit("N")]] = np.array([7.5, 60, 110, 180, 270, 385, 1000]) * 9.80665e-3
BENCH_EFFICIENCY: Final[Annotated[Array, Unit("1")]] = np.array([0.20, 0.26, 0.33, 0.38, 0.41, 0.43, 0.50])
"""Ideal over electrical power of one motor against thrust per rotor: an estimate from open data. 60 to 385 gf are
medians of bench runs of nine motors with eight five-inch propellers (StrawsonDesign/motor_propeller_testing); 7.5 and
1000 gf stand for 30 g craft with 46 mm and 4 kg craft with 340 mm propellers."""
LOG_BENCH_THRUST: Final = np.log(BENCH_THRUST / BENCH_THRUST[0])

DRIVE_EFFICIENCY_SPREAD: Final = 0.15
OTHER_EFFICIENCY_SPREAD: Final = 0.30
"""Standard deviation of the logarithm of `typical_drive_efficiency` for propellers of 4 to 6 in, and for others. At 60
gf the benches have 0.18 to 0.33 overall. The model of motor and propeller gives 0.76 to 1.3 times the typical power for
propellers of 4 in and more, and 0.56 to 0.73 times for 2 to 3.5 in, where the typical one is from brushed motors and
lightly loaded five-inch propellers."""

MIN_CHECKED_DISK_LOADING: Final[Annotated[float, Unit("N/m^2")]] = 30.0
"""Disk loading below which measured drives are far less efficient than typical: 40 gf on a five-inch propeller."""

MAX_CHECKED_SPEED: Final[Annotated[float, Unit("m/s")]] = 10.0
MIN_SPACING: Final[Annotated[float, Unit("1")]] = 3**0.5 / 2
"""In diameters: three disks on an equilateral triangle share their air when nearer."""


def disk_area(diameter: Array) -> Array:
    """Compute the area (N,) [m²] swept by a propeller of ``diameter`` (N,) [m]."""
    return np.pi * diameter**2 / 4


def hover_velocity(disk_loading: Array, air_density: Array) -> Array:
    """Compute the induced velocity in hover.

    Parameters
    ----------
    disk_loading : (N,)
        Thrust over disk area [N/m²].
    air_density : (N,)
        Density of the air [kg/m³].

    Returns
    -------
    (N,)
        ``vh = sqrt(T/A / (2 rho))`` [m/s].

    Notes
    -----
    Momentum theory, derived: the thrust ``T = rho A v (2 v)`` accelerates the air through the disk to v and to 2 v in
    the far wake.
    """
    return np.sqrt(disk_loading / (2 * air_density))


def induced_velocity(hover_velocity: Array, climb_speed: Array, forward_speed: Array) -> Array:
    """Compute the induced velocity in climb and level flight by Glauert's hypothesis.

    Parameters
    ----------
    hover_velocity : (N,)
        Induced velocity in hover at the same thrust, above 0 [m/s].
    climb_speed : (N,)
        Speed along the rotor axis, 0 or more [m/s]. Momentum theory does not cover descent.
    forward_speed : (N,)
        Speed across the rotor axis, 0 or more [m/s].

    Returns
    -------
    (N,)
        The only positive root v of ``v sqrt(V^2 + (Vc + v)^2) = vh^2`` [m/s]. Climb alone has
        ``v = -Vc/2 + sqrt(Vc^2/4 + vh^2)``, forward flight alone ``v^2 = -V^2/2 + sqrt(V^4/4 + vh^4)``.

    Notes
    -----
    Newton's method starts at ``min(vh, vh^2/V)``. The left side is convex and rising there, so each step approaches the
    root from above, and five steps reach the last bit. Forward speed assumes a slightly tilted disk: valid below about
    10 m/s for small craft. Derived from momentum theory with the resultant speed at the disk in place of v.
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
    """Compute the share (N,) of a disk that a neighbour covers: 1 at spacing 0, 0 from spacing 1 up.

    Parameters
    ----------
    spacing : (N,)
        Distance s of the axes over the diameter.

    Returns
    -------
    (N,)
        ``m' = (2/pi) (acos s - s sqrt(1 - s^2))``, the area common to two circles.
    """
    s = np.minimum(spacing, 1)
    return np.asarray(2 / np.pi * (np.arccos(s) - s * np.sqrt(1 - s**2)))


def interference(overlap: Array, neighbours: Array, coaxial: Array) -> Array:
    """Compute induced power over that of the same rotors far apart.

    Parameters
    ----------
    overlap : (N,)
        Share of a disk that one neighbour covers.
    neighbours : (N,)
        Neighbours n that cover each disk: 1 for two rotors, 2 in a ring of three or more.
    coaxial : (N,) of bool
        Whether a second rotor turns below each.

    Returns
    -------
    (N,)
        ``1 + (sqrt 2 - 1) n m'``, times `COAXIAL_FACTOR` where coaxial.

    Notes
    -----
    Derived: air that two disks share carries twice the thrust per area, and so takes 2 sqrt(2) times the power of one
    disk instead of 2. Valid while no three disks share their air.
    """
    overlapping = 1 + (np.sqrt(2) - 1) * neighbours * overlap
    return np.asarray(np.where(coaxial, COAXIAL_FACTOR * overlapping, overlapping))


def typical_drive_efficiency(thrust: Array) -> Array:
    """Estimate the efficiency (N,) of motor and controller where one rotor gives a ``thrust`` (N,) [N].

    `BENCH_EFFICIENCY`, linear in the logarithm of thrust and constant beyond its ends, over `BENCH_FIGURE_OF_MERIT`.
    """
    overall = np.interp(np.log(thrust / BENCH_THRUST[0]), LOG_BENCH_THRUST, BENCH_EFFICIENCY)
    return np.asarray(overall / BENCH_FIGURE_OF_MERIT)


def drive_efficiency_spread(diameter: Array) -> Array:
    """Return the standard deviation (N,) of the logarithm of `typical_drive_efficiency` for a diameter [m]."""
    known = motor_constants.is_five_inch_class(diameter)
    return np.where(known, DRIVE_EFFICIENCY_SPREAD, OTHER_EFFICIENCY_SPREAD)
