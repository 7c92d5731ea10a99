"""Recordings of flights on the command line."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import PurePath
from typing import IO, Any, Final

from gramwatt.cli.errors import fail
from gramwatt.engine.recordings.channels import channels_of
from gramwatt.engine.recordings.column_types import MalformedRecording, UnusableRecording
from gramwatt.engine.recordings.reader import FORMATS, parse_recording
from gramwatt.files.formats import format_of_name
from gramwatt.model import Calculator, Recording, Table, TimeSeries, get_fields
from gramwatt.model.messages import join_with_or

_RECORDING_FORMATS: Final = {"tsv": "csv", "arrow-file": "arrow"}
"""Format of a recording by that of its file, where the two have different names."""


def add_recordings(
    calculator: Calculator[Any, Any],
    inputs: Mapping[str, object],
    files: Sequence[IO[bytes]],
    columns: Mapping[str, str],
) -> tuple[dict[str, object], bool]:
    """Return the inputs with the recordings, and whether their values are text. Exit if they do not fit.

    A calculator of one recording takes one file. For a calculator with a table of flights each file is a row, with the
    name of the file; inputs that are fields of a row hold for every row.
    """
    name = calculator.recording
    if name is not None:
        kind = calculator.input_fields[name]
        if len(files) > 1 or not isinstance(kind, TimeSeries):
            fail(f"{calculator.name} takes one recording; give --log once")
        return {**inputs, name: _read(kind, files[0], columns)}, True
    for table, table_kind in calculator.input_fields.items():
        fields = get_fields(table_kind.row) if isinstance(table_kind, Table) else {}
        for field, kind in fields.items():
            if isinstance(kind, TimeSeries):
                shared = {name: _to_json_value(value) for name, value in inputs.items() if name in fields}
                rows = [{**_name_row(file, fields), **shared, field: _read(kind, file, columns)} for file in files]
                others = {name: _to_json_value(value) for name, value in inputs.items() if name not in fields}
                return {**others, table: rows}, False
    fail(f"{calculator.name} takes no recording")


def _name_row(file: IO[bytes], fields: Mapping[str, object]) -> dict[str, object]:
    return {"name": PurePath(file.name).stem[:80]} if "name" in fields else {}


def _to_json_value(text: object) -> object:
    """Return a number or boolean for its text, else the text."""
    try:
        value = json.loads(str(text))
    except ValueError:
        return text
    return value if isinstance(value, int | float) else text


def _read(kind: TimeSeries, file: IO[bytes], columns: Mapping[str, str]) -> Recording:
    unknown = [channel for channel in columns if channel not in channels_of(kind)]
    if unknown:
        fail(f"--column {unknown[0]}=...: no such channel; choose {join_with_or(channels_of(kind))}")
    file_format = format_of_name(file.name) or "csv"
    recording_format = _RECORDING_FORMATS.get(file_format, file_format)
    if recording_format not in FORMATS:
        fail(f"--log {file.name}: a recording cannot be {file_format}; use {join_with_or(FORMATS)}")
    try:
        return parse_recording(kind, file.read(), recording_format, columns)
    except MalformedRecording as error:
        fail(f"--log {file.name}: {error}")
    except UnusableRecording as unusable:
        fail("\n".join(f"--log {file.name}: {error.detail}; accepted: {error.accepted}" for error in unusable.errors))
