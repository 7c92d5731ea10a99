"""Compute a chunk of rows: output columns, ready to be written."""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from gramwatt.engine import budget
from gramwatt.engine.cautions import NO_RESULT, POSSIBLY, POSSIBLY_RANK, UNUSUAL_RANK, get_rank
from gramwatt.engine.column_types import Cells, ConstantColumn
from gramwatt.engine.evaluate import Outcome, evaluate_columns
from gramwatt.engine.tables.blocks import get_block_rows
from gramwatt.engine.tables.chunks import BLOCK_ROWS, MAX_CHUNK_ROWS, BatchResult, Chunk, slice_cells
from gramwatt.engine.tables.craft_columns import merge_craft
from gramwatt.engine.tables.plan import OutputColumn, Plan, output_columns
from gramwatt.engine.tables.row_by_row import compute_rows
from gramwatt.engine.uncertainty import MIN_EXPLAINED
from gramwatt.engine.unusual_inputs import UNUSUAL, find_unusual_rows
from gramwatt.model import AnyCalculator, BoolArray, Choice, NumberList, Quantity, Rule, units
from gramwatt.model.messages import InputError


def compute_batch(plan: Plan, chunk: Chunk) -> Iterator[BatchResult]:
    """Compute a chunk, a block of rows at a time. A chunk without rows has columns that pass through."""
    if not chunk.rows:
        yield BatchResult(chunk.first, 0, chunk.passthrough_columns, {}, np.zeros(0, np.intp), (), {})
        return
    calculator = plan.calculator
    cells: dict[str, Cells] = dict(chunk.cells)
    inputs = calculator.input_fields
    constants = {name: cell for name, cell in plan.constants.items() if name in inputs}
    cells |= {name: ConstantColumn(cell, chunk.rows, text=plan.text) for name, cell in constants.items()}
    if not calculator.columnwise:
        yield from compute_rows(plan, chunk, cells)
        return
    if chunk.rows > MAX_CHUNK_ROWS:
        for start in range(0, chunk.rows, MAX_CHUNK_ROWS):
            yield from compute_batch(plan, chunk.slice(start, start + MAX_CHUNK_ROWS))
        return
    results = _ColumnResults(plan, chunk.rows)
    rows = get_block_rows(calculator, cells, plan.draws) if plan.uncertain else BLOCK_ROWS
    for start in range(0, chunk.rows, rows):
        budget.check()
        stop = min(start + rows, chunk.rows)
        block = {name: slice_cells(column, start, stop) for name, column in cells.items()}
        crafts = merge_craft(calculator, block, plan.constants, stop - start, text=chunk.text)
        block = dict(crafts.cells)
        uncertainties = {name: block.pop(name) for name in list(block) if name not in inputs}
        outcome = evaluate_columns(
            calculator,
            block,
            stop - start,
            text=chunk.text,
            propagates=plan.uncertain,
            uncertainties=uncertainties,
            draws=plan.draws,
        )
        row_errors = {row - start: errors for row, errors in chunk.errors.items() if start <= row < stop}
        results.add(outcome, start, {**crafts.locate(outcome.errors), **row_errors})
    yield results.to_batch_result(chunk)


class _ColumnResults:
    """Output columns of a chunk, filled a block at a time. Each number is written once, to its final place."""

    def __init__(self, plan: Plan, rows: int) -> None:
        self._rows, self._columns = rows, output_columns(plan)
        self._values: dict[str, Any] = {}
        self._notices: dict[str, BoolArray] = {}
        """The rows of each caution or rule by its code."""
        self._order = {code: index for index, code in enumerate(_list_codes(plan.calculator))}
        self._errors: dict[int, Sequence[InputError]] = {}

    def add(self, outcome: Outcome, start: int, errors: Mapping[int, Sequence[InputError]]) -> None:
        """Add the block that begins at row ``start``."""
        span = slice(start, start + outcome.rows)
        invalid = list(errors)
        for column in self._columns:
            values, unit = _get_values(column, outcome)
            target = self._get_array(column, values, start)[span]
            if unit is None or (unit.scale == 1 and unit.offset == 0):
                target[...] = values
            elif unit.offset == 0:
                np.divide(values, unit.scale, out=target)
            else:
                np.subtract(values, unit.offset, out=target)
                target /= unit.scale
            if invalid:  # their values are those of another row
                target[invalid] = -1 if target.dtype.kind == "i" else np.nan
        for code, rows in _list_notices(outcome):
            if code not in self._notices:
                self._notices[code] = np.zeros(self._rows, dtype=np.bool_)
            self._notices[code][span] = rows
            if invalid:
                self._notices[code][span][invalid] = False
        self._errors |= {start + row: row_errors for row, row_errors in errors.items()}

    def _get_array(self, column: OutputColumn, values: Any, start: int) -> Any:
        """Return the array of a column; make it for the first block that has values of this shape."""
        array = self._values.get(column.name)
        if array is None or array.shape[1:] != np.shape(values)[1:]:
            previous = array
            dtype = np.intp if isinstance(column.kind, Choice) else np.float64
            array = self._values[column.name] = np.empty((self._rows, *np.shape(values)[1:]), dtype=dtype)
            array[:start] = -1 if dtype is np.intp else np.nan
            if previous is not None and previous.ndim > array.ndim:
                array = self._values[column.name] = previous
        return array

    def to_batch_result(self, chunk: Chunk) -> BatchResult:
        """Return all rows of the chunk."""
        notices = sorted(self._notices.items(), key=lambda notice: self._order[notice[0]])
        index, cautions = _index_combinations(notices, self._rows)
        passthrough_columns = chunk.passthrough_columns
        return BatchResult(chunk.first, self._rows, passthrough_columns, self._values, index, cautions, self._errors)


def _get_values(column: OutputColumn, outcome: Outcome) -> tuple[Any, units.Unit | None]:
    """Return the values of a column in SI, and its unit. If no row has results, return one nan (or -1)."""
    if outcome.results is None:
        return (-1 if isinstance(column.kind, Choice) else np.nan), None
    values = getattr(outcome.inputs if column.section == "given" else outcome.results, column.field)
    unit = units.get_unit(column.unit) if isinstance(column.kind, Quantity | NumberList) else None
    if column.section == "uncertainty":
        values = _get_range(column, outcome, values)
        if unit is not None and column.part == "standard":  # a difference of temperatures has no offset
            unit = dataclasses.replace(unit, offset=0.0)
    return values, unit


def _get_range(column: OutputColumn, outcome: Outcome, values: Any) -> Any:
    """Return one part of the uncertainty of a result with these values: where all inputs are exact 0, or the value."""
    propagated = None if outcome.uncertainty is None else getattr(outcome.uncertainty, column.part).get(column.field)
    if propagated is None:
        propagated = np.zeros(outcome.rows) if column.part == "standard" else values
    return np.where(np.isfinite(values), propagated, np.nan)


def _index_combinations(notices: Sequence[tuple[str, BoolArray]], rows: int) -> tuple[Any, list[tuple[str, ...]]]:
    """Return the combinations of codes that occur, the empty one first, and the index of each row's combination."""
    if not notices:
        return np.zeros(rows, dtype=np.uint8), [()]
    if len(notices) <= 4:  # so few that all combinations can be listed
        index: Any = np.zeros(rows, dtype=np.uint8)
        for bit, (_, holds) in enumerate(notices):
            index |= holds.view(np.uint8) << np.uint8(bit)
        used: Any = np.arange(1 << len(notices))
    else:
        combined = np.zeros(rows + 1, dtype=np.int64)  # one more row without codes, so that this combination is first
        for bit, (_, holds) in enumerate(notices[:60]):
            combined[1:] += holds.astype(np.int64) << bit
        used, index = np.unique(combined, return_inverse=True)
        index = index[1:]
    codes = [code for code, _ in notices]
    return index, [tuple(code for bit, code in enumerate(codes) if bits >> bit & 1) for bits in used.tolist()]


@functools.cache
def _list_codes(calculator: AnyCalculator) -> tuple[str, ...]:
    """Return all codes of cautions and rules in the order of a response."""
    rules = [(rule.code, get_rank(rule.kind, rule.severity)) for rule in calculator.rules]
    doubtful = [
        (POSSIBLY + code, get_rank(*POSSIBLY_RANK)) for code in (*(rule.code for rule in calculator.rules), NO_RESULT)
    ]
    cautions = [(caution.code, get_rank(caution.kind, caution.severity)) for caution in calculator.cautions]
    every = (*rules, *doubtful, (UNUSUAL, get_rank(*UNUSUAL_RANK)), *cautions)
    return tuple(code for code, _ in sorted(every, key=lambda each: each[1]))


def _list_notices(outcome: Outcome) -> list[tuple[str, BoolArray]]:
    """Return codes with their rows: of cautions that do not always hold, and of rules that explain an empty result.

    Cautions that always hold are not repeated in each row.
    """
    notices: list[tuple[str, BoolArray]] = []
    unexplained: dict[str, BoolArray] = {}
    for notice in outcome.notices:
        if not isinstance(notice.source, Rule):
            if not notice.source.is_always_shown:
                notices.append((notice.source.code, notice.rows))
            continue
        explained = np.zeros_like(notice.rows)
        for name in notice.source.results:
            empty = unexplained[name] if name in unexplained else _is_empty(getattr(outcome.results, name))
            explained |= empty & notice.rows
            unexplained[name] = empty & ~notice.rows
        if explained.any():
            notices.append((notice.source.code, explained))
    unusual = find_unusual_rows(outcome)
    if unusual.any():
        notices.append((UNUSUAL, unusual))
    return [*notices, *_list_doubtful_results(outcome)]


def _list_doubtful_results(outcome: Outcome) -> Iterator[tuple[str, BoolArray]]:
    """Yield codes with their rows where some of the likely cases have no result; see `build_cautions`."""
    if outcome.uncertainty is None or not outcome.uncertainty.no_result:
        return
    doubtful = {
        name: _is_any(share > MIN_EXPLAINED) & ~_is_empty(getattr(outcome.results, name))
        for name, share in outcome.uncertainty.no_result.items()
    }
    for rule in outcome.calculator.rules:
        likely = _is_any(outcome.uncertainty.rules[rule.code] > MIN_EXPLAINED)
        explained = np.zeros_like(likely)
        for name in [each for each in rule.results if each in doubtful]:
            explained |= doubtful[name] & likely
            doubtful[name] &= ~likely
        if explained.any():
            yield POSSIBLY + rule.code, explained
    left = np.logical_or.reduce(list(doubtful.values()))
    if left.any():
        yield POSSIBLY + NO_RESULT, left


def _is_empty(values: Any) -> BoolArray:
    """Return the rows without a result, for numbers, choices and lists."""
    return _is_any(values < 0 if values.dtype.kind == "i" else ~np.isfinite(values))


def _is_any(holds: Any) -> BoolArray:
    """Return the rows (N,) in which something holds, of an array (N,) or (N, M)."""
    return np.asarray(holds if holds.ndim == 1 else holds.any(axis=1))
