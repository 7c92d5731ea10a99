"""What one request may cost: work is checked before it is done, stops when nobody waits, and its memory comes back."""

from __future__ import annotations

import asyncio
import gc
import json
import socket
import threading
import time
import weakref
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from gramwatt.engine import evaluate, registry
from gramwatt.engine.budget import Budget
from gramwatt.engine.draws import FEW_DRAWS
from gramwatt.engine.limits import (
    FREE_RESPONSE_BYTES,
    FREE_RESULT_ROWS,
    MAX_NESTED_ROWS,
    MAX_PIXELS,
    MAX_RESULT_ROWS,
    MAX_STACKED_ROWS,
    RESPONSE_BYTES_PER_BYTE,
    RESULT_ROWS_PER_SAMPLE,
)
from gramwatt.engine.tables import batch
from gramwatt.engine.tables.chunks import Chunk
from gramwatt.engine.tables.compute import compute_batch
from gramwatt.engine.tables.plan import Plan
from gramwatt.model import AnyCalculator, NumberList, Table
from gramwatt.server.adapter import WsgiToAsgi
from gramwatt.web import create_app
from gramwatt.web.middleware.work_limits import CANCELLED_KEY, get_max_short_inputs, runs_long
from gramwatt.web.problems import CLIENT_CLOSED_REQUEST
from server.asgi_client import PLAIN, Environ, Request, Start, run
from web.conftest import running


def test_work_that_short_inputs_can_make_long_never_runs_in_the_event_loop() -> None:
    """Tables with a length of their own, searches, other forms, grids, charts and pages run in a thread however short
    they are. So does a path that is none of ours, such as a target in absolute form.
    """
    for name, calculator in registry.load().items():
        path = f"/v1/{name}"
        unfolds = any(isinstance(kind, Table) and kind.length is not None for kind in calculator.result_fields.values())
        if unfolds or calculator.formats or calculator.decided_fields:
            assert get_max_short_inputs(calculator) == 0, name
            assert runs_long(path, 0), name
        else:
            assert not runs_long(path, 300), name
        below = ("batch", "sweep", "chart", "log", "unknown")
        assert all(runs_long(f"{path}/{each}", 0) for each in below), name
        assert runs_long(f"/calculators/{name}", 0)
        assert runs_long(f"http://x{path}", 0)
    assert runs_long("", 0)
    assert runs_long("//v1", 0)
    assert runs_long("/v1/nobody", 0)


def test_a_body_with_many_entries_runs_in_a_thread() -> None:
    for name, calculator in registry.load().items():
        lists = any(isinstance(kind, NumberList | Table) for kind in calculator.input_fields.values())
        assert runs_long(f"/v1/{name}", 4000 if lists else 60_000), name


LOG = {"time": [0, 1], "voltage": [16, 16], "current": [8, 8]}
VIDEO = {"log": LOG, "frame_rate": "1000", "video_end_time": 250}
"""A quarter of a million frames requested by two samples."""


def problem(response: TestResponse, status: int, kind: str) -> str:
    """Check the status and the type of a problem; return its detail and errors as text."""
    assert response.status_code == status
    output = response.get_json()
    assert output["type"] == f"http://localhost/problems/{kind}"
    return json.dumps(output)


@pytest.mark.parametrize("form", ["json", "csv", "vtt", "srt", "ass", "svg", "png"])
def test_a_few_bytes_cannot_ask_for_a_quarter_of_a_million_frames(client: FlaskClient, form: str) -> None:
    output = problem(client.post(f"/v1/overlay-cues?format={form}", json=VIDEO), 413, "too-much-work")
    assert "250000 rows" in output
    assert f"{FREE_RESULT_ROWS + 2 * RESULT_ROWS_PER_SAMPLE}" in output
    assert "video end" in output


def test_more_samples_allow_for_more_frames(client: FlaskClient) -> None:
    seconds = list(range(400))
    log = {"time": seconds, "voltage": [16] * 400, "current": [8] * 400}
    inputs = {"log": log, "frame_rate": "100"}
    response = client.post("/v1/overlay-cues?format=vtt", json=inputs)
    assert response.status_code == 200
    assert response.data.count(b" --> ") >= 1
    problem(client.post("/v1/overlay-cues?format=vtt", json={**inputs, "frame_rate": "400"}), 413, "too-much-work")


def test_frames_in_a_table_are_bounded_by_row_and_in_all(client: FlaskClient) -> None:
    """A row may have 20,000 frames and the table 250,000; rows beyond say so, and cost nothing."""
    rows = [{"log": LOG, "frame_rate": "1000", "video_end_time": seconds} for seconds in (250, *[19] * 15)]
    response = client.post("/v1/overlay-cues/batch?format=ndjson", json=rows)
    assert response.status_code == 200
    output = [json.loads(line) for line in response.data.splitlines()]
    fits = MAX_RESULT_ROWS // 19_000
    assert [len(each.get("frames", ())) for each in output] == [0, *[19_000] * fits, *[0] * (15 - fits)]
    assert f"{MAX_NESTED_ROWS}" in json.dumps(output[0]["error"])
    assert f"{MAX_RESULT_ROWS - fits * 19_000}" in json.dumps(output[-1]["error"])


def test_a_table_of_long_answers_is_written_a_few_at_a_time() -> None:
    """Answers with 5,000 frames are not gathered beyond what one row may have."""
    plan = Plan("overlay-cues", {"frame_rate": "1000", "video_end_time": 5, "log": LOG}, text=False)
    pieces = list(compute_batch(plan, Chunk(0, 12, {}, text=False)))
    assert [piece.rows for piece in pieces] == [3, 3, 3, 3]
    assert [piece.first for piece in pieces] == [0, 3, 6, 9]


LONG_LISTS = {
    "dry_mass": 353.8,
    "kv": 2400,
    "mass_limit": "0.55 lb",
    "flights": [{"mass": "508.8 ± 1", "duration": "5.2 ± 0.1", "cells": 4, "capacity": "1300 ± 20"}] * 200,
    "packs": [{"cells": 4, "capacity": 1300, "mass": "155 ± 2"}] * 20,
}
GRID = {"diameter": {"from": 4, "to": 7, "count": 20}, "pitch": {"from": 3, "to": 5, "count": 20}}


def test_a_grid_of_long_lists_is_rejected_before_its_first_point(client: FlaskClient) -> None:
    output = problem(client.post("/v1/build/sweep", json={"given": LONG_LISTS, "vary": GRID}), 413, "too-much-work")
    assert "400 points" in output
    assert "ask for at most" in output
    short = {**LONG_LISTS, "flights": LONG_LISTS["flights"][:2], "packs": LONG_LISTS["packs"][:2]}  # type: ignore[index]
    small = {name: {**ends, "count": 3} for name, ends in GRID.items()}
    assert client.post("/v1/build/sweep", json={"given": short, "vary": small}).status_code == 200


def test_the_chart_of_such_a_grid_is_rejected_too(client: FlaskClient) -> None:
    problem(client.post("/v1/build/chart", json={"given": LONG_LISTS, "vary": GRID}), 413, "too-much-work")


def test_a_recording_counts_by_its_samples_at_each_point_of_a_grid(client: FlaskClient) -> None:
    long = {name: [float(at) if name == "time" else 9.0 for at in range(10_000)] for name in LOG}
    vary = {"current_scale": {"from": 0.9, "to": 1.1, "count": 20}, "reserve": {"from": 10, "to": 40, "count": 20}}
    output = client.post("/v1/flight-log/sweep", json={"given": {"log": long}, "vary": vary})
    problem(output, 413, "too-much-work")
    assert client.post("/v1/flight-log/sweep?best=1", json={"given": {"log": LOG}, "vary": vary}).status_code == 200


def test_a_picture_of_pixels_is_bounded(client: FlaskClient) -> None:
    pytest.importorskip("PIL")
    inputs = {"log": LOG, "video_width": 8192, "video_height": 4320}
    output = problem(client.post("/v1/overlay-cues?format=png", json=inputs), 413, "too-much-work")
    assert f"{8192 * 4320}" in output
    assert f"{MAX_PIXELS}" in output
    assert client.post("/v1/overlay-cues?format=svg", json=inputs).status_code == 200


def test_the_formula_sees_bounded_rows_however_many_inputs_carry_uncertainty(
    monkeypatch: pytest.MonkeyPatch, client: FlaskClient
) -> None:
    """Each row of a table is drawn many times, so blocks become shorter."""
    seen: list[int] = []
    call = evaluate._call_formula

    def watched(calculator: AnyCalculator, inputs: Any, rows: int) -> Any:
        seen.append(rows)
        return call(calculator, inputs, rows)

    monkeypatch.setattr(evaluate, "_call_formula", watched)
    header = "mass,diameter,motors,air_density"
    body = "\n".join([header, *["700 ± 5,7 ± 0.1,4,1.2 ± 0.01"] * 20_000])
    response = client.post("/v1/hover-power/batch?uncertainty=true", data=body, content_type="text/csv")
    assert len(response.data.splitlines()) == 20_001
    assert sum(seen) > FEW_DRAWS * 20_000
    assert max(seen) <= MAX_STACKED_ROWS


def test_time_that_is_used_up_ends_a_request_with_a_problem(
    monkeypatch: pytest.MonkeyPatch, client: FlaskClient
) -> None:
    monkeypatch.setenv("GRAMWATT_REQUEST_SECONDS", "0.000001")
    own = create_app().test_client()
    output = problem(own.get("/v1/air-density/sweep?vary=elevation&from=0&to=9&count=9"), 413, "too-much-work")
    assert "1e-06 s" in output
    assert client.get("/v1/air-density/sweep?vary=elevation&from=0&to=9&count=9").status_code == 200


def test_time_that_is_used_up_ends_a_table_with_a_row_that_says_so() -> None:
    """After its first blocks a table is no longer a problem but ends with an error row; more bytes allow more time."""
    plan = Plan("air-density", {}, text=True)
    chunks = (Chunk(at, 1, {"elevation": ["100"]}, text=True) for at in range(1000))
    granted, tally = Budget(), batch.RowCounts()
    written = batch.write_table(plan, chunks, batch.make_writer(plan, batch.TableFormat("csv")), tally)
    with granted:
        found = [next(written) for _ in range(3)]
        granted.seconds = 0
        found += list(written)
    assert len(found) == 4
    assert b"#ERR too-much-work after row 3" in found[-1]
    granted = Budget(0)
    granted.receive(10**9)
    with granted:
        granted.check()


@pytest.mark.parametrize(
    ("path", "body"),
    [
        pytest.param("/v1/hover-power/sweep", None, id="sweep"),
        pytest.param("/v1/mass-margin/batch", "[" + ",".join(['{"masses":[1,2]}'] * 5000) + "]", id="batch"),
    ],
)
def test_work_stops_when_the_client_is_gone(client: FlaskClient, path: str, body: str | None) -> None:
    """Whatever computes looks between blocks and rows whether anybody waits: nothing more comes."""
    gone = threading.Event()
    grid = "mass=700&diameter=7&vary=mass&from=300&to=900&count=500&vary=diameter&from=3&to=9&count=500&format=csv"
    response = client.open(
        path,
        method="POST" if body else "GET",
        query_string="" if body else grid,
        data=body,
        content_type="application/json" if body else None,
        environ_overrides={CANCELLED_KEY: gone.is_set},
        buffered=False,
    )
    chunks = iter(response.response)
    assert next(chunks)
    gone.set()
    assert sum(1 for _ in chunks) <= 1
    response.close()
    late = client.open(path, method="POST" if body else "GET", query_string="" if body else grid, data=body,
                       content_type="application/json" if body else None,
                       environ_overrides={CANCELLED_KEY: lambda: True})  # fmt: skip
    assert late.status_code == CLIENT_CLOSED_REQUEST


def test_an_exchange_that_ended_holds_nothing() -> None:
    """What an abandoned response held is free at once, not when garbage is collected."""
    held: list[weakref.ref[Held]] = []

    def application(environ: Environ, start: Start) -> Iterator[Any]:
        start("200 OK", PLAIN)
        chunk = Held(1000)
        held.append(weakref.ref(chunk))
        while True:
            yield chunk

    async def test() -> None:
        adapter = WsgiToAsgi(application, run_in_thread=lambda scope: True)
        request = Request(adapter, "GET")
        request.send(b"", more=False)
        await request.next()
        await request.next()
        request.writable.clear()  # the client reads no more, then leaves
        await asyncio.sleep(0.2)  # a chunk is on its way
        request.leave()
        await request.end()

    gc.collect()
    gc.disable()
    try:
        run(test)
        assert [each() for each in held] == [None]
    finally:
        gc.enable()


class Held(bytearray):
    """A chunk that can be looked for."""


@pytest.mark.skipif(not Path("/proc/self/smaps_rollup").exists(), reason="memory is read from /proc")
def test_abandoned_answers_give_their_memory_back() -> None:
    """After some hundred sweeps whose clients left, a worker has grown by less than 50 MB."""
    with running(WEB_CONCURRENCY="1", GRAMWATT_LONG_THREADS="4") as (port, process):
        worker = int(Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text().split()[0])
        with ThreadPoolExecutor(8) as pool:
            list(pool.map(leave_a_sweep, [port] * 16))
            before = private_memory(worker)
            list(pool.map(leave_a_sweep, [port] * 200))
        for _ in range(100):  # the last of them may still be at a block
            if private_memory(worker) - before < 50 * 1024 * 1024:
                break
            time.sleep(0.1)
        assert private_memory(worker) - before < 50 * 1024 * 1024


def leave_a_sweep(port: int) -> None:
    """Ask for a quarter of a million points, read a little, and leave."""
    grid = "mass=700&diameter=7&vary=mass&from=300&to=900&count=500&vary=diameter&from=3&to=9&count=500&format=csv"
    with socket.create_connection(("127.0.0.1", port)) as client:
        client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 8192)
        client.sendall(f"GET /v1/hover-power/sweep?{grid} HTTP/1.1\r\nHost: localhost\r\n\r\n".encode())
        assert client.recv(4096).startswith(b"HTTP/1.1 200")


def private_memory(pid: int) -> int:
    """Return the bytes of memory that a process shares with none."""
    lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    return sum(int(line.split()[1]) * 1024 for line in lines if line.startswith("Private_"))


def test_columns_that_pass_through_cannot_expand_without_limit() -> None:
    """The response to a small table that a decoder expands far ends with a row that reports the limit."""
    plan = Plan("air-density", {}, text=True)
    text = "x" * 30_000_000
    chunks = (
        Chunk(at, 1, {"elevation": ["100"]}, text=True, passthrough_columns={"note": [text]}) for at in range(100)
    )
    granted, tally = Budget(), batch.RowCounts()
    granted.receive(1000)
    made, last = 0, b""
    with granted:
        for chunk in batch.write_table(plan, chunks, batch.make_writer(plan, batch.TableFormat("csv")), tally):
            made, last = made + len(chunk), chunk
    most = FREE_RESPONSE_BYTES + RESPONSE_BYTES_PER_BYTE * 1000
    assert most < made < most + 2 * len(text)
    assert b"#ERR too-much-work after row 9" in last
