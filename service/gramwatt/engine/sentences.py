"""Fill the sentence that a calculator declares as the headline of its response."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from gramwatt.engine.evaluate import Outcome
from gramwatt.model import Choice
from gramwatt.model.messages import DISPLAY_DIGITS, add_unit, format_estimate, format_number
from gramwatt.model.sentences import PLACEHOLDER


@dataclass(frozen=True, slots=True)
class FilledSentence:
    """The headline of a response in words."""

    text: str
    details: str = ""
    """The line below it; empty where there is nothing to add."""
    verdict: str = ""
    """``good``, ``close`` or ``bad``; empty where there is no verdict."""


def build_sentence(
    outcome: Outcome, row: int, response: Mapping[str, Any], localize: Callable[[str], str] = str
) -> FilledSentence | None:
    """Return the sentence of request ``row`` with values as in its response; None where no declared one applies.

    ``localize`` turns a formatted number into what is shown, such as one with a decimal comma.
    """
    values = _Values(outcome, response, localize)
    for sentence in outcome.calculator.sentences:
        if sentence.when is not None and not sentence.when(outcome.inputs, outcome.results)[row]:
            continue
        text = values.fill(sentence.text)
        if text is not None:
            details = [filled for each in sentence.details if (filled := values.fill(each)) is not None]
            return FilledSentence(text, " ".join(details), sentence.verdict)
    return None


@dataclass(frozen=True, slots=True)
class _Values:
    """The values of a response as a sentence has them."""

    outcome: Outcome
    response: Mapping[str, Any]
    localize: Callable[[str], str]

    def fill(self, text: str) -> str | None:
        """Return the text with its values; None where one of them is missing."""
        if any(self._get(found[1]) is None for found in PLACEHOLDER.finditer(text)):
            return None
        return PLACEHOLDER.sub(lambda found: self._format(found[1], found[2] or ""), text)

    def _get(self, name: str) -> Any:
        return self.response["results"].get(name, self.response["inputs"].get(name))

    def _format(self, name: str, style: str) -> str:
        """Return a value with its unit; a result has one digit of its uncertainty, or that of tables if closer."""
        value = self._get(name)
        is_result = name in self.response["results"]
        if isinstance(value, str):
            calculator = self.outcome.calculator
            kind = (calculator.result_fields if is_result else calculator.input_fields)[name]
            return kind.get_option_label(value) if isinstance(kind, Choice) else value
        unit = self.response["units" if is_result else "input_units"].get(name)
        if unit is None:
            return self.localize(format_number(value))
        end = add_unit("", unit)
        number = abs(value) if style == "magnitude" else value
        uncertainty = self.response.get("uncertainty", {}).get(name, {}) if is_result else {}
        standard = uncertainty.get("standard")
        if not standard:
            return self.localize(format_estimate(number, unit, digits=2 if style == "rough" else None).value) + end
        places = -_get_exponent(standard)
        rounded = _round(number, max(places, 1 - _get_exponent(number)))
        in_tables = format_estimate(number, unit, standard, max_digits=DISPLAY_DIGITS).value
        shown = self.localize(min(rounded, in_tables, key=lambda text: abs(float(text) - number))) + end
        ends = [uncertainty[member] for member in ("low", "high") if uncertainty.get(member) is not None]
        if style != "range" or len(ends) < 2:
            return shown
        return f"{shown}, about {self.localize(' to '.join(_round(each, places) for each in ends))}"


def _get_exponent(number: float) -> int:
    """Return the power of ten of the first digit: 2 for 123."""
    return int(f"{number:e}".partition("e")[2])


def _round(number: float, places: int) -> str:
    """Return a number with so many digits after its point; left of the point for a negative number of them."""
    return f"{round(number, places):.{max(places, 0)}f}"
