"""The one path from a question to its outcome, whoever asks: web, command line or library; one question or many."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from gramwatt.engine import columns, defaults, input_plans, validation
from gramwatt.engine.assumptions import assume as assume
from gramwatt.engine.assumptions import assume_with_marks, fill_all
from gramwatt.engine.budget import take_result_rows
from gramwatt.engine.column_types import Cells, Column, inner_spreads, yes
from gramwatt.engine.input_plans import Completed, conditions
from gramwatt.engine.messages import Fault
from gramwatt.engine.uncertainty import Propagated, propagate
from gramwatt.model import (
    BoolArray,
    Calculator,
    Caution,
    Choice,
    Count,
    Flag,
    Kind,
    Quantity,
    Rule,
    Samples,
    Series,
    Table,
    Text,
    fields_of,
)


@dataclass(frozen=True, slots=True)
class Note:
    """A caution or a rule that holds for some rows; a rule also names the results it leaves without an answer."""

    said: Caution[Any, Any] | Rule[Any, Any]
    rows: BoolArray


@dataclass(frozen=True, slots=True)
class Outcome:
    """N questions answered. Values are SI arrays; a row with faults has no meaning in them."""

    calculator: Calculator[Any, Any]
    rows: int
    faults: Mapping[int, Sequence[Fault]]
    """By row; a row that is not here has none."""
    given: Any = None
    results: Any = None
    present: Mapping[str, BoolArray] = dataclasses.field(default_factory=dict)
    assumed: Mapping[str, BoolArray] = dataclasses.field(default_factory=dict)
    solved: Mapping[str, BoolArray] = dataclasses.field(default_factory=dict)
    unused: Mapping[str, BoolArray] = dataclasses.field(default_factory=dict)
    notes: tuple[Note, ...] = ()
    uncertainty: Propagated | None = None
    over_budget: bool = False
    """Whether rows are valid but ask for more work than the request may; their faults say how much."""


def run(
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
    loaded = validation.load(calculator, cells, text=text)
    given = dict(loaded.columns)
    uncertain = uncertain and calculator.propagates
    stated = _stated(calculator, given, rows, spreads, text=text) if spreads else {}
    if not uncertain:
        _refuse_spreads(given)
    inputs = None if loaded.faults or stated else _complete_alike(calculator, given, rows)
    if inputs is not None:
        return _compute(calculator, inputs, rows, {}, uncertain=uncertain)
    asked = {
        name: given[name] if name in given else columns.absent(kind, rows) for name, kind in calculator.asked.items()
    }
    faults = _faults(calculator, {**asked, **stated} if stated else asked, loaded.faults, rows, text=text)
    if len(faults) == rows:
        return Outcome(calculator, rows, faults, present={name: column.present for name, column in asked.items()})
    inputs = input_plans.complete(calculator, asked, rows, faults)
    return _compute(calculator, inputs, rows, faults, uncertain=uncertain)


def _complete_alike(calculator: Calculator[Any, Any], given: Mapping[str, Column], rows: int) -> Completed | None:
    """Inputs without a fault that every row gives, completed; None where rows differ or something is wrong."""
    whole = yes(rows)
    for column in given.values():
        if column.faults or column.present is not whole:
            return None
    names = frozenset(given)
    plan = input_plans.single_plan(calculator, names) if rows == 1 else input_plans.block_plan(calculator, names, rows)
    return None if plan is None else plan.complete(given)


def _compute(
    calculator: Calculator[Any, Any],
    inputs: Completed,
    rows: int,
    faults: Mapping[int, Sequence[Fault]],
    *,
    uncertain: bool,
) -> Outcome:
    """Fill in what is assumed, evaluate the formula once, and see which rules and cautions hold."""
    uncertainty = None
    with np.errstate(all="ignore"):
        given = calculator.inputs(**inputs.fields)
        derived, spreads, following = assume_with_marks(calculator, given, inputs, rows, uncertain=uncertain)
        over = take_result_rows(calculator, given, rows)
        if over:
            return Outcome(calculator, rows, {**faults, **over}, present=inputs.present, over_budget=True)
        if spreads:

            def formula(repeated: Any, rows: int) -> Any:
                fill_all(following, repeated)
                return _evaluate(calculator, repeated, rows)

            results, uncertainty = propagate(formula, calculator, inputs.fields, spreads)
        else:
            results = _evaluate(calculator, given, rows)
        notes = _notes(calculator, given, results, inputs.assumed, rows)
    return Outcome(
        calculator,
        rows,
        faults,
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
        spreads = [*(() if column.spread is None else (column.spread,)), *inner_spreads(column).values()]
        if spreads:
            detail = "an uncertainty, and this table was not asked to carry any: add uncertainty=true"
            fault = Fault("", detail, None, "a value alone, or uncertainty=true")
            rows = np.logical_or.reduce([(spread > 0).reshape(len(spread), -1).any(axis=1) for spread in spreads])
            told = {row: [fault] for row in np.flatnonzero(rows).tolist()}
            asked[name] = dataclasses.replace(column, faults={**told, **column.faults})


def _stated(
    calculator: Calculator[Any, Any], asked: dict[str, Column], rows: int, spreads: Mapping[str, Cells], *, text: bool
) -> dict[str, Column]:
    """Read columns ``<name>_u`` and add them to their inputs; told twice, they count as two independent causes."""
    stated: dict[str, Column] = {}
    for spread_name, cells in spreads.items():
        name = spread_name.removesuffix("_u")
        kind = calculator.asked[name]
        if not isinstance(kind, Quantity):
            raise TypeError(f"{name} has no uncertainty")
        column = stated[spread_name] = columns.read(columns.spread_kind(name, kind), cells, text=text)
        known = asked.get(name, columns.absent(kind, rows))
        for row in np.flatnonzero(column.present & ~known.present).tolist():
            fault = Fault("", f"the uncertainty of {name}, which is not given", None, f"{name} too")
            column.faults.setdefault(row, []).append(fault)
        width = np.where(column.present & np.isfinite(column.values), column.values, 0.0)
        width[list(column.faults)] = 0.0
        own = known.spread
        asked[name] = dataclasses.replace(known, spread=width if own is None else np.hypot(own, width))
    return stated


def _faults(
    calculator: Calculator[Any, Any],
    asked: Mapping[str, Column],
    of_all: Sequence[Fault],
    rows: int,
    *,
    text: bool,
) -> dict[int, list[Fault]]:
    """Every fault by row; ``of_all`` are those of the question's names, which concern each."""
    by_row: dict[int, list[Fault]] = {row: list(of_all) for row in range(rows)} if of_all else {}
    for name, column in asked.items():
        deeper: dict[int, Fault] = {}  # by identity, since rows share faults: ``column`` holds each of them meanwhile
        for row, found in column.faults.items() if column.faults else ():
            faults = by_row.setdefault(row, [])
            for fault in found:
                under = deeper.get(id(fault))
                if under is None:
                    under = deeper[id(fault)] = fault.under(name)
                faults.append(under)
        if text and column.faults and isinstance(calculator.asked.get(name), Table | Samples):
            by_row[0] = [_with_body(calculator, name, fault) for fault in by_row[0]]
    defaults.find_missing(calculator, asked, of_all, by_row)
    return by_row


def _with_body(calculator: Calculator[Any, Any], table: str, fault: Fault) -> Fault:
    """A table that was sent as a word: show the JSON to send instead."""
    example = next((each for each in calculator.examples if table in each.given), None)
    if fault.pointer != f"/{table}" or example is None:
        return fault
    return dataclasses.replace(fault, accepted=f"for instance {json.dumps(dict(example.given))}")


def evaluate(calculator: Calculator[Any, Any], given: Any) -> Any:
    """The formula on complete inputs, floating-point faults left to show as nan or infinity."""
    with np.errstate(all="ignore"):
        return calculator.formula(given)


def _evaluate(calculator: Calculator[Any, Any], given: Any, rows: int) -> Any:
    """Call the formula. One that returns another shape or type than it declared is a bug, reported by name."""
    results = calculator.formula(given)
    if type(results) is not calculator.results:
        raise TypeError(f"{calculator.name}: the formula gave {type(results).__name__}")
    _check_fields(calculator, results, calculator.answered, rows)
    return results


_KINDS_OF_ARRAY: Final[Mapping[type, str]] = {
    Quantity: "f",
    Count: "f",
    Series: "f",
    Choice: "i",
    Flag: "b",
    Text: "UT",
}


def _check_fields(calculator: Calculator[Any, Any], results: Any, fields: Mapping[str, Kind], rows: int) -> None:
    for name, kind in fields.items():
        values = getattr(results, name)
        if isinstance(kind, Table):
            _check_fields(calculator, values, fields_of(kind.row), rows)
            continue
        wanted = _KINDS_OF_ARRAY[type(kind)]
        if not isinstance(values, np.ndarray) or values.dtype.kind not in wanted or values.shape[:1] != (rows,):
            raise TypeError(f"{calculator.name}: {name} is not an array of kind {wanted!r} and {rows} rows")


def _notes(
    calculator: Calculator[Any, Any], given: Any, results: Any, assumed: Mapping[str, BoolArray], rows: int
) -> tuple[Note, ...]:
    notes = []
    for said, when, guessed in conditions(calculator):
        if guessed is not None and not np.count_nonzero(assumed[guessed]):
            continue
        holds = yes(rows) if when is None else np.asarray(when(given, results))
        if guessed is not None:
            holds = holds & assumed[guessed]
        if np.count_nonzero(holds):
            notes.append(Note(said, holds))
    return tuple(notes)
