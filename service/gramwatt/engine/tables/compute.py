"""A chunk of questions answered: columns of results, ready to be written."""

from __future__ import annotations

import functools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from gramwatt.engine import budget, registry
from gramwatt.engine.column_types import ABSENT, Cells, ConstantColumn, column_uncertainties
from gramwatt.engine.columns import unknown_input_errors
from gramwatt.engine.evaluate import Outcome, evaluate_columns
from gramwatt.engine.input_plans import get_rules_and_cautions
from gramwatt.engine.limits import MAX_NESTED_ROWS
from gramwatt.engine.nested import read_column
from gramwatt.engine.response import build_response, check_result_units, get_declared_units
from gramwatt.engine.tables.blocks import rows_per_block
from gramwatt.engine.tables.chunks import BLOCK_ROWS, MAX_CHUNK_ROWS, Chunk, PassthroughValues, slice_cells
from gramwatt.model import BoolArray, Calculator, Choice, Count, Kind, NumberList, Quantity, Rule, units
from gramwatt.model.messages import InputError, quote_input


@dataclass(frozen=True, slots=True)
class Plan:
    """What is asked of every row, and what of the answer is wanted. Can be sent to another process."""

    calculator_name: str
    constants: Mapping[str, object] = field(default_factory=dict)
    """Inputs that every row shares."""
    text: bool = True
    """Whether those are words of a query rather than JSON values."""
    result_units: Mapping[str, str] = field(default_factory=dict)
    shown_inputs: tuple[str, ...] = ()
    """Inputs that come back too, as understood."""
    uncertain: bool = False
    """Whether standard uncertainties are propagated, into columns ``<result>_u``."""

    @property
    def calculator(self) -> Calculator[Any, Any]:
        """The calculator that is asked."""
        return registry.get(self.calculator_name)


@dataclass(frozen=True, slots=True)
class OutputColumn:
    """A column of the answer; its unit in the answer, ``1`` where it has none."""

    name: str
    kind: Kind
    unit: str
    section: str
    """``given``, ``results`` or ``uncertainty``."""


@functools.lru_cache(maxsize=256)
def _output(
    calculator: Calculator[Any, Any], chosen: tuple[tuple[str, str], ...], shown: tuple[str, ...], uncertain: bool
) -> Any:
    told = {
        **get_declared_units(calculator.input_fields),
        **get_declared_units(calculator.result_fields),
        **dict(chosen),
    }
    columns = [
        OutputColumn(name, calculator.input_fields[name], told.get(name, "1"), "given")
        for name in shown
        if name not in calculator.result_fields
    ]
    for name, kind in calculator.result_fields.items():
        columns.append(OutputColumn(name, kind, told.get(name, "1"), "results"))
        if uncertain and isinstance(kind, Quantity | Count):
            unit = told.get(name, "1")
            width = "K" if units.get_unit(unit).dimension == "temperature" else unit
            columns.append(OutputColumn(f"{name}_u", Quantity(width, ""), width, "uncertainty"))
    return tuple(columns)


def output_columns(plan: Plan) -> tuple[OutputColumn, ...]:
    """The columns of the answer, before ``cautions`` and ``error``, in order."""
    made: tuple[OutputColumn, ...] = _output(
        plan.calculator, tuple(plan.result_units.items()), plan.shown_inputs, plan.uncertain
    )
    return made


@dataclass(slots=True)
class BatchResult:
    """A piece of the answer. ``columns`` by name: doubles (nan without an answer), codes, or lists of plain values."""

    first: int
    rows: int
    passthrough_columns: Mapping[str, PassthroughValues]
    columns: Mapping[str, Any]
    caution_index: Any
    """Position of each row's cautions in ``cautions``."""
    cautions: Sequence[tuple[str, ...]]
    errors: Mapping[int, Sequence[InputError]]


def compute_batch(plan: Plan, chunk: Chunk) -> Iterator[BatchResult]:
    """Answer a chunk, a block of rows at a time."""
    calculator = plan.calculator
    cells: dict[str, Cells] = dict(chunk.cells)
    cells |= {name: ConstantColumn(cell, chunk.rows, text=plan.text) for name, cell in plan.constants.items()}
    if not calculator.columnwise:
        yield from _each(plan, chunk, cells)
        return
    if chunk.rows > MAX_CHUNK_ROWS:
        for start in range(0, chunk.rows, MAX_CHUNK_ROWS):
            yield from compute_batch(plan, chunk.slice(start, start + MAX_CHUNK_ROWS))
        return
    filled = ResultColumns(plan, chunk.rows)
    rows = rows_per_block(calculator, cells) if plan.uncertain else BLOCK_ROWS
    for start in range(0, chunk.rows, rows):
        budget.check()
        stop = min(start + rows, chunk.rows)
        block = {name: slice_cells(column, start, stop) for name, column in cells.items()}
        spreads = {name: block.pop(name) for name in list(block) if name not in calculator.input_fields}
        outcome = evaluate_columns(
            calculator, block, stop - start, text=chunk.text, propagates=plan.uncertain, uncertainties=spreads
        )
        whole = {row - start: found for row, found in chunk.errors.items() if start <= row < stop}
        filled.put(outcome, start, {**outcome.errors, **whole})
    yield filled.answered(chunk)


class ResultColumns:
    """The columns of a chunk's answer, filled a block at a time: each number is written once, where it stays."""

    def __init__(self, plan: Plan, rows: int) -> None:
        self._rows, self._columns = rows, output_columns(plan)
        self._values: dict[str, Any] = {}
        self._notes: dict[str, BoolArray] = {}
        self._order = {said.code: at for at, said in enumerate(get_rules_and_cautions(plan.calculator))}
        self._faults: dict[int, Sequence[InputError]] = {}

    def put(self, outcome: Outcome, start: int, errors: Mapping[int, Sequence[InputError]]) -> None:
        """Take in the block that begins at row ``start``."""
        span = slice(start, start + outcome.rows)
        faulty = list(errors)
        for column in self._columns:
            values, unit = _values(column, outcome)
            room = self._room(column, values, start)[span]
            if unit is None or (unit.scale == 1 and unit.offset == 0):
                room[...] = values
            elif unit.offset == 0:
                np.divide(values, unit.scale, out=room)
            else:
                np.subtract(values, unit.offset, out=room)
                room /= unit.scale
            if faulty:  # their values are those of another row
                room[faulty] = -1 if room.dtype.kind == "i" else np.nan
        for code, holds in _concerning(outcome):
            if code not in self._notes:
                self._notes[code] = np.zeros(self._rows, dtype=np.bool_)
            self._notes[code][span] = holds
            if faulty:
                self._notes[code][span][faulty] = False
        self._faults |= {start + row: found for row, found in errors.items()}

    def _room(self, column: OutputColumn, values: Any, start: int) -> Any:
        room = self._values.get(column.name)
        if room is None or room.shape[1:] != np.shape(values)[1:]:
            before = room
            kind = np.intp if isinstance(column.kind, Choice) else np.float64
            room = self._values[column.name] = np.empty((self._rows, *np.shape(values)[1:]), dtype=kind)
            room[:start] = -1 if kind is np.intp else np.nan
            if before is not None and before.ndim > room.ndim:
                room = self._values[column.name] = before
        return room

    def answered(self, chunk: Chunk) -> BatchResult:
        """The whole."""
        notes = sorted(self._notes.items(), key=lambda note: self._order[note[0]])
        at, cautions = _combinations(notes, self._rows)
        return BatchResult(chunk.first, self._rows, chunk.passthrough_columns, self._values, at, cautions, self._faults)


def _values(column: OutputColumn, outcome: Outcome) -> tuple[Any, units.Unit | None]:
    """A column's values as computed, and the unit that they are wanted in; one nan where no row has an answer."""
    if outcome.results is None:
        return (-1 if isinstance(column.kind, Choice) else np.nan), None
    if column.section == "uncertainty":
        standard = None if outcome.uncertainty is None else outcome.uncertainty.standard.get(column.name[:-2])
        if standard is None:
            standard = np.zeros(outcome.rows)
        result = getattr(outcome.results, column.name[:-2])
        return np.where(np.isfinite(result), standard / units.get_unit(column.unit).scale, np.nan), None
    values = getattr(outcome.results if column.section == "results" else outcome.inputs, column.name)
    return values, units.get_unit(column.unit) if isinstance(column.kind, Quantity | NumberList) else None


def _combinations(notes: Sequence[tuple[str, BoolArray]], rows: int) -> tuple[Any, list[tuple[str, ...]]]:
    """Each row's codes as a position in a list of the few combinations there are; the first of them is none."""
    if not notes:
        return np.zeros(rows, dtype=np.uint8), [()]
    if len(notes) <= 4:  # so few that it does not matter which of them there are
        at: Any = np.zeros(rows, dtype=np.uint8)
        for bit, (_, holds) in enumerate(notes):
            at |= holds.view(np.uint8) << np.uint8(bit)
        used: Any = np.arange(1 << len(notes))
    else:
        combined = np.zeros(rows + 1, dtype=np.int64)  # one row more, with none, so that this is always the first
        for bit, (_, holds) in enumerate(notes[:60]):
            combined[1:] += holds.astype(np.int64) << bit
        used, at = np.unique(combined, return_inverse=True)
        at = at[1:]
    codes = [code for code, _ in notes]
    return at, [tuple(code for bit, code in enumerate(codes) if which >> bit & 1) for which in used.tolist()]


def _concerning(outcome: Outcome) -> list[tuple[str, BoolArray]]:
    """Codes with their rows: cautions that do not always hold, and rules where they explain an empty result. What
    always holds is not repeated in each row."""
    found: list[tuple[str, BoolArray]] = []
    empty: dict[str, BoolArray] = {}
    for note in outcome.notices:
        if not isinstance(note.source, Rule):
            if not note.source.is_always_shown:
                found.append((note.source.code, note.rows))
            continue
        concerned = np.zeros_like(note.rows)
        for name in note.source.results:
            lacking = empty[name] if name in empty else _is_empty(getattr(outcome.results, name))
            concerned |= lacking & note.rows
            empty[name] = lacking & ~note.rows
        if concerned.any():
            found.append((note.source.code, concerned))
    return found


def _is_empty(values: Any) -> BoolArray:
    """Rows without an answer, of a result that is a number, a choice or a list."""
    lacking = values < 0 if values.dtype.kind == "i" else ~np.isfinite(values)
    return np.asarray(lacking if lacking.ndim == 1 else lacking.any(axis=1))


def _each(plan: Plan, chunk: Chunk, cells: Mapping[str, Cells]) -> Iterator[BatchResult]:
    """Questions with lists or tables, one by one: their lengths need not agree."""
    granted = budget.get_current()
    if granted is not None:
        granted.rows_each = MAX_NESTED_ROWS
    calculator, start = plan.calculator, 0
    piece = _Piece(plan)
    for row in range(chunk.rows):
        budget.check()
        if row in chunk.errors:
            piece.put({}, chunk.errors[row])
        else:
            single = {name: slice_cells(column, row, row + 1) for name, column in cells.items()}
            single = {name: cell for name, cell in single.items() if not _is_absent(cell)}
            spreads = {name: single.pop(name) for name in list(single) if name not in calculator.input_fields}
            outcome = evaluate_columns(
                calculator, single, 1, text=chunk.text, propagates=plan.uncertain, uncertainties=spreads
            )
            if outcome.errors:
                piece.put({}, outcome.errors[0])
            else:
                piece.put(build_response(outcome, 0, result_units=plan.result_units))
            del outcome
        if piece.result_rows > MAX_NESTED_ROWS // 2:
            yield piece.answered(chunk.slice(start, row + 1))
            start, piece = row + 1, _Piece(plan)
    if start < chunk.rows or not chunk.rows:
        yield piece.answered(chunk.slice(start, chunk.rows))


class _Piece:
    """Columns of answers that are made one by one."""

    def __init__(self, plan: Plan) -> None:
        self._calculator, self._columns = plan.calculator, output_columns(plan)
        self._made: dict[str, list[Any]] = {column.name: [] for column in self._columns}
        self._faults: dict[int, Sequence[InputError]] = {}
        self._combinations: dict[tuple[str, ...], int] = {(): 0}
        self._at: list[int] = []
        self.result_rows = 0
        """Rows of all tables within the results."""

    def put(self, told: Mapping[str, Any], errors: Sequence[InputError] = ()) -> None:
        """Add a row: its answer, or what is wrong with it."""
        if errors:
            self._faults[len(self._at)] = errors
        codes = _codes(self._calculator, told) if told else ()
        self._at.append(self._combinations.setdefault(codes, len(self._combinations)))
        for column in self._columns:
            cell = _cell(column, told)
            self._made[column.name].append(cell)
            self.result_rows += len(cell) if isinstance(cell, list) else 0

    def answered(self, chunk: Chunk) -> BatchResult:
        """The rows so far, which are those of a chunk."""
        at = np.array(self._at, dtype=np.int64)
        return BatchResult(
            chunk.first, chunk.rows, chunk.passthrough_columns, self._made, at, list(self._combinations), self._faults
        )


def _is_absent(cells: Cells) -> bool:
    return isinstance(cells, list) and cells[0] is ABSENT


def _codes(calculator: Calculator[Any, Any], told: Mapping[str, Any]) -> tuple[str, ...]:
    standing_codes = {caution.code for caution in calculator.cautions if caution.is_always_shown}
    return tuple(dict.fromkeys(each["code"] for each in told["cautions"] if each["code"] not in standing_codes))


def _cell(column: OutputColumn, told: Mapping[str, Any]) -> Any:
    if not told:
        return None
    if column.section == "uncertainty":
        return told.get("uncertainty", {}).get(column.name[:-2], {}).get("standard")
    return told[column.section].get(column.name)


def standing_codes(calculator: Calculator[Any, Any]) -> tuple[str, ...]:
    """The codes of the cautions that hold whatever was asked."""
    return tuple(caution.code for caution in calculator.cautions if caution.is_always_shown)


def check_constants(
    calculator: Calculator[Any, Any], constants: Mapping[str, object], *, text: bool
) -> list[InputError]:
    """What is wrong with the inputs that every row shares."""
    asked = calculator.input_fields
    errors: list[InputError] = []
    compared = 0
    for name, cell in constants.items():
        if name in asked:
            errors += [error.under(name) for error in read_column(asked[name], [cell], text=text).errors.get(0, ())]
        else:
            errors += unknown_input_errors({name: cell}, tuple(asked), compared)
            compared += 1
    return errors


def make_plan(
    calculator: Calculator[Any, Any],
    constants: Mapping[str, object],
    *,
    text: bool,
    result_units: Mapping[str, str],
    show_inputs: bool,
    uncertain: bool,
) -> tuple[Plan, list[InputError], list[InputError]]:
    """What every row is asked; the faults of the inputs that every row shares, and those of the units wished for."""
    wrong = check_constants(calculator, constants, text=text)
    of_units = []
    try:
        check_result_units(calculator, result_units)
    except ValueError as error:
        told = ",".join(f"{name}:{unit}" for name, unit in result_units.items())
        of_units.append(InputError("/units", str(error), quote_input(told), "result:unit pairs"))
    uncertain = uncertain or (not wrong and carries_uncertainty(calculator, constants, text=text))
    given = tuple(calculator.input_fields) if show_inputs else ()
    return Plan(calculator.name, dict(constants), text, result_units, given, uncertain), wrong, of_units


def carries_uncertainty(calculator: Calculator[Any, Any], constants: Mapping[str, object], *, text: bool) -> bool:
    """Whether any input that every row shares tells an uncertainty."""
    columns = [
        read_column(calculator.input_fields[name], [cell], text=text)
        for name, cell in constants.items()
        if name in calculator.input_fields
    ]
    spreads = [spread for column in columns for spread in (column.uncertainty, *column_uncertainties(column).values())]
    return any(spread is not None and spread.any() for spread in spreads)
