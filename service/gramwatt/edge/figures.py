"""An answer written out: as JSON, as one value in text, as one row of CSV."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping
from typing import Any

import orjson

from gramwatt.declare import Calculator
from gramwatt.edge.wording import plain


def json_bytes(value: object) -> bytes:
    """A JSON document of finite numbers, indented for people, ending in a newline."""
    return orjson.dumps(value, option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE)


def value_text(value: Any, *, digits: int = 12, decimal: str = ".") -> str:
    """One value as text: a bare number, a word, or a list joined by commas (semicolons with a decimal comma)."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        texts = [value_text(each, digits=digits, decimal=decimal) for each in value]
        return (";" if decimal == "," else ",").join(texts)
    if isinstance(value, int | float):
        return plain(value, digits).replace(".", decimal)
    return str(value)


def csv_text(
    calculator: Calculator[Any, Any],
    answer: Mapping[str, Any],
    *,
    header: str = "units",
    digits: int = 12,
    decimal: str = ".",
) -> str:
    """Header line and one row (RFC 4180): inputs, results, ``<result>_u`` where uncertain, codes of the cautions.

    ``header`` is ``units`` (names with their unit in brackets), ``names``, or ``off``. With a decimal comma the
    fields are separated by semicolons, as spreadsheets of such places expect.
    """
    cells: dict[str, Any] = {}
    for name in calculator.asked:
        if name not in calculator.answered:
            cells[_headed(name, answer, header)] = answer["given"].get(name)
    for name, value in answer["results"].items():
        cells[_headed(name, answer, header)] = value
        if name in answer.get("uncertainty", {}):
            cells[_headed(name, answer, header, suffix="_u")] = answer["uncertainty"][name]["standard"]
    cells["cautions"] = " ".join(caution["code"] for caution in answer["cautions"])
    written = io.StringIO()
    writer = csv.writer(written, delimiter=";" if decimal == "," else ",", lineterminator="\r\n")
    if header != "off":
        writer.writerow(cells)
    writer.writerow(_cell(value, digits, decimal) for value in cells.values())
    return written.getvalue()


def _headed(name: str, answer: Mapping[str, Any], header: str, suffix: str = "") -> str:
    unit = answer["units"].get(name, "1")
    if suffix and unit in ("degC", "°C"):
        unit = "K"
    return f"{name}{suffix} [{unit}]" if header == "units" and unit != "1" else name + suffix


def _cell(value: Any, digits: int, decimal: str) -> str:
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return json.dumps(value, ensure_ascii=False, separators=(",", ":"))
    text = value_text(value, digits=digits, decimal=decimal)
    # A spreadsheet would run such a text as a formula; numbers may begin with a minus.
    return f"'{text}" if isinstance(value, str) and text[:1] in ("=", "+", "-", "@", "\t", "\r") else text
