"""The columns of a table: which are inputs, in which unit, which pass through, which are refused."""

from __future__ import annotations

import functools
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from gramwatt.engine.columns import escape_name, missing, spread_kind
from gramwatt.engine.limits import MOST_COMPARED, MOST_TABLE_COLUMNS
from gramwatt.engine.messages import Fault, accepts, did_you_mean, echo, one_of
from gramwatt.model import Calculator, Kind, Quantity, is_required, units

LABELS: Final = ("id", "name", "note")
"""Columns that always pass through: what people call their rows."""
_WITH_UNIT: Final = re.compile(r"([^\[\]]*)\[([^\[\]]*)\]")


@dataclass(frozen=True, slots=True)
class Keeping:
    """Which columns that are no inputs pass through untouched: labels, and those named, or all."""

    names: frozenset[str] = frozenset()
    everything: bool = False

    def keeps(self, name: str) -> bool:
        """Whether a column of that name passes through."""
        return name in LABELS or self.everything or name in self.names


@dataclass(frozen=True, slots=True)
class InputColumn:
    """A column that is an input, or the standard uncertainty of one; ``unit`` where its header tells one."""

    name: str
    kind: Kind
    unit: units.Unit | None = None


@dataclass(frozen=True, slots=True)
class Heading:
    """A table's columns by position: an input, the name of a column passed through, or None for one that is empty."""

    columns: tuple[InputColumn | str | None, ...]
    kept: tuple[str, ...] = field(default=())


@functools.cache
def possible(calculator: Calculator[Any, Any]) -> Mapping[str, Kind]:
    """What a column may be: the inputs, and ``<name>_u`` of each quantity."""
    asked = calculator.asked
    spreads = {
        f"{name}_u": spread_kind(name, kind)
        for name, kind in asked.items()
        if isinstance(kind, Quantity) and not kind.exact
    }
    return {**asked, **spreads}


def read_heading(
    calculator: Calculator[Any, Any], header: Sequence[str], keeping: Keeping, constants: Mapping[str, object]
) -> tuple[Heading, list[Fault]]:
    """Tell a header's columns apart, and what is wrong with it, the required ones that lack among it."""
    if len(header) > MOST_TABLE_COLUMNS:
        return Heading(()), [Fault("", f"{len(header)} columns", None, f"up to {MOST_TABLE_COLUMNS} columns")]
    known, faults = possible(calculator), []
    columns: list[InputColumn | str | None] = []
    seen: set[str] = set()
    refused = 0
    for position, field_text in enumerate(header, 1):
        text = field_text.strip()
        if not text:
            columns.append(None)
            continue
        with_unit = _WITH_UNIT.fullmatch(text)
        bare = with_unit[1].rstrip() if with_unit else text
        name, spelling = (bare, with_unit[2].strip()) if with_unit and bare in known else (text, None)
        if name in seen:
            faults.append(_fault(name, f"column {position} is named {echo(name)} like one before it", "each name once"))
        seen.add(name)
        if name in known:
            unit, fault = _unit(name, known[name], spelling)
            faults += [fault] if fault else []
            columns.append(InputColumn(name, known[name], unit))
            faults += clash(name, constants)
        else:
            columns.append(name)
            found = refusal(calculator, name, keeping, compare=refused < MOST_COMPARED)
            refused += bool(found)
            faults += found
    faults += _lacking(calculator, seen, constants)
    faults += [
        _fault(name, f"{name} is the uncertainty of {name[:-2]}, which there is not", f"a column {name[:-2]} too")
        for name in sorted(seen)
        if name in known and name not in calculator.asked and name[:-2] not in seen and name[:-2] not in constants
    ]
    if not faults and not constants and not any(isinstance(column, InputColumn) for column in columns):
        faults.append(Fault("", "no column is an input", None, one_of(calculator.asked)))
    return Heading(tuple(columns), tuple(name for name in columns if isinstance(name, str))), faults


def refusal(calculator: Calculator[Any, Any], name: str, keeping: Keeping, *, compare: bool = True) -> list[Fault]:
    """Why a column that is no input may not stand there; nothing where it passes through.

    With ``compare`` similar names of inputs are suggested.
    """
    bare = name.partition("[")[0].strip()
    if bare.removesuffix("_u") in calculator.answered or name in ("cautions", "error"):
        return [_fault(name, f"{echo(name)} is the name of a column of the answer; rename it", "another name")]
    if keeping.keeps(name):
        return []
    hint = did_you_mean(name, possible(calculator)) if compare else ""
    accepted = f"{one_of(calculator.asked)}; to pass a column through, name it in the query: keep={_word(name)}"
    return [_fault(name, f"{echo(name)} is no input{hint}", accepted)]


def _word(name: str) -> str:
    return name if re.fullmatch(r"[\w.-]{1,40}", name) else "*"


def _fault(name: str, detail: str, accepted: str) -> Fault:
    return Fault(f"/{escape_name(name)}", detail, echo(name), accepted)


def _unit(name: str, kind: Kind, spelling: str | None) -> tuple[units.Unit | None, Fault | None]:
    if spelling is None:
        return None, None
    if not isinstance(kind, Quantity):
        return None, _fault(name, f"{name} has no unit, so its header cannot tell one", name)
    known = units.alternatives(kind.unit)
    if spelling in known:
        return known[spelling], None
    detail = f"unit {echo(spelling)!r} in the header is not one of {', '.join(known)}"
    return None, Fault(f"/{name}", detail, echo(spelling), f"{name} [{kind.unit}]")


def clash(name: str, constants: Mapping[str, object]) -> list[Fault]:
    """An input that stands in the query and in the table: nobody could tell which is meant."""
    if name not in constants:
        return []
    return [_fault(name, f"{name} stands in the query and in the table", "in one of the two")]


def _lacking(calculator: Calculator[Any, Any], seen: set[str], constants: Mapping[str, object]) -> list[Fault]:
    grouped = {name for group in calculator.any_of for name in group}
    faults = [
        missing(name, kind)
        for name, kind in calculator.asked.items()
        if is_required(kind) and name not in grouped and name not in seen and name not in constants
    ]
    for group in calculator.any_of:
        if not any(name in seen or name in constants for name in group):
            wanted = "; ".join(f"{name}: {accepts(calculator.asked[name])}" for name in group)
            faults.append(Fault(f"/{group[0]}", f"give {one_of(group)}", None, wanted))
    return faults
