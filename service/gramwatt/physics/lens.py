"""Ideal lenses: where something is in the picture. Places in it are in focal lengths from its middle."""

from typing import Annotated, Final

import numpy as np

from gramwatt.arrays import Array, IndexArray, Unit

PROJECTIONS: Final = ("rectilinear", "equidistant")
RECTILINEAR, EQUIDISTANT = range(2)
DIRECTIONS: Final = ("horizontal", "vertical", "diagonal")
MAX_RECTILINEAR_FIELD: Final[Annotated[float, Unit("rad")]] = np.deg2rad(170.0)
"""At 170 degrees the edge of a rectilinear picture has 130 times the scale of its middle."""


def image_radius(angle: Array, projection: IndexArray) -> Array:
    """Compute how far from the middle of the picture something is, in focal lengths.

    Parameters
    ----------
    angle : (N,)
        Between its direction and the optical axis [rad]; below 90 degrees in a rectilinear picture.
    projection : (N,)
        Position in `PROJECTIONS`.

    Returns
    -------
    (N,)
        ``tan(angle)`` of a rectilinear lens, ``angle`` of an equidistant one.

    References
    ----------
    J. Kannala and S. S. Brandt, "A generic camera model and calibration method for conventional, wide-angle, and
    fish-eye lenses", IEEE Transactions on Pattern Analysis and Machine Intelligence 28 (2006) 1335-1340, equations 1
    and 3 (from memory).
    """
    return np.where(projection == EQUIDISTANT, angle, np.tan(angle))


def angle_of_radius(radius: Array, projection: IndexArray) -> Array:
    """Compute the angle (N,) [rad] to the optical axis of what is at a radius: the inverse of `image_radius`."""
    return np.where(projection == EQUIDISTANT, radius, np.arctan(radius))


def fields_of_view(field: Array, direction: IndexArray, aspect: Array, projection: IndexArray) -> Array:
    """Compute all fields of view of a lens from one of them.

    Parameters
    ----------
    field : (N,)
        The one that is known [rad].
    direction : (N,)
        Which one, a position in `DIRECTIONS`.
    aspect : (N,)
        Width of the picture over its height.
    projection : (N,)
        Position in `PROJECTIONS`.

    Returns
    -------
    (3, N)
        Horizontal, vertical and diagonal field of view [rad]; nan where no lens of this kind has such a field: beyond
        170 degrees of a rectilinear one, or where corners of an equidistant picture would be behind it, 180 degrees
        from its axis.
    """
    sides = np.stack([aspect, np.ones_like(aspect), np.hypot(aspect, 1)])
    known = np.take_along_axis(sides, direction[None, :], axis=0)[0]
    radii = image_radius(field / 2, projection) * sides / known
    fields = 2 * angle_of_radius(radii, projection)
    is_possible = np.where(projection == EQUIDISTANT, fields[2] < 2 * np.pi, field <= MAX_RECTILINEAR_FIELD)
    return np.where(is_possible, fields, np.nan)


def project(ahead: Array, right: Array, up: Array, projection: IndexArray) -> tuple[Array, Array]:
    """Compute where something is in the picture, to the right and up from its middle in focal lengths.

    A rectilinear picture shows nothing that is behind the camera or beside it: nan.
    """
    aside = np.hypot(right, up)
    angle = np.arctan2(aside, ahead)
    radius = np.where(projection == EQUIDISTANT, angle, np.where(ahead > 0, np.tan(angle), np.nan))
    scale = np.divide(radius, aside, out=np.where(ahead > 0, 1.0, np.nan), where=aside > 0)
    return right * scale, up * scale


def look_up(across: Array, up: Array, projection: IndexArray) -> tuple[Array, Array, Array]:
    """Compute the direction of a place in the picture, of length 1: the inverse of `project`."""
    radius = np.hypot(across, up)
    angle = angle_of_radius(radius, projection)
    scale = np.divide(np.sin(angle), radius, out=np.ones_like(radius), where=radius > 0)
    return np.cos(angle), across * scale, up * scale
