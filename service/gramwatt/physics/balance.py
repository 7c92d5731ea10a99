"""Thrust that each motor of a craft must give in hover, from its centre of mass."""

import numpy as np

from gramwatt.arrays import Array
from gramwatt.physics.motor_layout import FRONT, QUAD, RIGHT, motor_angles


def load_ratios(
    motors: Array, wheelbase: Array, length: Array, sideways: Array, centre_x: Array, centre_y: Array
) -> Array:
    """Compute the thrust of each motor in hover over that of an even load: shape (N, 16).

    Of four motors the thrust follows from four equations: force, moments about two axes, and no torque left over, as
    diagonal motors turn alike: 1 +- 2 x / length +- 4 y / (front + rear). Of more motors on a circle it is the solution
    with the smallest sum of squares, which leaves no torque over either: 1 + 4 (x cos a + y sin a) / wheelbase. The sum
    of ratios is the number of motors.

    Parameters
    ----------
    motors, wheelbase, length
        As `motor_places` has them, shape (N,).
    sideways
        Sum of the distances between the front and between the rear motors, shape (N,) [m].
    centre_x, centre_y
        Centre of mass from the centre of the motors, forward and to the right, shape (N,) [m].

    Returns
    -------
    Array
        Ratios; below 0 where a motor would have to pull down, nan beyond the number of motors.
    """
    angle = motor_angles(motors)
    moment = centre_x[:, None] * np.cos(angle) + centre_y[:, None] * np.sin(angle)
    ratios = 1 + 4 * moment / wheelbase[:, None]
    is_quad = motors == QUAD
    of_quad = 1 + (2 * centre_x / length)[:, None] * FRONT + (4 * centre_y / sideways)[:, None] * RIGHT
    ratios[is_quad, :QUAD] = of_quad[is_quad]
    return np.asarray(ratios)


def share_of_side(motors: Array, ratios: Array, side: Array) -> Array:
    """Compute the share of the thrust on one side of the craft, shape (N,).

    ``side`` (N, 16) is the cosine of the bearing of each motor from that side. Motors on the middle line count half.
    """
    weight = np.where(np.abs(side) < 1e-9, 0.5, side > 0)
    share = np.nansum(weight * ratios, axis=1) / motors
    return np.where(np.isnan(ratios[:, 0]), np.nan, share)
