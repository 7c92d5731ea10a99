"""The video that a recording is shown on, and its captions, as inputs."""

from typing import Annotated, Final, TypeAlias

from gramwatt.captions import template, timecode
from gramwatt.captions.placement import PLACES
from gramwatt.model import (
    Array,
    Choice,
    Count,
    Group,
    IndexArray,
    Quantity,
    StringArray,
    Text,
)

FIELDS: Final = ", ".join((*template.FIELDS, *template.TEXT_FIELDS))

FrameRate: TypeAlias = Annotated[
    StringArray,
    Text(
        "Exact frames per second: a fraction, or its usual decimals (29.97 means 30000/1001).",
        group=Group.VIDEO,
        max_length=16,
        default="30",
        pattern=timecode.RATE_PATTERN,
        form="a number, or a fraction of whole numbers, above 0 and up to 1000, as text",
        like=("25", "30000/1001", "23.976"),
        check=timecode.parse_rate,
        synonyms=("fps", "framerate"),
    ),
]
VideoOffset: TypeAlias = Annotated[
    Array,
    Quantity(
        "s",
        "Time in the video of the first sample.",
        label="Offset in the video",
        group=Group.VIDEO,
        synonyms=("offset",),
        at_least=-36_000,
        at_most=36_000,
        default=0,
    ),
]
VideoStartTime: TypeAlias = Annotated[
    Array,
    Quantity(
        "s",
        "Time in the video of the first caption.",
        group=Group.VIDEO,
        synonyms=("video_begin", "begin"),
        at_least=0,
        at_most=36_000,
        optional=True,
    ),
]
VideoEndTime: TypeAlias = Annotated[
    Array,
    Quantity(
        "s",
        "Time in the video after which there are no captions.",
        group=Group.VIDEO,
        synonyms=("video_end", "end"),
        above=0,
        at_most=36_000,
        optional=True,
    ),
]
SmoothingWindow: TypeAlias = Annotated[
    Array,
    Quantity(
        "s",
        "Window of the running mean; peaks are not smoothed.",
        group=Group.VIDEO,
        synonyms=("smoothing",),
        at_least=0,
        at_most=10,
        default=0.5,
    ),
]
CaptionChangeRate: TypeAlias = Annotated[
    Array,
    Quantity(
        "Hz",
        "Maximum rate at which captions change.",
        label="Caption changes",
        group=Group.VIDEO,
        synonyms=("changes",),
        at_least=0.1,
        at_most=120,
        default=4,
    ),
]
CaptionTemplate: TypeAlias = Annotated[
    StringArray,
    Text(
        f"Text of a caption: words, and fields in braces with their decimals, such as {{voltage:2}}. Fields: {FIELDS}.",
        label="Caption text",
        group=Group.VIDEO,
        synonyms=("template", "caption"),
        max_length=200,
        default=template.DEFAULT,
        pattern=template.TEMPLATE,
        form=f"words and fields in braces, each with 0 to 4 decimals or none: {FIELDS}; {{{{ and }}}} are braces",
        like=(template.DEFAULT, "{power} W{line}{state_of_charge} %"),
        check=template.compile_template,
    ),
]
VideoWidth: TypeAlias = Annotated[
    Array,
    Count(
        "Width of the video in pixels.",
        label="Video width",
        group=Group.VIDEO,
        synonyms=("width",),
        at_least=64,
        at_most=8192,
        default=1920,
    ),
]
VideoHeight: TypeAlias = Annotated[
    Array,
    Count(
        "Height of the video in pixels.",
        label="Video height",
        group=Group.VIDEO,
        synonyms=("height",),
        at_least=64,
        at_most=4320,
        default=1080,
    ),
]
CaptionPosition: TypeAlias = Annotated[
    IndexArray,
    Choice(
        PLACES,
        "Position of the captions.",
        label="Caption position",
        group=Group.VIDEO,
        synonyms=("place", "position"),
        default="bottom-left",
    ),
]
TextHeightShare: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Height of a line over the height of the video.",
        group=Group.VIDEO,
        synonyms=("text_size", "font_size"),
        at_least=1,
        at_most=25,
        default=5,
    ),
]
SafeMarginShare: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Margin at each edge over width and height of the video.",
        group=Group.VIDEO,
        synonyms=("safe_area", "margin"),
        at_least=0,
        at_most=25,
        default=5,
    ),
]
PictureTime: TypeAlias = Annotated[
    Array,
    Quantity(
        "s",
        "Time in the video of a picture; default: the first frame with a caption.",
        label="Time of the picture",
        group=Group.VIDEO,
        synonyms=("at",),
        at_least=0,
        at_most=36_000,
        optional=True,
    ),
]
