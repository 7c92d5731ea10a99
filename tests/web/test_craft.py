"""Craft documents in tables and sweeps: each row gets what the same single request gets."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any, Final

import pytest
from flask.testing import FlaskClient

from gramwatt import calculate

CRAFT: Final[dict[str, Any]] = json.loads(
    (Path(__file__).resolve().parents[2] / "examples/craft/craft.json").read_text("utf-8")
)
TEXT: Final = json.dumps(CRAFT)
CSV: Final = {"Content-Type": "text/csv", "Accept": "application/json"}
NDJSON: Final = {"Content-Type": "application/x-ndjson", "Accept": "application/json"}


def batch(client: FlaskClient, name: str, data: str, headers: dict[str, str], **query: str) -> list[dict[str, Any]]:
    response = client.post(f"/v1/{name}/batch", data=data, headers=headers, query_string=query)
    assert response.status_code == 200, response.text
    rows: list[dict[str, Any]] = response.get_json()
    return rows


def assert_same(row: dict[str, Any], name: str, **inputs: Any) -> None:
    """Compare the results; a row is drawn less often, so their ranges differ."""
    assert "error" not in row
    results = calculate(name, **inputs)["results"]
    assert {result: row[result] for result in results} == results


def test_one_craft_serves_a_table_that_varies_inputs_and_packs(client: FlaskClient) -> None:
    """An empty cell takes what the craft has; a unit in the header belongs to the cells of the table alone."""
    table = "name,pack,kv,mass [kg]\na,4 cells,1900,0.5\nb,,,\nc,6 cells large,2000,\nd,5 cells,,\n"
    rows = batch(client, "full-throttle", table, CSV, craft=TEXT)
    assert_same(rows[0], "full-throttle", craft=CRAFT, pack="4 cells", kv=1900, mass=500)
    assert_same(rows[1], "full-throttle", craft=CRAFT)
    assert_same(rows[2], "full-throttle", craft=CRAFT, pack="6 cells large", kv=2000)
    (error,) = rows[3]["error"]["errors"]
    assert error["pointer"] == "/pack"
    assert error["accepted"] == "6 cells, 4 cells, 6 cells large or 6 cells light"


def test_a_column_voids_inputs_of_the_craft_only_where_it_has_a_cell(client: FlaskClient) -> None:
    rows = batch(client, "endurance", "mean_power,pack_resistance\n200,80\n200,\n", CSV, craft=TEXT)
    assert_same(rows[0], "endurance", craft=CRAFT, mean_power=200, pack_resistance=80)
    assert_same(rows[1], "endurance", craft=CRAFT, mean_power=200)
    assert rows[0]["endurance"] != rows[1]["endurance"]


@pytest.mark.parametrize("name", ["full-throttle", "mass-margin", "build"])
def test_each_row_may_have_a_craft(client: FlaskClient, name: str) -> None:
    heavier = {**CRAFT, "parts": [*CRAFT["parts"], {"name": "camera", "mass": 40}]}
    requests: list[dict[str, Any]] = [
        {"craft": CRAFT, "pack": "4 cells"},
        {"craft": heavier, "propeller": "two blades"},
        {"craft": {**CRAFT, "scale_resolution": "coarse", "packs": 3}},
    ]
    rows = batch(client, name, "\n".join(map(json.dumps, requests)), NDJSON)
    assert_same(rows[0], name, **requests[0])
    assert_same(rows[1], name, **requests[1])
    assert "/craft/packs" in {error["pointer"] for error in rows[2]["error"]["errors"]}


def test_a_craft_in_the_query_serves_a_calculator_of_tables(client: FlaskClient) -> None:
    rows = batch(client, "build", "kv,pack\n1900,4 cells\n2000,\n", CSV, craft=TEXT)
    assert_same(rows[0], "build", craft=CRAFT, kv=1900, pack="4 cells")
    assert_same(rows[1], "build", craft=CRAFT, kv=2000)


def test_a_name_in_the_table_is_a_label_without_a_craft(client: FlaskClient) -> None:
    rows = batch(client, "pack-energy", "pack,cells,capacity\nmine,6,1300\n", CSV, keep="pack")
    assert rows[0]["pack"] == "mine"
    response = client.post("/v1/pack-energy/batch", data="pack,cells,capacity\nmine,6,1300\n", headers=CSV)
    assert response.status_code == 422


def test_errors_of_a_craft_for_all_rows_come_at_once(client: FlaskClient) -> None:
    broken = json.dumps({**CRAFT, "packs": [{"cells": 99}], "kw": 1})
    response = client.post("/v1/full-throttle/batch", data="kv\n1900\n", headers=CSV, query_string={"craft": broken})
    assert response.status_code == 422
    assert {"/craft/packs/0/cells", "/craft/kw"} <= {error["pointer"] for error in response.get_json()["errors"]}
    unreadable = client.get("/v1/full-throttle", query_string={"craft": "{"})
    assert "not valid JSON" in unreadable.get_json()["detail"]


@pytest.mark.parametrize("post", [False, True])
def test_a_sweep_varies_an_input_of_a_craft(client: FlaskClient, post: bool) -> None:
    """Also one that takes part in the mass: four propellers of 4.1 g more for each four motors."""
    if post:
        body = {"given": {"craft": CRAFT, "pack": "4 cells"}, "vary": {"motors": {"values": [4, 8]}}}
        response = client.post("/v1/full-throttle/sweep", json=body)
    else:
        query = {"craft": TEXT, "pack": "4 cells", "vary": "motors", "values": "4,8"}
        response = client.get("/v1/full-throttle/sweep", query_string=query)
    rows = response.get_json()
    assert_same(rows[0], "full-throttle", craft=CRAFT, pack="4 cells", motors=4)
    assert_same(rows[1], "full-throttle", craft=CRAFT, pack="4 cells", motors=8)


def test_a_bare_value_and_charts_take_a_craft(client: FlaskClient) -> None:
    query = {"craft": TEXT, "pack": "4 cells"}
    results = calculate("full-throttle", craft=CRAFT, pack="4 cells")["results"]
    assert client.get("/v1/full-throttle/thrust", query_string=query).text == str(results["thrust"])
    drawn = client.get("/v1/full-throttle/chart", query_string={**query, "format": "txt"})
    assert f"to {results['thrust']:.4g} gf" in drawn.text
    sweep = {**query, "format": "txt", "vary": "kv", "from": "1800", "to": "2000", "count": "3"}
    swept = client.get("/v1/full-throttle/chart", query_string=sweep)
    assert swept.status_code == 200
    posted = client.post("/v1/build/chart?format=txt", json={"craft": CRAFT, "pack": "4 cells"})
    assert posted.text.index("4 cells") < posted.text.index("6 cells large")


def test_csv_rows_come_in_the_same_order(client: FlaskClient) -> None:
    packs = [row["name"] for row in CRAFT["packs"]]
    data = "name,pack\n" + "".join(f"{name},{name}\n" for name in packs)
    text = client.post(
        "/v1/pack-energy/batch",
        data=data,
        headers={"Content-Type": "text/csv"},
        query_string={"craft": TEXT, "header": "names"},
    ).text
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [row["name"] for row in rows] == packs
    energy = [calculate("pack-energy", craft=CRAFT, pack=name)["results"]["nominal_energy"] for name in packs]
    assert [float(row["nominal_energy"]) for row in rows] == energy


def test_constants_of_the_query_are_text_beside_json_rows(client: FlaskClient) -> None:
    """A whole number of a query is text, which takes part in the mass that a craft adds up."""
    rows = batch(client, "full-throttle", '{"kv": 1900}', NDJSON, craft=TEXT, pack="4 cells", motors="8")
    assert_same(rows[0], "full-throttle", craft=CRAFT, pack="4 cells", kv=1900, motors=8)


def test_a_value_of_a_craft_is_json_in_a_table_of_text(client: FlaskClient) -> None:
    wrong = {**CRAFT, "kv": "1900"}
    single = client.post("/v1/full-throttle", json={"craft": wrong}).get_json()["errors"]
    quoted = json.dumps(wrong).replace('"', '""')
    for columns, cells in (("craft", f'"{quoted}"'), ("kv,craft", f',"{quoted}"')):
        rows = batch(client, "full-throttle", f"{columns}\n{cells}\n{cells}\n", CSV)
        assert [row["error"]["errors"] for row in rows] == [single, single]


def test_a_row_does_not_depend_on_its_neighbours(client: FlaskClient) -> None:
    """A column that passes through keeps doing so beside a row with a craft, which chooses a pack by that name."""
    plain = {"cells": 4, "capacity": 1300, "pack": "mine"}
    alone = batch(client, "pack-energy", json.dumps(plain), NDJSON, keep="pack")
    body = "\n".join(map(json.dumps, [plain, {"craft": CRAFT, "pack": "4 cells"}, plain]))
    rows = batch(client, "pack-energy", body, NDJSON, keep="pack")
    assert rows[0] == rows[2] == alone[0]
    assert rows[0]["pack"] == "mine"
    assert_same(rows[1], "pack-energy", craft=CRAFT, pack="4 cells")
    unnamed = batch(client, "pack-energy", body, NDJSON)
    assert [row.get("error", {}).get("row") for row in unnamed] == [1, None, 3]


def test_what_rows_give_themselves_is_not_checked_in_the_craft(client: FlaskClient) -> None:
    text = json.dumps({**CRAFT, "throttle_cap": "wrong"})
    query = {"craft": text, "vary": "throttle_cap", "values": "60,80"}
    swept = client.get("/v1/full-throttle/sweep", query_string=query)
    assert swept.status_code == 200, swept.text
    rows = batch(client, "full-throttle", "throttle_cap\n60\n80\n", CSV, craft=text)
    json_rows = batch(client, "full-throttle", '{"throttle_cap": 60}\n{"throttle_cap": 80}\n{}', NDJSON, craft=text)
    for at, cap in enumerate((60, 80)):
        for row in (rows[at], json_rows[at], swept.get_json()[at]):
            assert_same(row, "full-throttle", craft=CRAFT, throttle_cap=cap)
    assert json_rows[2]["error"]["errors"][0]["pointer"] == "/craft/throttle_cap"
    drawn = client.get("/v1/full-throttle/chart", query_string={**query, "format": "txt"})
    assert drawn.status_code == 200, drawn.text
    unused = client.post("/v1/full-throttle/batch", data="kv\n1900\n", headers=CSV, query_string={"craft": text})
    assert [error["pointer"] for error in unused.get_json()["errors"]] == ["/craft/throttle_cap"]
    for headers, data in ((CSV, "kv\n1900\n"), (NDJSON, '{"kv": 1900}')):
        broken = client.post("/v1/full-throttle/batch", data=data, headers=headers, query_string={"craft": "{"})
        assert broken.status_code == 422
        assert [error["pointer"] for error in broken.get_json()["errors"]] == ["/craft"]


def test_what_adds_up_from_a_varied_input_is_checked_at_each_point(client: FlaskClient) -> None:
    """Without a mass of its own the craft cannot be checked before the points are known."""
    light = {**CRAFT, "parts": [{"name": "frame", "mass": 40}]}
    body = {"given": {"craft": light, "pack": "4 cells"}, "vary": {"motors": {"values": [4, 8]}}}
    rows = client.post("/v1/full-throttle/sweep", json=body).get_json()
    for row, motors in zip(rows, (4, 8), strict=True):
        assert_same(row, "full-throttle", craft=light, pack="4 cells", motors=motors)
        assert row["thrust_u"] > 0


@pytest.mark.parametrize("headers", [CSV, NDJSON], ids=["csv", "ndjson"])
def test_a_row_may_give_the_uncertainty_of_what_a_craft_gives(client: FlaskClient, headers: dict[str, str]) -> None:
    """10 of 1300 mAh: the energy has the same relative uncertainty. Where a craft has no capacity it is an error."""
    text = json.dumps({"cells": 4, "capacity": 1300})
    is_csv = headers is CSV
    [row] = batch(client, "pack-energy", "capacity_u\n10\n" if is_csv else '{"capacity_u": 10}', headers, craft=text)
    assert row["usable_energy_u"] == pytest.approx(row["usable_energy"] * 10 / 1300, rel=5e-12)
    documents = [text, '{"cells": 4}']
    if is_csv:
        quoted = ['"' + each.replace('"', '""') + '"' for each in documents]
        data = "craft,capacity_u\n" + "".join(f"{each},10\n" for each in quoted)
    else:
        data = "".join(f'{{"craft": {each}, "capacity_u": 10}}\n' for each in documents)
    good, bad = batch(client, "pack-energy", data, headers)
    assert good["usable_energy_u"] == row["usable_energy_u"]
    assert [error["pointer"] for error in bad["error"]["errors"]] == ["/capacity_u", "/capacity"]
