"""Results as the templates show them: values with the digits they justify, reasons, uncertainty, working, sources."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from gramwatt.charts.formatting import find_field, readable
from gramwatt.engine.evaluate import Outcome
from gramwatt.engine.formats import get_table_length
from gramwatt.engine.response import build_response, build_table_rows
from gramwatt.engine.sentences import FilledSentence, build_sentence
from gramwatt.model import AnyCalculator, Quantity, Table
from gramwatt.model.messages import (
    DISPLAY_DIGITS,
    Estimate,
    format_estimate,
    format_number,
    format_probability,
    format_share,
)
from gramwatt.web.pages.description import describe_calculator
from gramwatt.web.pages.working_view import WorkingStep, make_working

MAX_ROWS: Final = 60
"""Rows of a table on a page. The CSV has all of them."""
MAX_TRANSPOSED_ROWS: Final = 8
"""A wide table with at most this many rows shows them side by side as columns."""
FIRST_FINDINGS_LENGTH: Final = 240
"""Characters of findings above the chart: four lines or so. The others follow below it."""
ROUNDING_ERROR: Final = 1e-9
"""A difference below this, in its unit, is 0: it comes from rounding in the computation."""
MIN_SHARE: Final = 0.05
MAX_CONTRIBUTORS: Final = 3


@dataclass(frozen=True, slots=True)
class ResultValue:
    """One result."""

    name: str
    description: Mapping[str, Any]
    text: str
    """Empty where there is no result."""
    unit: str
    uncertainty: str = ""
    range: str = ""
    """Where 95 % of the likely cases lie: ``38 to 97``."""
    no_result: str = ""
    """The share of the likely cases that have no result: ``18 %``."""
    contributors: str = ""
    """The inputs that cause most of the uncertainty."""
    reason: str = ""
    """Why there is no result."""


@dataclass(frozen=True, slots=True)
class ResultTable:
    """A table of results. ``transposed``: its rows are shown side by side as columns."""

    name: str
    description: Mapping[str, Any]
    transposed: bool
    headings: tuple[str, ...]
    rows: tuple[tuple[ResultValue, ...], ...]
    omitted: int
    """Rows that are not shown."""


@dataclass(frozen=True, slots=True)
class ResultsView:
    """All that a page shows of a response."""

    headline: ResultValue
    values: tuple[ResultValue, ...]
    tables: tuple[ResultTable, ...]
    sentence: FilledSentence
    """The headline in words."""
    first_findings: tuple[str, ...]
    """What concerns these figures, the gravest first; so much as fits above the chart."""
    more_findings: tuple[str, ...]
    standing: tuple[str, ...]
    """Cautions that always hold."""
    working: tuple[WorkingStep, ...]
    sources: tuple[Mapping[str, Any], ...]


@dataclass(frozen=True, slots=True)
class _Formatter:
    """Turns the cells of a response into text."""

    calculator: AnyCalculator
    response: Mapping[str, Any]
    reasons: Mapping[str, str]
    decimal: str

    def value(self, name: str, description: Mapping[str, Any]) -> ResultValue:
        """Return a single result."""
        return self._make(name, description, self.response["results"][name], None, name)

    def cell(self, table: str, column: Mapping[str, Any], value: Any, row: int) -> ResultValue:
        """Return a cell of a table."""
        name = column["name"]
        return self._make(f"{table}.{name}", column, value, row, f"/{table}/{row}/{name}")

    def _make(
        self, key: str, description: Mapping[str, Any], value: Any, row: int | None, reason_key: str
    ) -> ResultValue:
        unit = self.response["units"].get(key, "1")
        uncertainty = self.response.get("uncertainty", {}).get(key, {})
        numbers = [_pick(uncertainty.get(name), row) for name in ("standard", "low", "high")]
        no_result = _pick(uncertainty.get("no_result"), row)
        estimate = self._format_special(key, value, numbers[0]) or self._format(value, unit, description, *numbers)
        return ResultValue(
            key,
            description,
            estimate.value,
            "" if unit == "1" else unit,
            estimate.uncertainty,
            estimate.range,
            self.localize(format_share(no_result)) if no_result else "",
            _format_contributors(uncertainty.get("shares", {})) if estimate.uncertainty else "",
            self.reasons.get(reason_key, "") if value is None else "",
        )

    def _format_special(self, key: str, value: Any, standard: float | None) -> Estimate | None:
        """Return a probability, or a difference of zero, as text; None for any other result."""
        kind = find_field(self.calculator, key)
        if value is None or not isinstance(kind, Quantity):
            return None
        if kind.is_probability:
            return Estimate(self.localize(format_probability(value)))
        is_difference = kind.possible_range[0] < 0
        return Estimate("0") if is_difference and max(abs(value), standard or 0.0) < ROUNDING_ERROR else None

    def _format(self, value: Any, unit: str, description: Mapping[str, Any], *uncertainty: float | None) -> Estimate:
        """Return a value and its uncertainty as text."""
        match value:
            case None:
                return Estimate("")
            case bool():
                return Estimate("yes" if value else "no")
            case list():
                separator = ";  " if self.decimal == "," else ", "
                return Estimate(separator.join(self._format(each, unit, description).value for each in value))
            case int() | float() if description["kind"] == "count":
                return Estimate(self.localize(format_number(value)))
            case int() | float():
                return Estimate(
                    *map(self.localize, format_estimate(value, unit, *uncertainty, max_digits=DISPLAY_DIGITS))
                )
            case _:
                return Estimate(description.get("option_labels", {}).get(value, str(value)))

    def localize(self, text: str) -> str:
        """Return a formatted number with a minus sign and the chosen decimal sign."""
        return text.replace("-", "−").replace(".", self.decimal)


def _pick(numbers: Any, row: int | None) -> float | None:
    """Return the number of a result, or of a row of a table; None for the numbers of a list."""
    if isinstance(numbers, list):
        return numbers[row] if row is not None and row < len(numbers) else None
    return numbers  # type: ignore[no-any-return]


def _format_contributors(shares: Mapping[str, float]) -> str:
    largest = sorted(shares.items(), key=lambda each: -each[1])[:MAX_CONTRIBUTORS]
    return ", ".join(
        f"{readable(name).replace('/', ' ').strip()} {share * 100:.0f} %"
        for name, share in largest
        if share >= MIN_SHARE
    )


def make_results_view(
    outcome: Outcome, result_units: Mapping[str, str], decimal: str
) -> tuple[ResultsView, dict[str, Any]]:
    """Return what to show of the first request of an outcome, and its response as JSON with long tables cut."""
    calculator = outcome.calculator
    tables = {name: kind for name, kind in calculator.result_fields.items() if isinstance(kind, Table)}
    lengths = {name: get_table_length(outcome, name) for name in tables}
    long = [name for name, length in lengths.items() if length > MAX_ROWS]
    response = build_response(outcome, 0, result_units=result_units, working=True, without=long)
    for name in long:
        response["results"][name] = build_table_rows(
            tables[name], getattr(outcome.results, name), 0, name, response["units"], 0, MAX_ROWS
        )
    descriptions = {each["name"]: each for each in describe_calculator(calculator)["results"]}
    reasons = {name: each["text"] for each in response["cautions"] for name in each.get("results", ())}
    formatter = _Formatter(calculator, response, reasons, decimal)
    values = {
        name: formatter.value(name, descriptions[name]) for name in calculator.result_fields if name not in tables
    }
    findings = [each for each in response["cautions"] if each["kind"] != "standing" and not _is_reason(each, response)]
    first = _count_first(findings)
    texts = [each["text"] for each in findings]
    view = ResultsView(
        next(iter(values.values())),
        tuple(values.values()),
        tuple(_make_table(name, descriptions[name], formatter, lengths[name]) for name in tables),
        _make_sentence(outcome, response, next(iter(values.values())), formatter),
        tuple(texts[:first]),
        tuple(texts[first:]),
        tuple(each["text"] for each in response["cautions"] if each["kind"] == "standing"),
        make_working(calculator, response["working"], formatter.localize),
        tuple(response["working"]["references"]),
    )
    return view, response


def _count_first(findings: Sequence[Mapping[str, Any]]) -> int:
    """Return how many findings fit above the chart: the first, and others while they are short."""
    length = count = 0
    for finding in findings:
        length += len(finding["text"])
        if finding["kind"] != "finding" or (count and length > FIRST_FINDINGS_LENGTH):
            break
        count += 1
    return count


def _is_reason(caution: Mapping[str, Any], response: Mapping[str, Any]) -> bool:
    """Return whether a caution says why a single result is missing, which is shown beside that."""
    results = response["results"]
    return "results" in caution and all(name in results and results[name] is None for name in caution["results"])


def _make_sentence(
    outcome: Outcome, response: Mapping[str, Any], headline: ResultValue, formatter: _Formatter
) -> FilledSentence:
    """Return the headline in words: the declared sentence, else why there is no result, else the result itself."""
    if not headline.text:
        text, _, details = headline.reason.partition(". ")
        return FilledSentence(text.rstrip(".") or "No result for these inputs", details)
    sentence = build_sentence(outcome, 0, response, formatter.localize)
    if sentence is None:
        return FilledSentence(f"{headline.description['label']}: {headline.text} {headline.unit}".rstrip())
    return replace(sentence, text=_keep_units(sentence.text), details=_keep_units(sentence.details))


def _keep_units(text: str) -> str:
    """Return a text with no-break spaces between numbers and units."""
    return re.sub(r"(?<=\d) (?=[^\W\d]|[%°Ω])", "\N{NO-BREAK SPACE}", text)


def _make_table(name: str, description: Mapping[str, Any], formatter: _Formatter, length: int) -> ResultTable:
    rows: Sequence[Mapping[str, Any]] = formatter.response["results"][name]
    columns = [column for column in description["columns"] if any(column["name"] in row for row in rows)]
    cells = [
        tuple(formatter.cell(name, column, row.get(column["name"]), number) for column in columns)
        for number, row in enumerate(rows)
    ]
    omitted = length - len(rows)
    if not len(rows) <= MAX_TRANSPOSED_ROWS < len(columns):
        return ResultTable(
            name, description, False, tuple(column["label"] for column in columns), tuple(cells), omitted
        )
    has_names = columns[0]["name"] == "name"
    headings = tuple((row[0].text if has_names else "") or f"no. {number}" for number, row in enumerate(cells, 1))
    return ResultTable(
        name, description, True, headings, tuple(zip(*(row[has_names:] for row in cells), strict=True)), omitted
    )
