"""A flight as the craft recorded it, as flight-log, flight-comparison, power-fit and overlay-cues ask for it."""

from dataclasses import dataclass
from typing import Annotated, Final, TypeAlias

from gramwatt.declare import Array, Quantity, Recordings, Samples


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
Log: TypeAlias = Annotated[Recordings, Samples(Recorded, DESCRIPTION)]
OptionalLog: TypeAlias = Annotated[Recordings, Samples(Recorded, DESCRIPTION, optional=True)]

CurrentScale: TypeAlias = Annotated[
    Array,
    Quantity(
        "1",
        "True over recorded current. Its spread is that of a sensor nobody has calibrated, a judgement.",
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
        "True over recorded voltage. Its spread is that of a sensor nobody has calibrated, a judgement.",
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
