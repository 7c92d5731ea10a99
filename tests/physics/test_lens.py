"""Tests of ideal lenses against OpenCV's camera models and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gramwatt.arrays import Array
from gramwatt.physics.lens import (
    DIRECTIONS,
    EQUIDISTANT,
    RECTILINEAR,
    angle_of_radius,
    fields_of_view,
    image_radius,
    look_up,
    project,
)

PLACES = np.array([[0.1, -0.2, 1], [0.7, 0.3, 0.9], [-1.5, 0.8, 0.6], [0.02, 0.01, 2], [2, -1, 0.25]])
"""To the right, down and ahead, as OpenCV has them."""
PROJECT_POINTS = np.array([[0.1, -0.2], [7 / 9, 1 / 3], [-2.5, 4 / 3], [0.01, 0.005], [8, -4]])
"""OpenCV 5.0.0: cv2.projectPoints(PLACES, zeros(3), zeros(3), eye(3), zeros(5)), printed to 12 digits."""
FISHEYE_PROJECT_POINTS = np.array(
    [
        [0.098381614338, -0.196763228676],
        [0.645499089113, 0.276642466763],
        [-1.086620922654, 0.579531158749],
        [0.009999583365, 0.004999791682],
        [1.305376515508, -0.652688257754],
    ]
)
"""OpenCV 5.0.0: cv2.fisheye.projectPoints(PLACES, zeros(3), zeros(3), eye(3), zeros(4))."""
projections = pytest.mark.parametrize("projection", [RECTILINEAR, EQUIDISTANT], ids=["rectilinear", "equidistant"])


def find_fields(field: float, direction: str, aspect: float, projection: int) -> list[float]:
    """Return horizontal, vertical and diagonal field of view in degrees."""
    chosen = np.array([DIRECTIONS.index(direction)])
    fields = fields_of_view(np.deg2rad([field]), chosen, np.array([aspect]), np.array([projection]))
    found: list[float] = np.rad2deg(fields[:, 0]).tolist()
    return found


@pytest.mark.parametrize(
    ("projection", "expected"), [(RECTILINEAR, PROJECT_POINTS), (EQUIDISTANT, FISHEYE_PROJECT_POINTS)]
)
def test_places_in_the_picture_are_those_of_opencv(projection: int, expected: Array) -> None:
    right, down, ahead = PLACES.T
    across, up = project(ahead, right, -down, np.full(5, projection))
    assert np.stack([across, -up], axis=1) == pytest.approx(expected, rel=1e-10, abs=1e-12)


@projections
@given(
    angle=st.floats(1e-6, np.deg2rad(89)), bearing=st.floats(-np.pi, np.pi), distance=st.floats(1e-3, 1e3)
)  # fmt: skip
def test_looking_up_is_the_inverse_of_projecting(
    projection: int, angle: float, bearing: float, distance: float
) -> None:
    direction = np.array([np.cos(angle), np.sin(angle) * np.cos(bearing), np.sin(angle) * np.sin(bearing)])
    kind = np.array([projection])
    ahead, right, upwards = distance * direction[:, None]
    across, up = project(ahead, right, upwards, kind)
    assert np.hypot(across, up) == pytest.approx(image_radius(np.array([angle]), kind), rel=1e-9)
    assert np.concatenate(look_up(across, up, kind)) == pytest.approx(direction, rel=1e-8, abs=1e-12)


@projections
def test_straight_ahead_is_the_middle(projection: int) -> None:
    """Also for a place at the lens itself, or exactly behind it: no division by zero."""
    kind = np.full(3, projection)
    across, up = project(np.array([1.0, 0.0, -1.0]), np.zeros(3), np.zeros(3), kind)
    assert (across[0], up[0]) == (0, 0)
    assert np.isnan(across[1:]).all()
    assert np.isnan(up[2])
    assert np.array(look_up(np.zeros(1), np.zeros(1), kind[:1])).tolist() == [[1], [0], [0]]


def test_a_rectilinear_picture_shows_nothing_from_behind() -> None:
    """An equidistant one does, without a jump at the side."""
    ahead, right = np.array([1e-9, -1e-9, -1.0]), np.array([1.0, 1.0, 1.0])
    across, _ = project(ahead, right, np.zeros(3), np.full(3, RECTILINEAR))
    assert across[0] > 1e8
    assert np.isnan(across[1:]).all()
    across, _ = project(ahead, right, np.zeros(3), np.full(3, EQUIDISTANT))
    assert across == pytest.approx([np.pi / 2, np.pi / 2, 3 * np.pi / 4], rel=1e-8)


@projections
def test_radii_and_angles_are_inverse(projection: int) -> None:
    angles = np.deg2rad([0.01, 1, 20, 45, 84])
    kind = np.full(5, projection)
    assert angle_of_radius(image_radius(angles, kind), kind) == pytest.approx(angles, rel=1e-12)


def test_fields_of_view_by_hand() -> None:
    """Sides of 3 to 4 have a diagonal of 5: equidistant 100 / 5; rectilinear tan 45 = 1 across is 3/4 up."""
    assert find_fields(100, "diagonal", 4 / 3, EQUIDISTANT) == pytest.approx([80, 60, 100], rel=1e-12)
    expected = [90, 2 * np.rad2deg(np.arctan(0.75)), 2 * np.rad2deg(np.arctan(1.25))]
    assert find_fields(90, "horizontal", 4 / 3, RECTILINEAR) == pytest.approx(expected, rel=1e-12)


@projections
@pytest.mark.parametrize("aspect", [1.0, 4 / 3, 16 / 9])
def test_any_of_the_fields_gives_the_others(projection: int, aspect: float) -> None:
    fields = find_fields(70, "vertical", aspect, projection)
    assert fields[1] == pytest.approx(70, rel=1e-12)
    assert fields[0] >= fields[1] - 1e-9
    assert fields[2] > fields[0]
    for field, direction in zip(fields, DIRECTIONS, strict=True):
        assert find_fields(field, direction, aspect, projection) == pytest.approx(fields, rel=1e-9)


def test_a_narrow_field_is_the_same_with_both_lenses() -> None:
    """By tan x = x + x^3/3: at 1 degree the fields differ by some 1e-4."""
    assert find_fields(1, "diagonal", 1.5, RECTILINEAR) == pytest.approx(
        find_fields(1, "diagonal", 1.5, EQUIDISTANT), rel=1e-4
    )


@pytest.mark.parametrize(
    ("field", "direction", "aspect", "projection", "is_possible"),
    [
        (170, "horizontal", 1.0, RECTILINEAR, True),
        (170.001, "horizontal", 1.0, RECTILINEAR, False),
        (180, "diagonal", 16 / 9, EQUIDISTANT, True),
        (180, "vertical", 1.7, EQUIDISTANT, True),  # 180 x sqrt(1 + 1.7^2) = 355
        (180, "vertical", 1.75, EQUIDISTANT, False),  # 363
    ],
)
def test_fields_that_no_lens_has(
    field: float, direction: str, aspect: float, projection: int, is_possible: bool
) -> None:
    found = find_fields(field, direction, aspect, projection)
    assert bool(np.isfinite(found).all()) is is_possible
    assert bool(np.isnan(found).all()) is not is_possible
