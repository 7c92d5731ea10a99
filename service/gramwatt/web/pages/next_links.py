"""Links from a response to the calculators that go on from it, with their forms filled in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from gramwatt.engine import registry
from gramwatt.engine.next import Suggestion, suggest_next
from gramwatt.model import Calculator, get_label
from gramwatt.model.messages import join_with_and, lower_first
from gramwatt.web.middleware.rate_limit import MAX_URL_LENGTH
from gramwatt.web.pages.form_reader import texts_of_inputs


@dataclass(frozen=True, slots=True)
class NextLink:
    """A link to a calculator that takes figures of a response."""

    title: str
    url: str
    carries: tuple[str, ...]
    """The inputs that are filled from results; scripts fill in the others from the craft."""
    needs: tuple[str, ...]
    """Required inputs that are still to be given."""
    taken: str
    """What it takes, in words."""
    needed: str
    """What it needs, in words: "motor kV and capacity"."""


def list_next_links(response: Mapping[str, Any], decimal: str) -> Iterator[NextLink]:
    """Yield links to the calculators that go on from a response."""
    for suggestion in suggest_next(response):
        calculator = registry.get(suggestion.calculator)
        url = _make_url(suggestion, suggestion.inputs, decimal)
        if len(url) > MAX_URL_LENGTH:
            taken = {name: suggestion.inputs[name] for name in suggestion.from_results}
            url = _make_url(suggestion, taken, decimal)
        carries, needs = tuple(suggestion.from_results), suggestion.missing
        labels = _join_labels(calculator, carries) or "the same inputs"
        yield NextLink(calculator.title, url, carries, needs, labels, _join_labels(calculator, needs))


def _make_url(suggestion: Suggestion, inputs: Mapping[str, object], decimal: str) -> str:
    texts = texts_of_inputs(registry.get(suggestion.calculator), inputs, decimal)
    query = urlencode(texts | ({"decimal": decimal} if decimal != "." else {}))
    return f"/calculators/{suggestion.calculator}" + (f"?{query}" if query else "")


def _join_labels(calculator: Calculator[Any, Any], names: Iterable[str]) -> str:
    labels = [lower_first(get_label(name, calculator.input_fields[name])) for name in names]
    return join_with_and(labels) if labels else ""
