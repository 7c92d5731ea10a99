"""Build the response to one row of an outcome: names, texts and numbers, ready for JSON.

Numbers are rounded to 12 significant digits here, so that every format shows the same ones.
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from gramwatt.engine.cautions import build_cautions, find_known_inputs
from gramwatt.engine.column_types import all_false
from gramwatt.engine.evaluate import Outcome
from gramwatt.engine.given import build_given
from gramwatt.engine.limits import MAX_LISTED_NAMES
from gramwatt.engine.rounding import round_number, round_numbers
from gramwatt.engine.row_names import restore_names
from gramwatt.engine.working import build_working
from gramwatt.model import (
    RANGE_SUFFIXES,
    AnyCalculator,
    BoolArray,
    Kind,
    NumberList,
    Quantity,
    Table,
    units,
)
from gramwatt.model.messages import join_with_or, suggest

ResponseBody: TypeAlias = dict[str, Any]
RANGE: Final = tuple(RANGE_SUFFIXES)
"""What a response has of the uncertainty of each result: ``standard``, ``low`` and ``high``."""


def build_response(
    outcome: Outcome,
    row: int,
    *,
    result_units: Mapping[str, str] | None = None,
    working: bool = False,
    without: Collection[str] = (),
    with_given: bool = True,
) -> ResponseBody:
    """Return the response to request ``row``, which must be without errors. ``result_units`` converts results, by name.

    The tables in ``without`` are empty in it: `build_table_rows` gives their rows, some at a time. What was given is
    left out unless ``with_given``.
    """
    calculator = outcome.calculator
    layout = _get_layout(calculator, tuple(result_units.items()) if result_units else ())
    results = _get_values(layout.result_fields, outcome.results, row, layout.result_units, without)
    known = find_known_inputs(outcome, row)
    inputs = _get_values(
        [each for each in layout.input_fields if each[0] in known], outcome.inputs, row, layout.input_units
    )
    restore_names(calculator, inputs)
    response: ResponseBody = {
        "calculator": calculator.name,
        "given": build_given(outcome, row) if with_given else {},
        "inputs": inputs,
        "assumed": _list_marked(outcome.assumed, row, calculator),
        **({} if outcome.from_craft is None else _build_origin(outcome.from_craft, outcome.chosen)),
        "results": results,
        "units": dict(layout.result_units),
        "input_units": {name: unit for name, unit, owner in layout.owners if owner in known},
        "cautions": build_cautions(outcome, row, results, known),
    }
    if outcome.solved:
        solved = _list_marked(outcome.solved, row, calculator)
        if solved:
            response["computed"] = solved
    uncertainty = _build_uncertainty(outcome, row, results, layout)
    if uncertainty:
        response["uncertainty"] = uncertainty
    if working:
        response["working"] = build_working(outcome, row, layout.result_units)
    return response


def _build_origin(from_craft: Sequence[str], chosen: Mapping[str, str]) -> dict[str, Any]:
    return {"from_craft": list(from_craft), **({"chosen_rows": dict(chosen)} if chosen else {})}


_Field: TypeAlias = tuple[str, Kind, units.Unit | None]
"""A field's name and kind, and the unit of a plain quantity."""


@dataclass(frozen=True, slots=True)
class _Layout:
    """What all responses of a calculator in the same units have in common."""

    input_fields: tuple[_Field, ...]
    result_fields: tuple[_Field, ...]
    result_units: Mapping[str, str]
    input_units: Mapping[str, str]
    """Units of inputs, as declared, whatever units are requested for results."""
    owners: tuple[tuple[str, str, str], ...]
    """Each quantity among the inputs: its name, its unit, and the input that it is or is a column of."""
    units: Mapping[str, units.Unit]
    """Units of results with one, by name."""


@functools.lru_cache(maxsize=512)
def _get_layout(calculator: AnyCalculator, result_units: tuple[tuple[str, str], ...]) -> _Layout:
    wanted = dict(result_units)
    results = {name: wanted.get(name, unit) for name, unit in get_declared_units(calculator.result_fields).items()}
    input_units = get_declared_units(calculator.input_fields)
    return _Layout(
        _list_fields(calculator.input_fields, input_units),
        _list_fields(calculator.result_fields, results),
        results,
        input_units,
        tuple((name, unit, name.partition(".")[0]) for name, unit in input_units.items()),
        {name: units.get_unit(unit) for name, unit in results.items()},
    )


def _list_fields(fields: Mapping[str, Kind], chosen: Mapping[str, str]) -> tuple[_Field, ...]:
    return tuple(
        (name, kind, units.get_unit(chosen[name]) if isinstance(kind, Quantity) else None)
        for name, kind in fields.items()
    )


def _list_marked(marks: Mapping[str, BoolArray], row: int, calculator: AnyCalculator) -> list[str]:
    """Return the inputs that are marked in a row; ``marks`` are mostly one shared array that is false throughout."""
    marked = [name for name, mark in marks.items() if mark is not all_false(len(mark)) and mark[row].any()]
    order = list(calculator.input_fields)
    return marked if len(marked) < 2 else sorted(marked, key=lambda name: order.index(name.partition(".")[0]))


def get_declared_units(fields: Mapping[str, Kind]) -> dict[str, str]:
    """Return the units of all quantities by name, also of those in lists and tables (``parts.mass``)."""
    declared: dict[str, str] = {}
    for name, kind in fields.items():
        declared |= kind.get_units(name)
    return declared


def _get_values(
    fields: Iterable[_Field], owner: Any, row: int, chosen: Mapping[str, str], without: Collection[str] = ()
) -> dict[str, Any]:
    values_by_name: dict[str, Any] = {}
    for name, kind, unit in fields:
        values = getattr(owner, name)
        if unit is not None:  # nearly all are plain quantities
            values_by_name[name] = round_number((values.item(row) - unit.offset) / unit.scale)
        else:
            values_by_name[name] = [] if name in without else _get_value(kind, values, row, name, chosen)
    return values_by_name


def _get_value(kind: Kind, values: Any, row: int, name: str, chosen: Mapping[str, str]) -> Any:
    """Return a value as JSON has it, in the unit chosen for its name; None where there is no answer."""
    if isinstance(kind, Table):
        return build_table_rows(kind, values, row, name, chosen)
    if isinstance(kind, NumberList):
        entries = round_numbers(units.convert_from_si(values[row], chosen[name]))
        return None if None in entries else entries
    return kind.to_json(values[row])


def build_table_rows(
    kind: Table, values: Any, row: int, name: str, chosen: Mapping[str, str], start: int = 0, stop: int | None = None
) -> list[dict[str, Any]]:
    """Return the rows of a table, or some of them, as JSON has them.

    Cells that an optional column leaves out are left out; a missing result stays, as null.
    """
    layout = _get_table_layout(kind, tuple(chosen.get(f"{name}.{inner}", "") for inner in kind.columns))
    cells: dict[str, list[Any]] = {}
    for inner, column in layout.columns.items():
        column_values = getattr(values, inner)[row, start:stop]
        if column.is_numeric:
            cells[inner] = column_values
        elif column.is_nested:
            cells[inner] = [
                _get_value(column, column_values, at, f"{name}.{inner}", chosen) for at in range(len(column_values))
            ]
        else:
            cells[inner] = column.list_json(column_values)
    if layout.numeric:
        stacked = np.array([cells[inner] for inner in layout.numeric])
        figures = iter(
            round_numbers(((stacked - layout.offsets) / layout.scales).reshape(-1))
        )  # together, which is quicker
        cells |= {inner: list(itertools.islice(figures, stacked.shape[1])) for inner in layout.numeric}
    rows = [dict(zip(cells, values, strict=True)) for values in zip(*cells.values(), strict=True)]
    for table_row in rows if layout.optional else ():
        for inner in layout.optional:
            if table_row[inner] is None or table_row[inner] == "":
                del table_row[inner]
    return rows


@dataclass(frozen=True, slots=True)
class _TableLayout:
    """What all tables of a kind, in the same units, have in common."""

    columns: Mapping[str, Kind]
    optional: tuple[str, ...]
    numeric: tuple[str, ...]
    offsets: NDArray[np.float64]
    """Of the units of the numeric columns (K, 1), 0 of counts."""
    scales: NDArray[np.float64]


@functools.lru_cache(maxsize=512)
def _get_table_layout(kind: Table, spellings: tuple[str, ...]) -> _TableLayout:
    columns = {name: column for name, column in kind.columns.items() if column.is_given}
    spelling = dict(zip(kind.columns, spellings, strict=True))
    numeric = tuple(name for name, column in columns.items() if column.is_numeric)
    used = [units.get_unit(spelling[name] or "1") for name in numeric]
    return _TableLayout(
        columns,
        tuple(name for name, column in columns.items() if column.optional),
        numeric,
        np.array([[unit.offset] for unit in used]),
        np.array([[unit.scale] for unit in used]),
    )


def _build_uncertainty(
    outcome: Outcome, row: int, results: Mapping[str, Any], layout: _Layout
) -> dict[str, dict[str, Any]]:
    """Return standard uncertainty, low, high and shares by result: ``packs.endurance`` of a table."""
    propagated = outcome.uncertainty
    if propagated is None or not propagated.rows[row]:
        return {}
    uncertainty: dict[str, dict[str, Any]] = {}
    for name, standard in propagated.standard.items():
        unit = layout.units.get(name)
        scale, offset = (1.0, 0.0) if unit is None else (unit.scale, unit.offset)
        figures = (
            standard[row] / scale,
            *((each[name][row] - offset) / scale for each in (propagated.low, propagated.high)),
        )
        missing = propagated.no_result.get(name)
        entry: dict[str, Any]
        if standard.ndim > 1:
            entry = _build_entries(name, figures, None if missing is None else missing[row], results)
        elif results[name] is None:
            continue
        else:
            numbers = [round_number(float(each)) for each in figures]
            entry = dict(zip(RANGE, numbers, strict=True))
            if None in entry.values():
                continue
            entry["shares"] = {
                source: round_number(share)
                for source, share in zip(propagated.sources, propagated.shares[name][:, row].tolist(), strict=True)
                if share > 0
            }
            if missing is not None and missing[row] > 0:
                entry["no_result"] = round_number(float(missing[row]))
        if entry:
            uncertainty[name] = entry
    return uncertainty


def _build_entries(
    name: str, figures: Sequence[NDArray[np.float64]], missing: NDArray[np.float64] | None, results: Mapping[str, Any]
) -> dict[str, Any]:
    """Return it for a list (M,) without missing entries, or for a column of a table, None in rows without a result."""
    table, _, column = name.rpartition(".")
    values = [each.get(column) for each in results[table]] if table else results[name]
    if values is None or len(values) != len(figures[0]):
        return {}
    with np.errstate(over="ignore"):  # what is beyond a double is None
        known = [value is not None for value in values]
        entry: dict[str, Any] = {
            part: round_numbers(np.where(known, each, np.nan)) for part, each in zip(RANGE, figures, strict=True)
        }
    if not table and None in entry["standard"]:
        return {}
    if missing is not None and (missing[known] > 0).any():
        entry["no_result"] = [
            round_number(each) if has else None for each, has in zip(missing.tolist(), known, strict=True)
        ]
    return entry


def check_result_units(calculator: AnyCalculator, wanted: Mapping[str, str]) -> None:
    """Raise ValueError, with what is accepted, for units that results cannot have."""
    declared = get_declared_units(calculator.result_fields)
    errors: list[str] = []
    for name, spelling in wanted.items():
        if len(errors) == MAX_LISTED_NAMES:
            break
        if name not in declared:
            hint = suggest(name, declared) or f"; the results with one are {join_with_or(declared)}"
            errors.append(f"{name[:80]} is not a result with a unit{hint}")
        elif spelling not in units.output_units(declared[name]):
            known = units.output_units(declared[name])
            hint = suggest(spelling, known, units.get_words(known))
            errors.append(f'{name} is available in {join_with_or(known)}, not in "{spelling[:80]}"{hint}')
    if errors:
        raise ValueError("; ".join(errors))
