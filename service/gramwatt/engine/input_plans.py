"""Prepare, once per set of given inputs, what requests to a calculator have in common."""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from gramwatt.engine import columns, defaults
from gramwatt.engine.column_types import Column, TableColumn, all_false, all_true
from gramwatt.engine.uncertainty import Uncertainties
from gramwatt.model import (
    AnyCalculator,
    BoolArray,
    Caution,
    Kind,
    Quantity,
    Rule,
    StandardUncertainty,
    get_fields,
    units,
)
from gramwatt.model.messages import InputError


@functools.cache
def get_rules_and_cautions(calculator: AnyCalculator) -> tuple[Rule[Any, Any] | Caution[Any, Any], ...]:
    """Return the rules, then the cautions, of a calculator: the order in which a response lists them."""
    return (*calculator.rules, *calculator.cautions)


Condition: TypeAlias = tuple[Rule[Any, Any] | Caution[Any, Any], Callable[[Any, Any], BoolArray] | None, str | None]
"""A rule or caution; when it holds, None for always; the input that must be assumed, if any."""


@functools.cache
def get_conditions(calculator: AnyCalculator) -> tuple[Condition, ...]:
    """Return when each of a calculator's `get_rules_and_cautions` holds."""
    return tuple(
        (each, each.when, (each.assumed or None) if isinstance(each, Caution) else None)
        for each in get_rules_and_cautions(calculator)
    )


@dataclass(frozen=True, slots=True)
class CompleteInputs:
    """Columns for every field of a calculator's inputs, and where each comes from.

    Inputs without a value are nan, or -1 for a choice; an assumption may still fill them.
    """

    fields: dict[str, Any]
    """By field: SI values (N,), (N, M) for a list, or the row dataclass of a table."""
    present: Mapping[str, BoolArray]
    assumed: dict[str, BoolArray]
    """Rows that take the declared default, by input."""
    unused: Mapping[str, BoolArray]
    """Rows whose value another input replaces, by input."""
    uncertainties: Uncertainties
    """Standard uncertainties that were given, or of declared defaults in the rows that take those."""
    default_factors: Uncertainties
    """Standard deviations of the logarithms of declared defaults, in the rows that take them."""


@dataclass(frozen=True, slots=True)
class InputPlan:
    """How the inputs are completed where every row gives the same ones."""

    used: tuple[str, ...]
    """Inputs that are given and not replaced, in declared order."""
    fields: Mapping[str, Any]
    """Columns of the other ones: defaults, or nothing."""
    uncertainty_fields: tuple[tuple[str, str], ...]
    """Fields that hold the standard uncertainty of a used input, and that input."""
    present: Mapping[str, BoolArray]
    assumed: Mapping[str, BoolArray]
    unused: Mapping[str, BoolArray]
    default_uncertainties: Uncertainties
    default_factors: Uncertainties

    def complete(self, given: Mapping[str, Column]) -> CompleteInputs:
        """Combine the given columns with the prepared ones."""
        fields = dict(self.fields)
        uncertainties: Uncertainties = {}
        for name in self.used:
            column = given[name]
            fields[name] = column.values
            if column.uncertainty is not None or isinstance(column, TableColumn):
                uncertainties |= get_given_uncertainties(name, column)
        for name, source in self.uncertainty_fields:
            fields[name] = get_uncertainty(given[source])
        return CompleteInputs(
            fields,
            self.present,
            dict(self.assumed),
            self.unused,
            uncertainties | self.default_uncertainties,
            self.default_factors,
        )


@functools.lru_cache(maxsize=1024)
def get_single_plan(calculator: AnyCalculator, names: frozenset[str]) -> InputPlan | None:
    """Return the plan of a single request that gives these inputs; see `make_plan`."""
    return make_plan(calculator, names, 1)


@functools.lru_cache(maxsize=16)
def get_block_plan(calculator: AnyCalculator, names: frozenset[str], rows: int) -> InputPlan | None:
    """Return the plan of a block of a table. The cache is small, since the columns are long. See `make_plan`."""
    return make_plan(calculator, names, rows)


def make_plan(calculator: AnyCalculator, names: frozenset[str], rows: int) -> InputPlan | None:
    """Prepare ``rows`` requests that all give the same inputs; None if a required one is missing."""
    every_row = all_true(rows)
    all_columns = {
        name: Column(columns.empty_column(kind, rows).values, every_row)
        if name in names
        else columns.empty_column(kind, rows)
        for name, kind in calculator.input_fields.items()
    }
    missing: dict[int, Any] = {}
    defaults.add_missing_errors(calculator, all_columns, (), missing)
    if missing:
        return None
    original = dict(all_columns)
    assumed, unused = defaults.fill_defaults(calculator, all_columns, rows)
    used = tuple(name for name in calculator.input_fields if name in names and all_columns[name] is original[name])
    declared = get_fields(calculator.inputs)
    uncertainty_fields = tuple(
        (name, kind.of) for name, kind in declared.items() if isinstance(kind, StandardUncertainty) and kind.of in used
    )
    filled = {*used, *(name for name, _ in uncertainty_fields)}
    return InputPlan(
        used,
        {name: values for name, values in get_field_values(calculator, all_columns).items() if name not in filled},
        uncertainty_fields,
        {name: column.present for name, column in all_columns.items()},
        assumed,
        unused,
        get_default_uncertainties(calculator, assumed, {}, rows),
        get_default_factors(calculator, assumed, rows),
    )


def complete_inputs(
    calculator: AnyCalculator, all_columns: dict[str, Column], rows: int, errors: Mapping[int, Sequence[InputError]]
) -> CompleteInputs:
    """Complete ``rows`` requests that may give different inputs; at least one of them must be valid.

    The completed columns replace those in ``all_columns``.
    """
    present = {name: column.present for name, column in all_columns.items()}
    assumed, unused = defaults.fill_defaults(calculator, all_columns, rows)
    if errors:
        defaults.overwrite_invalid_rows(all_columns, errors, rows)
    uncertainties: Uncertainties = {}
    for name, column in all_columns.items():
        uncertainties |= get_given_uncertainties(name, column)
    uncertainties |= get_default_uncertainties(calculator, assumed, uncertainties, rows)
    return CompleteInputs(
        get_field_values(calculator, all_columns),
        present,
        assumed,
        unused,
        uncertainties,
        get_default_factors(calculator, assumed, rows),
    )


def get_field_values(calculator: AnyCalculator, all_columns: Mapping[str, Column]) -> dict[str, Any]:
    """Return the columns by field of the calculator's inputs, standard uncertainties among them."""
    rows = len(next(iter(all_columns.values())).present)

    def get_values(name: str, kind: Kind) -> Any:
        if isinstance(kind, StandardUncertainty):
            return get_uncertainty(all_columns[kind.of])
        return all_columns[name].values if kind.is_given else kind.make_empty(rows)

    return {name: get_values(name, kind) for name, kind in get_fields(calculator.inputs).items()}


def get_uncertainty(column: Column) -> Any:
    """Return the standard uncertainty of a column; zeros where none was given."""
    return np.zeros_like(column.values) if column.uncertainty is None else column.uncertainty


def get_given_uncertainties(name: str, column: Column) -> Uncertainties:
    """Return the standard uncertainties given for an input, by path; none of a list or a table where all are zero."""
    uncertainties: Uncertainties = {}
    if column.uncertainty is not None and (column.uncertainty.ndim == 1 or column.uncertainty.any()):
        uncertainties[(name,)] = column.uncertainty
    if isinstance(column, TableColumn):
        uncertainties |= {
            (name, inner): uncertainty for inner, uncertainty in column.uncertainties.items() if uncertainty.any()
        }
    return uncertainties


def get_default_uncertainties(
    calculator: AnyCalculator, assumed: Mapping[str, BoolArray], known: Uncertainties, rows: int
) -> Uncertainties:
    """Return the standard uncertainties of declared defaults where those are assumed, ``known`` ones elsewhere."""
    uncertainties: Uncertainties = {}
    for name, kind in _uncertain_defaults(calculator):
        if kind.default_u is not None and assumed[name] is not all_false(rows) and assumed[name].any():
            width = kind.default_u * units.get_unit(kind.unit).scale
            uncertainties[(name,)] = np.where(assumed[name], width, known.get((name,), np.zeros(rows)))
    return uncertainties


def get_default_factors(calculator: AnyCalculator, assumed: Mapping[str, BoolArray], rows: int) -> Uncertainties:
    """Return the standard deviations of the logarithms of declared defaults where those are assumed."""
    return {
        (name,): np.where(assumed[name], np.log(kind.default_factor), 0.0)
        for name, kind in _uncertain_defaults(calculator)
        if kind.default_factor is not None and assumed[name] is not all_false(rows) and assumed[name].any()
    }


@functools.cache
def _uncertain_defaults(calculator: AnyCalculator) -> tuple[tuple[str, Quantity], ...]:
    return tuple(
        (name, kind)
        for name, kind in calculator.input_fields.items()
        if isinstance(kind, Quantity) and kind.has_uncertain_default
    )
