"""What is said beside the figures of an answer: why some have none, and what to know before acting on the others."""

from __future__ import annotations

import functools
import re
from collections.abc import Collection, Iterator, Mapping
from typing import Any

import numpy as np

from gramwatt.engine.column_types import all_false
from gramwatt.engine.defaults import get_replacements
from gramwatt.engine.evaluate import Outcome
from gramwatt.model import Calculator, Caution, Kind, Rule


def find_known_inputs(outcome: Outcome, row: int) -> set[str]:
    """The inputs that have a value in a row: given and used, assumed, or derived from others."""
    nowhere = all_false(outcome.rows)
    known = {
        name
        for marks in (outcome.present, outcome.assumed, outcome.solved)
        for name, mark in marks.items()
        if mark is not nowhere and mark[row]
    }
    known.difference_update([name for name, mark in outcome.unused.items() if mark is not nowhere and mark[row]])
    return known


@functools.cache
def get_constant_cautions(calculator: Calculator[Any, Any]) -> Mapping[str, Mapping[str, str]]:
    """The cautions that name no figure of the answer, as they are told, by code."""
    return {
        caution.code: {"code": caution.code, "text": caution.text}
        for caution in calculator.cautions
        if "{" not in caution.text
    }


def build_cautions(
    outcome: Outcome, row: int, results: Mapping[str, Any], known: Collection[str]
) -> list[dict[str, Any]]:
    """Reasons for results without an answer first, then what concerns this question, then what always holds.

    ``known`` are the `find_known_inputs` of the row.
    """
    empty = list(_empty(results))
    plain = get_constant_cautions(outcome.calculator)
    reasons: list[dict[str, Any]] = []
    special = _replaced(outcome, row)
    standing: list[dict[str, Any]] = []
    for note in outcome.notes:
        holds = note.rows[row]
        if not holds.ndim and isinstance(note.said, Caution) and note.said.code in plain:
            if holds:
                (standing if note.said.is_always_shown else special).append(dict(plain[note.said.code]))
            continue
        for at in np.flatnonzero(holds).tolist() if holds.ndim else [None] * bool(holds):
            told: dict[str, Any] = {"code": note.said.code, "text": _fill(note.said, outcome, row, at)}
            if not isinstance(note.said, Rule):
                (standing if note.said.is_always_shown else special).append(told)
                continue
            named = [name if at is None else name.replace(".", f".{at}.") for name in note.said.results]
            concerned = [name for name in named if name in empty]
            empty = [name for name in empty if name not in concerned]
            if concerned:
                reasons.append({**told, "results": concerned})
    return reasons + [_lacking(outcome.calculator, name, known) for name in empty] + special + standing


def _empty(results: Mapping[str, Any]) -> Iterator[str]:
    """Names of the results that have no answer; in a table ``packs.2.endurance``."""
    for name, value in results.items():
        if value is None:
            yield name
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            for at, inner in enumerate(value):
                if None in inner.values():
                    yield from (f"{name}.{at}.{column}" for column, cell in inner.items() if cell is None)


def _lacking(calculator: Calculator[Any, Any], name: str, known: Collection[str]) -> dict[str, Any]:
    """The reason for a result that no rule explains."""
    kind: Kind = calculator.result_fields[name.partition(".")[0]]
    if kind.columns:
        kind = kind.columns[name.rpartition(".")[2]]
    lacking = [need for need in kind.needs if need not in known]
    if lacking:
        text = f"{name} has no answer without {' and '.join(lacking)}."
        return {"code": "needs-input", "text": text, "results": [name]}
    return {"code": "no-answer", "text": f"{name} has no finite answer for these inputs.", "results": [name]}


def _replaced(outcome: Outcome, row: int) -> list[dict[str, Any]]:
    """Inputs that were given but not used, since another was given instead."""
    told = []
    nowhere = all_false(outcome.rows)
    for name, others in get_replacements(outcome.calculator).by:
        marks = [(other, outcome.unused[other]) for other in others]
        replaced = [other for other, mark in marks if mark is not nowhere and mark[row]]
        if replaced and outcome.present[name][row]:
            were = "was" if len(replaced) == 1 else "were"
            text = f"{' and '.join(replaced)} {were} not used: {name} was given instead."
            told.append({"code": "not-used", "text": text})
    return told


def _fill(said: Caution[Any, Any] | Rule[Any, Any], outcome: Outcome, row: int, at: int | None = None) -> str:
    """The text with ``{name}``, or ``{table.column}`` of table row ``at``, replaced by a value and its unit."""
    return re.sub(r"\{([\w.]+)\}", lambda match: format_field(outcome, row, match[1], digits=5, at=at), said.text)


def format_field(
    outcome: Outcome, row: int, name: str, digits: int, *, at: int | None = None, absolute: bool = False
) -> str:
    """An input or a result of a row with its unit; with ``absolute``, temperatures from zero kelvin."""
    table, _, column = name.rpartition(".")
    owner = table or column
    answered = outcome.calculator.result_fields
    kind = answered.get(owner) or outcome.calculator.input_fields[owner]
    values = getattr(outcome.results if owner in answered else outcome.given, owner)
    if kind.columns:
        kind, values = kind.columns[column], getattr(values, column)
    value = values[row] if at is None or not table else values[row][at]
    return kind.format_text(value, digits, absolute=absolute)
