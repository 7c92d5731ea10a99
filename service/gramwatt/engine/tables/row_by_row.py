"""Compute rows with lists or tables one by one, since their lengths differ."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from gramwatt.engine import budget
from gramwatt.engine.column_types import ABSENT, Cells, ConstantColumn
from gramwatt.engine.columns import get_cell
from gramwatt.engine.craft import list_lacking_craft, take_inputs
from gramwatt.engine.craft_fields import MEMBER
from gramwatt.engine.evaluate import evaluate_columns
from gramwatt.engine.limits import MAX_NESTED_ROWS
from gramwatt.engine.response import build_response
from gramwatt.engine.tables.chunks import BatchResult, Chunk, slice_cells
from gramwatt.engine.tables.craft_columns import list_members, list_own_cells
from gramwatt.engine.tables.plan import OutputColumn, Plan, output_columns, standing_codes
from gramwatt.model.messages import InputError


def compute_rows(plan: Plan, chunk: Chunk, cells: Mapping[str, Cells]) -> Iterator[BatchResult]:
    """Compute the rows of a chunk one by one. ``cells`` has its columns and those of the constants."""
    granted = budget.get_current()
    if granted is not None:
        granted.rows_each = MAX_NESTED_ROWS
    start, results = 0, _RowResults(plan)
    for row in range(chunk.rows):
        budget.check()
        response, errors = _compute_row(plan, chunk, cells, row)
        results.add(response, errors)
        if results.nested_rows > MAX_NESTED_ROWS // 2:
            yield results.to_batch_result(chunk.slice(start, row + 1))
            start, results = row + 1, _RowResults(plan)
    if start < chunk.rows or not chunk.rows:
        yield results.to_batch_result(chunk.slice(start, chunk.rows))


def _compute_row(
    plan: Plan, chunk: Chunk, cells: Mapping[str, Cells], row: int
) -> tuple[Mapping[str, Any], Sequence[InputError]]:
    """Return the response of a row, empty if it has errors, and its errors."""
    if row in chunk.errors:
        return {}, chunk.errors[row]
    columns = {name: slice_cells(column, row, row + 1) for name, column in cells.items()}
    columns = {name: column for name, column in columns.items() if not _is_absent(column)}
    if MEMBER in plan.constants or not list_members(plan.calculator).isdisjoint(columns):
        return _compute_row_with_craft(plan, chunk, columns)
    return _compute_given_row(plan, chunk, columns)


def _compute_given_row(
    plan: Plan, chunk: Chunk, columns: Mapping[str, Cells]
) -> tuple[Mapping[str, Any], Sequence[InputError]]:
    """Return the same for a row whose inputs are its columns."""
    inputs, columns = plan.calculator.input_fields, dict(columns)
    uncertainties = {name: columns.pop(name) for name in list(columns) if name not in inputs}
    outcome = evaluate_columns(
        plan.calculator,
        columns,
        1,
        text=chunk.text,
        propagates=plan.uncertain,
        uncertainties=uncertainties,
        draws=plan.draws,
    )
    if outcome.errors:
        return {}, outcome.errors[0]
    return build_response(outcome, 0, result_units=plan.result_units, with_given=False), ()


def _compute_row_with_craft(
    plan: Plan, chunk: Chunk, columns: Mapping[str, Cells]
) -> tuple[Mapping[str, Any], Sequence[InputError]]:
    """Return the same for a row that takes inputs from a craft document, whose values are JSON values."""
    fields, members = plan.calculator.input_fields, list_members(plan.calculator)
    request = {name: value for name, value in plan.constants.items() if name in members}
    request |= {name: get_cell(column, 0) for name, column in columns.items() if name in members}
    request = {name: value for name, value in request.items() if value is not ABSENT}
    if MEMBER not in request:
        if request:
            return {}, list_lacking_craft(request)
        return _compute_given_row(plan, chunk, {name: columns[name] for name in columns.keys() - members})
    own = list_own_cells({name: column for name, column in columns.items() if name in fields}, 0, text=chunk.text)
    choices = {name: value for name, value in request.items() if name != MEMBER}
    taken = take_inputs(plan.calculator, request[MEMBER], choices, own, text=chunk.text)
    cells: dict[str, Cells] = {
        **{name: ConstantColumn(cell.value, 1, text=cell.text) for name, cell in own.items()},
        **{name: [value] for name, value in taken.inputs.items()},
    }
    uncertainties = {name: column for name, column in columns.items() if name not in fields and name not in members}
    outcome = evaluate_columns(
        plan.calculator,
        cells,
        1,
        text=False,
        propagates=plan.uncertain,
        uncertainties=uncertainties,
        draws=plan.draws,
    )
    errors = taken.locate(outcome.errors.get(0, ()))
    if errors:
        return {}, errors
    return build_response(outcome, 0, result_units=plan.result_units, with_given=False), ()


class _RowResults:
    """Output columns that grow row by row."""

    def __init__(self, plan: Plan) -> None:
        self._columns = output_columns(plan)
        self._standing = frozenset(standing_codes(plan.calculator))
        self._values: dict[str, list[Any]] = {column.name: [] for column in self._columns}
        self._errors: dict[int, Sequence[InputError]] = {}
        self._cautions: dict[tuple[str, ...], int] = {(): 0}
        """Each combination of caution codes, and its index."""
        self._caution_index: list[int] = []
        self.nested_rows = 0
        """Rows of all tables within the results."""

    def add(self, response: Mapping[str, Any], errors: Sequence[InputError]) -> None:
        """Add a row: its response, or an empty one and its errors."""
        if errors:
            self._errors[len(self._caution_index)] = errors
        codes = self._list_codes(response)
        self._caution_index.append(self._cautions.setdefault(codes, len(self._cautions)))
        for column in self._columns:
            value = _get_value(column, response)
            self._values[column.name].append(value)
            self.nested_rows += len(value) if isinstance(value, list) else 0

    def _list_codes(self, response: Mapping[str, Any]) -> tuple[str, ...]:
        codes = dict.fromkeys(caution["code"] for caution in response.get("cautions", ()))
        return tuple(code for code in codes if code not in self._standing)

    def to_batch_result(self, chunk: Chunk) -> BatchResult:
        """Return the rows so far, which are those of a chunk."""
        return BatchResult(
            chunk.first,
            chunk.rows,
            chunk.passthrough_columns,
            self._values,
            np.array(self._caution_index, dtype=np.int64),
            list(self._cautions),
            self._errors,
        )


def _is_absent(cells: Cells) -> bool:
    return isinstance(cells, list) and cells[0] is ABSENT


def _get_value(column: OutputColumn, response: Mapping[str, Any]) -> Any:
    if not response:
        return None
    if column.section != "uncertainty":
        return response["inputs" if column.section == "given" else column.section].get(column.field)
    if "uncertainty" in response:
        return response["uncertainty"].get(column.field, {}).get(column.part)
    value = response["results"].get(column.field)  # all inputs are exact
    return 0.0 if column.part == "standard" and value is not None else value
