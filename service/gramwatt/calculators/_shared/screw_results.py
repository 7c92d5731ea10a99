"""Results about the length of a screw."""

from dataclasses import dataclass
from typing import Annotated, Any, Final

from gramwatt.calculators._shared.screw_texts import VERDICT_NAMES, VERDICTS
from gramwatt.model import Array, BoolArray, Choice, Flag, IndexArray, Quantity, Table
from gramwatt.physics import screws

MASS: Final = "95 % of the density times the volume by the dimensions of the standard, the thread as a rod of "
OF_THREAD: Final = "of the thread, ISO 261"
MASS_METHOD: Final = f"{MASS}`pitch_diameter`"


def _length(description: str, label: str, **more: Any) -> Quantity:
    return Quantity("mm", description, label=label, **more)


@dataclass(frozen=True, slots=True)
class LengthRow:
    """One length of the screw."""

    length: Annotated[Array, Quantity("mm", "Nominal length.", method="ISO 4762, and the other lengths")]
    fit: Annotated[
        IndexArray,
        Choice(
            VERDICTS,
            "Whether it fits.",
            option_labels=VERDICT_NAMES,
            method="by `engagement - needed_engagement` and `tip_gap - tip_clearance`",
        ),
    ]
    engagement: Annotated[
        Array, Quantity("mm", "Thread engaged.", method="`length - stack_thickness`, at most the depth of full thread")
    ]
    engaged_diameters: Annotated[
        Array,
        Quantity("1", "Thread engaged, in diameters.", label="In diameters", formula="engagement / thread_diameter"),
    ]
    engaged_turns: Annotated[
        Array, Quantity("1", "Turns of thread engaged.", label="Turns", formula="engagement / thread_pitch")
    ]
    tip_gap: Annotated[
        Array,
        Quantity(
            "mm",
            "From the tip to what is behind; negative where it touches.",
            label="Room at the tip",
            signed=True,
            formula="stack_thickness + hole_depth + space_behind - length",
        ),
    ]
    screw_mass: Annotated[Array, Quantity("g", "Mass of one screw.", label="Mass of one", method=MASS_METHOD)]
    is_listed: Annotated[
        BoolArray,
        Flag("Whether the standard of the head has this length.", label="In the standard", method="by its range"),
    ]


@dataclass(frozen=True, slots=True)
class MaterialRow:
    """The screws in another material."""

    material: Annotated[IndexArray, Choice(screws.MATERIALS, "Material.", method="one after the other")]
    screws_mass: Annotated[Array, Quantity("g", "Mass of all screws.", label="Mass of all", method="by its density")]
    mass_change: Annotated[
        Array,
        Quantity(
            "g",
            "Change from the material that was chosen.",
            label="Change of mass",
            signed=True,
            method="that of all less `screws_mass` of the chosen material",
        ),
    ]


@dataclass(frozen=True, slots=True)
class Results:
    """The length to take, how it sits, and all other lengths."""

    recommended_length: Annotated[
        Array,
        _length("Shortest length that fits.", "Length to take", method="the shortest of `by_length.length` that fits"),
    ]
    engagement: Annotated[
        Array,
        _length(
            "Thread that it engages.", "Engagement", formula="min(hole_depth, recommended_length - stack_thickness)"
        ),
    ]
    engaged_turns: Annotated[
        Array, Quantity("1", "Turns of thread engaged.", label="Turns engaged", formula="engagement / thread_pitch")
    ]
    engaged_diameters: Annotated[
        Array,
        Quantity(
            "1",
            "Engagement in thread diameters.",
            label="Engagement in diameters",
            formula="engagement / thread_diameter",
        ),
    ]
    tip_gap: Annotated[
        Array,
        _length(
            "From its tip to what is behind.",
            "Room at the tip",
            formula="stack_thickness + hole_depth + space_behind - recommended_length",
        ),
    ]
    longest_fitting_length: Annotated[
        Array,
        _length("Longest length that fits.", "Longest that fits", method="the longest of `by_length.length` that fits"),
    ]
    shortest_length: Annotated[
        Array, _length("Least length for enough engagement.", "At least", formula="stack_thickness + needed_engagement")
    ]
    longest_length: Annotated[
        Array,
        _length(
            "Greatest length that keeps its distance; negative where none does.",
            "At most",
            formula="stack_thickness + hole_depth + space_behind - tip_clearance",
            signed=True,
        ),
    ]
    stack_thickness: Annotated[
        Array,
        _length("Thickness of all layers.", "Thickness of the layers", formula="sum(layers.thickness * layers.count)"),
    ]
    needed_engagement: Annotated[
        Array,
        _length(
            "Engagement wanted, at most the depth of the thread.",
            "Engagement needed",
            formula="min(hole_depth, engagement_ratio * thread_diameter)",
        ),
    ]
    screw_mass: Annotated[Array, Quantity("g", "Mass of one screw.", label="Mass of one screw", method=MASS_METHOD)]
    screws_mass: Annotated[
        Array, Quantity("g", "Mass of all such screws.", label="Mass of all screws", formula="screws * screw_mass")
    ]
    thread_diameter: Annotated[
        Array, _length("Nominal diameter d.", "Thread diameter", method="of the thread, ISO 261")
    ]
    thread_pitch: Annotated[Array, _length("Coarse pitch P.", "Thread pitch", method="of the thread, ISO 261")]
    pitch_diameter: Annotated[
        Array,
        _length("Pitch diameter d2.", "Pitch diameter", formula="thread_diameter - 3 / 8 * sqrt(3) * thread_pitch"),
    ]
    minor_diameter: Annotated[
        Array,
        _length(
            "Minor diameter D1 of the internal thread.",
            "Minor diameter",
            formula="thread_diameter - 5 / 8 * sqrt(3) * thread_pitch",
        ),
    ]
    by_length: Annotated[LengthRow, Table(LengthRow, "Every length.", label="Length by length")]
    by_material: Annotated[
        MaterialRow, Table(MaterialRow, "The length to take in each material.", label="Other materials")
    ]
