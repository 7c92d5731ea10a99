"""The captions of a flight, and ffmpeg burning them into a clip."""

import csv
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest
import srt

from clients.running import environment, number
from gramwatt import calculate

WIDTH, HEIGHT = 320, 180


def write(examples: Path, instants: Path, service: str, target: Path) -> "subprocess.CompletedProcess[str]":
    """Run the example on a table."""
    script = examples / "overlay" / "captions.py"
    command = [sys.executable, "-X", "utf8", str(script), str(instants), "cells=4", "capacity=850"]
    command += ["--url", service, "--output", str(target)]
    return subprocess.run(command, capture_output=True, text=True, encoding="utf-8", env=environment(), timeout=120)


@pytest.fixture(scope="module")
def captions(service: str, examples: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The example's own captions."""
    target = tmp_path_factory.mktemp("overlay") / "flight.srt"
    ran = write(examples, examples / "overlay" / "instants.csv", service, target)
    assert ran.returncode == 0, ran.stderr
    assert ran.stderr.count("Lithium packs can burn") == 1
    return target


def test_captions_say_what_the_calculator_says(captions: Path, examples: Path) -> None:
    """Numbers are the library's; each caption stays until the next one, the last for two seconds."""
    with (examples / "overlay" / "instants.csv").open(encoding="utf-8", newline="") as file:
        instants = list(csv.DictReader(file))
    read = list(srt.parse(captions.read_text(encoding="utf-8")))
    times = [timedelta(seconds=float(instant["time"])) for instant in instants]
    assert len(read) == len(instants) == 7
    assert [caption.index for caption in read] == list(range(1, 8))
    assert [caption.start for caption in read] == times
    assert [caption.end for caption in read] == [*times[1:], times[-1] + timedelta(seconds=2)]
    for caption, instant in zip(read, instants, strict=True):
        inputs = {name: number(value) for name, value in instant.items() if name != "time"}
        found = calculate("pack-current", cells=4, capacity=850, **inputs)["results"]
        assert caption.content == f"{found['current']:.1f} A   {found['loaded_cell_voltage']:.2f} V/cell"


def test_an_instant_without_an_answer(service: str, examples: Path, tmp_path: Path) -> None:
    """It has no caption, standard error says when and why, and the numbering has no gap."""
    instants = tmp_path / "instants.csv"
    instants.write_text('time,power\n1,20\n2,1e4\n3,"2,5"\n3661.9996,40\n', encoding="utf-8")
    ran = write(examples, instants, service, tmp_path / "flight.srt")
    read = list(srt.parse((tmp_path / "flight.srt").read_text(encoding="utf-8")))
    assert ran.returncode == 1
    assert [(caption.index, caption.start) for caption in read] == [
        (1, timedelta(seconds=1)),
        (2, timedelta(hours=1, minutes=1, seconds=2)),
    ]
    assert "00:00:02,000  no caption: The pack cannot give 10000 W" in ran.stderr
    assert "00:00:03,000  no caption: 1 fault: power: a comma in a number" in ran.stderr


@pytest.mark.parametrize(
    ("table", "told"),
    [
        ("time;power\n1;20\n", "no column named time"),
        ("time,power\n1,20\n1,30\n", "line 3: time must be later"),
        ('time,power\n"1,5",20\n', "line 2: time is seconds"),
        ("time,power\nnan,20\n", "line 2: time is seconds"),
    ],
)
def test_a_table_of_no_use(service: str, examples: Path, tmp_path: Path, table: str, told: str) -> None:
    """One line says what is wrong, and nothing is written."""
    (tmp_path / "instants.csv").write_text(table, encoding="utf-8")
    ran = write(examples, tmp_path / "instants.csv", service, tmp_path / "flight.srt")
    assert ran.returncode == 2
    assert told in ran.stderr
    assert len(ran.stderr.splitlines()) == 1
    assert not (tmp_path / "flight.srt").exists()


def frame(folder: Path, seconds: float, burn: str) -> bytes:
    """One grey picture of a test clip, with a filter behind it."""
    source = f"testsrc=size={WIDTH}x{HEIGHT}:rate=10:duration=13"
    command = ["ffmpeg", "-nostdin", "-v", "error", "-f", "lavfi", "-i", source]
    command += ["-vf", f"{burn},trim=start={seconds},format=gray", "-frames:v", "1", "-f", "rawvideo", "-"]
    return subprocess.run(command, cwd=folder, capture_output=True, check=True, timeout=120).stdout


@pytest.mark.client("ffmpeg")
@pytest.mark.parametrize(("seconds", "shown"), [(0.5, False), (3.0, True), (10.5, True), (12.5, False)])
def test_ffmpeg_burns_the_captions_in(captions: Path, seconds: float, shown: bool) -> None:
    """Pixels in the lower part change while a caption is on, and none before the first and after the last."""
    plain = frame(captions.parent, seconds, "null")
    burnt = frame(captions.parent, seconds, f"subtitles={captions.name}:force_style='FontSize=18'")
    assert len(plain) == len(burnt) == WIDTH * HEIGHT
    changed = [at // WIDTH for at, (before, after) in enumerate(zip(plain, burnt, strict=True)) if before != after]
    assert (len(changed) > 200) is shown
    assert all(row > HEIGHT // 2 for row in changed)
