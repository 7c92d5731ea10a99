"""Fill a form from a craft document, the JSON object that a browser stores.

A browser sends ``craft`` with the names of the chosen rows (``pack``), and ``base``, the query of the page, whose
fields give way to the craft. Fields of the form itself win over both.
"""

from __future__ import annotations

import functools
import json
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Final
from urllib.parse import parse_qsl

from gramwatt.engine import craft_fields
from gramwatt.engine.craft import CraftInputs, take_inputs
from gramwatt.engine.craft_fields import MEMBER
from gramwatt.model import Calculator, Quantity, RowName, Table
from gramwatt.model.messages import InputError
from gramwatt.web.pages.description import describe_calculator
from gramwatt.web.pages.form_reader import MAX_FIELDS, texts_of_inputs

BASE: Final = "base"


@dataclass(frozen=True, slots=True)
class FilledFields:
    """The fields of a form that a craft has filled."""

    texts: Mapping[str, str]
    errors: tuple[InputError, ...] = ()
    """What is wrong with the craft beside its values, which are checked with those of the form."""
    origins: Mapping[str, list[list[Any]]] = field(default_factory=dict)
    """For each row of a table: the craft's table that it comes from, its place there, and the columns it has."""
    unknown: tuple[str, ...] = ()
    """JSON Pointers of members and columns that no calculator asks for."""
    derived: tuple[str, ...] = ()
    """Inputs that the craft does not give but what adds up to them."""
    failed: frozenset[str] = frozenset()
    """Inputs that the errors leave without a value."""


def fill_from_craft(
    calculator: Calculator[Any, Any], sent: Mapping[str, str], files: Collection[str] = ()
) -> FilledFields:
    """Return the fields of a request, filled from the craft that it holds. ``files`` are names of uploaded files.

    A craft that gives none of the inputs that a calculator needs fills nothing, so that the example stays; beside other
    fields it fills in what it has.
    """
    if MEMBER not in sent:
        return FilledFields(sent)
    members = craft_fields.get_choices().keys() - calculator.input_fields.keys()
    choices = {name: sent[name] for name in members if sent.get(name)}
    own = {name: text for name, text in sent.items() if name not in (MEMBER, BASE, *members)}
    try:
        base = dict(parse_qsl(sent.get(BASE, ""), max_num_fields=MAX_FIELDS))
    except ValueError:
        return FilledFields(own, (InputError(f"/{BASE}", "too many fields", None, f"up to {MAX_FIELDS} at once"),))
    given = {name: text for name, text in own.items() if name in calculator.input_fields and text}
    taken = take_inputs(calculator, sent[MEMBER], choices, given, text=True)
    sent_inputs = {*taken.inputs, *(name.partition(".")[0] for name in files)}
    is_bare = not any(name.partition(".")[0] in calculator.input_fields for name in base)
    if is_bare and not taken.errors and not _is_useful(calculator, sent_inputs):
        return FilledFields({**base, **own})
    decimal = own.get("decimal") or base.get("decimal") or "."
    texts = texts_of_inputs(calculator, taken.inputs, decimal)
    rest = {name: text for name, text in base.items() if name.partition(".")[0] not in taken.inputs}
    derived = tuple(
        name
        for name in taken.inputs
        if isinstance(calculator.input_fields[name], Quantity) and f"/{name}" not in taken.pointers
    )
    unknown = tuple(error.pointer for error in taken.errors if _is_unknown(error.pointer))
    origins = dict(_list_origins(calculator, taken))
    return FilledFields({**rest, **texts, **own}, taken.errors, origins, unknown, derived, taken.failed)


def _is_unknown(pointer: str) -> bool:
    """Return whether an error is about a member of the craft, or a column of a table, that has an unknown name."""
    match pointer.split("/"):
        case ["", _, member]:
            return member not in craft_fields.get_fields()
        case ["", _, name, _, column] if table := craft_fields.get_tables().get(name):
            return column not in {*table.known, *craft_fields.list_row_members(table)}
    return False


def _is_useful(calculator: Calculator[Any, Any], inputs: Collection[str]) -> bool:
    """Return whether inputs hold any that the calculator needs."""
    needed = {name for group in calculator.any_of for name in group}
    needed |= {name for name, kind in calculator.input_fields.items() if kind.is_required or isinstance(kind, Table)}
    return not needed.isdisjoint(inputs)


def _list_origins(calculator: Calculator[Any, Any], taken: CraftInputs) -> Iterator[tuple[str, list[list[Any]]]]:
    for name, table in calculator.input_tables.items():
        rows = taken.inputs.get(name)
        if isinstance(rows, list):
            yield name, [_find_origin(name, at, table, taken) for at in range(len(rows))]


def _find_origin(name: str, at: int, table: Table, taken: CraftInputs) -> list[Any]:
    """Return table and place of a row in the craft, and those of its columns that come from there."""
    place = taken.pointers.get(f"/{name}/{at}", "")
    parts = place.split("/")  # "", "craft", table, index
    if len(parts) != 4 or not parts[3].isdecimal():
        return ["", 0, []]
    columns = [
        column for column in table.columns if taken.pointers.get(f"/{name}/{at}/{column}") == f"{place}/{column}"
    ]
    if parts[2] != name:  # of a sum: a mass that is missing is entered here
        names = (term.name.partition(".") for term in table.sum_of)
        columns += [column for source, _, column in names if source == parts[2] and column not in columns]
    return [parts[2], int(parts[3]), columns]


@functools.cache
def describe_fields(calculator: Calculator[Any, Any]) -> str:
    """Return as JSON the kinds and units of a form's fields, for scripts that put what is typed into the craft."""
    return json.dumps({each["name"]: _describe_field(each) for each in describe_calculator(calculator)["inputs"]})


def _describe_field(description: Mapping[str, Any]) -> dict[str, Any]:
    described: dict[str, Any] = {"kind": description["kind"]}
    if "unit" in description:
        described["unit"] = description["unit"]
    if description["kind"] == "table":
        described["columns"] = {each["name"]: _describe_field(each) for each in description["columns"]}
    return described


@functools.cache
def describe_choosers(calculator: Calculator[Any, Any]) -> str:
    """Return as JSON which rows of the craft a form shows, by the member of a request that names the row.

    Each has its ``table``, the column that ``stands_for`` each input, the inputs that it ``adds_to``, and the members
    that a row ``names`` itself where its recording is an input: then the pack of the flight is the pack of the page.
    """
    choosers = {}
    inputs = calculator.input_fields
    for name, table, choice in craft_fields.list_chosen(calculator):
        stands_for = {taken: column for column, taken in craft_fields.list_stands_for(choice, table.columns, inputs)}
        adds_to = [each for each, kind in inputs.items() if _adds_to(name, kind)]
        if name not in inputs and (stands_for or adds_to):
            choosers[choice.member] = {
                "table": name,
                "stands_for": stands_for,
                "adds_to": adds_to,
                "names": list(craft_fields.list_row_members(table)) if choice.needs in inputs else [],
            }
    return json.dumps(choosers)


@functools.cache
def describe_rows() -> str:
    """Return as JSON what people call one row of each table of the craft."""
    return json.dumps({name: table.kind.row_label for name, table in craft_fields.get_tables().items()})


@functools.cache
def describe_names() -> str:
    """Return as JSON what names the rows of each table of the craft: the ``member`` of a request, columns of tables."""
    tables = craft_fields.get_tables()
    members = craft_fields.get_members()
    named: dict[str, dict[str, Any]] = {}
    for naming, table in tables.items():
        columns = [(kind.of, column) for column, kind in table.columns.items() if isinstance(kind, RowName)]
        columns += [(craft_fields.get_choices()[member], member) for member in craft_fields.list_row_members(table)]
        for of, column in columns:
            named.setdefault(of, {"named_by": []})["named_by"].append({"table": naming, "column": column})
    for of in named.keys() & members.keys():
        named[of]["member"] = members[of]
    return json.dumps(named, sort_keys=True)


def _adds_to(table: str, kind: object) -> bool:
    """Return whether a row of a table of the craft adds to an input."""
    terms = kind.sum_of if isinstance(kind, Quantity | Table) else ()
    return any(term.name.partition(".")[0] == table for term in terms)
