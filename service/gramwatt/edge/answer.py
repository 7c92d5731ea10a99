"""One row of an outcome as the answer that people get: plain names, words and numbers, ready for JSON.

Numbers are given once here, with at most 12 significant digits, so that every way of asking shows the same ones.
"""

from __future__ import annotations

import functools
import math
import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from gramwatt.declare import (
    Calculator,
    Choice,
    Count,
    Kind,
    Quantity,
    Samples,
    Series,
    Spread,
    Table,
    Text,
    Truths,
    fields_of,
)
from gramwatt.edge import units
from gramwatt.edge.columns import no
from gramwatt.edge.notes import cautions, is_known, worded
from gramwatt.edge.rounding import rounded
from gramwatt.edge.run import Outcome
from gramwatt.edge.wording import one_of, shortest

Answer: TypeAlias = dict[str, Any]


def answer(
    outcome: Outcome,
    row: int,
    *,
    result_units: Mapping[str, str] | None = None,
    working: bool = False,
    without: Collection[str] = (),
) -> Answer:
    """The answer to question ``row``, which must be without faults. ``result_units`` converts results, by name.

    The tables in ``without`` stand in it empty: `table_rows` gives their rows, some at a time.
    """
    calculator = outcome.calculator
    sheet = _sheet(calculator)
    chosen = sheet.result_units
    if result_units:
        chosen = {name: result_units.get(name, unit) for name, unit in chosen.items()}
    results = _values(calculator.answered, outcome.results, row, chosen, without)
    asked_units = {n: chosen.get(n, unit) for n, unit in sheet.asked_units.items()} if result_units else sheet.both
    known = {name: kind for name, kind in calculator.asked.items() if is_known(outcome, name, row)}
    given = _values(known, outcome.given, row, asked_units)
    told = {name: asked_units[name] for name, owner in sheet.owners if owner in given}
    made: Answer = {
        "calculator": calculator.name,
        "given": given,
        "assumed": _marked(outcome.assumed, row, calculator),
        "results": results,
        "units": {**told, **chosen},
        "cautions": cautions(outcome, row, results),
    }
    solved = _marked(outcome.solved, row, calculator)
    if solved:
        made["solved"] = solved
    uncertainty = _uncertainty(outcome, row, results, chosen)
    if uncertainty:
        made["uncertainty"] = uncertainty
    if working:
        made["working"] = _working(outcome, row, made)
    return made


@dataclass(frozen=True, slots=True)
class _Sheet:
    """What every answer of a calculator has alike."""

    result_units: Mapping[str, str]
    asked_units: Mapping[str, str]
    both: Mapping[str, str]
    """Units of inputs, where a result of the same name has another."""
    owners: tuple[tuple[str, str], ...]
    """Each quantity asked for, and the input that it is, or is a column of."""


@functools.cache
def _sheet(calculator: Calculator[Any, Any]) -> _Sheet:
    results, asked = declared_units(calculator.answered), declared_units(calculator.asked)
    return _Sheet(
        results,
        asked,
        {name: results.get(name, unit) for name, unit in asked.items()},
        tuple((name, name.partition(".")[0]) for name in asked),
    )


def _marked(marks: Mapping[str, Truths], row: int, calculator: Calculator[Any, Any]) -> list[str]:
    """The inputs that bear a mark in a row; ``marks`` are mostly one shared array that is false throughout."""
    found = []
    for name in calculator.asked:
        mark = marks.get(name)
        if mark is not None and mark is not no(len(mark)) and mark[row]:
            found.append(name)
    return found


def declared_units(fields: Mapping[str, Kind]) -> dict[str, str]:
    """Units by name of every quantity, list of quantities, and quantity in a table (``parts.mass``)."""
    found: dict[str, str] = {}
    for name, kind in fields.items():
        if isinstance(kind, Quantity):
            found[name] = kind.unit
        elif isinstance(kind, Series):
            found[name] = kind.item.unit
        elif isinstance(kind, Table):
            found |= {f"{name}.{inner}": unit for inner, unit in declared_units(fields_of(kind.row)).items()}
    return found


def _values(
    fields: Mapping[str, Kind], owner: Any, row: int, chosen: Mapping[str, str], without: Collection[str] = ()
) -> dict[str, Any]:
    made: dict[str, Any] = {}
    for name, kind in fields.items():
        values = getattr(owner, name)
        if name in without:
            made[name] = []
            continue
        if type(kind) is Quantity:  # nearly all are
            unit = units.unit(chosen[name])
            made[name] = number((values.item(row) - unit.offset) / unit.scale)
        else:
            made[name] = _plain(kind, values, row, name, chosen)
    return made


def _plain(kind: Kind, values: Any, row: int, name: str, chosen: Mapping[str, str]) -> Any:
    """A value as JSON has it, in the unit chosen for its name; None where there is no answer."""
    match kind:
        case Quantity():
            unit = units.unit(chosen[name])
            return number((float(values[row]) - unit.offset) / unit.scale)
        case Count():
            return int(values[row]) if np.isfinite(values[row]) else None
        case Choice():
            return kind.options[int(values[row])] if values[row] >= 0 else None
        case Series():
            numbers = [number(float(value)) for value in units.convert(values[row], chosen[name])]
            return None if any(number is None for number in numbers) else numbers
        case Table():
            return table_rows(kind, values, row, name, chosen)
        case Samples():
            recording = values[row]
            return None if recording is None else {"samples": recording.rows, "columns": list(recording.columns)}
        case _:
            return values[row].item()


def table_rows(
    kind: Table, values: Any, row: int, name: str, chosen: Mapping[str, str], start: int = 0, stop: int | None = None
) -> list[dict[str, Any]]:
    """The rows of a table, or some of them, as JSON has them.

    What an optional column leaves out is left out here too; a result without an answer stays, as null.
    """
    columns = {inner: column for inner, column in fields_of(kind.row).items() if not isinstance(column, Spread)}
    cells = [
        _cells(column, getattr(values, inner)[row][start:stop], f"{name}.{inner}", chosen)
        for inner, column in columns.items()
    ]
    rows = [dict(zip(columns, told, strict=True)) for told in zip(*cells, strict=True)]
    optional = [inner for inner, column in columns.items() if getattr(column, "optional", False)]
    for told in rows if optional else ():
        for inner in optional:
            if told[inner] is None or told[inner] == "":
                del told[inner]
    return rows


def _cells(kind: Kind, values: Any, name: str, chosen: Mapping[str, str]) -> list[Any]:
    """The cells of a table's column, judged together where they are numbers."""
    if isinstance(kind, Text):
        return list(values.tolist())
    if not isinstance(kind, Quantity):
        return [_plain(kind, values, at, name, chosen) for at in range(len(values))]
    unit = units.unit(chosen[name])
    numbers = rounded(np.ascontiguousarray((values - unit.offset) / unit.scale), 12)
    return [
        (int(value) if value.is_integer() and abs(value) < 1e15 else value) if math.isfinite(value) else None
        for value in numbers.tolist()
    ]


def number(value: float) -> float | int | None:
    """At most 12 significant digits, whole numbers without a point; None where not finite."""
    if not math.isfinite(value):
        return None
    if value.is_integer() and -1e12 < value < 1e12:
        return int(value)
    short = shortest(value)
    return int(short) if short.is_integer() and abs(short) < 1e15 else short


def _uncertainty(
    outcome: Outcome, row: int, results: Mapping[str, Any], chosen: Mapping[str, str]
) -> dict[str, dict[str, Any]]:
    """By result, those of a table as ``packs.endurance``: standard uncertainty, low and high at k = 2, shares."""
    propagated = outcome.uncertainty
    if propagated is None or not propagated.rows[row]:
        return {}
    found: dict[str, dict[str, Any]] = {}
    for name, standard in propagated.standard.items():
        values = standard[row] / units.unit(chosen[name]).scale if name in chosen else standard[row]
        table, _, column = name.rpartition(".")
        shown = [each.get(column) for each in results[table]] if table else results[name]
        if shown is None or (not table and not np.all(np.isfinite(values))):
            continue
        widths = _numbers(values)
        told: dict[str, Any] = {"standard": widths, "low": _moved(shown, widths, -2), "high": _moved(shown, widths, 2)}
        shares = propagated.shares.get(name)
        if shares is not None:
            told["shares"] = {
                source: number(share)
                for source, share in zip(propagated.sources, shares[:, row].tolist(), strict=True)
                if share > 0
            }
        found[name] = told
    return found


def _numbers(values: Any) -> Any:
    return [number(float(value)) for value in values] if values.ndim else number(float(values))


def _moved(value: Any, width: Any, times: int) -> Any:
    """A value, or each of a list, moved by some standard uncertainties: two cover about 95 % where causes are many."""
    if isinstance(value, list):
        return [_moved(one, other, times) for one, other in zip(value, width, strict=True)]
    return None if value is None or width is None else number(float(value + times * width))


def _working(outcome: Outcome, row: int, made: Answer) -> dict[str, dict[str, Any]]:
    """By result, and by column of a table: the formula, the same with its numbers, and where it comes from."""
    calculator = outcome.calculator
    shown: dict[str, dict[str, Any]] = {}
    for name, kind in calculator.answered.items():
        steps: dict[str, Any] = {}
        formula, method = getattr(kind, "formula", ""), getattr(kind, "method", "")
        if formula:
            steps["formula"] = formula
            if made["results"][name] is not None:
                steps["numbers"] = _numbers_in(formula, outcome, row)
        if method:
            steps["method"] = method
        steps["references"] = [
            {"text": reference.text, **({"url": reference.url} if reference.url else {})}
            for reference in calculator.references
            if name in reference.about or not reference.about
        ]
        shown[name] = steps
        if isinstance(kind, Table):
            columns = {f"{name}.{column}": inner for column, inner in fields_of(kind.row).items()}
            shown |= {n: {"method": m, "references": []} for n, c in columns.items() if (m := getattr(c, "method", ""))}
    return shown


def _numbers_in(formula: str, outcome: Outcome, row: int) -> str:
    known = {**outcome.calculator.asked, **outcome.calculator.answered}

    def number(match: re.Match[str]) -> str:
        if match[0] not in known:
            return match[0]
        told = worded(outcome, row, match[0], digits=6, absolute=True)
        return f"({told})" if " " in told else told

    return re.sub(r"[a-z_][a-z0-9_]*", number, formula)


def choose_units(calculator: Calculator[Any, Any], wanted: Mapping[str, str]) -> None:
    """Check a wish for units of results. Raises ValueError with what is accepted where it cannot be met."""
    declared = declared_units(calculator.answered)
    faults = []
    for name, spelling in wanted.items():
        if name not in declared:
            faults.append(f"{name[:80]} is not a result with a unit; those are {one_of(declared)}")
        elif spelling not in units.alternatives(declared[name]):
            faults.append(
                f"{name} can be had in {one_of(units.alternatives(declared[name]))}, not in {spelling[:80]!r}"
            )
    if faults:
        raise ValueError("; ".join(faults))
