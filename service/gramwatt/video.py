"""One frame of a video as overlay-cues tells it, and its columns from captions' plain numbers."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Final

import numpy as np

from gramwatt.captions.captioned import Captioned
from gramwatt.captions.frames import LAST_NUMBER, MOST_FRAMES
from gramwatt.declare import Array, Count, Labels, Quantity, Text
from gramwatt.physics import constants

AS_RECORDED: Final = "smoothed samples on straight lines between them; what stands out is shown as recorded"
RUNNING: Final = "trapezoidal rule from the first sample, exact at the frame's instant"
NUMBERED: Final = "first frame at or after its instant; exact in fractions"


@dataclass(frozen=True, slots=True)
class Frame:
    """One frame of the video."""

    frame: Annotated[Array, Count("Number of the frame, from 0.", at_least=0, at_most=LAST_NUMBER, method=NUMBERED)]
    time: Annotated[Array, Quantity("s", "When it is shown.", method="frame over frame_rate")]
    timecode: Annotated[Labels, Text("SMPTE ST 12-1, drop-frame where due.", longest=16)]
    cue: Annotated[Array, Count("Which caption is on, from 1.", at_least=1, at_most=MOST_FRAMES, method="counted")]
    text: Annotated[
        Labels,
        Text(
            "What it says.",
            longest=1000,
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


def frame_table(rows: Sequence[Captioned]) -> Frame:
    """The frames of N captioned recordings (N, F), filled up to a common number with nothing."""
    shape = len(rows), max(len(row.times) for row in rows)
    frames = [row.frames for row in rows]

    def numbers(columns: Sequence[Any], unit: float = 1.0) -> Array:
        room = np.full(shape, np.nan)
        for at, values in enumerate(columns):
            room[at, : len(values)] = values * unit
        return room

    def texts(columns: Sequence[Any]) -> Any:
        room = np.full(shape, "", dtype=np.dtypes.StringDType())
        for at, values in enumerate(columns):
            room[at, : len(values)] = values
        return room

    return Frame(
        frame=numbers([each.number for each in frames]),
        time=numbers([row.times for row in rows], constants.SECOND),
        timecode=texts([row.timecodes for row in rows]),
        cue=numbers([np.repeat(np.arange(1.0, len(row.texts) + 1), row.lengths) for row in rows]),
        text=texts([np.repeat(np.array(row.texts, np.dtypes.StringDType()), row.lengths) for row in rows]),
        flight_time=numbers([each.time for each in frames], constants.SECOND),
        voltage=numbers([each.voltage for each in frames], constants.VOLT),
        cell_voltage=numbers([each.cell_voltage for each in frames], constants.VOLT),
        current=numbers([each.current for each in frames], constants.AMPERE),
        power=numbers([each.power for each in frames], constants.WATT),
        throttle=numbers([each.throttle for each in frames]),
        charge=numbers([each.charge for each in frames], constants.COULOMB),
        energy=numbers([each.energy for each in frames], constants.JOULE),
        remaining=numbers([each.remaining for each in frames]),
    )
