"""Write a calculator's examples as query strings, for links and for the first line that the service prints."""

from __future__ import annotations

from collections.abc import Mapping
from urllib.parse import quote

from gramwatt.model import AnyCalculator


def fits_query(calculator: AnyCalculator) -> bool:
    """Return whether GET can reach a calculator: no input that it needs is a table or a recording."""
    fields = calculator.input_fields
    grouped = {name for group in calculator.any_of for name in group}
    nested = {name for name, kind in fields.items() if not kind.fits_query}
    needs_one = any(fields[name].is_required for name in nested - grouped)
    return not needs_one and all(any(name not in nested for name in group) for group in calculator.any_of)


def find_example_query(calculator: AnyCalculator) -> str | None:
    """Return the query of the first example that fits one."""
    queries = (build_query(calculator, example.given) for example in calculator.examples)
    return next((query for query in queries if query is not None), None)


def find_query_example(calculator: AnyCalculator) -> Mapping[str, object]:
    """Return the inputs of the first example that fits a query; empty where none does."""
    return next((each.given for each in calculator.examples if build_query(calculator, each.given) is not None), {})


def build_query(calculator: AnyCalculator, inputs: Mapping[str, object]) -> str | None:
    """Return inputs as a query, or None if there is a table or a recording among them."""
    if any(not calculator.input_fields[name].fits_query for name in inputs):
        return None
    return "&".join(f"{name}={quote(format_query_value(value), safe=',')}" for name, value in inputs.items())


def format_query_value(value: object) -> str:
    """Return a JSON value as a word of a query."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return ",".join(map(str, value)) if isinstance(value, list) else str(value)
