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
class LengthResults:
    """One length of the screw."""

    length: Annotated[Array, Quantity("mm", "Nominal length.", method="ISO 4762, and the other lengths")]
    length_verdict: Annotated[
        IndexArray,
        Choice(
            VERDICTS,
            "Whether it fits.",
            option_labels=VERDICT_NAMES,
            method="by `engagement - minimum_engagement` and `tip_clearance - minimum_tip_clearance`",
        ),
    ]
    engagement: Annotated[
        Array, Quantity("mm", "Thread engaged.", method="`length - stack_thickness`, at most the depth of full thread")
    ]
    engagement_ratio: Annotated[
        Array,
        Quantity("1", "Thread engaged, in diameters.", label="In diameters", formula="engagement / thread_diameter"),
    ]
    engaged_turns: Annotated[
        Array, Quantity("1", "Turns of thread engaged.", label="Turns", formula="engagement / thread_pitch")
    ]
    tip_clearance: Annotated[
        Array,
        Quantity(
            "mm",
            "Distance from the tip to what is behind; negative where it touches.",
            label="Tip clearance",
            signed=True,
            formula="stack_thickness + thread_depth + space_behind_thread - length",
        ),
    ]
    screw_mass: Annotated[Array, Quantity("g", "Mass of one screw.", label="Mass of one", method=MASS_METHOD)]
    is_standard: Annotated[
        BoolArray,
        Flag("Whether the standard of the head has this length.", label="In the standard", method="by its range"),
    ]


@dataclass(frozen=True, slots=True)
class MaterialResults:
    """The screws in another material."""

    material: Annotated[IndexArray, Choice(screws.MATERIALS, "Material.", method="one after the other")]
    total_screw_mass: Annotated[
        Array, Quantity("g", "Mass of all screws.", label="Mass of all", method="by its density")
    ]
    mass_change: Annotated[
        Array,
        Quantity(
            "g",
            "Change from the material that was chosen.",
            label="Change of mass",
            signed=True,
            method="that of all less `total_screw_mass` of the chosen material",
        ),
    ]


@dataclass(frozen=True, slots=True)
class Results:
    """The length to take, how it sits, and all other lengths."""

    recommended_length: Annotated[
        Array,
        _length(
            "Shortest length that fits.", "Recommended length", method="the shortest of `by_length.length` that fits"
        ),
    ]
    engagement: Annotated[
        Array,
        _length(
            "Thread that it engages.", "Engagement", formula="min(thread_depth, recommended_length - stack_thickness)"
        ),
    ]
    engaged_turns: Annotated[
        Array, Quantity("1", "Turns of thread engaged.", label="Turns engaged", formula="engagement / thread_pitch")
    ]
    engagement_ratio: Annotated[
        Array,
        Quantity(
            "1",
            "Engagement in thread diameters.",
            label="Engagement in diameters",
            formula="engagement / thread_diameter",
        ),
    ]
    tip_clearance: Annotated[
        Array,
        _length(
            "Distance from its tip to what is behind.",
            "Tip clearance",
            formula="stack_thickness + thread_depth + space_behind_thread - recommended_length",
        ),
    ]
    longest_fitting_length: Annotated[
        Array,
        _length("Longest length that fits.", "Longest that fits", method="the longest of `by_length.length` that fits"),
    ]
    minimum_length: Annotated[
        Array,
        _length(
            "Shortest length with enough engagement.", "Minimum length", formula="stack_thickness + minimum_engagement"
        ),
    ]
    maximum_length: Annotated[
        Array,
        _length(
            "Longest length that keeps the tip clearance; negative where none does.",
            "Maximum length",
            formula="stack_thickness + thread_depth + space_behind_thread - minimum_tip_clearance",
            signed=True,
        ),
    ]
    stack_thickness: Annotated[
        Array,
        _length("Thickness of all layers.", "Thickness of the layers", formula="sum(layers.thickness * layers.count)"),
    ]
    minimum_engagement: Annotated[
        Array,
        _length(
            "Engagement wanted, at most the depth of the thread.",
            "Minimum engagement",
            formula="min(thread_depth, minimum_engagement_ratio * thread_diameter)",
        ),
    ]
    screw_mass: Annotated[Array, Quantity("g", "Mass of one screw.", label="Mass of one screw", method=MASS_METHOD)]
    total_screw_mass: Annotated[
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
    by_length: Annotated[LengthResults, Table(LengthResults, "Every length.", label="Length by length")]
    by_material: Annotated[
        MaterialResults, Table(MaterialResults, "The length to take in each material.", label="Other materials")
    ]
