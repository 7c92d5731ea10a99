"""Take the inputs of a calculator from a craft document: one JSON object of inputs that serves every calculator.

Nothing here knows an input by name. A member of the document is whatever some calculator asks for; which columns of a
table stand for which inputs, and what adds up to one, is declared where the inputs are.
"""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from gramwatt.engine import craft_fields
from gramwatt.engine.columns import read_plain
from gramwatt.engine.craft_document import Cell, Craft, Row, fill_row, list_names, read_craft
from gramwatt.engine.craft_fields import MEMBER
from gramwatt.engine.craft_sums import Addend, Adder
from gramwatt.engine.strict_json import InvalidJson, parse_strict_json
from gramwatt.model import AnyCalculator, ChosenBy, Kind, Quantity, RowName, Table
from gramwatt.model.messages import InputError, join_with_or, quote_input
from gramwatt.model.parsing import match_quantity, replace_lookalikes


@dataclass(frozen=True, slots=True)
class CraftInputs:
    """What a calculator takes from a craft document, and where each value comes from."""

    inputs: Mapping[str, object] = field(default_factory=dict)
    """JSON values by input, in declared order, without the request's own."""
    errors: tuple[InputError, ...] = ()
    """Errors of the document, and of what adds up to an input."""
    pointers: Mapping[str, str] = field(default_factory=dict)
    """JSON Pointers in the request by those of the inputs: ``/craft/packs/1/mass`` by ``/pack_mass``."""
    failed: frozenset[str] = frozenset()
    """Inputs that errors of the document leave without a value."""
    chosen: Mapping[str, str] = field(default_factory=dict)
    """Names of the rows that inputs come from, by the member of a request that chooses them."""
    missing: Mapping[str, str] = field(default_factory=dict)
    """What in a craft would give a required input that the document does not give, by input."""

    def locate(self, errors: Sequence[InputError]) -> list[InputError]:
        """Return errors of the inputs with the pointers of the request, after those of the document."""
        located = [self._locate(error) for error in errors if not self._is_known(error)]
        return [*self.errors, *(error for error in located if error not in self.errors)]

    def _is_known(self, error: InputError) -> bool:
        return error.given is None and error.pointer[1:] in self.failed

    def _locate(self, error: InputError) -> InputError:
        source = self.missing.get(error.pointer[1:])
        if source and error.given is None:
            return dataclasses.replace(error, detail=f"{error.detail}: in the craft {source} gives it")
        pointer, rest = error.pointer, ""
        while pointer:
            if pointer in self.pointers:
                return dataclasses.replace(error, pointer=self.pointers[pointer] + rest)
            pointer, _, last = pointer.rpartition("/")
            rest = f"/{last}{rest}"
        return error


def has_craft(inputs: Mapping[str, object]) -> bool:
    """Return whether the inputs of a request include a craft document."""
    return MEMBER in inputs


def split_request(
    calculator: AnyCalculator, inputs: Mapping[str, object]
) -> tuple[object, dict[str, object], dict[str, object]]:
    """Return the craft document of a request, the rows that it chooses by member, and its own inputs."""
    members = craft_fields.get_choices().keys() - calculator.input_fields.keys()
    choices = {name: value for name, value in inputs.items() if name in members}
    own = {name: value for name, value in inputs.items() if name not in members and name != MEMBER}
    return inputs.get(MEMBER), choices, own


def list_lacking_craft(choices: Mapping[str, object]) -> list[InputError]:
    """Return an error for each member of a request that names a row of a craft document where there is none."""
    return [
        InputError(f"/{name}", f"{name} names a row of a craft: give the craft too", quote_input(value), MEMBER)
        for name, value in choices.items()
    ]


def take_inputs(
    calculator: AnyCalculator,
    document: object,
    choices: Mapping[str, object],
    own: Mapping[str, object],
    *,
    text: bool = False,
) -> CraftInputs:
    """Return what a calculator takes from a craft document beside a request's own inputs, which take precedence.

    ``choices`` are names of rows by the member that chooses them. With ``text`` the own inputs are text of a query, and
    the document may be JSON text; an own input that is a `Cell` says itself whether it is text.
    """
    if text and isinstance(document, str):
        try:
            document = parse_document(document)
        except InvalidJson as error:
            detail = f"The craft is not valid JSON: {error}"
            return CraftInputs(errors=(InputError(f"/{MEMBER}", detail, quote_input(document), "a JSON object"),))
    craft = read_craft(document, choices)
    cells = {n: each if isinstance(each, Cell) else Cell(each, f"/{n}", text) for n, each in own.items()}
    return _Taker(calculator, craft, cells).take()


@functools.lru_cache(maxsize=8)
def parse_document(text: str) -> object:
    """Return a craft document in JSON text; it is shared, so do not change it. Raises InvalidJson."""
    return parse_strict_json(text.encode("utf-8", "surrogatepass"))


class _Taker:
    """Takes the inputs of one calculator from one craft."""

    def __init__(self, calculator: AnyCalculator, craft: Craft, own: Mapping[str, Cell]) -> None:
        self._calculator, self._fields, self._craft, self._own = calculator, calculator.input_fields, craft, own
        self._adder = Adder(craft, own)
        self._taken: dict[str, object] = {}
        self._pointers: dict[str, str] = {}
        self._failed: set[str] = set()
        self._used: set[tuple[str, int]] = set()
        """Tables and rows that single inputs and sums come from."""
        self._chosen = craft_fields.list_chosen(calculator)

    def take(self) -> CraftInputs:
        """Take each input that is not the request's own."""
        cells = self._collect_cells()
        for name, table, choice in self._chosen:
            is_unknown = name in self._craft.explicit and name not in self._craft.chosen
            if is_unknown or name in self._craft.unreadable:
                taken = craft_fields.list_stands_for(choice, table.columns, self._fields)
                self._failed |= {each for _, each in taken}
        for name, kind in self._fields.items():
            if name in self._own:
                continue
            if isinstance(kind, Table):
                self._take_table(name, kind)
            elif name in cells:
                self._add(name, kind, cells[name])
            elif isinstance(kind, Quantity) and kind.sum_of:
                self._add_sum(name, kind)
        self._failed |= self._craft.unreadable
        chosen = dict(self._list_used())  # before the errors: it adds those of the names
        errors = (*self._craft.errors, *self._adder.errors)
        failed = frozenset(self._failed)
        return CraftInputs(self._taken, errors, self._pointers, failed, chosen, dict(self._list_missing()))

    def _list_missing(self) -> Iterator[tuple[str, str]]:
        """Yield each required input without a value, with the members or columns of a craft that would give it."""
        for name, source in craft_fields.describe_craft(self._calculator).items():
            if name in self._calculator.required_inputs and name not in self._taken and name not in self._own:
                terms = [term.name for term in source.sum_of if term.is_base]
                if source.table or terms:
                    yield name, join_with_or([f"{source.table}.{source.column}"] if source.table else terms)

    def _list_used(self) -> Iterator[tuple[str, str]]:
        """Yield the member that chooses a row, and its name, for each table of which one row was used."""
        craft = self._craft
        for member, table in craft_fields.get_choices().items():
            explicit = {craft.chosen[table]} if table in craft.explicit and table in craft.chosen else set()
            used = explicit or {at for name, at in self._used if name == table}
            if len(used) == 1:
                at = used.pop()
                self._check_name(table, craft.rows[table][at])
                yield member, list(list_names(craft, table))[at]

    def _check_name(self, table: str, row: Row) -> None:
        """Add an error for the name of a row that the response would have."""
        if "name" in row:
            kind, cell = craft_fields.get_tables()[table].columns["name"], row["name"]
            for error in read_plain(kind, [cell.value], text=False).errors.get(0, ()):
                self._craft.errors.append(dataclasses.replace(error, pointer=cell.pointer))

    def _collect_cells(self) -> dict[str, Cell]:
        """Return the values of plain inputs: of chosen rows, then of the craft's own members."""
        cells: dict[str, Cell] = {}
        for table, at, row in self._list_rows():
            above = {*self._own, *cells}
            new = {n: cell for n, cell in row.items() if n not in above and not craft_fields.is_voided(n, above)}
            cells |= new
            if new:
                self._used.add((table, at))
        above = {*self._own, *cells}
        for name, cell in self._craft.plain.items():
            is_free = name in self._fields and name not in cells and not craft_fields.is_voided(name, above)
            if is_free and not self._belongs_to_rows(name):
                cells[name] = cell
        return cells

    def _list_rows(self) -> Iterator[tuple[str, int, Row]]:
        """Yield table, place, and the chosen row by the inputs that its columns stand for, most specific first."""
        flown: Row = {}
        for name, table, choice in self._chosen:
            is_recorded = bool(choice.needs) and choice.needs in self._fields
            at = self._find_flight(name, choice) if is_recorded else self._craft.chosen.get(name)
            if at is None or name in self._fields:
                continue
            row = self._craft.rows[name][at]
            if is_recorded:
                row = flown = self._complete(name, row)
            elif flown and self._is_other(name, table.known, flown):
                continue
            row = self._add_sums(name, table.columns, row)
            pairs = craft_fields.list_stands_for(choice, table.columns, self._fields)
            read = self._adder.read_cell
            yield (
                name,
                at,
                {taken: read(table.columns[column], column, row) for column, taken in pairs if column in row},
            )

    def _find_flight(self, name: str, choice: ChosenBy) -> int | None:
        """Return the place of the row that is named, else of the first that names no other pack than the request."""
        craft = self._craft
        if name in craft.explicit:
            return craft.chosen.get(name)
        members = craft_fields.get_members()
        named = {members[table]: craft.chosen.get(table) for table in choice.names_rows_of if table in craft.explicit}
        rows = craft.rows.get(name, [])
        fitting = (at for at, row in enumerate(rows) if all(row[m].value == n for m, n in named.items() if m in row))
        return next(fitting, None)

    def _is_other(self, name: str, columns: frozenset[str], flown: Row) -> bool:
        """Return whether a row of another table, which nothing names, would be mixed with that of the request."""
        own = {column for column in flown if column != "name"}
        return name not in self._craft.explicit and not own.isdisjoint(columns)

    def _complete(self, name: str, row: Row) -> Row:
        """Return a row with what it lacks from rows of other tables that the request names."""
        choice = craft_fields.get_tables()[name].kind.chosen_by
        row = dict(row)
        for table in choice.names_rows_of if choice is not None else ():
            if table in self._craft.explicit and table in self._craft.chosen:
                fill_row(self._craft, name, row, table, self._craft.chosen[table])
        return row

    def _belongs_to_rows(self, name: str) -> bool:
        """Return whether a single input of the craft is already in the rows of a table that the calculator takes."""
        return any(
            any(craft_fields.list_stands_for(choice, table.columns, {name}))
            for table_name, table, choice in self._chosen
            if table_name in self._fields and not choice.needs and self._craft.rows.get(table_name)
        )

    def _add(self, name: str, kind: Kind, cell: Cell) -> None:
        self._taken[name] = _without_uncertainty(cell.value) if getattr(kind, "exact", False) else cell.value
        if cell.pointer:
            self._pointers[f"/{name}"] = cell.pointer

    def _add_sum(self, name: str, kind: Quantity) -> None:
        before = len(self._adder.errors)
        addends = self._adder.list_addends(kind.sum_of, self._craft.chosen)
        total = self._adder.add_up(kind, addends)
        if total is not None:
            self._add(name, kind, total)
            self._use(addends)
        elif len(self._adder.errors) > before:
            self._failed.add(name)

    def _use(self, addends: Sequence[Addend]) -> None:
        self._used |= {(each.table, each.at) for each in addends}

    def _take_table(self, name: str, kind: Table) -> None:
        addends = self._adder.list_addends(kind.sum_of, self._craft.chosen)
        if len(addends) > kind.max_length:
            own = len(self._craft.rows.get(name, []))
            detail = f"The list has {own} entries, and {len(addends) - own} more come from other tables of the craft; "
            detail += f"together they may be up to {kind.max_length}"
            self._failed.add(name)
            self._craft.errors.append(InputError(f"/{MEMBER}/{name}", detail, None, kind.describe_accepted()))
            return
        if addends:
            self._use(addends)
            rows = [self._make_row(name, kind, addend) for addend in addends]
            self._add_rows(name, kind, rows, [addend.pointer for addend in addends])
            return
        rows = self._craft.rows.get(name, [])
        if name not in self._craft.rows:
            return
        order = list(range(len(rows)))
        if name in self._craft.explicit and name in self._craft.chosen:
            order.insert(0, order.pop(self._craft.chosen[name]))  # the one that the others are compared with
        pointers = [f"/{MEMBER}/{name}/{at}" for at in order]
        self._add_rows(name, kind, [self._add_sums(name, kind.input_columns, rows[at]) for at in order], pointers)

    def _make_row(self, name: str, kind: Table, addend: Addend) -> Row:
        """Return an entry of a sum as a row of the table of such entries."""
        if addend.table == name:
            return self._craft.rows[name][addend.at]
        own = next(term for term in kind.sum_of if term.name.partition(".")[0] == name)
        value, count = (part.partition(".")[2] for part in (own.name, own.times))
        cells = {value: addend.value, f"{value}_u": addend.uncertainty}
        row: Row = {"name": Cell(addend.name, ""), **{column: cell for column, cell in cells.items() if cell}}
        if addend.multiple > 1:
            row[count] = Cell(int(addend.multiple), "")
        return row

    def _add_rows(self, name: str, kind: Table, rows: Sequence[Row], pointers: Sequence[str]) -> None:
        columns = kind.input_columns
        known = {*columns, *(f"{column}_u" for column in craft_fields.list_quantities(columns))}
        known -= {
            column
            for column, inner in columns.items()
            if isinstance(inner, RowName) and inner.of in self._craft.unreadable
        }
        self._taken[name] = [{column: cell.value for column, cell in row.items() if column in known} for row in rows]
        self._pointers[f"/{name}"] = f"/{MEMBER}/{name}"
        for at, (row, pointer) in enumerate(zip(rows, pointers, strict=True)):
            self._pointers[f"/{name}/{at}"] = pointer
            self._pointers |= {f"/{name}/{at}/{column}": cell.pointer for column, cell in row.items() if cell.pointer}

    def _add_sums(self, name: str, columns: Mapping[str, Kind], row: Row) -> Row:
        """Return a row of a table with what adds up from the rows of other tables that it names."""
        choice = craft_fields.get_tables()[name].kind.chosen_by
        members = craft_fields.get_members()
        named = {
            table: row[members[table]].value
            for table in (choice.names_rows_of if choice is not None else ())
            if members.get(table) in row
        }
        if not named:
            return row
        row = {column: cell for column, cell in row.items() if column not in members.values()}
        chosen: dict[str, int] = dict(self._craft.chosen)
        chosen |= {table: at for table, at in named.items() if isinstance(at, int)}
        for column, column_kind in columns.items():
            if column not in row and isinstance(column_kind, Quantity) and column_kind.sum_of:
                total = self._adder.add_up(column_kind, self._adder.list_addends(column_kind.sum_of, chosen))
                if total is not None:
                    row[column] = total
        return row


def _without_uncertainty(value: object) -> object:
    """Return a quantity without its standard uncertainty, for a calculator that propagates none."""
    match = match_quantity(replace_lookalikes(value)) if isinstance(value, str) else None
    if match is None or match[2] is None:
        return value
    return f"{match[1]} {match[3]}" if match[3] else float(match[1])
