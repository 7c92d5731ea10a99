"""A recording sent by itself: every format, bad ones, large ones, and answers in many forms."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import polars as pl
import pyarrow as pa
import pytest
from flask.testing import FlaskClient
from hypothesis import given, settings
from hypothesis import strategies as st
from werkzeug.test import TestResponse

from gramwatt.engine.recordings.reader import FORMATS
from gramwatt.web import create_app
from gramwatt.web.recording_options import BODY_FORMATS

FLIGHT = (Path(__file__).resolve().parents[2] / "examples" / "overlay" / "flight.csv").read_bytes()
REQUESTED = "/v1/flight-log/log?cells=4&capacity=850"
CUES = "/v1/overlay-cues/log?frame_rate=30000/1001&video_offset=2"


def post(client: FlaskClient, url: str, body: bytes = FLIGHT, media: str = "text/csv", **headers: str) -> TestResponse:
    return client.post(url, data=body, content_type=media, headers=headers)


def answer(client: FlaskClient, url: str = REQUESTED, body: bytes = FLIGHT, media: str = "text/csv") -> dict[str, Any]:
    response = post(client, url, body, media)
    assert response.status_code == 200, response.text
    found: dict[str, Any] = response.get_json()
    return found


def problem(response: TestResponse, status: int) -> dict[str, Any]:
    assert response.status_code == status, response.text
    assert response.content_type == "application/problem+json"
    found: dict[str, Any] = response.get_json()
    return found


def table() -> pl.DataFrame:
    return pl.read_csv(io.BytesIO(FLIGHT))


def test_every_format_gives_the_same_answer(client: FlaskClient) -> None:
    frame, expected = table(), answer(client)
    ndjson, arrow = io.BytesIO(), io.BytesIO()
    frame.write_ndjson(ndjson)
    columns = frame.to_arrow()
    with pa.ipc.new_stream(arrow, columns.schema) as writer:
        writer.write_table(columns)
    for media, body in (("ndjson", ndjson.getvalue()), ("arrow", arrow.getvalue())):
        assert answer(client, REQUESTED, body, FORMATS[media]) == expected, media


def test_the_same_as_the_request_in_json(client: FlaskClient) -> None:
    frame = table()
    names = {"time [ms]": "time", "voltage [V]": "voltage", "current [A]": "current", "throttle [%]": "throttle"}
    log = {channel: frame[name].to_list() for name, channel in names.items()}
    log["time"] = [time / 1000 for time in log["time"]]
    whole = client.post("/v1/flight-log", json={"log": log, "cells": 4, "capacity": 850}).get_json()
    alone = answer(client)
    assert whole["results"].pop("unused_columns") == "none"
    assert alone["results"].pop("unused_columns") == "satellites"
    for name in ("samples_left_out_by_reason", "punch_outs"):
        output = [found["results"].pop(name) for found in (whole, alone)]
        assert output[0] == output[1]
    one, other = (
        {name: value for name, value in found["results"].items() if value is not None} for found in (whole, alone)
    )
    assert one == pytest.approx(other, rel=1e-9)


def test_what_was_sent_is_reported_by_its_size(client: FlaskClient) -> None:
    assert answer(client)["given"]["log"] == {
        "samples": len(table()),
        "columns": ["time", "voltage", "current", "throttle"],
    }


def test_inputs_carry_units_and_uncertainty_in_the_query(client: FlaskClient) -> None:
    found = answer(
        client, "/v1/flight-log/log?cells=4&capacity=0.85 Ah&charge_put_back=225 ± 5 mAh&units=energy_used:kJ"
    )
    assert found["results"]["charge_used"] == pytest.approx(225, rel=1e-12)
    assert found["uncertainty"]["charge_used"]["shares"] == pytest.approx({"charge_put_back": 1}, abs=1e-6)
    assert found["units"]["energy_used"] == "kJ"


def test_csv_of_the_answer_is_one_row(client: FlaskClient) -> None:
    response = post(client, REQUESTED + "&format=csv&header=names")
    header, row = response.text.splitlines()
    assert "punch_outs" in header.split(",")
    assert '""reason"":""dropped-out""' in row


@pytest.mark.parametrize(
    ("body", "status", "words"),
    [
        pytest.param(b"", 400, "it is empty", id="nothing"),
        pytest.param(b"t,volts\n0,16\n", 422, "time_column", id="no time"),
        pytest.param(b"time,voltage\n5/3/26 14:30,16\n", 422, "2026-05-03 14:30:00", id="times of another form"),
        pytest.param(b"time,voltage,current (battery)\n0,16,5\n", 422, "current_column=", id="which unit?"),
        pytest.param(b"time,voltage [kV]\n0,16\n", 422, "not one of V, mV", id="an unknown unit"),
        pytest.param("time,voltage\n0,16\n".encode("utf-16"), 400, "UTF-16", id="UTF-16"),
    ],
)
def test_a_recording_of_no_use(client: FlaskClient, body: bytes, status: int, words: str) -> None:
    found = problem(post(client, REQUESTED, body), status)
    assert words in json.dumps(found, ensure_ascii=False)


def test_a_column_that_there_is_not(client: FlaskClient) -> None:
    found = problem(post(client, REQUESTED + "&voltage_column=volt"), 404)
    assert found["type"] == "http://localhost/problems/unknown-column"
    (error,) = found["errors"]
    assert error["pointer"] == "/voltage_column"
    assert "voltage [V]" in error["detail"]
    assert found["detail"] == error["detail"]


def test_errors_of_the_query_and_of_the_recording_are_reported_together(client: FlaskClient) -> None:
    found = problem(post(client, "/v1/flight-log/log?cells=99&reserv=3&log=x", b"time,voltage\n0,16\n"), 422)
    assert {error["pointer"] for error in found["errors"]} == {"/cells", "/reserv", "/log"}


@pytest.mark.parametrize(
    ("body", "responses", "reasons"),
    [
        pytest.param(b"time,voltage\n0,16\n10,15\n20,15.5\n", {"duration", "lowest_voltage"}, {"no-current"},
                     id="no current"),
        pytest.param(b"time,current\n0,5\n10,15\n20,5\n", {"duration", "charge_used", "peak_current"}, {"no-voltage"},
                     id="no voltage"),
        pytest.param(b"time,voltage,current\n0,16,5\n10,x,y\n20,15,5\n", {"energy_used", "charge_used"}, set(),
                     id="words"),
        pytest.param(b"time,voltage,current\n5,0,0\n6,0,0\n7,0,0\n", {"duration", "charge_used"}, {"no-charge-used"},
                     id="all zeros"),
        pytest.param(b"time,voltage,current\n", set(), {"too-few-samples"}, id="no samples"),
        pytest.param(b"time,voltage,current\n3,16,5\n", set(), {"too-few-samples"}, id="one sample"),
        pytest.param(b"time,voltage,current\n,16,5\n,16,6\n", set(), {"too-few-samples"}, id="no times"),
    ],
)  # fmt: skip
def test_what_can_still_be_computed(client: FlaskClient, body: bytes, responses: set[str], reasons: set[str]) -> None:
    found = answer(client, "/v1/flight-log/log?longest_gap=60", body)
    output = {name for name, value in found["results"].items() if value is not None}
    assert responses <= output
    assert reasons <= {caution["code"] for caution in found["cautions"] if "results" in caution}
    assert all(caution["code"] != "no-result" for caution in found["cautions"]), "every lack has a reason of its own"


def test_what_is_left_out_is_counted(client: FlaskClient) -> None:
    rows = (
        "0,16,5,1",
        "1,16,oops,1",
        "1,16,5,1",
        "2,16,5,1",
        "2,16,5,1",
        "1.5,16,5,1",
        ",16,5,1",
        "3,900,5,1",
        "90,15,5,1",
    )
    body = "\n".join(("made up", "time,voltage,current,gps", *rows, "")).encode()
    found = answer(client, REQUESTED, body)["results"]
    output = {
        each["reason"]: (each["sample_count"], each.get("first_row")) for each in found["samples_left_out_by_reason"]
    }
    assert output == {
        "no-number": (1, 2),
        "out-of-bounds": (1, 8),
        "untimed": (1, 7),
        "repeated-time": (1, 5),
        "backward-time": (1, 6),
        "dropped-out": (2, 2),
        "in-a-gap": (1, 4),
        "before-the-header": (1, None),
    }
    assert (found["samples_recorded"], found["unused_columns"], found["gap_duration"]) == (9, "gps", 88)


def test_a_recording_that_is_too_large_is_rejected_before_it_is_read(client: FlaskClient) -> None:
    response = client.post(REQUESTED, content_type="text/csv", environ_overrides={"CONTENT_LENGTH": str(3 * 2**30)})
    found = problem(response, 413)
    assert "fewer samples per second" in found["detail"]


def test_a_chunked_recording_is_cut_off_at_the_limit(client: FlaskClient, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GRAMWATT_LARGEST_RECORDING", "1000")
    response = client.post(
        REQUESTED,
        input_stream=io.BytesIO(FLIGHT),
        content_type="text/csv",
        environ_overrides={"wsgi.input_terminated": True},
    )
    problem(response, 413)


@pytest.mark.parametrize("media", ["image/png", ""])
def test_other_media_are_rejected(client: FlaskClient, media: str) -> None:
    assert "text/csv" in problem(post(client, REQUESTED, media=media), 415)["detail"]


def test_a_calculator_without_a_recording_has_no_such_path(client: FlaskClient) -> None:
    problem(post(client, "/v1/pack-energy/log"), 404)
    problem(client.get("/v1/pack-energy/log"), 404)
    assert problem(client.get("/v1/flight-log/log"), 405)["type"] == "http://localhost/problems/method-not-allowed"
    assert "/v1/flight-log/log" in problem(client.get("/v1/flight-log"), 405)["detail"]


@pytest.mark.parametrize(
    ("form", "media", "begins"),
    [
        ("vtt", "text/vtt; charset=utf-8", b"WEBVTT\n"),
        ("srt", "application/x-subrip", b"1\n00:00:0"),
        ("ass", "text/x-ssa; charset=utf-8", b"[Script Info]\n"),
        ("svg", "image/svg+xml", b"<svg "),
        ("png", "image/png", b"\x89PNG"),
        ("csv", "text/csv; charset=utf-8; header=present", b"frame_number,video_time [s],timecode,"),
        ("json", "application/json", b"{\n"),
    ],
)
def test_forms_by_option_and_by_accept(client: FlaskClient, form: str, media: str, begins: bytes) -> None:
    by_option = post(client, f"{CUES}&format={form}&video_end_time=4")
    assert (by_option.status_code, by_option.content_type) == (200, media)
    by_accept = post(client, f"{CUES}&video_end_time=4", Accept=media.partition(";")[0])
    assert by_accept.data == by_option.data
    assert by_option.data.startswith(begins)


def test_forms_of_other_calculators_are_rejected(client: FlaskClient) -> None:
    found = problem(post(client, REQUESTED + "&format=vtt"), 422)
    assert found["errors"][0]["accepted"] == "json or csv"
    problem(post(client, REQUESTED, Accept="text/vtt"), 406)


def test_every_frame_as_csv(client: FlaskClient) -> None:
    frames = pl.read_csv(io.BytesIO(post(client, f"{CUES}&format=csv&header=names").data))
    assert frames.height == answer(client, CUES)["results"]["frame_count"] > 2000
    assert frames.columns[:5] == ["frame_number", "video_time", "timecode", "caption_number", "text"]
    assert frames["frame_number"].to_list() == list(range(60, 60 + frames.height))
    assert frames["timecode"][1740] == "00:01:00;02"


def test_a_template_with_a_field_that_there_is_not(client: FlaskClient) -> None:
    (error,) = problem(post(client, CUES + "&caption_template={volts} V"), 422)["errors"]
    assert error["pointer"] == "/caption_template"
    assert "did you mean voltage" in error["detail"]


EDITS = st.lists(
    st.tuples(
        st.floats(0, 1),
        st.sampled_from(
            [b",", b'"', b"\n", b"\r", b";", b"nan", b"1e999", b"\0", b"{", b"]", b"null", b"\xff\xfe", b""]
        ),
        st.integers(0, 30),
    ),
    max_size=8,
)


@settings(max_examples=150)
@given(st.sampled_from(list(BODY_FORMATS)), EDITS, st.sampled_from([REQUESTED, CUES + "&video_end_time=3&format=ass"]))
def test_no_bytes_make_the_service_fail(form: str, edits: list[tuple[float, bytes, int]], url: str) -> None:
    """A recording damaged here and there gets a response or refused, whatever the damage."""
    body = DAMAGED[form]
    for place, put, cut in edits:
        at = int(place * len(body))
        body = body[:at] + put + body[at + cut :]
    assert post(CLIENT, url, body, FORMATS[form]).status_code in (200, 400, 404, 422)


def in_every_format() -> dict[str, bytes]:
    """Return the first hundred samples of the flight."""
    frame = table().head(100)
    ndjson, arrow, text = io.BytesIO(), io.BytesIO(), io.BytesIO()
    frame.write_ndjson(ndjson)
    frame.write_csv(text)
    columns = frame.to_arrow()
    with pa.ipc.new_stream(arrow, columns.schema) as writer:
        writer.write_table(columns)
    return {"csv": text.getvalue(), "ndjson": ndjson.getvalue(), "arrow": arrow.getvalue()}


DAMAGED = in_every_format()
CLIENT = create_app().test_client()
