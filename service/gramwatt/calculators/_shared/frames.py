"""One frame of a video as overlay-cues tells it, and its columns from captions' plain numbers."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Final

import numpy as np

from gramwatt.captions.caption_track import CaptionTrack
from gramwatt.captions.frames import FRAME_NUMBER_LIMIT, MAX_FRAMES
from gramwatt.model import Array, Count, Quantity, StringArray, Text
from gramwatt.physics import constants

AS_RECORDED: Final = "smoothed samples on straight lines between them; what stands out is shown as recorded"
RUNNING: Final = "trapezoidal rule from the first sample, exact at the frame's instant"
NUMBERED: Final = "first frame at or after its instant; exact in fractions"


@dataclass(frozen=True, slots=True)
class Frame:
    """One frame of the video."""

    frame: Annotated[
        Array, Count("Number of the frame, from 0.", at_least=0, at_most=FRAME_NUMBER_LIMIT, method=NUMBERED)
    ]
    time: Annotated[Array, Quantity("s", "When it is shown.", method="frame over frame_rate")]
    timecode: Annotated[StringArray, Text("SMPTE ST 12-1, drop-frame where due.", max_length=16)]
    cue: Annotated[Array, Count("Which caption is on, from 1.", at_least=1, at_most=MAX_FRAMES, method="counted")]
    text: Annotated[
        StringArray,
        Text(
            "What it says.",
            max_length=1000,
            pattern=r"[^\u0000-\u0009\u000B-\u001F\u007F-\u009F]+",
            form="text with line feeds",
            like=("12.4 V",),
        ),
    ]
    flight_time: Annotated[Array, Quantity("s", "Since the first sample.", method="time less offset", optional=True)]
    voltage: Annotated[Array, Quantity("V", "Of the pack.", method=AS_RECORDED, optional=True)]
    cell_voltage: Annotated[
        Array, Quantity("V", "Of the lowest cell as recorded, else a mean cell's.", method=AS_RECORDED, optional=True)
    ]
    current: Annotated[Array, Quantity("A", "From the pack.", method=AS_RECORDED, optional=True)]
    power: Annotated[Array, Quantity("W", "From the pack.", method=AS_RECORDED, optional=True)]
    throttle: Annotated[Array, Quantity("%", "Of full.", method=AS_RECORDED, optional=True)]
    charge: Annotated[Array, Quantity("mAh", "Used so far.", method=RUNNING, optional=True)]
    energy: Annotated[Array, Quantity("Wh", "Used so far.", method=RUNNING, optional=True)]
    remaining: Annotated[
        Array, Quantity("%", "Charge left.", method="start_charge less charge over capacity", optional=True)
    ]


def greatest(values: Array) -> float:
    return float(np.fmax.reduce(values, initial=np.nan))


def frame_table(rows: Sequence[CaptionTrack]) -> Frame:
    """The frames of N captioned recordings (N, F), filled up to a common number with nothing."""
    shape = len(rows), max(len(row.times) for row in rows)
    numbers = np.full((12, *shape), np.nan)
    timecodes: Any = np.full(shape, "", dtype=np.dtypes.StringDType())
    texts: Any = timecodes.copy()
    for at, row in enumerate(rows):
        found, count = row.frames, len(row.times)
        numbers[:, at, :count] = (
            found.number,
            row.times * constants.SECOND,
            np.repeat(np.arange(1.0, len(row.texts) + 1), row.lengths),
            found.time * constants.SECOND,
            found.voltage * constants.VOLT,
            found.cell_voltage * constants.VOLT,
            found.current * constants.AMPERE,
            found.power * constants.WATT,
            found.throttle,
            found.charge * constants.COULOMB,
            found.energy * constants.JOULE,
            found.remaining,
        )
        timecodes[at, :count] = row.timecodes
        texts[at, :count] = np.repeat(np.array(row.texts, dtype=np.dtypes.StringDType()), row.lengths)
    frame, time, cue, *figures = numbers
    return Frame(frame, time, timecodes, cue, texts, *figures)
