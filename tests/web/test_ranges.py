"""Parts of responses of known length, which readers of tables request."""

from __future__ import annotations

import gzip
import urllib.request

import pandas as pd
import polars as pl
import pytest
from flask.testing import FlaskClient

CSV = "/v1/pack-energy?cells=6&capacity=1300&format=csv"
SWEEP = "/v1/pack-energy/sweep?cells=6&vary=capacity&from=1000&to=2000&count=500&format=csv&header=names"
LONG_SWEEP = "/v1/pack-energy/sweep?cells=6&vary=capacity&from=1000&to=2000&count=200"
LONG_SWEEP += "&vary=reserve&from=0&to=50&count=100"


@pytest.mark.parametrize(
    ("sent", "part"),
    [
        ("bytes=0-3", slice(0, 4)),
        ("bytes=4-", slice(4, None)),
        ("bytes=-5", slice(-5, None)),
        ("bytes=-9999999", slice(None)),
        ("bytes=3-99999999999999999999", slice(3, None)),
        ("BYTES=0-0", slice(0, 1)),
    ],
)
def test_one_part(client: FlaskClient, sent: str, part: slice) -> None:
    whole = client.get(CSV)
    response = client.get(CSV, headers={"Range": sent, "Accept-Encoding": "gzip"})
    assert response.status_code == 206
    assert response.data == whole.data[part]
    first, stop, _ = part.indices(len(whole.data))
    assert response.headers["Content-Range"] == f"bytes {first}-{stop - 1}/{len(whole.data)}"
    assert response.content_length == stop - first
    assert response.headers["ETag"] == whole.headers["ETag"]
    assert response.headers["Accept-Ranges"] == whole.headers["Accept-Ranges"] == "bytes"
    assert response.content_type == whole.content_type


@pytest.mark.parametrize(
    "sent",
    [
        "items=0-3",
        "bytes=0-0,2-3",
        "bytes=0-3, 1-2, 5-",
        "bytes=3-1",
        "bytes=",
        "bytes=-",
        "bytes=--5",
        "bytes=-0",
        "bytes=a-b",
        "bytes=1_0-20",
        "bytes=\u0661-\u0662".encode().decode("latin-1"),
        "bytes",
        "",
        "bytes=" + "0-1," * 1000,
        "bytes=" + "9" * 5000 + "-",
    ],
)
def test_another_form_is_ignored(client: FlaskClient, sent: str) -> None:
    """RFC 9110, 14.2: a unit that is not known must be, and what is invalid or of several parts may be."""
    response = client.get(CSV, headers={"Range": sent})
    assert (response.status_code, response.data) == (200, client.get(CSV).data)
    assert "Content-Range" not in response.headers


def test_a_part_beyond_the_end(client: FlaskClient) -> None:
    length = len(client.get(CSV).data)
    response = client.get(CSV, headers={"Range": f"bytes={length}-"})
    assert response.status_code == 416
    assert response.headers["Content-Range"] == f"bytes */{length}"
    assert response.json is not None
    assert response.json["type"].endswith("/problems/range-not-satisfiable")
    assert response.headers["Cache-Control"] == "no-store"
    assert "ETag" not in response.headers


@pytest.mark.parametrize(
    ("form", "status"),
    [
        ("{tag}", 206),
        ("W/{tag}", 200),  # a weak tag never proves that bytes are the same
        ('"other"', 200),
        ("{gzip}", 200),
        ("Wed, 25 Nov 2026 00:00:00 GMT", 200),
        ("{tag}, {tag}", 200),
        ("*", 200),
    ],
)
def test_if_range(client: FlaskClient, form: str, status: int) -> None:
    plain, packed = client.get(SWEEP), client.get(SWEEP, headers={"Accept-Encoding": "gzip"})
    sent = form.format(tag=plain.headers["ETag"], gzip=packed.headers["ETag"])
    response = client.get(SWEEP, headers={"Range": "bytes=0-9", "If-Range": sent})
    assert response.status_code == status
    assert response.data == (plain.data[:10] if status == 206 else plain.data)


def test_a_condition_comes_before_the_range(client: FlaskClient) -> None:
    tag = client.get(CSV).headers["ETag"]
    assert client.get(CSV, headers={"Range": "bytes=0-9", "If-None-Match": tag}).status_code == 304


@pytest.mark.parametrize(
    ("method", "url", "says"),
    [
        ("HEAD", CSV, "bytes"),
        ("GET", "/v1/pack-energy/chart?cells=6&capacity=1300&format=png", "bytes"),
        ("GET", LONG_SWEEP + "&format=csv", "none"),
        ("HEAD", LONG_SWEEP + "&format=csv", "none"),
        ("GET", "/health/ready", "none"),
    ],
)
def test_a_range_is_only_promised_where_it_works(client: FlaskClient, method: str, url: str, says: str) -> None:
    response = client.open(url, method=method, headers={"Range": "bytes=0-3"} if says == "none" else {})
    assert response.status_code == 200
    assert response.headers["Accept-Ranges"] == says


def test_a_file_has_parts_and_conditions(client: FlaskClient) -> None:
    """Of the plain file, whatever the client takes; with a tag of its own when it is compressed."""

    def fetch(**headers: str) -> tuple[int, bytes, str | None]:
        sent = {name.replace("_", "-"): value for name, value in headers.items()}
        with client.get("/static/page.js", headers=sent) as response:
            assert response.headers["Accept-Ranges"] == "bytes" or response.status_code == 304
            return response.status_code, response.data, response.headers["ETag"]

    _, whole, tag = fetch()
    _, packed, packed_tag = fetch(Accept_Encoding="gzip")
    assert gzip.decompress(packed) == whole
    assert tag != packed_tag
    assert fetch(Accept_Encoding="gzip", Range="bytes=5-9") == (206, whole[5:10], tag)
    assert fetch(Accept_Encoding="identity", If_None_Match=str(tag)) == (304, b"", tag)
    assert fetch(Accept_Encoding="gzip", If_None_Match=str(packed_tag)) == (304, b"", packed_tag)
    assert fetch(Accept_Encoding="gzip", If_None_Match=str(tag))[0] == 304  # Flask knows its file by this tag


def test_a_post_and_a_head_have_no_parts(client: FlaskClient) -> None:
    posted = client.post("/v1/pack-energy", json={"cells": 6, "capacity": 1300}, headers={"Range": "bytes=0-3"})
    assert posted.status_code == client.head(CSV, headers={"Range": "bytes=0-3"}).status_code == 200


def test_a_part_is_never_cached_as_the_whole(client: FlaskClient) -> None:
    assert client.get(f"{SWEEP}&digits=4", headers={"Range": "bytes=0-3"}).status_code == 206
    assert client.get(f"{SWEEP}&digits=4").status_code == 200
    assert len(client.get(f"{SWEEP}&digits=4", headers={"Range": "bytes=0-3"}).data) == 4


def test_readers_of_tables_at_the_running_service(live: str) -> None:
    """One probes by HEAD and reads by ranges, another reads the whole."""
    with urllib.request.urlopen(live + SWEEP, timeout=60) as response:
        lines = response.read().decode().split("\r\n")
    for frame in (pl.read_csv(live + SWEEP), pl.scan_csv(live + SWEEP).collect(), pd.read_csv(live + SWEEP)):
        assert list(frame.columns) == lines[0].split(",")
        assert len(frame) == 500
        assert float(frame["capacity"][499]) == 2000
