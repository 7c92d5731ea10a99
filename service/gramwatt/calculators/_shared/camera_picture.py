"""The picture of a camera on a craft, with the propellers in it."""

from typing import Any, Final

import numpy as np

from gramwatt.calculators._shared import camera_fields, motor_layout
from gramwatt.model import Array, Outline, ShapeRole
from gramwatt.physics import camera_view, lens

VISIBILITIES: Final = ("in-view", "close-to-edge", "clear")
ROLES: Final[tuple[ShapeRole, ...]] = ("bad", "close", "good")
AROUND: Final = 1.35
"""Width of the chart over that of the picture."""


def find_camera(given: Any) -> camera_view.Camera:
    """Return the camera (N,), without a picture where no lens has that field of view."""
    across, up, _ = find_fields(given)
    return camera_view.Camera(
        given.camera_x, given.camera_y, given.camera_z, given.camera_tilt, across / 2, up / 2, given.lens_projection
    )


def find_fields(given: Any) -> Array:
    return lens.fields_of_view(
        given.field_of_view,
        given.field_of_view_direction,
        camera_fields.ASPECT_RATIOS[given.aspect_ratio],
        given.lens_projection,
    )


def find_discs(given: Any) -> camera_view.Discs:
    """Return the discs (N, M) of all motors."""
    x, y = (values[:, : int(given.motors.max(initial=1))] for values in motor_layout.find_places(given))
    turn = given.layout_rotation[:, None]
    radius = np.broadcast_to(given.diameter[:, None] / 2, x.shape)
    return camera_view.Discs(x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn), radius)


def name_propellers(discs: camera_view.Discs) -> Any:
    """Return the names (N, M) of propellers by their place, with a number where there are more than six."""
    names = np.full(discs.x.shape, "", dtype=np.dtypes.StringDType())
    bearings = np.rad2deg(np.arctan2(discs.y, discs.x))
    many = np.isfinite(bearings).sum(axis=1) > 6
    for row, at in np.argwhere(np.isfinite(bearings)).tolist():
        names[row, at] = _name_bearing(bearings[row, at]) + (f" {at + 1}" if many[row] else "")
    return names


def _name_bearing(bearing: float) -> str:
    """Return a bearing, in degrees clockwise from ahead, in words."""
    ahead, side = abs(bearing), "right" if bearing > 0 else "left"
    if ahead < 1 or ahead > 179:
        return "front" if ahead < 1 else "rear"
    if abs(ahead - 90) < 1:
        return side
    return f"{'front' if ahead < 90 else 'rear'} {side}"


def get_window(given: Any, found: Any) -> tuple[float, float, float, float]:
    """Return what the chart shows of and around the picture of one request, in focal lengths."""
    width, height = _find_half_sizes(given)
    return -AROUND * width, AROUND * width, -AROUND * height, AROUND * height


def _find_half_sizes(given: Any) -> tuple[float, float]:
    camera = find_camera(given)
    width, height = (lens.image_radius(half, camera.projection) for half in (camera.half_width, camera.half_height))
    return float(width[0]), float(height[0])


def trace_picture(given: Any, found: Any) -> tuple[Outline, ...]:
    """Return the picture of one request with the discs, in focal lengths; nothing where it has no picture."""
    rows = found.by_propeller
    if not np.isfinite(found.view_margin[0]):
        return ()
    width, height = _find_half_sizes(given)
    across, up = np.rad2deg([found.horizontal_field_of_view[0], found.vertical_field_of_view[0]])
    frame = Outline(
        np.array([-width, width, width, -width]),
        np.array([-height, -height, height, height]),
        name=f"picture, {across:.0f}° by {up:.0f}°",
    )
    camera, discs = find_camera(given), find_discs(given)
    shapes = []
    for at in np.flatnonzero(np.isfinite(rows.view_margin[0])).tolist():
        x, y, is_filled = camera_view.outline_disc(camera, discs.x[0, at], discs.y[0, at], discs.radius[0, at])
        margin = np.rad2deg(rows.view_margin[0, at])
        words = f"{abs(margin):.1f}° {'in' if margin < 0 else 'clear'}"
        role = ROLES[int(rows.visibility[0, at])]
        shapes.append(Outline(x, y, role, f"{rows.name[0, at]}, {words}", filled=is_filled))
    return (*shapes, frame)
