"""The response as CSV (RFC 4180): a header line and one row, safe to open in a spreadsheet of any locale."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import dataclass
from statistics import NormalDist
from typing import Annotated, Any

import numpy as np
import pytest
from flask.testing import FlaskClient

from gramwatt.engine import registry
from gramwatt.engine.formats import OutputOptions, compute_output
from gramwatt.engine.serializers import TextStyle, format_value
from gramwatt.model import (
    Array,
    BarChart,
    Calculator,
    Caution,
    Choice,
    Example,
    IndexArray,
    Quantity,
    Reference,
    StringArray,
    Table,
    Text,
)

PACK = "/v1/pack-energy?cells=6&capacity=1300&format=csv"


def write_csv(calculator: Calculator[Any, Any], inputs: dict[str, object], header: str = "units") -> str:
    return b"".join(compute_output(calculator, inputs, OutputOptions("csv", style=TextStyle(header)))).decode()


def rows(text: str, delimiter: str = ",") -> list[list[str]]:
    assert text.endswith("\r\n")
    return list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))


@pytest.mark.parametrize(
    ("option", "capacity", "baggage", "present"),
    [
        pytest.param("", "capacity [mAh]", "baggage", "present", id="units-by-default"),
        pytest.param("&header=units", "capacity [mAh]", "baggage", "present", id="units"),
        pytest.param("&header=names", "capacity", "baggage", "present", id="names"),
        pytest.param("&header=off", "1300", "carry-on", "absent", id="off"),
    ],
)
def test_header(client: FlaskClient, option: str, capacity: str, baggage: str, present: str) -> None:
    answer = client.get(PACK + option)
    lines = rows(answer.text)
    assert answer.content_type == f"text/csv; charset=utf-8; header={present}"
    assert len(lines) == (2 if present == "present" else 1)
    assert capacity in lines[0]
    assert baggage in lines[0]


def test_a_row_holds_inputs_results_and_codes_of_cautions(client: FlaskClient) -> None:
    header, row = rows(client.get(f"{PACK}&header=names").text)
    cells = dict(zip(header, row, strict=True))
    assert cells["cells"] == "6"
    assert cells["reserve"] == "20"
    assert cells["pack_mass"] == ""
    assert cells["usable_energy"] == "23.088"
    assert cells["specific_energy"] == ""
    assert cells["cautions"].split() == ["needs-input", "lithium-fire", "charge-and-store", "ask-airline"]


def test_accept_and_format_give_the_same_table(client: FlaskClient) -> None:
    by_format = client.get(PACK)
    by_accept = client.get(PACK.replace("&format=csv", ""), headers={"Accept": "text/csv"})
    by_post = client.post("/v1/pack-energy?format=csv", json={"cells": 6, "capacity": 1300})
    assert by_format.data == by_accept.data == by_post.data
    assert by_format.data[:3] != b"\xef\xbb\xbf"


def test_a_decimal_comma_separates_by_semicolons(client: FlaskClient) -> None:
    header, row = rows(client.get(f"{PACK}&decimal=,&header=names").text, delimiter=";")
    assert row[header.index("usable_energy")] == "23,088"
    assert len(header) == len(row) > 10


def test_a_list_with_a_decimal_comma_stays_one_field(client: FlaskClient) -> None:
    url = "/v1/mass-margin?masses=118.5,96.2&mass_limit=250&format=csv&header=names&decimal=,"
    header, row = rows(client.get(url).text, delimiter=";")
    assert row[header.index("running_total_mass")] == "118,5;214,7"


def test_digits(client: FlaskClient) -> None:
    header, row = rows(client.get(f"{PACK}&digits=3&header=names").text)
    assert row[header.index("usable_energy")] == "23.1"


def test_a_converted_result_carries_its_unit_in_the_header(client: FlaskClient) -> None:
    header, row = rows(client.get(f"{PACK}&units=usable_energy:kJ").text)
    assert row[header.index("usable_energy [kJ]")] == "83.1168"


def test_an_uncertain_result_has_its_range_beside_it(client: FlaskClient) -> None:
    header, row = rows(client.get(PACK.replace("1300", "1300%20%C2%B1%2013%20mAh")).text)
    at = header.index("usable_energy [Wh]")
    assert header[at + 1 : at + 4] == ["usable_energy_u [Wh]", "usable_energy_low [Wh]", "usable_energy_high [Wh]"]
    assert float(row[at + 1]) == pytest.approx(0.23088, rel=1e-9)
    deviate = NormalDist().inv_cdf(0.975)
    ends = [23.088 - deviate * 0.23088, 23.088 + deviate * 0.23088]
    assert [float(cell) for cell in row[at + 2 : at + 4]] == pytest.approx(ends, rel=1e-4)
    assert not {"baggage_u", "baggage_low", "baggage_high"} & {*header}


def test_each_row_of_a_table_has_its_ranges(client: FlaskClient) -> None:
    given = dict(registry.load()["build"].examples[0].given)
    expected = client.post("/v1/build", json=given).get_json()["uncertainty"]["by_setup.endurance"]
    header, *lines = rows(client.post("/v1/build?format=csv", json=given).text)
    assert len(lines) > 1
    for part, name in (("standard", "u"), ("low", "low"), ("high", "high")):
        at = header.index(f"by_setup.endurance_{name} [min]")
        assert [float(line[at]) for line in lines] == expected[part]


def test_the_uncertainty_of_a_temperature_is_in_kelvin() -> None:
    """A difference of temperatures in degF or degC must not be read as a temperature."""
    header, row = rows(write_csv(ECHO, {"warmth": "20 ± 2 degC", "label": "a"}))
    assert row[header.index("doubled_u [K]")] == "4"
    deviate = NormalDist().inv_cdf(0.975)
    assert float(row[header.index("doubled_low [degC]")]) == pytest.approx(40 - 4 * deviate, abs=0.02)
    assert float(row[header.index("doubled_high [degC]")]) == pytest.approx(40 + 4 * deviate, abs=0.02)


@pytest.mark.parametrize("calculator", registry.load().values(), ids=lambda calculator: calculator.name)
def test_a_reader_gets_back_what_json_has(client: FlaskClient, calculator: Calculator[object, object]) -> None:
    for example in calculator.examples:
        made = client.post(f"/v1/{calculator.name}", json=dict(example.given)).get_json()
        table = client.post(f"/v1/{calculator.name}?format=csv&header=names", json=dict(example.given)).text
        header, *lines = rows(table)
        output = in_rows(calculator, made["results"])
        assert len(lines) == len(output)
        for line, expected in zip(lines, output, strict=True):
            cells = dict(zip(header, line, strict=True))
            assert len(cells) == len(header), "no name twice"
            for name, value in expected.items():
                nested = isinstance(value, list) and value and isinstance(value[0], dict)
                assert json.loads(cells[name]) == value if nested else cells[name] == format_value(value), name


def in_rows(calculator: Calculator[object, object], results: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the results as CSV shows them: a row for each row of the only table, other results in every row.

    A single table has its own columns; of several tables each as JSON in a cell.
    """
    tables = [(name, kind) for name, kind in calculator.result_fields.items() if isinstance(kind, Table)]
    if len(tables) != 1:
        return [results]
    name, kind = tables[0]
    if kind.standalone:
        return list(results[name])
    plain = {n: v for n, v in results.items() if n != name}
    return [{**plain, **{f"{name}.{column}": value for column, value in line.items()}} for line in results[name]]


def test_a_parts_list_is_one_field_of_json(client: FlaskClient) -> None:
    parts = [{"name": '=HYPERLINK("x")', "mass": 5.5, "count": 2}, {"name": "a;b,c", "mass": 3, "count": 1}]
    answer = client.post("/v1/mass-margin?format=csv&header=names", json={"parts": parts})
    header, row = rows(answer.text)
    cell = row[header.index("parts")]
    assert json.loads(cell) == parts
    assert cell.startswith("["), "no spreadsheet runs it"


# A calculator whose texts and choices begin with what a spreadsheet would run.


@dataclass(frozen=True, slots=True)
class Inputs:
    label: Annotated[StringArray, Text("Echoed.", default="none")]
    warmth: Annotated[Array, Quantity("degC", "Moves nothing but its double.", at_least=-100, at_most=100, default=-5)]


@dataclass(frozen=True, slots=True)
class Results:
    doubled: Annotated[Array, Quantity("degC", "Twice.", method="twice")]
    word: Annotated[IndexArray, Choice(("=1+1", "@sum"), "A word to be feared.", method="the first")]


def echoing(given: Inputs) -> Results:
    """Give twice the temperature in degC, and a word that begins with an equals sign."""
    return Results(doubled=(given.warmth - 273.15) * 2 + 273.15, word=np.zeros(given.warmth.shape, dtype=np.intp))


ECHO: Calculator[Inputs, Results] = Calculator(
    title="What is echoed?",
    summary="Echo.",
    inputs=Inputs,
    results=Results,
    formula=echoing,
    references=(Reference("by definition"),),
    cautions=(Caution("none", "Nothing to fear."),),
    examples=(Example("a", given={}, expected={"doubled": -10}, rtol=1e-9, source="by hand: 2 x -5"),),
    charts=(BarChart(("doubled",), title="Twice"),),
)


@pytest.mark.parametrize(
    ("label", "expected"),
    [
        pytest.param("=1+1", "'=1+1", id="equals"),
        pytest.param("+1", "'+1", id="plus"),
        pytest.param("-1", "'-1", id="minus-in-a-text"),
        pytest.param("@SUM(A1)", "'@SUM(A1)", id="at"),
        pytest.param("frame", "frame", id="harmless"),
        pytest.param('a "b", c', 'a "b", c', id="quotes-and-commas-kept"),
    ],
)
def test_no_text_becomes_a_formula_and_numbers_stay_numbers(label: str, expected: str) -> None:
    header, row = rows(write_csv(ECHO, {"label": label}, "names"))
    cells = dict(zip(header, row, strict=True))
    assert cells["label"] == expected
    assert cells["word"] == "'=1+1"
    assert cells["warmth"] == "-5"
    assert cells["doubled"] == "-10"
