"""A recorded flight on a video's clock: captions, and figures frame by frame."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Final

import numpy as np

from gramwatt.calculators._shared import fields, flight_summary, logs
from gramwatt.calculators._shared.cautions import LAND_EARLY, LITHIUM_FIRE
from gramwatt.calculators._shared.frames import NUMBERED, Frame, frame_table, greatest
from gramwatt.calculators._shared.log_statistics import groups
from gramwatt.captions import image, subrip, substation, template, timecode, webvtt
from gramwatt.captions.caption_track import (
    EMPTY_TRACK,
    CaptionTrack,
    make_caption_track,
    parse_rate_or_none,
    rebuild_cues,
)
from gramwatt.captions.cues import Cue
from gramwatt.captions.frames import MAX_FRAMES, find_frame_span
from gramwatt.captions.placement import PLACES, Placement
from gramwatt.captions.timestamps import can_resolve
from gramwatt.model import (
    Array,
    Calculator,
    Caution,
    Choice,
    Count,
    Example,
    IndexArray,
    OutputFormat,
    Quantity,
    Reference,
    RowCount,
    Rule,
    StringArray,
    Table,
    Text,
    charts,
)
from gramwatt.physics import constants
from gramwatt.physics.recording import CleanRecording

NOT_CUT: Final = np.full(1, np.nan)
FIELDS: Final = ", ".join((*template.FIELDS, *template.TEXT_FIELDS))


@dataclass(frozen=True, slots=True)
class Inputs:
    """The recording, the pack, the video's clock, and how the figures shall stand on it."""

    log: logs.Log
    cells: logs.FlownCells
    capacity: logs.FlownCapacity
    start_charge: fields.StartCharge
    current_scale: logs.CurrentScale
    current_offset: logs.CurrentOffset
    voltage_scale: logs.VoltageScale
    longest_gap: logs.LongestGap
    frame_rate: Annotated[
        StringArray,
        Text(
            "Frames a second, exactly: a fraction, or the decimals it is usually written with (29.97 is 30000/1001).",
            max_length=16,
            default="30",
            pattern=timecode.RATE_PATTERN,
            form="a number or a fraction of whole numbers above 0 and up to 1000, as text",
            like=("25", "30000/1001", "23.976"),
            check=timecode.parse_rate,
        ),
    ]
    offset: Annotated[
        Array,
        Quantity("s", "Where in the video the first sample stands.", at_least=-36_000, at_most=36_000, default=0),
    ]
    video_begin: Annotated[
        Array, Quantity("s", "Captions from here in the video on.", at_least=0, at_most=36_000, optional=True)
    ]
    video_end: Annotated[
        Array, Quantity("s", "No captions from here in the video on.", above=0, at_most=36_000, optional=True)
    ]
    smoothing: Annotated[
        Array,
        Quantity("s", "Window of the running mean; what stands out is kept.", at_least=0, at_most=10, default=0.5),
    ]
    changes: Annotated[Array, Quantity("Hz", "How often a caption may change.", at_least=0.1, at_most=120, default=4)]
    template: Annotated[
        StringArray,
        Text(
            f"What a caption says: words, and fields in braces with their digits, as {{voltage:2}}. Fields: {FIELDS}.",
            max_length=200,
            default=template.DEFAULT,
            pattern=template.TEMPLATE,
            form=f"words with fields in braces, each with 0 to 4 digits or none: {FIELDS}; {{{{ and }}}} are braces",
            like=(template.DEFAULT, "{power} W{line}{remaining} %"),
            check=template.compile_template,
        ),
    ]
    width: Annotated[Array, Count("Width of the video in pixels.", at_least=64, at_most=8192, default=1920)]
    height: Annotated[Array, Count("Height of the video in pixels.", at_least=64, at_most=4320, default=1080)]
    place: Annotated[IndexArray, Choice(PLACES, "Where captions stand.", default="bottom-left")]
    text_size: Annotated[Array, Quantity("%", "Height of a line, of the video's.", at_least=1, at_most=25, default=5)]
    safe_area: Annotated[
        Array, Quantity("%", "Kept free at each edge, of width and height.", at_least=0, at_most=25, default=5)
    ]
    at: Annotated[
        Array,
        Quantity(
            "s",
            "Instant of the video that a picture shows; the first with a caption unless said.",
            at_least=0,
            at_most=36_000,
            optional=True,
        ),
    ]


FEWER: Final = "give video_begin and video_end for a part of the video, or a lower frame_rate"


def _counts(given: Inputs) -> Array:
    """How many frames each of N videos has; 0 where there is no such rate or number."""
    found = np.zeros(len(given.log))
    nowhere = np.full(len(given.log), np.nan)
    for shared, _, ready in groups(given.log, given.longest_gap, nowhere, nowhere):
        for row in shared.tolist():
            rate = parse_rate_or_none(str(given.frame_rate[row]))
            if rate is not None:
                course = ready.course._replace(time=ready.course.time / constants.SECOND)
                found[row] = find_frame_span(course, rate=rate, **_span(given, row))[1]
    return found


def _span(given: Inputs, row: int) -> dict[str, float]:
    """Where the recording stands in the video, and the part of it that is wanted [s]."""
    return {
        "offset": float(given.offset[row] / constants.SECOND),
        "begin": float(given.video_begin[row] / constants.SECOND),
        "end": float(given.video_end[row] / constants.SECOND),
    }


@dataclass(frozen=True, slots=True)
class Results:
    """How many captions there are, on which frames, and every frame."""

    captions: Annotated[Array, Count("Captions.", at_least=0, at_most=MAX_FRAMES, method="texts that differ in turn")]
    frame_count: Annotated[Array, Count("Frames.", at_least=0, at_most=MAX_FRAMES, method=NUMBERED)]
    first_timecode: Annotated[StringArray, Text("Of the first frame.", max_length=16, method="SMPTE ST 12-1")]
    last_timecode: Annotated[StringArray, Text("Of the last frame.", max_length=16, method="SMPTE ST 12-1")]
    peak_current: Annotated[Array, Quantity("A", "Greatest current shown.", method="greatest of the frames")]
    peak_power: Annotated[Array, Quantity("W", "Greatest power shown.", method="greatest of the frames")]
    samples: Annotated[Array, Count("Samples recorded.", at_least=0, at_most=5_000_000, method="counted")]
    samples_used: Annotated[Array, Count("Samples used.", at_least=0, at_most=5_000_000, method="counted")]
    frames: Annotated[
        Frame,
        Table(
            Frame, "Every frame.", min_length=0, max_length=MAX_FRAMES, standalone=True, length=RowCount(_counts, FEWER)
        ),
    ]


def overlay_cues(given: Inputs) -> Results:
    """A recording's figures at the instants of a video's frames, and captions that change on exactly a frame.

    Frame n stands at n times the rate's denominator over its numerator: no drift, however long. Charge and energy are
    those since the recording's first sample. What the sensors recorded is shown, nothing is predicted.
    """
    count = len(given.log)
    rows = [EMPTY_TRACK] * count
    told, samples, used = np.zeros(count, dtype=np.bool_), np.full(count, np.nan), np.full(count, np.nan)
    nowhere = np.full(count, np.nan)
    for shared, recording, ready in groups(given.log, given.longest_gap, nowhere, nowhere):
        samples[shared], used[shared] = recording.rows, len(ready.course.time)
        for row in shared.tolist():
            found = _of_one(given, row, ready.course)
            rows[row], told[row] = found or EMPTY_TRACK, found is not None
    return Results(
        captions=np.where(told, [float(len(row.texts)) for row in rows], np.nan),
        frame_count=np.where(told, [float(len(row.times)) for row in rows], np.nan),
        first_timecode=np.array([row.timecodes[0] if row.timecodes else "none" for row in rows]),
        last_timecode=np.array([row.timecodes[-1] if row.timecodes else "none" for row in rows]),
        peak_current=np.array([greatest(row.frames.current) for row in rows]) * constants.AMPERE,
        peak_power=np.array([greatest(row.frames.power) for row in rows]) * constants.WATT,
        samples=samples,
        samples_used=used,
        frames=frame_table(rows),
    )


def _of_one(given: Inputs, row: int, recorded: CleanRecording) -> CaptionTrack | None:
    """One question told in plain numbers."""
    course = CleanRecording(
        recorded.time / constants.SECOND,
        recorded.voltage / constants.VOLT,
        recorded.current / constants.AMPERE,
        recorded.throttle,
        recorded.cell_voltage / constants.VOLT,
        recorded.counts,
    )
    return make_caption_track(
        course,
        frame_rate=str(given.frame_rate[row]),
        **_span(given, row),
        template=str(given.template[row]),
        changes=float(given.changes[row] / constants.HERTZ),
        smoothing=float(given.smoothing[row] / constants.SECOND),
        cells=float(given.cells[row]),
        capacity=float(given.capacity[row] / constants.COULOMB),
        start_charge=float(given.start_charge[row]),
        current_scale=float(given.current_scale[row]),
        current_offset=float(given.current_offset[row] / constants.AMPERE),
        voltage_scale=float(given.voltage_scale[row]),
    )


def _cues(given: Inputs, found: Results) -> tuple[Iterator[Cue], Fraction]:
    """The captions of the first question, and the frame rate; where there is no such rate none, at one a second."""
    rate = parse_rate_or_none(str(given.frame_rate[0])) or Fraction(1)
    number = found.frames.frame[0].astype(np.int64)
    return rebuild_cues(number, found.frames.cue[0], found.frames.text[0], rate), rate


def _placement(given: Inputs) -> Placement:
    return Placement(
        int(given.width[0]),
        int(given.height[0]),
        PLACES[int(given.place[0])],
        float(given.text_size[0]),
        float(given.safe_area[0]),
    )


NOTE: Final = "Figures recorded in flight, by Gramwatt's overlay-cues; sensors may be off by some per cent."


def as_webvtt(given: Inputs, found: Results) -> Iterator[bytes]:
    """The captions as WebVTT."""
    told, rate = _cues(given, found)
    yield from (each.encode() for each in webvtt.write_cues(told, rate=rate, placement=_placement(given), note=NOTE))


def as_subrip(given: Inputs, found: Results) -> Iterator[bytes]:
    """The captions as SubRip."""
    told, rate = _cues(given, found)
    yield from (each.encode() for each in subrip.write_cues(told, rate=rate))


def as_substation(given: Inputs, found: Results) -> Iterator[bytes]:
    """The captions as Advanced SubStation."""
    told, rate = _cues(given, found)
    yield from (
        each.encode() for each in substation.write_cues(told, rate=rate, placement=_placement(given), title=NOTE)
    )


def _text_at(given: Inputs, found: Results) -> str:
    """What is on the video at the instant asked for; dashes where no frame is."""
    rate = parse_rate_or_none(str(given.frame_rate[0])) or Fraction(1)
    number = found.frames.frame[0]
    at = float(given.at[0] / constants.SECOND)
    wanted = math.floor(Fraction(at) * rate + Fraction(1, 1000)) - number[0] if at >= 0 and len(number) else 0
    if 0 <= wanted < len(number):
        return str(found.frames.text[0, int(wanted)])
    parts = template.compile_template(str(given.template[0])).parts
    return "".join(part if isinstance(part, str) else template.format_field(part, None) for part in parts)


def as_svg(given: Inputs, found: Results) -> Iterator[bytes]:
    """One instant as SVG."""
    yield image.draw_svg(_text_at(given, found), _placement(given)).encode()


def as_png(given: Inputs, found: Results) -> Iterator[bytes]:
    """One instant as PNG."""
    yield image.draw_png(_text_at(given, found), _placement(given))


def _pixels(given: Inputs) -> Array:
    return given.width * given.height


CALCULATOR = Calculator(
    title="What shows on the video?",
    summary="A recorded flight as captions for a video, frame by frame, or as a picture of one instant.",
    inputs=Inputs,
    results=Results,
    formula=overlay_cues,
    category="show",
    chart=charts.TimeSeriesChart(
        lambda given, found: flight_summary.trace(
            given.log,
            longest_gap=given.longest_gap,
            begin=NOT_CUT,
            end=NOT_CUT,
            sensors=flight_summary.Sensors(given.current_scale, given.current_offset, given.voltage_scale, NOT_CUT),
        ),
        recording="log",
    ),
    propagates=False,
    formats=(
        OutputFormat("vtt", "text/vtt", "WebVTT captions.", as_webvtt),
        OutputFormat("srt", "application/x-subrip", "SubRip captions, plain text.", as_subrip),
        OutputFormat(
            "ass", "text/x-ssa", "Advanced SubStation captions, placed and outlined, to burn in.", as_substation
        ),
        OutputFormat("svg", "image/svg+xml", "A transparent picture of the instant at.", as_svg),
        OutputFormat(
            "png", "image/png", "A transparent picture of the instant at.", as_png, binary=True, pixels=_pixels
        ),
    ),
    rules=(
        Rule(
            "no-such-video",
            f"No more than {MAX_FRAMES} frames can be told at once, at rates up to 1000 a second: see frame_rate, "
            "video_begin and video_end, and the unit of the recording's times.",
            when=lambda given, found: np.isnan(found.frame_count),
            results=("captions", "frame_count", "peak_current", "peak_power"),
        ),
        Rule(
            "nothing-recorded",
            "No frame shows a current: the recording has none there, or lies outside the frames. See offset, "
            "video_begin, video_end and the recording's columns.",
            when=lambda given, found: found.frame_count >= 0,
            results=("peak_current", "peak_power"),
        ),
    ),
    references=(
        Reference(
            "SMPTE ST 12-1:2014, Time and Control Code: drop-frame counting (from memory)",
            about=("first_timecode", "last_timecode", "frames"),
        ),
        Reference(
            "W3C WebVTT, Candidate Recommendation 2019, section 4; SubRip and Advanced SubStation have no standard "
            "and are written as libass and ffmpeg read them"
        ),
        Reference(
            "J. S. Lee 1983, the sigma filter: what departs by more than three standard deviations is not averaged "
            "(from memory)",
            about=("frames", "peak_current", "peak_power"),
        ),
    ),
    cautions=(
        LITHIUM_FIRE,
        LAND_EARLY,
        Caution(
            "as-recorded",
            "The figures are those of the craft's sensors, which may be off by some per cent; flight-log tells how to "
            "calibrate them.",
        ),
        Caution(
            "left-out",
            "Of {samples} samples {samples_used} were used; flight-log says which were not, and why.",
            when=lambda given, found: found.samples_used < found.samples,
        ),
        Caution(
            "coarse-clock",
            "At {frame_rate} frames a second the hundredths of a second in Advanced SubStation cannot tell every "
            "frame: a caption may come a frame off. WebVTT and SubRip tell thousandths, enough up to 500.",
            when=lambda given, found: np.array([_is_coarse(str(rate)) for rate in given.frame_rate]),
        ),
        Caution(
            "unseen",
            "No frame of the video lies in the recording: see offset, video_begin and video_end.",
            when=lambda given, found: np.asarray(np.isnan(found.frames.flight_time).all(axis=1)),
        ),
    ),
    examples=(
        Example(
            "Six samples of an invented flight, two seconds into a video of 30000/1001 frames a second",
            given={
                "log": {
                    "time": [0, 1, 2, 3, 4, 5],
                    "voltage": [16.6, 16.4, 15.8, 15.8, 16.3, 16.2],
                    "current": [8, 8, 40, 40, 8, 8],
                    "throttle": [35, 35, 100, 100, 35, 35],
                },
                "frame_rate": "30000/1001",
                "offset": 2,
                "smoothing": 0,
                "video_end": 3,
            },
            expected={"frame_count": 30, "first_timecode": "00:00:02;00", "last_timecode": "00:00:02;29"},
            rtol=1e-9,
            source="by hand: frame 60 is shown at 60 x 1001 / 30000 = 2.002 s, the first at or after 2 s; frame 89 at "
            "2.9696 s is the last before 3 s; no label is dropped in the first minute",
        ),
        Example(
            "The same with a gap at the end and a pack, two frames a second",
            given={
                "log": {
                    "time": [0, 1, 2, 3, 4, 10],
                    "voltage": [16.6, 16.4, 15.8, 15.8, 16.3, 16.2],
                    "current": [8, 8, 40, 40, 8, 8],
                },
                "cells": 4,
                "capacity": 850,
                "frame_rate": "2",
                "video_begin": 1,
                "template": "{cell_voltage:2} V{line}{remaining:1} %",
                "smoothing": 0,
            },
            expected={"frame_count": 19, "first_timecode": "00:00:01:00", "peak_current": 40, "peak_power": 632},
            rtol=1e-9,
            source="by hand: frames 2 to 20 are shown from 1 s to the last sample at 10 s; 40 A at 15.8 V is 632 W",
        ),
    ),
)


def _is_coarse(rate: str) -> bool:
    found = parse_rate_or_none(rate)
    return found is not None and not can_resolve(found, substation.PER_SECOND)
