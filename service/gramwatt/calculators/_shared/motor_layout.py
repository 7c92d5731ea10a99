"""Inputs about the places of the motors and of parts, from the centre of the motors: x forward, y right, z up."""

from typing import Annotated, Any, Final, TypeAlias

import numpy as np

from gramwatt.model import Array, Assumption, BoolArray, Group, Quantity, Rule
from gramwatt.physics import motor_layout

MAX_PLACE: Final = 2000
"""[mm] from the centre of the motors."""
MAX_SPACING: Final = 5000
"""[mm]"""
AXES: Final = "x forward, y to the right, z up, from the centre of the propellers"


def place(description: str, label: str, **more: Any) -> Quantity:
    """Declare one coordinate of a place; ``more`` is what `Quantity` takes beside bounds."""
    return Quantity("mm", description, label=label, at_least=-MAX_PLACE, at_most=MAX_PLACE, **more)


def _spacing(description: str, label: str, **more: Any) -> Quantity:
    return Quantity(
        "mm", description, label=label, group=Group.MOTOR, above=0, at_most=MAX_SPACING, optional=True, **more
    )


Wheelbase: TypeAlias = Annotated[
    Array,
    _spacing(
        "Distance between opposite motors, diagonally across the centre: the diameter of the circle through the "
        "motors. Instead of it, four motors may have the distance from front to rear.",
        "Wheelbase",
        synonyms=("motor_to_motor", "diagonal", "frame_size"),
    ),
]
FrontRearSpacing: TypeAlias = Annotated[
    Array,
    _spacing(
        "Distance from the front motors to the rear ones, straight along the craft.",
        "Front to rear motors",
        replaces=("wheelbase",),
    ),
]
FrontMotorSpacing: TypeAlias = Annotated[
    Array, _spacing("Distance between the two front motors.", "Between front motors")
]
RearMotorSpacing: TypeAlias = Annotated[Array, _spacing("Distance between the two rear motors.", "Between rear motors")]

LayoutRotation: TypeAlias = Annotated[
    Array,
    Quantity(
        "deg",
        "How far the motors are turned clockwise, seen from above: 0 with two of them in front, 45 with one of four "
        "straight ahead.",
        label="Layout turned by",
        group=Group.MOTOR,
        at_least=-180,
        at_most=180,
        default=0,
    ),
]


def is_quad(given: Any) -> BoolArray:
    """Return where (N,) the craft has four motors."""
    four: BoolArray = given.motors == motor_layout.QUAD
    return four


def _front(given: Any) -> Array:
    side = np.where(np.isnan(given.front_rear_spacing), given.wheelbase / np.sqrt(2.0), given.front_rear_spacing)
    return np.where(is_quad(given), side, np.nan)


def _rear(given: Any) -> Array:
    return np.where(is_quad(given), given.front_motor_spacing, np.nan)


def _length(given: Any) -> Array:
    width = (given.front_motor_spacing + given.rear_motor_spacing) / 2
    squared = given.wheelbase**2 - width**2
    return np.where(is_quad(given) & (squared > 0), np.sqrt(np.maximum(squared, 0.0)), np.nan)


ASSUMPTIONS: Final[tuple[Assumption[Any], ...]] = (
    Assumption("front_motor_spacing", "that of a square of four motors", _front),
    Assumption("rear_motor_spacing", "that of the front motors", _rear, formula="front_motor_spacing"),
    Assumption(
        "front_rear_spacing",
        "from the wheelbase, which is the diagonal",
        _length,
        formula="sqrt(wheelbase**2 - ((front_motor_spacing + rear_motor_spacing) / 2)**2)",
    ),
)
"""To be filled in in this order."""


def find_places(given: Any) -> tuple[Array, Array]:
    """Return the places (N, 16) of the motors from their centre, forward and to the right [m]."""
    return motor_layout.motor_places(
        given.motors, given.wheelbase, given.front_rear_spacing, given.front_motor_spacing, given.rear_motor_spacing
    )


def are_known(given: Any) -> BoolArray:
    """Return where (N,) the places of the motors are known."""
    known: BoolArray = np.isfinite(np.where(is_quad(given), given.front_rear_spacing, given.wheelbase))
    return known


def rules(*results: str) -> tuple[Rule[Any, Any], ...]:
    """Return why the places of the motors are unknown, for the results that need them."""
    return (
        Rule(
            "wheelbase-needed",
            "The distances between front and rear motors describe four motors: for {motors} motors give the wheelbase "
            "alone.",
            missing=True,
            when=lambda given, found: ~is_quad(given) & np.isnan(given.wheelbase),
            results=results,
        ),
        Rule(
            "spacing-beyond-wheelbase",
            "Motors that are {front_motor_spacing} apart in front and {rear_motor_spacing} at the rear do not fit a "
            "wheelbase of {wheelbase}, which is measured diagonally.",
            partly="the motors are farther apart sideways than the wheelbase allows",
            when=lambda given, found: is_quad(given) & np.isnan(given.front_rear_spacing),
            results=results,
        ),
    )
