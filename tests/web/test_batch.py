"""Tables of requests over HTTP: formats in and out, what passes through, options, and what is refused as a whole."""

from __future__ import annotations

import csv
import json
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from engine.tables.table_helpers import FORMATS, bare_header, decode_rows, encode_rows
from gramwatt.engine.wire_formats import FORMATS as MEDIA

BATCH = "/v1/pack-energy/batch"
CSV = "cells,capacity\n6,1300\n"
REQUESTS: list[dict[str, object]] = [
    {"id": "007", "cells": 6, "capacity": "1300 mAh", "chemistry": "lipo"},
    {"id": "b", "cells": 4, "capacity": "1.5 Ah", "chemistry": "li-ion"},
    {"id": "c", "cells": 12, "capacity": "0.85 Ah", "chemistry": "lihv"},
]
Row = dict[str, Any]


def post(client: FlaskClient, body: bytes | str, sent: str = "csv", query: str = "", **headers: str) -> TestResponse:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return client.post(BATCH + query, data=body, content_type=MEDIA.get(sent, sent), headers=named)


def rows(answer: TestResponse, form: str = "csv", separator: str | None = None) -> list[Row]:
    assert answer.status_code == 200, answer.text
    assert answer.content_type.partition(";")[0] == MEDIA[form]
    return decode_rows(answer.data, form, separator=separator)


def errors(answer: TestResponse, status: int, kind: str) -> list[dict[str, Any]]:
    assert answer.status_code == status, answer.text
    assert answer.content_type == "application/problem+json"
    made = answer.json
    assert made is not None
    assert made["type"] == f"http://localhost/problems/{kind}"
    assert made["detail"]
    return list(made.get("errors", ()))


@pytest.mark.parametrize("sent", FORMATS)
@pytest.mark.parametrize("wanted", FORMATS)
def test_rows_are_the_single_answers(client: FlaskClient, sent: str, wanted: str) -> None:
    """In every pair of formats; by format= and by Accept the very same bytes."""
    body = encode_rows(REQUESTS, sent)
    answer = post(client, body, sent, f"?format={wanted}&{bare_header(wanted)}")
    assert post(client, body, sent, f"?{bare_header(wanted)}", Accept=MEDIA[wanted]).data == answer.data
    made = rows(answer, wanted)
    assert len(made) == len(REQUESTS)
    for row, inputs in zip(made, REQUESTS, strict=True):
        alone = client.post("/v1/pack-energy", json={name: v for name, v in inputs.items() if name != "id"}).json
        assert alone is not None
        assert not row.get("error")
        for name, expected in alone["results"].items():
            close = isinstance(expected, float) and wanted == "arrow"
            assert row[name] == (pytest.approx(expected, rel=1e-11) if close else expected), name


@pytest.mark.parametrize("sent", FORMATS)
def test_the_answer_is_in_the_format_of_the_body(client: FlaskClient, sent: str) -> None:
    answer = post(client, encode_rows(REQUESTS, sent), sent)
    assert len(rows(answer, sent)) == 3
    assert answer.headers["Standing-Cautions"].split(", ") == ["lithium-fire", "charge-and-store", "ask-airline"]
    assert answer.headers["Cache-Control"] == "no-store"
    assert answer.headers["Access-Control-Allow-Origin"] == "*"
    assert post(client, encode_rows(REQUESTS, sent), sent, Accept="*/*").data == answer.data


@pytest.mark.parametrize(
    ("media", "form"),
    [
        pytest.param("application/ndjson", "ndjson", id="ndjson"),
        pytest.param("application/jsonl", "ndjson", id="jsonl"),
        pytest.param("application/csv", "csv", id="csv"),
        pytest.param('text/csv; charset="UTF-8"; header=present', "csv", id="parameters"),
        pytest.param("TEXT/CSV", "csv", id="upper-case"),
    ],
)
def test_other_names_of_the_formats(client: FlaskClient, media: str, form: str) -> None:
    assert len(rows(post(client, encode_rows(REQUESTS, form), media), form)) == 3


@pytest.mark.parametrize(
    ("body", "sent", "headers", "status", "kind"),
    [
        pytest.param(CSV, "csv", {"Accept": "image/png"}, 406, "not-acceptable", id="accept"),
        pytest.param(CSV, "text/plain", {}, 415, "unsupported-media-type", id="media-type"),
        pytest.param(CSV, "", {}, 415, "unsupported-media-type", id="no-media-type"),
        pytest.param(CSV, "csv", {"Content_Encoding": "gzip"}, 415, "unsupported-media-type", id="compressed"),
        pytest.param(CSV, "text/csv; charset=latin-1", {}, 415, "unsupported-media-type", id="charset"),
        pytest.param("", "csv", {}, 400, "malformed-request", id="empty-csv"),
        pytest.param("\r\n \n", "csv", {}, 400, "malformed-request", id="blank-csv"),
        pytest.param(CSV.encode("utf-16"), "csv", {}, 400, "malformed-request", id="utf-16"),
        pytest.param('{"cells": 6}', "json", {}, 400, "malformed-request", id="object-for-an-array"),
        pytest.param("", "json", {}, 400, "malformed-request", id="empty-json"),
        pytest.param("xx", "arrow", {}, 400, "malformed-request", id="no-arrow"),
        pytest.param("", "arrow", {}, 400, "malformed-request", id="empty-arrow"),
    ],
)
def test_what_is_rejected_as_a_whole(
    client: FlaskClient, body: str | bytes, sent: str, headers: dict[str, str], status: int, kind: str
) -> None:
    assert errors(post(client, body, sent, **headers), status, kind) == []


def test_an_unknown_calculator_is_not_found(client: FlaskClient) -> None:
    errors(client.post("/v1/pack-energie/batch", data=CSV, content_type="text/csv"), 404, "unknown-calculator")


def test_a_length_over_the_limit_is_rejected_unread(client: FlaskClient, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GRAMWATT_LARGEST_TABLE", str(len(CSV)))
    assert len(rows(post(client, CSV))) == 1
    assert errors(post(client, CSV + " "), 413, "too-large") == []


@pytest.mark.parametrize(
    ("header", "query", "pointer", "text"),
    [
        pytest.param("cels,cells,capacity", "", "/cels", "did you mean cells?", id="near-match"),
        pytest.param("drone,cells,capacity", "", "/drone", "keep=drone", id="the-remedy"),
        pytest.param("drone,cells,capacity", "?keep=craft", "/drone", "is not an input", id="another-is-kept"),
        pytest.param("cells,capacity,capacity [Ah]", "", "/capacity", "column 3", id="twice"),
        pytest.param("cells,capacity [kg]", "", "/capacity", "mAh, Ah, As", id="unit"),
        pytest.param("cells [g],capacity", "", "/cells", "no unit", id="unit-of-a-count"),
        pytest.param("cells,capacity", "?cells=6", "/cells", "in the query and in the table", id="query-and-table"),
        pytest.param("cells", "", "/capacity", "required", id="missing"),
        pytest.param("cells,capacity,usable_energy", "", "/usable_energy", "rename it", id="a-result"),
        pytest.param("cells,capacity,error", "?keep=*", "/error", "rename it", id="error"),
        pytest.param("a/b~c,cells,capacity", "", "/a~1b~0c", "keep=*", id="escaped-pointer"),
        pytest.param("cells,capacity", "?nope=1", "/nope", "Unknown input", id="query-unknown"),
        pytest.param("cells", "?capacity=x", "/capacity", "number", id="query-value"),
        pytest.param("cells,capacity", "?units=usable_energy:kg", "/units", "kg", id="units"),
        pytest.param("cells,capacity", "?digits=99", "/digits", "12", id="digits"),
        pytest.param("cells,capacity", "?format=xml", "/format", "arrow", id="format"),
    ],
)
def test_a_error_of_the_header_is_reported_before_any_row(
    client: FlaskClient, header: str, query: str, pointer: str, text: str
) -> None:
    (error,) = errors(post(client, f"{header}\n1,2,3\n", query=query), 422, "invalid-input")
    assert error["pointer"] == pointer
    assert text in f"{error['detail']} {error['accepted']}"


def test_all_errors_of_a_header_are_reported_at_once(client: FlaskClient) -> None:
    output = errors(post(client, "cels,total_cells,reserve [x]\n"), 422, "invalid-input")
    assert {error["pointer"] for error in output} == {"/cels", "/total_cells", "/reserve", "/cells", "/capacity"}


@pytest.mark.parametrize("sent", FORMATS)
def test_labels_and_preserved_columns_pass_through_untouched(client: FlaskClient, sent: str) -> None:
    labels = {"id": "007", "name": "1e3", "note": "=a1, \"b\"; 'c' ü", "drone": " x "}
    answer = post(
        client, encode_rows([{**labels, "cells": 6, "capacity": 1300}], sent), sent, "?keep=drone&format=ndjson"
    )
    assert {name: json.loads(answer.data)[name] for name in labels} == labels
    assert list(json.loads(answer.data))[:4] == list(labels)


@pytest.mark.parametrize(
    "value",
    [
        pytest.param("007", id="leading-zeros"),
        pytest.param("1e3", id="exponent"),
        pytest.param("-5", id="negative"),
        pytest.param("", id="empty"),
        pytest.param("a,b", id="separator"),
    ],
)
def test_a_preserved_cell_of_csv_comes_back_as_it_was(client: FlaskClient, value: str) -> None:
    cell = f'"{value}"' if "," in value else value
    answer = post(client, f"id,x,cells,capacity\n{cell},{cell},6,1300\n", query="?keep=*")
    assert list(csv.reader(answer.text.splitlines()))[1][:3] == [value, value, "23.088"]


@pytest.mark.parametrize(
    "value",
    [
        pytest.param("=1+1", id="equals"),
        pytest.param("+x", id="plus"),
        pytest.param("-x", id="minus"),
        pytest.param("@SUM(A1)", id="at"),
    ],
)
def test_what_a_spreadsheet_would_run_is_guarded(client: FlaskClient, value: str) -> None:
    answer = post(client, f"note,cells,capacity\n{value},6,1300\n")
    assert answer.text.split("\r\n")[1].startswith(f"'{value},23.088,")
    as_json = post(client, f"note,cells,capacity\n{value},6,1300\n", query="?format=json")
    assert rows(as_json, "json")[0]["note"] == value


@pytest.mark.parametrize(
    ("body", "sent", "expected"),
    [
        pytest.param("cells,capacity", "csv", [], id="header-alone"),
        pytest.param("cells,capacity\r\n\r\n", "csv", [], id="header-and-blank-line"),
        pytest.param("\ufeffcells,capacity\n6,1300\n", "csv", [23.088], id="byte-order-mark"),
        pytest.param("cells,capacity\r\n6,1300\r\n4,1300\r\n", "csv", [23.088, 15.392], id="crlf"),
        pytest.param("cells,capacity\n6,1300", "csv", [23.088], id="no-last-line-end"),
        pytest.param('"cells","capacity"\n"6","1300"\n', "csv", [23.088], id="quotes"),
        pytest.param("cells,capacity [Ah]\n6,1.3\n", "csv", [23.088], id="unit-in-the-header"),
        pytest.param("cells;capacity (Ah)\n6;1.3\n", "csv", [23.088], id="unit-in-parentheses"),
        pytest.param("cells;capacity\n6;1300\n", "csv", [23.088], id="semicolons-seen"),
        pytest.param("[]", "json", [], id="no-objects"),
        pytest.param('\ufeff[{"cells":6,"capacity":1300}]', "json", [23.088], id="json-byte-order-mark"),
        pytest.param('\ufeff{"cells":6,"capacity":1300}\n', "ndjson", [23.088], id="ndjson-byte-order-mark"),
        pytest.param("", "ndjson", [], id="no-lines"),
    ],
)
def test_small_tables(client: FlaskClient, body: str, sent: str, expected: list[float]) -> None:
    answer = post(client, body, sent, f"?{bare_header(sent)}")
    assert [row["usable_energy"] for row in rows(answer, sent)] == expected
    if sent == "csv":
        assert answer.text.startswith("usable_energy,nominal_energy,")


def test_inputs_of_the_query_hold_for_every_row(client: FlaskClient) -> None:
    made = rows(post(client, "cells\n6\n4\n", query="?capacity=1.3+Ah&reserve=50&header=names"))
    assert [row["usable_energy"] for row in made] == [14.43, 9.62]


@pytest.mark.parametrize(
    ("query", "header", "row"),
    [
        pytest.param(
            "?units=usable_energy:kJ", "usable_energy [kJ],nominal_energy [Wh],", "83.1168,28.86,", id="units"
        ),
        pytest.param("?digits=3", "usable_energy [Wh],", "23.1,28.9,22.2,", id="digits"),
        pytest.param("?header=names", "usable_energy,", "23.088,", id="names"),
        pytest.param("?sep=tab", "usable_energy [Wh]\t", "23.088\t", id="tabs"),
        pytest.param("?sep=;", "usable_energy [Wh];", "23.088;", id="semicolons"),
        pytest.param(
            "?given=true", "cells,capacity [mAh],parallel_cells,", "6,1300.0,1,lipo,20.0,,23.088,", id="given"
        ),
        pytest.param(
            "?uncertainty=true",
            "usable_energy [Wh],usable_energy_u [Wh],usable_energy_low [Wh],usable_energy_high [Wh],",
            "23.088,0.0,23.088,23.088,",
            id="uncertainty",
        ),
    ],
)
def test_options_of_csv(client: FlaskClient, query: str, header: str, row: str) -> None:
    answer = post(client, CSV, query=query)
    assert answer.content_type == "text/csv; charset=utf-8; header=present"
    first, second, end = answer.text.split("\r\n")
    assert (first[: len(header)], second[: len(row)], end) == (header, row, "")


def test_no_header_is_reported_so(client: FlaskClient) -> None:
    answer = post(client, CSV, query="?header=off")
    assert answer.content_type == "text/csv; charset=utf-8; header=absent"
    assert answer.text.startswith("23.088,")


def test_a_decimal_comma_both_ways(client: FlaskClient) -> None:
    answer = post(client, "cells;capacity [Ah];reserve\n6;1,3;20\n6;1,3 Ah;12,5\n", query="?decimal=,&header=names")
    assert [line.split(";")[0] for line in answer.text.split("\r\n")] == ["usable_energy", "23,088", "25,2525", ""]


@pytest.mark.parametrize(
    ("body", "sent", "query"),
    [
        pytest.param("cells,capacity,capacity_u\n6,1300,10\n", "csv", "", id="column"),
        pytest.param("cells,capacity,capacity_u [Ah]\n6,1300,0.01\n", "csv", "", id="column-with-unit"),
        pytest.param('[{"cells":6,"capacity":1300,"capacity_u":10}]', "json", "", id="json"),
        pytest.param("cells,capacity\n6,1300±10\n", "csv", "?uncertainty=true", id="option"),
        pytest.param("cells\n6\n", "csv", "?capacity=1300±10", id="query"),
    ],
)
def test_uncertainty(client: FlaskClient, body: str, sent: str, query: str) -> None:
    answer = post(client, body, sent, f"{query or '?'}&{bare_header(sent)}")
    (row,) = rows(answer, sent)
    assert (row["usable_energy_u"], row["cell_capacity_u"]) == (0.1776, 10)


@pytest.mark.parametrize(
    ("body", "sent"),
    [
        pytest.param("cells,capacity,capacity_u\n6,1300±30,40\n6,1300±30,\n6,1300,40\n", "csv", id="csv"),
        pytest.param(
            '[{"cells":6,"capacity":"1300 ± 30 mAh","capacity_u":40},{"cells":6,"capacity":"1300 ± 30 mAh"},'
            '{"cells":6,"capacity":1300,"capacity_u":40}]',
            "json",
            id="json",
        ),
    ],
)
def test_an_uncertainty_in_the_cell_and_in_its_column_are_independent(
    client: FlaskClient, body: str, sent: str
) -> None:
    """JCGM 100, 5.1.2: two independent causes add in squares, 30 and 40 to 50 mAh; each alone stays as it is."""
    made = rows(post(client, body, sent, f"?{bare_header(sent)}&uncertainty=true"), sent)
    assert [row["cell_capacity_u"] for row in made] == pytest.approx([50, 30, 40], rel=1e-12)


def test_an_uncertainty_that_nobody_requested_for_is_rejected_in_its_row(client: FlaskClient) -> None:
    bad, good = rows(post(client, "cells,capacity\n6,1300±10\n6,1300\n", query="?header=names"))
    assert bad["error"].startswith("row 1: capacity: ")
    assert "uncertainty=true" in bad["error"]
    assert (good["usable_energy"], good["error"]) == (23.088, None)
    assert "usable_energy_u" not in good


def test_a_table_without_any_input_is_rejected(client: FlaskClient) -> None:
    """Even of a calculator that can do without: anyone who sends it means something else."""
    answer = client.post("/v1/air-density/batch", data="name\none\n", content_type="text/csv")
    assert answer.status_code == 422
    assert answer.get_json()["errors"][0]["detail"] == "no column is an input"
    answer = client.post("/v1/air-density/batch?elevation=100", data="name\none\n", content_type="text/csv")
    assert answer.status_code == 200


def test_an_uncertainty_without_its_input_is_rejected(client: FlaskClient) -> None:
    """Of a whole column in its header; of single rows in their error."""
    sent = client.post(BATCH, data="cells,capacity,pack_mass_u\n6,1300,2\n", content_type="text/csv")
    (error,) = sent.get_json()["errors"]
    assert (sent.status_code, error["pointer"]) == (422, "/pack_mass_u")
    rows = client.post(BATCH, json=[{"cells": 6, "capacity": 1300, "pack_mass": 200, "pack_mass_u": 2},
                                  {"cells": 6, "capacity": 1300, "pack_mass_u": 2},
                                  {"cells": 6, "capacity": 1300}]).get_json()  # fmt: skip
    assert rows[2]["usable_energy"] == 23.088
    assert rows[0]["specific_energy_u"] > 0
    assert "pack_mass, which is not given" in rows[1]["error"]["detail"]


def test_the_media_type_decides_where_the_header_could_be_read_in_two_ways(client: FlaskClient) -> None:
    """By tabs it names cells, by commas pack_mass: one input either way."""
    body = "cells\tnote,pack_mass\n6\tx,200\n"
    tabs = client.post(f"{BATCH}?capacity=1300&keep=*&format=json", data=body, content_type="text/tab-separated-values")
    assert tabs.get_json()[0]["usable_energy"] == 23.088
    commas = client.post(f"{BATCH}?capacity=1300&keep=*&format=json", data=body, content_type="text/csv")
    assert commas.status_code == 422
    assert "/cells" in {error["pointer"] for error in commas.get_json()["errors"]}
