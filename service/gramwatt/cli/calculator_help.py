"""The inputs and results of a calculator as text, for ``gramwatt calc NAME --help``."""

from __future__ import annotations

import itertools
import shlex
import textwrap
from collections.abc import Iterator, Sequence
from typing import Any, Final
from urllib.parse import parse_qsl

import click

from gramwatt.charts.formatting import declared_unit, label_with_unit
from gramwatt.cli.text_report import MAX_TEXT_WIDTH
from gramwatt.cli.text_tables import GAP, MIN_LAST, wrap_columns
from gramwatt.engine import craft_fields, serializers
from gramwatt.engine.query_strings import find_example_query
from gramwatt.model import (
    Calculator,
    Choice,
    Count,
    Group,
    Kind,
    NumberList,
    Quantity,
    Table,
    TimeSeries,
)
from gramwatt.model.messages import add_unit, format_number, join_with_and, join_with_or

_HEADINGS: Final = ("name", "meaning, unit", "default", "accepted")
_MAX_NAME: Final = 32
_MAX_LABEL: Final = 34
_MAX_DEFAULT: Final = 10
_OTHER_INPUTS: Final = "Inputs"
_FOLLOWS: Final = "follows"
"""In place of a default that depends on other inputs, which a block of its own explains."""


def format_calculator_help(calculator: Calculator[Any, Any], width: int) -> str:
    """Return what a calculator does, its inputs by group with unit, default and bounds, and its results."""
    text_width = min(width, MAX_TEXT_WIDTH)
    inputs = sorted(_list_inputs(calculator), key=lambda each: each[0])
    groups, rows = [heading for _, heading, _ in inputs], [row for *_, row in inputs]
    names = max(len(name) for name, *_ in rows)
    labels = max(12, min(_MAX_LABEL, width - names - _MAX_DEFAULT - MIN_LAST - 4 * GAP))
    head, *wrapped = wrap_columns([_HEADINGS, *rows], (names, labels, _MAX_DEFAULT), width)
    blocks = [
        [f"Usage: gramwatt calc {calculator.name} [OPTIONS] [NAME=VALUE]..."],
        [_bold(calculator.title), *textwrap.wrap(calculator.summary, text_width)],
        head,
    ]
    for heading, members in itertools.groupby(zip(groups, wrapped, strict=True), key=lambda pair: pair[0]):
        blocks.append([_bold(heading), *(line for _, lines in members for line in lines)])
    derived = _list_derived_defaults(calculator)
    if derived:
        blocks.append(_format_pairs("Inputs that follow from others where they are not given", derived, width))
    blocks += [_format_pairs("Results", list(_list_results(calculator)), width), *_list_examples(calculator)]
    blocks.append([line for note in _list_notes(calculator) for line in textwrap.wrap(note, text_width)])
    return "\n\n".join("\n".join(block) for block in blocks)


def _bold(text: str) -> str:
    return click.style(text, bold=True)


def _format_pairs(heading: str, pairs: Sequence[tuple[str, str]], width: int) -> list[str]:
    """Return a heading and the lines of names with texts beside them."""
    return [_bold(heading), *(line for lines in wrap_columns(pairs, (_MAX_NAME,), width) for line in lines)]


def _list_inputs(calculator: Calculator[Any, Any]) -> Iterator[tuple[int, str, tuple[str, ...]]]:
    """Yield the place and the heading of each input's group, and its row; columns of a table follow the table."""
    places = {group: place for place, group in enumerate(Group)}
    derived = {name for name, _ in _list_derived_defaults(calculator)}
    alternatives = {name for group in calculator.any_of for name in group}
    for name, kind in calculator.input_fields.items():
        place, heading = (-1, _OTHER_INPUTS) if kind.group is None else (places[kind.group], kind.group.value)
        required = kind.is_required and name not in alternatives
        yield place, heading, _make_row(name, name, kind, name in derived, required)
        for column, inner in kind.columns.items():
            if inner.is_given:
                follows = f"{name}.{column}" in derived
                yield place, heading, _make_row(f"  .{column}", column, inner, follows, inner.is_required)


def _list_derived_defaults(calculator: Calculator[Any, Any]) -> list[tuple[str, str]]:
    """Return the inputs whose default depends on other inputs, each with what it is in words."""
    names = dict.fromkeys(assumption.name for assumption in calculator.assumptions)
    return [(name, calculator.describe_default(name)) for name in names]


def _make_row(shown: str, name: str, kind: Kind, follows: bool, required: bool) -> tuple[str, ...]:
    default, accepted = _FOLLOWS if follows else "required" if required else "", _describe_accepted(kind)
    if kind.default is not None:
        default = add_unit(serializers.format_value(kind.default), declared_unit(kind))
    if len(default) > _MAX_DEFAULT:
        default, accepted = "", f"{accepted}; by default {default}"
    return shown, label_with_unit(name, kind), default, accepted


def _describe_accepted(kind: Kind) -> str:
    """Return the bounds or the options of an input."""
    match kind:
        case Quantity():
            return _describe_bounds(kind)
        case Count():
            return f"{kind.at_least} to {kind.at_most}"
        case Choice():
            return ", ".join(kind.options)
        case NumberList():
            return f"list: each {_describe_bounds(kind.item)}"
        case Table():
            return f"list of {kind.min_length} to {kind.max_length} rows"
        case TimeSeries():
            return "recording: --log FILE"
        case _:
            return kind.describe_accepted()


def _describe_bounds(kind: Quantity) -> str:
    """Return the bounds of a quantity: ``0 to 100`` where both are included."""
    if kind.at_least is not None and kind.at_most is not None:
        return f"{format_number(kind.at_least)} to {format_number(kind.at_most)}"
    return kind.describe_bounds().replace("at most ", "up to ")


def _list_results(calculator: Calculator[Any, Any]) -> Iterator[tuple[str, str]]:
    for name, kind in calculator.result_fields.items():
        yield name, label_with_unit(name, kind)
        yield from ((f"  .{column}", label_with_unit(column, inner)) for column, inner in kind.columns.items())


def _list_examples(calculator: Calculator[Any, Any]) -> Iterator[list[str]]:
    """Yield the first example that fits in arguments."""
    query = find_example_query(calculator)
    if query is not None:
        given = " ".join(shlex.quote(f"{name}={value}") for name, value in parse_qsl(query))
        yield [_bold("Example"), f"  gramwatt calc {calculator.name} {given}"]


def _list_notes(calculator: Calculator[Any, Any]) -> Iterator[str]:
    yield from (f"Give {join_with_or(group)}." for group in calculator.any_of)
    if any(not kind.fits_query for kind in calculator.input_fields.values()):
        yield "Tables are rows of JSON objects: send them with --body FILE."
    if calculator.decided_fields:
        yield "It searches: --jobs N computes the search on N processes, --scheduler ADDRESS on a Dask cluster."
    members = [member for member in craft_fields.get_choices() if member not in calculator.input_fields]
    if members:
        yield f"With --craft FILE, {join_with_and(members)} choose rows of its tables by name."
    yield 'A value may have another unit and a standard uncertainty: capacity="1.3 Ah", mass="212 ± 1 g".'
    yield '"gramwatt calc --help" lists the options.'
