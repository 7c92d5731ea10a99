"""How the results of a request were computed: the formulas that were used, with numbers put in, and their sources.

Each step is below those that its formula names, so that they can be followed from top to bottom. Equations that were
solved together are in the order in which they name each other.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Final, NamedTuple, TypeAlias

import numpy as np

from gramwatt.engine.evaluate import Outcome
from gramwatt.engine.rounding import round_number
from gramwatt.model import AnyCalculator, Assumption, Count, Kind, Quantity, Text, get_label, units
from gramwatt.model.constants import get_constants
from gramwatt.model.expressions import RowsCall, find_rows_calls, list_names, replace_names
from gramwatt.model.messages import format_number, spell_out_expressions

DIGITS: Final = 6
"""Significant digits of the numbers in a formula."""
MAX_ROWS: Final = 60
"""Rows of a table that are shown, and terms of a sum over rows."""

Entry: TypeAlias = dict[str, Any]


class _NoValue(LookupError):
    """Something that a formula names has no value."""


class _Field(NamedTuple):
    """A result, a step or an assumed input, or a column of a table of them, with its values of all requests."""

    kind: Kind
    values: Any
    is_result: bool


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a formula is evaluated: in a row of a table, or beside all tables."""

    table: str = ""
    at: int = 0


def build_working(outcome: Outcome, row: int, result_units: Mapping[str, str]) -> dict[str, Any]:
    """Return the steps of a request's working, and the numbered list of sources that they cite."""
    calculator = outcome.calculator
    with np.errstate(all="ignore"):
        steps = None if calculator.steps is None else calculator.steps(outcome.inputs, outcome.results)
    sheet = _Sheet(outcome, row, steps, result_units)
    for name in calculator.result_fields:
        sheet.add(name)
    return {
        "steps": sheet.entries,
        "references": [
            {"number": number, "text": each.text, **({"url": each.url} if each.url else {})}
            for number, each in enumerate(calculator.references, 1)
        ],
    }


@dataclass(slots=True)
class _Sheet:
    """The working of one request, as it is written."""

    outcome: Outcome
    row: int
    steps: Any
    """What the calculator's own function for them returned."""
    result_units: Mapping[str, str]
    entries: list[Entry] = field(default_factory=list)
    visited: set[str] = field(default_factory=set)
    found: dict[str, _Field | None] = field(default_factory=dict)
    """What `_find_own` has found, by path."""

    @property
    def calculator(self) -> AnyCalculator:
        """The calculator."""
        return self.outcome.calculator

    def add(self, path: str) -> None:
        """Add a result or a step, or a column of a table of them, below all that its formula names."""
        found = self._find_own(path)
        if path in self.visited or found is None:
            return
        self.visited.add(path)
        kind = found.kind
        for column in kind.columns:
            self.add(f"{path}.{column}")
        unit = self.result_units.get(path) or (kind.unit if isinstance(kind, Quantity) else "")
        content, names = (self._describe_rows if "." in path else self._describe)(path, found, unit)
        for each in names:
            self.add(each)
        if content or (found.is_result and not kind.columns and "." not in path):
            label = get_label(path.rpartition(".")[2], kind)
            heading = {"name": path, "label": label, **({"unit": unit} if isinstance(kind, Quantity) else {})}
            references = list(self._list_references(path, found.is_result))
            self.entries.append({**heading, **content, "references": references})

    def _describe(self, path: str, found: _Field, unit: str) -> tuple[Entry, tuple[str, ...]]:
        """Return value, formula and method of a result or a step, and the names that they refer to."""
        kind, formula = found.kind, ""
        if kind.columns:
            return {}, ()
        content: Entry = {}
        value = found.values[self.row]
        if _has_value(kind, value):
            content |= {} if (number := _get_number(kind, value, unit)) is None else {"value": number}
            formula, numbers = self._find_formula(path, kind, _Place())
            content |= _write_formula(formula, numbers)
        elif not found.is_result:
            return {}, ()
        elif isinstance(kind.formula, str) and kind.formula:
            content["formula"] = kind.formula
        method, names = self._describe_method(path, kind, formula)
        return {**content, **method}, (*list_names(content.get("formula", "")), *names)

    def _describe_rows(self, path: str, found: _Field, unit: str) -> tuple[Entry, tuple[str, ...]]:
        """Return the same of a column of a table, by row; without rows for a result that has no formula."""
        kind, values = found.kind, found.values[self.row]
        table = path.rpartition(".")[0]
        rows: list[Entry] = []
        used: dict[str, None] = {}
        if kind.is_numeric and (kind.formula or not found.is_result):
            for at, value in enumerate(values[:MAX_ROWS]):
                rows.append({"name": self._name_row(table, at), "value": None})
                if _has_value(kind, value):
                    rows[-1]["value"] = _get_number(kind, value, unit)
                    formula, numbers = self._find_formula(path, kind, _Place(table, at))
                    rows[-1] |= _write_formula(formula, numbers)
                    used |= {formula: None} if formula else {}
        if not found.is_result and all(each["value"] is None for each in rows):
            return {}, ()
        formula = next(iter(used), kind.formula if isinstance(kind.formula, str) else "")
        for each in rows:
            if each.get("formula") == formula:
                del each["formula"]
        omitted = len(values) - MAX_ROWS
        method, names = self._describe_method(path, kind, formula)
        content: Entry = {
            **({"formula": formula} if formula else {}),
            **method,
            **({"rows": rows} if rows else {}),
            **({"omitted_rows": omitted} if rows and omitted > 0 else {}),
        }
        named = dict.fromkeys(name for each in (*used, formula) for name in list_names(each))
        return content, tuple(self._qualify(name, table) for name in (*named, *names))

    def _describe_method(self, path: str, kind: Kind, formula: str) -> tuple[Entry, tuple[str, ...]]:
        """Return the method in words, and the names in it; without one where one of several formulas applies."""
        method = kind.method
        if method and formula and formula != kind.formula:
            method = ""
        elif not method and not kind.formulas:
            method = " or ".join(dict.fromkeys(each.text for each in self._list_assumptions(path)))
        if not method:
            return {}, ()
        names = [name for expression in method.split("`")[1::2] for name in list_names(expression)]
        return {"method": spell_out_expressions(method)}, tuple(names)

    def _qualify(self, name: str, table: str) -> str:
        """Return the path of a name within a row of a table."""
        return name if "." in name or self._find_own(f"{table}.{name}") is None else f"{table}.{name}"

    def _name_row(self, table: str, at: int) -> str:
        """Return the name of a row, else its number."""
        for fields, values in (
            (self.calculator.result_fields, self.outcome.results),
            (self.calculator.step_fields, self.steps),
            (self.calculator.input_fields, self.outcome.inputs),
        ):
            if table in fields and isinstance(fields[table].columns.get("name"), Text):
                return str(getattr(values, table).name[self.row][at]) or str(at + 1)
        return str(at + 1)

    def _find_formula(self, path: str, kind: Kind, place: _Place) -> tuple[str, str]:
        """Return the formula that was used, and the same with numbers; both empty where none applies."""
        assumed = () if kind.formulas else self._list_assumptions(path, place)
        for formula in kind.formulas or [each.formula for each in assumed if each.formula]:
            try:
                return formula, self._insert_numbers(formula, place)
            except _NoValue:
                continue
        return "", ""

    def _list_assumptions(self, path: str, place: _Place | None = None) -> list[Assumption[Any]]:
        """Return the assumptions that gave an input its value, in a row of its table or in any."""
        return [
            each.assumption
            for each in self.outcome.taken
            if each.assumption.name == path
            and each.rows is not None
            and np.any(each.rows[self.row] if place is None or not place.table else each.rows[self.row, place.at])
        ]

    def _insert_numbers(self, formula: str, place: _Place) -> str:
        """Return a formula with numbers for its names; empty where a sum has too many terms. Raises _NoValue."""
        pieces: list[str] = []
        end, is_long = 0, False
        for call in find_rows_calls(formula):
            terms = self._list_terms(call)
            is_long |= len(terms) > MAX_ROWS
            pieces += [self._replace_names(formula[end : call.start], place), _join_terms(call, terms, formula)]
            end = call.stop
        pieces.append(self._replace_names(formula[end:], place))
        return "" if is_long else "".join(pieces)

    def _list_terms(self, call: RowsCall) -> list[str]:
        """Return the argument of a call over rows with the numbers of each row that has them all."""
        values = [self._find_value(name, _Place())[1] for name in list_names(call.argument)]
        length = max((len(value) for value in values if np.ndim(value)), default=0)
        terms: list[str] = []
        for at in range(length):
            try:
                terms.append(self._replace_names(call.argument, _Place(at=at)))
            except _NoValue:
                continue
        if not terms:
            raise _NoValue(call.argument)
        return terms

    def _replace_names(self, formula: str, place: _Place) -> str:
        """Return a formula, or a part of one, with numbers for its names. Raises _NoValue."""

        def insert(name: str) -> str:
            kind, value = self._find_value(name, place)
            number = float(value[place.at] if np.ndim(value) else value)
            if not np.isfinite(number):
                raise _NoValue(name)
            text = f"{format_number(number)} {kind}".rstrip() if isinstance(kind, str) else _format(kind, number)
            return f"({text})" if " " in text or text.startswith("-") or text.endswith("°") else text

        return replace_names(formula, insert)

    def _find_value(self, name: str, place: _Place) -> tuple[Kind | str, Any]:
        """Return the kind of what has a name, or the sign of a constant's unit, with its value or the values by row."""
        constant = get_constants().get(name)
        if constant is not None:
            return constant.sign, constant.value
        if place.table and (found := self._find_own(f"{place.table}.{name}")) is not None:
            return found.kind, found.values[self.row][place.at]
        if (found := self._find_own(name)) is not None:
            return found.kind, found.values[self.row]
        fields, values = self.calculator.input_fields, self.outcome.inputs
        table, _, column = name.rpartition(".")
        if not table and place.table in fields and column in fields[place.table].columns:
            return fields[place.table].columns[column], getattr(getattr(values, place.table), column)[self.row][
                place.at
            ]
        if table:
            return fields[table].columns[column], getattr(getattr(values, table), column)[self.row]
        return fields[name], getattr(values, name)[self.row]

    def _find_own(self, path: str) -> _Field | None:
        """Return a result, a step, or an input whose value was assumed, or a column of a table of them."""
        if path not in self.found:
            self.found[path] = self._look_up(path)
        return self.found[path]

    def _look_up(self, path: str) -> _Field | None:
        table, _, name = path.rpartition(".")
        owners: list[tuple[Mapping[str, Kind], Any, bool]] = [
            (self.calculator.result_fields, self.outcome.results, True),
            (self.calculator.step_fields, self.steps, False),
        ]
        if self._list_assumptions(path):
            owners.append((self.calculator.input_fields, self.outcome.inputs, False))
        for fields, values, is_result in owners:
            if table and table in fields and name in fields[table].columns:
                return _Field(fields[table].columns[name], getattr(getattr(values, table), name), is_result)
            if not table and name in fields:
                return _Field(fields[name], getattr(values, name), is_result)
        return None

    def _list_references(self, path: str, is_result: bool) -> Iterator[int]:
        owners = {path, path.partition(".")[0]} if is_result else {path}
        for number, reference in enumerate(self.calculator.references, 1):
            if owners & set(reference.about) or (is_result and not reference.about):
                yield number


def _has_value(kind: Kind, value: Any) -> bool:
    return not kind.is_numeric or bool(np.isfinite(value))


def _format(kind: Kind, value: float) -> str:
    return (kind.quantity or kind).format_text(value, DIGITS, absolute=True)


def _get_number(kind: Kind, value: Any, unit: str) -> float | int | None:
    """Return a value in a unit, as JSON has it; None of what is no number."""
    match kind:
        case Quantity():
            scale = units.get_unit(unit)
            return round_number(float((value - (0.0 if kind.is_difference else scale.offset)) / scale.scale))
        case Count():
            return round_number(float(value))
        case _:
            return None


def _write_formula(formula: str, numbers: str) -> Entry:
    return {**({"formula": formula} if formula else {}), **({"numbers": numbers} if numbers else {})}


def _join_terms(call: RowsCall, terms: list[str], formula: str) -> str:
    """Return a call over rows written out."""
    if call.function != "sum" and len(terms) == 1:
        return terms[0]
    if call.function != "sum":
        return f"{call.function}({', '.join(terms)})"
    total = " + ".join(f"({term})" if call.is_sum else term for term in terms)
    return total if (call.start, call.stop) == (0, len(formula)) else f"({total})"
