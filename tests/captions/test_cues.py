"""From frames to captions."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest

from captions.recordings import make_recording
from gramwatt.captions.cues import Cue, average_blocks, make_captions
from gramwatt.captions.frames import Frames, sample_frames
from gramwatt.captions.template import Template, compile_template
from gramwatt.captions.timecode import frame_time
from gramwatt.model import Array

NTSC = Fraction(30000, 1001)


def make_cues(frames: Frames, template: Template, *, rate: Fraction, changes: float) -> Iterator[Cue]:
    """Yield the captions over all frames with their times."""
    for first, end, text in make_captions(frames, template, rate=rate, changes=changes):
        yield Cue(first, end, text, frame_time(first, rate), frame_time(end, rate))


def shown(
    current: Array, hertz: float, template: str, *, rate: Fraction = NTSC, changes: float = 4.0, smoothing: float = 0.0
) -> list[Cue]:
    """Return the captions of a current."""
    recording = make_recording(np.arange(len(current)) / hertz, current=current)
    return list(
        make_cues(
            sample_frames(recording, rate=rate, smoothing=smoothing),
            compile_template(template),
            rate=rate,
            changes=changes,
        )
    )


def test_captions_follow_each_other_without_a_gap_on_exact_frames() -> None:
    captions = shown(np.linspace(0, 90, 601), 10, "{current:1} A")
    assert captions[0].first_frame == 0
    assert captions[-1].end_frame == 1799
    for one, two in pairwise(captions):
        assert one.end_frame == two.first_frame
        assert one.end == two.start
        assert one.text != two.text
    for cue in captions:
        assert cue.start == Fraction(cue.first_frame * 1001, 30000)
        assert cue.first_frame < cue.end_frame


def test_numbers_change_no_more_often_than_requested() -> None:
    captions = shown(np.linspace(0, 900, 601), 10, "{current:3}", changes=4)
    lengths = {cue.end_frame - cue.first_frame for cue in captions[:-1]}
    assert lengths == {7, 8}
    assert len(captions) == 240  # the last frame, number 1798, is shown at 59.993 s


def test_a_clock_ticks_on_the_second() -> None:
    """The first frame at or after each second of flight, whatever part of a second the offset is."""
    recording = make_recording([0.0, 30.0], current=1.0)
    captions = list(
        make_cues(
            sample_frames(recording, rate=NTSC, offset=0.3), compile_template("{flight_time}"), rate=NTSC, changes=2
        )
    )
    assert [cue.text for cue in captions] == [f"0:{second:02}" for second in range(len(captions))]
    for second, cue in enumerate(captions):
        assert 0 <= cue.start - Fraction(0.3) - second < 1 / NTSC


@pytest.mark.parametrize("hertz", [10, 100])
def test_a_value_at_a_border_does_not_flicker(hertz: int) -> None:
    """12.5 with noise of 0.05 rounds to 12 and 13 by turns; what is shown first stays."""
    noise = np.random.default_rng(5).normal(0, 0.05, 60 * hertz)
    assert len(set(np.round(12.5 + noise))) == 2
    assert len(shown(12.5 + noise, hertz, "{current:0}", changes=30)) == 1


@pytest.mark.parametrize("slope", [0.05, 0.7, 3.0, -2.0])
def test_a_ramp_is_followed_within_a_place(slope: float) -> None:
    """Within 0.7 of the last place of the mean over each block, half of which the ramp moves by."""
    ramp = 150 + slope * np.arange(601) / 10
    for cue in shown(ramp, 10, "{current:0}", changes=4):
        for frame in (cue.first_frame, cue.end_frame - 1):
            assert abs(float(cue.text) - (150 + slope * float(frame / NTSC))) <= 0.7 + abs(slope) / 8 + 1e-6


def test_a_crest_is_shown_in_its_block_and_no_other() -> None:
    current = 12 + np.random.default_rng(6).normal(0, 0.1, 3000)
    current[1234] = 50.0
    captions = shown(current, 50, "{current:0} {peak_current:0}", smoothing=0.5)
    crests = [cue for cue in captions if cue.text.startswith("50")]
    assert [cue.text for cue in crests] == ["50 50"]
    assert crests[0].start <= Fraction(1234, 50) < crests[0].end
    assert {cue.text for cue in captions} == {"12 12", "50 50", "12 50"}


def test_the_crest_of_a_block_is_one_instant_in_all_channels() -> None:
    quiet = np.random.default_rng(8).normal(0, 0.1, (2, 40))
    current, voltage = 10 + quiet[0], 16 + quiet[1]
    current[13], voltage[13] = 60, 12
    means = average_blocks({"current": current, "voltage": voltage}, np.arange(0, 40, 10))
    np.testing.assert_array_equal([means["current"][1], means["voltage"][1]], [60, 12])
    np.testing.assert_allclose(means["current"][[0, 2, 3]], current.reshape(4, 10).mean(axis=1)[[0, 2, 3]], rtol=1e-12)


def test_a_gap_shows_dashes_and_a_clock_of_the_video_goes_on() -> None:
    recording = make_recording([0, 2, 6, 8], current=[2.0, 2, 4, 4], counts=[1, 0, 1])
    captions = list(
        make_cues(
            sample_frames(recording, rate=Fraction(25)), compile_template("{current:0} A"), rate=Fraction(25), changes=5
        )
    )
    assert [cue.text for cue in captions] == ["2 A", "– A", "4 A"]
    assert captions[1].end_frame == 150
    marked = list(
        make_cues(
            sample_frames(recording, rate=Fraction(25)), compile_template("{timecode}"), rate=Fraction(25), changes=1
        )
    )
    assert marked[4].text == "00:00:04:00"


def test_what_was_not_recorded_is_a_dash_and_words_alone_are_one_caption() -> None:
    flat = np.full(101, 5.0)
    assert [cue.text for cue in shown(flat, 10, "{voltage} V{line}{throttle} %")] == ["– V\n– %"]
    assert [(cue.first_frame, cue.end_frame, cue.text) for cue in shown(flat, 10, "hello")] == [(0, 300, "hello")]


def test_every_frame_has_its_own_caption_if_requested() -> None:
    captions = shown(np.linspace(0, 100, 101), 10, "{timecode}", changes=120)
    assert len(captions) == 300
    assert captions[-1].text == "00:00:09;29"


def test_no_frames_no_captions() -> None:
    none = sample_frames(make_recording([0, 1], current=1.0), rate=NTSC, begin=1, end=1)
    assert list(make_cues(none, compile_template("{current}"), rate=NTSC, changes=4)) == []


def test_a_crest_is_no_mean_of_a_block_where_nothing_else_happens() -> None:
    """In blocks of three frames it departs from its mean only twice as far as its neighbours do."""
    flat = np.full(300, 5.0)
    flat[100] = 9.0
    means = average_blocks({"current": flat}, np.arange(0, 300, 3))["current"]
    assert means[33] == 9
    assert (np.delete(means, 33) == 5).all()


def test_decimals_of_an_offset_move_no_frame_to_another_block() -> None:
    """0.3 - 0.1 is a little less than 0.2 in doubles."""
    recording = make_recording([0.0, 30.0], current=1.0)
    captions = make_cues(
        sample_frames(recording, rate=Fraction(10), offset=0.1),
        compile_template("{timecode}"),
        rate=Fraction(10),
        changes=10,
    )
    assert {cue.end_frame - cue.first_frame for cue in captions} == {1}
