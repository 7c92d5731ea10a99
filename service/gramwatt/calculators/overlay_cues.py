"""A recorded flight on the clock of a video: captions, and values frame by frame."""

from dataclasses import dataclass
from typing import Annotated, Final

import numpy as np

from gramwatt.calculators._shared import caption_formats, fields, flight_summary, logs, pack_fields, video_fields
from gramwatt.calculators._shared.cautions import LAND_EARLY, LITHIUM_FIRE
from gramwatt.calculators._shared.frames import NUMBERED, Frame, frame_table, maximum
from gramwatt.calculators._shared.log_cautions import left_out
from gramwatt.calculators._shared.prepared_recording import group_by_recording
from gramwatt.captions import substation
from gramwatt.captions.caption_track import EMPTY_TRACK, CaptionTrack, make_caption_track, parse_rate_or_none
from gramwatt.captions.frames import MAX_FRAMES, find_frame_span
from gramwatt.captions.timestamps import can_resolve
from gramwatt.model import (
    Array,
    Calculator,
    Caution,
    Count,
    Example,
    Quantity,
    Reference,
    RowCount,
    Rule,
    Sentence,
    StringArray,
    Table,
    Text,
    charts,
)
from gramwatt.physics import constants
from gramwatt.physics.recording import CleanRecording

NO_LIMIT: Final = np.full(1, np.nan)


@dataclass(frozen=True, slots=True)
class Inputs:
    """The recording, the pack, the clock of the video, and the layout of the captions."""

    log: logs.Log
    cells: pack_fields.OptionalCells
    capacity: pack_fields.OptionalCapacity
    start_state_of_charge: pack_fields.StartStateOfCharge
    current_scale: logs.CurrentScale
    current_offset: logs.CurrentOffset
    voltage_scale: logs.VoltageScale
    longest_gap: logs.LongestGap
    frame_rate: video_fields.FrameRate
    video_offset: video_fields.VideoOffset
    video_start_time: video_fields.VideoStartTime
    video_end_time: video_fields.VideoEndTime
    smoothing_window: video_fields.SmoothingWindow
    caption_change_rate: video_fields.CaptionChangeRate
    caption_template: video_fields.CaptionTemplate
    video_width: video_fields.VideoWidth
    video_height: video_fields.VideoHeight
    caption_position: video_fields.CaptionPosition
    text_height_share: video_fields.TextHeightShare
    safe_margin_share: video_fields.SafeMarginShare
    picture_time: video_fields.PictureTime


FEWER: Final = "give video begin and video end for a part of the video, or a lower frame rate"


def _count_frames(given: Inputs) -> Array:
    """Return the number of frames of each video (N,); 0 for an unknown frame rate."""
    count = np.zeros(len(given.log))
    no_limit = np.full(len(given.log), np.nan)
    for rows, _, prepared in group_by_recording(given.log, given.longest_gap, no_limit, no_limit):
        for row in rows.tolist():
            rate = parse_rate_or_none(str(given.frame_rate[row]))
            if rate is not None:
                recording = prepared.recording._replace(time=prepared.recording.time / constants.SECOND)
                count[row] = find_frame_span(recording, rate=rate, **_span(given, row))[1]
    return count


def _span(given: Inputs, row: int) -> dict[str, float]:
    """Return the offset of the recording in the video, and the requested part of the video, as plain numbers [s]."""
    return {
        "offset": float(given.video_offset[row] / constants.SECOND),
        "begin": float(given.video_start_time[row] / constants.SECOND),
        "end": float(given.video_end_time[row] / constants.SECOND),
    }


@dataclass(frozen=True, slots=True)
class Results:
    """Number of captions and frames, and every frame."""

    caption_count: Annotated[
        Array, Count("Captions.", at_least=0, at_most=MAX_FRAMES, method="number of changes of the text")
    ]
    frame_count: Annotated[Array, Count("Frames.", label="Frames", at_least=0, at_most=MAX_FRAMES, method=NUMBERED)]
    first_timecode: Annotated[
        StringArray,
        Text("Time code of the first frame.", label="First time code", max_length=16, method="SMPTE ST 12-1"),
    ]
    last_timecode: Annotated[
        StringArray, Text("Time code of the last frame.", label="Last time code", max_length=16, method="SMPTE ST 12-1")
    ]
    peak_current: Annotated[
        Array,
        Quantity("A", "Maximum current shown.", label="Peak current shown", signed=True, formula="max(frames.current)"),
    ]
    peak_power: Annotated[
        Array,
        Quantity("W", "Maximum power shown.", label="Peak power shown", signed=True, formula="max(frames.power)"),
    ]
    samples_recorded: fields.SamplesRecorded
    samples_used: fields.SamplesUsed
    frames: Annotated[
        Frame,
        Table(
            Frame,
            "Every frame.",
            label="Frame by frame",
            min_length=0,
            max_length=MAX_FRAMES,
            standalone=True,
            length=RowCount(_count_frames, FEWER),
        ),
    ]


def overlay_cues(given: Inputs) -> Results:
    """Compute the values of a recording at each frame of a video, and captions that change exactly on a frame.

    Frame n is shown at n times the denominator of the frame rate over its numerator, without drift. Charge and energy
    count from the first sample of the recording. All values are recorded, none is predicted.
    """
    count = len(given.log)
    tracks = [EMPTY_TRACK] * count
    has_track, samples, samples_used = np.zeros(count, dtype=np.bool_), np.full(count, np.nan), np.full(count, np.nan)
    no_limit = np.full(count, np.nan)
    for rows, recording, prepared in group_by_recording(given.log, given.longest_gap, no_limit, no_limit):
        samples[rows], samples_used[rows] = recording.rows, len(prepared.recording.time)
        for row in rows.tolist():
            track = _caption_track(given, row, prepared.recording)
            tracks[row], has_track[row] = track or EMPTY_TRACK, track is not None
    return Results(
        caption_count=np.where(has_track, [float(len(track.texts)) for track in tracks], np.nan),
        frame_count=np.where(has_track, [float(len(track.times)) for track in tracks], np.nan),
        first_timecode=np.array([track.timecodes[0] if track.timecodes else "none" for track in tracks]),
        last_timecode=np.array([track.timecodes[-1] if track.timecodes else "none" for track in tracks]),
        peak_current=np.array([maximum(track.frames.current) for track in tracks]) * constants.AMPERE,
        peak_power=np.array([maximum(track.frames.power) for track in tracks]) * constants.WATT,
        samples_recorded=samples,
        samples_used=samples_used,
        frames=frame_table(tracks),
    )


def _caption_track(given: Inputs, row: int, recording: CleanRecording) -> CaptionTrack | None:
    """Return the captions of one row; all arguments of `make_caption_track` are plain numbers."""
    plain = CleanRecording(
        recording.time / constants.SECOND,
        recording.voltage / constants.VOLT,
        recording.current / constants.AMPERE,
        recording.throttle,
        recording.cell_voltage / constants.VOLT,
        recording.counts,
    )
    return make_caption_track(
        plain,
        frame_rate=str(given.frame_rate[row]),
        **_span(given, row),
        template=str(given.caption_template[row]),
        changes=float(given.caption_change_rate[row] / constants.HERTZ),
        smoothing=float(given.smoothing_window[row] / constants.SECOND),
        cells=float(given.cells[row]),
        capacity=float(given.capacity[row] / constants.COULOMB),
        start_state_of_charge=float(given.start_state_of_charge[row]),
        current_scale=float(given.current_scale[row]),
        current_offset=float(given.current_offset[row] / constants.AMPERE),
        voltage_scale=float(given.voltage_scale[row]),
    )


CALCULATOR = Calculator(
    title="What shows on the video?",
    summary="A recorded flight as captions for a video, frame by frame, or as a picture of one instant.",
    inputs=Inputs,
    results=Results,
    formula=overlay_cues,
    category="show",
    sentences=(
        Sentence(
            "{caption_count} captions on {frame_count} frames",
            details=("From {first_timecode} to {last_timecode}.", "Up to {peak_current} and {peak_power}."),
        ),
    ),
    charts=(
        charts.TimeSeriesChart(
            lambda given, found: flight_summary.corrected_channels(
                given.log,
                longest_gap=given.longest_gap,
                begin=NO_LIMIT,
                end=NO_LIMIT,
                corrections=flight_summary.SensorCorrections(
                    given.current_scale, given.current_offset, given.voltage_scale, NO_LIMIT, np.zeros(1)
                ),
            ),
            recording="log",
            title="The recording over time",
        ),
    ),
    propagates=False,
    formats=caption_formats.FORMATS,
    rules=(
        Rule(
            "no-such-video",
            f"The video has more than {MAX_FRAMES:,} frames, or a rate above 1000 per second: check frame rate, video "
            "begin, video end, and the unit of the recorded times.",
            when=lambda given, found: np.isnan(found.frame_count),
            results=("caption_count", "frame_count", "peak_current", "peak_power"),
        ),
        Rule(
            "nothing-recorded",
            "No frame shows a current: the recording has none there, or is outside the video. Check offset, video "
            "begin, video end and the columns of the recording.",
            when=lambda given, found: found.frame_count >= 0,
            results=("peak_current", "peak_power"),
        ),
    ),
    references=(
        Reference(
            "Drop-frame time code as in SMPTE ST 12-1; tests count frame by frame",
            about=("first_timecode", "last_timecode", "frames"),
        ),
        Reference(
            "W3C WebVTT, Candidate Recommendation 2019, section 4; SubRip and Advanced SubStation have no standard, so "
            "files are written as libass and ffmpeg read them"
        ),
        Reference(
            "Sigma filter: values more than three standard deviations away are not averaged; common method, no source",
            about=("frames", "peak_current", "peak_power"),
        ),
    ),
    cautions=(
        LITHIUM_FIRE,
        LAND_EARLY,
        Caution(
            "as-recorded",
            "The values come from the craft's sensors, which may be off by a few per cent; flight-log calibrates them.",
            severity="low",
        ),
        left_out("flight-log gives the reasons"),
        Caution(
            "coarse-clock",
            "At {frame_rate} frames per second, the hundredths of a second of Advanced SubStation are too coarse for "
            "single frames: a caption may be one frame off. WebVTT and SubRip have thousandths, enough up to 500.",
            severity="low",
            when=lambda given, found: np.array([_is_coarse(str(rate)) for rate in given.frame_rate]),
        ),
        Caution(
            "video-outside-recording",
            "No frame of the video is within the recording: check offset, video begin and video end.",
            when=lambda given, found: np.asarray(np.isnan(found.frames.flight_time).all(axis=1)),
        ),
    ),
    examples=(
        Example(
            "Six samples of an invented flight, two seconds into a video of 30000/1001 frames per second",
            given={
                "log": {
                    "time": [0, 1, 2, 3, 4, 5],
                    "voltage": [16.6, 16.4, 15.8, 15.8, 16.3, 16.2],
                    "current": [8, 8, 40, 40, 8, 8],
                    "throttle": [35, 35, 100, 100, 35, 35],
                },
                "frame_rate": "30000/1001",
                "video_offset": 2,
                "smoothing_window": 0,
                "video_end_time": 3,
            },
            expected={"frame_count": 30, "first_timecode": "00:00:02;00", "last_timecode": "00:00:02;29"},
            rtol=1e-9,
            source="by hand: frame 60 is shown at 60 x 1001 / 30000 = 2.002 s, the first at or after 2 s; frame 89 at "
            "2.9696 s is the last before 3 s; no label is dropped in the first minute",
        ),
        Example(
            "The same with a gap at the end and a pack, two frames per second",
            given={
                "log": {
                    "time": [0, 1, 2, 3, 4, 10],
                    "voltage": [16.6, 16.4, 15.8, 15.8, 16.3, 16.2],
                    "current": [8, 8, 40, 40, 8, 8],
                },
                "cells": 4,
                "capacity": 850,
                "frame_rate": "2",
                "video_start_time": 1,
                "caption_template": "{cell_voltage:2} V{line}{state_of_charge:1} %",
                "smoothing_window": 0,
            },
            expected={"frame_count": 19, "first_timecode": "00:00:01:00", "peak_current": 40, "peak_power": 632},
            rtol=1e-9,
            source="by hand: frames 2 to 20 are shown from 1 s to the last sample at 10 s; 40 A at 15.8 V is 632 W",
        ),
    ),
)


def _is_coarse(rate: str) -> bool:
    exact = parse_rate_or_none(rate)
    return exact is not None and not can_resolve(exact, substation.PER_SECOND)
