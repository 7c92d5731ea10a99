"""Wrong craft documents, and names of rows without one: every kind of body gets errors by row, never a failure."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Final

import pytest
from flask.testing import FlaskClient

from gramwatt.engine import registry

CRAFT: Final[dict[str, Any]] = json.loads(
    (Path(__file__).resolve().parents[2] / "examples/craft/craft.json").read_text("utf-8")
)
WRONG: Final[dict[str, dict[str, Any]]] = {
    "unknown member": {"craft": {"wibble": 1}},
    "text": {"craft": "{"},
    "list": {"craft": []},
    "rows that are no objects": {"craft": {"packs": [None], "parts": 3}},
    "misspelt pack": {"craft": CRAFT, "pack": "4 cell"},
    "pack that is a number": {"craft": CRAFT, "pack": 4},
    "pack without a craft": {"pack": "4 cells"},
}
FORMATS: Final = {"json": "application/json", "ndjson": "application/x-ndjson", "csv": "text/csv"}
CSV: Final = {"Content-Type": "text/csv", "Accept": "application/json"}
NEEDS_CRAFT: Final = "pack names a row of a craft: give the craft too"


def write_body(form: str, rows: list[dict[str, Any]]) -> str:
    if form == "json":
        return json.dumps(rows)
    if form == "ndjson":
        return "\n".join(map(json.dumps, rows))
    names = list(dict.fromkeys(name for row in rows for name in row))
    cells = [[_write_cell(row.get(name, "")) for name in names] for row in rows]
    return "\n".join(",".join(line) for line in [names, *cells]) + "\n"


def _write_cell(value: object) -> str:
    text = value if isinstance(value, str) else json.dumps(value)
    return '"' + text.replace('"', '""') + '"'


def post(client: FlaskClient, name: str, form: str, rows: list[dict[str, Any]]) -> Any:
    headers = {"Content-Type": FORMATS[form], "Accept": "application/json"}
    return client.post(f"/v1/{name}/batch", data=write_body(form, rows), headers=headers)


def get_row(name: str) -> dict[str, Any]:
    """Return an own input of a calculator, of which a row may consist beside its craft."""
    calculator = registry.get(name)
    plain = {each: value for each, value in calculator.examples[0].given.items() if isinstance(value, int | float)}
    return dict(list(plain.items())[:1])


@pytest.mark.parametrize("wrong", WRONG)
@pytest.mark.parametrize("form", FORMATS)
def test_a_table_of_wrong_crafts_gets_errors(client: FlaskClient, form: str, wrong: str) -> None:
    """With no valid row, where no formula may run; every calculator."""
    for name in registry.load():
        row = {**get_row(name), **WRONG[wrong]}
        response = post(client, name, form, [row, row])
        if (form, wrong) == ("csv", "pack without a craft"):  # one header for all rows, and it lacks inputs
            assert response.status_code == 422, (name, response.text)
            error = response.get_json()["errors"][0]
            assert (error["pointer"], error["detail"]) == ("/pack", NEEDS_CRAFT), name
            continue
        assert response.status_code == 200, (name, response.text)
        rows = response.get_json()
        assert len(rows) == 2
        assert all(each["error"]["errors"] for each in rows), (name, rows)


def test_valid_rows_beside_wrong_crafts_are_computed(client: FlaskClient) -> None:
    good = {"craft": CRAFT, "pack": "4 cells"}
    for name in registry.load():
        first, *wrong, last = post(client, name, "ndjson", [good, *WRONG.values(), good]).get_json()
        single = client.post(f"/v1/{name}", json=good).get_json()
        for row in (first, last):
            if "errors" in single:
                assert row["error"]["errors"] == single["errors"], name
            else:
                assert {result: row[result] for result in single["results"]} == single["results"], name
        assert [row["error"]["row"] for row in wrong] == list(range(2, len(WRONG) + 2))
        assert all(row["error"]["errors"] for row in wrong), name


@pytest.mark.parametrize("own", ["cells", "throttle_cap"])
def test_a_table_that_gives_some_inputs_beside_a_wrong_craft(client: FlaskClient, own: str) -> None:
    for name, calculator in registry.load().items():
        if own in calculator.input_fields:
            for wrong in WRONG.values():
                (row,) = post(client, name, "ndjson", [{own: 4, **wrong}]).get_json()
                assert row["error"]["errors"], name


def test_a_csv_row_without_its_craft(client: FlaskClient) -> None:
    table = f"craft,pack,masses\n{_write_cell(CRAFT)},4 cells,\n,4 cells,\n,,\n"
    rows = client.post("/v1/full-throttle/batch", data=table.replace(",masses", ",kv"), headers=CSV).get_json()
    assert "error" not in rows[0]
    assert rows[1]["error"]["errors"][0]["detail"] == NEEDS_CRAFT
    assert {error["pointer"] for error in rows[2]["error"]["errors"]} >= {"/cells", "/capacity"}


def test_a_pack_without_a_craft_says_that_it_needs_one(client: FlaskClient) -> None:
    responses = [
        client.get("/v1/pack-energy?cells=4&capacity=1300&pack=a"),
        client.post("/v1/pack-energy", json={"cells": 4, "capacity": 1300, "pack": "a"}),
        client.post("/v1/pack-energy/batch", data="cells,capacity,pack\n4,1300,a\n", headers=CSV),
        client.post("/v1/pack-energy/batch?pack=a", data="cells,capacity\n4,1300\n", headers=CSV),
        client.get("/v1/pack-energy/sweep?vary=cells&values=4,6&capacity=1300&pack=a"),
    ]
    for response in responses:
        (error,) = response.get_json()["errors"]
        assert (error["pointer"], error["detail"]) == ("/pack", NEEDS_CRAFT)
    (row,) = post(client, "pack-energy", "ndjson", [{"cells": 4, "capacity": 1300, "pack": "a"}]).get_json()
    assert row["error"]["errors"][0]["detail"] == NEEDS_CRAFT


def test_a_page_lists_the_cause_alone(client: FlaskClient) -> None:
    packs = [{**CRAFT["packs"][0], "name": name} for name in ("a", "a", "b")]
    query = {"craft": json.dumps({**CRAFT, "packs": packs}), "pack": "a"}
    page = client.get("/calculators/full-throttle", query_string=query, headers={"Accept": "text/html"}).text
    assert "2 rows of packs have the name" in page
    assert "is required" not in page


def test_a_page_rejects_too_many_fields_beside_a_craft(client: FlaskClient) -> None:
    answer = client.post(
        "/calculators/pack-energy", data={"craft": "{}", "base": "a=1&" * 6001}, headers={"Accept": "text/html"}
    )
    assert answer.status_code == 200
    assert "Too many fields" in answer.text
