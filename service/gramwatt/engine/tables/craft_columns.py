"""Craft documents in tables: one for all rows, or one in each; the columns of a table take precedence over either."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from gramwatt.engine import craft_fields
from gramwatt.engine.column_types import ABSENT, Cells, ConstantColumn, DictionaryColumn, JsonCell, NumericColumn
from gramwatt.engine.columns import get_cell, list_cells
from gramwatt.engine.craft import CraftInputs, list_lacking_craft, take_inputs
from gramwatt.engine.craft_document import Cell
from gramwatt.engine.craft_fields import MEMBER
from gramwatt.engine.nested import read_column
from gramwatt.engine.row_names import collect_names
from gramwatt.model import AnyCalculator, BoolArray
from gramwatt.model.messages import InputError

NOTHING: Final = CraftInputs()


def list_members(calculator: AnyCalculator) -> frozenset[str]:
    """Return the names of the columns for a craft document and for the rows that it chooses."""
    return frozenset({MEMBER, *craft_fields.get_choices()}) - calculator.input_fields.keys()


def take_for_constants(
    calculator: AnyCalculator, constants: Mapping[str, object], own: Collection[str], *, text: bool
) -> CraftInputs:
    """Return what rows take from the craft document among their constants, beside inputs named ``own``.

    The values of these are not known: what adds up from them is what the others add.
    """
    if MEMBER not in constants:
        return NOTHING
    members = list_members(calculator)
    choices = {name: value for name, value in constants.items() if name in members and name != MEMBER}
    known = {name: constants.get(name, ABSENT) for name in {*own, *constants} if name in calculator.input_fields}
    return take_inputs(calculator, constants[MEMBER], choices, known, text=text)


def take_and_check_craft(
    calculator: AnyCalculator, constants: Mapping[str, object], own: Collection[str], *, text: bool
) -> tuple[CraftInputs, list[InputError]]:
    """Return what rows take from the craft document among their constants, with the errors in it.

    What adds up from inputs named ``own`` is checked in each row.
    """
    taken = take_for_constants(calculator, constants, own, text=text)
    fields = calculator.input_fields
    names = collect_names(calculator, {n: [cell] for n, cell in {**constants, **taken.inputs}.items()}, complete=False)
    varies = not craft_fields.list_added_inputs(calculator).isdisjoint(own)
    errors: list[InputError] = []
    for name, cell in taken.inputs.items():
        if not (varies and fields[name].sum_of):
            column = read_column(fields[name], [cell], text=False, names=names)
            errors += [error.under(name) for error in column.errors.get(0, ())]
    return taken, taken.locate(errors)


@dataclass(frozen=True, slots=True)
class CraftRows:
    """The columns of some rows with what they take from craft documents."""

    cells: Mapping[str, Cells]
    groups: Sequence[CraftInputs] = ()
    """What the rows take; few different ones."""
    at: Sequence[int] = ()
    """Which of the groups each row takes."""

    def locate(self, errors: Mapping[int, Sequence[InputError]]) -> dict[int, Sequence[InputError]]:
        """Return errors by row with pointers into the documents, and those of the documents themselves."""
        located = dict(errors)
        for row, group in enumerate(self.at):
            if group and (row in errors or self.groups[group].errors):
                located[row] = self.groups[group].locate(errors.get(row, ()))
        return located


def merge_craft(
    calculator: AnyCalculator, cells: Mapping[str, Cells], constants: Mapping[str, object], rows: int, *, text: bool
) -> CraftRows:
    """Return the columns of ``rows`` rows, completed from the craft documents in the columns or the constants."""
    members = list_members(calculator)
    if MEMBER not in cells and MEMBER not in constants:
        return CraftRows(cells)
    own = {name: column for name, column in cells.items() if name not in members}
    fixed = {name: value for name, value in constants.items() if name in members}
    chosen = {name: list_cells(cells[name]) for name in members if name in cells}
    groups: list[CraftInputs] = [NOTHING]
    at = [0] * rows
    known: dict[Any, int] = {}
    for row, key in enumerate(_list_keys(calculator, own, chosen, rows)):
        if key not in known:
            known[key] = len(groups)
            documents = {**fixed, **{name: column[row] for name, column in chosen.items() if column[row] is not ABSENT}}
            groups.append(_take(calculator, documents, own, row, text=text))
        at[row] = known[key]
    index = np.array(at, dtype=np.intp)
    for name in calculator.input_fields:
        values = [group.inputs.get(name, ABSENT) for group in groups]
        if any(value is not ABSENT for value in values):
            own[name] = _fill(own.get(name), values, index)
    return CraftRows(own, groups, at)


def _take(
    calculator: AnyCalculator, documents: Mapping[str, object], own: Mapping[str, Cells], row: int, *, text: bool
) -> CraftInputs:
    choices = {name: value for name, value in documents.items() if name != MEMBER}
    if MEMBER not in documents:
        return CraftInputs(errors=tuple(list_lacking_craft(choices)))
    given = list_own_cells(own, row, text=text)
    return take_inputs(calculator, documents[MEMBER], choices, given, text=text)


def list_own_cells(columns: Mapping[str, Cells], row: int, *, text: bool) -> dict[str, Cell]:
    """Return the cells that a row gives. ``text`` holds for those of a table; constants say it themselves."""
    cells = {
        name: Cell(get_cell(column, row), f"/{name}", text or (isinstance(column, ConstantColumn) and column.text))
        for name, column in columns.items()
    }
    return {name: cell for name, cell in cells.items() if cell.value is not ABSENT}


def _list_keys(
    calculator: AnyCalculator, own: Mapping[str, Cells], chosen: Mapping[str, Sequence[object]], rows: int
) -> Iterator[Any]:
    """Yield a key for each row; rows with the same key take the same from their craft."""
    masks = [mask for column in own.values() if not (mask := _find_present(column)).all()]
    added = [column for name, column in own.items() if name in craft_fields.list_added_inputs(calculator)]
    if not masks and not chosen and not added:
        yield from [None] * rows
        return
    patterns = np.packbits(np.array(masks), axis=0).T if masks else np.zeros((rows, 0), dtype=np.uint8)
    for row in range(rows):
        documents = tuple(
            id(cell) if isinstance(cell, dict | list) else cell for cell in (column[row] for column in chosen.values())
        )
        yield patterns[row].tobytes(), documents, tuple(str(get_cell(column, row)) for column in added)


def _find_present(cells: Cells) -> BoolArray:
    if isinstance(cells, ConstantColumn):
        return np.ones(len(cells), dtype=np.bool_)
    if isinstance(cells, DictionaryColumn):
        return np.asarray(cells.at >= 0)
    if isinstance(cells, NumericColumn):
        present = np.array(cells.present)
        present[list(cells.others)] = True
        return present
    return np.array([cell is not ABSENT for cell in cells], dtype=np.bool_)


def _fill(own: Cells | None, values: Sequence[object], at: Any) -> Cells:
    """Return a column in which the rows without a cell take that of their group, a JSON value."""
    taken = [value if value is ABSENT else JsonCell(value) for value in values]
    if own is None:
        places = np.array([-1 if value is ABSENT else place for place, value in enumerate(values)], dtype=np.intp)
        return DictionaryColumn(["" if cell is ABSENT else cell for cell in taken], places[at])
    empty = np.flatnonzero(~_find_present(own)).tolist()
    if not empty:
        return own
    cells = list_cells(own)
    for row in empty:
        cells[row] = taken[at[row]]
    return cells
