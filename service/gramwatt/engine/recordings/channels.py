"""Make a recording of columns: find its channels and their units, and list the cells that cannot be read."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from gramwatt.engine.column_names import split_unit
from gramwatt.engine.recordings.column_types import Columns, NumberCells, TextCells, UnusableRecording
from gramwatt.engine.recordings.columns import ObjectColumns
from gramwatt.engine.recordings.timestamps import ACCEPTED_TIMES, parse_clock_times
from gramwatt.model import Array, Quantity, Recording, TimeSeries, UnreadableCells, get_fields, units
from gramwatt.model.messages import (
    InputError,
    close_matches,
    join_with_or,
    quote_input,
    replace_control_characters,
    suggest,
)

MAX_QUOTED_LENGTH: Final = 40
MAX_COMPARED_COLUMNS: Final = 200
"""Columns among which a similar name is searched."""
_ZONES: Final = frozenset(("utc", "gmt", "local"))
"""What the header of a clock's times may say in parentheses, which is no unit."""


@dataclass(frozen=True, slots=True)
class _Place:
    """The column of a channel, and its unit if it has one."""

    position: int
    unit: units.Unit | None


def column_option(channel: str) -> str:
    """Return the option that names the column of a channel: ``voltage_column``."""
    return f"{channel}_column"


def channels_of(kind: TimeSeries) -> Mapping[str, Quantity]:
    """Return the channels of a recording by name, the time first."""
    return {name: each for name, each in get_fields(kind.row).items() if isinstance(each, Quantity)}


def has_time_column(kind: TimeSeries, names: Sequence[str], wanted: Mapping[str, str]) -> bool:
    """Return whether a line looks like the header: it names the time."""
    time = next(iter(channels_of(kind)))
    return bool(_matching(names, wanted.get(time) or time))


def read_recording(
    kind: TimeSeries, columns: Columns, wanted: Mapping[str, str] | None = None, *, decimal: str = "."
) -> Recording:
    """Make a recording of columns. ``wanted`` has the names of columns by channel, where the two differ.

    Raises UnusableRecording if a required or requested channel is missing.
    """
    channels, wanted = channels_of(kind), wanted or {}
    places, errors = _find(channels, columns.names, wanted)
    if errors:
        raise UnusableRecording(*errors)
    series = columns.take([each.position for each in places.values()])
    rows = _length(series[0]) if series else 0
    if rows > kind.max_length:
        detail = f"{rows} samples; keep fewer a second"
        raise UnusableRecording(InputError("", detail, None, f"up to {kind.max_length} samples"))
    time = next(iter(channels))
    values: dict[str, Array] = {}
    unread: list[UnreadableCells] = []
    for (name, place), column in zip(places.items(), series, strict=True):
        cells, unit = (column, place.unit) if place.unit else _take_unit(channels[name], column)
        values[name], left_out = _read(name, channels[name], cells, unit, clock=name == time, decimal=decimal)
        unread += left_out
    _check_times(time, values[time], unread, columns.names)
    lacking = np.broadcast_to(np.nan, (rows,))
    samples = kind.row(**{name: values.get(name, lacking) for name in channels})
    positions = {each.position for each in places.values()}
    unused = tuple(
        replace_control_characters(name) for at, name in enumerate(columns.names) if at not in positions and name
    )
    return Recording(samples, rows, tuple(places), tuple(unread), unused, columns.skipped_lines)


def _check_times(time: str, values: Array, unread: Sequence[UnreadableCells], names: Sequence[str]) -> None:
    """Raise UnusableRecording if there are times and none of them can be read."""
    if unread and (unread[0].column, unread[0].reason) == (time, "no-number") and not np.isfinite(values).any():
        first = unread[0].first_text
        detail = f"no time can be read, such as {first!r}; the columns are {_list_names(names)}"
        raise UnusableRecording(InputError(f"/{time}", detail, first, ACCEPTED_TIMES))


def _length(cells: NumberCells | TextCells) -> int:
    return len(cells) if isinstance(cells, list) else len(cells.values)


def parse_recording_object(kind: TimeSeries, cell: Mapping[str, Any]) -> Recording:
    """Make a recording of lists or arrays of numbers by channel, from JSON or a caller of the library."""
    return read_recording(kind, ObjectColumns(cell, kind.max_length))


def _find(
    channels: Mapping[str, Quantity], names: Sequence[str], wanted: Mapping[str, str]
) -> tuple[dict[str, _Place], list[InputError]]:
    places: dict[str, _Place] = {}
    errors: list[InputError] = []
    for position, (channel, kind) in enumerate(channels.items()):
        requested = wanted.get(channel)
        at = _matching(names, requested or channel)
        pointer = f"/{column_option(channel)}" if requested else f"/{channel}"
        if len(at) > 1:
            duplicates = join_with_or(str(quote_input(names[each])) for each in at)
            errors.append(
                InputError(pointer, f"several columns are named {duplicates}", requested, "one column of that name")
            )
        elif at:
            unit, error = _unit(channel, kind, names[at[0]], requested, pointer)
            errors += [error] if error else []
            places[channel] = _Place(at[0], unit)
        elif requested or position == 0 or not kind.optional:
            errors.append(_missing(channel, names, requested, pointer))
    taken: dict[int, str] = {}
    for channel, place in places.items():
        if place.position in taken:
            detail = (
                f"{channel} and {taken[place.position]} would both be read from {quote_input(names[place.position])!r}"
            )
            errors.append(InputError(f"/{column_option(channel)}", detail, wanted.get(channel), "a column of its own"))
        taken[place.position] = channel
    return places, errors


def _missing(channel: str, names: Sequence[str], requested: str | None, pointer: str) -> InputError:
    meant = close_matches(requested or channel, [_bare(name) for name in names[:MAX_COMPARED_COLUMNS] if name])
    hint = f"; did you mean {join_with_or(map(repr, meant))}? The" if meant else "; the"
    detail = f"no column is named {quote_input(requested or channel)!r}{hint} columns are {_list_names(names)}"
    accepted = "the name of a column" if requested else f"that column, or its name as {column_option(channel)}=..."
    return InputError(pointer, detail, requested, accepted)


def _list_names(names: Sequence[str]) -> str:
    shown = ", ".join(str(quote_input(name)) for name in names[:20]) + (", ..." if len(names) > 20 else "")
    return shown or "none"


def _bare(name: str) -> str:
    return split_unit(name)[0]


def _matching(names: Sequence[str], requested: str) -> list[int]:
    """Return the positions of columns of that name: exactly, else without the unit, else ignoring case."""
    wanted = {requested.strip(), _bare(requested)}
    tests: tuple[Callable[[str], bool], ...] = (
        lambda name: name.strip() == requested.strip(),
        lambda name: not wanted.isdisjoint((name.strip(), _bare(name))),
        lambda name: not {each.lower() for each in wanted}.isdisjoint((name.strip().lower(), _bare(name).lower())),
    )
    for test in tests:
        at = [position for position, name in enumerate(names) if test(name)]
        if at:
            return at
    return []


def _unit(
    channel: str, kind: Quantity, header: str, requested: str | None, pointer: str
) -> tuple[units.Unit | None, InputError | None]:
    """Return the unit after the name in the option, or else in the header; None without one.

    What is in brackets or parentheses is never ignored: if it is no unit, the error asks for the unit.
    """
    bare, spelling = split_unit(header)
    known = units.compatible_units(kind.unit)
    if requested and requested.strip() not in (header.strip(), bare):
        spelling = split_unit(requested)[1] or spelling
    if spelling is None or ("s" in known and spelling.lower() in _ZONES):
        tail = header.strip().replace("_", " ").rpartition(" ")[2]  # of a chosen column such as current_mA
        return known.get(tail), None
    unit = _find_unit(kind, spelling)
    if unit is not None:
        return unit, None
    hint = suggest(spelling, known, units.get_words(known))
    detail = f"unit {quote_input(spelling)!r} of {quote_input(header)!r} is not one of {', '.join(known)}{hint}"
    accepted = f"one of these units in brackets, or {column_option(channel)}={quote_input(header)} [{kind.unit}]"
    return None, InputError(pointer, detail, quote_input(header), accepted)


def _find_unit(kind: Quantity, spelling: str) -> units.Unit | None:
    """Return the unit of a channel that is spelled so, or is this word."""
    known = units.compatible_units(kind.unit)
    return known.get(spelling) or known.get(units.get_words(known).get(spelling.lower().removesuffix("s"), ""))


def _take_unit(kind: Quantity, cells: NumberCells | TextCells) -> tuple[NumberCells | TextCells, units.Unit | None]:
    """Return the cells without a unit in the first of them, the line below the header, and that unit."""
    first = cells[0] if isinstance(cells, list) and cells else None
    unit = None if first is None else _find_unit(kind, first.strip(" []()"))
    return (cells, None) if unit is None or not isinstance(cells, list) else ([None, *cells[1:]], unit)


@np.errstate(invalid="ignore", over="ignore")  # numbers that are none, or beyond a double, are reported below
def _read(
    name: str, kind: Quantity, cells: NumberCells | TextCells, unit: units.Unit | None, *, clock: bool, decimal: str
) -> tuple[Array, list[UnreadableCells]]:
    """Return the numbers of a column in SI, nan where unreadable, and the unreadable cells by reason."""
    limits = kind.bounds
    known = unit or limits.unit
    if isinstance(cells, list):
        texts = [(cell or "").strip() or None for cell in cells]
        numbers = np.array([np.nan if text is None else _number(text, decimal) for text in texts])
        values = limits.to_si(numbers, known)
        given = np.array([text is not None for text in texts], dtype=np.bool_)
        if clock and (given & ~np.isfinite(numbers)).any():
            seconds = parse_clock_times(texts)
            numbers, values = (np.where(np.isnan(seconds), mine, seconds) for mine in (numbers, values))
    else:
        numbers, given = cells.values, cells.given
        values = limits.to_si(numbers, known)
    finite = np.isfinite(numbers)
    good = finite & np.asarray(limits.contain(numbers, values, known))
    if good.all():
        return values, []
    unread = [
        UnreadableCells(name, reason, int(bad.sum()), first + 1, _shown(cells, first))
        for reason, bad in (("no-number", given & ~finite), ("out-of-bounds", finite & ~good))
        if bad.any() and (first := int(bad.argmax())) >= 0
    ]
    return np.where(good, values, np.nan), unread


def _number(text: str, decimal: str) -> float:
    """Return a text as a number, or nan. Python itself also accepts 1_000 and digits of other scripts."""
    if ":" in text or "_" in text or not text.isascii():
        return np.nan
    try:
        return float(text.replace(",", ".", 1) if decimal == "," else text)
    except ValueError:
        return np.nan


def _shown(cells: NumberCells | TextCells, row: int) -> str:
    cell = cells[row] if isinstance(cells, list) else float(cells.values[row])
    return replace_control_characters(str(cell)[:MAX_QUOTED_LENGTH])
