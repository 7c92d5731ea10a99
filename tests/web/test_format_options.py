"""Options of a format work or are rejected, and no header of CSV depends on the data."""

from __future__ import annotations

import csv
import io
import json
from typing import Any

import pyarrow as pa
import pytest
from flask.testing import FlaskClient

from gramwatt.engine import registry
from gramwatt.engine.query_strings import find_example_query, fits_query
from gramwatt.model import AnyCalculator, Table

PACK = "/v1/pack-energy?cells=6&capacity=1300"
SWEEP = "/v1/pack-energy/sweep?cells=6&vary=capacity&from=1000&to=2000&count=3"
CALCULATORS = list(registry.load().values())
FLIGHT = {"log": {"time": [0, 1, 2], "voltage": [16, 15, 16], "current": [8, 9, 8]}, "cells": 4, "capacity": 850}


@pytest.mark.parametrize(
    ("url", "pointers"),
    [
        (f"{PACK}&decimal=,", {"/decimal"}),
        (f"{PACK}&header=off&decimal=,&format=json", {"/header", "/decimal"}),
        (f"{PACK}&working=true&format=csv", {"/working"}),
        (f"{PACK}&digits=13", {"/digits"}),
        (f"{PACK}&header=names&bogus=1", {"/header", "/bogus"}),
        (f"{SWEEP}&header=off", {"/header"}),
        (f"{SWEEP}&sep=tab&format=ndjson", {"/sep"}),
        (f"{SWEEP}&sep=;&format=tsv", {"/sep"}),
        (f"{SWEEP}&decimal=,&format=arrow", {"/decimal"}),
        (f"{SWEEP}&by=usable_energy", {"/by"}),
        (f"{SWEEP}&ascending=true&format=csv", {"/ascending"}),
    ],
)
def test_what_would_be_ignored_is_rejected(client: FlaskClient, url: str, pointers: set[str]) -> None:
    response = client.get(url)
    assert response.status_code == 422
    assert {error["pointer"] for error in response.get_json()["errors"]} == pointers


@pytest.mark.parametrize("option", ["digits=3", "header=off", "decimal=,", "working=true", "units=frame_count:1"])
def test_a_format_of_its_own_has_no_options(client: FlaskClient, option: str) -> None:
    response = client.post(f"/v1/overlay-cues?format=vtt&{option}", json=FLIGHT)
    assert response.status_code == 422
    assert response.get_json()["errors"][0]["pointer"] == f"/{option.partition('=')[0]}"


@pytest.mark.parametrize("url", [f"{PACK}&working=false", f"{PACK}&format=csv", SWEEP, f"{SWEEP}&format=arrow"])
def test_a_default_value_is_never_rejected(client: FlaskClient, url: str) -> None:
    assert client.get(f"{url}&header=units&digits=12&decimal=.").data == client.get(url).data


def test_the_decimal_sign_of_a_table_may_be_that_of_the_request_alone(client: FlaskClient) -> None:
    url = "/v1/pack-energy/batch?format=json&decimal=,"
    sent = client.post(url, data=b"cells;capacity\n6;1,3 Ah\n", content_type="text/csv")
    assert sent.get_json()[0]["usable_energy"] == 23.088
    rejected = client.post(url, json=[{"cells": 6, "capacity": 1300}])
    assert [error["pointer"] for error in rejected.get_json()["errors"]] == ["/decimal"]


@pytest.mark.parametrize("calculator", CALCULATORS, ids=lambda calculator: calculator.name)
def test_a_bare_table_has_the_digits_of_json(client: FlaskClient, calculator: AnyCalculator) -> None:
    query = find_example_query(calculator) if fits_query(calculator) else None
    tables = [name for name, kind in calculator.result_fields.items() if isinstance(kind, Table) and query]
    short = client.get(f"/v1/{calculator.name}?{query}&digits=3").get_json() if tables else {}
    for name in tables:
        url = f"/v1/{calculator.name}/{name}?{query}"
        assert json.loads(client.get(f"{url}&digits=3").text) == short["results"][name]
        assert client.get(f"{url}&decimal=,").status_code == 422


def test_the_digits_of_csv_are_those_of_results(client: FlaskClient) -> None:
    text = client.get("/v1/pack-energy?cells=12&capacity=1234.5&digits=1&format=csv&header=names").text
    (row,) = csv.DictReader(io.StringIO(text))
    assert (row["capacity"], row["total_cells"], row["nominal_voltage"]) == ("1234.5", "12", "40")


def read_header(client: FlaskClient, calculator: AnyCalculator, inputs: dict[str, Any]) -> str:
    response = client.post(f"/v1/{calculator.name}?format=csv", json=inputs)
    assert response.status_code == 200, response.text
    return response.text.partition("\r\n")[0]


@pytest.mark.parametrize("calculator", CALCULATORS, ids=lambda calculator: calculator.name)
def test_the_header_of_csv_depends_on_the_calculator_alone(client: FlaskClient, calculator: AnyCalculator) -> None:
    """Whether inputs are uncertain, results are missing, or tables have any rows."""
    assert len({read_header(client, calculator, dict(example.given)) for example in calculator.examples}) == 1


def test_the_header_of_csv_with_and_without_uncertainty(client: FlaskClient) -> None:
    calculator = registry.get("pack-energy")
    exact, uncertain = (
        read_header(client, calculator, {"cells": 6, "capacity": capacity}) for capacity in (1300, "1300 ± 13")
    )
    assert exact == uncertain
    assert "usable_energy [Wh],usable_energy_u [Wh],usable_energy_low [Wh],usable_energy_high [Wh]" in exact


ARROW = "application/vnd.apache.arrow.stream"


def make_stream(rows: int) -> bytes:
    sink = io.BytesIO()
    table = pa.table({"id": ["a"] * rows, "cells": [6] * rows, "capacity": [1300.0] * rows, "capacity_u": [1.0] * rows})
    schema = pa.schema(
        [("id", pa.string()), *((name, table.schema.field(name).type) for name in table.column_names[1:])]
    )
    with pa.ipc.new_stream(sink, schema) as writer:
        writer.write_table(table.cast(schema))
    return sink.getvalue()


@pytest.mark.parametrize(
    ("media", "empty", "full"),
    [
        ("text/csv", b"id,cells,capacity,capacity_u\n", b"id,cells,capacity,capacity_u\na,6,1300,1\n"),
        ("text/csv", b"id,cells,capacity,capacity_u\n\n\n", b"id,cells,capacity,capacity_u\n,,,\n"),
        ("text/csv", b"id,craft\n", b'id,craft\na,"{""cells"": 6, ""capacity"": 1300}"\n'),
        (ARROW, make_stream(0), make_stream(1)),
    ],
)
@pytest.mark.parametrize("form", ["csv", "arrow"])
def test_a_table_without_rows_has_the_same_header(
    client: FlaskClient, media: str, empty: bytes, full: bytes, form: str
) -> None:
    without, with_rows = (
        client.post(f"/v1/pack-energy/batch?format={form}", data=body, content_type=media).data
        for body in (empty, full)
    )
    if form == "csv":
        assert without == with_rows[: with_rows.index(b"\r\n") + 2]
        assert without.startswith(b"id,usable_energy [Wh],")
        return
    names = [pa.ipc.open_stream(body).read_all().schema.names for body in (without, with_rows)]
    assert names[0] == names[1]
