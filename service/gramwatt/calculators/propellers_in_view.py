"""Which propellers are in the picture of a camera on the craft, and what takes them out of it."""

from dataclasses import dataclass
from typing import Annotated, Any, Final

import numpy as np

from gramwatt.calculators._shared import camera_fields, camera_picture, camera_texts, fields, motor_layout
from gramwatt.model import (
    Array,
    Calculator,
    Choice,
    Count,
    DrawingChart,
    Example,
    IndexArray,
    Quantity,
    StringArray,
    Table,
    Text,
)
from gramwatt.physics import camera_clearance, camera_view
from gramwatt.physics import motor_layout as layout


@dataclass(frozen=True, slots=True)
class Inputs:
    """The camera with its lens, and the propellers."""

    camera_x: camera_fields.CameraX
    camera_z: camera_fields.CameraZ
    camera_tilt: camera_fields.CameraTilt
    field_of_view: camera_fields.FieldOfView
    field_of_view_direction: camera_fields.FieldDirection
    aspect_ratio: camera_fields.AspectRatio
    lens_projection: camera_fields.LensProjection
    camera_y: camera_fields.CameraY
    diameter: fields.PropellerDiameter
    motors: fields.Motors
    wheelbase: motor_layout.Wheelbase
    front_rear_spacing: motor_layout.FrontRearSpacing
    front_motor_spacing: motor_layout.FrontMotorSpacing
    rear_motor_spacing: motor_layout.RearMotorSpacing
    layout_rotation: motor_layout.LayoutRotation


MARGIN: Final = (
    "half the horizontal or vertical field of view that would just show the nearest point of the disc, whichever is "
    "further beyond, less that of the lens"
)
COVERED: Final = "counted at 128 by 96 places of the picture"
SEARCHED: Final = "searched in 45 steps outwards, up to {}; the first step to a clear picture is divided by 4096"
AWAY: Final = "twice the distance to the furthest point of a disc"
FIELDS: Final = (
    "from the given field of view: with a rectilinear lens the sides of the picture are as tan(angle / 2), with an "
    "equidistant one as the angle"
)


def _degrees(description: str, **more: Any) -> Quantity:
    return Quantity("deg", description, **more)


@dataclass(frozen=True, slots=True)
class PropellerResults:
    """One propeller as the camera sees it."""

    name: Annotated[StringArray, Text("Where the propeller is.", label="Propeller", method="by its bearing")]
    visibility: Annotated[
        IndexArray,
        Choice(
            camera_picture.VISIBILITIES,
            "Whether its disc is in the picture, close to its edge, or clear of it.",
            label="In the picture",
            method="in view below 0, close to the edge below 2 degrees",
        ),
    ]
    view_margin: Annotated[
        Array,
        _degrees(
            "Margin to the edge of the picture; negative in the picture.",
            label="Margin of the disc",
            signed=True,
            method=MARGIN,
        ),
    ]
    picture_covered_share: Annotated[
        Array,
        Quantity(
            "%", "Share of the picture that its disc covers.", label="Picture covered", at_most=100, method=COVERED
        ),
    ]


@dataclass(frozen=True, slots=True)
class Results:
    """The propellers against the edge of the picture, and the smallest changes that clear it."""

    view_margin: Annotated[
        Array,
        _degrees(
            "Margin between the edge of the picture and the nearest propeller disc; negative in the picture.",
            label="Margin",
            signed=True,
            formula="min(by_propeller.view_margin)",
        ),
    ]
    propellers_in_view: Annotated[
        Array, Count("Propellers in the picture.", at_least=0, at_most=layout.MAX_MOTORS, method="counted")
    ]
    picture_covered_share: Annotated[
        Array,
        Quantity(
            "%",
            "Share of the picture that the discs cover together.",
            label="Picture covered",
            at_most=100,
            method=COVERED,
        ),
    ]
    clearing_tilt_change: Annotated[
        Array,
        _degrees(
            "Smallest change of the tilt that takes all propellers out of the picture; negative is down.",
            label="Change of tilt that clears",
            signed=True,
            method=SEARCHED.format("straight up and straight down"),
        ),
    ]
    clearing_x_change: Annotated[
        Array,
        Quantity(
            "mm",
            "Smallest move of the camera forward that takes all propellers out of the picture.",
            label="Move forward that clears",
            method=SEARCHED.format(AWAY),
        ),
    ]
    clearing_z_change: Annotated[
        Array,
        Quantity(
            "mm",
            "Smallest move of the camera up that takes all propellers out of the picture; negative is down.",
            label="Move up that clears",
            signed=True,
            method=SEARCHED.format(f"{AWAY} up and down"),
        ),
    ]
    horizontal_field_of_view: Annotated[
        Array,
        _degrees("Horizontal field of view.", at_most=360, method=FIELDS),
    ]
    vertical_field_of_view: Annotated[Array, _degrees("Vertical field of view.", at_most=360, method=FIELDS)]
    diagonal_field_of_view: Annotated[
        Array, _degrees("Field of view from corner to corner.", at_most=360, method=FIELDS)
    ]
    by_propeller: Annotated[
        PropellerResults,
        Table(PropellerResults, "Each propeller, clockwise.", label="Propellers", max_length=layout.MAX_MOTORS),
    ]


def propellers_in_view(given: Inputs) -> Results:
    """Compute how far each propeller's disc is from the edge of a camera's picture.

    Discs are flat, level and whole: blades that bend, arms, ducts and antennas are left out. Real lenses bend more or
    less than these ideal ones.
    """
    camera, discs = camera_picture.find_camera(given), camera_picture.find_discs(given)
    horizontal, vertical, diagonal = camera_picture.find_fields(given)
    margins = camera_view.disc_margins(camera, discs)
    shares, together = camera_view.covered_shares(camera, discs)
    changes = camera_clearance.find_clearing_changes(camera, discs)
    known = np.isfinite(margins)
    is_known, seen = known.any(axis=1), known.any(axis=0)
    names = camera_picture.name_propellers(discs)
    visibility = np.select([~known, margins < 0, margins < camera_texts.CLOSE], [-1, 0, 1], 2)
    return Results(
        view_margin=np.fmin.reduce(margins, axis=1),
        propellers_in_view=np.where(is_known, (visibility == 0).sum(axis=1), np.nan),
        picture_covered_share=np.where(is_known, together, np.nan),
        clearing_tilt_change=changes.tilt,
        clearing_x_change=changes.forward,
        clearing_z_change=changes.up,
        horizontal_field_of_view=horizontal,
        vertical_field_of_view=vertical,
        diagonal_field_of_view=diagonal,
        by_propeller=PropellerResults(names[:, seen], visibility[:, seen], margins[:, seen], shares[:, seen]),
    )


CALCULATOR = Calculator(
    title="Do propellers show in the picture?",
    summary="Which propellers the camera sees, by how many degrees, and what clears its picture.",
    inputs=Inputs,
    results=Results,
    formula=propellers_in_view,
    category="choose",
    propagates=False,
    sentences=camera_texts.SENTENCES,
    charts=(
        DrawingChart(
            camera_picture.trace_picture,
            window=camera_picture.get_window,
            note="Degrees: how far in the picture, or clear of it",
            title="What the camera sees",
        ),
    ),
    assumptions=motor_layout.ASSUMPTIONS,
    any_of=(("wheelbase", "front_rear_spacing"),),
    rules=camera_texts.RULES,
    references=camera_texts.REFERENCES,
    cautions=camera_texts.CAUTIONS,
    examples=(
        Example(
            "One propeller straight ahead, above a rectilinear lens",
            given={
                "camera_x": 0,
                "camera_z": -40,
                "camera_tilt": 0,
                "field_of_view": 40,
                "field_of_view_direction": "vertical",
                "aspect_ratio": "4-3",
                "lens_projection": "rectilinear",
                "diameter": 5,
                "wheelbase": 200,
                "layout_rotation": 45,
            },
            expected={
                "view_margin": -6.252710,
                "propellers_in_view": 1,
                "clearing_tilt_change": -6.252710,
                "clearing_x_change": 53.60090322,
                "clearing_z_change": -19.50913330,
                "horizontal_field_of_view": 51.77400876,
                "vertical_field_of_view": 40,
                "diagonal_field_of_view": 62.48342911,
            },
            rtol=2e-4,
            source="by hand: the furthest point of the disc is 163.5 mm ahead and 40 mm up, at 13.74729°, 6.25271 "
            "within the half field; it is at the edge when 40 / tan 20 = 109.8991 mm ahead, or 163.5 tan 20 = "
            "59.50913 mm up; 2 atan(4/3 tan 20), 2 atan(5/3 tan 20)",
        ),
        Example(
            "A wide camera between front motors that are further apart than the rear ones",
            given={
                "camera_x": 60,
                "camera_y": 4,
                "camera_z": -15,
                "camera_tilt": 20,
                "field_of_view": 140,
                "field_of_view_direction": "diagonal",
                "aspect_ratio": "4-3",
                "diameter": 5,
                "front_rear_spacing": 160,
                "front_motor_spacing": 180,
                "rear_motor_spacing": 150,
            },
            expected={
                "view_margin": -26.073668,
                "propellers_in_view": 2,
                "horizontal_field_of_view": 112,
                "vertical_field_of_view": 84,
            },
            rtol=1e-6,
            source="OpenCV 5.0.0, cv2.fisheye.projectPoints without distortion, of points of the edge of the "
            "front right disc: least of |x| - 56 and |y| - 42 degrees, whichever is more; fields: 140 x 4/5 and 3/5",
        ),
        Example(
            "Six motors and a camera above them that looks down",
            given={
                "camera_x": "12 cm",
                "camera_z": 25,
                "camera_tilt": "-10°",
                "field_of_view": 100,
                "field_of_view_direction": "horizontal",
                "aspect_ratio": "16-9",
                "lens_projection": "rectilinear",
                "diameter": 5,
                "motors": 6,
                "wheelbase": 300,
            },
            expected={"view_margin": -20.8926275, "propellers_in_view": 2, "vertical_field_of_view": 67.672748},
            rtol=1e-6,
            source="OpenCV 5.0.0, cv2.projectPoints without distortion, of the edge of a front disc, in four rounds of "
            "points around the smallest of atan|x| - 50 and atan|y| - 33.836374 degrees, whichever is more; "
            "2 atan(9/16 tan 50) = 67.672748",
        ),
        Example(
            "The camera ahead of all propellers",
            given={
                "camera_x": 110,
                "camera_z": -15,
                "camera_tilt": 35,
                "field_of_view": 140,
                "field_of_view_direction": "diagonal",
                "aspect_ratio": "4-3",
                "diameter": 5,
                "front_rear_spacing": 160,
                "front_motor_spacing": 180,
                "rear_motor_spacing": 150,
                "camera_y": 4,
            },
            expected={
                "view_margin": 5.7187462,
                "propellers_in_view": 0,
                "picture_covered_share": 0,
                "clearing_tilt_change": 0,
                "clearing_x_change": 0,
                "clearing_z_change": 0,
            },
            rtol=1e-6,
            source="OpenCV 5.0.0 as above: 5.7187462 degrees to the front right disc, 8.9355728 to the front left one",
        ),
    ),
)
