"""Check a whole craft document: every member by its declaration, whatever a calculator would take from it."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from typing import Any

from gramwatt.engine import craft_fields, registry
from gramwatt.engine.craft import CraftInputs, take_inputs
from gramwatt.engine.craft_document import Cell, Craft, list_names, read_craft
from gramwatt.engine.craft_fields import MEMBER
from gramwatt.engine.nested import read_column
from gramwatt.model import AnyCalculator, Kind
from gramwatt.model.messages import InputError


def check_craft(document: object) -> list[InputError]:
    """Return every error of a craft document, with pointers into it."""
    craft = read_craft(document, {})
    errors = [*craft.errors, *_check_members(craft), *_find_equal_names(craft)]
    return [dataclasses.replace(each, pointer=each.pointer.removeprefix(f"/{MEMBER}")) for each in errors]


def _check_members(craft: Craft) -> Iterator[InputError]:
    names = {name: list(list_names(craft, name)) for name in craft.rows}
    seen: set[str] = set()
    for name, cell in craft.plain.items():
        yield from _check_cell(craft_fields.get_fields()[name], cell, names)
        seen.add(cell.pointer)
    for name, rows in craft.rows.items():
        table = craft_fields.get_tables()[name]
        members = set(craft_fields.list_row_members(table))
        for row in rows:
            for column, cell in row.items():
                if column not in members and cell.pointer not in seen:  # rows share what they take from elsewhere
                    yield from _check_cell(craft_fields.get_column_kind(table, column), cell, names)
                    seen.add(cell.pointer)


def _list_lacking(calculator: AnyCalculator, table: str, taken: CraftInputs) -> Iterator[str]:
    """Yield the columns of a table that a calculator needs and a row lacks, as ``flights.log``."""
    kind = calculator.input_tables[table]
    required = [(name,) for name, column in kind.input_columns.items() if column.is_required]
    rows: Any = taken.inputs[table]
    for group in [*required, *kind.any_of]:
        if any(row.keys().isdisjoint(group) for row in rows):
            yield f"{table}.{group[0]}"


def _check_cell(kind: Kind, cell: Cell, names: Mapping[str, list[str]]) -> Iterator[InputError]:
    for error in read_column(kind, [cell.value], text=False, names=names).errors.get(0, ()):
        yield dataclasses.replace(error, pointer=cell.pointer + error.pointer)


def _find_equal_names(craft: Craft) -> Iterator[InputError]:
    """Yield an error for each row of a table that another one has the name of, so that nothing can refer to it."""
    for table in craft_fields.list_referred():
        names = list(list_names(craft, table))
        for at, name in enumerate(names):
            if name and name in names[:at]:
                detail = f'Another row of {table} has the name "{name}"'
                yield InputError(f"/{MEMBER}/{table}/{at}/name", detail, name, "a name of its own")


def list_served(document: object) -> Iterator[tuple[AnyCalculator, tuple[str, ...]]]:
    """Yield each calculator with the inputs that it needs beside a craft document; none if it needs nothing else."""
    for calculator in registry.load().values():
        taken = take_inputs(calculator, document, {}, {})
        if taken.inputs:
            missing = [taken.missing.get(name, name) for name in calculator.required_inputs if name not in taken.inputs]
            missing += [group[0] for group in calculator.any_of if not any(name in taken.inputs for name in group)]
            for name in calculator.input_tables.keys() & taken.inputs.keys():
                missing += _list_lacking(calculator, name, taken)
            yield calculator, tuple(missing)
