"""A flight as the craft recorded it, as flight-log, flight-comparison, power-fit and overlay-cues ask for it."""

from dataclasses import dataclass
from typing import Annotated, Final, TypeAlias

from gramwatt.model import Array, Choice, Count, IndexArray, Quantity, RecordingArray, StringArray, Text, TimeSeries


@dataclass(frozen=True, slots=True)
class Recorded:
    """The channels of a recording."""

    time: Annotated[
        Array,
        Quantity("s", "When, on any clock; also 12:34:56.7 or a date with it.", at_least=-1e12, at_most=1e12),
    ]
    voltage: Annotated[Array, Quantity("V", "Of the pack, under load.", at_least=0, at_most=200, optional=True)]
    current: Annotated[Array, Quantity("A", "From the pack.", at_least=-1000, at_most=10_000, optional=True)]
    throttle: Annotated[Array, Quantity("%", "Throttle, as a share of full.", at_least=-10, at_most=110, optional=True)]
    cell_voltage: Annotated[Array, Quantity("V", "Of the lowest cell.", at_least=0, at_most=10, optional=True)]


DESCRIPTION: Final = (
    "The recording: lists of equal length by name, time among them; null where nothing was recorded. What cannot be "
    "read is left out and counted."
)
Log: TypeAlias = Annotated[RecordingArray, TimeSeries(Recorded, DESCRIPTION)]
OptionalLog: TypeAlias = Annotated[RecordingArray, TimeSeries(Recorded, DESCRIPTION, optional=True)]

CurrentScale: TypeAlias = Annotated[
    Array,
    Quantity(
        "1",
        "True over recorded current. A sensor that nobody has calibrated may be off by 5 %, a judgement.",
        above=0,
        at_most=10,
        default=1,
        default_u=0.05,
    ),
]
CurrentOffset: TypeAlias = Annotated[
    Array,
    Quantity("A", "What the sensor records without current.", at_least=-1000, at_most=1000, default=0, default_u=0.1),
]
VoltageScale: TypeAlias = Annotated[
    Array,
    Quantity(
        "1",
        "True over recorded voltage. A sensor that nobody has calibrated may be off by 1 %, a judgement.",
        above=0,
        at_most=10,
        default=1,
        default_u=0.01,
    ),
]
ChargePutBack: TypeAlias = Annotated[
    Array,
    Quantity(
        "mAh",
        "Charge that the charger put back after this flight, instead of current_scale: it calibrates the sensor.",
        above=0,
        at_most=1e6,
        optional=True,
        replaces=("current_scale",),
    ),
]
LongestGap: TypeAlias = Annotated[
    Array,
    Quantity(
        "s",
        "A longer time between samples is left out rather than bridged by a straight line. Default: 5 times the usual "
        "step, at least 2 s.",
        above=0,
        at_most=3600,
        optional=True,
    ),
]
FlownCells: TypeAlias = Annotated[
    Array, Count("Cells in series of the pack flown.", at_least=1, at_most=24, optional=True)
]
FlownCapacity: TypeAlias = Annotated[
    Array, Quantity("mAh", "Rated capacity of the pack flown.", at_least=1, at_most=1e6, optional=True)
]
Begin: TypeAlias = Annotated[
    Array,
    Quantity(
        "s", "Leave out what was recorded before, from the first sample.", at_least=0, at_most=36_000, optional=True
    ),
]
End: TypeAlias = Annotated[
    Array,
    Quantity("s", "Leave out what was recorded after, from the first sample.", above=0, at_most=36_000, optional=True),
]

REASONS: Final = (
    "no-number",
    "out-of-bounds",
    "untimed",
    "repeated-time",
    "backward-time",
    "dropped-out",
    "before-or-after",
    "in-a-gap",
    "before-the-header",
)
"""Why something of a recording was left out: its cell is no number, or out of bounds; its row has no time, or that of
another, or goes back; voltage or current lacks there; it lies outside begin and end; the step after it is a gap."""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """One kind of what was left out of a recording."""

    reason: Annotated[IndexArray, Choice(REASONS, "Why.", method="see longest_gap, begin, end")]
    count: Annotated[Array, Count("How many.", at_least=0, at_most=5_000_000, method="counted")]
    first_row: Annotated[
        Array,
        Count("The first of them, by row from 1.", at_least=0, at_most=5_000_000, optional=True, method="counted"),
    ]
    what: Annotated[StringArray, Text("The column and what stood there.", optional=True)]


@dataclass(frozen=True, slots=True)
class PunchOut:
    """One burst of high current."""

    start: Annotated[Array, Quantity("s", "When it began, from the first sample.", method="see length")]
    length: Annotated[
        Array,
        Quantity("s", "How long it lasted.", method="current above a threshold between its usual and its high values"),
    ]
    peak_current: Annotated[Array, Quantity("A", "Greatest current in it.", method="greatest sample, corrected")]
    peak_power: Annotated[
        Array,
        Quantity("W", "Greatest power in it.", method="greatest of voltage times current", optional=True),
    ]
    sag: Annotated[
        Array,
        Quantity(
            "V", "How far the pack's voltage fell.", method="voltage just before less the lowest in it", optional=True
        ),
    ]
    lowest_voltage: Annotated[
        Array, Quantity("V", "Of the pack, lowest in it.", method="lowest sample, corrected", optional=True)
    ]
