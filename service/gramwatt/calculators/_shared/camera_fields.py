"""The camera of a craft and its lens, as inputs."""

from typing import Annotated, Final, TypeAlias

import numpy as np

from gramwatt.calculators._shared import motor_layout
from gramwatt.model import Array, Choice, Group, IndexArray, Quantity
from gramwatt.physics import lens

ASPECTS: Final = {
    "1-1": 1.0,
    "5-4": 5 / 4,
    "4-3": 4 / 3,
    "3-2": 3 / 2,
    "16-10": 16 / 10,
    "16-9": 16 / 9,
    "17-9": 17 / 9,
    "2-1": 2.0,
    "21-9": 21 / 9,
}
ASPECT_RATIOS: Final = np.array(list(ASPECTS.values()))

CameraX: TypeAlias = Annotated[
    Array,
    motor_layout.place(
        "Place of the lens forward of the middle of the propellers.", "Lens, forward", group=Group.CAMERA
    ),
]
CameraZ: TypeAlias = Annotated[
    Array,
    motor_layout.place(
        "Place of the lens above the propellers' discs; negative below them.", "Lens, up", group=Group.CAMERA
    ),
]
CameraTilt: TypeAlias = Annotated[
    Array,
    Quantity(
        "deg",
        "How far the camera looks up from straight ahead, seen from the frame; negative down.",
        label="Tilt",
        group=Group.CAMERA,
        at_least=-90,
        at_most=90,
        synonyms=("uptilt", "up_tilt", "camera_angle"),
    ),
]
FieldOfView: TypeAlias = Annotated[
    Array,
    Quantity(
        "deg",
        "Field of view of the lens in the picture that is recorded; cropping and stabilization make it smaller.",
        group=Group.CAMERA,
        at_least=1,
        at_most=220,
        synonyms=("fov", "lens_angle"),
    ),
]
FieldDirection: TypeAlias = Annotated[
    IndexArray,
    Choice(
        lens.DIRECTIONS,
        "How that field of view was measured: across the picture, up, or from corner to corner.",
        label="Field of view measured",
        group=Group.CAMERA,
    ),
]
AspectRatio: TypeAlias = Annotated[
    IndexArray,
    Choice(
        tuple(ASPECTS),
        "Width to height of the picture.",
        label="Aspect ratio",
        group=Group.CAMERA,
        default="16-9",
        option_labels=tuple(each.replace("-", ":") for each in ASPECTS),
        synonyms=("aspect",),
    ),
]
LensProjection: TypeAlias = Annotated[
    IndexArray,
    Choice(
        lens.PROJECTIONS,
        "How the lens draws: rectilinear keeps straight lines straight, equidistant (most wide lenses and fisheyes) "
        "bends them.",
        label="Lens projection",
        group=Group.CAMERA,
        default="equidistant",
        synonyms=("projection", "lens"),
    ),
]
CameraY: TypeAlias = Annotated[
    Array,
    motor_layout.place(
        "Place of the lens to the right of the middle of the propellers.",
        "Lens, to the right",
        group=Group.CAMERA,
        default=0,
    ),
]
