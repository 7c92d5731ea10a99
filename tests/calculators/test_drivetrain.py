"""The drive of the inputs that calculators share, and the order in which its constants are filled in."""

import math
from types import SimpleNamespace
from typing import Any, Final

import numpy as np
import pytest

from gramwatt.calculators._shared import drivetrain

FIELDS: Final = (
    *("motors", "kv", "kv_deficit", "diameter", "pitch", "blades", "air_density", "figure_of_merit"),
    *("motor_resistance", "no_load_current", "thrust_coefficient", "power_coefficient", "stator_diameter"),
    *("stator_height", "bench_speed", "bench_thrust", "bench_shaft_power", "bench_voltage", "bench_current"),
    *("thrust_coefficient_error", "power_coefficient_error"),
)
BASE: Final = {
    "motors": 4,
    "kv": 250,
    "kv_deficit": 0.06,
    "diameter": 0.127,
    "pitch": 0.1,
    "blades": 3,
    "air_density": 1.2,
    "figure_of_merit": 0.6,
    "thrust_coefficient_error": 0,
    "power_coefficient_error": 0,
}
POINT: Final = {"bench_voltage": 15.0, "bench_current": 23.0, "bench_speed": 2800.0}


def filled(**inputs: float) -> Any:
    """Return inputs in SI units with all assumptions filled in, in order, as the engine does."""
    given: Any = SimpleNamespace(**{name: np.array([float({**BASE, **inputs}.get(name, math.nan))]) for name in FIELDS})
    with np.errstate(all="ignore"):
        for assumption in drivetrain.ASSUMPTIONS:
            if np.isnan(getattr(given, assumption.name)[0]):
                setattr(given, assumption.name, np.asarray(assumption.value(given)))
    return given


def test_the_drive_has_the_inputs() -> None:
    """By hand: 250 (rad/s)/V rated, 6 % under it 235."""
    given = filled(motor_resistance=0.15)
    drive = drivetrain.drive_of(given)
    assert drive.speed_constant[0] == pytest.approx(235, rel=1e-12)
    for name in (
        "motors",
        "motor_resistance",
        "no_load_current",
        "diameter",
        "thrust_coefficient",
        "power_coefficient",
    ):
        assert getattr(drive, name)[0] == getattr(given, name)[0]


def test_deviates_scale_the_coefficients() -> None:
    """As declared: 5 % in the logarithm for one standard deviation, each its own."""
    given = filled()
    exact = drivetrain.drive_of(given)
    given.thrust_coefficient_error, given.power_coefficient_error = np.array([1.0]), np.array([-2.0])
    moved = drivetrain.drive_of(given)
    assert np.log(moved.thrust_coefficient / exact.thrust_coefficient)[0] == pytest.approx(0.05, rel=1e-9)
    assert np.log(moved.power_coefficient / exact.power_coefficient)[0] == pytest.approx(-0.10, rel=1e-9)


@pytest.mark.parametrize(
    ("inputs", "ohms"),
    [
        pytest.param({}, 0.2, id="size"),
        # By hand: 0.174 x (209.4395 / 250)^2 x (3000 / 3388)^(5/3).
        pytest.param({"stator_diameter": 0.022, "stator_height": 0.007}, 0.0997125, id="stator-before-size"),
        # By hand: (15 - 2800 / 235) / 23.
        pytest.param({**POINT, "stator_diameter": 0.022, "stator_height": 0.007}, 0.1341351, id="bench-before-stator"),
        pytest.param({**POINT, "motor_resistance": 0.3}, 0.3, id="given-before-bench"),
    ],
)
def test_what_sets_the_resistance(inputs: dict[str, float], ohms: float) -> None:
    assert filled(**inputs).motor_resistance[0] == pytest.approx(ohms, rel=2e-6)


def test_a_bench_point_sets_the_torque_unless_its_shaft_power_was_measured() -> None:
    """By hand: R = 0.1341351 ohm, I0 = 61.470496 / (250 R) = 1.833093 A; Q = 21.166907 / 235 = 0.09007195 N m.

    CP = 2 pi Q / (rho n^2 D^5) with n = 445.63384 and D^5 = 3.3038369e-5: 0.07188086. Shaft power of 240 W:
    240 / (rho n^3 D^5) = 0.06840328.
    """
    given = filled(**POINT)
    assert given.no_load_current[0] == pytest.approx(1.833093, rel=3e-7)
    assert given.power_coefficient[0] == pytest.approx(0.07188086, rel=7e-8)
    assert filled(**POINT, bench_shaft_power=240).power_coefficient[0] == pytest.approx(0.06840328, rel=7e-8)


def test_an_impossible_point_leaves_no_constant() -> None:
    """By hand: 2800 rad/s at 235 (rad/s)/V are 11.9 V of back-EMF."""
    given = filled(**{**POINT, "bench_voltage": 11.9})
    assert bool(drivetrain.is_bench_impossible(given)[0])
    assert np.isnan(given.motor_resistance[0])
    assert np.isnan(given.power_coefficient[0])
    assert not drivetrain.is_bench_impossible(filled(**POINT))[0]
    assert not drivetrain.is_bench_impossible(filled())[0]
