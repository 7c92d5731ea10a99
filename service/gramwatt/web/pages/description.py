"""Describe a calculator's form: as JSON for programs (the web component reads it), and for the templates."""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from typing import Any

from gramwatt.engine import craft_fields
from gramwatt.engine.query_strings import fits_query
from gramwatt.model import (
    Calculator,
    Choice,
    Count,
    Example,
    Kind,
    NumberList,
    Quantity,
    RowName,
    StandardUncertainty,
    Table,
    Text,
    TimeSeries,
    get_fields,
    get_label,
    units,
)


@functools.cache
def describe_calculator(calculator: Calculator[Any, Any]) -> Mapping[str, Any]:
    """Return inputs and results with kinds, units and defaults, and the example that a form starts with."""
    return {
        "calculator": calculator.name,
        "title": calculator.title,
        "summary": calculator.summary,
        "about": calculator.documentation,
        "category": calculator.category,
        **({"deprecated": True} if calculator.deprecated else {}),
        "by_query": fits_query(calculator),
        "inputs": [describe_input(name, kind, calculator) for name, kind in calculator.input_fields.items()],
        "any_of": [list(group) for group in calculator.any_of],
        "choices": describe_choices(calculator),
        "results": [describe_result(name, kind) for name, kind in calculator.result_fields.items()],
        "example": dict(first_example(calculator).given),
    }


def describe_choices(calculator: Calculator[Any, Any]) -> Mapping[str, Any]:
    """Describe the members of a request that choose rows of a craft: the table of each by its name, and its label."""
    choices = craft_fields.get_choices().items()
    return {
        member: {"table": table, "label": member.replace("_", " ").capitalize()}
        for member, table in choices
        if member not in calculator.input_fields
    }


def first_example(calculator: Calculator[Any, Any]) -> Example:
    """Return the example that a form starts with: the first that fills a table, else the one with the fewest inputs."""
    tables = [name for name, kind in calculator.input_fields.items() if isinstance(kind, Table)]
    with_tables = [each for each in calculator.examples if any(name in each.given for name in tables)]
    return with_tables[0] if with_tables else min(calculator.examples, key=lambda each: len(each.given))


def describe_input(name: str, kind: Kind, calculator: Calculator[Any, Any] | None = None) -> dict[str, Any]:
    """Describe one input, or one column of a table of inputs."""
    description = _describe_field(name, kind) | {
        "required": kind.is_required,
        "group": kind.group or "",
        "accepts": kind.describe_accepted(),
    }
    default = kind.default
    if default is not None:
        description["default"] = default
    if calculator is not None:
        description["default_in_words"] = calculator.describe_default(name)
    match kind.item if isinstance(kind, NumberList) else kind:
        case Quantity() as quantity:
            low = quantity.at_least if quantity.above is None else quantity.above
            description |= _describe_units(quantity) | {"signed": low is not None and low < 0}
            description |= _describe_bounds(quantity)
        case Choice(options=options) as choice:
            description |= {
                "options": list(options),
                "option_labels": {each: choice.get_option_label(each) for each in options},
            }
        case Text(max_length=max_length):
            description["longest"] = max_length
        case RowName(of=table_name):
            description |= {"longest": 80, "row_of": table_name}
        case Count(at_least=at_least, at_most=at_most):
            description |= {"minimum": at_least, "maximum": at_most}
        case Table() as table:
            description["columns"] = [describe_input(each, inner) for each, inner in form_columns(table).items()]
            description["any_of"] = [list(group) for group in table.any_of]
            description["row_label"] = table.row_label
        case TimeSeries(row=row):
            description["columns"] = list(get_fields(row))
            description["channels"] = [_describe_channel(each, inner) for each, inner in get_fields(row).items()]
        case _:
            pass
    return description


def _describe_channel(name: str, kind: Kind) -> dict[str, Any]:
    """Describe a channel of a recording, for a page that lets people choose its column."""
    description = describe_input(name, kind)
    return {each: description[each] for each in ("name", "label", "required", "unit", "units")}


def describe_result(name: str, kind: Kind) -> dict[str, Any]:
    """Describe one result, or one column of a table of results."""
    description = _describe_field(name, kind)
    match kind.item if isinstance(kind, NumberList) else kind:
        case Quantity() as quantity:
            low, high = quantity.possible_range
            bounds = {"minimum": low, "maximum": high}
            description |= _describe_units(quantity) | {n: bound for n, bound in bounds.items() if math.isfinite(bound)}
        case Count(at_least=at_least, at_most=at_most):
            description |= {"minimum": at_least, "maximum": at_most}
        case Table(row=row):
            description["columns"] = [describe_result(each, inner) for each, inner in get_fields(row).items()]
        case Choice(options=options) as choice:
            description["option_labels"] = {each: choice.get_option_label(each) for each in options}
        case _:
            pass
    return description


def _describe_field(name: str, kind: Kind) -> dict[str, Any]:
    return {
        "name": name,
        "label": get_label(name, kind),
        "kind": kind.kind_name,
        "description": kind.description,
        **({"deprecated": True} if kind.deprecated else {}),
    }


def _describe_bounds(quantity: Quantity) -> dict[str, float]:
    """Describe the bounds of an input, in its unit."""
    bounds = {
        "minimum": quantity.at_least,
        "exclusive_minimum": quantity.above,
        "maximum": quantity.at_most,
        "exclusive_maximum": quantity.below,
    }
    return {name: bound for name, bound in bounds.items() if bound is not None}


def _describe_units(quantity: Quantity) -> dict[str, Any]:
    return {"unit": quantity.unit, "units": tuple(units.compatible_units(quantity.unit))}


def form_columns(table: Table) -> Mapping[str, Kind]:
    """Return the columns of a table that a form has."""
    return {name: kind for name, kind in get_fields(table.row).items() if not isinstance(kind, StandardUncertainty)}


def needs_upload(calculator: Calculator[Any, Any]) -> bool:
    """Return whether a form must hold a recording, so that it is always sent by POST."""
    fields = calculator.input_fields
    columns = [inner for kind in fields.values() if isinstance(kind, Table) for inner in form_columns(kind).values()]
    return any(isinstance(kind, TimeSeries) and kind.is_required for kind in (*fields.values(), *columns))
