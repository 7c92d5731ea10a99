"""The smallest changes of a camera after which it sees no propeller."""

from typing import Final, NamedTuple

import numpy as np

from gramwatt.arrays import Array, BoolArray
from gramwatt.physics.camera_view import Camera, Discs, are_in_view, disc_margins

STEPS: Final = 45
"""Of a search for a clear picture, over its whole range: 2 degrees for a tilt by 90..."""
ROUNDS: Final = 4
"""...of which the one that leads there is divided by 8 so often."""
FINE_STEPS: Final = np.arange(9) / 8


class ClearingChanges(NamedTuple):
    """The smallest changes (N,) after which no disc is in the picture, 0 where none is; nan where none was found."""

    tilt: Array
    """Up or down [rad]."""
    forward: Array
    """[m]"""
    up: Array
    """Up or down [m]."""


def find_clearing_changes(camera: Camera, discs: Discs) -> ClearingChanges:
    """Find the smallest changes of a camera after which no disc is in its picture.

    Each is searched by itself: the tilt up to 90 degrees up and down, and the place up to twice the distance to the
    furthest point of a disc, forward, up and down. A search takes 45 steps outwards, and divides the first that leads
    to a clear picture by 4096; a clear range that is narrower than a step may be missed.
    """
    rows = [np.array([row]) for row in range(len(camera.x))]
    found = np.array([_find_changes(camera.take(row), discs.take(row)) for row in rows]).reshape(-1, 5)
    tilt_up, tilt_down, forward, up, down = found.T
    return ClearingChanges(_smaller(tilt_up, tilt_down), forward, _smaller(up, down))


def _smaller(more: Array, less: Array) -> Array:
    """Return changes (N,) upwards, or those downwards as negative numbers where these are smaller."""
    return np.where(np.nan_to_num(less, nan=np.inf) < np.nan_to_num(more, nan=np.inf), -less, more)


def _find_changes(camera: Camera, discs: Discs) -> Array:
    """Return the smallest changes (5,) of one camera: tilt up and down, forward, up and down; each at least 0."""
    margin = np.fmin.reduce(disc_margins(camera, discs), axis=1)[0]
    if not margin < 0:
        return np.full(5, 0.0 * margin)
    known = np.isfinite(discs.x[0])
    own = Discs(*(values[0, known] for values in discs))
    reach = 2 * float(np.hypot(np.hypot(own.x - camera.x, own.y - camera.y).max() + own.radius[0], camera.z[0]))
    low, high = np.zeros(5), np.full(5, np.nan)
    width = np.array([np.pi / 2 - camera.tilt[0], np.pi / 2 + camera.tilt[0], reach, reach, reach])
    shares = np.arange(STEPS + 1) / STEPS
    is_found = np.ones(5, dtype=np.bool_)
    for _ in range(ROUNDS + 1):
        tried = low[:, None] + width[:, None] * shares
        clear = _are_clear(camera, own, tried)
        is_found &= clear.any(axis=1)
        first = np.maximum(clear.argmax(axis=1), 1)
        low, high = (np.take_along_axis(tried, at[:, None], axis=1)[:, 0] for at in (first - 1, first))
        width, shares = high - low, FINE_STEPS
    return np.where(is_found, high, np.nan)


def _are_clear(camera: Camera, discs: Discs, changes: Array) -> BoolArray:
    """Return whether no disc (M,) is in the picture of one camera after changes (5, K)."""
    tilt: Array = np.zeros(changes.shape)
    forward, up = np.zeros_like(tilt), np.zeros_like(tilt)
    tilt[0], tilt[1], forward[2], up[3], up[4] = changes[0], -changes[1], changes[2], changes[3], -changes[4]
    tilt, forward, up = (np.repeat(each.ravel(), len(discs.x)) for each in (tilt, forward, up))
    camera = camera.take(np.zeros(len(tilt), dtype=np.intp))
    camera = camera._replace(x=camera.x + forward, z=camera.z + up, tilt=camera.tilt + tilt)
    discs = discs.take(np.tile(np.arange(len(discs.x)), changes.size))
    in_view = are_in_view(camera, discs).reshape(*changes.shape, -1)
    all_clear: BoolArray = np.logical_not(np.logical_or.reduce(in_view, axis=2))
    return all_clear
