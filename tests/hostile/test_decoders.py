"""What a few bytes expand to is bounded: rows, cells and bytes that decoders make, whatever was sent."""

from __future__ import annotations

import json
import subprocess
import sys
import tracemalloc
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest
from flask.testing import FlaskClient

from gramwatt.web import create_app
from hostile.arrow_bodies import (
    ARROW,
    BATCH,
    LOG,
    MAX_GROWTH,
    RECORDINGS,
    TABLES,
    make_pack_columns,
    make_recording_columns,
    write_stream,
)

POOLS: list[pa.MemoryPool] = []
"""Held until the end: a pool must outlive all that was allocated in it."""


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    """Return a client of the application, in this process."""
    test_client = create_app().test_client()
    # Import everything now, so that imports do not count as growth.
    test_client.post(f"{BATCH}?keep=*", data=write_stream(make_pack_columns(2)), content_type=ARROW)
    test_client.post(LOG, data=write_stream(make_recording_columns(2)), content_type=ARROW)
    return test_client


@pytest.fixture
def bounded() -> Iterator[None]:
    """Limit what a test's request allocates, in Python and in Arrow, to `MAX_GROWTH`."""
    proxy = pa.proxy_memory_pool(pa.system_memory_pool())
    POOLS.append(proxy)
    before_pool = pa.default_memory_pool()
    pa.set_memory_pool(proxy)
    tracemalloc.start()
    start = tracemalloc.get_traced_memory()[0]
    tracemalloc.reset_peak()
    try:
        yield
        peak = tracemalloc.get_traced_memory()[1] - start
    finally:
        tracemalloc.stop()
        pa.set_memory_pool(before_pool)
    assert peak < MAX_GROWTH
    assert (proxy.max_memory() or 0) < MAX_GROWTH


def is_rejected(response: Any) -> bool:
    """Return whether a response rejects the table, by its status or after the rows before."""
    return response.status_code in (413, 422) or b"too-large" in response.data[-2000:]


@pytest.mark.parametrize("form", ["csv", "json", "arrow"])
@pytest.mark.parametrize("name", TABLES)
def test_arrow_table_that_expands_far(
    client: FlaskClient, name: str, form: str, request: pytest.FixtureRequest
) -> None:
    body = TABLES[name]()
    request.getfixturevalue("bounded")
    response = client.post(f"{BATCH}?keep=*&format={form}", data=body, content_type=ARROW)
    assert is_rejected(response), response.data[:300]
    assert len(response.data) < MAX_GROWTH


@pytest.mark.parametrize("name", RECORDINGS)
def test_arrow_recording_that_expands_far(client: FlaskClient, name: str, request: pytest.FixtureRequest) -> None:
    body = RECORDINGS[name]()
    request.getfixturevalue("bounded")
    response = client.post(LOG, data=body, content_type=ARROW)
    assert response.status_code == 422
    assert "rejected" in response.get_json()["detail"]


def test_ndjson_with_a_key_of_its_own_in_each_row(client: FlaskClient, bounded: None) -> None:
    body = b"".join(b'{"cells":6,"capacity":1300,"k%d":1}\n' % row for row in range(5_000))
    response = client.post(f"{BATCH}?keep=*&format=csv", data=body, content_type="application/x-ndjson")
    assert response.status_code == 200
    assert b"up to 200 different names" in response.data


def test_json_with_a_key_of_its_own_in_each_row(client: FlaskClient, bounded: None) -> None:
    rows = [{"cells": 6, "capacity": 1300, f"k{row}": 1} for row in range(5_000)]
    response = client.post(f"{BATCH}?keep=*&format=csv", data=json.dumps(rows), content_type="application/json")
    assert response.status_code == 200
    assert b"up to 200 different names" in response.data


@pytest.mark.parametrize("header", [b"", b"time,voltage,current\n"])
def test_recording_of_8_mb_of_commas(client: FlaskClient, header: bytes, bounded: None) -> None:
    response = client.post(LOG, data=header + b"," * 8_000_000, content_type="text/csv")
    assert response.status_code in (400, 422)


def test_table_of_8_mb_of_commas(client: FlaskClient, bounded: None) -> None:
    response = client.post(BATCH, data=b"," * 8_000_000, content_type="text/csv")
    assert response.status_code == 400


def test_table_with_a_row_of_8_mb_of_commas(client: FlaskClient, bounded: None) -> None:
    response = client.post(BATCH, data=b"cells,capacity\n" + b"," * 8_000_000, content_type="text/csv")
    assert response.status_code == 400


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="memory is read from /proc")
def test_memory_comes_back_to_the_system() -> None:
    """A process that read what expands the furthest has grown by less than the limit."""
    program = Path(__file__).with_name("growth.py")
    finished = subprocess.run(
        [sys.executable, str(program)],
        capture_output=True,
        text=True,
        timeout=300,
        check=True,
        env={"PYTHONPATH": ":".join(sys.path), "PATH": "/usr/bin"},
    )
    assert int(finished.stdout) < MAX_GROWTH
