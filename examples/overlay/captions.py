"""A recorded flight as captions, and burnt into a video.

    python captions.py flight.csv --output flight.ass --craft ../craft/craft.json --pack "4 cells" video_offset=2
    python captions.py flight.csv --burn flight.mp4 --output with-figures.mp4 cells=4 capacity=1300 video_offset=2

Sends the recording to a running Gramwatt (overlay-cues) and saves what comes back: captions by the name of the output
(.ass, .vtt, .srt), figures frame by frame (.csv, .json), or with picture_time= a picture of one instant (.png, .svg).
With --burn it gets the video's size and frame rate from ffprobe, and lets ffmpeg burn the captions in. Every name=value
is an input of overlay-cues and takes precedence over the craft document, which has the pack's cells and capacity. No
file that is read is overwritten. Needs Python 3.11; --burn and --test-clip need ffmpeg. The recording in flight.csv is
invented. Exit status: 0 done, 1 rejected or failed (standard error has the reason), 2 wrong arguments.
"""

from __future__ import annotations

import argparse
import http.client
import json
import subprocess
import sys
import tempfile
import urllib.error
import urllib.parse
import urllib.request
from pathlib import Path
from typing import Any

FORMS = {".ass": "ass", ".vtt": "vtt", ".srt": "srt", ".csv": "csv", ".json": "json", ".png": "png", ".svg": "svg"}
MEDIA = {".csv": "text/csv", ".ndjson": "application/x-ndjson"}


class Failed(Exception):
    """There are no captions; the text is the reason, for the user."""


def fetch_captions(url: str, log: Path, form: str, inputs: dict[str, str]) -> bytes:
    """Return what the service computes from the recording. Raises Failed with the service's own text."""
    media = MEDIA.get(log.suffix.lower(), "text/csv")
    query = urllib.parse.urlencode({"format": form, **inputs})
    request = urllib.request.Request(
        f"{url}/v1/overlay-cues/log?{query}", data=log.read_bytes(), headers={"Content-Type": media}, method="POST"
    )
    try:
        with urllib.request.urlopen(request, timeout=120) as response:
            found: bytes = response.read()
            return found
    except urllib.error.HTTPError as error:
        with error:
            if "json" not in error.headers.get("Content-Type", ""):
                raise
            problem = json.load(error)
        errors = problem.get("errors") or [{"pointer": "", "detail": problem["detail"], "accepted": ""}]
        raise Failed("\n".join(format_error(error) for error in errors)) from None


def format_error(error: dict[str, Any]) -> str:
    """Format an error as one line."""
    accepted = f" (accepted: {error['accepted']})" if error["accepted"] else ""
    return f"{error['pointer'].lstrip('/') or 'inputs'}: {error['detail']}{accepted}"


def read_craft(craft: Path | None, pack: str | None) -> dict[str, str]:
    """Return the craft document and the name of the pack as members of a query."""
    members: dict[str, str] = {}
    if craft is not None:
        try:
            members["craft"] = json.dumps(json.loads(craft.read_bytes()), separators=(",", ":"))
        except ValueError as error:
            raise Failed(f"{craft} is not JSON: {error}") from None
    if pack is not None:
        members["pack"] = pack
    return members


def is_same_file(output: Path, source: Path | None) -> bool:
    """Return whether writing the output would destroy a source, under whatever names."""
    return source is not None and output.exists() and source.exists() and output.samefile(source)


def read_video_format(video: Path) -> dict[str, str]:
    """Return frame rate and size of a video, as inputs of overlay-cues."""
    shown = "stream=width,height,avg_frame_rate"
    output = run(
        ["ffprobe", "-v", "error", "-select_streams", "v:0", "-show_entries", shown, "-of", "json", str(video)]
    )
    streams = json.loads(output)["streams"]
    if not streams:
        raise Failed(f"{video} holds no video")
    stream = streams[0]
    return {
        "frame_rate": stream["avg_frame_rate"].removesuffix("/1"),
        "video_width": str(stream["width"]),
        "video_height": str(stream["height"]),
    }


def burn(video: Path, captions: bytes, output: Path) -> None:
    """Write a copy of the video with the captions in its frames; its sound stays as it is."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "captions.ass").write_bytes(captions)  # a plain name, as a filter would trip over some letters
        command = ["ffmpeg", "-nostdin", "-v", "error", "-y", "-i", str(video.resolve()), "-vf", "ass=captions.ass"]
        run([*command, "-c:a", "copy", str(output.resolve())], folder)


def test_clip(output: Path, seconds: float) -> None:
    """Make a clip to try it on: moving bars with a clock, 30000/1001 frames a second."""
    bars = f"testsrc2=size=1280x720:rate=30000/1001:duration={seconds}"
    run(["ffmpeg", "-nostdin", "-v", "error", "-y", "-f", "lavfi", "-i", bars, "-pix_fmt", "yuv420p", str(output)])


def run(command: list[str], folder: str | None = None) -> str:
    """Run a program and return its output. Raises Failed where it is missing or fails."""
    try:
        done = subprocess.run(command, cwd=folder, check=True, capture_output=True, text=True)
    except FileNotFoundError:
        raise Failed(f"{command[0]} is not installed") from None
    except subprocess.CalledProcessError as error:
        raise Failed(f"{command[0]}: {error.stderr.strip()}") from None
    return done.stdout


def read_arguments(parser: argparse.ArgumentParser) -> tuple[argparse.Namespace, dict[str, str]]:
    """Return the arguments, and the inputs among them."""
    parser.add_argument("log", type=Path, nargs="?", help="the recording: CSV, NDJSON or JSON")
    parser.add_argument(
        "inputs", nargs="*", metavar="name=value", help="inputs of overlay-cues: cells=4 video_offset=2"
    )
    parser.add_argument("--output", type=Path, help="file to write; its ending selects the format")
    parser.add_argument("--burn", type=Path, metavar="VIDEO", help="burn the captions into a copy of this video")
    parser.add_argument("--craft", type=Path, metavar="FILE", help="craft document (JSON) with its packs")
    parser.add_argument("--pack", metavar="NAME", help="pack of the craft that was flown (default: the first)")
    parser.add_argument(
        "--test-clip", type=Path, metavar="VIDEO", help="make a clip to try it on, of --seconds seconds, and end"
    )
    parser.add_argument("--seconds", type=float, default=80, help="length of the test clip (default: %(default)s)")
    parser.add_argument("--url", default="http://127.0.0.1:8000", help="URL of Gramwatt (default: %(default)s)")
    arguments = parser.parse_intermixed_args()
    inputs: dict[str, str] = {}
    for word in arguments.inputs:
        name, equals, value = word.partition("=")
        if not equals:
            parser.error(f"{word!r}: write each input as name=value")
        inputs[name] = value
    if arguments.test_clip is None and (arguments.log is None or arguments.output is None):
        parser.error("name the recording, and with --output the file to write")
    if arguments.output is not None and not arguments.burn and arguments.output.suffix.lower() not in FORMS:
        parser.error(f"--output ends in one of {', '.join(FORMS)}, or --burn names a video")
    if arguments.pack is not None and arguments.craft is None:
        parser.error("--pack names a pack of the craft document: give --craft too")
    for source in (arguments.log, arguments.burn, arguments.craft):
        if arguments.output is not None and is_same_file(arguments.output, source):
            parser.error(f"--output would overwrite {source}: choose another name")
    return arguments, inputs


def main() -> int:
    """Read the arguments, request the captions, write them."""
    arguments, inputs = read_arguments(argparse.ArgumentParser(description="A recorded flight as captions of a video."))
    try:
        if arguments.test_clip is not None:
            test_clip(arguments.test_clip, arguments.seconds)
            return 0
        url = arguments.url.rstrip("/")
        inputs = read_craft(arguments.craft, arguments.pack) | inputs
        if arguments.burn is not None:
            captions = fetch_captions(url, arguments.log, "ass", read_video_format(arguments.burn) | inputs)
            burn(arguments.burn, captions, arguments.output)
        else:
            form = FORMS[arguments.output.suffix.lower()]
            arguments.output.write_bytes(fetch_captions(url, arguments.log, form, inputs))
    except (Failed, OSError, http.client.HTTPException) as error:
        print(error, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
