"""Tests of what a camera sees of discs, against OpenCV's camera models and closed forms."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gramwatt.arrays import Array
from gramwatt.physics.camera_clearance import find_clearing_changes
from gramwatt.physics.camera_view import (
    RAYS,
    Camera,
    Discs,
    are_in_view,
    covered_shares,
    disc_margins,
    field_angles,
    from_camera,
    is_far_off,
    outline_disc,
    pair_margins,
    to_camera,
)
from gramwatt.physics.lens import EQUIDISTANT, RECTILINEAR, project

projections = pytest.mark.parametrize("projection", [RECTILINEAR, EQUIDISTANT], ids=["rectilinear", "equidistant"])
EDGE = 0.0635
"""Radius of a five-inch disc [m]."""
RECTILINEAR_EDGE = np.array(
    [
        [0.586534166634, 0.344963499121], [1.044864319477, 0.327852686416], [1.820052098667, 0.256390728152],
        [3.273993791891, 0.032470738395], [3.757041092041, -0.310961625894], [0.920030514055, 0.032470738395],
        [0.209274283122, 0.256390728152], [0.293619083624, 0.327852686416],
    ]
)  # fmt: skip
"""OpenCV 5.0.0, cv2.projectPoints: eight points of the edge of a disc at 110 mm forward and 90 mm to the right, for a
lens at 30 mm and 10 mm, 15 mm below it, tilted by 25 degrees: x to the right, y down."""
EQUIDISTANT_EDGE = np.array(
    [
        [0.515018188699, 0.302902177897], [0.792651152935, 0.248714407255], [1.062036707992, 0.149609104643],
        [1.274309698158, 0.012638318663], [1.307038501843, -0.108180562225], [0.743619264272, 0.026244636702],
        [0.202099473367, 0.247600566886], [0.276599240433, 0.308848467604],
    ]
)  # fmt: skip
"""OpenCV 5.0.0, cv2.fisheye.projectPoints of the same points."""


def camera(projection: int, tilt: float = 0, width: float = 90, height: float = 60, **place: float) -> Camera:
    """Return one camera, with angles in degrees and its place in mm."""
    x, y, z = (np.array([place.get(name, 0.0) / 1000]) for name in "xyz")
    up, half_width, half_height = (np.deg2rad([angle]) for angle in (tilt, width / 2, height / 2))
    return Camera(x, y, z, up, half_width, half_height, np.array([projection]))


def discs(*places: tuple[float, float], radius: float = 1000 * EDGE) -> Discs:
    """Return discs of one row, in mm."""
    x, y = (np.array([[place[at] for place in places]]) / 1000 for at in (0, 1))
    return Discs(x, y, np.full(x.shape, radius / 1000))


def margins(own: Camera, *places: tuple[float, float], radius: float = 1000 * EDGE) -> Any:
    """Return margins in degrees."""
    return np.rad2deg(disc_margins(own, discs(*places, radius=radius))[0])


@pytest.mark.parametrize(("projection", "expected"), [(RECTILINEAR, RECTILINEAR_EDGE), (EQUIDISTANT, EQUIDISTANT_EDGE)])
def test_the_edge_of_a_disc_is_where_opencv_has_it(projection: int, expected: Array) -> None:
    bearing = np.deg2rad(45 * np.arange(8))
    x, y = 0.11 + EDGE * np.cos(bearing), 0.09 + EDGE * np.sin(bearing)
    place = to_camera(x - 0.03, y - 0.01, np.full(8, 0.015), np.full(8, np.deg2rad(25)))
    across, up = project(*place, np.full(8, projection))
    assert np.stack([across, -up], axis=1) == pytest.approx(expected, rel=1e-9, abs=1e-11)
    angles = field_angles(*place, projection)
    half_fields = np.abs(expected.T) if projection == EQUIDISTANT else np.arctan(np.abs(expected.T))
    assert np.array(angles) == pytest.approx(half_fields, rel=1e-9, abs=1e-11)


@pytest.mark.parametrize(
    ("own", "place", "expected"),
    [
        ((EQUIDISTANT, 20, 112, 84, 60, 4, -15), (80, 90), -26.073667825781),
        ((EQUIDISTANT, 35, 112, 84, 110, 4, -15), (80, 90), 5.718746245493),
        ((EQUIDISTANT, 35, 112, 84, 110, 4, -15), (80, -90), 8.935572827948),
        ((RECTILINEAR, -10, 100, 67.6727479708, 120, 0, 25), (150 * 0.75**0.5, 75), -20.892627505973),
    ],
)
def test_margins_are_those_of_the_nearest_point_by_opencv(own: Any, place: Any, expected: float) -> None:
    """OpenCV 5.0.0, its least margin over four rounds of 1,001 points and more, ever closer to the nearest one."""
    projection, tilt, width, height, x, y, z = own
    found = margins(camera(projection, tilt, width, height, x=x, y=y, z=z), place)
    assert found[0] == pytest.approx(expected, abs=2e-5)


@projections
def test_a_disc_straight_ahead_by_hand(projection: int) -> None:
    """Its furthest point, 163.5 mm ahead and 40 mm up, is nearest to the middle: atan(40 / 163.5) - 60 / 2."""
    found = margins(camera(projection, z=-40), (100, 0))
    assert found[0] == pytest.approx(np.rad2deg(np.arctan2(40, 163.5)) - 30, rel=1e-9)
    turned = margins(camera(projection, tilt=10, z=-40), (100, 0))
    assert turned[0] == pytest.approx(found[0] - 10, rel=1e-9), "the tilt brings it closer, degree by degree"


@projections
def test_a_disc_behind_is_far_outside(projection: int) -> None:
    """All of it is more than atan2(40, -36.5) = 132 degrees from the axis, which the picture holds up to 52."""
    own = camera(projection, z=-40)
    assert margins(own, (-100, 0))[0] > 40
    assert covered_shares(own, discs((-100, 0)))[1] == 0


@projections
@pytest.mark.parametrize("z", [-1e-9, 0.0, 1e-9])
def test_a_lens_in_the_plane_of_the_discs_sees_their_edges(projection: int, z: float) -> None:
    """By hand: from 200 mm the disc spans asin(63.5 / 200) = 18.51 degrees to each side.

    Straight ahead it is in the middle, and aside its nearest point is that much closer.
    """
    assert margins(camera(projection, x=-200, z=z), (0, 0))[0] == pytest.approx(-30, abs=1e-3)
    aside = margins(camera(projection, z=z, width=40, height=40), (0, 200))
    assert aside[0] == pytest.approx(90 - 18.5118 - 20, abs=1e-3)


@projections
def test_a_disc_around_the_axis_is_in_view_though_its_edge_is_not(projection: int) -> None:
    """A camera 10 mm below the middle of a disc, looking straight up."""
    own = camera(projection, tilt=90, z=-10)
    assert margins(own, (0, 0))[0] == pytest.approx(-30, rel=1e-9)
    assert covered_shares(own, discs((0, 0)))[0].tolist() == [[1.0]]
    assert margins(own._replace(tilt=-own.tilt), (0, 0))[0] > 0, "it looks down"


@projections
@given(
    x=st.floats(-150, 150), z=st.floats(-80, 80), tilt=st.floats(-60, 60), width=st.floats(20, 150),
    place=st.tuples(st.floats(-150, 150), st.floats(-150, 150)),
)  # fmt: skip
def test_margins_against_many_points_of_the_disc(
    projection: int, x: float, z: float, tilt: float, width: float, place: tuple[float, float]
) -> None:
    """The smallest over 40 x 360 points of the disc is never below the margin, and close to it."""
    own = camera(projection, tilt, width, 0.75 * width, x=x, z=z)
    radius, bearing = np.meshgrid(EDGE * np.sqrt(np.arange(1, 41) / 40), np.deg2rad(np.arange(360)))
    points = (place[0] - x) / 1000 + radius * np.cos(bearing), place[1] / 1000 + radius * np.sin(bearing)
    ahead, right, up = to_camera(points[0], points[1], -own.z, own.tilt)
    angles = field_angles(ahead, right, up, projection)
    least = np.rad2deg(np.maximum(angles[0] - own.half_width, angles[1] - own.half_height).min())
    found = margins(own, place)[0]
    if found < 45:
        assert found <= least + 1e-3
    if np.hypot(place[0] - x, place[1]) > 80 or abs(z) > 20:
        assert found >= least - 4, "points next to the lens are far apart in its picture"
    assert bool(are_in_view(own, Discs._make(values[0] for values in discs(place)))[0]) is bool(found < 0)


@projections
def test_margins_do_not_depend_on_size_or_side(projection: int) -> None:
    """All lengths twice as large; the mirror image; a smaller disc in the same place is further from the picture."""
    one = margins(camera(projection, 15, x=40, z=-20), (80, 90))
    assert margins(camera(projection, 15, x=80, z=-40), (160, 180), radius=2000 * EDGE) == pytest.approx(one, rel=1e-6)
    assert margins(camera(projection, 15, x=40, z=-20), (80, -90)) == pytest.approx(one, rel=1e-6)
    assert margins(camera(projection, 15, x=40, z=-20), (80, 90), radius=50)[0] > one[0]


@projections
def test_a_smaller_field_moves_the_edge_by_half_of_it(projection: int) -> None:
    wide = margins(camera(projection, 0, 90, 60, z=-40), (100, 0))
    narrow = margins(camera(projection, 0, 80, 50, z=-40), (100, 0))
    assert narrow == pytest.approx(wide + 5, rel=1e-9)


@projections
def test_turning_back_and_forth(projection: int) -> None:
    tilt, (x, y, z) = np.array([0.4]), np.array([[0.3], [-0.2], [0.9]])
    there = to_camera(x, y, z, tilt)
    assert np.concatenate(from_camera(*there, tilt)) == pytest.approx([0.3, -0.2, 0.9], rel=1e-12)
    assert np.concatenate(to_camera(np.cos(tilt), 0 * tilt, np.sin(tilt), tilt)) == pytest.approx([1, 0, 0], abs=1e-12)


def test_what_is_far_off_is_outside() -> None:
    """Of 4,000 random discs some are sorted out before their edges are computed; none of these is in the picture."""
    random = np.random.default_rng(5)
    count = 4000
    own = Camera(
        random.uniform(-0.1, 0.1, count), random.uniform(-0.1, 0.1, count), random.uniform(-0.05, 0.05, count),
        random.uniform(-1.5, 1.5, count), random.uniform(0.1, 1.4, count), random.uniform(0.1, 1.2, count),
        random.integers(0, 2, count),
    )  # fmt: skip
    each = Discs(
        random.uniform(-0.2, 0.2, count), random.uniform(-0.2, 0.2, count), random.uniform(0.01, 0.1, count)
    )  # fmt: skip
    off = is_far_off(own, each)
    assert 200 < off.sum() < count - 200
    assert pair_margins(own, each)[off].min() > 0


def test_the_covered_share_is_the_area_in_the_picture() -> None:
    """Looking straight up at a disc 100 mm above, its picture is a circle of radius R/h, or atan(R/h)."""
    for projection, radius in ((RECTILINEAR, 0.635), (EQUIDISTANT, np.arctan(0.635))):
        own = camera(projection, tilt=90, z=-100, width=100, height=80)
        sides = np.deg2rad([50, 40]) if projection == EQUIDISTANT else np.tan(np.deg2rad([50, 40]))
        each, together = covered_shares(own, discs((0, 0), (0, 0), (900, 0)))
        expected = np.pi * radius**2 / (4 * sides.prod())
        assert each[0] == pytest.approx([expected, expected, 0], abs=2 / RAYS[1] ** 1.5)
        assert together[0] == each[0, 0], "two at one place cover it once"


def test_what_is_unknown_has_no_margin() -> None:
    own = camera(RECTILINEAR)
    found = disc_margins(own, discs((100, 0), (np.nan, np.nan)))
    assert np.isfinite(found[0, 0])
    assert np.isnan(found[0, 1])
    without = own._replace(half_width=np.array([np.nan]))
    assert np.isnan(disc_margins(without, discs((100, 0)))).all()
    assert np.isnan(covered_shares(without, discs((100, 0)))[1]).all()
    assert np.isnan(np.stack(find_clearing_changes(without, discs((100, 0))))).all()


@projections
def test_the_outline_of_a_disc_is_its_edge(projection: int) -> None:
    own = camera(projection, tilt=90, z=-100)
    across, up, is_inside = outline_disc(own, 0.0, 0.0, EDGE)
    expected = 0.635 if projection == RECTILINEAR else np.arctan(0.635)
    assert np.hypot(across, up) == pytest.approx(expected, rel=1e-9)
    assert is_inside
    behind = own._replace(tilt=-own.tilt)
    across, up, is_inside = outline_disc(behind, 0.0, 0.0, EDGE)
    assert len(across) == (0 if projection == RECTILINEAR else 120)
    assert is_inside is (projection == RECTILINEAR), "an equidistant lens has the disc around its picture"


def test_the_outline_of_a_disc_beside_a_rectilinear_lens_is_cut_off() -> None:
    """At 5 % of the radius ahead: no point of it is further out than that."""
    across, up, is_inside = outline_disc(camera(RECTILINEAR, z=-20), 0.0, 0.05, EDGE)
    assert is_inside
    assert np.isfinite(across).all()
    assert up.max() == pytest.approx(20 / (0.05 * 63.5), rel=1e-9)
    assert up.min() == pytest.approx(20 / 63.5, rel=1e-2), "of the point furthest ahead"


class TestClearingChanges:
    """The smallest changes of a camera, against closed forms."""

    SEARCH_STEP = 1 / 45 / 4096
    """Of the range that is searched."""

    def find(self, own: Camera, *places: tuple[float, float]) -> list[float]:
        changes = find_clearing_changes(own, discs(*places))
        return [float(np.rad2deg(changes.tilt[0])), float(1000 * changes.forward[0]), float(1000 * changes.up[0])]

    @projections
    def test_by_hand(self, projection: int) -> None:
        """A disc straight ahead: its far point is at the edge at 20 degrees, 40 / tan 20 ahead or 163.5 tan 20 up."""
        tilt, forward, up = self.find(camera(projection, 0, 50, 40, z=-40), (100, 0))
        reach = 2 * np.hypot(163.5, 40)
        assert tilt == pytest.approx(np.rad2deg(np.arctan(40 / 163.5)) - 20, abs=90 * self.SEARCH_STEP)
        assert forward == pytest.approx(163.5 - 40 / np.tan(np.deg2rad(20)), abs=reach * self.SEARCH_STEP)
        assert up == pytest.approx(40 - 163.5 * np.tan(np.deg2rad(20)), abs=reach * self.SEARCH_STEP), "down"

    @projections
    def test_the_picture_is_clear_afterwards_and_not_before(self, projection: int) -> None:
        own = camera(projection, 10, 100, 75, x=50, z=-25)
        places = ((80, 90), (80, -90), (-80, 90), (-80, -90))
        changes = find_clearing_changes(own, discs(*places))
        for name, change in (("tilt", changes.tilt), ("x", changes.forward), ("z", changes.up)):
            assert change[0] != 0
            moved = own._replace(**{name: getattr(own, name) + change})
            almost = own._replace(**{name: getattr(own, name) + 0.99 * change})
            assert margins(moved, *places).min() >= 0
            assert margins(almost, *places).min() < 0

    def test_a_clear_picture_needs_none(self) -> None:
        assert self.find(camera(RECTILINEAR, x=200), (80, 90)) == [0, 0, 0]

    def test_the_smaller_of_up_and_down(self) -> None:
        """The disc is above and ahead: turning down is less than turning up, and mirrored the same up."""
        down, _, lower = self.find(camera(RECTILINEAR, 0, 50, 40, z=-40), (100, 0))
        up, _, higher = self.find(camera(RECTILINEAR, 0, 50, 40, z=40), (100, 0))
        assert down < 0 < up
        assert lower < 0 < higher
        assert (up, higher) == pytest.approx((-down, -lower), rel=1e-3)

    def test_where_nothing_clears(self) -> None:
        """Discs on all sides of a lens that sees half of everything."""
        ring = [(float(120 * np.cos(angle)), float(120 * np.sin(angle))) for angle in np.arange(0, 2 * np.pi, 0.4)]
        own = camera(EQUIDISTANT, 0, 180, 180, z=-20)
        assert np.isnan(self.find(own, *ring)[0])

    def test_rows_are_independent(self) -> None:
        one, two = camera(RECTILINEAR, 0, 50, 40, z=-40), camera(EQUIDISTANT, 10, 90, 60, x=50, z=-20)
        both = Camera._make(np.concatenate(pair) for pair in zip(one, two, strict=True))
        places = discs((100, 0), (80, -90))
        rows = Discs._make(np.repeat(values, 2, axis=0) for values in places)
        together = np.stack(find_clearing_changes(both, rows), axis=1)
        alone = [np.concatenate(find_clearing_changes(each, places)) for each in (one, two)]
        assert together == pytest.approx(np.array(alone), rel=1e-12)
