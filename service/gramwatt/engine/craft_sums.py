"""What adds up in a craft: the all-up mass of parts, propellers and pack, as one quantity or as the rows of a table."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final, NamedTuple

import numpy as np

from gramwatt.engine import craft_fields
from gramwatt.engine.column_types import ABSENT
from gramwatt.engine.columns import read_plain, uncertainty_kind
from gramwatt.engine.craft_document import Cell, Craft, Row, list_names
from gramwatt.engine.given import restore_quantity
from gramwatt.model import Kind, Quantity, Term, get_label
from gramwatt.model.messages import InputError, format_number
from gramwatt.physics.statistics import reading_uncertainty

UNCERTAINTY_DIGITS: Final = 6
"""Significant digits of the uncertainty of a sum: far more than it is known to."""


class Addend(NamedTuple):
    """One entry of a sum: what it is, its kind, its value if given, its separate uncertainty, and how often it is."""

    name: str
    kind: Quantity
    value: Cell | None
    uncertainty: Cell | None
    pointer: str
    multiple: float
    table: str = ""
    """The table that it is a row of, if any, and which row."""
    at: int = 0


class Adder:
    """Adds up terms of a craft. ``own`` are inputs of the request, which take precedence over the craft's."""

    def __init__(self, craft: Craft, own: Mapping[str, Cell]) -> None:
        self._craft, self._own = craft, own
        self.errors: list[InputError] = []

    def add_up(self, kind: Quantity, addends: Sequence[Addend]) -> Cell | None:
        """Return the sum as a quantity of this kind, with its standard uncertainty as ``212 ± 1`` where it has one.

        None where there is no sum: a needed term is missing, or there is an error.
        """
        if not addends or any(each.value is None for each in addends):
            return None
        before = len(self.errors)
        values: list[float] = []
        variances: list[float] = []
        for addend in addends:
            value, stated = self._read(addend)
            step = 0.0 if addend.kind.display is None else self._read_number(addend.kind.display.step)
            values.append(addend.multiple * value)
            displayed = float(reading_uncertainty(np.array([step]))[0])
            variances.append(addend.multiple**2 * (stated**2 + displayed**2))
        if len(self.errors) > before:
            return None
        scale = kind.bounds.unit.scale
        total, uncertainty = math.fsum(values) / scale, math.sqrt(math.fsum(variances)) / scale
        if not uncertainty or kind.exact:
            return Cell(float(format_number(total)), "")
        return Cell(f"{format_number(total)} ± {format_number(uncertainty, UNCERTAINTY_DIGITS)}", "")

    def read_cell(self, kind: Kind, name: str, row: Row) -> Cell:
        """Return a cell of a row; with a separate standard uncertainty, both as one text: ``1300 ± 20``."""
        cell, uncertainty = row[name], row.get(f"{name}_u")
        if uncertainty is None or not isinstance(kind, Quantity):
            return cell
        column = read_plain(kind, [cell.value], text=cell.text)
        separate = self._parse(uncertainty_kind(name, kind), uncertainty)
        if column.errors:
            return cell  # reading it as an input reports them
        stated = 0.0 if column.uncertainty is None else float(column.uncertainty[0])
        return Cell(restore_quantity(kind, float(column.values[0]), math.hypot(stated, separate)), cell.pointer)

    def list_addends(self, terms: tuple[Term, ...], chosen: Mapping[str, int]) -> list[Addend]:
        """Return the entries of a sum; none where none of them can be a sum by itself.

        ``chosen`` are the rows of tables.
        """
        addends: list[Addend] = []
        has_base = False
        for term in terms:
            found = list(self._list_addends_of(term, chosen))
            has_base |= term.is_base and bool(found)
            addends += found
        return addends if has_base else []

    def _list_addends_of(self, term: Term, chosen: Mapping[str, int]) -> Iterator[Addend]:
        name, _, column = term.name.partition(".")
        table = craft_fields.get_tables().get(name)
        kind = craft_fields.get_fields().get(name) if table is None else table.columns.get(column)
        if not isinstance(kind, Quantity):
            return
        if table is None:
            cell = self._find(name)
            if cell is not None:
                yield Addend(get_label(name, kind), kind, cell, None, cell.pointer, self._count(term, {}))
            return
        rows = self._craft.rows.get(name, [])
        names = list(list_names(self._craft, name))
        taken = range(len(rows)) if table.kind.chosen_by is None else [chosen[name]] if name in chosen else []
        for at in taken:
            row = rows[at]
            if column in row or kind.is_required:
                place = f"/{craft_fields.MEMBER}/{name}/{at}"
                cells = row.get(column), row.get(f"{column}_u")
                label = names[at] or get_label(name, table.kind)
                yield Addend(label, kind, *cells, place, self._count(term, row), name, at)

    def _find(self, name: str) -> Cell | None:
        return self._own.get(name) or self._craft.plain.get(name)

    def _count(self, term: Term, row: Row) -> float:
        if not term.times:
            return 1.0
        name, _, column = term.times.partition(".")
        if not column:
            return self._read_number(name)
        kind = craft_fields.get_tables()[name].columns[column]
        return self._parse(kind, row.get(column))

    def _read_number(self, name: str) -> float:
        """Return an input in SI units; its default where it is not given."""
        kind = craft_fields.get_fields().get(name)
        return 0.0 if kind is None else self._parse(kind, self._find(name))

    def _read(self, addend: Addend) -> tuple[float, float]:
        """Return a value and its stated standard uncertainty in SI units."""
        cell = addend.value
        if cell is None or cell.value is ABSENT:
            return 0.0, 0.0
        column = read_plain(addend.kind, [cell.value], text=cell.text)
        self._collect(column.errors.get(0, ()), cell)
        stated = 0.0 if column.uncertainty is None else float(column.uncertainty[0])
        if addend.uncertainty is not None:
            separate = self._parse(uncertainty_kind(addend.name, addend.kind), addend.uncertainty)
            stated = math.hypot(stated, separate)
        return float(column.values[0]) if not column.errors else 0.0, stated

    def _parse(self, kind: Kind, cell: Cell | None) -> float:
        if cell is None or cell.value is ABSENT:
            return float(kind.to_internal(kind.default)) if kind.default is not None else 0.0
        column = read_plain(kind, [cell.value], text=cell.text)
        self._collect(column.errors.get(0, ()), cell)
        return float(column.values[0]) if not column.errors else 0.0

    def _collect(self, errors: Iterable[InputError], cell: Cell) -> None:
        for error in errors:
            located = dataclasses.replace(error, pointer=cell.pointer)
            if located not in self.errors:
                self.errors.append(located)
