"""Fill the sentence that a calculator declares as the headline of its response."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from gramwatt.engine.evaluate import Outcome
from gramwatt.model.messages import format_estimate, format_number
from gramwatt.model.sentences import PLACEHOLDER, Sentence


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
    for sentence in outcome.calculator.sentences:
        if sentence.when is not None and not sentence.when(outcome.inputs, outcome.results)[row]:
            continue
        text = _fill(sentence.text, response, localize)
        if text is not None:
            return FilledSentence(text, _join_details(sentence, response, localize), sentence.verdict)
    return None


def _join_details(sentence: Sentence[Any, Any], response: Mapping[str, Any], localize: Callable[[str], str]) -> str:
    filled: Iterable[str | None] = (_fill(each, response, localize) for each in sentence.details)
    return " ".join(each for each in filled if each is not None)


def _fill(text: str, response: Mapping[str, Any], localize: Callable[[str], str]) -> str | None:
    """Return the text with its values; None where one of them is missing."""
    values = {
        found[1]: response["results"].get(found[1], response["inputs"].get(found[1]))
        for found in PLACEHOLDER.finditer(text)
    }
    if any(value is None for value in values.values()):
        return None
    return PLACEHOLDER.sub(lambda found: _format(found[1], values[found[1]], found[2] or "", response, localize), text)


def _format(name: str, value: Any, style: str, response: Mapping[str, Any], localize: Callable[[str], str]) -> str:
    """Return a value with its unit; a result is rounded to the place of its uncertainty."""
    if isinstance(value, str):
        return value
    unit = response["units"].get(name)
    if unit is None:
        return localize(format_number(value))
    end = "" if unit == "1" else f" {unit}"
    number = abs(value) if style == "magnitude" else value
    uncertainty = response.get("uncertainty", {}).get(name, {}) if name in response["results"] else {}
    standard = uncertainty.get("standard")
    if not standard:
        return localize(format_estimate(number, unit, digits=2 if style == "rough" else None).value) + end
    places = -_get_exponent(standard)
    shown = localize(_round(number, max(places, 1 - _get_exponent(number)))) + end
    ends = [uncertainty[member] for member in ("low", "high") if uncertainty.get(member) is not None]
    if style != "range" or len(ends) < 2:
        return shown
    return f"{shown}, about {localize(' to '.join(_round(each, places) for each in ends))}"


def _get_exponent(number: float) -> int:
    """Return the power of ten of the first digit: 2 for 123."""
    return int(f"{number:e}".partition("e")[2])


def _round(number: float, places: int) -> str:
    """Return a number with so many digits after its point; left of the point for a negative number of them."""
    return f"{round(number, places):.{max(places, 0)}f}"
