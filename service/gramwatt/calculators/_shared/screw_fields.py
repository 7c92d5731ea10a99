"""Inputs about a screw and what it holds together."""

from dataclasses import dataclass
from typing import Annotated, Any, Final, TypeAlias

import numpy as np

from gramwatt.model import (
    Array,
    Assumption,
    Choice,
    Count,
    Deviate,
    Group,
    IndexArray,
    NumberList,
    Quantity,
    StringArray,
    Table,
    Text,
)
from gramwatt.physics import screws

TAPPED_MATERIALS: Final = ("aluminium", "steel", "brass", "plastic", "nut")
NUT: Final = TAPPED_MATERIALS.index("nut")
ENGAGEMENT: Final = np.array([1.5, 1.0, 1.5, 2.5, np.nan])
"""Thread diameters by material: rule of thumb, no source."""
MAX_LENGTH: Final = 200
"""[mm]"""


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer that the screw passes through."""

    name: Annotated[StringArray, Text("Name of the layer.", default="layer")]
    thickness: Annotated[Array, Quantity("mm", "Thickness of one such layer.", above=0, at_most=MAX_LENGTH)]
    count: Annotated[Array, Count("Number of such layers, such as washers.", at_least=1, at_most=1000, default=1)]


Layers: TypeAlias = Annotated[
    Layer,
    Table(
        Layer,
        "What the screw passes through, from its head to the thread: name, thickness, count. For a countersunk head, "
        "from the surface that it is flush with.",
        label="Layers",
        group=Group.JOINT,
        max_length=50,
        row_label="layer",
        synonyms=("stack",),
    ),
]
Thread: TypeAlias = Annotated[
    IndexArray,
    Choice(screws.THREADS, "Thread of the screw: metric, coarse pitch (ISO 261).", group=Group.SCREW),
]
Head: TypeAlias = Annotated[
    IndexArray,
    Choice(
        screws.HEADS,
        "Head of the screw: socket-cap (ISO 4762) and button (ISO 7380-1) are measured below the head, countersunk "
        "(ISO 10642) with it.",
        group=Group.SCREW,
        option_labels=("socket cap", "button", "countersunk"),
        default="socket-cap",
    ),
]
ScrewMaterial: TypeAlias = Annotated[
    IndexArray,
    Choice(
        screws.MATERIALS,
        "Material of the screw, for its mass.",
        label="Material of the screw",
        group=Group.SCREW,
        default="steel",
    ),
]
Screws: TypeAlias = Annotated[
    Array,
    Count("Number of such screws.", label="Screws", group=Group.SCREW, at_least=1, at_most=1000, default=1),
]
OtherLengths: TypeAlias = Annotated[
    Array,
    NumberList(
        Quantity("mm", "Length.", above=0, at_most=MAX_LENGTH, exact=True),
        "Lengths that you can get beside the standard ones, such as 7 or 14 mm.",
        label="Other lengths",
        group=Group.SCREW,
        max_length=20,
        optional=True,
    ),
]
TappedMaterial: TypeAlias = Annotated[
    IndexArray,
    Choice(
        TAPPED_MATERIALS,
        "What the thread is cut into, such as the base of a motor; or a nut.",
        label="Thread is in",
        group=Group.JOINT,
        default="aluminium",
    ),
]
HoleDepth: TypeAlias = Annotated[
    Array,
    Quantity(
        "mm",
        "Depth of full thread, from the face where the layers end, or the height of a nut.",
        label="Depth of full thread",
        group=Group.JOINT,
        above=0,
        at_most=MAX_LENGTH,
        synonyms=("hole_depth", "tapped_depth"),
    ),
]
SpaceBehind: TypeAlias = Annotated[
    Array,
    Quantity(
        "mm",
        "Free space behind the thread: 0 in a blind hole; behind a motor's base the distance to its windings.",
        label="Free space behind the thread",
        group=Group.JOINT,
        at_least=0,
        at_most=MAX_LENGTH,
        optional=True,
    ),
]
TipClearance: TypeAlias = Annotated[
    Array,
    Quantity(
        "mm",
        "Distance to keep between the tip and what is behind it. A screw of up to 50 mm may be 0.5 mm longer than its "
        "nominal length.",
        label="Minimum tip clearance",
        group=Group.JOINT,
        at_least=0,
        at_most=20,
        default=0.5,
    ),
]
EngagementRatio: TypeAlias = Annotated[
    Array,
    Quantity(
        "1",
        "Engagement wanted, in thread diameters.",
        label="Minimum engagement ratio",
        group=Group.FINE_TUNING,
        above=0,
        at_most=10,
        optional=True,
    ),
]
MassError: TypeAlias = Annotated[Array, Deviate("How far real screws are from the mass by their dimensions.")]

ASSUMPTIONS: Final[tuple[Assumption[Any], ...]] = (
    Assumption(
        "minimum_engagement_ratio",
        "by material: 1.0 in steel, 1.5 in aluminium and brass, 2.5 in plastic, the whole height of a nut; rule of "
        "thumb, no source",
        lambda given: np.where(
            given.tapped_material == NUT,
            given.thread_depth / screws.DIAMETER[given.thread],
            ENGAGEMENT[given.tapped_material],
        ),
    ),
    Assumption(
        "space_behind_thread",
        "a blind hole; 10 mm behind a nut",
        lambda given: np.where(given.tapped_material == NUT, screws.FREE_BEHIND_NUT, 0.0),
    ),
)
