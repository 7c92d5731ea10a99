"""Metric threads, lengths and heads of screws, and their mass.

Values of the standards are from memory. A test derives diameters and compares heads with those of a package.
"""

from typing import Annotated, Final

import numpy as np

from gramwatt.arrays import Array, BoolArray, IndexArray, Unit

THREADS: Final = ("M1.6", "M2", "M2.5", "M3", "M4", "M5", "M6")
HEADS: Final = ("socket-cap", "button", "countersunk")
COUNTERSUNK: Final = HEADS.index("countersunk")
MATERIALS: Final = ("steel", "stainless-steel", "titanium", "aluminium")
NONE: Final = np.nan

DIAMETER: Final[Annotated[Array, Unit("m")]] = np.array([1.6, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0]) / 1000
"""Nominal diameter of each thread."""
PITCH: Final[Annotated[Array, Unit("m")]] = np.array([0.35, 0.40, 0.45, 0.50, 0.70, 0.80, 1.00]) / 1000
"""Coarse pitch of each thread: ISO 261."""
LENGTHS: Final[Annotated[Array, Unit("m")]] = (
    np.array([2.5, 3, 4, 5, 6, 8, 10, 12, 16, 20, 25, 30, 35, 40, 45, 50, 55, 60]) / 1000
)
"""Nominal lengths up to 60 mm: ISO 4762."""
SHORTEST: Final[Annotated[Array, Unit("m")]] = (
    np.array([[2.5, 3, 4, 5, 6, 8, 10], [NONE, NONE, NONE, 6, 6, 8, 10], [NONE, NONE, NONE, 8, 8, 8, 8]]) / 1000
)
"""Shortest nominal length by head and thread: ISO 4762, ISO 7380-1, ISO 10642; nan where the size is in none."""
LONGEST: Final[Annotated[Array, Unit("m")]] = (
    np.array([[16, 20, 25, 30, 40, 50, 60], [NONE, NONE, NONE, 30, 40, 50, 60], [NONE, NONE, NONE, 30, 40, 50, 60]])
    / 1000
)
HEAD_DIAMETER: Final[Annotated[Array, Unit("m")]] = (
    np.array([[3, 3.8, 4.5, 5.5, 7, 8.5, 10], [3.04, 3.8, 4.75, 5.7, 7.6, 9.5, 10.5], [3.2, 4, 5, 6, 8, 10, 12]]) / 1000
)
"""dk by head and thread: of plain cap heads, and as made of countersunk ones. M3 is scaled where no standard has the
size, here and in the next three."""
HEAD_HEIGHT: Final[Annotated[Array, Unit("m")]] = (
    np.array(
        [[1.6, 2, 2.5, 3, 4, 5, 6], [0.88, 1.1, 1.375, 1.65, 2.2, 2.75, 3.3], [0.907, 1.13, 1.42, 1.7, 2.3, 2.8, 3.3]]
    )
    / 1000
)
"""k by head and thread."""
SOCKET_WIDTH: Final[Annotated[Array, Unit("m")]] = (
    np.array([[1.5, 1.5, 2, 2.5, 3, 4, 5], [1.07, 1.33, 1.67, 2, 2.5, 3, 4], [1.07, 1.33, 1.67, 2, 2.5, 3, 4]]) / 1000
)
"""s by head and thread: the hexagon across flats."""
SOCKET_DEPTH: Final[Annotated[Array, Unit("m")]] = (
    np.array(
        [
            [0.7, 1.0, 1.1, 1.3, 2.0, 2.5, 3.0],
            [0.555, 0.693, 0.867, 1.04, 1.30, 1.56, 2.08],
            [0.64, 0.8, 1.0, 1.2, 1.8, 2.3, 2.5],
        ]
    )
    / 1000
)
"""t by head and thread."""
FREE_BEHIND_NUT: Final[Annotated[float, Unit("m")]] = 0.010
"""Rule of thumb, no source."""
DENSITY: Final[Annotated[Array, Unit("kg/m^3")]] = np.array([7850.0, 7950.0, 4430.0, 2810.0])
"""By material: carbon steel, A2 stainless steel, Ti-6Al-4V, EN AW-7075. Usual handbook values, from memory."""
MASS_FACTOR: Final = 0.95
"""Of screws within tolerance over one of the largest dimensions: 6g threads and h13 heads. Derived for M3."""
MASS_SPREAD: Final = 0.03
"""One standard deviation of the logarithm of that."""


def pitch_diameter(diameter: Array, pitch: Array) -> Array:
    """Compute the basic pitch diameter d2 [m]: ``d - 2 (3/8) H``, H = sqrt(3)/2 P (ISO 68-1, ISO 724).

    Parameters
    ----------
    diameter, pitch
        Nominal diameter and pitch of the thread [m], of one shape.
    """
    return np.asarray(diameter - 0.375 * np.sqrt(3.0) * pitch)


def minor_diameter(diameter: Array, pitch: Array) -> Array:
    """Compute the basic minor diameter D1 of the internal thread [m]: ``d - 2 (5/8) H`` (ISO 68-1, ISO 724)."""
    return np.asarray(diameter - 0.625 * np.sqrt(3.0) * pitch)


def is_standard(head: IndexArray, thread: IndexArray, length: Array) -> BoolArray:
    """Return whether lengths (N, M) [m] are in the standard's range for head and thread, shape (N,) each."""
    shortest, longest = SHORTEST[head, thread][:, None], LONGEST[head, thread][:, None]
    tolerance = 1e-9 * longest
    in_series = (np.abs(length[:, :, None] - LENGTHS) <= 1e-9 * LENGTHS).any(axis=2)
    return np.asarray(in_series & (length >= shortest - tolerance) & (length <= longest + tolerance))


def screw_volume(head: IndexArray, thread: IndexArray, length: Array) -> Array:
    """Compute the volume of screws [m^3] of the largest dimensions of their standard.

    A shank is a cylinder of the pitch diameter. A cap head is a cylinder, a button head a spherical cap, a countersunk
    head a cone of 90 degrees with a rim; each less its hexagon socket. Chamfers and the tip of the socket are left out.

    Parameters
    ----------
    head, thread
        Positions in `HEADS` and `THREADS`, shape (N,).
    length
        Nominal lengths, shape (N, M) [m], with the head if it is countersunk, else without.

    Returns
    -------
    Array
        Shape (N, M). A length below the height of a countersunk head, which no screw has, counts as the head alone.
    """
    radius, height = HEAD_DIAMETER[head, thread] / 2, HEAD_HEIGHT[head, thread]
    diameter = DIAMETER[thread]
    cone = radius - diameter / 2
    shapes = [
        np.pi * radius**2 * height,
        np.pi * height * (3 * radius**2 + height**2) / 6,
        np.pi * cone * (radius**2 + radius * diameter / 2 + diameter**2 / 4) / 3 + np.pi * radius**2 * (height - cone),
    ]
    socket = np.sqrt(3.0) / 2 * SOCKET_WIDTH[head, thread] ** 2 * SOCKET_DEPTH[head, thread]
    of_head = np.select([head == at for at in range(len(HEADS))], shapes) - socket
    shank = np.maximum(length - np.where(head == COUNTERSUNK, height, 0.0)[:, None], 0.0)
    section = np.pi / 4 * pitch_diameter(diameter, PITCH[thread]) ** 2
    return np.asarray(of_head[:, None] + section[:, None] * shank)
