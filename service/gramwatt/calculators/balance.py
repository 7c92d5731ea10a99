"""Centre of mass of a craft from the places of its parts, the load on its motors, and the pack's place for balance."""

import dataclasses
from dataclasses import dataclass
from typing import Annotated, Any, Final

import numpy as np

from gramwatt.calculators._shared import balance_charts, fields, motor_layout, pack_fields, parts, propellers
from gramwatt.calculators._shared.balance_results import PartResults, Results
from gramwatt.calculators._shared.balance_texts import CAUTIONS, MIN_MOTORS, RULES, SENTENCES
from gramwatt.model import (
    Array,
    Assumption,
    Calculator,
    Dimension,
    Example,
    Group,
    Outline,
    Reference,
    Table,
)
from gramwatt.physics import balance as kernel
from gramwatt.physics import constants
from gramwatt.physics import motor_layout as physics_layout

PLACE: Final = "Place of the part; of several pieces, the middle of them all"


@dataclass(frozen=True, slots=True)
class PlacedPart(parts.Part):
    """One line of the parts list, with its place."""

    x: Annotated[Array, motor_layout.place(f"{PLACE}: forward of the centre.", "Forward (x)", optional=True)]
    y: Annotated[Array, motor_layout.place(f"{PLACE}: right of the centre.", "Right (y)", optional=True)]
    z: Annotated[Array, motor_layout.place(f"{PLACE}: above the propellers.", "Up (z)", optional=True)]


@dataclass(frozen=True, slots=True)
class Inputs:
    """Parts with their places, the pack, and where the motors are."""

    parts: Annotated[
        PlacedPart,
        Table(
            PlacedPart,
            f"Parts without pack and propellers: name, mass, count, and place ({motor_layout.AXES}).",
            label="Parts",
            group=Group.WEIGHT,
            max_length=500,
            row_label="part",
        ),
    ]
    pack_mass: pack_fields.PackMass
    pack_x: Annotated[
        Array,
        motor_layout.place(
            "Place of the middle of the pack, forward of the centre.", "Pack, forward", group=Group.PACK, optional=True
        ),
    ]
    pack_y: Annotated[
        Array,
        motor_layout.place(
            "Place of the middle of the pack, right of the centre.", "Pack, right", group=Group.PACK, optional=True
        ),
    ]
    pack_z: Annotated[
        Array,
        motor_layout.place(
            "Place of the middle of the pack, above the propellers.", "Pack, up", group=Group.PACK, optional=True
        ),
    ]
    pack_move: Annotated[
        Array,
        motor_layout.place(
            "How far to move the pack forward, as a trial.", "Pack moved forward", group=Group.PACK, default=1
        ),
    ]
    propeller_mass: Annotated[
        Array,
        dataclasses.replace(
            propellers.MASS,
            label="Mass of a propeller",
            group=Group.MOTOR,
            display=None,
            synonyms=("prop_mass", "prop_weight"),
        ),
    ]
    motors: fields.Motors
    wheelbase: motor_layout.Wheelbase
    front_rear_spacing: motor_layout.FrontRearSpacing
    front_motor_spacing: motor_layout.FrontMotorSpacing
    rear_motor_spacing: motor_layout.RearMotorSpacing


def _with_pack(of_parts: Any, of_pack: Any, has_pack: bool) -> Any:
    """Return values (N, M) of the parts with those of the pack (N,) behind them, if there is one."""
    return np.concatenate([of_parts, of_pack[:, None]], axis=1) if has_pack else of_parts


def _ratios(given: Inputs, centre_x: Array, centre_y: Array) -> Array:
    """Return the thrust of each motor (N, 16) over that of an even load; nan where one would have to pull down."""
    sideways = given.front_motor_spacing + given.rear_motor_spacing
    layout = given.motors, given.wheelbase, given.front_rear_spacing, sideways
    ratios = kernel.load_ratios(*layout, centre_x, centre_y)
    lifts = (np.fmin.reduce(ratios, axis=1) >= 0) & (given.motors >= MIN_MOTORS)
    return np.where(lifts[:, None], ratios, np.nan)


def balance(given: Inputs) -> Results:
    """Compute the centre of mass from the moments of the parts, and the thrust of each motor in hover.

    A part counts as a point at its place; of several pieces give the place of their middle. Four motors sit at the
    corners of a symmetric trapezoid, any other number on a circle, evenly and two of them ahead; two motors on one arm
    count as one. Propellers are alike and pull straight up, and the throttle follows the square root of thrust. Wind
    and flight forward shift the load further.
    """
    has_pack = bool((~np.isnan(given.pack_mass)).any())
    pack_mass = np.where(np.isnan(given.pack_mass), 0.0, given.pack_mass)
    pack_place = [np.where(np.isnan(given.pack_mass), 0.0, at) for at in (given.pack_x, given.pack_y, given.pack_z)]
    propeller_mass = np.where(np.isnan(given.propeller_mass), 0.0, given.propeller_mass)
    mass = _with_pack(given.parts.mass * given.parts.count, pack_mass, has_pack)
    total_mass = mass.sum(axis=1) + given.motors * propeller_mass
    total = np.where(total_mass > 0, total_mass, np.nan)
    shifts = [
        _with_pack(of_parts, of_pack, has_pack) * mass / np.where(total_mass > 0, total_mass, 1.0)[:, None]
        for of_parts, of_pack in zip((given.parts.x, given.parts.y, given.parts.z), pack_place, strict=True)
    ]
    x, y, z = (np.where(total_mass > 0, shift.sum(axis=1), np.nan) for shift in shifts)
    pack_share = given.pack_mass / total
    moved_x = x + pack_share * given.pack_move
    ratios, moved = (_ratios(given, at, y) for at in (x, moved_x))
    angle = physics_layout.motor_angles(given.motors)
    front, right = (kernel.share_of_side(given.motors, ratios, side(angle)) for side in (np.cos, np.sin))
    highest = np.fmax.reduce(ratios, axis=1)
    names = _with_pack(given.parts.name, np.full(len(total), "pack"), has_pack)
    return Results(
        centre_of_mass_offset=np.hypot(x, y),
        centre_of_mass_x=x,
        centre_of_mass_y=y,
        centre_of_mass_z=z,
        total_mass=total_mass,
        front_load_share=front,
        rear_load_share=1 - front,
        right_load_share=right,
        left_load_share=1 - right,
        highest_motor_thrust=total * constants.STANDARD_GRAVITY / given.motors * highest,
        thrust_excess_share=highest - 1,
        throttle_excess_share=np.sqrt(highest) - 1,
        pack_mass_share=pack_share,
        moved_centre_of_mass_x=moved_x,
        moved_front_load_share=kernel.share_of_side(given.motors, moved, np.cos(angle)),
        balancing_pack_move=-x / pack_share,
        balancing_pack_x=given.pack_x - x / pack_share,
        balancing_pack_y=given.pack_y - y / pack_share,
        by_part=PartResults(names, mass, *shifts),
    )


def _trace_plan(given: Inputs, found: Results) -> tuple[Outline | Dimension, ...]:
    ratios = _ratios(given, found.centre_of_mass_x, found.centre_of_mass_y)
    return balance_charts.trace_plan(ratios[0], given, found)


def _at_the_centre(axis: str) -> tuple[Assumption[Any], Assumption[Any]]:
    """Return where the parts and the pack are along an axis unless it is given."""
    return (
        Assumption(f"parts.{axis}", "at the centre of the propellers", lambda given: np.zeros_like(given.parts.mass)),
        Assumption(
            f"pack_{axis}",
            "at the centre of the propellers",
            lambda given: np.where(np.isnan(given.pack_mass), np.nan, 0.0),
        ),
    )


CALCULATOR = Calculator(
    title="Is it in balance?",
    summary="Centre of mass from the places of the parts, the load of the motors, and where the pack balances it.",
    inputs=Inputs,
    results=Results,
    formula=balance,
    category="weigh",
    sentences=SENTENCES,
    any_of=(("wheelbase", "front_rear_spacing"),),
    assumptions=(
        *_at_the_centre("x"),
        *_at_the_centre("y"),
        *_at_the_centre("z"),
        *motor_layout.ASSUMPTIONS,
    ),
    rules=RULES,
    cautions=CAUTIONS,
    references=(
        Reference(
            "Centre of mass: sum of mass times place over the sum of masses; equilibrium of forces and moments. "
            "Definitions of mechanics, no source needed"
        ),
        Reference(
            "Thrust as the square of rotor speed: blade element theory at a constant coefficient (Leishman, Principles "
            "of Helicopter Aerodynamics, 2nd ed., ch. 3, from memory); throttle in proportion to speed: rule of thumb, "
            "no source",
            about=("throttle_excess_share",),
        ),
    ),
    charts=(balance_charts.draw_plan(_trace_plan), balance_charts.BARS, balance_charts.CURVE),
    examples=(
        Example(
            "A square quadrotor with a camera ahead and the pack behind",
            given={
                "parts": [
                    {"name": "frame", "mass": 110},
                    {"name": "motor", "mass": 30, "count": 4},
                    {"name": "camera", "mass": 20, "x": 60, "z": -10},
                    {"name": "video transmitter", "mass": 30, "x": -50, "y": 6},
                ],
                "pack_mass": 180,
                "pack_x": -5,
                "pack_z": 10,
                "pack_move": 5,
                "propeller_mass": 5,
                "wheelbase": 220,
            },
            expected={
                "total_mass": 480,
                "centre_of_mass_x": -2.5,
                "centre_of_mass_y": 0.375,
                "centre_of_mass_z": 10 / 3,
                "front_load_share": 50 - 100 * 2.5 * 2**0.5 / 220,
                "pack_mass_share": 37.5,
                "moved_centre_of_mass_x": -0.625,
                "balancing_pack_move": 20 / 3,
                "balancing_pack_x": 5 / 3,
                "balancing_pack_y": -1,
            },
            rtol=1e-11,
            source="by hand: 110 + 120 + 20 + 30 + 180 + 20 = 480 g; moments 20 x 60 - 30 x 50 - 180 x 5 = -1200 g mm "
            "forward, 30 x 6 = 180 right, 180 x 10 - 20 x 10 = 1600 up; 220 mm / sqrt 2 = 155.563 mm, "
            "1/2 - 2.5/155.563; 2.5 / 0.375 = 6.667 mm",
        ),
        Example(
            "Motors farther apart in front than at the rear",
            given={
                "parts": [{"name": "craft without pack", "mass": 300, "x": 10, "y": -2}],
                "pack_mass": 100,
                "pack_x": -10,
                "pack_y": 2,
                "front_rear_spacing": 160,
                "front_motor_spacing": 200,
                "rear_motor_spacing": 120,
            },
            expected={
                "centre_of_mass_x": 5,
                "centre_of_mass_y": -1,
                "front_load_share": 53.125,
                "right_load_share": 49.375,
                "thrust_excess_share": 7.5,
                "highest_motor_thrust": 107.5,
                "balancing_pack_x": -30,
            },
            rtol=1e-11,
            source="by hand: (3000 - 1000) / 400 = 5 mm, (-600 + 200) / 400 = -1 mm; 1/2 + 5/160; 1/2 - 2/320; "
            "2 x 5/160 + 4 x 1/320 = 0.075; 400/4 x 1.075 = 107.5 gf; -10 - 5 / 0.25 = -30 mm",
        ),
        Example(
            "Six motors",
            given={"parts": [{"mass": 1200, "x": 12}], "motors": 6, "wheelbase": 550},
            expected={
                "front_load_share": 50 + 100 * 2 * 4 * 12 * 3**0.5 / 2 / 550 / 6,
                "right_load_share": 50,
                "thrust_excess_share": 100 * 4 * 12 * 3**0.5 / 2 / 550,
            },
            rtol=1e-11,
            source="by hand: bearings 30, 90 and 150 degrees either side; ratio 1 + 4 x 12 mm x cos 30 / 550 mm for "
            "two motors in front, 1 for the two in the middle, half of which count as in front",
        ),
    ),
)
