"""Check a declaration: reserved or unknown names, invalid bounds, missing texts."""

from __future__ import annotations

import re
import typing
from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from gramwatt.model.charts import (
    BarChart,
    Chart,
    CurveChart,
    DrawingChart,
    LinesChart,
    ScatterChart,
    TimeSeriesChart,
    WaterfallChart,
)
from gramwatt.model.constants import get_constants
from gramwatt.model.expressions import find_expression_problems, list_names
from gramwatt.model.kinds import DeclarationError, Kind, Quantity, Text, get_fields, get_label
from gramwatt.model.messages import NOTICE_PLACEHOLDER

if TYPE_CHECKING:
    from gramwatt.model.calculator import AnyCalculator, Caution, Rule

RESERVED_RESULTS = frozenset({"batch", "sweep", "chart", "log", "description"})
RANGE_SUFFIXES: Mapping[str, str] = MappingProxyType({"standard": "_u", "low": "_low", "high": "_high"})
"""The columns beside an uncertain result in CSV and in tables: its standard uncertainty and the ends of its range."""
RESERVED_INPUTS = frozenset(
    {
        "add", "ascending", "best", "by", "cautions", "chart", "count", "craft", "decimal", "digits", "download",
        "error", "errors", "fields", "format", "from", "from2", "given", "ground", "header", "id", "keep", "name",
        "note", "part", "recording_decimal", "remove", "results", "scale", "sep", "service", "shape", "show", "theme",
        "title", "to", "to2", "uncertainty", "unit", "units", "values", "vary", "vary2", "working",
    }
)  # fmt: skip

CATEGORIES: Mapping[str, str] = MappingProxyType(
    {
        "weigh": "On the bench: grams against a limit",
        "choose": "On the bench: packs, motors and propellers",
        "before": "Before the flight",
        "after": "After the flight",
        "show": "To show others",
    }
)
"""The parts of the work that calculators serve, in order."""


def declaration_problems(calculator: AnyCalculator) -> Iterator[str]:
    """Yield everything that is wrong with a calculator's declaration."""
    try:
        inputs, results = get_fields(calculator.inputs), get_fields(calculator.results)
    except DeclarationError as error:
        yield str(error)
        return
    yield from _find_name_problems(inputs, results)
    for name, kind in inputs.items():
        yield from (f"{name}: {problem}" for problem in kind.find_input_problems(inputs))
    yield from _find_row_name_problems(calculator)
    for name, kind in results.items():
        yield from (f"{name}: {problem}" for problem in kind.find_result_problems(inputs))
    yield from _find_label_problems(calculator.input_fields, results)
    yield from _find_formula_problems(calculator)
    for part in ("references", "cautions", "examples", "charts", "title", "summary"):
        if not getattr(calculator, part):
            yield f"{part} missing"
    titles = [chart.name for chart in calculator.charts]
    yield from (f"two charts have the name {name}" for name in sorted(set(titles)) if titles.count(name) > 1)
    for word, notices in (("caution", calculator.cautions), ("rule", calculator.rules)):
        codes = [each.code for each in notices]
        yield from (f"two {word}s have the code {code}" for code in sorted(set(codes)) if codes.count(code) > 1)
    yield from (f"sentence: {problem}" for sentence in calculator.sentences for problem in sentence.find_problems())
    if calculator.category not in CATEGORIES:
        yield f"category {calculator.category!r} is none of {', '.join(CATEGORIES)}"
    if not calculator.formula.__doc__:
        yield "the formula has no docstring"
    hints = typing.get_type_hints(calculator.formula)
    if hints.get("return") is not calculator.results or calculator.inputs not in hints.values():
        yield "the formula does not take these inputs and give these results"
    for owner, name, known in _list_references(calculator, inputs, results):
        if name not in known:
            yield f"{owner} names {name}, which does not exist"


def _find_row_name_problems(calculator: AnyCalculator) -> Iterator[str]:
    for path, kind in calculator.row_names.items():
        table = calculator.input_tables.get(kind.of)
        if table is None or not isinstance(table.columns.get("name"), Text):
            yield f"{path} refers to {kind.of}, which is no table of inputs with a text called name"


def _find_formula_problems(calculator: AnyCalculator) -> Iterator[str]:
    """Yield what is wrong with the formulas of results, steps and assumptions, and steps that none of them names."""
    named: set[str] = set()
    for path, kind in _list_explained(calculator):
        expressions = (*kind.formulas, *kind.method.split("`")[1::2])
        named |= {_qualify(calculator, name, path) for text in expressions for name in list_names(text)}
        for formula in kind.formulas:
            yield from _find_problems_of(calculator, formula, path)
    for assumption in calculator.assumptions:
        if assumption.formula:
            named |= {_qualify(calculator, name, assumption.name) for name in list_names(assumption.formula)}
            yield from _find_problems_of(calculator, assumption.formula, assumption.name)
    for name, kind in calculator.step_fields.items():
        if name in calculator.input_fields or (name in calculator.result_fields and not kind.columns):
            yield f"the step {name} is an input or a result"
        steps = (f"{name}.{column}" for column in kind.columns if column != "name") if kind.columns else (name,)
        yield from (f"no formula names the step {step}" for step in steps if step not in named)


def _list_explained(calculator: AnyCalculator) -> Iterator[tuple[str, Kind]]:
    """Yield results and steps, and the columns of tables of them."""
    for fields in (calculator.result_fields, calculator.step_fields):
        for name, kind in fields.items():
            yield name, kind
            yield from ((f"{name}.{column}", inner) for column, inner in kind.columns.items())


def _find_problems_of(calculator: AnyCalculator, formula: str, path: str) -> Iterator[str]:
    problems = find_expression_problems(formula, lambda name: _is_known(calculator, name, path))
    yield from (f"{path}: {problem}" for problem in problems)


def _qualify(calculator: AnyCalculator, name: str, path: str) -> str:
    """Return the path of a name in the formula of a field: in a row of a table, its own columns come first."""
    table = path.rpartition(".")[0]
    owners = (calculator.result_fields, calculator.step_fields, calculator.input_fields)
    is_column = any(table in fields and name in fields[table].columns for fields in owners)
    return f"{table}.{name}" if is_column else name


def _is_known(calculator: AnyCalculator, name: str, path: str) -> bool:
    table, _, column = _qualify(calculator, name, path).rpartition(".")
    owners = (calculator.input_fields, calculator.result_fields, calculator.step_fields)
    if table:
        return any(table in fields and column in fields[table].columns for fields in owners)
    return column in get_constants() or any(column in fields for fields in owners)


def _find_name_problems(inputs: Mapping[str, Kind], results: Mapping[str, Kind]) -> Iterator[str]:
    for owner, fields, reserved in (
        ("inputs", inputs, RESERVED_INPUTS),
        ("results", results, RESERVED_RESULTS),
    ):
        if not fields:
            yield f"{owner} has no fields"
        for name in fields:
            if not re.fullmatch(r"[a-z][a-z0-9_]*", name):
                yield f"{owner}.{name} is not snake_case"
            if name in reserved:
                yield f"{name} is a reserved word"
    for owner, fields in (("", results), *((f"{name}.", kind.columns) for name, kind in results.items())):
        taken = {*fields, *(() if owner else inputs)}
        for name in (name for name, kind in fields.items() if kind.has_numbers):
            for column in (f"{name}{suffix}" for suffix in RANGE_SUFFIXES.values()):
                if column in taken:
                    yield f"{owner}{column} has the name of a column for the range of {name}"
    for name, kind in inputs.items():
        # An optional input may come back as a result (a measured or a derived voltage) if it is the same quantity.
        result = results.get(name)
        same = isinstance(kind, Quantity) and isinstance(result, Quantity) and kind.unit == result.unit
        if result is not None and not same:
            yield f"{name} is both an input and a result"


MAX_LABEL_LENGTH = 28


def _is_word(text: str) -> bool:
    return text.isalpha() and (len(text) > 2 or text in ("at", "by", "in", "of", "to"))


def _find_label_problems(inputs: Mapping[str, Kind], results: Mapping[str, Kind]) -> Iterator[str]:
    """Yield what is wrong with the labels of fields, in a form or in a table."""
    fields = {**inputs, **results}
    for owner, kinds in (("", fields), *((f"{name}.", kind.columns) for name, kind in fields.items())):
        names: dict[str, str] = {}
        for name, kind in kinds.items():
            label = get_label(name, kind)
            if not kind.is_given:
                continue
            if len(label) > MAX_LABEL_LENGTH or not label[0].isupper() or "_" in label:
                yield f"{owner}{name}: the label {label!r} is not a short one in sentence case"
            if not kind.label and not all(_is_word(each) for each in name.split("_")):
                yield f"{owner}{name} is not made of words: give it a label"
            if names.setdefault(label, name) != name:
                yield f"{owner}{name} has the label of {names[label]}"


def _list_references(
    calculator: AnyCalculator, inputs: Mapping[str, Kind], results: Mapping[str, Kind]
) -> Iterator[tuple[str, str, Mapping[str, Kind]]]:
    """Yield each name that a part of the declaration refers to, with that part and the names it may refer to."""
    fields = {**inputs, **results}
    explained = {**results, **calculator.step_fields, **inputs}
    yield from (("reference", n.partition(".")[0], explained) for r in calculator.references for n in r.about)
    yield from (("rule", n.partition(".")[0], results) for r in calculator.rules for n in r.results)
    yield from (("assumption", a.name.partition(".")[0], inputs) for a in calculator.assumptions)
    yield from (("caution", c.assumed.partition(".")[0], inputs) for c in calculator.cautions if c.assumed)
    yield from (("any_of", n, inputs) for group in calculator.any_of for n in group)
    yield from (("example", n, inputs) for e in calculator.examples for n in e.given)
    yield from (("example", n, results) for e in calculator.examples for n in e.expected)
    yield from (("sentence", n, fields) for sentence in calculator.sentences for n in sentence.list_names())
    yield from (("chart", n, fields) for chart in calculator.charts for n in _list_charted_fields(chart))
    notices: list[Caution[Any, Any] | Rule[Any, Any]] = [*calculator.cautions, *calculator.rules]
    for notice in notices:
        for found in NOTICE_PLACEHOLDER.finditer(f"{notice.text} {getattr(notice, 'partly', '')}"):
            yield notice.code, found[1].partition(".")[0], fields
    displays = [kind.quantity.display for kind in inputs.values() if kind.quantity and kind.quantity.display]
    yield from (("display", display.step, inputs) for display in displays)


def _list_charted_fields(chart: Chart[Any, Any]) -> Iterator[str]:
    """Yield the inputs and results that a chart names."""
    match chart:
        case CurveChart():
            yield from (chart.vary, *chart.show, *((chart.across,) if chart.across else ()))
        case WaterfallChart():
            yield from (chart.steps, chart.total, chart.table, chart.masses)
        case BarChart():
            yield from (chart.table,) if chart.table else chart.show
        case ScatterChart():
            yield chart.table
        case LinesChart():
            yield from (name.partition(".")[0] for name in (chart.x, chart.y))
        case DrawingChart():
            yield from (chart.measure.partition(".")[0],) if chart.measure else ()
        case TimeSeriesChart():
            yield from (chart.recording, *((chart.spans[0],) if chart.spans else ()))
