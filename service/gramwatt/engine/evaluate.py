"""The one path from a question to its outcome, whoever asks: web, command line or library; one question or many."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from gramwatt.engine import columns, defaults, input_plans, nested, validation
from gramwatt.engine.assumptions import fill_and_record_assumptions, fill_in_place
from gramwatt.engine.assumptions import fill_assumptions as fill_assumptions
from gramwatt.engine.budget import reserve_result_rows
from gramwatt.engine.column_types import Cells, Column, all_true, column_uncertainties
from gramwatt.engine.input_plans import CompleteInputs, get_conditions
from gramwatt.engine.uncertainty import PropagatedUncertainty, propagate
from gramwatt.model import (
    BoolArray,
    Calculator,
    Caution,
    Kind,
    Quantity,
    Rule,
    Table,
)
from gramwatt.model.messages import InputError


@dataclass(frozen=True, slots=True)
class Notice:
    """A caution or a rule that holds for some rows; a rule also names the results it leaves without an answer."""

    said: Caution[Any, Any] | Rule[Any, Any]
    rows: BoolArray


@dataclass(frozen=True, slots=True)
class Outcome:
    """N questions answered. Values are SI arrays; a row with faults has no meaning in them."""

    calculator: Calculator[Any, Any]
    rows: int
    errors: Mapping[int, Sequence[InputError]]
    """By row; a row that is not here has none."""
    given: Any = None
    results: Any = None
    present: Mapping[str, BoolArray] = dataclasses.field(default_factory=dict)
    assumed: Mapping[str, BoolArray] = dataclasses.field(default_factory=dict)
    solved: Mapping[str, BoolArray] = dataclasses.field(default_factory=dict)
    unused: Mapping[str, BoolArray] = dataclasses.field(default_factory=dict)
    notes: tuple[Notice, ...] = ()
    uncertainty: PropagatedUncertainty | None = None
    over_budget: bool = False
    """Whether rows are valid but ask for more work than the request may; their faults say how much."""


def evaluate_columns(
    calculator: Calculator[Any, Any],
    cells: Mapping[str, Cells],
    rows: int,
    *,
    text: bool,
    uncertain: bool = True,
    spreads: Mapping[str, Cells] | None = None,
) -> Outcome:
    """Answer ``rows`` questions given as columns of cells (`ABSENT` where a row gives nothing).

    Never raises for what a user sent: faults stand in the outcome, by row. With lists, tables or recordings among the
    inputs ``rows`` must be 1. Without ``uncertain`` nothing is propagated, which saves most rows of the formula's call.
    ``spreads`` holds columns ``<name>_u``: the standard uncertainty of an input, beside what its cells tell.
    """
    loaded = validation.load_inputs(calculator, cells, text=text)
    given = dict(loaded.columns)
    uncertain = uncertain and calculator.propagates
    stated = _stated(calculator, given, rows, spreads, text=text) if spreads else {}
    if not uncertain:
        _refuse_spreads(given)
    inputs = None if loaded.errors or stated else _complete_alike(calculator, given, rows)
    if inputs is not None:
        return _compute(calculator, inputs, rows, {}, uncertain=uncertain)
    asked = {
        name: given[name] if name in given else columns.empty_column(kind, rows)
        for name, kind in calculator.input_fields.items()
    }
    errors = _faults(calculator, {**asked, **stated} if stated else asked, loaded.errors, rows, text=text)
    if len(errors) == rows:
        return Outcome(calculator, rows, errors, present={name: column.present for name, column in asked.items()})
    inputs = input_plans.complete_inputs(calculator, asked, rows, errors)
    return _compute(calculator, inputs, rows, errors, uncertain=uncertain)


def _complete_alike(calculator: Calculator[Any, Any], given: Mapping[str, Column], rows: int) -> CompleteInputs | None:
    """Inputs without a fault that every row gives, completed; None where rows differ or something is wrong."""
    whole = all_true(rows)
    for column in given.values():
        if column.errors or column.present is not whole:
            return None
    names = frozenset(given)
    plan = (
        input_plans.get_single_plan(calculator, names)
        if rows == 1
        else input_plans.get_block_plan(calculator, names, rows)
    )
    return None if plan is None else plan.complete(given)


def _compute(
    calculator: Calculator[Any, Any],
    inputs: CompleteInputs,
    rows: int,
    errors: Mapping[int, Sequence[InputError]],
    *,
    uncertain: bool,
) -> Outcome:
    """Fill in what is assumed, evaluate the formula once, and see which rules and cautions hold."""
    uncertainty = None
    with np.errstate(all="ignore"):
        given = calculator.inputs(**inputs.fields)
        derived, spreads, following = fill_and_record_assumptions(calculator, given, inputs, rows, uncertain=uncertain)
        over = reserve_result_rows(calculator, given, rows)
        if over:
            return Outcome(calculator, rows, {**errors, **over}, present=inputs.present, over_budget=True)
        if spreads:

            def formula(repeated: Any, rows: int) -> Any:
                fill_in_place(following, repeated)
                return _evaluate(calculator, repeated, rows)

            results, uncertainty = propagate(formula, calculator, inputs.fields, spreads)
        else:
            results = _evaluate(calculator, given, rows)
        notes = _notes(calculator, given, results, inputs.assumed, rows)
    return Outcome(
        calculator,
        rows,
        errors,
        given,
        results,
        inputs.present,
        inputs.assumed,
        derived,
        inputs.unused,
        notes,
        uncertainty,
    )


def _refuse_spreads(asked: dict[str, Column]) -> None:
    """Where nothing is propagated, a cell that tells an uncertainty is told so rather than believed in part."""
    for name, column in asked.items():
        spreads = [
            *(() if column.uncertainty is None else (column.uncertainty,)),
            *column_uncertainties(column).values(),
        ]
        if spreads:
            detail = "an uncertainty, and this table was not asked to carry any: add uncertainty=true"
            error = InputError("", detail, None, "a value alone, or uncertainty=true")
            rows = np.logical_or.reduce([(spread > 0).reshape(len(spread), -1).any(axis=1) for spread in spreads])
            told = {row: [error] for row in np.flatnonzero(rows).tolist()}
            asked[name] = dataclasses.replace(column, errors={**told, **column.errors})


def _stated(
    calculator: Calculator[Any, Any], asked: dict[str, Column], rows: int, spreads: Mapping[str, Cells], *, text: bool
) -> dict[str, Column]:
    """Read columns ``<name>_u`` and add them to their inputs; told twice, they count as two independent causes."""
    stated: dict[str, Column] = {}
    for spread_name, cells in spreads.items():
        name = spread_name.removesuffix("_u")
        kind = calculator.input_fields[name]
        if not isinstance(kind, Quantity):
            raise TypeError(f"{name} has no uncertainty")
        column = stated[spread_name] = nested.read_column(columns.uncertainty_kind(name, kind), cells, text=text)
        known = asked.get(name, columns.empty_column(kind, rows))
        for row in np.flatnonzero(column.present & ~known.present).tolist():
            error = InputError("", f"the uncertainty of {name}, which is not given", None, f"{name} too")
            column.errors.setdefault(row, []).append(error)
        width = np.where(column.present & np.isfinite(column.values), column.values, 0.0)
        width[list(column.errors)] = 0.0
        own = known.uncertainty
        asked[name] = dataclasses.replace(known, uncertainty=width if own is None else np.hypot(own, width))
    return stated


def _faults(
    calculator: Calculator[Any, Any],
    asked: Mapping[str, Column],
    of_all: Sequence[InputError],
    rows: int,
    *,
    text: bool,
) -> dict[int, list[InputError]]:
    """Every fault by row; ``of_all`` are those of the question's names, which concern each."""
    by_row: dict[int, list[InputError]] = {row: list(of_all) for row in range(rows)} if of_all else {}
    for name, column in asked.items():
        deeper: dict[
            int, InputError
        ] = {}  # by identity, since rows share faults: ``column`` holds each of them meanwhile
        for row, found in column.errors.items() if column.errors else ():
            errors = by_row.setdefault(row, [])
            for error in found:
                under = deeper.get(id(error))
                if under is None:
                    under = deeper[id(error)] = error.under(name)
                errors.append(under)
        if text and column.errors and name in calculator.input_fields and not calculator.input_fields[name].fits_query:
            by_row[0] = [_with_body(calculator, name, error) for error in by_row[0]]
    defaults.add_missing_errors(calculator, asked, of_all, by_row)
    return by_row


def _with_body(calculator: Calculator[Any, Any], table: str, error: InputError) -> InputError:
    """A table that was sent as a word: show the JSON to send instead."""
    example = next((each for each in calculator.examples if table in each.given), None)
    if error.pointer != f"/{table}" or example is None:
        return error
    return dataclasses.replace(error, accepted=f"for instance {json.dumps(dict(example.given))}")


def evaluate(calculator: Calculator[Any, Any], given: Any) -> Any:
    """The formula on complete inputs, floating-point faults left to show as nan or infinity."""
    with np.errstate(all="ignore"):
        return calculator.formula(given)


def _evaluate(calculator: Calculator[Any, Any], given: Any, rows: int) -> Any:
    """Call the formula. One that returns another shape or type than it declared is a bug, reported by name."""
    results = calculator.formula(given)
    if type(results) is not calculator.results:
        raise TypeError(f"{calculator.name}: the formula gave {type(results).__name__}")
    _check_fields(calculator, results, calculator.result_fields, rows)
    return results


def _check_fields(calculator: Calculator[Any, Any], results: Any, fields: Mapping[str, Kind], rows: int) -> None:
    for name, kind in fields.items():
        values = getattr(results, name)
        if isinstance(kind, Table):
            _check_fields(calculator, values, kind.columns, rows)
            continue
        wanted = kind.dtype_kinds
        if not isinstance(values, np.ndarray) or values.dtype.kind not in wanted or values.shape[:1] != (rows,):
            raise TypeError(f"{calculator.name}: {name} is not an array of kind {wanted!r} and {rows} rows")


def _notes(
    calculator: Calculator[Any, Any], given: Any, results: Any, assumed: Mapping[str, BoolArray], rows: int
) -> tuple[Notice, ...]:
    notes = []
    for said, when, guessed in get_conditions(calculator):
        if guessed is not None and not np.count_nonzero(assumed[guessed]):
            continue
        holds = all_true(rows) if when is None else np.asarray(when(given, results))
        if guessed is not None:
            holds = holds & assumed[guessed]
        if np.count_nonzero(holds):
            notes.append(Notice(said, holds))
    return tuple(notes)
