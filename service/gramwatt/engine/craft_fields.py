"""What a craft document may hold: the inputs of all calculators, and which of them each calculator takes from where."""

from __future__ import annotations

import functools
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from gramwatt.engine import registry
from gramwatt.engine.columns import uncertainty_kind
from gramwatt.model import AnyCalculator, ChosenBy, Kind, Quantity, Table, Term

MEMBER: Final = "craft"
"""The member of a request that holds a craft document."""


@dataclass(frozen=True, slots=True)
class CraftTable:
    """A table of a craft: the columns that calculators declare for it."""

    kind: Table
    """As the first calculator declares it; the columns of others may differ."""
    columns: Mapping[str, Kind]
    known: frozenset[str]
    """The columns, and ``<name>_u`` of each quantity."""


@functools.cache
def get_fields() -> Mapping[str, Kind]:
    """Return the members of a craft document: every input that a calculator declares.

    Each is as the first calculator declares it whose results have an uncertainty; without one, as the first of all.
    """
    fields: dict[str, Kind] = {}
    for calculator in registry.load().values():
        for name, kind in calculator.input_fields.items():
            known = fields.get(name)
            if known is None or (_is_exact(known) and not _is_exact(kind)):
                fields[name] = kind
    return MappingProxyType(fields)


def _is_exact(kind: Kind) -> bool:
    return isinstance(kind, Quantity) and kind.exact


@functools.cache
def get_tables() -> Mapping[str, CraftTable]:
    """Return the tables of a craft document."""
    kinds: dict[str, Table] = {}
    columns: dict[str, dict[str, Kind]] = {}
    for calculator in registry.load().values():
        for name, kind in calculator.input_tables.items():
            kinds.setdefault(name, kind)
            columns[name] = {**kind.input_columns, **columns.get(name, {})}
    return MappingProxyType(
        {
            name: CraftTable(
                kind,
                MappingProxyType(columns[name]),
                frozenset({*columns[name], *(f"{column}_u" for column in list_quantities(columns[name]))}),
            )
            for name, kind in kinds.items()
        }
    )


def list_quantities(columns: Mapping[str, Kind]) -> Iterator[str]:
    """Yield the columns that may have a standard uncertainty in a column ``<name>_u``."""
    yield from (name for name, kind in columns.items() if isinstance(kind, Quantity))


def get_column_kind(table: CraftTable, column: str) -> Kind:
    """Return the kind of a column, or of the standard uncertainty of one."""
    if column in table.columns:
        return table.columns[column]
    quantity = table.columns[column.removesuffix("_u")]
    if not isinstance(quantity, Quantity):
        raise KeyError(column)
    return uncertainty_kind(column.removesuffix("_u"), quantity)


@functools.cache
def get_choices() -> Mapping[str, str]:
    """Return the tables of which a request chooses a row, by the member that holds the row's name."""
    tables = get_tables().items()
    return MappingProxyType({kind.member: name for name, table in tables if (kind := table.kind.chosen_by) is not None})


@functools.cache
def get_members() -> Mapping[str, str]:
    """Return the members of a request that name a row, by the table that it is chosen from."""
    return MappingProxyType({table: member for member, table in get_choices().items()})


@functools.cache
def list_referred() -> tuple[str, ...]:
    """Return the tables whose rows something refers to by name: a request, or rows of this or another table."""
    named = [kind.of for calculator in registry.load().values() for kind in calculator.row_names.values()]
    return tuple(dict.fromkeys([*get_choices().values(), *named]))


def list_row_members(table: CraftTable) -> Iterator[str]:
    """Yield the members of a row that name rows of other tables."""
    members = get_members()
    named = () if table.kind.chosen_by is None else table.kind.chosen_by.names_rows_of
    yield from (members[name] for name in named if name in members and members[name] not in table.columns)


@functools.cache
def get_replacements() -> Mapping[str, frozenset[str]]:
    """Return the inputs that an input replaces, by its name."""
    replaced: dict[str, frozenset[str]] = {}
    for calculator in registry.load().values():
        for name, kind in calculator.input_fields.items():
            if kind.replaces:
                replaced[name] = replaced.get(name, frozenset()) | frozenset(kind.replaces)
    return MappingProxyType(replaced)


@functools.cache
def list_added_inputs(calculator: AnyCalculator) -> frozenset[str]:
    """Return the inputs of a calculator that take part in a sum: as terms, as factors, as steps of displays."""
    names: set[str] = set()
    for kind in calculator.input_fields.values():
        for term in kind.sum_of:
            table, _, column = term.name.partition(".")
            part = get_tables()[table].columns.get(column) if table in get_tables() else get_fields().get(table)
            names |= {term.name, term.times}
            if isinstance(part, Quantity) and part.display is not None:
                names.add(part.display.step)
    return frozenset(names) & calculator.input_fields.keys()


def is_voided(name: str, given: Collection[str]) -> bool:
    """Return whether an input is of no use beside others that take precedence: it replaces one, or is replaced."""
    replaced = get_replacements()
    return any(other in given for other in replaced.get(name, ())) or any(
        name in replaced[other] for other in given if other in replaced
    )


def list_stands_for(choice: ChosenBy, columns: Collection[str], inputs: Collection[str]) -> Iterator[tuple[str, str]]:
    """Yield each of some columns of a chosen row that stands for one of the ``inputs``, with that input."""
    renamed = dict(choice.stands_for)
    for column in columns:
        if not choice.needs:
            name = renamed.get(column, column)
        else:
            name = column if choice.needs in inputs else renamed.get(column, "")
        if name in inputs:
            yield column, name


@dataclass(frozen=True, slots=True)
class CraftSource:
    """Where a calculator takes one of its inputs from in a craft document, other than from the member of its name."""

    table: str = ""
    column: str = ""
    """The column of the chosen row of a table."""
    sum_of: tuple[Term, ...] = ()
    """What adds up to it where the document does not give it."""


@functools.cache
def describe_craft(calculator: AnyCalculator) -> Mapping[str, CraftSource]:
    """Return, by input, where a calculator takes it from in a craft document; nothing but its name for most.

    A table that the calculator takes as a whole stands for itself. An input of a chosen row is the member of its own
    name where the document has no such table.
    """
    inputs = calculator.input_fields
    sources = {name: CraftSource(sum_of=kind.sum_of) for name, kind in inputs.items()}
    for name, table, choice in list_chosen(calculator):
        if name not in inputs:
            for column, taken in list_stands_for(choice, table.columns, inputs):
                if not sources[taken].table:
                    sources[taken] = CraftSource(name, column, sources[taken].sum_of)
    return MappingProxyType(sources)


def list_chosen(calculator: AnyCalculator) -> list[tuple[str, CraftTable, ChosenBy]]:
    """Return the tables of which a row is chosen, first those that the request is about (a recorded flight)."""
    chosen = [(name, table, kind) for name, table in get_tables().items() if (kind := table.kind.chosen_by) is not None]
    return sorted(chosen, key=lambda each: each[2].needs not in calculator.input_fields)
