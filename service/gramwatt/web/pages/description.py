"""A calculator described: what its form asks, in JSON for programs (the element reads it) and for the templates."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from typing import Any, Final

from gramwatt.charts.formatting import spoken
from gramwatt.engine.messages import describe_accepted
from gramwatt.engine.query_strings import fits_query
from gramwatt.model import (
    Calculator,
    Choice,
    Count,
    Example,
    Flag,
    Kind,
    NumberList,
    Quantity,
    StandardUncertainty,
    Table,
    Text,
    TimeSeries,
    default_of,
    get_fields,
    is_required,
    units,
)

KIND_NAMES: Final[Mapping[type[Any], str]] = {
    Quantity: "quantity",
    Count: "count",
    Choice: "choice",
    Flag: "flag",
    Text: "text",
    NumberList: "series",
    Table: "table",
    TimeSeries: "samples",
    StandardUncertainty: "spread",
}
"""Names of the kinds in descriptions. They are public: published versions of the web component read them."""


@functools.cache
def described(calculator: Calculator[Any, Any]) -> Mapping[str, Any]:
    """Inputs and results with their kinds, units, bounds in words and defaults; the example that a form begins with."""
    example = dict(first_example(calculator).given)
    return {
        "calculator": calculator.name,
        "title": calculator.title,
        "summary": calculator.summary,
        "about": calculator.documentation,
        "job": calculator.category,
        "by_query": fits_query(calculator),
        "inputs": [field(name, kind, calculator) for name, kind in calculator.input_fields.items()],
        "any_of": [list(group) for group in calculator.any_of],
        "results": [result(name, kind) for name, kind in calculator.result_fields.items()],
        "example": example,
    }


def first_example(calculator: Calculator[Any, Any]) -> Example:
    """The example that a form begins with: the first that fills a table, where the calculator asks for one; else the
    one that gives least."""
    tables = [name for name, kind in calculator.input_fields.items() if isinstance(kind, Table)]
    filled = [each for each in calculator.examples if any(name in each.given for name in tables)]
    return filled[0] if filled else min(calculator.examples, key=lambda each: len(each.given))


def field(name: str, kind: Kind, calculator: Calculator[Any, Any] | None = None) -> dict[str, Any]:
    """One input, or one column of a table of inputs."""
    made: dict[str, Any] = {
        "name": name,
        "label": spoken(name),
        "kind": KIND_NAMES[type(kind)],
        "description": str(getattr(kind, "description", "")),
        "required": is_required(kind),
        "accepts": describe_accepted(kind),
    }
    default = default_of(kind)
    if default is not None:
        made["default"] = default
    if calculator is not None:
        made["default_in_words"] = next((a.text for a in calculator.assumptions if a.name == name), "")
    quantity = kind.item if isinstance(kind, NumberList) else kind
    match quantity:
        case Quantity():
            made |= {"unit": quantity.unit, "units": tuple(units.compatible_units(quantity.unit))}
        case Choice():
            made["options"] = list(quantity.options)
        case Text():
            made["longest"] = quantity.max_length
        case Count():
            made |= {"at_least": quantity.at_least, "at_most": quantity.at_most}
        case Table():
            made["columns"] = [field(each, inner) for each, inner in columns_of(quantity).items()]
            made["any_of"] = [list(group) for group in quantity.any_of]
        case TimeSeries():
            made["columns"] = list(get_fields(quantity.row))
        case _:
            pass
    return made


def columns_of(kind: Table) -> Mapping[str, Kind]:
    """The columns of a table that a form asks for: a recording in a row is sent otherwise, unless it must be there."""
    return {
        name: inner
        for name, inner in get_fields(kind.row).items()
        if not isinstance(inner, StandardUncertainty) and (not isinstance(inner, TimeSeries) or is_required(inner))
    }


def result(name: str, kind: Kind) -> dict[str, Any]:
    """One result, or one column of a table of results."""
    made: dict[str, Any] = {
        "name": name,
        "label": spoken(name),
        "kind": KIND_NAMES[type(kind)],
        "description": str(getattr(kind, "description", "")),
    }
    quantity = kind.item if isinstance(kind, NumberList) else kind
    if isinstance(quantity, Quantity):
        made |= {"unit": quantity.unit, "units": tuple(units.compatible_units(quantity.unit))}
    if isinstance(quantity, Table):
        made["columns"] = [result(each, inner) for each, inner in get_fields(quantity.row).items()]
    return made


def takes_files(calculator: Calculator[Any, Any]) -> bool:
    """Whether its form must be sent by POST, as a recording has to be sent with it."""
    return any(
        isinstance(kind, TimeSeries)
        or (isinstance(kind, Table) and any(isinstance(inner, TimeSeries) for inner in columns_of(kind).values()))
        for kind in calculator.input_fields.values()
    )
