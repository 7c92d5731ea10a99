"""Read a craft document: its members and the rows of its tables, each value with its place."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple, TypeAlias, TypeGuard

from gramwatt.engine import craft_fields
from gramwatt.engine.columns import unknown_name_errors
from gramwatt.engine.craft_fields import CraftTable
from gramwatt.engine.limits import MAX_COMPARED_NAMES
from gramwatt.model import Kind, RowName
from gramwatt.model.kinds import collect_synonyms, number_names
from gramwatt.model.messages import InputError, join_with_or, quote_input, suggest
from gramwatt.model.parsing import ValueParseError, describe_type

ACCEPTED: Final = "an object whose members are inputs of calculators"


class Cell(NamedTuple):
    """A value as it was given, and its JSON Pointer in the request."""

    value: object
    pointer: str
    text: bool = False
    """Whether it is text of a query."""


Row: TypeAlias = dict[str, Cell]


@dataclass(slots=True)
class Craft:
    """A craft document: single inputs and lists by name, tables as rows of cells."""

    plain: dict[str, Cell] = field(default_factory=dict)
    rows: dict[str, list[Row]] = field(default_factory=dict)
    chosen: dict[str, int] = field(default_factory=dict)
    """The chosen row of a table, by its name; of tables without a row none."""
    explicit: set[str] = field(default_factory=set)
    """The tables of which the request names the row."""
    unreadable: set[str] = field(default_factory=set)
    """The tables without rows, since they are no lists, or too long."""
    errors: list[InputError] = field(default_factory=list)


def read_craft(document: object, choices: Mapping[str, object]) -> Craft:
    """Read a document, and choose rows by the members of a request that name them.

    Finds unknown names and rows, and values that are no tables where tables belong. Other values are not read.
    """
    craft = Craft()
    if not isinstance(document, dict):
        detail = f"Enter an object, not {describe_type(document)}"
        craft.errors.append(InputError(f"/{craft_fields.MEMBER}", detail, quote_input(document), ACCEPTED))
        return craft
    fields, tables = craft_fields.get_fields(), craft_fields.get_tables()
    for name, value in document.items():
        pointer = f"/{craft_fields.MEMBER}/{name}"
        if name in tables:
            if _is_list(value, craft, name, pointer):
                craft.rows[name] = list(_read_rows(craft, pointer, tables[name], value))
        elif name in fields:
            craft.plain[name] = Cell(value, pointer)
    unknown = {name: value for name, value in document.items() if name not in fields}
    craft.errors += _list_unknown(unknown, f"/{craft_fields.MEMBER}", "member of a craft", fields, ACCEPTED)
    for name in craft.rows:
        _number_names(craft, name)
    _fill_from_members(craft)
    _choose(craft, choices)
    for name, table in tables.items():
        if name in craft.rows and table.kind.chosen_by is not None:
            _fill_from_named_rows(craft, name, table.kind.chosen_by.names_rows_of)
    return craft


def _list_unknown(
    unknown: Mapping[str, object], pointer: str, what: str, known: Mapping[str, Kind], accepted: str
) -> Iterator[InputError]:
    synonyms = collect_synonyms(known)
    errors = unknown_name_errors(
        what, unknown, accepted, lambda name: suggest(name, known, synonyms), MAX_COMPARED_NAMES
    )
    yield from (dataclasses.replace(error, pointer=pointer + error.pointer) for error in errors)


def _is_list(value: object, craft: Craft, name: str, pointer: str) -> TypeGuard[Sequence[object]]:
    """Return whether a value is a list of as many rows as a table may have; else add an error."""
    kind = craft_fields.get_tables()[name].kind
    if not isinstance(value, list | tuple):
        detail = f"Enter a list, not {describe_type(value)}"
    elif len(value) > kind.max_length:
        detail = f"The list has {len(value)} entries; it may have up to {kind.max_length}"
    else:
        return True
    craft.errors.append(InputError(pointer, detail, quote_input(value), kind.describe_accepted()))
    craft.unreadable.add(name)
    return False


def _read_rows(craft: Craft, pointer: str, table: CraftTable, items: Sequence[object]) -> Iterator[Row]:
    """Yield the rows of a table, empty where they cannot be read."""
    known = table.known | set(craft_fields.list_row_members(table))
    for at, item in enumerate(items):
        place = f"{pointer}/{at}"
        if not isinstance(item, dict):
            detail = f"Enter an object, not {describe_type(item)}"
            craft.errors.append(InputError(place, detail, quote_input(item), "an object"))
            item = {}
        unknown = {name: cell for name, cell in item.items() if name not in known}
        if unknown:
            craft.errors += _list_unknown(unknown, place, "column", table.columns, join_with_or(table.columns))
        yield {name: Cell(cell, f"{place}/{name}") for name, cell in item.items() if name in known}


def _fill_from_members(craft: Craft) -> None:
    """Let a single input of the craft hold for each row of a table whose column stands for it, and has no value."""
    for name, rows in craft.rows.items():
        table = craft_fields.get_tables()[name]
        choice = table.kind.chosen_by
        if choice is None or choice.needs:
            continue
        for column, stands_for in craft_fields.list_stands_for(choice, table.columns, craft.plain):
            for row in rows:
                if column not in row and not craft_fields.is_voided(column, row):
                    row[column] = craft.plain[stands_for]


def _choose(craft: Craft, choices: Mapping[str, object]) -> None:
    """Choose a row of each table: the one that is named, else the first."""
    for member, name in craft_fields.get_choices().items():
        rows = craft.rows.get(name, [])
        if member in choices:
            craft.explicit.add(name)
            found = _find_row(craft, name, Cell(choices[member], f"/{member}"))
            if found is not None:
                craft.chosen[name] = found
        elif rows:
            craft.chosen[name] = 0


def _find_row(craft: Craft, table: str, name: Cell) -> int | None:
    """Return the row of a table that has a name; None with an error where there is not exactly one."""
    if table in craft.unreadable:  # whose own error is enough
        return None
    try:
        return RowName(table, "").find_row(name.value, list(list_names(craft, table)))
    except ValueParseError as error:
        detail = error.with_hint() if len(craft.errors) < MAX_COMPARED_NAMES else error.detail
        craft.errors.append(InputError(name.pointer, detail, quote_input(name.value), error.accepted))
        return None


def _number_names(craft: Craft, table: str) -> None:
    """Name the rows of a table that would be alike for lack of a name, which a request may choose."""
    kind = craft_fields.get_tables()[table]
    default = getattr(kind.columns.get("name"), "default", None)
    unnamed = [row for row in craft.rows[table] if "name" not in row]
    if kind.kind.chosen_by is None or default is None or not unnamed:
        return
    names = [str(row["name"].value) if "name" in row else None for row in craft.rows[table]]
    if names.count(None) + names.count(default) > 1:
        for row, name in zip(craft.rows[table], number_names(names, default), strict=True):
            row.setdefault("name", Cell(name, ""))


def list_names(craft: Craft, table: str) -> Iterator[str]:
    """Yield the names of the rows of a table: the default for a row without one."""
    default = getattr(craft_fields.get_tables()[table].columns.get("name"), "default", None) if table else None
    for row in craft.rows.get(table, []):
        yield str(row["name"].value if "name" in row else default or "")


def _fill_from_named_rows(craft: Craft, name: str, tables: Sequence[str]) -> None:
    """Give the rows of a table what they lack from the rows that they name, as ``"pack": "4 cells"``."""
    members = craft_fields.get_members()
    for row in craft.rows[name]:
        for table in tables:
            if members.get(table) not in row:
                continue
            found = _find_row(craft, table, row[members[table]])
            row[members[table]] = row[members[table]]._replace(value=found)
            if found is not None:
                fill_row(craft, name, row, table, found)


def fill_row(craft: Craft, name: str, row: Row, table: str, at: int) -> None:
    """Give a row of a table what it lacks from a row of another table: the columns that mean the same thing there."""
    choice = craft_fields.get_tables()[table].kind.chosen_by
    renamed = dict(choice.stands_for) if choice is not None else {}
    given = set(row)
    for column, cell in craft.rows[table][at].items():
        is_same = column in craft_fields.get_tables()[name].known and column != "name" and column not in renamed
        if is_same and column not in given and not craft_fields.is_voided(column, given):
            row[column] = cell
