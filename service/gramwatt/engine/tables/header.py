"""Parse the header of a table: which columns are inputs, in which unit, and which pass through."""

from __future__ import annotations

import functools
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from gramwatt.engine.column_names import split_unit
from gramwatt.engine.columns import escape_name, missing_input_error, uncertainty_kind
from gramwatt.engine.craft import list_lacking_craft
from gramwatt.engine.craft_fields import MEMBER
from gramwatt.engine.limits import MAX_COMPARED_NAMES, MAX_ROW_BYTES, MAX_TABLE_COLUMNS
from gramwatt.engine.tables.craft_columns import NOTHING, list_members, take_and_check_craft
from gramwatt.model import RANGE_SUFFIXES, Calculator, Kind, Quantity, Text, units
from gramwatt.model.kinds import collect_synonyms
from gramwatt.model.messages import InputError, join_with_or, quote_input, suggest

LABEL_COLUMNS: Final = ("id", "name", "note")
"""Columns that always pass through: labels of rows."""


@dataclass(frozen=True, slots=True)
class Passthrough:
    """Which columns that are not inputs pass through: labels, and those named, or all."""

    names: frozenset[str] = frozenset()
    all_columns: bool = False

    def includes(self, name: str) -> bool:
        """Return whether a column of that name passes through."""
        return name in LABEL_COLUMNS or self.all_columns or name in self.names


@dataclass(frozen=True, slots=True)
class InputColumn:
    """A column of an input, or of its standard uncertainty. ``unit`` is that of its header, if any."""

    name: str
    kind: Kind
    unit: units.Unit | None = None


@dataclass(frozen=True, slots=True)
class Header:
    """The columns of a table by position: an input, the name of a pass-through column, or None without a name."""

    columns: tuple[InputColumn | str | None, ...]
    passthrough_columns: tuple[str, ...] = field(default=())


@functools.cache
def column_kinds(calculator: Calculator[Any, Any]) -> Mapping[str, Kind]:
    """Return the kinds of the possible columns: the inputs, and ``<name>_u`` of each quantity."""
    fields = calculator.input_fields
    uncertainties = {
        f"{name}_u": uncertainty_kind(name, kind)
        for name, kind in fields.items()
        if isinstance(kind, Quantity) and not kind.exact
    }
    return {**fields, **uncertainties}


@functools.cache
def member_kinds(calculator: Calculator[Any, Any]) -> Mapping[str, Kind]:
    """Return the kinds of the columns for a craft document and for the rows that it chooses."""
    return {
        name: Text("", max_length=MAX_ROW_BYTES if name == MEMBER else Text("").max_length)
        for name in list_members(calculator)
    }


def parse_header(
    calculator: Calculator[Any, Any], header: Sequence[str], passthrough: Passthrough, constants: Mapping[str, object]
) -> tuple[Header, list[InputError]]:
    """Return the columns of a header, and the errors in it, such as missing inputs."""
    if len(header) > MAX_TABLE_COLUMNS:
        return Header(()), [InputError("", f"{len(header)} columns", None, f"up to {MAX_TABLE_COLUMNS} columns")]
    known, errors = dict(column_kinds(calculator)), []
    if MEMBER in constants or MEMBER in header:
        known |= member_kinds(calculator)
    columns: list[InputColumn | str | None] = []
    seen: set[str] = set()
    rejected = 0
    for position, field_text in enumerate(header, 1):
        text = field_text.strip()
        if not text:
            columns.append(None)
            continue
        bare, spelling = split_unit(text)
        name, spelling = (bare, spelling) if bare in known else (text, None)
        if name in seen:
            errors.append(
                _make_error(name, f"column {position} repeats the name {quote_input(name)}", "each name once")
            )
        seen.add(name)
        if name in known:
            unit, error = _parse_unit(name, known[name], spelling)
            errors += [error] if error else []
            columns.append(InputColumn(name, known[name], unit))
            errors += check_conflict(name, constants)
        else:
            columns.append(name)
            column_errors = check_column(calculator, name, passthrough, compare=rejected < MAX_COMPARED_NAMES)
            rejected += bool(column_errors)
            errors += column_errors
    taken = NOTHING
    if MEMBER not in seen:  # else it is known for each row
        taken, craft_errors = take_and_check_craft(calculator, constants, seen, text=True)
        errors += craft_errors
        if not any(error.pointer == f"/{MEMBER}" for error in craft_errors):
            errors += _find_missing(calculator, seen, {**constants, **taken.inputs, **dict.fromkeys(taken.failed)})
    errors += [
        _make_error(name, f"{name} is the uncertainty of {name[:-2]}, which is missing", f"a column {name[:-2]} too")
        for name in sorted(seen)
        if name in column_kinds(calculator)
        and name not in calculator.input_fields
        and seen.isdisjoint((name[:-2], MEMBER))
        and name[:-2] not in constants
        and name[:-2] not in taken.inputs
    ]
    if not errors and not constants and not any(isinstance(column, InputColumn) for column in columns):
        errors.append(InputError("", "no column is an input", None, join_with_or(calculator.input_fields)))
    return Header(tuple(columns), tuple(name for name in columns if isinstance(name, str))), errors


def check_column(
    calculator: Calculator[Any, Any], name: str, passthrough: Passthrough, *, compare: bool = True
) -> list[InputError]:
    """Return why a column that is not an input is invalid; nothing if it passes through.

    With ``compare`` the error suggests similar names of inputs.
    """
    bare = split_unit(name)[0]
    results = {bare, *(bare.removesuffix(suffix) for suffix in RANGE_SUFFIXES.values())}
    if not results.isdisjoint(calculator.result_fields) or name in ("cautions", "error"):
        return [_make_error(name, f"{quote_input(name)} is the name of an output column; rename it", "another name")]
    if passthrough.includes(name):
        return []
    if name != MEMBER and name in list_members(calculator):
        return list_lacking_craft({name: name})
    kinds = column_kinds(calculator)
    hint = suggest(name, kinds, collect_synonyms(kinds)) if compare else ""
    accepted = join_with_or(calculator.input_fields)
    accepted += f"; to pass a column through, name it in the query: keep={_quote_name(name)}"
    return [_make_error(name, f"{quote_input(name)} is not an input{hint}", accepted)]


def _quote_name(name: str) -> str:
    return name if re.fullmatch(r"[\w.-]{1,40}", name) else "*"


def _make_error(name: str, detail: str, accepted: str) -> InputError:
    return InputError(f"/{escape_name(name)}", detail, quote_input(name), accepted)


def _parse_unit(name: str, kind: Kind, spelling: str | None) -> tuple[units.Unit | None, InputError | None]:
    if spelling is None:
        return None, None
    if not isinstance(kind, Quantity):
        return None, _make_error(name, f"{name} has no unit; remove the unit from its header", name)
    known = units.compatible_units(kind.unit)
    if spelling in known:
        return known[spelling], None
    hint = suggest(spelling, known, units.get_words(known))
    detail = f"unit {quote_input(spelling)!r} in the header is not one of {', '.join(known)}{hint}"
    return None, InputError(f"/{name}", detail, quote_input(spelling), f"{name} [{kind.unit}]")


def check_conflict(name: str, constants: Mapping[str, object]) -> list[InputError]:
    """Return an error if an input is both in the query and in the table."""
    if name not in constants:
        return []
    return [_make_error(name, f"{name} is both in the query and in the table", "in one of the two")]


def _find_missing(
    calculator: Calculator[Any, Any], seen: set[str], constants: Mapping[str, object]
) -> list[InputError]:
    grouped = {name for group in calculator.any_of for name in group}
    errors = [
        missing_input_error(name, kind)
        for name, kind in calculator.input_fields.items()
        if kind.is_required and name not in grouped and name not in seen and name not in constants
    ]
    for group in calculator.any_of:
        if not any(name in seen or name in constants for name in group):
            accepted = "; ".join(f"{name}: {calculator.input_fields[name].describe_accepted()}" for name in group)
            errors.append(InputError(f"/{group[0]}", f"give {join_with_or(group)}", None, accepted))
    return errors
