"""What the reference shows of a calculator, from its declaration: formulas, inputs, results, assumptions, limits."""

from __future__ import annotations

import functools
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from markupsafe import Markup, escape

from gramwatt.charts.formatting import declared_unit, find_field, get_field_label, sentence, sentence_case
from gramwatt.engine.query_strings import build_query
from gramwatt.model import (
    AnyCalculator,
    Caution,
    Choice,
    Count,
    Example,
    Flag,
    Group,
    Kind,
    NumberList,
    Quantity,
    Reference,
    Rule,
    Table,
    TimeSeries,
    get_label,
    units,
)
from gramwatt.model.constants import get_constants
from gramwatt.model.expressions import list_names
from gramwatt.model.messages import format_number, join_with_or, lower_first, unit_sign
from gramwatt.web.pages.formulas import typeset_equation, typeset_text
from gramwatt.web.pages.text import readable_formula

OTHER_INPUTS: Final = "Inputs"
"""The heading of inputs without a group."""
_PLACEHOLDER: Final = re.compile(r"\{([\w.]+)(?::\w+)?\}")
_ROW_NAME: Final = re.compile(r"^\{\w+\.name\}: ")


@dataclass(frozen=True, slots=True)
class ReferenceField:
    """An input, a result, or a column of a table."""

    name: str
    label: str
    unit: str
    """As people write it; empty of a number without a unit, and of what is no number."""
    bounds: str
    """The values that are possible: ``above 0 to 24``."""
    default: str = ""
    """``20``, ``15 ×/÷ 1.8``, ``required``; empty where nothing is assumed."""
    description: str = ""
    notes: tuple[str, ...] = ()
    """Sentences that follow from the declaration: what is assumed, what it replaces, what is usual."""
    formulas: tuple[Markup, ...] = ()
    """Of several the first whose names all have a value is used."""
    method: Markup | None = None
    """How it is computed, in words."""
    sources: tuple[int, ...] = ()
    """Numbers of the sources that are about it."""
    columns: tuple[ReferenceField, ...] = ()
    """Of a table or a recording."""


@dataclass(frozen=True, slots=True)
class FieldGroup:
    """Inputs under one heading."""

    heading: str
    fields: tuple[ReferenceField, ...]


@dataclass(frozen=True, slots=True)
class ReferencePage:
    """All that the reference says of a calculator."""

    calculator: AnyCalculator
    results: tuple[ReferenceField, ...]
    steps: tuple[ReferenceField, ...]
    """What lies between inputs and results."""
    constants: tuple[tuple[str, str], ...]
    """Constants that the formulas name, each with its value and unit."""
    groups: tuple[FieldGroup, ...]
    assumed: tuple[ReferenceField, ...]
    """Inputs that a formula gives where they are not given, in the order in which the formulas are tried."""
    any_of: tuple[str, ...]
    """Inputs of which at least one is required, in words."""
    units: tuple[tuple[str, str], ...]
    """Units in the declaration, each with the other ones that are accepted."""
    without_result: tuple[Markup, ...]
    """When a result is missing, and why."""
    warnings: tuple[Markup, ...]
    """Cautions that depend on the figures."""
    missing: tuple[Markup, ...]
    """Which further input would settle what."""
    standing: tuple[Markup, ...]
    """Cautions that always hold."""
    sources: tuple[Reference, ...]
    general_sources: tuple[int, ...]
    """Numbers of the sources that are about all results."""
    examples: tuple[tuple[Example, str | None], ...]
    """Each with the query that opens it on the page of the calculator, if one can hold it."""


@functools.cache
def make_reference(calculator: AnyCalculator) -> ReferencePage:
    """Return the page of a calculator."""
    labels = get_formula_labels(calculator)
    cautions: dict[str, list[Markup]] = {"finding": [], "missing": [], "standing": []}
    for caution in calculator.cautions:
        cautions[caution.kind].append(_fill_with_labels(calculator, caution))
    return ReferencePage(
        calculator,
        tuple(describe_result(calculator, name, kind, labels) for name, kind in calculator.result_fields.items()),
        tuple(describe_result(calculator, name, kind, labels) for name, kind in calculator.step_fields.items()),
        tuple(_list_constants(calculator)),
        _list_groups(calculator),
        tuple(_list_assumed(calculator, labels)),
        tuple(
            join_with_or(lower_first(get_field_label(calculator, name)) for name in group)
            for group in calculator.any_of
        ),
        tuple(_list_units(calculator)),
        tuple(_fill_with_labels(calculator, rule) for rule in calculator.rules),
        tuple(cautions["finding"]),
        tuple(cautions["missing"]),
        tuple(cautions["standing"]),
        calculator.references,
        tuple(number for number, reference in enumerate(calculator.references, 1) if not reference.about),
        tuple((example, build_query(calculator, example.given)) for example in calculator.examples),
    )


@functools.cache
def get_formula_labels(calculator: AnyCalculator) -> Mapping[str, str]:
    """Return the words for all that a formula of a calculator may name."""
    owners = (calculator.step_fields, calculator.input_fields, calculator.result_fields)
    fields = {name: kind for owner in owners for name, kind in owner.items()}
    columns = {
        name: kind
        for owner in owners
        for table, each in owner.items()
        for column, kind in each.columns.items()
        for name in (column, f"{table}.{column}")
    }
    labels = {name: get_label(name.rpartition(".")[2], kind) for name, kind in {**columns, **fields}.items()}
    constants = {name: each.label for name, each in get_constants().items()}
    return {name: lower_first(label) for name, label in {**constants, **labels}.items()}


def _list_constants(calculator: AnyCalculator) -> Iterator[tuple[str, str]]:
    """Yield the label, and the value with its unit, of each constant that a formula of a calculator names."""
    kinds = list(_flatten((*calculator.result_fields.values(), *calculator.step_fields.values())))
    formulas = [formula for kind in kinds for formula in (*kind.formulas, *kind.method.split("`")[1::2])]
    formulas += [assumption.formula for assumption in calculator.assumptions]
    names = {name for formula in formulas for name in list_names(formula)}
    for name, constant in get_constants().items():
        if name in names:
            yield constant.label, f"{format_count(constant.value)} {constant.sign}".rstrip()


def _list_groups(calculator: AnyCalculator) -> tuple[FieldGroup, ...]:
    """Return the inputs by group, in the order of a form."""
    grouped: dict[str, list[ReferenceField]] = {}
    for name, kind in calculator.input_fields.items():
        grouped.setdefault(kind.group or OTHER_INPUTS, []).append(describe_input(calculator, name, kind))
    order = [OTHER_INPUTS, *Group]
    return tuple(FieldGroup(heading, tuple(grouped[heading])) for heading in order if heading in grouped)


def describe_input(calculator: AnyCalculator, path: str, kind: Kind) -> ReferenceField:
    """Describe an input, or by its path a column of a table of inputs: ``packs.capacity``."""
    name = path.rpartition(".")[2]
    in_any_of = any(path in group for group in calculator.any_of)
    return ReferenceField(
        name,
        get_label(name, kind),
        unit_sign(declared_unit(kind)),
        _format_bounds(kind, is_input=True),
        _format_default(kind) or ("required" if kind.is_required and not in_any_of else ""),
        kind.description,
        tuple(_list_notes(calculator, path, kind)),
        columns=tuple(
            describe_input(calculator, f"{path}.{each}", column)
            for each, column in kind.columns.items()
            if column.is_given
        ),
    )


def _list_assumed(calculator: AnyCalculator, labels: Mapping[str, str]) -> Iterator[ReferenceField]:
    known = {each.formula: each for each in reversed(calculator.assumptions) if each.formula}
    for assumption in reversed(known.values()):
        name, label = assumption.name.rpartition(".")[2], get_field_label(calculator, assumption.name)
        formula = typeset_equation(lower_first(label), assumption.formula, labels)
        kind = find_field(calculator, assumption.name)
        unit = "" if kind is None else unit_sign(declared_unit(kind))
        text = sentence(readable_formula(assumption.text))
        yield ReferenceField(name, label, unit, "", description=text, formulas=(formula,))


def _list_notes(calculator: AnyCalculator, path: str, kind: Kind) -> Iterator[str]:
    derived = calculator.describe_default(path)
    if derived:
        yield f"If not given: {derived}."
    quantity = kind.quantity
    if quantity is not None and quantity.plausible is not None:
        low, high = (format_count(each) for each in quantity.plausible)
        yield f"Questioned outside {low} to {high} {unit_sign(quantity.unit)}, as the unit may be wrong."
    if kind.replaces:
        replaced = (lower_first(get_field_label(calculator, _beside(path, name))) for name in kind.replaces)
        yield f"Replaces {join_with_or(replaced)}."
    if isinstance(kind, Choice):
        yield f"One of: {join_with_or(map(kind.get_option_label, kind.options))}."


def _beside(path: str, name: str) -> str:
    """Return the path of a field in the same row: ``packs.lead_resistance`` beside ``packs.pack_resistance``."""
    table, dot, _ = path.rpartition(".")
    return f"{table}{dot}{name}"


def describe_result(calculator: AnyCalculator, path: str, kind: Kind, labels: Mapping[str, str]) -> ReferenceField:
    """Describe a result, or by its path a column of a table of results. ``labels`` has the words for all fields."""
    name = path.rpartition(".")[2]
    label = get_label(name, kind)
    needs = [lower_first(get_field_label(calculator, each)) for each in kind.needs]
    return ReferenceField(
        name,
        label,
        unit_sign(declared_unit(kind)),
        _format_bounds(kind, is_input=False),
        description=kind.description,
        notes=(f"Needs {join_with_or(needs)}.",) if needs else (),
        formulas=tuple(typeset_equation(lower_first(label), formula, labels) for formula in kind.formulas),
        method=typeset_text(sentence(kind.method), labels) if kind.method else None,
        sources=tuple(number for number, reference in enumerate(calculator.references, 1) if path in reference.about),
        columns=tuple(
            describe_result(calculator, f"{path}.{each}", column, labels)
            for each, column in kind.columns.items()
            if column.is_given
        ),
    )


def _format_bounds(kind: Kind, *, is_input: bool) -> str:
    """Return the possible values of a field: ``above 0 to 24``, ``0 and more``."""
    match kind:
        case NumberList(item=item):
            return _format_bounds(item, is_input=is_input)
        case Count(at_least=low, at_most=high):
            return f"{format_count(low)} to {format_count(high)}"
        case Quantity() if is_input:
            return _format_input_bounds(kind)
        case Quantity(at_most=None):
            return "any" if kind.signed else f"{format_count(kind.at_least or 0)} and more"
        case Quantity(at_most=float() | int() as high):
            return f"{'up' if kind.signed else format_count(kind.at_least or 0)} to {format_count(high)}"
        case Table() | TimeSeries():
            return f"up to {format_count(kind.max_length)} {'rows' if isinstance(kind, Table) else 'samples'}"
        case Flag():
            return "yes or no"
        case Choice():
            return f"{len(kind.options)} options"
        case _:
            return "text"


def _format_input_bounds(kind: Quantity) -> str:
    lowest = format_count(kind.at_least or 0) if kind.above is None else f"above {format_count(kind.above)}"
    highest = format_count(kind.at_most or 0) if kind.below is None else f"below {format_count(kind.below)}"
    return f"{lowest} to {highest}"


def _format_default(kind: Kind) -> str:
    """Return what is assumed for an input, and how well it is known; empty where that depends on other inputs."""
    match kind:
        case Choice(default=str() as option):
            return kind.get_option_label(option)
        case Flag(default=flag):
            return "yes" if flag else "no"
        case Quantity(default=float() | int() as number):
            known = f" ± {format_count(kind.default_u)}" if kind.default_u is not None else ""
            known += f" ×/÷ {format_count(kind.default_factor)}" if kind.default_factor is not None else ""
            return format_count(number) + known
        case _:
            return "" if kind.default is None else str(kind.default)


def format_count(number: float) -> str:
    """Return a number with its thousands apart, and a minus sign."""
    text = format_number(number)
    whole, point, rest = text.partition(".")
    if len(whole.lstrip("-")) > 4 and whole.lstrip("-").isdecimal():
        whole = f"{int(whole):,}".replace(",", "\N{NARROW NO-BREAK SPACE}")
    return f"{whole}{point}{rest}".replace("-", "−")


def _list_units(calculator: AnyCalculator) -> Iterator[tuple[str, str]]:
    """Yield the units of inputs and results, each with the other spellings that are accepted in its place."""
    declared: dict[str, None] = {}
    for kind in _flatten((*calculator.input_fields.values(), *calculator.result_fields.values())):
        if kind.quantity is not None and kind.quantity.unit != "1":
            declared[kind.quantity.unit] = None
    for unit in declared:
        signs = dict.fromkeys(map(unit_sign, units.compatible_units(unit)))
        others = [sign for sign in signs if sign != unit_sign(unit)]
        if others:
            yield unit_sign(unit), ", ".join(others)


def _flatten(kinds: Iterable[Kind]) -> Iterator[Kind]:
    for kind in kinds:
        yield kind
        yield from _flatten(kind.columns.values())


def _fill_with_labels(calculator: AnyCalculator, notice: Caution[Any, Any] | Rule[Any, Any]) -> Markup:
    """Return the text of a caution or a rule with labels in place of values; what names a row is left out."""

    def fill(placeholder: re.Match[str]) -> str:
        label = get_field_label(calculator, placeholder[1])
        return f"<var>{escape(label if placeholder.start() == 0 else lower_first(label))}</var>"

    text = sentence_case(_ROW_NAME.sub("", notice.text))
    return Markup(_PLACEHOLDER.sub(fill, str(escape(text))))  # noqa: S704 - all text in it is escaped
