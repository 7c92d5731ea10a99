"""Captions for a video: the current and the volts a cell at each instant of a flight.

    python captions.py instants.csv cells=4 capacity=850 --output flight.srt

Asks a running Gramwatt for pack-current at each line of the table and writes SubRip; needs Python 3.11 and nothing
else. The column time is seconds into the video; every other column, and every name=value, is an input of pack-current.
A caution is told on standard error, once. An instant without an answer gets no caption, and standard error says why.
Exit status: 0 all answered, 1 some instant was not, 2 nothing to ask. The flight in instants.csv is invented.
"""

from __future__ import annotations

import argparse
import csv
import http.client
import json
import math
import sys
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any


class Refused(Exception):
    """The service's own words on why an instant has no answer."""


def pack_current(url: str, inputs: dict[str, str]) -> dict[str, Any]:
    """The service's answer. Raises Refused, or OSError where nobody answers."""
    query = urllib.parse.urlencode(inputs)
    try:
        with urllib.request.urlopen(f"{url}/v1/pack-current?{query}", timeout=30) as response:
            answer: dict[str, Any] = json.load(response)
    except urllib.error.HTTPError as error:
        with error:
            if "json" not in error.headers.get("Content-Type", ""):
                raise
            raise Refused(json.load(error)["detail"]) from None
    if answer["results"]["current"] is None:
        raise Refused(" ".join(note["text"] for note in answer["cautions"] if "current" in note.get("results", ())))
    return answer


def read(path: Path) -> list[tuple[float, dict[str, str]]]:
    """Times and inputs, in order. Raises ValueError where the table cannot be used."""
    with path.open(encoding="utf-8-sig", newline="") as file:
        reader = csv.DictReader(file, restval="")
        if "time" not in (reader.fieldnames or ()):
            raise ValueError(f"{path}: no column named time (columns are separated by commas)")
        instants: list[tuple[float, dict[str, str]]] = []
        for row in reader:
            inputs = {name: value.strip() for name, value in row.items() if name and value.strip()}
            try:
                time = float(inputs.pop("time", ""))
            except ValueError:
                time = math.nan
            if not (math.isfinite(time) and time >= 0):
                raise ValueError(f"{path}, line {reader.line_num}: time is seconds from 0 up, with a decimal point")
            if instants and time <= instants[-1][0]:
                raise ValueError(f"{path}, line {reader.line_num}: time must be later than on the line before")
            instants.append((time, inputs))
    return instants


def clock(seconds: float) -> str:
    """Seconds as SubRip writes them: 00:01:02,500."""
    minutes, milliseconds = divmod(round(seconds * 1000), 60_000)
    return f"{minutes // 60:02}:{minutes % 60:02}:{milliseconds // 1000:02},{milliseconds % 1000:03}"


def captions(
    url: str, instants: list[tuple[float, dict[str, str]]], pack: dict[str, str], last: float
) -> Iterator[tuple[str, str | None, dict[str, str]]]:
    """For each instant: its time, its caption without number (None if there is none), and by code what to tell."""
    ends = [time for time, _ in instants[1:]] + [instants[-1][0] + last] if instants else []
    for (time, inputs), end in zip(instants, ends, strict=True):
        try:
            answer = pack_current(url, pack | inputs)
        except Refused as refused:
            yield clock(time), None, {clock(time): f"no caption: {refused}"}
            continue
        results = answer["results"]
        text = f"{results['current']:.1f} A   {results['loaded_cell_voltage']:.2f} V/cell"
        told = {note["code"]: note["text"] for note in answer["cautions"] if "results" not in note}
        yield clock(time), f"{clock(time)} --> {clock(end)}\n{text}\n", told


def main() -> int:
    """Read the arguments and write the captions."""
    parser = argparse.ArgumentParser(description="Captions with the current and the volts a cell of a flight.")
    parser.add_argument("instants", type=Path, help="CSV file with the columns time [s] and power [W]")
    parser.add_argument("pack", nargs="+", metavar="name=value", help="inputs of pack-current: cells=4 capacity=850")
    parser.add_argument("--url", default="http://127.0.0.1:8000", help="where Gramwatt answers (default: %(default)s)")
    parser.add_argument("--last", type=float, default=2.0, help="seconds the last caption stays (default: %(default)s)")
    parser.add_argument("--output", type=Path, help="file to write (default: standard output)")
    arguments = parser.parse_args()
    if not 0 < arguments.last < math.inf:
        parser.error("--last: must be above 0 seconds")
    url, pack = arguments.url.rstrip("/"), dict[str, str]()
    for word in arguments.pack:
        name, equals, value = word.partition("=")
        if not equals:
            parser.error(f"{word!r}: write each input as name=value")
        pack[name] = value
    written, told, refused = list[str](), dict[str, str](), False
    try:
        for time, caption, notes in captions(url, read(arguments.instants), pack, arguments.last):
            refused |= caption is None
            if caption is not None:
                written.append(f"{len(written) + 1}\n{caption}")
            for code, note in notes.items():
                told.setdefault(code, f"{time}  {note}")
        text = "\n".join(written)
        if arguments.output is None:
            sys.stdout.write(text)
        else:
            arguments.output.write_text(text, encoding="utf-8", newline="\n")
    except (OSError, ValueError, http.client.HTTPException) as error:
        print(f"{error} (asking {url})", file=sys.stderr)
        return 2
    for line in told.values():
        print(f"! {line}", file=sys.stderr)
    return 1 if refused else 0


if __name__ == "__main__":
    sys.exit(main())
