"""Tables of requests over HTTP: errors in rows, tables that break off, bugs in the middle, and other methods."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterator

import pyarrow as pa
import pytest
from flask.testing import FlaskClient

from engine.tables.table_helpers import FORMATS, bare_header, encode_rows, stream
from gramwatt.engine.tables import compute, csv_reader
from gramwatt.engine.tables.chunks import BatchResult, Chunk
from gramwatt.engine.tables.plan import Plan
from gramwatt.engine.wire_formats import FORMATS as MEDIA
from web.test_batch import BATCH, errors, post, rows

every_format = pytest.mark.parametrize("sent", FORMATS)


def three(sent: str) -> bytes:
    return encode_rows([{"id": "a", "cells": cells, "capacity": 1300} for cells in (6, 99, 4)], sent)


@every_format
def test_a_invalid_row_takes_nothing_from_the_others(client: FlaskClient, sent: str) -> None:
    text = rows(post(client, three(sent), sent, "?format=csv&header=names"))
    assert [row["usable_energy"] for row in text] == [23.088, None, 15.392]
    assert text[1]["error"].startswith("row 2: cells: Must be from 1 to 24 (given ")
    good, bad, after = rows(post(client, three(sent), sent, "?format=json"), "json")
    assert (good["usable_energy"], after["usable_energy"]) == (23.088, 15.392)
    assert "error" not in good
    assert (bad["id"], bad["error"]["row"], bad["error"]["detail"]) == ("a", 2, "cells: Must be from 1 to 24")
    assert [error["pointer"] for error in bad["error"]["errors"]] == ["/cells"]
    assert "usable_energy" not in bad


@pytest.mark.parametrize(
    ("body", "message"),
    [
        pytest.param("cells,capacity\n6\n6,1300\n", "1 field where the header has 2", id="short"),
        pytest.param("cells,capacity\n6,1300,7\n6,1300\n", "3 fields where the header has 2", id="long"),
        pytest.param(b"id,cells,capacity\n\xff,6,1300\na,6,1300\n", "not UTF-8", id="no-utf-8"),
    ],
)
def test_a_ragged_row_is_reported_and_the_next_is_computed(
    client: FlaskClient, body: bytes | str, message: str
) -> None:
    bad, good = rows(post(client, body, query="?header=names"))
    assert message in bad["error"]
    assert (good["usable_energy"], good["error"]) == (23.088, None)


@every_format
def test_unknown_names_and_missing_inputs_of_json_are_those_of_their_row(client: FlaskClient, sent: str) -> None:
    """Only JSON names its columns row by row; elsewhere the header is invalid."""
    answer = post(client, encode_rows([{"cells": 6, "capacity": 1300}, {"cells": 6, "cels": 5}], sent), sent)
    if sent not in ("json", "ndjson"):
        assert [error["pointer"] for error in errors(answer, 422, "invalid-input")] == ["/cels"]
        return
    good, bad = rows(answer, sent)
    assert good["usable_energy"] == 23.088
    assert [error["pointer"] for error in bad["error"]["errors"]] == ["/cels"]


@pytest.mark.parametrize(
    ("rest", "message"),
    [
        pytest.param(b',{"cells":6,"capa', "after row 2: the array is not JSON", id="in-an-object"),
        pytest.param(b",", "after row 2: the array is not JSON", id="after-a-comma"),
        pytest.param(b"", "after row 2: the array is not JSON", id="no-closing-bracket"),
        pytest.param(b"]]", "something follows", id="one-bracket-too-many"),
        pytest.param(b' {"cells":6}]', "comma", id="no-comma"),
    ],
)
def test_rows_before_a_break_in_json_stand_and_a_last_one_tells_it(
    client: FlaskClient, rest: bytes, message: str
) -> None:
    body = b'[{"cells":6,"capacity":1300},{"cells":4,"capacity":1300}' + rest
    first, second, last = rows(post(client, body, "json"), "json")
    assert (first["usable_energy"], second["usable_energy"]) == (23.088, 15.392)
    assert list(last) == ["error"]
    assert (last["error"]["row"], last["error"]["type"]) == (2, "/problems/malformed-request")
    assert message in last["error"]["detail"]
    text = rows(post(client, body, "json", "?format=csv&header=names"))
    assert [row["usable_energy"] for row in text] == [23.088, 15.392, None]
    assert text[2]["error"].startswith("#ERR malformed-request after row 2: ")


@pytest.mark.parametrize("wanted", FORMATS)
def test_rows_before_the_end_of_a_truncated_arrow_stream_stand(client: FlaskClient, wanted: str) -> None:
    whole = stream(pa.table({"cells": [6.0, 4.0, 6.0, 4.0], "capacity": [1300.0] * 4}), 2)
    answer = post(client, whole[:-40], "arrow", f"?format={wanted}&{bare_header(wanted)}")
    *good, last = rows(answer, wanted)
    assert [row["usable_energy"] for row in good] == pytest.approx([23.088, 15.392], rel=1e-12)
    message = last["error"]["detail"] if isinstance(last["error"], dict) else last["error"]
    assert "the Arrow stream breaks off after row 2" in message


@every_format
def test_a_body_shorter_than_it_says_is_never_taken_for_whole(client: FlaskClient, sent: str) -> None:
    """Cut within a number, the last row would be another request. Some servers end such a body like a whole one."""
    body = encode_rows([{"cells": 6, "capacity": 1300}] * 2, sent)[:-4]
    output = {"CONTENT_LENGTH": str(len(body) + 4), "wsgi.input_terminated": True}
    answer = client.post(BATCH, data=body, content_type=MEDIA[sent], environ_overrides=output)
    if answer.status_code == 200:
        *good, last = rows(answer, sent)
        found = [float(value) for row in good for name, value in row.items() if name.startswith("usable_energy")]
        assert found == pytest.approx([23.088] * len(good), rel=1e-12)
        assert "ended early" in str(last["error"])
    else:
        assert errors(answer, 400, "malformed-request") == []
        assert "ended early" in answer.text


def failing_at(number: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the response to one chunk raise what nobody expects, in tables read a row or so at a time."""
    true, calls = compute.compute_batch, 0

    def responses(plan: Plan, chunk: Chunk) -> Iterator[BatchResult]:
        nonlocal calls
        calls += 1
        if calls == number:
            raise ZeroDivisionError("a secret")
        return true(plan, chunk)

    monkeypatch.setattr(csv_reader, "READ_SIZE", 24)
    monkeypatch.setattr("gramwatt.engine.tables.batch.write_table.__defaults__", (responses,))


LONG = "cells,capacity\n" + "6,1300\n" * 20


@pytest.mark.parametrize("wanted", FORMATS)
def test_a_bug_in_the_middle_is_reported_in_the_table(
    client: FlaskClient, wanted: str, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    failing_at(2, monkeypatch)
    with caplog.at_level(logging.ERROR):
        answer = post(client, LONG, query=f"?format={wanted}&{bare_header(wanted)}")
        *good, last = rows(answer, wanted)
    assert 0 < len(good) < 20
    assert all(row["usable_energy"] == pytest.approx(23.088, rel=1e-12) for row in good)
    assert "internal-error" in str(last["error"])
    assert "the service failed on these rows; it was logged" in str(last["error"])
    assert b"secret" not in answer.data
    assert b"Traceback" not in answer.data
    assert "ZeroDivisionError: a secret" in caplog.text
    assert answer.headers["X-Request-ID"] in caplog.text


def test_a_bug_in_the_first_rows_is_a_status(client: FlaskClient, monkeypatch: pytest.MonkeyPatch) -> None:
    failing_at(1, monkeypatch)
    answer = post(client, LONG)
    assert errors(answer, 500, "internal-error") == []
    assert "secret" not in answer.text


@pytest.mark.parametrize("method", [pytest.param(each, id=each) for each in ("GET", "HEAD", "PUT", "DELETE", "PATCH")])
def test_other_methods_are_not_allowed(client: FlaskClient, method: str) -> None:
    for name in ("pack-energy", "build"):
        answer = client.open(f"/v1/{name}/batch", method=method)
        assert (answer.status_code, answer.headers["Allow"]) == (405, "POST, OPTIONS")
        assert answer.content_type == "application/problem+json"


def test_get_says_how_a_table_is_sent(client: FlaskClient) -> None:
    output = client.get(BATCH).json
    assert output is not None
    assert "POST /v1/pack-energy/batch" in output["detail"]
    assert output["type"] == "http://localhost/problems/method-not-allowed"


def test_options(client: FlaskClient) -> None:
    """What a browser requests before it sends a table from another site."""
    answer = client.options(BATCH)
    assert (answer.status_code, answer.data, answer.headers["Allow"]) == (200, b"", "POST, OPTIONS")
    assert answer.headers["Access-Control-Allow-Origin"] == "*"
    assert answer.headers["Access-Control-Allow-Methods"] == "POST, OPTIONS"
    assert "Content-Type" in answer.headers["Access-Control-Allow-Headers"]


def test_many_invalid_rows_are_reported_in_short_and_all_counted(client: FlaskClient) -> None:
    """Long explanations of each of a million rows would help nobody."""
    body = "cells,capacity\n" + "99,1300\n" * 1100 + "6,1300\n"
    for form in ("csv", "json"):
        *bad, good = rows(post(client, body, query=f"?format={form}&{bare_header(form)}"), form)
        assert good["usable_energy"] == 23.088
        output = [json.dumps(row["error"]) for row in bad]
        assert "Must be from 1 to 24" in output[999]
        assert "1 error in cells; the 1,001th invalid row, shown as a summary" in output[1000]
        assert len(output) == 1100


RIGHT = {
    "cells": "6",
    "capacity": "1300",
    "parallel_cells": "1",
    "chemistry": "lipo",
    "reserve": "20",
    "pack_mass": "200",
}


@pytest.mark.parametrize(("form", "shown"), [("csv", 5), ("json", 3)])
def test_more_errors_than_fit_in_a_line_are_counted(client: FlaskClient, form: str, shown: int) -> None:
    """A line names five errors of a row, the detail of JSON three; its list has five."""
    values = list(RIGHT.values())
    bad = [["x"] * wrong + values[wrong:] for wrong in (shown, shown + 1)]
    body = "\n".join(",".join(row) for row in (RIGHT, *bad)) + "\n"
    whole, cut = (row["error"] for row in rows(post(client, body, query=f"?format={form}&{bare_header(form)}"), form))
    texts = [whole, cut] if form == "csv" else [whole["detail"], cut["detail"]]
    assert [text.partition("; and ")[2] for text in texts] == ["", "1 more"]
    assert all(text.count(": ") >= shown for text in texts)
