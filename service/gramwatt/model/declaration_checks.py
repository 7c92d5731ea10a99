"""Check a declaration: names taken or missing, bounds that do not hold, missing texts."""

from __future__ import annotations

import re
import typing
from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from gramwatt.model.charts import BarChart, Chart, CurveChart, TimeSeriesChart, WaterfallChart
from gramwatt.model.kinds import (
    NESTED,
    Choice,
    Count,
    DeclarationError,
    Flag,
    Kind,
    NumberList,
    Quantity,
    StandardUncertainty,
    Table,
    Text,
    TimeSeries,
    get_fields,
    is_required,
)

if TYPE_CHECKING:
    from gramwatt.model.calculator import Calculator, Caution, Rule

RESERVED_RESULTS = frozenset({"batch", "sweep", "chart", "log"})
RESERVED_INPUTS = frozenset(
    {
        "add", "best", "by", "cautions", "count", "decimal", "decimal_sent", "digits", "error", "errors", "fields",
        "format", "from", "given", "ground", "header", "id", "keep", "least", "name", "note", "part", "picture",
        "remove", "results", "scale", "sep", "service", "shape", "show", "theme", "title", "to", "uncertainty", "unit",
        "units", "vary", "working",
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


def declaration_problems(calculator: Calculator[Any, Any]) -> Iterator[str]:
    """Everything that is wrong with a calculator's declaration."""
    try:
        inputs, results = get_fields(calculator.inputs), get_fields(calculator.results)
    except DeclarationError as error:
        yield str(error)
        return
    for owner, fields in (("inputs", inputs), ("results", results)):
        if not fields:
            yield f"{owner} has no fields"
        yield from (
            f"{owner}.{name} is not snake_case" for name in fields if not re.fullmatch(r"[a-z][a-z0-9_]*", name)
        )
    yield from (f"{name} is a reserved word" for name in inputs if name in RESERVED_INPUTS)
    yield from (f"{name} is a reserved word" for name in results if name in RESERVED_RESULTS)
    yield from (
        f"{name} is both an input and a result"
        for name in inputs
        if name in results and not _same(inputs, results, name)
    )
    for name, kind in inputs.items():
        yield from (f"{name}: {error}" for error in _input_faults(kind, inputs))
    for name, kind in results.items():
        yield from (f"{name}: {error}" for error in _result_faults(kind, inputs))
        if isinstance(kind, Table) and kind.length and not any(isinstance(each, NESTED) for each in inputs.values()):
            yield f"{name}: a length of its own needs inputs that are read one question at a time"
    for part in ("references", "cautions", "examples", "title", "summary"):
        if not getattr(calculator, part):
            yield f"{part} missing"
    for what, codes in (("caution", calculator.cautions), ("rule", calculator.rules)):
        seen = [each.code for each in codes]
        yield from (f"two {what}s have the code {code}" for code in sorted(set(seen)) if seen.count(code) > 1)
    if calculator.category not in CATEGORIES:
        yield f"job {calculator.category!r} is none of {', '.join(CATEGORIES)}"
    if not calculator.formula.__doc__:
        yield "the formula has no docstring"
    hints = typing.get_type_hints(calculator.formula)
    if hints.get("return") is not calculator.results or calculator.inputs not in hints.values():
        yield "the formula does not take these inputs and give these results"
    mentioned = [("reference", n, results) for r in calculator.references for n in r.about]
    mentioned += [("rule", n.partition(".")[0], results) for r in calculator.rules for n in r.results]
    mentioned += [("assumption", a.name, inputs) for a in calculator.assumptions]
    mentioned += [("caution", c.assumed, inputs) for c in calculator.cautions if c.assumed]
    mentioned += [("any_of", n, inputs) for group in calculator.any_of for n in group]
    mentioned += [("example", n, inputs) for e in calculator.examples for n in e.given]
    mentioned += [("example", n, results) for e in calculator.examples for n in e.expected]
    mentioned += [("picture", n, {**inputs, **results}) for n in _drawn(calculator.chart)]
    notes: list[Caution[Any, Any] | Rule[Any, Any]] = [*calculator.cautions, *calculator.rules]
    for note in notes:
        mentioned += [(note.code, n, {**inputs, **results}) for n in re.findall(r"\{(\w+)(?:\.\w+)?\}", note.text)]
    yield from (f"{where} names {name}, which does not exist" for where, name, known in mentioned if name not in known)


def _drawn(picture: Chart[Any, Any] | None) -> Iterator[str]:
    """The inputs and results that a picture names."""
    match picture:
        case CurveChart():
            yield from (picture.vary, *picture.show, *((picture.across,) if picture.across else ()))
        case WaterfallChart():
            yield from (picture.steps, picture.table, picture.masses)
        case BarChart():
            yield from (picture.table,) if picture.table else picture.show
        case TimeSeriesChart():
            yield from (picture.recording, *((picture.spans,) if picture.spans else ()))


def _same(inputs: Mapping[str, Kind], results: Mapping[str, Kind], name: str) -> bool:
    """An optional input may come back as a result (a measured or a found voltage) if it is the same quantity."""
    one, other = inputs[name], results[name]
    return isinstance(one, Quantity) and isinstance(other, Quantity) and one.unit == other.unit


def _input_faults(kind: Kind, siblings: Mapping[str, Kind]) -> Iterator[str]:
    match kind:
        case Quantity():
            yield from _quantity_faults(kind)
        case Count() if kind.at_least > kind.at_most:
            yield f"at_least {kind.at_least} is above at_most {kind.at_most}"
        case Count() if kind.default is not None and not kind.at_least <= kind.default <= kind.at_most:
            yield f"default {kind.default} outside its bounds"
        case Choice() if kind.default is not None and kind.default not in kind.options:
            yield f"default {kind.default} is not an option"
        case Text() if kind.pattern:
            yield from _pattern_faults(kind)
        case StandardUncertainty() if kind.of not in siblings:
            yield f"Spread of {kind.of}, which does not exist"
        case NumberList():
            yield from _input_faults(kind.item, siblings)
        case Table():
            rows = get_fields(kind.row)
            yield from _row_faults(rows)
            yield from (f"any_of names {n}, which does not exist" for g in kind.any_of for n in g if n not in rows)
        case TimeSeries():
            channels = get_fields(kind.row)
            if not channels or not all(isinstance(channel, Quantity) for channel in channels.values()):
                yield "the channels of a recording are quantities, the time first"
            yield from _row_faults(channels)
        case _:
            pass
    for name in getattr(kind, "replaces", ()):
        if name not in siblings:
            yield f"replaces {name}, which does not exist"
        elif is_required(siblings[name]):
            yield f"replaces {name}, which is required"


def _row_faults(fields: Mapping[str, Kind]) -> Iterator[str]:
    for name, kind in fields.items():
        yield from (f"{name}: {error}" for error in _input_faults(kind, fields))


def _quantity_faults(kind: Quantity) -> Iterator[str]:
    lows = [bound for bound in (kind.above, kind.at_least) if bound is not None]
    highs = [bound for bound in (kind.below, kind.at_most) if bound is not None]
    if len(lows) != 1 or len(highs) != 1 or lows[0] >= highs[0]:
        yield "an input needs one lower and one upper bound (above or at_least, below or at_most)"
    elif kind.default is not None and (
        not lows[0] <= kind.default <= highs[0] or kind.default in (kind.above, kind.below)
    ):
        yield f"default {kind.default} outside its bounds"
    if kind.default_u is not None and kind.default is None:
        yield "an uncertainty of a default that it has not"
    if kind.formula or kind.method:
        yield "an input has no formula"


def _pattern_faults(kind: Text) -> Iterator[str]:
    texts = (*kind.like, *((kind.default,) if kind.default else ()))
    yield from (f"{text!r} does not match the pattern" for text in texts if not re.fullmatch(kind.pattern, text))
    if not kind.form or not kind.like:
        yield "a pattern needs its form in words and some texts like it"


def _result_faults(kind: Kind, inputs: Mapping[str, Kind]) -> Iterator[str]:
    if isinstance(kind, Table):
        for name, inner in get_fields(kind.row).items():
            if not isinstance(inner, Text):
                yield from (f"{name}: {error}" for error in _result_faults(inner, inputs))
        return
    if not isinstance(kind, Quantity | Count | Choice | Flag | Text | NumberList):
        yield f"a result cannot be a {type(kind).__name__}"
        return
    if not (kind.method or getattr(kind, "formula", "")):
        yield "a result needs a formula or a method"
    yield from (f"needs {name}, which does not exist" for name in getattr(kind, "needs", ()) if name not in inputs)
