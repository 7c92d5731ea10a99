"""Tests of the places of motors against regular polygons and hand sums."""

from __future__ import annotations

import numpy as np
import pytest

from gramwatt.physics.motor_layout import MAX_MOTORS, motor_angles, motor_places

NONE = np.array([np.nan])


def place_quad(length: float, front: float, rear: float) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    x, y = motor_places(np.array([4.0]), NONE, np.array([length]), np.array([front]), np.array([rear]))
    assert np.isnan(x[0, 4:]).all()
    return np.stack([x[0, :4], y[0, :4]], axis=1)


def test_four_motors_are_the_corners_of_a_trapezoid() -> None:
    """By hand: half the length ahead and behind, half of each width to the sides; clockwise from the front right."""
    expected = np.array([[0.1, 0.12], [-0.1, 0.08], [-0.1, -0.08], [0.1, -0.12]])
    assert place_quad(0.2, 0.24, 0.16) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("motors", [1, 2, 3, 5, 6, 8, 16])
def test_any_other_number_is_a_regular_polygon(motors: int) -> None:
    """On the circle, evenly apart (chord 2 r sin(pi / n)), symmetric about the axis ahead, the centre in its middle."""
    x, y = motor_places(np.array([float(motors)]), np.array([0.5]), NONE, NONE, NONE)
    x, y = x[0, :motors], y[0, :motors]
    assert np.hypot(x, y) == pytest.approx(0.25, rel=1e-12)
    chords = np.hypot(x - np.roll(x, 1), y - np.roll(y, 1))
    assert chords == pytest.approx(0.5 * np.sin(np.pi / motors), rel=1e-9, abs=1e-12)
    assert sorted(y.tolist()) == pytest.approx(sorted((-y).tolist()), abs=1e-12)
    if motors > 1:
        assert (x.sum(), y.sum()) == pytest.approx((0, 0), abs=1e-12)


def test_four_in_a_square_are_the_polygon_of_four() -> None:
    """A square of side s has the diagonal s sqrt(2): the wheelbase."""
    angle = motor_angles(np.array([4.0]))[0, :4]
    circle = 0.11 * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    side = 0.22 / np.sqrt(2)
    assert place_quad(side, side, side) == pytest.approx(circle, rel=1e-12)


def test_places_scale_with_the_craft() -> None:
    assert place_quad(0.4, 0.48, 0.32) == pytest.approx(2 * place_quad(0.2, 0.24, 0.16), rel=1e-12)


def test_numbers_of_motors_beside_each_other() -> None:
    """Each row has its own number; two of an even number are ahead, one of an odd number is behind."""
    motors = np.array([4.0, 6.0, 3.0])
    x, _ = motor_places(motors, np.full(3, 0.3), np.full(3, 0.2), np.full(3, 0.2), np.full(3, 0.2))
    assert x.shape == (3, MAX_MOTORS)
    assert np.isfinite(x).sum(axis=1).tolist() == [4, 6, 3]
    assert np.isclose(x[1], np.nanmax(x[1])).sum() == 2
    assert np.isclose(x[2], np.nanmin(x[2])).sum() == 1
