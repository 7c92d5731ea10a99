"""Video frames as results, filled from caption tracks."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Final

import numpy as np

from gramwatt.captions.caption_track import CaptionTrack
from gramwatt.captions.frames import FRAME_NUMBER_LIMIT, MAX_FRAMES
from gramwatt.model import Array, Count, Quantity, StringArray, Text
from gramwatt.physics import constants

AS_RECORDED: Final = "smoothed samples, with straight lines between them; peaks are shown as recorded"
RUNNING: Final = "trapezoidal rule from the first sample to the instant of the frame"
NUMBERED: Final = "first frame at or after the instant, exact in fractions"


@dataclass(frozen=True, slots=True)
class Frame:
    """One frame of the video."""

    frame_number: Annotated[
        Array, Count("Number of the frame, from 0.", at_least=0, at_most=FRAME_NUMBER_LIMIT, method=NUMBERED)
    ]
    video_time: Annotated[Array, Quantity("s", "Time at which it is shown.", method="frame number over frame rate")]
    timecode: Annotated[
        StringArray, Text("Time code by SMPTE ST 12-1, drop-frame where applicable.", label="Time code", max_length=16)
    ]
    caption_number: Annotated[
        Array,
        Count("Number of the caption, from 1.", label="Caption", at_least=1, at_most=MAX_FRAMES, method="counted"),
    ]
    text: Annotated[
        StringArray,
        Text(
            "Text of the caption.",
            max_length=1000,
            pattern=r"[^\u0000-\u0009\u000B-\u001F\u007F-\u009F]+",
            form="text with line feeds",
            like=("12.4 V",),
        ),
    ]
    flight_time: Annotated[
        Array,
        Quantity(
            "s",
            "Time since the first sample.",
            label="Time in flight",
            signed=True,
            method="time less offset",
            optional=True,
        ),
    ]
    voltage: Annotated[Array, Quantity("V", "Voltage of the pack.", method=AS_RECORDED, optional=True)]
    cell_voltage: Annotated[
        Array,
        Quantity(
            "V", "Voltage of the lowest cell as recorded, else of a mean cell.", method=AS_RECORDED, optional=True
        ),
    ]
    current: Annotated[Array, Quantity("A", "Current from the pack.", signed=True, method=AS_RECORDED, optional=True)]
    power: Annotated[Array, Quantity("W", "Power from the pack.", signed=True, method=AS_RECORDED, optional=True)]
    throttle: Annotated[
        Array, Quantity("%", "Throttle, as a share of full.", signed=True, method=AS_RECORDED, optional=True)
    ]
    charge_used: Annotated[
        Array, Quantity("mAh", "Charge used so far.", label="Charge used", signed=True, method=RUNNING, optional=True)
    ]
    energy_used: Annotated[
        Array, Quantity("Wh", "Energy used so far.", label="Energy used", signed=True, method=RUNNING, optional=True)
    ]
    state_of_charge: Annotated[
        Array,
        Quantity(
            "%",
            "Charge left.",
            label="Charge left",
            signed=True,
            method="charge at take-off less charge used over capacity",
            optional=True,
        ),
    ]


def maximum(values: Array) -> float:
    """Return the maximum of values, nan where all are nan."""
    return float(np.fmax.reduce(values, initial=np.nan))


def frame_table(tracks: Sequence[CaptionTrack]) -> Frame:
    """Return the frames of N caption tracks as a table (N, F), padded to a common length."""
    shape = len(tracks), max(len(track.times) for track in tracks)
    numbers = np.full((12, *shape), np.nan)
    timecodes: Any = np.full(shape, "", dtype=np.dtypes.StringDType())
    texts: Any = timecodes.copy()
    for at, track in enumerate(tracks):
        frames, count = track.frames, len(track.times)
        numbers[:, at, :count] = (
            frames.number,
            track.times * constants.SECOND,
            np.repeat(np.arange(1.0, len(track.texts) + 1), track.lengths),
            frames.flight_time * constants.SECOND,
            frames.voltage * constants.VOLT,
            frames.cell_voltage * constants.VOLT,
            frames.current * constants.AMPERE,
            frames.power * constants.WATT,
            frames.throttle,
            frames.charge_used * constants.COULOMB,
            frames.energy_used * constants.JOULE,
            frames.state_of_charge,
        )
        timecodes[at, :count] = track.timecodes
        texts[at, :count] = np.repeat(np.array(track.texts, dtype=np.dtypes.StringDType()), track.lengths)
    frame, time, cue, *channels = numbers
    return Frame(frame, time, timecodes, cue, texts, *channels)
