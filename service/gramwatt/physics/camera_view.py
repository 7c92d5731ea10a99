"""What a camera on a craft sees of the propeller discs.

The craft has x forward, y to the right and z up, from the middle of the propellers, whose discs lie in the plane z = 0.
The camera looks forward and ``tilt`` up. Places in its picture are in focal lengths from the middle.
"""

from typing import Annotated, Final, NamedTuple, Self

import numpy as np

from gramwatt.arrays import Array, BoolArray, IndexArray, Unit
from gramwatt.physics.lens import EQUIDISTANT, RECTILINEAR, angle_of_radius, image_radius, look_up, project

SAMPLES: Final = 48
"""Points of the edge of a disc that are compared first, closer together where it is near to the lens."""
BRANCHES: Final = 3
"""Of the points that are nearer to the picture than both neighbors, so many are followed..."""
LEVELS: Final = 8
"""...to the nearest one between them: so often the distance to the next point is divided by four."""
FAR_OFF: Final[Annotated[float, Unit("rad")]] = np.deg2rad(20.0)
"""If all points that are compared first are further from the picture, none between them is in it: with 120,000 random
discs, one of these points was always within 6 degrees of a picture that showed a part of the disc."""
NEIGHBORS: Final = np.linspace(-1.0, 1.0, 9)
EDGE_POINTS: Final = 120
"""Points of the outline of a disc."""
NEAREST_SHOWN: Final = 0.05
"""Of a disc's radius: what is closer to the plane through a rectilinear lens, across its axis, is cut off."""
RAYS: Final = (128, 96)
"""Places of the picture, across and down, at which it is tested whether a disc covers them."""


class Camera(NamedTuple):
    """Cameras (N,): the place of the lens and its tilt, and half the fields of view across and up."""

    x: Array
    """[m]"""
    y: Array
    z: Array
    tilt: Array
    """Up from straight ahead [rad]."""
    half_width: Array
    """[rad]"""
    half_height: Array
    projection: IndexArray
    """Position in `PROJECTIONS`."""

    def take(self, rows: BoolArray | IndexArray) -> Self:
        """Return some of them."""
        return self._replace(**{name: values[rows] for name, values in self._asdict().items()})


class Discs(NamedTuple):
    """Discs (N, M), a row for each camera, or (N,), one for each; nan where there is none."""

    x: Array
    """[m]"""
    y: Array
    radius: Array

    def take(self, rows: BoolArray | IndexArray) -> Self:
        """Return some of them."""
        return self._replace(**{name: values[rows] for name, values in self._asdict().items()})


def to_camera(x: Array, y: Array, z: Array, tilt: Array) -> tuple[Array, Array, Array]:
    """Turn directions from the craft's axes to those of a camera: ahead along its optical axis, right and up in it."""
    ahead = x * np.cos(tilt) + z * np.sin(tilt)
    return ahead, y, z * np.cos(tilt) - x * np.sin(tilt)


def from_camera(ahead: Array, right: Array, up: Array, tilt: Array) -> tuple[Array, Array, Array]:
    """Turn directions from a camera's axes to those of the craft: the inverse of `to_camera`."""
    return ahead * np.cos(tilt) - up * np.sin(tilt), right, ahead * np.sin(tilt) + up * np.cos(tilt)


def field_angles(ahead: Array, right: Array, up: Array, projection: int) -> tuple[Array, Array]:
    """Compute half the fields of view, horizontal and vertical [rad], that would just show something at their edge.

    A rectilinear lens needs the angle to the optical axis as seen from above and from the side: up to 180 degrees for
    what is behind it.
    """
    right, up = np.abs(right), np.abs(up)
    if projection == RECTILINEAR:
        return np.arctan2(right, ahead), np.arctan2(up, ahead)
    aside = np.hypot(right, up)
    angle = np.arctan2(aside, ahead)
    share = np.divide(right, aside, out=np.ones_like(aside), where=aside > 0)
    return angle * share, angle * np.divide(up, aside, out=np.zeros_like(aside), where=aside > 0)


def disc_margins(camera: Camera, discs: Discs) -> Array:
    """Compute by how much each disc is outside the picture.

    Parameters
    ----------
    camera : (N,)
    discs : (N, M)

    Returns
    -------
    (N, M)
        Half the horizontal or vertical field of view, whichever is further beyond, that would just show the nearest
        point of the disc, less the half field there is [rad]: negative where part of the disc is in the picture. nan
        for a disc without a place.

    Notes
    -----
    The nearest point is on the edge of the disc, unless the optical axis goes through the disc: from any other point of
    the disc, along the line in its plane towards that of the axis, the picture of a point moves straight to the middle.
    """
    margins = np.full(discs.x.shape, np.nan)
    pairs = np.isfinite(discs.x) & np.isfinite(camera.half_width)[:, None]
    margins[pairs] = pair_margins(camera.take(np.nonzero(pairs)[0]), discs.take(pairs))
    return margins


def pair_margins(camera: Camera, discs: Discs) -> Array:
    """Compute the margin (P,) of each disc in the picture of its camera."""
    margins = np.full(len(discs.x), np.inf)
    for projection in (RECTILINEAR, EQUIDISTANT):
        rows = np.flatnonzero(camera.projection == projection)
        edge = _Edge(camera.take(rows), discs.take(rows), projection)
        _, places = edge.find_first()
        margins[rows] = edge.follow(places)
    middle = np.maximum(-camera.half_width, -camera.half_height)
    return np.where(_is_on_axis(camera, discs), np.minimum(margins, middle), margins)


def are_in_view(camera: Camera, discs: Discs) -> BoolArray:
    """Return which discs (P,) are in the picture of their cameras, as `pair_margins` below 0 but sooner."""
    in_view = _is_on_axis(camera, discs)
    for projection in (RECTILINEAR, EQUIDISTANT):
        rows = np.flatnonzero((camera.projection == projection) & ~in_view & ~is_far_off(camera, discs))
        edge = _Edge(camera.take(rows), discs.take(rows), projection)
        margins, places = edge.find_first()
        in_view[rows] = margins < 0
        rest = np.flatnonzero((margins >= 0) & (margins < FAR_OFF))
        edge = _Edge(camera.take(rows[rest]), discs.take(rows[rest]), projection)
        in_view[rows[rest]] = edge.follow(places[rest]) < 0
    return in_view


class _Edge:
    """The edges of discs (P,) in the pictures of cameras with one kind of lens."""

    def __init__(self, camera: Camera, discs: Discs, projection: int) -> None:
        self._camera, self._projection = Camera._make(values[:, None] for values in camera), projection
        self._x, self._y, self._radius = discs.x[:, None], discs.y[:, None], discs.radius[:, None]
        x, y = self._camera.x - self._x, self._camera.y - self._y
        away, z = np.hypot(x, y), self._camera.z
        self._towards = np.arctan2(y, x)
        nearness = np.hypot(away - self._radius, z) / np.hypot(away + self._radius, z)
        self._scale = np.sqrt(nearness)

    def _find_margins(self, places: Array) -> Array:
        """Compute the margin of points (P, K) of the edge.

        Their places, -pi to pi, are bearings from the middle of the disc that are compressed towards the lens.
        """
        bearing = self._towards + 2 * np.arctan(self._scale * np.tan(places / 2))
        x, y = self._x + self._radius * np.cos(bearing), self._y + self._radius * np.sin(bearing)
        own = self._camera
        across, up = field_angles(*to_camera(x - own.x, y - own.y, -own.z, own.tilt), self._projection)
        return np.maximum(across - own.half_width, up - own.half_height)

    def find_first(self) -> tuple[Array, Array]:
        """Return the smallest margin (P,) at the points that are compared first, and the places (P, K) to follow."""
        places = np.pi * ((2 * np.arange(SAMPLES) + 1) / SAMPLES - 1)
        margins = self._find_margins(places[None, :])
        is_least = (margins <= np.roll(margins, 1, axis=1)) & (margins <= np.roll(margins, -1, axis=1))
        order = np.argsort(np.where(is_least, margins, np.inf), axis=1)[:, :BRANCHES]
        return margins.min(axis=1, initial=np.inf), places[order]

    def follow(self, places: Array) -> Array:
        """Return the smallest margin (P,) near the places (P, K)."""
        step, margins = 2 * np.pi / SAMPLES, np.empty((*places.shape, 0))
        for _ in range(LEVELS):
            tried = places[:, :, None] + step * NEIGHBORS
            margins = self._find_margins(tried.reshape(len(tried), BRANCHES * len(NEIGHBORS))).reshape(tried.shape)
            best = margins.argmin(axis=2)[:, :, None]
            places = np.take_along_axis(tried, best, axis=2)[:, :, 0]
            step /= 4
        least: Array = margins.min(axis=(1, 2), initial=np.inf)
        return least


def _is_on_axis(camera: Camera, discs: Discs) -> BoolArray:
    """Return where (P,) the optical axis goes through a disc."""
    one, none = np.ones_like(camera.tilt), np.zeros_like(camera.tilt)
    x, y, meets = _hit_plane(*from_camera(one, none, none, camera.tilt), camera)
    inside: BoolArray = np.hypot(discs.x - x, discs.y - y) < discs.radius
    return inside & meets


def is_far_off(camera: Camera, discs: Discs) -> BoolArray:
    """Return where (P,) the ball around a disc is outside the circle through the corners of the picture."""
    ahead, right, up = to_camera(discs.x - camera.x, discs.y - camera.y, -camera.z, camera.tilt)
    aside = np.hypot(right, up)
    size = np.arcsin(np.minimum(discs.radius / np.maximum(np.hypot(ahead, aside), discs.radius), 1))
    corners = np.hypot(*(image_radius(half, camera.projection) for half in (camera.half_width, camera.half_height)))
    off: BoolArray = np.arctan2(aside, ahead) - size > angle_of_radius(corners, camera.projection)
    return off & (np.hypot(ahead, aside) > discs.radius)


def _hit_plane(x: Array, y: Array, z: Array, camera: Camera) -> tuple[Array, Array, BoolArray]:
    """Return where directions from cameras meet the plane of the discs, and whether they do."""
    meets = z * camera.z < 0
    length = np.divide(-camera.z, z, out=np.full(np.broadcast_shapes(z.shape, camera.z.shape), np.nan), where=meets)
    return camera.x + length * x, camera.y + length * y, meets


def outline_disc(camera: Camera, x: float, y: float, radius: float) -> tuple[Array, Array, bool]:
    """Compute the outline of a disc in the picture of one camera, for a drawing.

    Returns
    -------
    across, up : (P,)
        Places in focal lengths; none where all of the disc is behind a rectilinear lens.
    is_inside : bool
        Whether the disc is within its outline. One straight behind an equidistant lens is around it.
    """
    bearing = 2 * np.pi * np.arange(EDGE_POINTS) / EDGE_POINTS
    places = x + radius * np.cos(bearing) - camera.x, y + radius * np.sin(bearing) - camera.y, -camera.z
    ahead, right, up = to_camera(*places, camera.tilt)
    if camera.projection[0] == RECTILINEAR:
        ahead, right, up = _cut_off(np.stack([ahead, right, up]), NEAREST_SHOWN * radius)
        return *project(ahead, right, up, np.array(RECTILINEAR)), True
    behind = camera._replace(tilt=camera.tilt + np.pi)
    is_around = _is_on_axis(behind, Discs(np.array([x]), np.array([y]), np.array([radius])))
    return *project(ahead, right, up, np.array(EQUIDISTANT)), not is_around[0]


def _cut_off(places: Array, nearest: float) -> Array:
    """Return the polygon (3, P) of the part of a convex one (3, P) that is further ahead than ``nearest``."""
    following = np.roll(places, -1, axis=1)
    share = (nearest - places[0]) / np.where(following[0] == places[0], np.inf, following[0] - places[0])
    crosses = (places[0] > nearest) != (following[0] > nearest)
    pairs = np.stack([places, places + share * (following - places)], axis=2).reshape(3, -1)
    cut: Array = pairs[:, np.stack([places[0] > nearest, crosses], axis=1).ravel()]
    return cut


def covered_shares(camera: Camera, discs: Discs) -> tuple[Array, Array]:
    """Compute the share of the picture that each disc covers (N, M), and that all cover together (N,).

    Counted at 128 by 96 evenly spaced places of the picture, for cameras (N,) and discs (N, M).
    """
    shares, together = np.full(discs.x.shape, np.nan), np.full(len(camera.x), np.nan)
    for row in np.flatnonzero(np.isfinite(camera.half_width)).tolist():
        one = camera.take(np.array([row]))
        across, up = (
            image_radius(half, one.projection) * ((2 * np.arange(count) + 1) / count - 1)
            for half, count in zip((one.half_width, one.half_height), RAYS, strict=True)
        )
        across, up = (each.ravel() for each in np.meshgrid(across, up))
        x, y, meets = _hit_plane(*from_camera(*look_up(across, up, one.projection), one.tilt), one)
        covers: BoolArray = meets & (
            np.hypot(x - discs.x[row, :, None], y - discs.y[row, :, None]) < discs.radius[row, :, None]
        )
        shares[row] = np.where(np.isfinite(discs.x[row]), covers.mean(axis=1), np.nan)
        together[row] = covers.any(axis=0).mean()
    return shares, together
