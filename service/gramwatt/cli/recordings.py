"""The recordings of flights on the command line."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import PurePath
from typing import IO, Any, Final

from gramwatt.cli.messages import fail
from gramwatt.engine.recordings.channels import channels_of
from gramwatt.engine.recordings.column_types import MalformedRecording, UnusableRecording
from gramwatt.engine.recordings.reader import FORMATS, parse_recording
from gramwatt.files.formats import format_of_name
from gramwatt.model import Calculator, Recording, Table, TimeSeries, get_fields
from gramwatt.model.messages import join_with_or

_FORMS: Final = {"tsv": "csv", "arrow-file": "arrow"}
"""What a recording of a file's format is read as, where that is called otherwise."""


def add_recordings(
    calculator: Calculator[Any, Any],
    words: Mapping[str, object],
    files: Sequence[IO[bytes]],
    columns: Mapping[str, str],
) -> tuple[dict[str, object], bool]:
    """The question with the recordings in files, and whether its values are words. Ends the command where it cannot be.

    A calculator that asks for one recording takes one file. Of one with a table of flights each file is a row, called
    as the file is; words that are fields of such a row hold for each of them.
    """
    name = calculator.recording
    if name is not None:
        kind = calculator.input_fields[name]
        if len(files) > 1 or not isinstance(kind, TimeSeries):
            fail(f"{calculator.name} asks for one recording; flight after flight can be compared")
        return {**words, name: _read(kind, files[0], columns)}, True
    for table, rows in calculator.input_fields.items():
        fields = get_fields(rows.row) if isinstance(rows, Table) else {}
        for field, kind in fields.items():
            if isinstance(kind, TimeSeries):
                each = {name: _value(word) for name, word in words.items() if name in fields}
                made = [
                    {**({"name": PurePath(file.name).stem[:80]} if "name" in fields else {}), **each, field: log}
                    for file in files
                    for log in (_read(kind, file, columns),)
                ]
                return {**{n: _value(word) for n, word in words.items() if n not in fields}, table: made}, False
    fail(f"{calculator.name} asks for no recording")


def _value(word: object) -> object:
    """A word as JSON has it: a number, true, false, or a text."""
    try:
        value = json.loads(str(word))
    except ValueError:
        return word
    return value if isinstance(value, int | float) else word


def _read(kind: TimeSeries, file: IO[bytes], columns: Mapping[str, str]) -> Recording:
    unknown = [channel for channel in columns if channel not in channels_of(kind)]
    if unknown:
        fail(f"--column {unknown[0]}=...: no such channel; there are {join_with_or(channels_of(kind))}")
    told = format_of_name(file.name) or "csv"
    form = _FORMS.get(told, told)
    if form not in FORMATS:
        fail(f"--log {file.name}: a recording is read as {join_with_or(FORMATS)}, not as {told}")
    try:
        return parse_recording(kind, file.read(), form, columns)
    except MalformedRecording as error:
        fail(f"--log {file.name}: {error}")
    except UnusableRecording as unusable:
        fail("\n".join(f"--log {file.name}: {fault.detail}; accepted: {fault.accepted}" for fault in unusable.errors))
