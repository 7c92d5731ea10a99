"""Tests of reading a form into inputs."""

from __future__ import annotations

from typing import Any
from urllib.parse import parse_qsl, urlencode

import pytest

from gramwatt.model import (
    Calculator,
    Flag,
    Kind,
    NumberList,
    Quantity,
    Table,
    TimeSeries,
    get_fields,
)
from gramwatt.web.pages import form_reader
from gramwatt.web.pages.description import form_columns
from web.pages.browser_page import (
    every_calculator,
)


@pytest.mark.parametrize(
    ("kind", "word", "unit", "decimal", "value"),
    [
        (Quantity("g", "", above=0, at_most=9), "12", "g", ".", 12),
        (Quantity("g", "", above=0, at_most=9), "1e2", "", ".", 100.0),
        (Quantity("g", "", above=0, at_most=9), "2", "lb", ".", "2 lb"),
        (Quantity("g", "", above=0, at_most=9), "2 oz", "lb", ".", "2 oz"),
        (Quantity("g", "", above=0, at_most=9), "nonsense", "lb", ".", "nonsense"),
        (Flag(""), "true", "", ".", True),
        (Flag(""), "false", "", ".", False),
        (Flag(""), "maybe", "", ".", "maybe"),
        (NumberList(Quantity("g", "", above=0, at_most=9), ""), "1, 2\n3;4", "", ".", [1, 2, 3, 4]),
        (NumberList(Quantity("g", "", above=0, at_most=9), ""), "1,5 2,5; 3", "", ",", [1.5, 2.5, 3]),
        (NumberList(Quantity("g", "", above=0, at_most=9), ""), "1, 2", "oz", ".", ["1 oz", "2 oz"]),
    ],
    ids=lambda case: str(case)[:30],
)
def test_typed_text_becomes_a_json_value(kind: Kind, word: str, unit: str, decimal: str, value: object) -> None:
    found = form_reader.parse_value(kind, word, unit, decimal)
    assert found == value
    assert type(found) is type(value)


@every_calculator
def test_an_example_survives_the_form(calculator: Calculator[Any, Any]) -> None:
    """Whatever the decimal sign."""
    for example in calculator.examples:
        for decimal in (".", ","):
            form = form_reader.form_of_inputs(calculator, example.given, decimal)
            again = form_reader.read_form(calculator, dict(parse_qsl(urlencode(form_reader.form_query(form)))), {})
            for name, given in example.given.items():
                kind = calculator.input_fields[name]
                if isinstance(kind, TimeSeries):
                    assert again.inputs[name].rows == len(next(iter(given.values())))  # type: ignore[attr-defined]
                elif isinstance(kind, Table):
                    assert [set(row) for row in again.inputs[name]] == [
                        {each for each in row if each in form_columns(kind) and each in get_fields(kind.row)}
                        for row in given  # type: ignore[attr-defined]
                    ]
                else:
                    found = again.inputs[name]
                    assert found == given or f"{found} {getattr(kind, 'unit', '')}" == given
