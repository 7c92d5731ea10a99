"""Tables at the running service: they flow, anyone who sends, reads or leaves when."""

from __future__ import annotations

import http.client
import json
import socket
import struct
import subprocess
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pyarrow as pa
import pytest

from engine.tables.table_helpers import stream
from web.conftest import running
from web.wire import KEEP_ALIVE, answers, connect, problem, read_answer, send, until, workers

LIMIT = 24 * 1024 * 1024
MEGABYTES_300 = 300 * 1024
BATCH = b"POST /v1/pack-energy/batch%s HTTP/1.1\r\nHost: x\r\nContent-Type: %s\r\n"
CHUNKED = b"Transfer-Encoding: chunked\r\n\r\n"
HEADER = b"cells,capacity,\n"
ROW = b"6,1300,%s\n" % (b"x" * 191)
"""Of 200 bytes; its last column has no name and is left out."""


@dataclass(frozen=True, slots=True)
class Service:
    base: str
    process: subprocess.Popen[str]

    def status(self, word: str) -> int:
        """Return a number of the worker in /proc, in kilobytes."""
        (worker,) = workers(self.process)
        lines = Path(f"/proc/{worker}/status").read_text().splitlines()
        return next(int(line.split()[1]) for line in lines if line.startswith(f"{word}:"))

    def ticks(self) -> int:
        """Its time on a processor so far."""
        (worker,) = workers(self.process)
        fields = Path(f"/proc/{worker}/stat").read_text().rpartition(")")[2].split()
        return int(fields[11]) + int(fields[12])

    def rest(self) -> int:
        """Wait until it does nothing any more; its time on a processor until then."""

        def resting() -> int:
            before = self.ticks()
            time.sleep(0.4)
            return before if self.ticks() - before <= 3 else 0

        return int(until(resting))


@pytest.fixture(scope="module")
def service() -> Iterator[Service]:
    with running(WEB_CONCURRENCY="1", GRAMWATT_LARGEST_TABLE=str(LIMIT)) as (port, process):
        yield Service(f"http://127.0.0.1:{port}", process)


def head(media: str = "text/csv", length: int | None = None, form: str = "") -> bytes:
    query = b"?header=names" if "csv" in (form or media) else b"?format=" + form.encode() if form else b""
    return BATCH % (query, media.encode()) + (CHUNKED if length is None else b"Content-Length: %d\r\n\r\n" % length)


def chunk(piece: bytes) -> bytes:
    return b"%x\r\n%s\r\n" % (len(piece), piece)


def in_chunks(body: bytes, size: int = 65536) -> bytes:
    return b"".join(chunk(body[at : at + size]) for at in range(0, len(body), size)) + chunk(b"")


def table(size: int) -> bytes:
    return HEADER + ROW * (size // len(ROW))


def begun(connection: socket.socket) -> http.client.HTTPResponse:
    response = http.client.HTTPResponse(connection, method="POST")
    response.begin()
    assert response.status == 200
    return response


def leave(connection: socket.socket) -> None:
    """Close so that the other side hears of it at once."""
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    connection.close()


def test_memory_does_not_grow_with_the_table(service: Service) -> None:
    """400,000 rows by CSV; the peak of the worker's life, so this stands before the other tests."""
    body = b"id,cells,capacity,chemistry\n" + b"".join(b"%d,6,%d mAh,lipo\n" % (at, 1000 + at) for at in range(400_000))
    with connect(service.base) as connection:
        connection.sendall(head(length=len(body)) + body)
        response = begun(connection)
        rows = sum(1 for _ in response)
    assert rows == 400_001
    assert service.status("VmHWM") < MEGABYTES_300


OTHERS = b'{"cells":4,"capacity":1300}'
LAST = b'{"cells":6,"capacity":1300}'


@pytest.mark.parametrize(
    ("media", "before", "rest"),
    [
        pytest.param("text/csv", b"cells,capacity\n" + b"4,1300\n" * 500_000 + b"6,13", b"00\n", id="csv"),
        pytest.param("application/x-ndjson", (OTHERS + b"\n") * 125_000 + LAST[:15], LAST[15:] + b"\n", id="ndjson"),
        pytest.param("application/json", b"[" + (OTHERS + b",") * 125_000 + LAST[:15], LAST[15:] + b"]", id="json"),
    ],
)
def test_first_rows_come_back_before_the_last_are_sent(
    service: Service, media: str, before: bytes, rest: bytes
) -> None:
    """The last row is sent only once others came back; not each row by itself: bodies are read in chunks of 2 MB."""
    with connect(service.base) as connection:
        connection.sendall(head(media) + in_chunks(before)[: -len(chunk(b""))])
        response = begun(connection)
        received = b""
        while b"15.392," not in received:
            line = response.readline()
            assert line
            received += line
        assert b"23.088," not in received
        connection.sendall(chunk(rest) + chunk(b""))
        received += response.read()
    assert received.count(b"15.392,") == before.count(b"1300")
    assert received.count(b"23.088,") == 1


def test_record_batches_come_back_before_the_last_is_sent(service: Service) -> None:
    whole = stream(pa.table({"cells": [6.0] * 90_000, "capacity": [1300.0] * 90_000}), 30_000)
    with connect(service.base) as connection:
        connection.sendall(head("application/vnd.apache.arrow.stream") + chunk(whole[:-240]))
        response = begun(connection)
        batches = pa.ipc.open_stream(response)
        first = batches.read_next_batch().num_rows
        connection.sendall(chunk(whole[-240:]) + chunk(b""))
        assert first + batches.read_all().num_rows == 90_000


@pytest.mark.parametrize("framing", [pytest.param("length", id="length"), pytest.param("chunked", id="chunked")])
def test_who_sends_all_before_reading_any_is_computed_in_full(service: Service, framing: str) -> None:
    """20 MB; what gets a response meanwhile is more than all buffers on the way hold."""
    body = table(20 * 1024 * 1024)
    inputs = head(length=len(body)) + body if framing == "length" else head() + in_chunks(body)
    with connect(service.base) as connection:
        connection.sendall(inputs)
        made = begun(connection).read()
    lines = made.split(b"\r\n")
    assert len(lines) == 20 * 1024 * 1024 // len(ROW) + 2
    assert set(lines[1:-1]) == {lines[1]}
    assert lines[1].startswith(b"23.088,28.86,")
    assert answers(service.base)


def test_who_goes_away_stops_the_work(service: Service) -> None:
    """Of the same request the half is not computed where nobody reads the response; others get responses."""
    body = b"cells,capacity\n" + b"6,1300\n" * 2_000_000
    before = service.rest()
    with connect(service.base) as connection:
        connection.sendall(head(length=len(body)) + body)
        assert begun(connection).read().count(b"\r\n") == 2_000_001
    between = service.rest()
    with connect(service.base) as connection:
        connection.sendall(head(length=len(body)) + body)
        begun(connection).read(1000)
        leave(connection)
    assert answers(service.base)
    assert service.rest() - between < (between - before) / 2


def test_who_goes_away_while_sending_leaves_nothing_running(service: Service) -> None:
    """More of them than there are threads."""
    for _ in range(10):
        with connect(service.base) as connection:
            connection.sendall(head(length=LIMIT) + table(1024 * 1024))
            leave(connection)
    assert answers(service.base)
    service.rest()
    with connect(service.base) as connection:
        connection.sendall(head(length=len(HEADER + ROW)) + HEADER + ROW)
        assert b"23.088" in begun(connection).read()


@pytest.mark.parametrize("form", [pytest.param("csv", id="csv"), pytest.param("json", id="json")])
def test_a_chunked_table_over_the_limit_is_reported_after_its_rows(service: Service, form: str) -> None:
    """All of it sent before any of the response is read: the response must not be lost in a reset."""
    with connect(service.base) as connection:
        connection.sendall(head(form=form) + in_chunks(table(LIMIT + 16 * 1024 * 1024)))
        made = begun(connection).read()
    assert made.count(b"23.088") > 100_000
    last = made.decode().strip("\n]").splitlines()[-1]
    text = last if form == "csv" else json.loads(last)["error"]["type"] + json.loads(last)["error"]["detail"]
    assert "too-large" in text
    assert f"the table is larger than {LIMIT} bytes" in text
    assert answers(service.base)


def test_a_declared_length_over_the_limit_is_a_status(service: Service) -> None:
    body = table(LIMIT + 1024 * 1024)
    inputs = head(length=len(body)).replace(b"Host", b"Connection: close\r\nHost") + body
    made = problem(send(service.base, inputs), 413, "too-large")
    assert str(LIMIT) in made["detail"]
    assert answers(service.base)


def test_a_body_that_ends_early_is_never_computed_as_a_whole_one(service: Service) -> None:
    """Its last row is cut within a number. It is a status, a last row, or a result that breaks off as well."""
    body = table(4 * 1024 * 1024)[:-200] + b"6,13"
    with connect(service.base) as connection:
        connection.sendall(head(length=len(body) + 3) + body)
        connection.shutdown(socket.SHUT_WR)
        response = http.client.HTTPResponse(connection, method="POST")
        response.begin()
        try:
            made, whole = response.read(), True
        except http.client.IncompleteRead as broken:
            made, whole = broken.partial, False
    assert b",13.0," not in made
    if whole and response.status == 200:
        assert b"malformed-request" in made.splitlines()[-1]
    elif whole:
        assert json.loads(made)["type"].endswith("/problems/malformed-request")


def test_a_connection_can_be_used_again_after_a_table(service: Service) -> None:
    body = table(1024 * 1024)
    small = HEADER + ROW
    requests = [head(length=len(small)) + small, head() + in_chunks(small, 7)]
    requests += [head(length=len(body)) + body, head() + in_chunks(body)]
    with connect(service.base) as connection:
        for inputs in requests:
            connection.sendall(inputs)
            status, made = read_answer(connection, "POST")
            assert status == 200
            assert made.count(b"\r\n23.088,") == (len(body) // len(ROW) if len(inputs) > 10_000 else 1)
            connection.sendall(KEEP_ALIVE)
            assert read_answer(connection)[0] == 200


@pytest.mark.parametrize("size", [pytest.param(1000, id="short"), pytest.param(2 * 1024 * 1024, id="long")])
@pytest.mark.parametrize("framing", [pytest.param("length", id="length"), pytest.param("chunked", id="chunked")])
def test_a_table_rejected_by_its_header_spoils_no_later_answer(service: Service, framing: str, size: int) -> None:
    """What is left of its body is never read as the next request: the connection goes on, or ends."""
    body = b"cels" + table(size)
    with connect(service.base) as connection:
        connection.sendall(head(length=len(body)) + body if framing == "length" else head() + in_chunks(body))
        status, made = read_answer(connection, "POST")
        assert (status, json.loads(made)["type"].endswith("/problems/invalid-input")) == (422, True)
        try:
            connection.sendall(KEEP_ALIVE)
            status, made = read_answer(connection)
        except (ConnectionError, http.client.RemoteDisconnected):
            return
        assert (status, json.loads(made)["results"]["usable_energy"]) == (200, 23.088)
