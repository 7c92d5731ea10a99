"""One frame of a video as overlay-cues tells it, and its columns from captions' plain numbers."""

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


def columns(row: Captioned, longest: int) -> list[Any]:
    """The columns of `Frame`, filled up to a common length with nothing."""
    found = row.frames

    def numbers(values: Any, unit: float = 1.0) -> Array:
        return np.pad(np.asarray(values, dtype=np.float64) * unit, (0, longest - len(values)), constant_values=np.nan)

    def texts(values: Any) -> Any:
        room = np.full(longest, "", dtype=np.dtypes.StringDType())
        room[: len(values)] = values
        return room

    words = np.array(row.texts, dtype=np.dtypes.StringDType())
    return [
        numbers(found.number),
        numbers(row.times, constants.SECOND),
        texts(row.timecodes),
        numbers(np.repeat(np.arange(1.0, len(row.texts) + 1), row.lengths)),
        texts(np.repeat(words, row.lengths)),
        numbers(found.time, constants.SECOND),
        numbers(found.voltage, constants.VOLT),
        numbers(found.cell_voltage, constants.VOLT),
        numbers(found.current, constants.AMPERE),
        numbers(found.power, constants.WATT),
        numbers(found.throttle),
        numbers(found.charge, constants.COULOMB),
        numbers(found.energy, constants.JOULE),
        numbers(found.remaining),
    ]
