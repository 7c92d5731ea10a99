"""Shapes that no shipped calculator has: flat inputs with a table among the results, and any_of in a query."""

from __future__ import annotations

import csv
import io
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from gramwatt.engine.calculate import calculate
from gramwatt.web import create_app
from gramwatt.web.openapi.document import build_document
from web.conftest import free_port
from web.invented import add_calculators, write_calculators

STAGES = "/v1/invented-stages"
CIRCLE = "/v1/invented-circle"
TABLE = [{"name": "bulk", "energy": 5.92}, {"name": "taper", "energy": 1.48}]
CONFIGURATION = Path(__file__).with_name("schemathesis.toml")


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FlaskClient]:
    """Return the application with the invented calculators beside the shipped ones."""
    folder = tmp_path_factory.mktemp("calculators")
    write_calculators(folder)
    with add_calculators(folder):
        yield create_app().test_client()


def test_a_table_among_the_results_is_a_json_array(client: FlaskClient) -> None:
    assert client.get(f"{STAGES}?cells=2&charge=1000").get_json()["results"] == {"energy": 7.4, "stages": TABLE}
    assert calculate("invented-stages", cells=2, charge=1000)["results"]["stages"] == TABLE


def test_a_table_as_a_bare_value_is_json(client: FlaskClient) -> None:
    response = client.get(f"{STAGES}/stages?cells=2&charge=1000")
    assert json.loads(response.text) == TABLE
    assert response.content_type == "text/plain; charset=utf-8"


@pytest.mark.parametrize("media_type", ["application/json", "application/x-ndjson"])
def test_a_batch_returns_the_table_as_an_array_in_each_row(client: FlaskClient, media_type: str) -> None:
    rows = [{"cells": 2, "charge": 1000}, {"cells": "two", "charge": 1000}]
    lines = json.dumps(rows) if media_type == "application/json" else "\n".join(map(json.dumps, rows))
    text = client.post(f"{STAGES}/batch", data=lines, content_type=media_type).text
    valid, invalid = json.loads(text) if media_type == "application/json" else map(json.loads, text.splitlines())
    assert (valid["energy"], valid["stages"]) == (7.4, TABLE)
    assert invalid["error"]["errors"][0]["pointer"] == "/cells"


def test_a_batch_in_csv_has_the_table_as_json_in_one_cell(client: FlaskClient) -> None:
    text = client.post(f"{STAGES}/batch", data="cells,charge\r\n2,1000\r\n", content_type="text/csv").text
    (row,) = csv.DictReader(io.StringIO(text))
    assert row["energy [Wh]"] == "7.4"
    assert json.loads(row["stages"]) == TABLE


def test_a_batch_in_arrow_has_the_table_as_json_text(client: FlaskClient) -> None:
    arrow = pytest.importorskip("pyarrow")
    url = f"{STAGES}/sweep?charge=1000&vary=cells&values=2,3&format=arrow"
    table = arrow.ipc.open_stream(client.get(url).data).read_all().to_pydict()
    assert table["energy"] == pytest.approx([7.4, 11.1], rel=1e-12)
    assert json.loads(table["stages"][0]) == TABLE


def test_a_sweep_has_the_table_at_each_point(client: FlaskClient) -> None:
    rows = client.get(f"{STAGES}/sweep?charge=1000&vary=cells&from=2&to=4&count=3").get_json()
    assert [row["energy"] for row in rows] == pytest.approx([7.4, 11.1, 14.8], rel=1e-12)
    assert rows[0]["stages"] == TABLE


def test_charts_show_the_declared_columns_and_a_sweep_of_the_headline(client: FlaskClient) -> None:
    declared = client.get(f"{STAGES}/chart?cells=2&charge=1000&format=txt").text
    assert "5.92 Wh" in declared
    assert "1.48 Wh" in declared
    swept = client.get(f"{STAGES}/chart?charge=1000&vary=cells&from=2&to=6&count=5&format=txt").text
    assert "7.4 Wh to 22.2 Wh" in swept


def test_the_page_shows_the_table(client: FlaskClient) -> None:
    page = client.get("/calculators/invented-stages?cells=2&charge=1000", headers={"Accept": "text/html"})
    assert page.status_code == 200
    assert all(text in page.text for text in ("5.92", "1.48", "taper"))


def test_the_reference_shows_the_table_and_the_group(client: FlaskClient) -> None:
    stages = client.get("/reference/invented-stages", headers={"Accept": "text/html"})
    assert stages.status_code == 200
    assert ">name</code>" in stages.text
    circle = client.get("/reference/invented-circle", headers={"Accept": "text/html"}).text
    assert "At least one of these is required: radius or diameter." in circle


def test_the_contract_requires_one_of_a_group_in_a_body(client: FlaskClient) -> None:
    """Or a craft document, which may give any input; a query cannot say so."""
    contract = build_document()
    operations = contract["paths"][CIRCLE]
    body = contract["components"]["schemas"]["InventedCircleRequest"]
    assert [each["required"] for each in body["allOf"][1]["anyOf"]] == [["radius"], ["diameter"], ["craft"]]
    references = [each["$ref"] for each in operations["get"]["parameters"]]
    assert references[:2] == ["#/components/parameters/radius", "#/components/parameters/invented_circle_diameter"]
    assert client.get(CIRCLE).status_code == 422
    assert client.get(f"{CIRCLE}?radius=10").status_code == client.get(f"{CIRCLE}?diameter=10").status_code == 200


SERVE = """
import json, sys
import waitress
from pathlib import Path
from web.invented import add_calculators
from gramwatt.web import create_app
from gramwatt.web.openapi import files
from gramwatt.web.openapi.document import build_document

with add_calculators(Path(sys.argv[1])):
    contract = json.dumps(build_document()).encode()
    files.read_json = lambda: contract
    waitress.serve(create_app(), host="127.0.0.1", port=int(sys.argv[2]))
"""

SEARCH = """
import runpy, sys
from pathlib import Path
from web.invented import add_calculators

with add_calculators(Path(sys.argv.pop(1))):
    runpy.run_module("schemathesis.cli", run_name="__main__", alter_sys=True)
"""
"""The hooks that repair requests must know the calculators too."""


@pytest.mark.heavy
def test_schemathesis_finds_nothing_in_any_of_by_query(tmp_path: Path) -> None:
    write_calculators(tmp_path)
    port = free_port()
    environment: dict[str, Any] = {**os.environ, "PYTHONPATH": os.pathsep.join([*sys.path])}
    service = subprocess.Popen([sys.executable, "-c", SERVE, str(tmp_path), str(port)], env=environment)
    command = ["--config-file", str(CONFIGURATION), "run", f"http://127.0.0.1:{port}/openapi.json"]
    command += ["--wait-for-schema=60", "--include-path-regex", f"^{CIRCLE}"]
    try:
        search = subprocess.run(
            [sys.executable, "-c", SEARCH, str(tmp_path), *command],
            cwd=tmp_path,
            env=environment,
            capture_output=True,
            text=True,
            check=False,
        )
    finally:
        service.kill()
        service.wait()
    assert "No issues found" in search.stdout, search.stdout
