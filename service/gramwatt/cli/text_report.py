"""A response as text for a terminal: the headline, what was found, the results, what was assumed."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

import click

from gramwatt.charts.formatting import axis_label, find_field
from gramwatt.cli.text_tables import Cell, TextTable
from gramwatt.engine import serializers
from gramwatt.engine.sentences import FilledSentence
from gramwatt.model import Calculator, Choice, Kind, Quantity, get_label
from gramwatt.model.messages import (
    DISPLAY_DIGITS,
    Estimate,
    add_unit,
    format_estimate,
    format_number,
    format_probability,
    format_share,
    lower_first,
    unit_sign,
)

MAX_TABLE_ROWS: Final = 20
"""Rows of a table that a terminal shows."""
FIRST_ROWS: Final = 5
"""Rows that it shows of a longer table."""
MAX_TEXT_WIDTH: Final = 100
"""Characters of a line of prose, however wide the terminal."""
MAX_WORKED_ROWS: Final = 4
"""Rows of a table that the working shows with all numbers. A longer one shows the first."""
WORKING_DIGITS: Final = 6
"""Significant digits of a value in the working."""
SMALLEST_PERCENT: Final = 1e-6
"""A smaller change is rounding."""
NO_RESULT: Final = "no result"
NO_CELL: Final = "-"
_COLOURS: Final = {"good": "green", "close": "yellow", "bad": "red", "high": "red", "medium": "yellow"}
"""By verdict or severity. A word or sign always says the same."""
_MEMBERS: Final = {"from_craft": "From the craft", "computed": "Computed from what was given", "assumed": "Assumed"}


@dataclass(frozen=True, slots=True)
class ReportOptions:
    """How a report looks."""

    width: int = 100
    digits: int | None = None
    """Significant digits of each number; by default as many as its uncertainty leaves."""
    all_cautions: bool = False
    """Whether what is always true is shown too."""


def format_report(
    calculator: Calculator[Any, Any],
    response: Mapping[str, Any],
    sentence: FilledSentence | None,
    options: ReportOptions,
) -> str:
    """Return a response as lines, each at most ``options.width`` characters long where words can be wrapped."""
    report = _Report(calculator, response, options)
    blocks = [
        report.format_sentence(sentence),
        report.format_cautions("finding", "! "),
        report.format_values(),
        *report.format_tables(),
        report.format_working(),
        report.format_inputs(),
        report.format_cautions("missing", "? "),
        report.format_standing(),
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block)


@dataclass(frozen=True, slots=True)
class _Report:
    calculator: Calculator[Any, Any]
    response: Mapping[str, Any]
    options: ReportOptions

    def wrap(self, text: str, indent: str = "", first: str | None = None) -> list[str]:
        """Return a text in lines."""
        width = min(self.options.width, MAX_TEXT_WIDTH)
        return textwrap.wrap(
            text, width, initial_indent=indent if first is None else first, subsequent_indent=indent,
            break_long_words=False, break_on_hyphens=False,
        )  # fmt: skip

    def format_sentence(self, sentence: FilledSentence | None) -> list[str]:
        """Return the headline in words, in the colour of its verdict, and the line below it."""
        if sentence is None:
            return []
        colour = _COLOURS.get(sentence.verdict)
        return [click.style(line, fg=colour, bold=True) for line in self.wrap(sentence.text)] + self.wrap(
            sentence.details
        )

    def format_cautions(self, kind: str, sign: str) -> list[str]:
        """Return the cautions of one kind."""
        lines = []
        for caution in self.response["cautions"]:
            if caution["kind"] == kind:
                first, *rest = self.wrap(caution["text"], " " * len(sign), sign)
                colour = _COLOURS.get(caution["severity"]) if kind == "finding" else None
                lines += [click.style(first[: len(sign)], fg=colour, bold=True) + first[len(sign) :], *rest]
        return lines

    def format_standing(self) -> list[str]:
        """Return what is always true, or a line on how to see it."""
        count = sum(caution["kind"] == "standing" for caution in self.response["cautions"])
        if not count or self.options.all_cautions:
            return self.format_cautions("standing", "* ")
        noun = "caution that always holds" if count == 1 else "cautions that always hold"
        return self.wrap(f"Before you fly: {count} {noun}. Read {'it' if count == 1 else 'them'} with --cautions.")

    def format_values(self) -> list[str]:
        """Return a line for each result that is no table: label, value, unit and range."""
        names = [name for name, kind in self.calculator.result_fields.items() if not kind.columns]
        names = [name for name in names if name in self.response["results"]]
        rows = [self._format_value(name) for name in names]
        if not rows:
            return []
        label_width = max(len(label) for label, *_ in rows)
        number_width = max((len(text) for _, text, unit, _ in rows if unit is not None), default=0)
        unit_width = max(len(unit or "") for *_, unit, _ in rows)
        lines = []
        if any(spread for *_, spread in rows):
            lines.append(" " * (label_width + number_width + unit_width + 5) + "95 % range")
        for label, text, unit, spread in rows:
            start = f"{label:<{label_width}}  "
            if unit is None:
                lines += self.wrap(text, " " * len(start), start)
            else:
                lines.append(f"{start}{text:>{number_width}} {unit:<{unit_width}}  {spread}".rstrip())
        return lines

    def format_working(self) -> list[str]:
        """Return the steps of the working, each below those that it names, and the sources they cite."""
        working = self.response.get("working")
        if not working:
            return []
        lines = [click.style("Working", bold=True)]
        for step in working["steps"]:
            cited = "".join(f" [{number}]" for number in step["references"])
            lines += self.wrap(f"{step['name']}{cited}", "    ", "  ")
            unit = step.get("unit", "1")
            pieces = [step.get("formula"), step.get("numbers"), self._format_step_value(step.get("value"), unit)]
            for piece in filter(None, pieces):
                lines += self.wrap(f"= {piece}", " " * 8, " " * 6)
            lines += self._format_working_rows(step, unit)
            if "method" in step:
                lines += self.wrap(step["method"], " " * 6)
        lines += ["", click.style("Sources", bold=True)]
        for source in working["references"]:
            text = " ".join(filter(None, (f"[{source['number']}]", source["text"], source.get("url"))))
            lines += self.wrap(text, "      ", "  ")
        return lines

    def _format_working_rows(self, step: Mapping[str, Any], unit: str) -> Iterator[str]:
        rows = step.get("rows", [])
        shown = rows if len(rows) <= MAX_WORKED_ROWS else rows[:1] if "numbers" in rows[0] else []
        for row in shown:
            value = self._format_step_value(row["value"], unit) or NO_RESULT
            text = " = ".join(filter(None, (row.get("formula"), row.get("numbers"), value)))
            yield from self.wrap(f"{row['name']}: {text}", " " * 10, " " * 6)
        if len(rows) > len(shown):
            values = ", ".join(self._format_step_value(row["value"], "1") or NO_CELL for row in rows)
            more = f" and {step['omitted_rows']} more" if "omitted_rows" in step else ""
            yield from self.wrap(
                f"{rows[0]['name']} to {rows[-1]['name']}: {add_unit(values, unit)}{more}", " " * 10, " " * 6
            )

    def _format_step_value(self, value: float | None, unit: str) -> str:
        return "" if value is None else add_unit(format_number(value, WORKING_DIGITS), unit)

    def _format_value(self, name: str) -> tuple[str, str, str | None, str]:
        """Return label, value, unit and range of a result. The unit of what is no number is None."""
        value, unit = self.response["results"][name], self.response["units"].get(name, "1")
        label = get_label(name, self.calculator.result_fields[name])
        uncertainty = self.response.get("uncertainty", {}).get(name, {})
        if isinstance(value, list):
            texts = [self._estimate(each, name, unit).value for each in value]
            return axis_label(label, unit), ", ".join(texts) or "none", None, ""
        if value is None or isinstance(value, bool | str):
            return label, NO_RESULT if value is None else self._estimate(value, name, unit).value, None, ""
        ends = (uncertainty.get(member) for member in ("standard", "low", "high"))
        estimate = self._estimate(value, name, unit, *ends)
        spread = estimate.range if estimate.low != estimate.high else ""
        if uncertainty.get("no_result"):
            spread += f"  ({NO_RESULT} in {format_share(uncertainty['no_result'])})"
        return label, estimate.value, unit_sign(unit), spread

    def _estimate(self, value: Any, name: str, unit: str, *uncertainty: float | None) -> Estimate:
        """Return a value, its standard uncertainty and the ends of its range as text."""
        if value is None:
            return Estimate(NO_CELL)
        if isinstance(value, str) and isinstance(kind := find_field(self.calculator, name), Choice):
            return Estimate(kind.get_option_label(value))
        if name not in self.response["units"] or isinstance(value, bool | str):  # a count or a text
            return Estimate(serializers.format_value(value))
        if unit == "%" and self._is_probability(name):
            return Estimate(format_probability(value))
        if unit == "%" and abs(value) < SMALLEST_PERCENT:
            return Estimate("0")
        if self.options.digits is not None or not uncertainty or uncertainty[0] is None:
            return format_estimate(value, unit, digits=self.options.digits)
        return format_estimate(value, unit, *uncertainty, max_digits=DISPLAY_DIGITS)

    def _is_probability(self, name: str) -> bool:
        kind = find_field(self.calculator, name)
        return isinstance(kind, Quantity) and kind.is_probability

    def format_tables(self) -> Iterator[list[str]]:
        """Yield each table of the results, below its label."""
        for name, kind in self.calculator.result_tables.items():
            rows = self.response["results"].get(name) or []
            if not rows:
                yield [f"{click.style(get_label(name, kind), bold=True)}: none"]
                continue
            lines = [click.style(get_label(name, kind), bold=True)]
            shown = rows if len(rows) <= MAX_TABLE_ROWS else rows[:FIRST_ROWS]
            table = self._make_table(name, kind.columns, shown)
            text, shows_ranges = table.fit(self.options.width)
            lines += text
            if len(rows) > len(shown):
                lines.append(f"The first {len(shown)} of {len(rows)} rows; --json and --csv show all.")
            if shows_ranges:
                lines.append("In brackets: 95 % range.")
            elif table.has_ranges:
                lines.append("The 95 % ranges do not fit; a wider terminal or --json shows them.")
            yield lines

    def _make_table(self, table: str, columns: Mapping[str, Kind], rows: list[Mapping[str, Any]]) -> TextTable:
        names = tuple(str(row.get("name") or number) for number, row in enumerate(rows, 1))
        shown = [c for c in columns if c != "name" and any(row.get(c) is not None for row in rows)]
        headings, cells, numeric = [], [], []
        for column in shown:
            key = f"{table}.{column}"
            unit = self.response["units"].get(key, "1")
            spreads = self.response.get("uncertainty", {}).get(key, {})
            estimates = [
                self._estimate(row.get(column), key, unit, *(
                    (spreads.get(member) or [None] * (at + 1))[at] for member in ("standard", "low", "high")
                ))
                for at, row in enumerate(rows)
            ]  # fmt: skip
            headings.append(axis_label(get_label(column, columns[column]), unit))
            numeric.append(columns[column].has_numbers)
            cells.append([Cell(each.value, each.range if each.low != each.high else "") for each in estimates])
        by_row = tuple(zip(*cells, strict=True)) or ((),) * len(rows)
        return TextTable(names, tuple(headings), by_row, tuple(numeric))

    def format_inputs(self) -> list[str]:
        """Return the inputs that were not given, with the values used."""
        lines = []
        for member, heading in _MEMBERS.items():
            texts = [self._format_input(name) for name in self.response.get(member, ())]
            if member == "from_craft" and self.response.get("chosen_rows"):
                chosen = ", ".join(f'{name} "{row}"' for name, row in self.response["chosen_rows"].items())
                heading += f" ({chosen})"
            lines += self.wrap(f"{heading}: {'; '.join(text for text in texts if text)}.", "  ", "") if texts else []
        return lines

    def _format_input(self, name: str) -> str:
        """Return an input with its value; the values of all rows for a column of a table."""
        unit = self.response["input_units"].get(name, "1")
        table, _, column = name.rpartition(".")
        inputs = self.response["inputs"]
        if table:
            kind = self.calculator.input_fields[table]
            label = f"{lower_first(get_label(column, kind.columns[column]))} of {lower_first(get_label(table, kind))}"
            values = [row.get(column) for row in inputs.get(table) or ()]
        else:
            label = lower_first(get_label(name, self.calculator.input_fields[name]))
            values = [inputs.get(name)]
        texts = list(dict.fromkeys(self._format_given(value, name, unit) for value in values if value is not None))
        return f"{label} {add_unit(' / '.join(texts), unit)}" if texts else label

    def _format_given(self, value: Any, name: str, unit: str) -> str:
        if isinstance(value, list | dict):
            return f"({len(value)})"
        return self._estimate(value, name, unit).value
