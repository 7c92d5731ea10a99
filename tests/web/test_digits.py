"""The option ``digits``: it works in every format that takes it, and counts and inputs stay whole."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from typing import Any, Final

import pyarrow as pa
import pytest
from flask.testing import FlaskClient

from gramwatt.engine import registry
from gramwatt.model import Calculator, Choice, Count, Flag, Kind, Table, Text

CALCULATORS: Final = list(registry.load().values())
DIGITS: Final = 3
Any_ = Calculator[Any, Any]
every_calculator = pytest.mark.parametrize("calculator", CALCULATORS, ids=[each.name for each in CALCULATORS])


def cut(value: Any) -> Any:
    """Round the numbers of a JSON value as Python's own formatting does."""
    if isinstance(value, list):
        return [cut(each) for each in value]
    return value if value is None else float(f"{value:.{DIGITS}g}")


def expect(kind: Kind, value: Any) -> Any:
    """Return what a result of that value must be with fewer digits."""
    if isinstance(kind, Table) and value is not None:
        return [{name: expect(kind.columns[name], cell) for name, cell in row.items()} for row in value]
    return value if isinstance(kind, Choice | Count | Flag | Table | Text) else cut(value)


def leaves(value: Any) -> Iterator[float]:
    """Yield the numbers of a JSON value."""
    match value:
        case dict():
            for each in value.values():
                yield from leaves(each)
        case list():
            for each in value:
                yield from leaves(each)
        case int() | float():
            yield float(value)


@every_calculator
def test_json(client: FlaskClient, calculator: Any_) -> None:
    """Results and their uncertainties have so many digits; inputs and counts have all of theirs."""
    sent = dict(calculator.examples[0].given)
    whole, short = (client.post(f"/v1/{calculator.name}{query}", json=sent).get_json() for query in ("", "?digits=3"))
    assert short["given"] == whole["given"]
    for name, kind in calculator.result_fields.items():
        assert short["results"][name] == expect(kind, whole["results"][name])
    assert all(float(f"{each:.{DIGITS}g}") == each for each in leaves(short.get("uncertainty", {})))
    assert short["cautions"] == whole["cautions"]


@every_calculator
@pytest.mark.parametrize("form", ["json", "ndjson"])
def test_tables_of_json(client: FlaskClient, calculator: Any_, form: str) -> None:
    body = json.dumps(dict(calculator.examples[0].given)).encode() + b"\n"
    url = f"/v1/{calculator.name}/batch?format={form}"
    whole, short = (
        json.loads(client.post(url + query, data=body, content_type="application/x-ndjson").text.strip("[]\n"))
        for query in ("", "&digits=3")
    )
    assert list(short) == list(whole)
    for name, kind in calculator.result_fields.items():
        assert short[name] == expect(kind, whole[name])


@every_calculator
def test_tables_of_arrow(client: FlaskClient, calculator: Any_) -> None:
    body = json.dumps(dict(calculator.examples[0].given)).encode() + b"\n"
    url = f"/v1/{calculator.name}/batch?format=arrow"
    whole, short = (
        pa.ipc.open_stream(client.post(url + query, data=body, content_type="application/x-ndjson").data).read_all()
        for query in ("", "&digits=3")
    )
    assert short.schema == whole.schema
    for column in whole.schema:
        one, other = whole[column.name][0].as_py(), short[column.name][0].as_py()
        assert other == (cut(one) if column.type == pa.float64() else other)
        assert (other is None) == (one is None)


@every_calculator
def test_tables_of_csv(client: FlaskClient, calculator: Any_) -> None:
    """Also where rows are computed one by one."""
    body = json.dumps(dict(calculator.examples[0].given)).encode() + b"\n"
    url = f"/v1/{calculator.name}/batch?format=csv&header=names"
    whole, short = (
        next(csv.DictReader(io.StringIO(client.post(url + q, data=body, content_type="application/x-ndjson").text)))
        for q in ("", "&digits=3")
    )
    for name, kind in calculator.result_fields.items():
        if kind.is_numeric and not isinstance(kind, Count) and whole[name]:
            assert float(short[name]) == cut(float(whole[name]))
