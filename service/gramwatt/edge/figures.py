"""An answer written out: as JSON, as one value in text, as one row of CSV."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping
from typing import Any

import orjson

from gramwatt.declare import Calculator, Table
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

    Where a result is a table there is a row for each of its rows, and its columns are headed ``by_pack.endurance``;
    tables among the inputs are then left out. ``header`` is ``units`` (names with their unit in brackets), ``names``,
    or ``off``. With a decimal comma fields are separated by semicolons, as spreadsheets of such places expect.
    """
    tables = [name for name, kind in calculator.answered.items() if isinstance(kind, Table)]
    before = {
        _headed(name, answer, header): answer["given"].get(name)
        for name, kind in calculator.asked.items()
        if name not in calculator.answered and not (tables and isinstance(kind, Table))
    }
    for name, value in answer["results"].items():
        if name not in tables:
            before |= _columns(name, value, answer, header)
    after = {"cautions": " ".join(dict.fromkeys(caution["code"] for caution in answer["cautions"]))}
    rows = [{**before, **after}]
    for table in tables:
        rows = [
            {**before, **_table_columns(table, at, row, answer, header), **after}
            for at, row in enumerate(answer["results"][table])
        ]
    written = io.StringIO()
    writer = csv.writer(written, delimiter=";" if decimal == "," else ",", lineterminator="\r\n")
    if header != "off":
        writer.writerow(rows[0])
    for row in rows:
        writer.writerow(_cell(value, digits, decimal) for value in row.values())
    return written.getvalue()


def _columns(name: str, value: Any, answer: Mapping[str, Any], header: str) -> dict[str, Any]:
    made = {_headed(name, answer, header): value}
    if name in answer.get("uncertainty", {}):
        made[_headed(name, answer, header, suffix="_u")] = answer["uncertainty"][name]["standard"]
    return made


def _table_columns(
    table: str, at: int, row: Mapping[str, Any], answer: Mapping[str, Any], header: str
) -> dict[str, Any]:
    made: dict[str, Any] = {}
    for column, value in row.items():
        name = f"{table}.{column}"
        made[_headed(name, answer, header)] = value
        if name in answer.get("uncertainty", {}):
            made[_headed(name, answer, header, suffix="_u")] = answer["uncertainty"][name]["standard"][at]
    return made


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
