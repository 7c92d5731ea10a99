"""An answer as its template shows it: figures to the digits that they bear, reasons, uncertainty, working, sources."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from gramwatt.charts.formatting import by_width, spoken
from gramwatt.engine.evaluate import Outcome
from gramwatt.engine.formats import get_table_length
from gramwatt.engine.messages import format_number
from gramwatt.engine.response import build_response, build_table_rows
from gramwatt.model import Table
from gramwatt.web.pages.description import described

MOST_ROWS: Final = 60
"""Rows of a table on a page; the rest is had as CSV."""
FEW_ROWS: Final = 8
"""As many rows stand side by side, their figures one below the other."""
DIGITS: Final = 5
LEAST_SHARE: Final = 0.05


@dataclass(frozen=True, slots=True)
class Figure:
    """One result."""

    name: str
    about: Mapping[str, Any]
    text: str
    """Empty where there is no answer."""
    unit: str
    width: str = ""
    """Its standard uncertainty."""
    causes: str = ""
    """What that comes from."""
    reason: str = ""
    """Why there is no answer."""


@dataclass(frozen=True, slots=True)
class ResultTable:
    """A table of results. ``upright`` says that its rows stand side by side as columns."""

    name: str
    about: Mapping[str, Any]
    upright: bool
    heads: tuple[str, ...]
    lines: tuple[tuple[Figure, ...], ...]
    left_out: int


@dataclass(frozen=True, slots=True)
class AnswerView:
    """The whole answer."""

    headline: Figure
    figures: tuple[Figure, ...]
    sheets: tuple[ResultTable, ...]
    cautions: tuple[str, ...]
    working: tuple[tuple[Figure, Mapping[str, Any], tuple[int, ...]], ...]
    sources: tuple[Mapping[str, str], ...]


def make_answer_view(outcome: Outcome, wished: Mapping[str, str], decimal: str) -> tuple[AnswerView, dict[str, Any]]:
    """What to show of the first question of an outcome; and its answer as JSON has it, its tables cut short."""
    calculator = outcome.calculator
    tables = {name: kind for name, kind in calculator.result_fields.items() if isinstance(kind, Table)}
    whole = {name: get_table_length(outcome, name) for name in tables}
    long = [name for name, count in whole.items() if count > MOST_ROWS]
    made = build_response(outcome, 0, result_units=wished, working=True, without=long)
    for name in long:
        made["results"][name] = build_table_rows(
            tables[name], getattr(outcome.results, name), 0, name, made["units"], 0, MOST_ROWS
        )
    about = {each["name"]: each for each in described(calculator)["results"]}
    reasons = {name: each["text"] for each in made["cautions"] for name in each.get("results", ())}
    figures = tuple(
        _figure(name, about[name], made["results"][name], made, reasons, decimal)
        for name in calculator.result_fields
        if name not in tables
    )
    sheets = tuple(_sheet(name, about[name], made, reasons, whole[name], decimal) for name in tables)
    sources: list[Mapping[str, str]] = []
    working = []
    by_name = {figure.name: figure for figure in figures}
    for name, steps in made["working"].items():
        numbers = []
        for reference in steps["references"]:
            if reference not in sources:
                sources.append(reference)
            numbers.append(sources.index(reference) + 1)
        if name in by_name:
            working.append((by_name[name], steps, tuple(numbers)))
    cautions = tuple(dict.fromkeys(each["text"] for each in made["cautions"] if "results" not in each))
    return AnswerView(figures[0], figures, sheets, cautions, tuple(working), tuple(sources)), made


def _figure(
    name: str,
    about: Mapping[str, Any],
    value: Any,
    made: Mapping[str, Any],
    reasons: Mapping[str, str],
    decimal: str,
    place: int | None = None,
    column: str = "",
) -> Figure:
    key = f"{name}.{column}" if column else name
    unit = made["units"].get(key, "1")
    spread = made.get("uncertainty", {}).get(key, {})
    width = spread.get("standard")
    if isinstance(width, list):
        width = width[place] if place is not None and place < len(width) else None
    text, wide = _shown(value, width, decimal)
    shares: Mapping[str, float] = spread.get("shares", {})
    causes = [f"{spoken(lever).replace('.', ' ')} {share * 100:.0f} %" for lever, share in
              sorted(shares.items(), key=lambda each: -each[1]) if share >= LEAST_SHARE]  # fmt: skip
    reason = reasons.get(f"{name}.{place}.{column}" if column else name, "") if value is None else ""
    return Figure(key, about, text, "" if unit == "1" else unit, wide, ", ".join(causes[:3]) if wide else "", reason)


def _shown(value: Any, width: Any, decimal: str) -> tuple[str, str]:
    """A value, and its uncertainty, as text: digits by the uncertainty where there is one."""
    if value is None:
        return "", ""
    if isinstance(value, bool):
        return ("yes" if value else "no"), ""
    if isinstance(value, list):
        return (";  " if decimal == "," else ", ").join(_shown(each, None, decimal)[0] for each in value), ""
    if not isinstance(value, int | float):
        return str(value), ""
    if isinstance(width, int | float) and width > 0:
        text, wide = by_width(value, width)
        return text.replace(".", decimal), wide.replace(".", decimal)
    return format_number(float(value), DIGITS).replace("-", "−").replace(".", decimal), ""


def _sheet(
    name: str,
    about: Mapping[str, Any],
    made: Mapping[str, Any],
    reasons: Mapping[str, str],
    whole: int,
    decimal: str,
) -> ResultTable:
    rows: Sequence[Mapping[str, Any]] = made["results"][name]
    columns = [each for each in about["columns"] if any(each["name"] in row for row in rows)]
    cells = [
        [
            _figure(name, column, row.get(column["name"]), made, reasons, decimal, at, column["name"])
            for column in columns
        ]
        for at, row in enumerate(rows)
    ]
    if len(rows) <= FEW_ROWS < len(columns):
        named = columns and columns[0]["name"] == "name"
        heads = tuple((row[0].text or f"no. {at}") if named else f"no. {at}" for at, row in enumerate(cells, 1))
        lines = tuple(zip(*(row[1:] if named else row for row in cells), strict=True)) if cells else ()
        return ResultTable(name, about, True, heads, lines, whole - len(rows))
    heads = tuple(each["label"] for each in columns)
    return ResultTable(name, about, False, heads, tuple(map(tuple, cells)), whole - len(rows))
