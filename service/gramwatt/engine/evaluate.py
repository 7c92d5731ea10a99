"""Evaluate requests from the web, the command line or the library, one or many at once."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from gramwatt.engine import columns, defaults, input_plans, nested, validation
from gramwatt.engine.assumptions import Taken, fill_and_record_assumptions, fill_draws
from gramwatt.engine.assumptions import fill_assumptions as fill_assumptions
from gramwatt.engine.budget import count_samples, reserve_result_rows
from gramwatt.engine.column_types import Cells, Column, all_false, all_true, column_uncertainties
from gramwatt.engine.decisions import decide
from gramwatt.engine.draws import DRAWS, FEW_DRAWS, FEWEST_DRAWS, MANY_SAMPLES, MAX_DRAWN_ENTRIES
from gramwatt.engine.input_plans import CompleteInputs, get_conditions
from gramwatt.engine.missing_results import find_unbounded
from gramwatt.engine.sources import get_deviates, list_sources
from gramwatt.engine.uncertainty import Draws, PropagatedUncertainty
from gramwatt.model import AnyCalculator, BoolArray, Caution, Kind, Rule, Table, get_fields
from gramwatt.model.messages import InputError


@dataclass(frozen=True, slots=True)
class Notice:
    """A caution or a rule that holds for some rows. A rule also names the results that have no value there."""

    source: Caution[Any, Any] | Rule[Any, Any]
    rows: BoolArray


@dataclass(frozen=True, slots=True)
class Outcome:
    """The results of N requests. Values are arrays in SI units; those of an invalid row have no meaning."""

    calculator: AnyCalculator
    rows: int
    errors: Mapping[int, Sequence[InputError]]
    """By invalid row."""
    inputs: Any = None
    """The calculator's complete inputs."""
    results: Any = None
    present: Mapping[str, BoolArray] = dataclasses.field(default_factory=dict)
    assumed: Mapping[str, BoolArray] = dataclasses.field(default_factory=dict)
    solved: Mapping[str, BoolArray] = dataclasses.field(default_factory=dict)
    unused: Mapping[str, BoolArray] = dataclasses.field(default_factory=dict)
    notices: tuple[Notice, ...] = ()
    uncertainty: PropagatedUncertainty | None = None
    given: Mapping[str, Column] = dataclasses.field(default_factory=dict)
    """The columns that the requests give, as they were read."""
    from_craft: tuple[str, ...] | None = None
    """Of a single request with a craft document: the inputs that come from it, in declared order."""
    chosen: Mapping[str, str] = dataclasses.field(default_factory=dict)
    """The names of the rows that those come from, by the member of a request that chooses them."""
    taken: Sequence[Taken] = ()
    over_budget: bool = False
    """Whether rows are valid but ask for more work than the request may; their errors say how much."""
    is_unbounded: bool = False
    """Whether valid rows have no finite value of a result that all others have; their errors say of which."""


def evaluate_columns(
    calculator: AnyCalculator,
    cells: Mapping[str, Cells],
    rows: int,
    *,
    text: bool,
    propagates: bool = True,
    uncertainties: Mapping[str, Cells] | None = None,
    draws: int = DRAWS,
) -> Outcome:
    """Evaluate ``rows`` requests that come as columns of cells (`ABSENT` where a row gives nothing).

    Never raises for invalid requests: their errors are in the outcome, by row.

    Parameters
    ----------
    calculator
        The calculator to evaluate.
    cells
        The cells of each input.
    rows
        Number of requests; 1 if an input is a list, a table or a recording.
    text
        Whether cells are text of a query rather than JSON values.
    propagates
        Whether to propagate uncertainty. Without it, the formula has far fewer rows to compute.
    uncertainties
        Columns ``<name>_u``: standard uncertainties of inputs, beside those in their cells.
    draws
        Number of draws of each request; at most `FEW_DRAWS` of one with a recording, or with many entries.
    """
    loaded = validation.load_inputs(calculator, cells, text=text)
    given = dict(loaded.columns)
    propagates = propagates and calculator.propagates
    separate = _read_uncertainties(calculator, given, rows, uncertainties, text=text) if uncertainties else {}
    if not propagates:
        _reject_uncertainties(given)
    inputs = None if loaded.errors or separate else _complete_equal_rows(calculator, given, rows)
    if inputs is not None:
        return _compute(calculator, given, inputs, rows, {}, draws if propagates else 0)
    all_columns = {
        name: given[name] if name in given else columns.empty_column(kind, rows)
        for name, kind in calculator.input_fields.items()
    }
    errors = _collect_errors(calculator, {**all_columns, **separate}, loaded.errors, rows, text=text)
    if len(errors) == rows:
        return Outcome(calculator, rows, errors, present={name: column.present for name, column in all_columns.items()})
    inputs = input_plans.complete_inputs(calculator, all_columns, rows, errors)
    return _compute(calculator, given, inputs, rows, errors, draws if propagates else 0)


def _complete_equal_rows(calculator: AnyCalculator, given: Mapping[str, Column], rows: int) -> CompleteInputs | None:
    """Return complete inputs if all rows are valid and give the same inputs, else None."""
    every_row = all_true(rows)
    for column in given.values():
        if column.errors or column.present is not every_row:
            return None
    names = frozenset(given)
    if rows == 1:
        plan = input_plans.get_single_plan(calculator, names)
    else:
        plan = input_plans.get_block_plan(calculator, names, rows)
    return None if plan is None else plan.complete(given)


def _compute(
    calculator: AnyCalculator,
    given: Mapping[str, Column],
    complete: CompleteInputs,
    rows: int,
    errors: Mapping[int, Sequence[InputError]],
    draws: int,
) -> Outcome:
    """Fill in the assumptions, evaluate the formula, and find the rules and cautions that hold."""
    with np.errstate(all="ignore"):
        inputs = calculator.inputs(**complete.fields)
        solved, taken = fill_and_record_assumptions(calculator, inputs, complete, rows)
        row_errors = reserve_result_rows(calculator, inputs, rows)
        if row_errors:
            return Outcome(calculator, rows, {**errors, **row_errors}, present=complete.present, over_budget=True)
        complete.fields.update(decide(calculator, inputs))
        drawn = _draw(calculator, inputs, complete, taken, solved, rows, draws) if draws else None
        results = _call_formula(calculator, inputs, rows)
        unbounded = find_unbounded(calculator, results, rows)
        uncertainty = None
        if drawn is not None:
            uncertainty = drawn.reduce(results, _call_formula(calculator, drawn.inputs, rows * drawn.count))
        notices = _find_notices(calculator, inputs, results, complete.assumed, rows)
    return Outcome(
        calculator,
        rows,
        {**unbounded, **errors} if unbounded else errors,
        inputs,
        results,
        complete.present,
        complete.assumed,
        solved,
        complete.unused,
        notices,
        uncertainty,
        given,
        taken=taken,
        is_unbounded=bool(unbounded),
    )


def _draw(
    calculator: AnyCalculator,
    inputs: Any,
    complete: CompleteInputs,
    taken: Sequence[Taken],
    solved: Mapping[str, BoolArray],
    rows: int,
    count: int,
) -> Draws | None:
    """Return draws of the inputs; None where all are exact.

    ``taken`` are the assumptions that were tried, ``solved`` the rows whose value follows from measured inputs.
    """
    sources, deviates = list_sources(calculator, inputs, complete), get_deviates(calculator)
    if not sources and not deviates:
        no_rows = all_false(rows)
        assumed = [each for each, _ in taken if each.is_uncertain]
        if all(complete.assumed.get(each.name, no_rows) is no_rows for each in assumed):
            return None
    samples = float(count_samples(calculator, inputs, rows).max()) if calculator.takes_recordings else 0.0
    if samples or count * _count_entries(calculator, inputs) > MAX_DRAWN_ENTRIES:
        count = min(count, FEW_DRAWS if samples < MANY_SAMPLES else FEWEST_DRAWS)
    draws = Draws(calculator, complete.fields, rows, count)
    for name, kind in deviates:
        draws.apply_deviate(name, kind)
    for source in sources:
        draws.apply(source)
    fill_draws(draws, taken, inputs, complete.present, solved)
    return draws


def _count_entries(calculator: AnyCalculator, inputs: Any) -> int:
    """Return the entries of the longest list or table of a request; 1 without any."""
    entries = 1
    for name in calculator.input_fields:
        values = getattr(inputs, name)
        column = values if isinstance(values, np.ndarray) else getattr(values, next(iter(get_fields(type(values)))))
        entries = max(entries, column.shape[1] if column.ndim > 1 else 1)
    return entries


def _reject_uncertainties(given: dict[str, Column]) -> None:
    """Add an error to each cell with an uncertainty, where nothing is propagated."""
    for name, column in given.items():
        uncertainties = [
            *(() if column.uncertainty is None else (column.uncertainty,)),
            *column_uncertainties(column).values(),
        ]
        if uncertainties:
            detail = "To propagate the uncertainty, add uncertainty=true"
            error = InputError("", detail, None, "a value alone, or uncertainty=true")
            uncertain = np.logical_or.reduce([(each > 0).reshape(len(each), -1).any(axis=1) for each in uncertainties])
            errors = {row: [error] for row in np.flatnonzero(uncertain).tolist()}
            given[name] = dataclasses.replace(column, errors={**errors, **column.errors})


def _read_uncertainties(
    calculator: AnyCalculator,
    given: dict[str, Column],
    rows: int,
    uncertainties: Mapping[str, Cells],
    *,
    text: bool,
) -> dict[str, Column]:
    """Read columns ``<name>_u`` and add them to their inputs, as causes independent of those in the cells."""
    separate: dict[str, Column] = {}
    for uncertainty_name, cells in uncertainties.items():
        name = uncertainty_name.removesuffix("_u")
        kind = calculator.input_fields[name]
        if kind.quantity is None:
            raise TypeError(f"{name} has no uncertainty")
        uncertainty_kind = columns.uncertainty_kind(name, kind.quantity)
        column = separate[uncertainty_name] = nested.read_column(uncertainty_kind, cells, text=text)
        measured = given.get(name, columns.empty_column(kind, rows))
        for row in np.flatnonzero(column.present & ~measured.present).tolist():
            error = InputError("", f"The uncertainty needs {name}, which is not given", None, f"{name} too")
            column.errors.setdefault(row, []).append(error)
        width = np.where(column.present & np.isfinite(column.values), column.values, 0.0)
        width[list(column.errors)] = 0.0
        in_cells = measured.uncertainty
        given[name] = dataclasses.replace(
            measured, uncertainty=width if in_cells is None else np.hypot(in_cells, width)
        )
    return separate


def _collect_errors(
    calculator: AnyCalculator,
    all_columns: Mapping[str, Column],
    request_errors: Sequence[InputError],
    rows: int,
    *,
    text: bool,
) -> dict[int, list[InputError]]:
    """Return all errors by row; ``request_errors`` are those of names, which concern each row."""
    by_row: dict[int, list[InputError]] = {row: list(request_errors) for row in range(rows)} if request_errors else {}
    for name, column in all_columns.items():
        if not column.errors:
            continue
        moved: dict[int, InputError] = {}  # by identity, since rows share errors
        for row, errors in column.errors.items():
            row_errors = by_row.setdefault(row, [])
            for error in errors:
                if id(error) not in moved:
                    moved[id(error)] = error.under(name)
                row_errors.append(moved[id(error)])
        if text and name in calculator.input_fields and not calculator.input_fields[name].fits_query:
            by_row[0] = [_show_example(calculator, name, error) for error in by_row[0]]
    defaults.add_missing_errors(calculator, all_columns, request_errors, by_row)
    return by_row


def _show_example(calculator: AnyCalculator, table: str, error: InputError) -> InputError:
    """Return the error of a table that was sent as text, with the JSON to send instead."""
    example = next((each for each in calculator.examples if table in each.given), None)
    if error.pointer != f"/{table}" or example is None:
        return error
    return dataclasses.replace(error, accepted=f"for instance {json.dumps(dict(example.given))}")


def evaluate(calculator: AnyCalculator, inputs: Any) -> Any:
    """Return the results of complete inputs; floating-point errors show as nan or infinity."""
    with np.errstate(all="ignore"):
        return calculator.formula(inputs)


def _call_formula(calculator: AnyCalculator, inputs: Any, rows: int) -> Any:
    """Call the formula. Raises TypeError if it returns another type or shape than it declares."""
    results = calculator.formula(inputs)
    if type(results) is not calculator.results:
        raise TypeError(f"{calculator.name}: the formula gave {type(results).__name__}")
    _check_fields(calculator, results, calculator.result_fields, rows)
    return results


def _check_fields(calculator: AnyCalculator, results: Any, fields: Mapping[str, Kind], rows: int) -> None:
    for name, kind in fields.items():
        values = getattr(results, name)
        if isinstance(kind, Table):
            _check_fields(calculator, values, kind.columns, rows)
            continue
        dtypes = kind.dtype_kinds
        if not isinstance(values, np.ndarray) or values.dtype.kind not in dtypes or values.shape[:1] != (rows,):
            raise TypeError(f"{calculator.name}: {name} is not an array of kind {dtypes!r} and {rows} rows")


def _find_notices(
    calculator: AnyCalculator, inputs: Any, results: Any, assumed: Mapping[str, BoolArray], rows: int
) -> tuple[Notice, ...]:
    notices = []
    for source, when, assumed_input in get_conditions(calculator):
        assumed_rows = None if assumed_input is None else assumed.get(assumed_input)  # a table's column may be unknown
        if assumed_input is not None and (assumed_rows is None or not np.count_nonzero(assumed_rows)):
            continue
        holds = all_true(rows) if when is None else np.asarray(when(inputs, results))
        if assumed_rows is not None:
            holds = holds & assumed_rows
        if np.count_nonzero(holds):
            notices.append(Notice(source, holds))
    return tuple(notices)
