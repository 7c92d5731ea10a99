"""The example that puts a recorded flight on a video: its captions, and ffmpeg burning them in."""

from __future__ import annotations

import csv
import io
import itertools
import shutil
import subprocess
import sys
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
import srt

from clients.running import environment
from gramwatt import calculate

WIDTH, HEIGHT = 1280, 720
Ran = subprocess.CompletedProcess[str]
Script = Callable[..., Ran]


@pytest.fixture(scope="module")
def script(service: str, examples: Path, tmp_path_factory: pytest.TempPathFactory) -> Script:
    """Run the example in a folder of its own, on its own recording by default."""
    folder = tmp_path_factory.mktemp("overlay")

    def run(*words: str, log: Path | None = None, cwd: Path = folder) -> Ran:
        flight = str(log or examples / "overlay" / "flight.csv")
        command = [sys.executable, "-X", "utf8", str(examples / "overlay" / "captions.py"), flight, *words]
        command += ["--url", service]
        return subprocess.run(
            command, cwd=cwd, capture_output=True, text=True, encoding="utf-8", env=environment(), timeout=600
        )

    return run


def test_the_recording_is_the_one_that_the_script_invents(examples: Path) -> None:
    made = subprocess.run(
        [sys.executable, str(examples / "overlay" / "make_flight.py")], capture_output=True, check=True
    )
    assert made.stdout.replace(b"\r\n", b"\n") == (examples / "overlay" / "flight.csv").read_bytes()


def test_captions_say_what_was_recorded(script: Script, tmp_path: Path) -> None:
    """Each caption's first frame shows what the recording holds there; charge is the calculator's own in the end."""
    ran = script(
        "--output",
        "flight.srt",
        "frame_rate=30000/1001",
        "video_offset=2",
        "caption_template={voltage:1} V {charge_used:0} mAh",
        cwd=tmp_path,
    )
    assert ran.returncode == 0, ran.stderr
    read = list(srt.parse((tmp_path / "flight.srt").read_text(encoding="utf-8")))
    assert len(read) > 100
    assert [caption.index for caption in read] == list(range(1, len(read) + 1))
    assert all(before.end == after.start for before, after in itertools.pairwise(read)), "no gap between them"
    assert read[0].start == timedelta(milliseconds=2001), "frame 60 is shown at 2.002 s"
    assert read[0].content == "16.7 V 0 mAh"
    flown = calculate("flight-log", log=recorded(script))
    used = float(read[-1].content.split(" ")[2])
    assert used == pytest.approx(flown["results"]["charge_used"], abs=1)


def recorded(script: Script) -> dict[str, list[float | None]]:
    """Return the example's recording as lists."""
    path = Path(__file__).resolve().parents[2] / "examples" / "overlay" / "flight.csv"
    rows = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8"))))[1:]
    columns = list(zip(*rows, strict=True))
    numbers = [[float(cell) if cell else None for cell in column] for column in columns[:3]]
    return {
        "time": [None if time is None else time / 1000 for time in numbers[0]],
        "voltage": numbers[1],
        "current": numbers[2],
    }


@pytest.mark.parametrize(
    ("words", "message"),
    [
        pytest.param(("--output", "x.ass", "caption_template={volts}"), "did you mean voltage", id="a misspelt field"),
        pytest.param(("--output", "x.vtt", "voltage_column=vbat"), "no column is named 'vbat'", id="no such column"),
        pytest.param(("--output", "x.srt", "frame_rate=0"), "frame_rate: ", id="no frame rate"),
    ],
)
def test_an_error_is_one_line(script: Script, tmp_path: Path, words: tuple[str, ...], message: str) -> None:
    ran = script(*words, cwd=tmp_path)
    assert ran.returncode == 1
    assert message in ran.stderr
    assert len(ran.stderr.splitlines()) == 1
    assert not list(tmp_path.iterdir()), "nothing is written"


def test_the_pack_comes_from_the_craft_document(script: Script, examples: Path, tmp_path: Path) -> None:
    """The fields that need cells and capacity; own inputs win; the first voltage divided by 4 and 6, by hand."""
    craft = ("--craft", str(examples / "craft" / "craft.json"))
    template = "caption_template={cell_voltage:2} {state_of_charge:0}"
    for words, cells in ((("--pack", "4 cells"), 4), (("--pack", "6 cells"), 6), (("--pack", "6 cells", "cells=4"), 4)):
        ran = script("--output", "flight.srt", "frame_rate=30", template, *craft, *words, cwd=tmp_path)
        assert ran.returncode == 0, ran.stderr
        read = list(srt.parse((tmp_path / "flight.srt").read_text(encoding="utf-8")))
        assert float(read[0].content.split(" ")[0]) == pytest.approx(16.71 / cells, abs=0.006), "as in the file"
    capacity = 1050  # of the 6 cells, mAh
    used = 204.278  # charge of the recording, mAh, as in the test above
    assert float(read[-1].content.split(" ")[1]) == pytest.approx(100 * (1 - used / capacity), abs=1)


def test_an_unknown_pack_is_reported_with_the_names(script: Script, examples: Path, tmp_path: Path) -> None:
    ran = script(
        *("--output", "x.srt", "frame_rate=30", "--craft", str(examples / "craft" / "craft.json"), "--pack", "4 cell"),
        cwd=tmp_path,
    )
    assert ran.returncode == 1
    assert "4 cells" in ran.stderr
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("linked", [False, True])
def test_it_never_writes_over_what_it_reads(script: Script, examples: Path, tmp_path: Path, linked: bool) -> None:
    """The recording stays as it was, also under another name of the same file."""
    recording = tmp_path / "flight.csv"
    shutil.copy(examples / "overlay" / "flight.csv", recording)
    output = tmp_path / "same.csv" if linked else recording
    if linked:
        output.symlink_to(recording)
    before = recording.read_bytes()
    ran = script("--output", str(output), "frame_rate=30", "cells=4", log=recording, cwd=tmp_path)
    assert (ran.returncode, "would overwrite" in ran.stderr) == (2, True)
    assert recording.read_bytes() == before


def test_a_recording_without_times(script: Script, tmp_path: Path) -> None:
    (tmp_path / "flight.csv").write_text("t;volts\n1;16\n", encoding="utf-8")
    ran = script("--output", "flight.srt", log=tmp_path / "flight.csv", cwd=tmp_path)
    assert (ran.returncode, "time_column" in ran.stderr) == (1, True)


def pictures(video: Path, seconds: float) -> bytes:
    """Return one frame of a video, in grey."""
    command = ["ffmpeg", "-nostdin", "-v", "error", "-i", str(video), "-vf", f"trim=start={seconds},format=gray"]
    done = subprocess.run(
        [*command, "-frames:v", "1", "-f", "rawvideo", "-"], capture_output=True, check=True, timeout=120
    )
    return done.stdout


@pytest.mark.heavy
@pytest.mark.client("ffmpeg")
def test_ffmpeg_burns_the_captions_into_the_example_clip(script: Script, tmp_path: Path) -> None:
    """Before the recording begins the picture stays as it was; then the corner with the captions changes."""
    assert script("--test-clip", "short.mp4", "--seconds", "5", cwd=tmp_path).returncode == 0
    ran = script("--burn", "short.mp4", "--output", "burnt.mp4", "cells=4", "video_offset=2", cwd=tmp_path)
    assert ran.returncode == 0, ran.stderr
    changed = {}
    for seconds in (1.0, 3.0):
        plain, burnt = (pictures(tmp_path / name, seconds) for name in ("short.mp4", "burnt.mp4"))
        assert len(plain) == len(burnt) == WIDTH * HEIGHT
        # Encoded once more, all pixels change a little; those of letters much.
        changed[seconds] = [at for at, (b, a) in enumerate(zip(plain, burnt, strict=True)) if abs(b - a) > 90]
    assert len(changed[1.0]) < 50
    assert len(changed[3.0]) > 1000
    assert all(at // WIDTH > 0.8 * HEIGHT and at % WIDTH < 0.6 * WIDTH for at in changed[3.0])
