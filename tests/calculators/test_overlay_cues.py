"""overlay-cues: frames against the samples and against flight-log, the video's clock, forms, and bounded memory."""

from __future__ import annotations

import html
import io
import itertools
import json
import tracemalloc
from typing import Any, Final

import numpy as np
import pysubs2
import pytest
import srt
import webvtt
from PIL import Image

from calculators.test_flight_log import flight
from gramwatt import calculate
from gramwatt.engine.calculate import InvalidInput, evaluate_request, get_calculator
from gramwatt.engine.formats import OutputOptions, compute_output, iter_output

ACCURACY: Final = "Recorded flights"
"""The section of ACCURACY.md that covers this calculator too."""

CUES = get_calculator("overlay-cues")


def results(log: dict[str, Any], **more: Any) -> dict[str, Any]:
    found: dict[str, Any] = calculate("overlay-cues", log=log, **more)["results"]
    return found


def written(log: dict[str, Any], form: str, **more: Any) -> bytes:
    return b"".join(compute_output(CUES, {"log": log, **more}, OutputOptions(form)))


def test_frames_lie_on_straight_lines_between_samples() -> None:
    """numpy.interp, without smoothing; charge against the trapezoid up to the frame."""
    log = flight(1, seconds=20)
    frames = results(log, frame_rate="25", smoothing_window=0, capacity=1300, cells=4)["frames"]
    time = log["time"] - log["time"][0]
    at = np.array([frame["video_time"] for frame in frames])
    assert at == pytest.approx(np.arange(len(frames)) / 25, abs=1e-9)
    exact = np.interp(at, time, log["voltage"])
    off = [abs(frame["voltage"] - each) for frame, each in zip(frames, exact, strict=True)]
    assert np.median(off) < 1e-9, "all but those with a crest within the frame"
    assert frames[100]["cell_voltage"] == pytest.approx(frames[100]["voltage"] / 4, rel=1e-11)
    fine = np.linspace(0, at[-1], 200_001)
    charge = np.concatenate(
        ([0], np.cumsum(np.diff(fine) * np.interp((fine[1:] + fine[:-1]) / 2, time, log["current"])))
    )
    shown = np.array([frame["charge_used"] for frame in frames]) * 3.6
    assert shown == pytest.approx(np.interp(at, fine, charge), abs=1e-3)
    assert frames[-1]["state_of_charge"] == pytest.approx(100 - frames[-1]["charge_used"] / 13, rel=1e-9)


def test_a_steady_flight_by_hand() -> None:
    """16 V and 10 A are 160 W; in 36 s 10 A x 36 s = 100 mAh and 16 V x 0.1 Ah = 1.6 Wh."""
    log = {"time": [0, 18, 36], "voltage": [16, 16, 16], "current": [10, 10, 10]}
    found = results(log, frame_rate="1", cells=4, capacity=1000, longest_gap=60)
    assert (found["peak_power"], found["peak_current"]) == (160, 10)
    last = found["frames"][-1]
    expected = {"flight_time": 36, "voltage": 16, "cell_voltage": 4, "current": 10, "power": 160, "state_of_charge": 90}
    expected |= {"charge_used": 100}
    assert {name: last[name] for name in expected} == pytest.approx(expected, rel=1e-9)
    assert last["energy_used"] == pytest.approx(1.6, rel=1e-9)


def test_the_last_frame_has_used_what_flight_log_says() -> None:
    """The same integral, to what a frame's length leaves out."""
    log = flight(2, seconds=60)
    flown = calculate("flight-log", log=log, current_scale=1.2, voltage_scale=0.99)["results"]
    last = results(log, frame_rate="1000", current_scale=1.2, voltage_scale=0.99, video_start_time=50)["frames"][-1]
    assert last["charge_used"] == pytest.approx(flown["charge_used"], abs=0.02)
    assert last["energy_used"] == pytest.approx(flown["energy_used"], abs=0.001)


@pytest.mark.parametrize(
    ("rate", "at", "label"),
    [
        ("30000/1001", 1800, "00:01:00;02"),
        ("29.97", 17982, "00:10:00;00"),
        ("60000/1001", 3600, "00:01:00;04"),
        ("23.976", 1440, "00:01:00:00"),
        ("25", 1500, "00:01:00:00"),
    ],
)
def test_time_codes(rate: str, at: int, label: str) -> None:
    """Drop-frame counting of SMPTE ST 12-1, as libavutil 57.28 prints it: labels 0 and 1, at 59.94 four of them, are
    left out each minute but the tenth.
    """
    log = {"time": [0, 700], "voltage": [16, 15], "current": [5, 6]}
    begin = at / (60 if rate.startswith("6") else 30 if rate.startswith(("29", "3")) else 25) - 3
    frames = results(log, frame_rate=rate, longest_gap=1000, video_start_time=max(begin, 0), video_end_time=begin + 12)[
        "frames"
    ]
    assert next(frame["timecode"] for frame in frames if frame["frame_number"] == at) == label


def test_the_clock_of_the_video() -> None:
    """By hand: the recording begins 10 s before the video; 5 s are wanted from 2 s on at 50 frames a second."""
    log = {"time": [100, 160], "voltage": [16, 10], "current": [5, 5]}
    found = results(
        log,
        frame_rate="50",
        video_offset=-10,
        video_start_time=2,
        video_end_time=7,
        longest_gap=100,
        smoothing_window=0,
    )
    assert (found["frame_count"], found["first_timecode"]) == (250, "00:00:02:00")
    assert found["frames"][0]["voltage"] == pytest.approx(16 - 12 / 10, rel=1e-12)
    assert found["frames"][0]["flight_time"] == pytest.approx(12, rel=1e-12)


def test_frames_outside_the_recording_show_dashes() -> None:
    log = {"time": [0, 1, 2], "voltage": [16, 15, 16], "current": [5, 6, 5]}
    found = results(log, frame_rate="2", video_end_time=4, caption_template="{voltage:0} V")
    assert [frame["text"] for frame in found["frames"]][-2:] == ["– V", "– V"]
    assert "voltage" not in found["frames"][-1]


def test_captions_are_the_frames_that_say_the_same() -> None:
    log = flight(3, seconds=30)
    found = results(log, frame_rate="30", caption_template="{current:0} A{line}{throttle} %")
    changes = [
        frame["text"]
        for at, frame in enumerate(found["frames"])
        if at == 0 or frame["caption_number"] != found["frames"][at - 1]["caption_number"]
    ]
    assert len(changes) == found["caption_count"] == found["frames"][-1]["caption_number"]
    assert all(one != other for one, other in itertools.pairwise(changes))


def test_the_three_formats_hold_the_same_captions() -> None:
    """Read back by pysubs2, webvtt-py and srt."""
    log = flight(4, seconds=30)
    how = {
        "frame_rate": "30000/1001",
        "video_offset": 3600,
        "caption_template": "{current:0} A <b> & {{x}}{line}{voltage} V",
    }
    by_srt = [(each.start.total_seconds(), each.content) for each in srt.parse(written(log, "srt", **how).decode())]
    by_vtt = [
        (sum(float(part) * by for part, by in zip(each.start.split(":"), (3600, 60, 1), strict=True)), each.text)
        for each in webvtt.from_buffer(io.StringIO(written(log, "vtt", **how).decode())).captions
    ]
    by_ass = [
        (each.start / 1000, each.text.replace("\\N", "\n").replace("\\{", "{").replace("\\}", "}"))
        for each in pysubs2.SSAFile.from_string(written(log, "ass", **how).decode())
    ]
    assert len(by_srt) == len(by_vtt) == len(by_ass) == results(log, **how)["caption_count"]
    for (one, text), (two, web), (three, burnt) in zip(by_srt, by_vtt, by_ass, strict=True):
        assert two == pytest.approx(one, abs=0.0015)
        assert three == pytest.approx(one, abs=0.011)
        assert text == burnt
        assert html.unescape(web) == text
    assert by_srt[0][0] >= 3600


def test_a_picture_of_an_instant() -> None:
    """As large as the video, transparent, and with letters in the requested corner."""
    log = flight(5, seconds=20)
    how = {
        "frame_rate": "25",
        "video_width": 640,
        "video_height": 360,
        "caption_position": "top-right",
        "picture_time": 14,
        "caption_template": "{current:0} A",
    }
    shown = next(
        frame["text"]
        for frame in results(log, frame_rate="25", caption_template="{current:0} A")["frames"]
        if frame["frame_number"] == 350
    )
    assert f">{shown}<" in written(log, "svg", **how).decode()
    picture = Image.open(io.BytesIO(written(log, "png", **how)))
    assert (picture.size, picture.mode) == ((640, 360), "RGBA")
    left, top, right, bottom = picture.getchannel("A").getbbox() or (0, 0, 0, 0)
    assert left > 320
    assert bottom < 90
    assert right <= 640 - 0.05 * 640 + 4
    assert top >= 0.05 * 360 - 4


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"caption_template": "{volts} V"}, "did you mean voltage"),
        ({"caption_template": "{voltage:9}"}, "one digit, 0 to 4"),
        ({"caption_template": "a { b"}, "write {{ for a brace"),
        ({"frame_rate": "fast"}, "not a frame rate"),
        ({"frame_rate": "0"}, "not a frame rate"),
        ({"current_scale": "1 ± 0.1"}, "does not propagate"),
    ],
)
def test_invalid_options(how: dict[str, str], words: str) -> None:
    with pytest.raises(InvalidInput, match=words):
        results({"time": [0, 1], "voltage": [16, 15], "current": [1, 2]}, **how)


@pytest.mark.parametrize("how", [{"frame_rate": "999999/1"}, {"frame_rate": "1000", "video_end_time": 36_000}])
def test_more_frames_than_the_limit(how: dict[str, Any]) -> None:
    answer = calculate(
        "overlay-cues", log={"time": [0, 1], "voltage": [16, 15], "current": [1, 2]}, video_start_time=0, **how
    )
    assert answer["results"]["frame_count"] is None
    assert answer["cautions"][0]["code"] == "no-such-video"


def test_ten_minutes_at_sixty_frames_a_second_stream_in_bounded_memory() -> None:
    """36,001 frames are some 9 MB of JSON; written, they take a fraction of it, and each piece is a small one."""
    log = flight(6, seconds=600)
    log["voltage"] = np.full(len(log["time"]), 15.0)
    outcome = evaluate_request(CUES, {"log": log, "frame_rate": "60", "cells": 4, "capacity": 20_000})
    tracemalloc.start()
    size, largest, ends = 0, 0, b""
    for piece in iter_output(outcome, OutputOptions("json")):
        size, largest, ends = size + len(piece), max(largest, len(piece)), piece
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert size > 7e6
    assert largest < 0.5e6
    assert peak < 5e6
    assert ends.endswith(b"}\n")
    whole = json.loads(b"".join(iter_output(outcome, OutputOptions("json"))))
    assert len(whole["results"]["frames"]) == whole["results"]["frame_count"] == pytest.approx(36_000, abs=400)
