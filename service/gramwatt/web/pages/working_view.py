"""The working of a response as pages show it: formulas typeset, the same with numbers, values, sources by number."""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from markupsafe import Markup

from gramwatt.charts.formatting import find_field, sentence
from gramwatt.model import AnyCalculator
from gramwatt.model.expressions import list_names
from gramwatt.model.messages import add_unit, format_number
from gramwatt.web.pages.formulas import typeset_equation, typeset_text
from gramwatt.web.pages.reference import get_formula_labels

DIGITS: Final = 6
MAX_FORMULA_ROWS: Final = 4
"""Rows of a table whose formulas are shown with numbers. A longer one shows the first."""


@dataclass(frozen=True, slots=True)
class WorkingRow:
    """A row of a table: its name, its formula with numbers, its value."""

    name: str
    numbers: str
    value: str


@dataclass(frozen=True, slots=True)
class WorkingStep:
    """A result or a step before it."""

    label: str
    table: str
    """The label of the table that it is a column of."""
    formula: Markup | None
    numbers: str
    value: str
    """With its unit; empty of what is no number, and without a value."""
    method: Markup | None
    rows: tuple[WorkingRow, ...]
    """Of a column: its rows, but only the first of a long table, and none of one without a formula."""
    values: str
    """Of a long table: all values, with their unit."""
    more_rows: int
    """Rows that are not among these."""
    sources: tuple[int, ...]


def make_working(
    calculator: AnyCalculator, working: Mapping[str, Any], localize: Callable[[str], str]
) -> tuple[WorkingStep, ...]:
    """Return the steps of a response's working; ``localize`` gives numbers the chosen decimal sign.

    Those of tables of results, and what only these name, are left out, as a page must stay small.
    """
    shown: list[WorkingStep] = []
    named = set(calculator.result_fields)
    for entry in reversed(working["steps"]):  # each is above those whose formulas name it
        table, _, _ = entry["name"].rpartition(".")
        if table not in calculator.result_tables and (not calculator.result_tables or {entry["name"], table} & named):
            expressions = (entry.get("formula", ""), *(row.get("formula", "") for row in entry.get("rows", ())))
            named |= {part for text in expressions for name in list_names(text) for part in (name, f"{table}.{name}")}
            shown.append(_make_step(calculator, entry, localize))
    return tuple(reversed(shown))


def _make_step(calculator: AnyCalculator, entry: Mapping[str, Any], localize: Callable[[str], str]) -> WorkingStep:
    unit = entry.get("unit", "1")

    def format_value(value: float | None) -> str:
        return "" if value is None else add_unit(localize(format_number(value, DIGITS)), unit)

    path, rows = entry["name"], entry.get("rows", ())
    is_long = len(rows) > MAX_FORMULA_ROWS
    shown = [row for row in rows if "numbers" in row][:1] if is_long else rows
    formula = entry.get("formula")
    return WorkingStep(
        entry["label"],
        _get_label(calculator, path.rpartition(".")[0]),
        typeset_formula(calculator, path, formula) if formula else None,
        localize(entry.get("numbers", "")),
        format_value(entry.get("value")),
        _typeset_method(calculator, path, entry["method"]) if "method" in entry else None,
        tuple(WorkingRow(row["name"], localize(row.get("numbers", "")), format_value(row["value"])) for row in shown),
        _join(rows, unit, localize) if is_long else "",
        entry.get("omitted_rows", 0),
        tuple(entry["references"]),
    )


def _join(rows: Sequence[Mapping[str, Any]], unit: str, localize: Callable[[str], str]) -> str:
    values = ("–" if row["value"] is None else format_number(row["value"], DIGITS) for row in rows)
    return add_unit(";  ".join(localize(value) for value in values), unit) if rows else ""


def _get_label(calculator: AnyCalculator, name: str) -> str:
    label = get_formula_labels(calculator).get(name, "") if name else ""
    return label[:1].upper() + label[1:]


@functools.lru_cache(maxsize=2048)
def typeset_formula(calculator: AnyCalculator, path: str, formula: str) -> Markup:
    """Return a formula of a result or a step, or of a column of a table, as MathML."""
    labels = get_formula_labels(calculator)
    return typeset_equation(labels.get(path, path), formula, labels)


@functools.lru_cache(maxsize=2048)
def _typeset_method(calculator: AnyCalculator, path: str, text: str) -> Markup:
    """Return a declared method with its expressions typeset; ``text`` for an input, whose method is an assumption."""
    kind = find_field(calculator, path)
    declared = "" if kind is None else kind.method
    return typeset_text(sentence(declared or text), get_formula_labels(calculator))
