"""Recordings of flights on the command line."""

from __future__ import annotations

import itertools
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePath
from typing import IO, Any, Final

from gramwatt.cli.errors import fail
from gramwatt.engine import craft_fields
from gramwatt.engine.recordings.channels import channels_of
from gramwatt.engine.recordings.column_types import MalformedRecording, UnusableRecording
from gramwatt.engine.recordings.reader import FORMATS, parse_recording
from gramwatt.files.formats import format_of_name
from gramwatt.model import Calculator, Recording, Table, TimeSeries
from gramwatt.model.messages import join_with_or

_RECORDING_FORMATS: Final = {"tsv": "csv", "arrow-file": "arrow"}
"""Format of a recording by that of its file, where the two have different names."""


@dataclass(frozen=True, slots=True)
class RecordingOptions:
    """How recordings are read: the names of columns by channel, and the decimal sign."""

    columns: Mapping[str, str]
    decimal: str = "."


def add_recordings(
    calculator: Calculator[Any, Any],
    inputs: Mapping[str, object],
    files: Sequence[IO[bytes]],
    reading: RecordingOptions,
    *,
    text: bool,
    flight: Mapping[str, str] | None = None,
) -> tuple[dict[str, object], bool]:
    """Return the inputs with the recordings, and whether their values are text. Exit if they do not fit.

    A calculator of one recording takes one file. With a table of flights each file belongs to a row: in their order to
    the rows of the inputs, or of their craft, without a recording and what may stand for one, then to new rows with the
    name of the file. Inputs that are fields of a row hold for every new row, as do those in ``flight``.
    """
    name = calculator.recording
    if name is not None:
        kind = calculator.input_fields[name]
        if len(files) > 1 or not isinstance(kind, TimeSeries):
            fail(f"{calculator.name} takes one recording; give --log once")
        if flight:
            fail("give the inputs as arguments or in --body, not both")
        return {**inputs, name: _read(kind, files[0], reading)}, text
    found = _find_table(calculator)
    if found is None:
        fail(f"{calculator.name} takes no recording")
    table, table_kind, field, kind = found
    fields = table_kind.input_columns
    if unknown := [each for each in flight or () if each not in fields]:
        fail(f"{unknown[0]} is no field of a row of {table}; beside --body choose {join_with_or(fields)}")
    others = {each: _to_json_value(value) if text else value for each, value in inputs.items()}
    shared = {each: others.pop(each) for each in tuple(others) if text and each in fields}
    shared |= {each: _to_json_value(value) for each, value in (flight or {}).items()}
    holder, craft = others, others.get(craft_fields.MEMBER)
    if isinstance(craft, dict) and table not in others:
        holder = others[craft_fields.MEMBER] = dict(craft)
        shared |= _name_rows(table_kind, others, holder)
    rows = holder.get(table, [])
    if isinstance(rows, list):
        made = [{**_name_row(file, fields), field: _read(kind, file, reading)} for file in files]
        holder[table] = _add_rows(table_kind, rows, field, made, shared)
    return others, False


def _find_table(calculator: Calculator[Any, Any]) -> tuple[str, Table, str, TimeSeries] | None:
    """Return the table whose rows have a recording, and that column; None without one."""
    for table, table_kind in calculator.input_tables.items():
        for field, kind in table_kind.columns.items():
            if isinstance(kind, TimeSeries):
                return table, table_kind, field, kind
    return None


def _add_rows(
    kind: Table,
    rows: Sequence[object],
    field: str,
    made: Sequence[Mapping[str, object]],
    shared: Mapping[str, object],
) -> list[object]:
    """Return the rows with a recording each: those that lack one first, then new ones."""
    complete = {field}.union(*(group for group in kind.any_of if field in group))
    filled: list[Any] = [dict(row) if isinstance(row, dict) else row for row in rows]
    free = [row for row in filled if isinstance(row, dict) and complete.isdisjoint(row)]
    for row, new in itertools.zip_longest(free[: len(made)], made):
        if row is None:
            filled.append({**new, **shared})
        else:
            row[field] = new[field]
    return filled


def _name_rows(kind: Table, inputs: Mapping[str, object], craft: Mapping[str, object]) -> dict[str, object]:
    """Return which rows of a craft a new flight names: those that the request chooses, or the only ones."""
    names: dict[str, object] = {}
    for member, table in craft_fields.get_choices().items():
        if kind.chosen_by is None or table not in kind.chosen_by.names_rows_of:
            continue
        rows = craft.get(table)
        if member in inputs:
            names[member] = inputs[member]
        elif isinstance(rows, list) and len(rows) == 1 and isinstance(rows[0], dict) and "name" in rows[0]:
            names[member] = rows[0]["name"]
    return names


def _name_row(file: IO[bytes], fields: Mapping[str, object]) -> dict[str, object]:
    return {"name": PurePath(file.name).stem[:80]} if "name" in fields else {}


def _to_json_value(text: object) -> object:
    """Return a number or boolean for its text, else the text."""
    try:
        value = json.loads(str(text))
    except ValueError:
        return text
    return value if isinstance(value, int | float) else text


def _read(kind: TimeSeries, file: IO[bytes], reading: RecordingOptions) -> Recording:
    unknown = [channel for channel in reading.columns if channel not in channels_of(kind)]
    if unknown:
        fail(f"--column {unknown[0]}=...: no such channel; choose {join_with_or(channels_of(kind))}")
    file_format = format_of_name(file.name) or "csv"
    recording_format = _RECORDING_FORMATS.get(file_format, file_format)
    if recording_format not in FORMATS:
        fail(f"--log {file.name}: a recording cannot be {file_format}; use {join_with_or(FORMATS)}")
    try:
        return parse_recording(kind, file.read(), recording_format, reading.columns, decimal=reading.decimal)
    except MalformedRecording as error:
        fail(f"--log {file.name}: {error}")
    except UnusableRecording as unusable:
        fail("\n".join(f"--log {file.name}: {error.detail}; accepted: {error.accepted}" for error in unusable.errors))
