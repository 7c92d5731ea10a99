"""Sentences, rules, cautions and references about propellers in the picture of a camera."""

from typing import Annotated, Any, Final

import numpy as np

from gramwatt.calculators._shared import camera_picture, motor_layout
from gramwatt.model import BoolArray, Caution, Reference, Rule, Sentence, Unit
from gramwatt.physics.constants import DEGREE

CLOSE: Final[Annotated[float, Unit("rad")]] = 2 * DEGREE
"""Less is too close: blades bend, and a camera on soft mounts moves by that much. Rule of thumb, no source."""
INSIDE_DISC: Final[Annotated[float, Unit("m")]] = 5e-3
"""A lens closer than that to the plane of a disc, and within its circle, is hit. Rule of thumb, no source."""

CLEARING: Final = ("clearing_tilt_change", "clearing_x_change", "clearing_z_change")
FIELDS: Final = ("horizontal_field_of_view", "vertical_field_of_view", "diagonal_field_of_view")
FROM_PLACES: Final = ("view_margin", "propellers_in_view", "picture_covered_share", *CLEARING)
LEAST_CHANGES: Final = (
    "It clears with the tilt changed by {clearing_tilt_change} (negative is down).",
    "It clears with the camera {clearing_x_change} further forward.",
    "It clears with the camera moved up by {clearing_z_change} (negative is down).",
)


def _not_cleared(code: str, result: str, text: str) -> Rule[Any, Any]:
    return Rule(
        code,
        text,
        when=lambda given, found: np.isfinite(found.view_margin) & np.isnan(getattr(found, result)),
        results=(result,),
        severity="low",
    )


def is_in_disc(given: Any) -> BoolArray:
    """Return where (N,) a blade would hit the lens."""
    discs = camera_picture.find_discs(given)
    away = np.hypot(discs.x - given.camera_x[:, None], discs.y - given.camera_y[:, None])
    within: BoolArray = (away < discs.radius).any(axis=1) & (np.abs(given.camera_z) < INSIDE_DISC)
    return within


SENTENCES: Final[tuple[Sentence[Any, Any], ...]] = (
    Sentence(
        "No propeller in the picture: {view_margin} to spare",
        when=lambda given, found: found.view_margin >= CLOSE,
        verdict="good",
    ),
    Sentence(
        "No propeller in the picture, but only {view_margin} to spare",
        when=lambda given, found: found.view_margin >= 0,
        verdict="close",
    ),
    Sentence(
        "One propeller in the picture, by {view_margin:magnitude}",
        details=LEAST_CHANGES,
        when=lambda given, found: found.propellers_in_view == 1,
        verdict="bad",
    ),
    Sentence(
        "{propellers_in_view} propellers in the picture, by up to {view_margin:magnitude}",
        details=LEAST_CHANGES,
        verdict="bad",
    ),
)
RULES: Final[tuple[Rule[Any, Any], ...]] = (
    Rule(
        "no-such-lens",
        "No lens of this kind has such a field of view: a rectilinear one has up to 170°, and the corners of an "
        "equidistant picture are less than 180° from its middle.",
        when=lambda given, found: np.isnan(found.horizontal_field_of_view),
        results=(*FIELDS, *FROM_PLACES),
    ),
    *motor_layout.rules(*FROM_PLACES),
    _not_cleared(
        "no-tilt-clears",
        "clearing_tilt_change",
        "No tilt between straight up and straight down takes all propellers out of the picture.",
    ),
    _not_cleared(
        "no-move-forward-clears",
        "clearing_x_change",
        "No move forward, up to twice the distance to the furthest propeller, takes all out of the picture.",
    ),
    _not_cleared(
        "no-move-up-clears",
        "clearing_z_change",
        "No move up or down, up to twice the distance to the furthest propeller, takes all out of the picture.",
    ),
)
REFERENCES: Final[tuple[Reference, ...]] = (
    Reference(
        "J. Kannala and S. S. Brandt, A generic camera model and calibration method for conventional, wide-angle, "
        "and fish-eye lenses, IEEE Transactions on Pattern Analysis and Machine Intelligence 28 (2006) 1335: image "
        "radius f tan(angle) rectilinear, f angle equidistant; compared with the camera models of OpenCV 5.0.0",
    ),
    Reference("Edges of discs in the picture, and the motors' places: derived, also in the tests"),
    Reference(
        "Less than 2° is close, since blades bend and cameras on soft mounts move: rule of thumb, no source",
        about=("by_propeller",),
    ),
)
CAUTIONS: Final[tuple[Caution[Any, Any], ...]] = (
    Caution(
        "propellers-off-at-camera",
        "Disconnect the pack and remove the propellers before you tilt or move the camera.",
        severity="high",
    ),
    Caution(
        "real-lens-differs",
        "Real lenses bend the picture more or less than these two models, and stabilization crops it. Check with a "
        "recorded picture; turn the propellers by hand, with the pack disconnected.",
        severity="low",
    ),
    Caution(
        "lens-in-disc",
        "The lens is within the circle of a propeller and {camera_z} from its plane: a blade would hit it.",
        severity="high",
        when=lambda given, found: is_in_disc(given),
    ),
    Caution(
        "moved-camera-changes-balance",
        "Moving the camera also moves the centre of mass, and may bring it closer to the propellers or the ground.",
        severity="low",
        when=lambda given, found: found.view_margin < 0,
    ),
)
