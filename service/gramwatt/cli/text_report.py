"""A response as lines for a terminal."""

from __future__ import annotations

from typing import Any, Final

from gramwatt.engine import serializers

MAX_TABLE_ROWS: Final = 12
"""Rows of a table that a terminal shows."""


def format_report(response: dict[str, Any]) -> str:
    """Return a line for each result, then the given and assumed values and the cautions.

    A table becomes a line for each column, with its rows side by side.
    """
    lines = []
    results = _flatten_tables(response["results"])
    width = max(20, *(len(name) for name in results)) + 2
    for name, value in results.items():
        lines.append(f"{name:<{width}}{_format_result(response, name, value)}")
        for step, content in response.get("working", {}).get(name, {}).items():
            text = "; ".join(reference["text"] for reference in content) if step == "references" else content
            lines.append(f"    {step}: {text}")
    for member in ("solved", "assumed"):
        inputs = ", ".join(f"{name} = {_format_given(response, name)}" for name in response.get(member, ()))
        lines += [f"{member}: {inputs}"] if inputs else []
    lines += [f"! {caution['text']}" for caution in response["cautions"]]
    return "\n".join(lines)


def _format_result(response: dict[str, Any], name: str, value: Any) -> str:
    """Return a value with its standard uncertainty and unit."""
    unit = response["units"].get(name, "1")
    deviation = response.get("uncertainty", {}).get(name, {}).get("standard")
    has_deviation = any(deviation) if isinstance(deviation, list) else deviation
    text = _format_value(value)
    if has_deviation:
        text += f" ± {serializers.format_value(deviation, digits=2).replace(',', '  ')}"
    return text if unit == "1" or value is None else f"{text} {unit}"


def _format_value(value: Any) -> str:
    if isinstance(value, list):
        return "  ".join("-" if item is None else _format_value(item) for item in value) or "none"
    return "no answer" if value is None else serializers.format_value(value, digits=6)


def _flatten_tables(results: dict[str, Any]) -> dict[str, Any]:
    """Return the results, with each column of a table as a list."""
    flat: dict[str, Any] = {}
    for name, value in results.items():
        if isinstance(value, list) and len(value) > MAX_TABLE_ROWS and isinstance(value[0], dict):
            flat[name] = f"{len(value)} rows; --json and --csv show them"
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            columns = dict.fromkeys(column for row in value for column in row)
            flat |= {f"{name}.{column}": [row.get(column) for row in value] for column in columns}
        else:
            flat[name] = value
    return flat


def _format_given(response: dict[str, Any], name: str) -> str:
    unit = response["units"].get(name, "1")
    return serializers.format_value(response["given"][name], digits=6) + ("" if unit == "1" else f" {unit}")
