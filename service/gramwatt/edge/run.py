"""The one path from a question to its outcome, whoever asks: web, command line or library; one question or many."""

from __future__ import annotations

import dataclasses
import functools
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gramwatt.declare import (
    Assumption,
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
    Spread,
    Table,
    Text,
    Truths,
    fields_of,
)
from gramwatt.edge import columns, filling, loading, units
from gramwatt.edge.columns import Cells, Column, TableColumn, no, yes
from gramwatt.edge.plans import rules_and_cautions
from gramwatt.edge.uncertainty import Propagated, propagate
from gramwatt.edge.wording import Fault


@dataclass(frozen=True, slots=True)
class Note:
    """A caution or a rule that holds for some rows; a rule also names the results it leaves without an answer."""

    said: Caution[Any, Any] | Rule[Any, Any]
    rows: Truths


@dataclass(frozen=True, slots=True)
class Outcome:
    """N questions answered. Values are SI arrays; a row with faults has no meaning in them."""

    calculator: Calculator[Any, Any]
    rows: int
    faults: Mapping[int, Sequence[Fault]]
    """By row; a row that is not here has none."""
    given: Any = None
    results: Any = None
    present: Mapping[str, Truths] = dataclasses.field(default_factory=dict)
    assumed: Mapping[str, Truths] = dataclasses.field(default_factory=dict)
    solved: Mapping[str, Truths] = dataclasses.field(default_factory=dict)
    unused: Mapping[str, Truths] = dataclasses.field(default_factory=dict)
    notes: tuple[Note, ...] = ()
    uncertainty: Propagated | None = None


def run(
    calculator: Calculator[Any, Any],
    cells: Mapping[str, Cells],
    rows: int,
    *,
    text: bool,
    uncertain: bool = True,
    spreads: Mapping[str, Cells] | None = None,
) -> Outcome:
    """Answer ``rows`` questions given as columns of cells (`columns.ABSENT` where a row gives nothing).

    Never raises for what a user sent: faults stand in the outcome, by row. With lists, tables or recordings among the
    inputs ``rows`` must be 1. Without ``uncertain`` nothing is propagated, which saves two calls of the formula.
    ``spreads`` holds columns ``<name>_u``: the standard uncertainty of an input, beside what its cells tell.
    """
    loaded = loading.load(calculator, cells, text=text)
    read = loaded.columns
    asked = {
        name: read[name] if name in read else columns.absent(kind, rows) for name, kind in calculator.asked.items()
    }
    stated = _stated(calculator, asked, spreads, text=text) if spreads else {}
    uncertain = uncertain and calculator.propagates
    if not uncertain:
        _refuse_spreads(asked)
    faults = _faults(calculator, {**asked, **stated} if stated else asked, loaded.faults, rows, text=text)
    present = {name: column.present for name, column in asked.items()}
    if len(faults) == rows:
        return Outcome(calculator, rows, faults, present=present)

    assumed, unused = filling.fill(calculator, asked, rows)
    if faults:
        filling.cover_faulty(asked, faults, rows)
    raw = calculator.inputs(**_arrays(calculator, asked))
    given, causes = raw, _spreads(calculator, asked)
    all_rows, no_rows = yes(rows), no(rows)
    solved = dict.fromkeys(asked, no_rows)
    for assumption in calculator.assumptions:
        name, before = assumption.name, given
        if asked[name].present is all_rows:
            continue
        lacking = _is_absent(before, name)
        if not lacking.any():
            continue
        given = _assume(assumption, before)
        filled = lacking & ~_is_absent(given, name)
        worked_out = filled & _all_given(asked, assumption.solved_from)
        assumed[name] = assumed.get(name, no_rows) | (filled & ~worked_out)
        solved[name] = solved[name] | worked_out
        if uncertain and assumption.spread is not None and (filled & ~worked_out).any():
            # What is assumed stands fast while other inputs vary, so that its own spread can be told from theirs.
            raw = dataclasses.replace(raw, **{name: np.where(filled, getattr(given, name), getattr(raw, name))})
            spread = np.broadcast_to(_evaluated(assumption.spread, given), (rows,))
            known = causes.get((name,), np.zeros(rows))
            causes[(name,)] = np.where(filled & ~worked_out, spread, known)
    if uncertain:
        for name, kind in _guessed(calculator):
            if assumed[name] is not no_rows and assumed[name].any():
                width = (kind.default_u or 0.0) * units.unit(kind.unit).scale
                causes[(name,)] = np.where(assumed[name], width, causes.get((name,), np.zeros(rows)))
    results = evaluate(calculator, given)
    _check(calculator, results, rows)
    notes = _notes(calculator, given, results, assumed, rows)
    uncertainty = propagate(functools.partial(_answer, calculator), calculator, raw, causes) if uncertain else None
    return Outcome(calculator, rows, faults, given, results, present, assumed, solved, unused, notes, uncertainty)


@functools.cache
def _guessed(calculator: Calculator[Any, Any]) -> tuple[tuple[str, Quantity], ...]:
    """The inputs whose declared default has an uncertainty of its own."""
    return tuple(
        (name, kind)
        for name, kind in calculator.asked.items()
        if isinstance(kind, Quantity) and kind.default_u is not None
    )


def _refuse_spreads(asked: dict[str, Column]) -> None:
    """Where nothing is propagated, a cell that tells an uncertainty is told so rather than believed in part."""
    for name, column in asked.items():
        spreads = [*(() if column.spread is None else (column.spread,)), *columns.inner_spreads(column).values()]
        if spreads:
            detail = "an uncertainty, and this table was not asked to carry any: add uncertainty=true"
            fault = Fault("", detail, None, "a value alone, or uncertainty=true")
            rows = np.logical_or.reduce([(spread > 0).reshape(len(spread), -1).any(axis=1) for spread in spreads])
            told = {row: [fault] for row in np.flatnonzero(rows).tolist()}
            asked[name] = dataclasses.replace(column, faults={**told, **column.faults})


def _stated(
    calculator: Calculator[Any, Any], asked: dict[str, Column], spreads: Mapping[str, Cells], *, text: bool
) -> dict[str, Column]:
    """Read columns ``<name>_u`` and add them to their inputs; told twice, they count as two independent causes."""
    stated: dict[str, Column] = {}
    for spread_name, cells in spreads.items():
        name = spread_name.removesuffix("_u")
        kind = calculator.asked[name]
        if not isinstance(kind, Quantity):
            raise TypeError(f"{name} has no uncertainty")
        column = stated[spread_name] = columns.read(columns.spread_kind(name, kind), cells, text=text)
        for row in np.flatnonzero(column.present & ~asked[name].present).tolist():
            fault = Fault("", f"the uncertainty of {name}, which is not given", None, f"{name} too")
            column.faults.setdefault(row, []).append(fault)
        width = np.where(column.present & np.isfinite(column.values), column.values, 0.0)
        width[list(column.faults)] = 0.0
        own = asked[name].spread
        asked[name] = dataclasses.replace(asked[name], spread=width if own is None else np.hypot(own, width))
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
        for row, found in column.faults.items() if column.faults else ():
            by_row.setdefault(row, []).extend(fault.under(name) for fault in found)
        if text and column.faults and isinstance(calculator.asked.get(name), Table | Samples):
            by_row[0] = [_with_body(calculator, name, fault) for fault in by_row[0]]
    filling.find_missing(calculator, asked, of_all, by_row)
    return by_row


def _with_body(calculator: Calculator[Any, Any], table: str, fault: Fault) -> Fault:
    """A table that was sent as a word: show the JSON to send instead."""
    example = next((each for each in calculator.examples if table in each.given), None)
    if fault.pointer != f"/{table}" or example is None:
        return fault
    return dataclasses.replace(fault, accepted=f"for instance {json.dumps(dict(example.given))}")


def assume(calculator: Calculator[Any, Any], given: Any) -> Any:
    """The inputs with every assumption that depends on other inputs filled in."""
    for assumption in calculator.assumptions:
        given = _assume(assumption, given)
    return given


def _assume(assumption: Assumption[Any], given: Any) -> Any:
    current, lacking = getattr(given, assumption.name), _is_absent(given, assumption.name)
    if not lacking.any():
        return given
    filled = np.where(lacking, _evaluated(assumption.value, given), current)
    return dataclasses.replace(given, **{assumption.name: filled.astype(current.dtype)})


def evaluate(calculator: Calculator[Any, Any], given: Any) -> Any:
    """The formula on complete inputs, floating-point faults left to show as nan or infinity."""
    with np.errstate(all="ignore"):
        return calculator.formula(given)


def _answer(calculator: Calculator[Any, Any], raw: Any) -> Any:
    return evaluate(calculator, assume(calculator, raw))


def _evaluated(function: Callable[[Any], Any], given: Any) -> Any:
    with np.errstate(all="ignore"):
        return function(given)


def _all_given(asked: Mapping[str, Column], names: Sequence[str]) -> Truths:
    return np.logical_and.reduce([asked[name].present for name in names]) if names else np.zeros(1, dtype=np.bool_)


def _is_absent(given: Any, name: str) -> Truths:
    values = getattr(given, name)
    return np.asarray(values < 0 if values.dtype.kind == "i" else np.isnan(values))


def _arrays(calculator: Calculator[Any, Any], asked: Mapping[str, Column]) -> dict[str, Any]:
    declared = fields_of(calculator.inputs)
    arrays: dict[str, Any] = {}
    for name, kind in declared.items():
        source = asked[kind.of if isinstance(kind, Spread) else name]
        if isinstance(kind, Spread):
            arrays[name] = np.zeros_like(source.values) if source.spread is None else source.spread
        else:
            arrays[name] = source.values
    return arrays


def _spreads(
    calculator: Calculator[Any, Any], asked: Mapping[str, Column]
) -> dict[tuple[str, ...], NDArray[np.float64]]:
    """Standard uncertainties that were given, by the path of the input: ("mass",) or ("parts", "mass")."""
    found: dict[tuple[str, ...], NDArray[np.float64]] = {}
    for name, column in asked.items():
        if column.spread is not None:
            found[(name,)] = column.spread
        if isinstance(column, TableColumn):
            found |= {(name, each): spread for each, spread in column.spreads.items() if spread.any()}
    return found


def _check(calculator: Calculator[Any, Any], results: Any, rows: int) -> None:
    """A formula that gives another shape or type than it declared is a fault of ours, told by name."""
    if type(results) is not calculator.results:
        raise TypeError(f"{calculator.name}: the formula gave {type(results).__name__}")
    _check_fields(calculator, results, calculator.answered, rows)


def _check_fields(calculator: Calculator[Any, Any], results: Any, fields: Mapping[str, Kind], rows: int) -> None:
    for name, kind in fields.items():
        values = getattr(results, name)
        if isinstance(kind, Table):
            _check_fields(calculator, values, fields_of(kind.row), rows)
            continue
        wanted = {Quantity: "f", Count: "f", Series: "f", Choice: "i", Flag: "b", Text: "UT"}[type(kind)]
        if not isinstance(values, np.ndarray) or values.dtype.kind not in wanted or values.shape[:1] != (rows,):
            raise TypeError(f"{calculator.name}: {name} is not an array of kind {wanted!r} and {rows} rows")


def _notes(
    calculator: Calculator[Any, Any], given: Any, results: Any, assumed: Mapping[str, Truths], rows: int
) -> tuple[Note, ...]:
    notes = []
    with np.errstate(all="ignore"):
        for said in rules_and_cautions(calculator):
            holds = np.ones(rows, dtype=np.bool_) if said.when is None else np.asarray(said.when(given, results))
            if isinstance(said, Caution) and said.assumed:
                holds = holds & assumed[said.assumed]
            if holds.any():
                notes.append(Note(said, holds))
    return tuple(notes)
