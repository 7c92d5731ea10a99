"""Recorded flights as inputs, and what was left out of them as results."""

from dataclasses import dataclass
from typing import Annotated, Final, TypeAlias

from gramwatt.calculators._shared import pack_fields
from gramwatt.model import (
    Array,
    Choice,
    Count,
    Deviate,
    Group,
    IndexArray,
    Quantity,
    RecordingArray,
    StringArray,
    Text,
    TimeSeries,
)


@dataclass(frozen=True, slots=True)
class Channels:
    """The channels of a recording."""

    time: Annotated[
        Array,
        Quantity(
            "s",
            "Time on any clock, also 12:34:56.7, 2:30 PM or with a date; one at least must be readable.",
            at_least=-1e12,
            at_most=1e12,
        ),
    ]
    voltage: Annotated[Array, Quantity("V", "Voltage of the pack under load.", at_least=0, at_most=200, optional=True)]
    current: Annotated[Array, Quantity("A", "Current from the pack.", at_least=-1000, at_most=10_000, optional=True)]
    throttle: Annotated[Array, Quantity("%", "Throttle, as a share of full.", at_least=-10, at_most=110, optional=True)]
    cell_voltage: Annotated[
        Array,
        Quantity(
            "V", "Voltage of the lowest cell.", label="Lowest cell voltage", at_least=0, at_most=10, optional=True
        ),
    ]


DESCRIPTION: Final = (
    "The recording: lists of equal length by name, one of them the time; null where nothing was recorded. Values that "
    "cannot be read are left out and counted."
)
Log: TypeAlias = Annotated[
    RecordingArray,
    TimeSeries(Channels, DESCRIPTION, label="Recording", group=Group.RECORDING, synonyms=("recording", "samples")),
]
OptionalLog: TypeAlias = Annotated[
    RecordingArray, TimeSeries(Channels, DESCRIPTION, label="Recording", group=Group.RECORDING, optional=True)
]

CurrentScale: TypeAlias = Annotated[
    Array,
    Quantity(
        "1",
        "True over recorded current. An uncalibrated sensor may be off by 5 %, an estimate.",
        label="Current sensor scale",
        group=Group.FINE_TUNING,
        above=0,
        at_most=10,
        default=1,
        default_u=0.05,
        follows=("current_scale_used",),
    ),
]
CurrentOffset: TypeAlias = Annotated[
    Array,
    Quantity(
        "A",
        "Recorded current at zero current.",
        label="Current sensor offset",
        group=Group.FINE_TUNING,
        at_least=-1000,
        at_most=1000,
        default=0,
        default_u=0.1,
    ),
]
VoltageScale: TypeAlias = Annotated[
    Array,
    Quantity(
        "1",
        "True over recorded voltage. An uncalibrated sensor may be off by 1 %, an estimate.",
        label="Voltage sensor scale",
        group=Group.FINE_TUNING,
        above=0,
        at_most=10,
        default=1,
        default_u=0.01,
    ),
]
ChargePutBack: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "mAh",
        "Charge that the charger put back after this flight, instead of the current scale: it calibrates the sensor.",
        group=Group.RECORDING,
        at_most=1e6,
        replaces=("current_scale",),
        synonyms=("recharged",),
    ),
]
ResistanceError: TypeAlias = Annotated[
    Array, Deviate("How far the resistance lies from the one fitted to the samples.")
]
LongestGap: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "s",
        "Longer times between samples are left out instead of bridged by a straight line. Default: 5 times the usual "
        "step, at least 2 s.",
        label="Maximum gap",
        group=Group.FINE_TUNING,
        synonyms=("gap"),
        at_most=3600,
    ),
]
StartTime: TypeAlias = Annotated[
    Array,
    Quantity(
        "s",
        "Samples before this time from the first sample are left out.",
        label="Use samples from",
        synonyms=("begin", "start"),
        group=Group.RECORDING,
        at_least=0,
        at_most=36_000,
        optional=True,
    ),
]
EndTime: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "s",
        "Samples after this time from the first sample are left out.",
        label="Use samples until",
        synonyms=("end", "stop"),
        group=Group.RECORDING,
        at_most=36_000,
    ),
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
"""Why part of a recording was left out: the cell is no number or out of bounds; the row has no time, a repeated time or
an earlier one; voltage or current is missing; the row is outside start time and end time; the step after it is a gap;
the line is above the header."""


@dataclass(frozen=True, slots=True)
class LeftOutSamples:
    """Samples left out of a recording for one reason."""

    reason: Annotated[
        IndexArray, Choice(REASONS, "Reason.", method="see the inputs longest gap, start time and end time")
    ]
    sample_count: Annotated[Array, Count("Number of samples.", at_least=0, at_most=5_000_000, method="counted")]
    first_row: Annotated[
        Array,
        Count("Row of the first, from 1.", at_least=0, at_most=5_000_000, optional=True, method="counted"),
    ]
    first_reading: Annotated[StringArray, Text("The column and its content in that row.", optional=True)]


@dataclass(frozen=True, slots=True)
class PunchOut:
    """One burst of high current."""

    punch_start_time: Annotated[
        Array, Quantity("s", "Time of its start from the first sample.", method="see punch duration")
    ]
    punch_duration: Annotated[
        Array,
        Quantity("s", "Duration.", method="current above a threshold between its usual and its high values"),
    ]
    peak_current: Annotated[Array, Quantity("A", "Maximum current.", signed=True, method="highest sample, corrected")]
    peak_power: Annotated[
        Array, Quantity("W", "Maximum power.", signed=True, method="maximum of voltage times current", optional=True)
    ]
    voltage_sag: Annotated[
        Array,
        Quantity(
            "V",
            "Fall of the pack voltage.",
            signed=True,
            method="voltage just before it less the lowest voltage in it",
            optional=True,
        ),
    ]
    lowest_voltage: Annotated[
        Array,
        Quantity(
            "V", "Lowest pack voltage.", label="Lowest pack voltage", method="lowest sample, corrected", optional=True
        ),
    ]
