"""Places of the motors of a craft."""

from typing import Final

import numpy as np

from gramwatt.arrays import Array

MAX_MOTORS: Final = 16
QUAD: Final = 4
RIGHT: Final = np.array([1.0, 1.0, -1.0, -1.0])
FRONT: Final = np.array([1.0, -1.0, -1.0, 1.0])
"""Sides of the four motors of a quadrotor: front right, rear right, rear left, front left."""


def motor_angles(motors: Array) -> Array:
    """Compute the bearings of motors on a circle, two of them ahead of the others where the number is even.

    Parameters
    ----------
    motors : (N,)
        Number of motors, from 1 to 16.

    Returns
    -------
    (N, 16)
        Clockwise from ahead [rad]: ``pi (2 k + 1) / motors`` for motor k; nan beyond the number of motors.
    """
    at = np.arange(MAX_MOTORS)
    return np.where(at < motors[:, None], np.pi * (2 * at + 1) / motors[:, None], np.nan)


def motor_places(motors: Array, wheelbase: Array, length: Array, front: Array, rear: Array) -> tuple[Array, Array]:
    """Compute the places of the motors from their centre.

    Parameters
    ----------
    motors : (N,)
        Number of motors, from 1 to 16.
    wheelbase : (N,)
        Diameter of the circle through the motors [m]. Four motors do not need it.
    length : (N,)
        Distance from the front to the rear motors [m]; of four motors only, as are the next two.
    front, rear : (N,)
        Distances between the two front motors and between the two rear ones [m].

    Returns
    -------
    x, y : (N, 16)
        Forward and to the right [m], clockwise from the front right: of four motors the corners of a symmetric
        trapezoid, of any other number those of a regular polygon, two of them ahead where the number is even; nan
        beyond the number of motors.
    """
    angle = motor_angles(motors)
    x, y = (wheelbase[:, None] / 2 * function(angle) for function in (np.cos, np.sin))
    is_quad = motors == QUAD
    widths = np.where(FRONT > 0, front[:, None], rear[:, None])
    x[is_quad, :QUAD] = (length[:, None] / 2 * FRONT)[is_quad]
    y[is_quad, :QUAD] = (widths / 2 * RIGHT)[is_quad]
    return x, y
