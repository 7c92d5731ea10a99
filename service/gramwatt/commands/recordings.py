"""The recording of a flight on the command line."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import PurePath
from typing import IO, Any, Final

from gramwatt.commands.words import fail
from gramwatt.declare import Calculator, Recording
from gramwatt.edge.recorded.channels import channels_of
from gramwatt.edge.recorded.columns import Malformed, Unusable
from gramwatt.edge.recorded.reading import recording_in, samples_of
from gramwatt.edge.wording import one_of

_BY_SUFFIX: Final = {".json": "json", ".ndjson": "ndjson", ".jsonl": "ndjson", ".arrow": "arrow", ".arrows": "arrow"}


def recorded(calculator: Calculator[Any, Any], file: IO[bytes], columns: Mapping[str, str]) -> dict[str, Recording]:
    """The recording in a file, by the name of the input that it is. Ends the command where it is none."""
    name = calculator.recording
    if name is None:
        fail(f"{calculator.name} asks for no recording")
    kind = samples_of(calculator)
    unknown = [channel for channel in columns if channel not in channels_of(kind)]
    if unknown:
        fail(f"--column {unknown[0]}=...: no such channel; there are {one_of(channels_of(kind))}")
    form = _BY_SUFFIX.get(PurePath(file.name).suffix.lower(), "csv")
    try:
        return {name: recording_in(kind, file.read(), form, columns)}
    except Malformed as error:
        fail(f"--log: {error}")
    except Unusable as unusable:
        fail("\n".join(f"--log: {fault.detail}; accepted: {fault.accepted}" for fault in unusable.faults))
