"""A response as lines for a terminal."""

from __future__ import annotations

from typing import Any, Final

from gramwatt.engine import serializers
from gramwatt.model.messages import Estimate, format_estimate, format_share

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
    """Return a value with its standard uncertainty, unit and range; without the range for each value of a list."""
    uncertainty = response.get("uncertainty", {}).get(name, {})
    is_exact = name not in response["units"]  # a count or a text
    unit = response["units"].get(name, "1")
    if isinstance(value, list):
        deviations = uncertainty.get("standard") or [None] * len(value)
        texts = [
            " ± ".join(filter(None, _make_estimate(each, unit, is_exact, deviation)[:2]))
            for each, deviation in zip(value, deviations, strict=True)
        ]
        return _add_unit("  ".join(texts) or "none", unit)
    estimate = _make_estimate(
        value, unit, is_exact, uncertainty.get("standard"), uncertainty.get("low"), uncertainty.get("high")
    )
    if value is None:
        return estimate.value
    text = _add_unit(" ± ".join(filter(None, estimate[:2])), unit)
    notes = [f"95 %: {estimate.range}"] if estimate.range else []
    if uncertainty.get("no_result"):
        notes.append(f"no result in {format_share(uncertainty['no_result'])}")
    return f"{text} ({'; '.join(notes)})" if notes else text


def _make_estimate(value: Any, unit: str, is_exact: bool, *uncertainty: float | None) -> Estimate:
    """Return a value, its standard uncertainty and the ends of its range as text."""
    if value is None:
        return Estimate("no result")
    if is_exact or isinstance(value, bool | str):
        return Estimate(serializers.format_value(value))
    return format_estimate(value, unit, *uncertainty)


def _add_unit(text: str, unit: str) -> str:
    return text if unit == "1" else f"{text} {unit}"


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
    table, _, column = name.rpartition(".")
    values = [row.get(column) for row in response["given"][table]] if table else [response["given"][name]]
    is_exact = name not in response["units"]
    texts = [_make_estimate(value, unit, is_exact).value for value in values if value is not None]
    return _add_unit("  ".join(texts), unit)
