"""Text in and beside a chart: axis labels, values, a summary of the inputs. Pages use it too."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

from gramwatt.model import Array, Calculator, Choice, Kind, Table, Text, get_label
from gramwatt.model.messages import DISPLAY_DIGITS, format_estimate, lower_first
from gramwatt.model.messages import add_unit as add_unit
from gramwatt.model.messages import unit_sign as unit_sign

MAX_INPUTS: Final = 6
"""Inputs that a summary names."""
NO_RESULT: Final = "no result"
_COVERAGE: Final = "95 % range"
"""From the 2.5th to the 97.5th percentile of the likely cases."""


def readable(name: str) -> str:
    """Return a field name as people read it: ``loaded voltage``; the suffix ``_u`` stands for an uncertainty."""
    name, suffix = (name[:-2], " uncertainty") if name.endswith("_u") else (name, "")
    return name.replace("_", " ") + suffix


def sentence_case(text: str) -> str:
    """Return a text with a capital first letter."""
    return text[:1].upper() + text[1:]


def sentence(text: str) -> str:
    """Return a text as a sentence, with a capital and a full stop."""
    return sentence_case(text if text.endswith((".", "?", "!")) else f"{text}.")


def describe_ranges(is_partial: bool) -> str:
    """Return what lies within ranges, in words; ``is_partial`` where some of the likely cases have no result."""
    return _COVERAGE + (" of the cases with a result" if is_partial else "")


def find_field(calculator: Calculator[Any, Any], name: str) -> Kind | None:
    """Return the kind of a result, an input, a step or a column of a table (``parts.mass``); None if there is none."""
    table, _, column = name.rpartition(".")
    owners = (calculator.result_fields, calculator.input_fields, calculator.step_fields)
    fields = [owner[table].columns for owner in owners if table in owner] if table else owners
    return next((each[column] for each in fields if column in each), None)


def get_field_label(calculator: Calculator[Any, Any], name: str) -> str:
    """Return the label of a result, an input or a column of a table."""
    return get_label(name.rpartition(".")[2], find_field(calculator, name) or Text(""))


def axis_label(label: str, unit: str) -> str:
    """Return the label of an axis: ``Pack current, A``."""
    return label if unit == "1" else f"{label}, {unit_sign(unit)}"


def declared_unit(kind: Kind) -> str:
    """Return the unit that a field, or each entry of a list, is declared in; 1 where it has none."""
    return "1" if kind.quantity is None else kind.quantity.unit


def label_with_unit(name: str, kind: Kind) -> str:
    """Return the label of a field with the unit that it is declared in."""
    return axis_label(get_label(name, kind), declared_unit(kind))


def format_value(number: float, unit: str, digits: int | None = None) -> str:
    """Return a value with its unit."""
    if not math.isfinite(number):
        return NO_RESULT
    return add_unit(format_estimate(float(number), unit, digits=digits).value.replace("-", "−"), unit)


def format_with_range(
    number: float, uncertainty: float | None, low: float | None, high: float | None, unit: str
) -> str:
    """Return a value with its 95 % range: ``23.1 A (21.9 to 24.5)``."""
    if not math.isfinite(number):
        return NO_RESULT
    shown = format_estimate(float(number), unit, uncertainty, low, high, max_digits=DISPLAY_DIGITS)
    ends = f" ({shown.low} to {shown.high})" if shown.range and shown.low != shown.high else ""
    return (add_unit(shown.value, unit) + ends).replace("-", "−")


def summarize_inputs(calculator: Calculator[Any, Any], response: Mapping[str, Any]) -> str:
    """Return the given inputs of a response in one line, without those that were assumed or computed."""
    inputs: list[str] = []
    for name, value in response["inputs"].items():
        if name in response["assumed"] or name in response.get("computed", ()):
            continue
        label = get_field_label(calculator, name)
        kind = calculator.input_fields.get(name)
        match value:
            case [_] if isinstance(kind, Table):
                inputs.append(f"1 {kind.row_label}")
            case [only]:
                inputs.append(f"{label} {format_value(only, response['input_units'].get(name, '1'), 6)}")
            case list():
                inputs.append(f"{len(value)} {lower_first(label)}")
            case dict():
                inputs.append(f"{value['samples']} samples")
            case bool():
                inputs.append(label if value else f"not {lower_first(label)}")
            case int() | float():
                inputs.append(f"{label} {format_value(value, response['input_units'].get(name, '1'), 6)}")
            case _:
                shown = kind.get_option_label(value) if isinstance(kind, Choice) else value
                inputs.append(f"{label} {shown}")
    more = len(inputs) - MAX_INPUTS
    return " · ".join(inputs[:MAX_INPUTS] + ([f"{more} more"] if more > 0 else []))


def describe_trend(label: str, values: Array, unit: str) -> str:
    """Return how values change along a line: its ends, and a minimum or maximum between them."""
    known = values[[math.isfinite(each) for each in values.tolist()]]
    if not len(known):
        return f"{label} has {NO_RESULT}"
    first, last, low, high = (float(each) for each in (known[0], known[-1], known.min(), known.max()))
    extremes = [
        f"{name} {format_value(bound, unit)}"
        for name, bound, at_ends in (("minimum", low, min(first, last)), ("maximum", high, max(first, last)))
        if bound != at_ends
    ]
    ends = f"{label} goes from {format_value(first, unit)} to {format_value(last, unit)}"
    return ends + (f" ({', '.join(extremes)})" if extremes else "")
